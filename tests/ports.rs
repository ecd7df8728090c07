//! Ports with the plugs that the test needs, ROM checksums by socket, and the colour memory, on every shipped board that has them.
//!
//! What hangs on which line is in the pin tables of the maps (`tests/wiring.rs`); the tests name the parts that stand in the way
//! of a signal there, not a ranking that was looked up.

#[path = "common/ranked.rs"]
mod ranked;

use ranked::{leader, p};
use std::collections::BTreeSet;
use whichsocket::diag::code;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::rank::Ranking;
use whichsocket::shipped::Library;

fn ranked(board: &str, lines: &str) -> Ranking {
    let r = ranked::ranked(board, &format!("came in faulty\n{lines}rest fine\n"));
    let unknown = (r.observed.diags.iter()).find(|(_, d)| d.code == code::NO_SUCH_CHECK);
    assert!(unknown.is_none(), "{board}: {lines}: {unknown:?}");
    r
}

fn model(board: &str) -> BoardModel {
    Library::default().board(board).expect("a shipped board")
}

/// A name without what stands behind it: `J6 pin 1` and `J6 joints` are at J6.
fn place(name: &str) -> &str {
    name.split(' ').next().unwrap_or(name)
}

/// Places among the first so many suspects.
fn first(r: &Ranking, n: usize) -> BTreeSet<&str> {
    r.suspects.iter().take(n).map(|s| place(&s.name)).collect()
}

/// Board, port, what drives or reads it there (one of them leads), and the plug that the test needs.
const PORTS: [(&str, &str, &[&str], Option<&str>); 20] = [
    ("dunlin-64", "serial", &["J10", "A1"], None),
    ("dunlin-64", "user", &["A2"], Some("LOOP")),
    ("dunlin-64", "cassette", &["A2", "C8", "J8", "Q2"], None),
    ("dunlin-64", "control 1", &["L19", "J5", "L6"], None),
    ("dunlin-64", "control 2", &["L20", "J6", "L6"], None),
    (
        "64k-6510-wide",
        "serial",
        &["U8", "U2"],
        Some("LOOP-SERIAL"),
    ),
    ("64k-6510-wide", "user", &["U2"], Some("LOOP-USER")),
    (
        "64k-6510-wide",
        "cassette",
        &["Q1", "Q2", "Q3", "U7"],
        Some("LOOP-CASSETTE"),
    ),
    ("64k-6510-wide", "cartridge", &["U17", "U15", "CN6"], None),
    (
        "64k-6510-wide",
        "control 2",
        &["CN8", "U1"],
        Some("LOOP-CONTROL"),
    ),
    (
        "64k-6510-narrow",
        "serial",
        &["U22", "U2"],
        Some("LOOP-SERIAL"),
    ),
    ("64k-6510-narrow", "user", &["U2"], Some("LOOP-USER")),
    (
        "64k-6510-narrow",
        "cassette",
        &["Q1", "Q2", "Q3", "U6"],
        Some("LOOP-CASSETTE"),
    ),
    ("64k-6510-narrow", "cartridge", &["U8", "RP4", "CN6"], None),
    (
        "64k-6510-narrow",
        "control 2",
        &["CN8", "EM1", "EM2", "EM3", "EM4", "U1"],
        Some("LOOP-CONTROL"),
    ),
    (
        "48k-z80-ula",
        "cassette",
        &["Ear0", "Mic0", "IC1"],
        Some("LOOP-CASSETTE"),
    ),
    ("z80-ppi-vdp", "user", &["U29", "U45"], Some("LOOP-PRINTER")),
    (
        "z80-ppi-vdp",
        "cassette",
        &["C7", "RY1", "U48"],
        Some("LOOP-CASSETTE"),
    ),
    ("z80-ppi-vdp", "cartridge", &["U2", "U47", "U16"], None),
    (
        "z80-ppi-vdp",
        "control 2",
        &["J4", "U24", "RA1"],
        Some("LOOP-CONTROL"),
    ),
];

/// `user port bad`, `control port 2 bad`.
fn said(port: &str) -> String {
    match port.split_once(' ') {
        Some((control, n)) => format!("{control} port {n} bad"),
        None => format!("{port} port bad"),
    }
}

/// One port alone: a part in its way or its plug leads, the plug is among the first suspects, and nothing else is before them.
#[test]
fn a_bad_port_leads_to_what_stands_in_its_way() {
    for (board, port, way, plug) in PORTS {
        let bad = said(port);
        let r = ranked(board, &format!("{bad}\n"));
        let known = |name: &str| way.contains(&name) || plug == Some(name);
        let names = first(&r, 2);
        assert!(names.iter().all(|n| known(n)), "{board} {port}: {names:?}");
        if let Some(plug) = plug {
            let before = p(&r, plug);
            assert!(before > 0.01, "{board} {port}: {plug} {before}");
            // Tried on a machine that is good, the plug is cleared.
            let cleared = ranked(
                board,
                &format!("{bad}\n\"{plug}\" good in another machine\n"),
            );
            let after = p(&cleared, plug);
            assert!(
                after < 0.35 * before,
                "{board} {port}: {plug} {before} -> {after}"
            );
        }
    }
}

