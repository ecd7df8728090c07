//! The key matrix against an independent simulation (`tests/keys/scan.rs`): every single line open, held or bridged, every
//! connector unplugged, every contact, on every shipped board with a matrix, typed in three ways. The right unit, or one that
//! no reading can tell from it, must lead. All of it: `cargo test --release --test keys -- --ignored --nocapture`.

#[path = "keys/scan.rs"]
mod scan;

use proptest::prelude::*;
use scan::{Bench, Broken};
use std::collections::{BTreeMap, BTreeSet};
use whichsocket::faultmap::model::{BoardModel, Joins};
use whichsocket::observe::keys::matrix::{Fault, Matrix};
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

const BOARDS: [&str; 5] = [
    "dunlin-64",
    "64k-6510-wide",
    "64k-6510-narrow",
    "48k-z80-ula",
    "z80-ppi-vdp",
];

fn board(name: &str) -> BoardModel {
    Library::default().board(name).expect("a shipped board")
}

fn ranked(board: &BoardModel, text: &str) -> Ranking {
    let sheet = parse("keys", text.as_bytes()).expect("a sheet");
    let lost: Vec<usize> = (sheet.lines.iter())
        .filter(|l| l.not_understood.is_some())
        .map(|l| l.number)
        .collect();
    assert!(
        lost.is_empty(),
        "lines {lost:?} are not understood:\n{text}"
    );
    rank(board, &[sheet]).expect("possible")
}

/// How a technician types the keys.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Typing {
    /// Every key, good or bad.
    All,
    /// The bad ones, and that the rest is fine.
    BadAndRest,
    /// The bad ones and no more.
    Bad,
}

fn sheet(b: &Bench, keys: &[(String, String)], outside: &str, typing: Typing) -> String {
    let mut text = "came in faulty\n".to_string();
    for (key, says) in keys {
        if says != "ok" || typing == Typing::All {
            text.push_str(&format!("key \"{key}\" {says}\n"));
        }
    }
    for key in &b.outside {
        if outside != "ok" || typing == Typing::All {
            text.push_str(&format!("key \"{key}\" {outside}\n"));
        }
    }
    if typing == Typing::BadAndRest {
        text.push_str("rest fine\n");
    }
    text
}

/// Everything that is put in, single faults each, with the names of units that it may be.
fn faults(board: &BoardModel, b: &Bench) -> Vec<(Broken, BTreeSet<String>)> {
    let mut out = Vec::new();
    let mut add = |broken: Broken, units: &[String]| {
        out.push((broken, units.iter().cloned().collect::<BTreeSet<String>>()));
    };
    let of_chip = |chip: &str| {
        [
            chip.to_string(),
            format!("{chip} contacts"),
            format!("{chip} joints"),
        ]
    };
    for line in b.lines() {
        let plug = b.plug_of(board, line);
        let position = board.position(&plug).expect("a plug").1;
        let pin = (position.pins.iter())
            .find(|p| p.line.as_deref() == Some(line.as_str()))
            .expect("its pin");
        add(
            Broken::Open(plug.clone(), line.clone()),
            &[format!("{plug} pin {}", pin.label)],
        );
        add(
            Broken::Open(b.unit.clone(), line.clone()),
            std::slice::from_ref(&b.unit),
        );
        if let Some(port) = b.ports.get(line) {
            add(Broken::Open(port.clone(), line.clone()), &of_chip(port));
            // Behind a buffer sits the chip that reads its output.
            let behind = (board.positions.iter()).filter(|p| {
                p.pins
                    .iter()
                    .any(|pin| pin.line == Some(format!("{line}_BUF").into()))
            });
            for p in behind.filter(|p| p.pins.len() > 16) {
                add(Broken::Open(port.clone(), line.clone()), &of_chip(&p.name));
            }
            if board.position(port).is_some_and(|(_, p)| p.pins.len() == 2) {
                continue;
            }
            for high in [false, true] {
                add(
                    Broken::Held(port.clone(), line.clone(), high),
                    std::slice::from_ref(port),
                );
            }
        }
    }
    for list in [&b.columns, &b.rows] {
        for (i, one) in list.iter().enumerate() {
            for other in &list[i + 1..] {
                let bridge = Broken::Bridge(one.clone(), other.clone());
                add(bridge, std::slice::from_ref(&b.unit));
            }
        }
    }
    for plug in &b.plugs {
        add(Broken::Unplugged(plug.clone()), std::slice::from_ref(plug));
    }
    add(
        Broken::Unplugged(b.unit.clone()),
        std::slice::from_ref(&b.unit),
    );
    for (key, ..) in &b.keys {
        for closed in [false, true] {
            let unit = format!("key {key}");
            add(Broken::Contact(key.clone(), closed), &[unit]);
        }
    }
    out
}

