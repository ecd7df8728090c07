//! What is the narrow 6510 board's alone: four bits a memory chip, addresses made in one array, paths pin by pin.

use super::{Board, shipped};
use whichsocket::faultmap::expand;

/// Table of the narrow board: data bit, socket, pin, number of the output in the chip's data sheet.
const NARROW_BITS: [(usize, &str, u8, u8); 8] = [
    (0, "U10", 2, 1),
    (1, "U10", 3, 2),
    (2, "U10", 15, 3),
    (3, "U10", 17, 4),
    (4, "U11", 2, 1),
    (5, "U11", 3, 2),
    (6, "U11", 15, 3),
    (7, "U11", 17, 4),
];

#[test]
fn narrow_memory_holds_four_bits_a_socket() {
    let folder = shipped();
    let b = Board::new(&folder, "64k-6510-narrow");
    let memory = b.raw.memory.as_ref().expect("main memory");
    assert_eq!(memory.width, 4);
    let sockets = expand::list(&memory.bits);
    for (bit, socket, pin, output) in NARROW_BITS {
        assert_eq!(sockets[bit / usize::from(memory.width)], socket);
        assert_eq!(b.line(&format!("{socket}.{pin}")), format!("D{bit}"));
        assert_eq!(b.line(&format!("{socket}.dq{output}")), format!("D{bit}"));
        assert!(
            b.function(&format!("memory.bit.{bit}"))
                .contains(&format!("{socket}.cell.{output}"))
        );
    }
    for socket in ["U10", "U11"] {
        for (pin, line) in [
            (5, "RAS_N"),
            (16, "CASRAM_RAM_N"),
            (4, "RAM_RW"),
            (1, "GND"),
            (9, "+5V"),
            (18, "GND"),
        ] {
            assert_eq!(b.line(&format!("{socket}.{pin}")), line);
        }
    }
}

#[test]
fn narrow_array_makes_the_memory_address() {
    let folder = shipped();
    let b = Board::new(&folder, "64k-6510-narrow");
    // U8 pin, 41464 pin, video chip pin, line at the video chip, U8 pin of that line.
    let table = [
        (26, 6, 24, "MA0", 26),
        (29, 13, 25, "MA1", 29),
        (27, 12, 26, "MA2", 27),
        (25, 11, 27, "MA3", 25),
        (28, 8, 28, "MA4", 28),
        (30, 7, 29, "MA5", 30),
        (24, 14, 30, "VIDEO_A6", 41),
        (31, 10, 31, "VIDEO_A7", 42),
    ];
    let array = &b.wired["U8"];
    for (k, (array_pin, memory_pin, video_pin, video_line, enters)) in table.into_iter().enumerate()
    {
        let ma = format!("MA{k}");
        assert_eq!(b.line(&format!("U8.{array_pin}")), ma);
        assert_eq!(b.line(&format!("U8.m{k}")), ma);
        assert_eq!(b.line(&format!("U10.{memory_pin}")), ma);
        assert_eq!(b.line(&format!("U11.{memory_pin}")), ma);
        assert_eq!(b.line(&format!("U7.{video_pin}")), video_line);
        assert_eq!(b.line(&format!("U7.a{k}")), video_line);
        assert_eq!(b.line(&format!("U8.{enters}")), video_line);
        // The pair inside U8 is from memory: what is tested is that the map says the same everywhere.
        let mux = array
            .functions
            .iter()
            .find(|(f, _)| *f == format!("mux.{k}"));
        let needs = expand::list(&mux.expect("a multiplexer").1.needs);
        for bit in [k, k + 8] {
            assert!(needs.contains(&format!("a{bit}")), "mux.{k}");
            assert_eq!(b.line(&format!("U8.a{bit}")), format!("A{bit}"));
        }
        let function = b.function(&format!("memory.address.{k}"));
        assert!(function.contains(&ma) && function.contains(&format!("U8.mux.{k}")));
    }
}

/// The narrow board's paths through two-pin parts and gates, pin by pin from its table: what comes in, what goes out.
#[test]
fn narrow_paths_are_those_of_the_table() {
    let folder = shipped();
    let b = Board::new(&folder, "64k-6510-narrow");
    let paths: [&[&str]; 7] = [
        // Mains tick, from the leg without the fuse.
        &[
            "CN7.6", "L1.6", "L1.5", "SW1.2", "SW1.1", "R16.2", "R16.1", "U23.1", "U23.2", "U1.19",
        ],
        // Restore key.
        &[
            "CN1.3", "L4.1", "L4.2", "U23.11", "U23.10", "U8.9", "U8.8", "U22.11", "U22.10", "U6.4",
        ],
        // Power-on reset, to the board and to the serial port.
        &["RP3.3", "U23.5", "U23.6", "U22.1", "U22.2", "U6.40"],
        &["C43.1", "U23.5", "U23.6", "U22.5", "U22.6", "CN4.6"],
        // Sound.
        &[
            "U9.27", "R9.2", "R9.1", "Q3.B", "Q3.E", "C77.1", "C77.2", "CN5.3",
        ],
        // Supply of the sound chip.
        &["CR3.1", "R100.1", "R100.2", "Q5.B", "Q5.E", "U9.28"],
        // 5 V.
        &["CN7.5", "L1.2", "L1.1", "SW1.5", "SW1.4", "U6.6"],
    ];
    // Between two pins of one part the path goes through it, between two parts along a line.
    for path in paths {
        for pair in path.windows(2) {
            let part = |pin: &str| pin.split_once('.').expect("a pin").0.to_string();
            if part(pair[0]) != part(pair[1]) {
                assert_eq!(
                    b.line(pair[0]),
                    b.line(pair[1]),
                    "{} to {}",
                    pair[0],
                    pair[1]
                );
            } else {
                assert_ne!(
                    b.line(pair[0]),
                    b.line(pair[1]),
                    "{} to {}",
                    pair[0],
                    pair[1]
                );
            }
        }
    }
    for clock in ["U1.19", "U2.19"] {
        assert_eq!(b.line(clock), b.line("U23.2"));
    }
}

/// An alternating supply is one loop: no voltage between its legs whichever leg is open.
#[test]
fn a_rail_between_two_legs_is_lost_with_either() {
    let m = whichsocket::shipped::Library::default()
        .board("64k-6510-narrow")
        .expect("the board");
    let rail = m.check("rail.9VAC").expect("a rail");
    let five = m.check("rail.+5V").expect("a rail");
    let shows = |check: &whichsocket::faultmap::model::CheckDef, unit: &str, what: &str| {
        check.reads.iter().any(|r| {
            m.nodes[r.node as usize].touches.iter().any(|t| {
                let mode = &m.modes[t.mode as usize];
                m.units[mode.unit as usize].name == unit && mode.what.contains(what)
            })
        })
    };
    for (unit, what) in [
        ("F1", "blown"),
        ("SW1", "pole 1 does not close"),
        ("L1", "winding 3"),
        ("L1", "winding 4"),
    ] {
        assert!(shows(rail, unit, what), "{unit}: {what}");
        assert!(!shows(five, unit, what), "{unit}: {what}");
    }
    assert!(shows(five, "SW1", "pole 2 does not close"));
}
