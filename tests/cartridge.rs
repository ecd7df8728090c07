//! Cartridge profiles: their words are read, and their order says what passed and what was never reached.

use std::collections::BTreeMap;

use whichsocket::faultmap::expand::list;
use whichsocket::faultmap::raw::CartridgeRaw;
use whichsocket::infer::network::Outcome;
use whichsocket::observe::{Evidence, observe};
use whichsocket::sheet::{Bench, Profile, parse, parse_at, print_statement};
use whichsocket::shipped::Library;

/// Checks of a sheet on a board, with how they came out.
fn outcomes(board: &str, text: &str, bench: &Bench) -> BTreeMap<String, bool> {
    let model = Library::default().board(board).expect("a shipped board");
    let sheet = parse_at("t", text.as_bytes(), bench).expect("a text");
    let observed = observe(&model, std::slice::from_ref(&sheet));
    let checks = observed
        .readings
        .into_iter()
        .filter_map(|r| match r.evidence {
            Evidence::Check(c) => Some((c.check, c.outcome == Outcome::Pass)),
            _ => None,
        });
    checks.collect()
}

fn shipped(text: &str) -> BTreeMap<String, bool> {
    outcomes(
        "dunlin-64",
        &format!("board dunlin-64\ncartridge dunlin-bench\n{text}"),
        &Bench::default(),
    )
}

#[test]
fn the_words_of_the_invented_cartridge_are_read() {
    let said = |line: &str| {
        let sheet =
            parse("t", format!("cartridge dunlin-bench\n{line}").as_bytes()).expect("a text");
        sheet.lines[1]
            .statements
            .iter()
            .map(|s| print_statement(&s.value))
            .collect::<Vec<_>>()
            .join(" | ")
    };
    for (line, expected) in [
        ("BACKGROUND RED", "os rom bad"),
        ("store: lamp 3 is out", "memory bit 3 bad"),
        ("Store: 4000 given 55 taken 5D", "$4000 wrote 55 read 5D"),
        ("counter b of adapter 2 will not count", "timer 2b bad"),
        ("key Q never came", "key Q dead"),
        ("key left shift would not leave", "key \"LEFT SHIFT\" stuck"),
        ("stick socket 2 is deaf", "control port 2 bad"),
        ("clock 1 runs late", "clock 1 slow"),
        ("all is well", "rest fine"),
        // What a person types beside it is read as ever.
        ("U17 hot", "U17 hot"),
    ] {
        assert_eq!(said(line), expected, "{line}");
    }
    let plain = parse("t", b"background red").expect("a text");
    assert!(
        plain.lines[0].not_understood.is_some(),
        "without the cartridge these are no words of a sheet"
    );
}

#[test]
fn what_a_cartridge_that_prints_every_failure_does_not_print_passed() {
    let seen = shipped("clock 1 stands still");
    assert_eq!(seen.get("clock.1"), Some(&false));
    for passed in [
        "clock.2",
        "memory.bit.3",
        "rom.os",
        "key.Q",
        "voice.1",
        "port.user",
    ] {
        assert_eq!(seen.get(passed), Some(&true), "{passed}");
    }
}

#[test]
fn a_stage_that_stops_says_nothing_about_what_comes_behind() {
    let seen = shipped("background red");
    assert_eq!(seen.get("rom.os"), Some(&false));
    for unknown in [
        "memory.bit.3",
        "clock.1",
        "key.Q",
        "voice.1",
        "rom.language",
    ] {
        assert_eq!(seen.get(unknown), None, "{unknown}");
    }
    // Not even when the sheet says so: the test did not get there.
    let seen = shipped("background red\nrest fine");
    assert_eq!(seen.get("clock.1"), None);
}

#[test]
fn no_result_at_all_says_nothing() {
    let seen = shipped("+5V 5.02");
    assert!(seen.keys().all(|k| k.starts_with("rail.")), "{seen:?}");
}

/// A cartridge that flashes the number of the first stage that failed, and goes on only past what works.
fn flashing() -> Profile {
    let text = "cartridge: flash\nwhat: flashes\nboards: [dunlin-64]\nstages:\n  - {stage: one, checks: rom.os, stops_at_failure: true}\n  \
        - {stage: two, checks: memory.bit.0..7, stops_at_failure: true}\n  - {stage: three, checks: clock.1 clock.2}\n  \
        - {stage: four, checks: voice.1..3}\nlines:\n  \"1 flash\": os rom bad\n  \"lamp {} flashes\": memory bit {} bad\n  \"clock {} lost\": clock {} stopped\n";
    let raw: CartridgeRaw = whichsocket::faultmap::load::parse("flash", text).expect("a profile");
    Profile::new(raw).expect("a profile")
}

#[test]
fn signal_codes_say_what_came_before() {
    let own = [flashing()];
    let bench = Bench {
        profiles: &own,
        ..Bench::default()
    };
    let of = |text: &str| {
        outcomes(
            "dunlin-64",
            &format!("board dunlin-64\ncartridge flash\n{text}"),
            &bench,
        )
    };
    let seen = of("lamp 3 flashes");
    assert_eq!(
        seen.get("rom.os"),
        Some(&true),
        "it came past the first stage"
    );
    assert_eq!(
        seen.get("memory.bit.2"),
        Some(&true),
        "and past the bits before"
    );
    assert_eq!(seen.get("memory.bit.3"), Some(&false));
    assert_eq!(
        (seen.get("memory.bit.4"), seen.get("clock.1")),
        (None, None)
    );
    // It does not print every failure: the other clock may be bad as well.
    let seen = of("clock 1 lost");
    assert_eq!(
        (
            seen.get("memory.bit.7"),
            seen.get("clock.2"),
            seen.get("voice.1")
        ),
        (Some(&true), None, None)
    );
}

#[test]
fn every_check_of_a_shipped_profile_is_on_its_boards() {
    let template: CartridgeRaw = whichsocket::faultmap::load::parse(
        "template",
        include_str!("../faultmaps/cartridges/template.yaml"),
    )
    .expect("a profile");
    let shipped = Profile::shipped().iter().map(|p| (*p.raw).clone());
    for raw in shipped.chain([template]) {
        for board in &raw.boards {
            let model = Library::default().board(board).expect("a shipped board");
            for id in raw.stages.iter().flat_map(|s| list(&s.checks)) {
                assert!(
                    model.check(&id).is_some(),
                    "{}: {board} has no check {id}",
                    raw.cartridge
                );
            }
        }
        for line in raw.lines.values() {
            let filled = line
                .replacen("{}", "1", 1)
                .replacen("{}", "a", 1)
                .replace("{}", "1");
            let filled = if line.starts_with("{} wrote") {
                "4000 wrote 55 read 5D".into()
            } else {
                filled
            };
            let filled = filled.replace("timer 1 of adapter a", "timer a of adapter 1");
            let sheet = parse("t", filled.as_bytes()).expect("a text");
            assert!(
                sheet.lines.iter().all(|l| l.not_understood.is_none()),
                "{}: {filled}",
                raw.cartridge
            );
        }
    }
}