/// What is counted of one way of typing.
#[derive(Default)]
struct Count {
    right: usize,
    of: usize,
    wrong: Vec<String>,
}

/// Every `step`th fault of a board, typed in three ways.
fn campaign(name: &str, step: usize) -> BTreeMap<String, Count> {
    let board = board(name);
    let b = Bench::of(&board);
    let all = faults(&board, &b);
    let sheets: Vec<Vec<(String, String)>> = all
        .iter()
        .map(|(broken, _)| b.typed(&board, std::slice::from_ref(broken)))
        .collect();
    // What no reading can tell apart: the units of all faults that give the same sheet.
    let mut alike: BTreeMap<&Vec<(String, String)>, BTreeSet<String>> = BTreeMap::new();
    for ((_, units), typed) in all.iter().zip(&sheets) {
        alike
            .entry(typed)
            .or_default()
            .extend(units.iter().cloned());
    }
    // Of two lines that touch, the places where they can.
    let near: Vec<String> = (b.ports.values())
        .flat_map(|p| [format!("{p} contacts"), format!("{p} joints")])
        .chain(b.plugs.iter().cloned())
        .collect();
    let mut counts: BTreeMap<String, Count> = BTreeMap::new();
    for (at, ((broken, _), typed)) in all.iter().zip(&sheets).enumerate() {
        if at % step != 0 || typed.iter().all(|(_, says)| says == "ok") {
            continue;
        }
        let mut right = alike[typed].clone();
        if matches!(broken, Broken::Bridge(..)) {
            right.extend(near.iter().cloned());
        }
        let unplugged = matches!(broken, Broken::Unplugged(_));
        let outside = if unplugged { "dead" } else { "ok" };
        let kind = match broken {
            Broken::Open(..) => "open",
            Broken::Held(_, _, false) => "held low",
            Broken::Held(..) => "held high",
            Broken::Bridge(..) => "bridged",
            Broken::Unplugged(_) => "unplugged",
            Broken::Contact(..) => "contact",
        };
        for typing in [Typing::All, Typing::BadAndRest, Typing::Bad] {
            let text = sheet(&b, typed, outside, typing);
            let ranking = ranked(&board, &text);
            let first = &ranking.suspects[0].name;
            let count = counts.entry(format!("{kind}, {typing:?}")).or_default();
            count.of += 1;
            // With nothing said of the other keys, many worn contacts are as good a reason as one.
            if typing == Typing::Bad && kind == "contact" {
                right.insert(b.unit.clone());
            }
            if right.contains(first) && line_is_right(&board, &b, &ranking, broken) {
                count.right += 1;
            } else {
                let leading: Vec<String> = (ranking.suspects.iter().take(4))
                    .map(|s| {
                        let mode = &board.modes[s.modes[0].0 as usize].what;
                        format!("{} ({mode}) {:.3}", s.name, s.probability)
                    })
                    .collect();
                count
                    .wrong
                    .push(format!("{broken:?}: {}", leading.join(", ")));
            }
        }
    }
    counts
}

