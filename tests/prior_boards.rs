//! Priors and signatures of the shipped boards: what the exposure gives, and what some faults of the school computer
//! show. The signatures follow from its wiring as the map tells it; none is typed in as a table of symptoms.

use std::collections::BTreeMap;
use whichsocket::faultmap::model::{BoardModel, Kind};
use whichsocket::prior::common::CommonTable;
use whichsocket::prior::exposure::{FAULTS_CAME_IN_FAULTY, Rate, expected_faults};
use whichsocket::shipped::Library;

fn school_computer() -> BoardModel {
    Library::default()
        .board("dunlin-64")
        .expect("the school computer is shipped")
}

/// Check → the strongest that a mode of a unit shows there, any kind of trouble.
fn shows(m: &BoardModel, unit: &str, what: &str) -> BTreeMap<String, f32> {
    let mode = (0..m.modes.len())
        .find(|&i| m.units[m.modes[i].unit as usize].name == unit && m.modes[i].what.contains(what))
        .unwrap_or_else(|| panic!("{unit} has no mode '{what}'"));
    let mut out = BTreeMap::new();
    for check in &m.checks {
        for read in &check.reads {
            for touch in m.nodes[read.node as usize]
                .touches
                .iter()
                .filter(|t| t.mode as usize == mode)
            {
                let slot = out.entry(check.id.clone()).or_insert(0.0f32);
                *slot = slot.max(touch.strength * read.weight);
            }
        }
    }
    out
}

/// The checks of a test run that a mode shows in with at least one half.
fn fails(m: &BoardModel, unit: &str, what: &str) -> Vec<String> {
    let test = |id: &str| m.check(id).is_some_and(|c| c.test);
    let clear = |(id, strength): (String, f32)| (strength >= 0.5 && test(&id)).then_some(id);
    shows(m, unit, what).into_iter().filter_map(clear).collect()
}

#[test]
fn every_board_expects_the_counted_number_of_faults() {
    let shipped = Library::default();
    for (name, _) in shipped.list() {
        let m = shipped.board(&name).expect("a board that is listed");
        let rates: Vec<Rate> = m
            .units
            .iter()
            .map(|u| {
                let modes = &m.modes[u.modes.start as usize..u.modes.end as usize];
                Rate::of_modes(
                    u.class,
                    &modes.iter().map(|f| (f.rate, f.notice)).collect::<Vec<_>>(),
                )
            })
            .collect();
        let faults = expected_faults(&rates, &CommonTable::shipped(), m.exposures[0], true);
        assert!(
            (faults - FAULTS_CAME_IN_FAULTY).abs() < 1e-9,
            "{}: {faults}",
            m.board
        );
        assert!(
            m.exposures[0] > m.exposures[2] && m.exposures[1] > m.exposures[2],
            "{}",
            m.board
        );
    }
}

#[test]
fn a_memory_chip_shows_in_its_own_bit_only() {
    let m = school_computer();
    for bit in 0..8 {
        let seen = fails(&m, &format!("M{bit}"), "always reads 0");
        assert_eq!(seen, [format!("memory.bit.{bit}")]);
    }
}

#[test]
fn an_address_switch_shows_in_all_bits_and_its_own_lines() {
    let m = school_computer();
    let seen = fails(&m, "L2", "output 3 dead");
    assert!(seen.contains(&"memory.address.6".to_string()), "{seen:?}");
    assert!(!seen.contains(&"memory.address.5".to_string()), "{seen:?}");
    assert_eq!(
        seen.iter()
            .filter(|id| id.starts_with("memory.bit."))
            .count(),
        8
    );
    // The picture has switches of its own, so that it stays when only those of the processor are at fault.
    assert!(!shows(&m, "L2", "output 3 dead").contains_key("picture.wrong-characters"));
}

#[test]
fn the_shared_tick_stops_both_clocks_and_an_adapter_only_its_own() {
    let m = school_computer();
    for (unit, what) in [("L10", "gate 5 dead"), ("W4", "open"), ("D1", "shorted")] {
        let seen = fails(&m, unit, what);
        assert_eq!(seen, ["clock.1", "clock.2"], "{unit}");
    }
    assert_eq!(fails(&m, "A1", "time-of-day"), ["clock.1"]);
    assert_eq!(fails(&m, "A2", "time-of-day"), ["clock.2"]);
    // Without the 9 V AC there is no sound either: the loudspeaker's 12 V are made from it.
    let fuse = fails(&m, "F1", "blown");
    for id in ["clock.1", "clock.2", "sound", "voice.1"] {
        assert!(fuse.contains(&id.to_string()), "{id} not in {fuse:?}");
    }
    assert!(!fuse.contains(&"memory.bit.0".to_string()));
}

#[test]
fn a_wrong_mains_setting_slows_both_clocks() {
    let m = school_computer();
    let mode = m
        .modes
        .iter()
        .position(|f| f.what.contains("set for 60 Hz"))
        .expect("the setting") as u32;
    for id in ["clock.1", "clock.2"] {
        let reads = &m.check(id).expect("a clock check").reads;
        let slow = |r: &whichsocket::faultmap::model::Read| {
            m.nodes[r.node as usize]
                .touches
                .iter()
                .any(|t| t.mode == mode && t.kind == Kind::Slow)
        };
        assert!(reads.iter().any(slow), "{id}");
    }
}

#[test]
fn a_key_column_can_die_in_four_places() {
    let m = school_computer();
    let column: Vec<String> = m.keyboard.as_ref().expect("keys").matrix[0]
        .iter()
        .map(|k| format!("key.{k}"))
        .collect();
    let places = [
        ("A1", "port A bit 0 dead"),
        ("J3 pin 1", "open"),
        ("KB", "column 0"),
        ("A1 contacts", "pin 2 "),
    ];
    for (unit, what) in places {
        let mut seen = fails(&m, unit, what);
        let mut expected = column.clone();
        seen.sort();
        expected.sort();
        assert_eq!(seen, expected, "{unit}");
    }
    let all = fails(&m, "KB", "not plugged in");
    assert_eq!(all.iter().filter(|id| id.starts_with("key.")).count(), 65);
}

#[test]
fn without_its_tone_generator_only_the_sound_is_missing() {
    let m = school_computer();
    assert_eq!(
        fails(&m, "T1", "not fitted"),
        ["sound", "voice.1", "voice.2", "voice.3"]
    );
}

#[test]
fn a_dead_processor_gives_no_report() {
    let m = school_computer();
    let report = m.node("report").expect("a report function");
    let lost = |unit: &str, what: &str| {
        let of = |mode: u32| {
            let f = &m.modes[mode as usize];
            m.units[f.unit as usize].name == unit && f.what.contains(what)
        };
        let touches = m.nodes[report as usize].touches.iter();
        touches
            .filter(|t| of(t.mode))
            .map(|t| t.strength)
            .fold(0.0, f32::max)
    };
    for (unit, what) in [
        ("P1", "does not run"),
        ("X1", "no output"),
        ("R1", "gives out nothing"),
        ("PSU", "5 V missing"),
    ] {
        assert!(lost(unit, what) > 0.95, "{unit}");
    }
    assert!(lost("M3", "always reads 0") < 0.2);
    assert!(lost("A1", "time-of-day") < 0.01 && lost("T1", "silent") < 0.01);
}