/// Every port check of a board is in the table, or is a second one of the same kind.
#[test]
fn every_port_is_in_the_table() {
    for (board, _) in Library::default().list() {
        for check in &model(&board).checks {
            let Some(port) = check.id.strip_prefix("port.") else {
                continue;
            };
            // Two control ports are alike; the slot of dunlin-64 is no part of the test ('rest fine' does not speak of it).
            let port = port.replace('-', " ").replace("control 1", "control 2");
            let known = PORTS.iter().any(|(b, p, ..)| *b == board && *p == port);
            assert!(
                known || (!check.test && port == "cartridge"),
                "{board}: {port}"
            );
        }
    }
}

/// Ports that share an adapter, all bad: one adapter is more probable than a plug each. The other ports fine: not that whole adapter.
#[test]
fn several_ports_lead_to_what_they_share() {
    // U2 drives the serial and the user port of both 6510 boards (pins 2 to 9 and 10 to 17).
    for board in ["64k-6510-wide", "64k-6510-narrow"] {
        let both = ranked(board, "serial port bad\nuser port bad\n");
        assert_eq!(leader(&both), "U2", "{board}");
        for plug in ["LOOP-SERIAL", "LOOP-USER"] {
            assert!(p(&both, "U2") > 2.0 * p(&both, plug), "{board} {plug}");
        }
        let serial = ranked(board, "serial port bad\n");
        assert!(p(&both, "U2") > p(&serial, "U2"), "{board}");
        // Both control ports have one set of plugs and one adapter.
        let sticks = ranked(board, "control port 1 bad\ncontrol port 2 bad\n");
        assert_eq!(leader(&sticks), "LOOP-CONTROL", "{board}");
        assert!(p(&sticks, "LOOP-CONTROL") > 0.5, "{board}");
    }
}

/// A checksum is about the socket: by its word, by its place, or as the number that was read. A socket with two ROMs stands for both.
#[test]
fn rom_checksums_lead_to_their_sockets() {
    for (board, line, socket) in [
        ("dunlin-64", "os checksum bad", "R1"),
        ("dunlin-64", "R1 checksum bad", "R1"),
        ("dunlin-64", "R2 checksum bad", "R2"),
        ("dunlin-64", "language checksum 1234", "R2"),
        ("64k-6510-wide", "U4 checksum bad", "U4"),
        ("64k-6510-wide", "U3 checksum bad", "U3"),
        ("64k-6510-wide", "character checksum bad", "U5"),
        ("64k-6510-wide", "os checksum E1A3", "U4"),
        ("64k-6510-narrow", "U4 checksum bad", "U4"),
        ("64k-6510-narrow", "language checksum bad", "U4"),
        ("64k-6510-narrow", "character checksum bad", "U5"),
        ("48k-z80-ula", "IC5 checksum bad", "IC5"),
        ("z80-ppi-vdp", "U20 checksum bad", "U20"),
    ] {
        let r = ranked(board, &format!("{line}\n"));
        assert_eq!(leader(&r), socket, "{board}: {line}");
        assert!(p(&r, socket) > 0.5, "{board}: {line}: {}", p(&r, socket));
    }
    // Two ROMs of the wide board: what selects both comes in beside them.
    let one = ranked("64k-6510-wide", "os rom bad\n");
    let two = ranked("64k-6510-wide", "os rom bad\nlanguage rom bad\n");
    assert!(
        p(&two, "U17") > p(&one, "U17"),
        "{} {}",
        p(&one, "U17"),
        p(&two, "U17")
    );
    let names = first(&two, 3);
    assert_eq!(names, ["U17", "U3", "U4"].into());
}

/// Four bits wide, in one chip, behind a switch that joins it to the data lines (boards with a 2114 beside the picture chip).
#[test]
fn colour_memory_leads_to_its_chip() {
    for (board, chip, switch, array) in [
        ("64k-6510-wide", "U6", "U16", "U17"),
        ("64k-6510-narrow", "U19", "U21", "U8"),
    ] {
        for bit in 0..4 {
            let r = ranked(board, &format!("colour memory bit {bit} bad\n"));
            assert_eq!(leader(&r), chip, "{board} bit {bit}");
            assert!(first(&r, 2).contains(switch), "{board} bit {bit}");
        }
        let all = ranked(board, "colour memory bad\n");
        let names = first(&all, 3);
        let expected = [chip, switch, array];
        assert!(
            names.iter().all(|n| expected.contains(n)),
            "{board}: {names:?}"
        );
        // The whole of it is less often the switch of one bit, and more often what selects it.
        let one = ranked(board, "colour memory bit 1 bad\n");
        assert!(p(&all, array) > p(&one, array), "{board}");
    }
    // A board without one says so, and accuses nothing.
    for board in ["dunlin-64", "48k-z80-ula", "z80-ppi-vdp"] {
        let r = ranked::ranked(board, "works, please check\ncolour memory bit 2 bad\n");
        let told = |(_, d): &(usize, whichsocket::diag::Diag)| d.code == code::NO_SUCH_CHECK;
        assert!(r.observed.diags.iter().any(told), "{board}");
        assert!(r.observed.readings.is_empty(), "{board}");
    }
}