/// The keyboard unit's leading mode names the line; no mode of a line is blamed on another line.
fn line_is_right(board: &BoardModel, b: &Bench, ranking: &Ranking, broken: &Broken) -> bool {
    let first = &ranking.suspects[0];
    if first.name != b.unit || matches!(broken, Broken::Unplugged(_)) {
        return true;
    }
    let number = |line: &String| {
        let column = b.columns.iter().position(|l| l == line);
        column
            .map(|n| format!("column {n}"))
            .or_else(|| {
                b.rows
                    .iter()
                    .position(|l| l == line)
                    .map(|n| format!("row {n}"))
            })
            .expect("a line")
    };
    let what = &board.modes[first.modes[0].0 as usize].what;
    match broken {
        Broken::Open(_, line) | Broken::Held(_, line, _) => what.contains(&number(line)),
        Broken::Bridge(one, other) => {
            let (one, other) = (number(one), number(other));
            let (kind, a) = one.split_once(' ').expect("two words");
            let b = other.split_once(' ').expect("two words").1;
            what.contains(&format!("{kind}s {a} and {b}"))
        }
        _ => what.contains("contacts"),
    }
}

fn report(name: &str, counts: &BTreeMap<String, Count>) -> (usize, usize) {
    let (mut right, mut of) = (0, 0);
    for (kind, c) in counts {
        println!("{name}: {kind}: {} of {}", c.right, c.of);
        for wrong in &c.wrong {
            println!("    {wrong}");
        }
        right += c.right;
        of += c.of;
    }
    println!("{name}: {right} of {of}");
    (right, of)
}

/// Every thirteenth fault; the numbers are coprime to those of lines and pairs, so that all kinds come.
#[test]
fn a_sample_of_line_faults_is_told_from_single_contacts() {
    let (mut right, mut of) = (0, 0);
    for name in BOARDS {
        let (r, n) = report(name, &campaign(name, 13));
        (right, of) = (right + r, of + n);
    }
    assert!(of > 250, "{of}");
    assert_eq!(right, of);
}

#[test]
#[ignore = "some minutes: every fault on every board"]
fn every_line_fault_is_told_from_single_contacts() {
    let (mut right, mut of) = (0, 0);
    for name in BOARDS {
        let (r, n) = report(name, &campaign(name, 1));
        (right, of) = (right + r, of + n);
    }
    println!("together {right} of {of}");
    assert_eq!(right, of);
}

/// The rectangle rule as published (D. Dribin, Keyboard Matrix Help, 2000): with A = (C1, R1), B = (C2, R1) and D = (C2, R2) closed,
/// C = (C1, R2) is reported although it is open, and then pressing C or releasing B changes nothing.
#[test]
fn the_rectangle_rule() {
    let board = board("dunlin-64");
    let kb = board.keyboard.as_ref().expect("a keyboard");
    let m = Matrix::new(kb).expect("a matrix");
    let key = |c: usize, r: usize| 1u128 << m.at(c, r).expect("a key");
    let good = Fault::default();
    let mut rectangles = 0;
    for (c1, c2) in pairs(m.columns) {
        for (r1, r2) in pairs(m.rows) {
            let (a, b, c, d) = (key(c1, r1), key(c2, r1), key(c1, r2), key(c2, r2));
            let all = a | b | c | d;
            assert_eq!(m.reported(&good, a | b | d), all);
            // Masking: with the phantom there, pressing it or releasing B is not seen.
            assert_eq!(m.reported(&good, all), all);
            assert_eq!(m.reported(&good, a | c | d), all);
            assert_eq!(m.reported(&good, a | b), a | b);
            assert_eq!(m.reported(&good, a | d), a | d);
            rectangles += 1;
        }
    }
    assert_eq!(rectangles, 28 * 28);
}

fn pairs(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).flat_map(move |a| (a + 1..n).map(move |b| (a, b)))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// The flood over lines against the walk over points of the independent bench, on random presses with a random fault.
    #[test]
    fn the_physics_agree_with_the_graph(
        which in 0usize..5,
        keys in proptest::collection::vec(0usize..200, 0..6),
        kind in 0usize..6,
        n in 0usize..200,
        k in 0usize..200,
    ) {
        let board = board(BOARDS[which]);
        let b = Bench::of(&board);
        let m = Matrix::new(board.keyboard.as_ref().expect("a keyboard")).expect("a matrix");
        let key = |i: usize| &b.keys[i % b.keys.len()].0;
        let pressed: Vec<&str> = keys.iter().map(|&i| key(i).as_str()).collect();
        let set = pressed.iter().fold(0u128, |s, name| s | 1 << m.key(name).expect("a key"));
        let (c, r) = (n % b.columns.len(), n % b.rows.len());
        let (column, row) = (b.columns[c].clone(), b.rows[r].clone());
        let second = (c + 1 + k % (b.columns.len() - 1)) % b.columns.len();
        let (fault, broken) = match kind {
            0 => (Fault::default(), None),
            1 => (
                Fault { open_columns: 1 << c, ..Fault::default() },
                Some(Broken::Open(b.unit.clone(), column)),
            ),
            2 => (
                Fault { open_rows: 1 << r, ..Fault::default() },
                Some(Broken::Open(b.unit.clone(), row)),
            ),
            3 => (
                Fault { low_rows: 1 << r, ..Fault::default() },
                Some(Broken::Held(String::new(), row, false)),
            ),
            4 => (
                Fault { closed: 1 << m.key(key(k)).expect("a key"), ..Fault::default() },
                Some(Broken::Contact(key(k).clone(), true)),
            ),
            _ => {
                let joins = Joins {
                    columns: true,
                    crossed: false,
                    a: c.min(second) as u8,
                    b: c.max(second) as u8,
                };
                (
                    Fault { joins: Some(joins), ..Fault::default() },
                    Some(Broken::Bridge(column, b.columns[second].clone())),
                )
            }
        };
        let here = m.reported(&fault, set);
        let there = b.scan(&board, &broken.into_iter().collect::<Vec<_>>(), &pressed);
        // An open line of the keyboard unit still joins its keys to each other there; the port does not see it. Both agree.
        let here: BTreeSet<String> = (m.keys.iter().enumerate())
            .filter(|(i, _)| here >> i & 1 == 1)
            .map(|(_, (_, _, name))| name.clone())
            .collect();
        prop_assert_eq!(here, there, "{:?}", fault);
    }
}

const DUNLIN: &str = "dunlin-64";

fn p(r: &Ranking, name: &str) -> f64 {
    let found = r.suspects.iter().find(|s| s.name == name);
    found.map_or(0.0, |s| s.probability)
}

/// A bad contact measured high accuses its key, one measured low clears it.
#[test]
fn contact_resistance_is_about_its_key() {
    let b = board(DUNLIN);
    let of = |more: &str| {
        p(
            &ranked(
                &b,
                &format!("came in faulty\nkey Q dead\nrest fine\n{more}"),
            ),
            "key Q",
        )
    };
    let (bare, high, low) = (
        of(""),
        of("key Q contact 2 kohm"),
        of("key Q contact 90 ohm"),
    );
    assert!(high > bare && bare > low, "{high} {bare} {low}");
    assert!(high > 0.9, "{high}");
}

/// Three corners pressed: the fourth is no fault, and the report says so. Two keys that share nothing: something is shorted.
#[test]
fn a_ghost_is_a_fault_only_beyond_the_rectangle_rule() {
    let b = board(DUNLIN);
    // Column 0: ESC 1 Q …, column 1: 2 W S …: ESC, 1 and W are corners, and 2 is the fourth.
    let normal = ranked(&b, "ghost 2 when ESC 1 W");
    assert!(
        normal
            .observed
            .hints
            .iter()
            .any(|h| h.text.contains("rectangle"))
    );
    assert!(normal.suspects.iter().all(|s| s.probability < 0.3));
    // ESC and W pressed, 2 appears: the fourth corner, 1, is closed for good.
    let shorted = ranked(&b, "ghost 2 when ESC W");
    assert!(p(&shorted, "key 1") > 0.01, "{}", p(&shorted, "key 1"));
    assert!(p(&shorted, "key Q") < 0.01);
}

/// A stuck direction of a control port that hangs on a row of the keys is that line; on a board with a port of its own it is not.
#[test]
fn a_stuck_stick_is_the_line_that_it_hangs_on() {
    // Pin 1 of CN9, control port 1, is KB_ROW0, U1 pin 10 (pin table of the board).
    let wide = board("64k-6510-wide");
    let text = "came in faulty\ncontrol port 1 up stuck\nrow 0 stuck\nrest fine";
    let r = ranked(&wide, text);
    assert_eq!(r.suspects[0].name, "U1");
    let dunlin = ranked(
        &board(DUNLIN),
        "came in faulty\ncontrol port 1 up stuck\nrest fine",
    );
    assert_ne!(dunlin.suspects[0].name, "A1");
    assert!(p(&dunlin, "A1") < 0.05);
}

/// One sample sheet each, with the part that it is about.
#[test]
fn samples_accuse_what_they_were_written_for() {
    let b = board(DUNLIN);
    for (name, first, mode) in [
        ("key-lifts-row", "A1", "port B bit 2 weak"),
        ("weak-port-pin", "A1", "port A bit 3 weak"),
        ("fuse-missing", "F1", "not fitted"),
        ("chip-taken-out", "T1", ""),
    ] {
        let path = format!("{}/samples/{name}.run", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).expect("a sample");
        let r = ranked(&b, &text);
        let s = &r.suspects[0];
        let what = &b.modes[s.modes[0].0 as usize].what;
        assert_eq!(s.name, first, "{name}: {what}");
        assert!(what.starts_with(mode), "{name}: {what}");
    }
}

/// A part that was renewed without a change is cleared, whatever the map holds of its rate; before, the new part led.
#[test]
fn a_part_renewed_in_vain_does_not_lead() {
    let b = board(DUNLIN);
    let bare = ranked(&b, "came in faulty\nmemory bit 3 bad\nrest fine");
    assert_eq!(bare.suspects[0].name, "M3");
    let r = ranked(
        &b,
        "came in faulty\nmemory bit 3 bad\nrest fine\nreplaced M3: no change",
    );
    let first = &r.suspects[0].name;
    assert!(first != "M3" && first != "M3 (new part)", "{first}");
    assert!(p(&r, "M3 (new part)") < 0.25, "{}", p(&r, "M3 (new part)"));
}

/// What is seen at the pins of a chip is about its pins.
#[test]
fn bent_pins_accuse_the_contacts() {
    let b = board("64k-6510-wide");
    let bare = ranked(&b, "came in faulty\npicture black");
    let bent = ranked(&b, "came in faulty\npicture black\nU19 bent pins");
    assert!((p(&bent, "U19") - p(&bare, "U19")).abs() < 0.05);
    let contacts = |r: &Ranking| p(r, "U19 contacts") + p(r, "U19 joints");
    assert!(contacts(&bent) > 3.0 * contacts(&bare));
}

/// 'Video memory bad' without a bit is one reading, not eight that only a strobe could explain.
#[test]
fn a_bank_said_to_be_bad_is_one_reading() {
    let b = board("z80-ppi-vdp");
    let r = ranked(&b, "came in faulty\nvideo memory bad\nrest fine");
    let chips = ["U31", "U32", "U33", "U34", "U35", "U36", "U37", "U38"];
    let sum: f64 = chips.iter().map(|c| p(&r, c)).sum();
    assert!(sum > 0.5, "{sum}");
}
