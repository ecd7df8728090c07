//! What is the two Z80 boards' alone: two banks of memory, keyboards on address lines and behind a decoder, paths pin by pin.

use super::{Board, shipped};
use std::collections::BTreeSet;
use whichsocket::faultmap::expand;

/// Between two pins of one part a path goes through it, between two parts along a line.
fn follow(b: &Board, paths: &[&[&str]]) {
    for pair in paths.iter().flat_map(|path| path.windows(2)) {
        let part = |pin: &str| pin.split_once('.').expect("a pin").0.to_string();
        let along = part(pair[0]) != part(pair[1]);
        let same = b.line(pair[0]) == b.line(pair[1]);
        assert_eq!(along, same, "{} to {}", pair[0], pair[1]);
    }
}

/// The output of a multiplexer that drives this line, and the two lines that it chooses from.
fn chosen<'b>(b: &'b Board, mux: &str, line: &str) -> (usize, BTreeSet<&'b str>) {
    let n = (1..=4)
        .find(|n| b.at(&format!("{mux}.y{n}")) == Some(line))
        .unwrap_or_else(|| panic!("{mux} does not drive {line}"));
    let from = ["a", "b"].map(|i| b.line(&format!("{mux}.{i}{n}")));
    (n, BTreeSet::from(from))
}

/// Keys stand once in the matrix, and every other name means a key.
fn matrix_is_whole(b: &Board, keys: usize) {
    let kb = b.raw.keyboard.as_ref().expect("a keyboard");
    let all: BTreeSet<&String> = kb.matrix.iter().flatten().collect();
    assert_eq!(all.len(), keys);
    for (alias, key) in &kb.aliases {
        assert!(
            all.contains(key),
            "alias {alias} means {key}, which is no key"
        );
    }
}

/// Pins of the processor, by bit, from the tables of both boards.
const Z80_DATA: [u8; 8] = [14, 15, 12, 8, 7, 9, 10, 13];
const Z80_ADDRESS: [u8; 16] = [30, 31, 32, 33, 34, 35, 36, 37, 38, 39, 40, 1, 2, 3, 4, 5];

#[test]
fn array_board_has_two_banks() {
    let folder = shipped();
    let b = Board::new(&folder, "48k-z80-ula");
    let memory = b.raw.memory.as_ref().expect("main memory");
    let (lower, upper) = (
        expand::list(&memory.bits),
        expand::list(&memory.others["upper"].bits),
    );
    let array = [18, 21, 22, 25, 27, 29, 30, 31];
    for bit in 0..8 {
        let (low, high) = (format!("IC{}", 6 + bit), format!("IC{}", 15 + bit));
        assert_eq!((&lower[bit], &upper[bit]), (&low, &high));
        let (d, ld, resistor) = (
            format!("D{bit}"),
            format!("LD{bit}"),
            format!("R{}", 1 + bit),
        );
        for pin in [2, 14] {
            assert_eq!(b.line(&format!("{low}.{pin}")), ld);
            assert_eq!(b.line(&format!("{high}.{pin}")), d);
        }
        assert_eq!(b.line(&format!("IC1.{}", array[bit])), ld);
        assert_eq!(b.line(&format!("IC2.{}", Z80_DATA[bit])), d);
        assert_eq!(b.line(&format!("{resistor}.1")), d);
        assert_eq!(b.line(&format!("{resistor}.2")), ld);
        let rails = [(1, "-5V"), (8, "+12V"), (9, "+5V"), (16, "GND")];
        let strobes = [(3, "LWE_N"), (4, "LRAS_N"), (15, "LCAS_N")];
        for (pin, line) in rails.into_iter().chain(strobes) {
            assert_eq!(b.line(&format!("{low}.{pin}")), line);
        }
        for (pin, line) in [
            (3, "UWE_N"),
            (4, "URAS_N"),
            (8, "+5V"),
            (15, "UCAS_N"),
            (16, "GND"),
        ] {
            assert_eq!(b.line(&format!("{high}.{pin}")), line);
        }
        let needs = b.function(&format!("memory.bit.{bit}"));
        assert!(
            needs.contains(&format!("{low}.cell")) && needs.contains(&format!("{resistor}.path"))
        );
        assert!(
            b.function(&format!("upper.bit.{bit}"))
                .contains(&format!("{high}.cell"))
        );
    }
    let minus = &b.raw.rails["-5V"];
    assert!(minus.guards_memory && minus.nominal < 0.0);
    assert!(
        b.raw
            .rails
            .iter()
            .all(|(name, r)| r.guards_memory == (name == "-5V"))
    );
}

#[test]
fn array_board_multiplexers_make_the_memory_addresses() {
    let folder = shipped();
    let b = Board::new(&folder, "48k-z80-ula");
    // Lower multiplexer and memory pin, upper multiplexer, line and memory pin, for A(k) and A(k+7).
    let table = [
        ("IC4", 7, "IC26", "UA0", 5),
        ("IC4", 11, "IC26", "UA2", 6),
        ("IC4", 5, "IC26", "UA1", 7),
        ("IC3", 13, "IC25", "UA3", 12),
        ("IC3", 12, "IC25", "UA4", 11),
        ("IC3", 10, "IC25", "UA5", 10),
        ("IC3", 6, "IC25", "UA6", 13),
    ];
    for (k, (lower, low_pin, upper, ua, high_pin)) in table.into_iter().enumerate() {
        let (first, second) = (format!("A{k}"), format!("A{}", k + 7));
        let pair = BTreeSet::from([first.as_str(), second.as_str()]);
        let (la, resistor) = (format!("LA{k}"), format!("R{}", 17 + k));
        let (n, from) = chosen(&b, lower, &format!("LMUX_{k}"));
        assert_eq!(from, pair, "{lower} output {n}");
        assert_eq!(b.line(&format!("{resistor}.1")), format!("LMUX_{k}"));
        assert_eq!(b.line(&format!("{resistor}.2")), la);
        assert_eq!(b.line(&format!("IC1.{}", 5 + k)), la);
        let needs = b.function(&format!("memory.address.{k}"));
        for name in [
            format!("{lower}.mux.{n}"),
            format!("{resistor}.path"),
            la.clone(),
        ] {
            assert!(needs.contains(&name), "memory.address.{k}: {name}");
        }
        let (n, from) = chosen(&b, upper, ua);
        assert_eq!(from, pair, "{upper} output {n}");
        let needs = b.function(&format!("upper.address.{k}"));
        assert!(needs.contains(&format!("{upper}.mux.{n}")) && needs.contains(&ua.to_string()));
        for chip in 0..8 {
            assert_eq!(b.line(&format!("IC{}.{low_pin}", 6 + chip)), la);
            assert_eq!(b.line(&format!("IC{}.{high_pin}", 15 + chip)), ua);
        }
    }
    let (n, from) = chosen(&b, "IC26", "UA7");
    assert_eq!(from, BTreeSet::from(["UMUX_A7_A", "UMUX_A7_B"]));
    assert!(
        b.function("upper.address.7")
            .contains(&format!("IC26.mux.{n}"))
    );
    assert!((0..8).all(|chip| b.line(&format!("IC{}.9", 15 + chip)) == "UA7"));
}

#[test]
fn array_board_keys_hang_on_address_lines() {
    let folder = shipped();
    let b = Board::new(&folder, "48k-z80-ula");
    let kb = b.raw.keyboard.as_ref().expect("a keyboard");
    assert_eq!(expand::list(&kb.connector), ["KB2", "KB1"]);
    // Pin of the foil socket for A8 to A15; the diode has the same number.
    let columns = [6, 3, 2, 1, 4, 5, 7, 8];
    for (n, (line, pin)) in expand::list(&kb.columns).iter().zip(columns).enumerate() {
        let address = format!("A{}", 8 + n);
        assert_eq!(*line, format!("KB_{address}"));
        assert_eq!(b.line(&format!("KB2.{pin}")), line);
        assert_eq!(b.line(&format!("D{pin}.2")), line);
        assert_eq!(b.line(&format!("D{pin}.1")), address);
        assert_eq!(b.line(&format!("IC2.{}", Z80_ADDRESS[8 + n])), address);
        let needs = b.function(&kb.drives.replace('#', &n.to_string()));
        assert!(needs.contains(&format!("D{pin}.path")) && needs.contains(&address));
    }
    for (n, (line, pin)) in expand::list(&kb.rows)
        .iter()
        .zip([19, 20, 23, 24, 26])
        .enumerate()
    {
        assert_eq!(b.line(&format!("IC1.{pin}")), line);
        assert_eq!(b.line(&format!("IC1.kb{n}")), line);
        assert_eq!(b.line(&format!("KB1.{}", n + 1)), line);
        assert_eq!(b.line(&format!("R{}.2", 69 - n)), line);
        let needs = b.function(&kb.reads.replace('#', &n.to_string()));
        assert!(needs.contains(&format!("IC1.keys.{n}")));
        assert!(needs.contains(&format!("R{}.pull", 69 - n)));
    }
    matrix_is_whole(&b, 40);
}

#[test]
fn array_board_paths_are_those_of_the_table() {
    let folder = shipped();
    let b = Board::new(&folder, "48k-z80-ula");
    let paths: [&[&str]; 9] = [
        // Processor clock, reset, frame interrupt, port request.
        &["IC1.32", "R24.2", "R24.1", "TR3.2", "TR3.1", "IC2.6"],
        &["IC1.39", "X1.2", "X1.1", "C73.2"],
        &["R31.1", "R31.2", "C27.1", "IC2.26"],
        &["IC1.12", "R26.2", "R26.1", "IC2.16"],
        &["IC2.20", "R27.1", "R27.2", "TR6.3", "IC1.33"],
        // Converter to -5 V and to +12 V.
        &[
            "TR4.1", "C46.1", "C46.2", "R55.1", "R55.2", "D12.1", "D12.2", "C47.2", "IC6.1",
        ],
        &[
            "T1.3", "D15.2", "D15.1", "R59.2", "R59.1", "TR5.2", "TR5.1", "R60.1", "R60.2",
            "R61.1", "R61.2", "T1.1",
        ],
        // Tape in and out, loudspeaker: one pin.
        &[
            "Ear0.2", "R36.1", "R36.2", "C32.2", "C32.1", "IC1.28", "R35.2", "R35.1", "C31.1",
            "C31.2", "Mic0.2",
        ],
        &["IC1.28", "D9.2", "D9.1", "TR7.2", "TR7.3", "LS1.2"],
    ];
    follow(&b, &paths);
}

#[test]
fn port_board_memory_bits_and_addresses() {
    let folder = shipped();
    let b = Board::new(&folder, "z80-ppi-vdp");
    let sockets = expand::list(&b.raw.memory.as_ref().expect("main memory").bits);
    // Both sides of the data buffer: A side of U23 is the processor's.
    let buffer = [8, 9, 6, 3, 2, 4, 5, 7];
    for bit in 0..8 {
        let (chip, video) = (format!("U{}", 8 + bit), format!("U{}", 38 - bit));
        assert_eq!(sockets[bit], chip);
        let d = format!("D{bit}");
        for pin in [2, 14] {
            assert_eq!(b.line(&format!("{chip}.{pin}")), d);
        }
        assert_eq!(
            b.line(&format!("U23.{}", buffer[bit])),
            format!("CPU_D{bit}")
        );
        assert_eq!(b.line(&format!("U23.{}", 20 - buffer[bit])), d);
        assert_eq!(
            b.line(&format!("U3.{}", Z80_DATA[bit])),
            format!("CPU_D{bit}")
        );
        assert_eq!(b.line(&format!("U30.{}", 17 + bit)), d);
        let needs = b.function(&format!("memory.bit.{bit}"));
        assert!(needs.contains(&format!("{chip}.cell")));
        assert!(needs.contains(&format!("U23.pass.{}", buffer[bit] - 1)));
        // The maker of the picture chip counts the video memory's bits from the other end.
        let k = 7 - bit;
        assert_eq!(b.line(&format!("{video}.2")), format!("WD{k}"));
        assert_eq!(b.line(&format!("{video}.14")), format!("RD{k}"));
        assert_eq!(b.line(&format!("U30.{}", 10 - k)), format!("WD{k}"));
        assert_eq!(b.line(&format!("U30.{}", 32 - k)), format!("RD{k}"));
        assert!(
            b.function(&format!("video.bit.{bit}"))
                .contains(&format!("{video}.cell"))
        );
    }
    for (k, pin) in [5, 7, 6, 12, 11, 10, 13, 9].into_iter().enumerate() {
        let (mux, line) = (if k < 4 { "U6" } else { "U7" }, format!("L{k}"));
        let (n, from) = chosen(&b, mux, &line);
        let (row, column) = (format!("A{k}"), format!("A{}", k + 8));
        assert_eq!(
            from,
            BTreeSet::from([row.as_str(), column.as_str()]),
            "{mux} output {n}"
        );
        assert!((8..16).all(|chip| b.line(&format!("U{chip}.{pin}")) == line));
        assert!(
            b.function(&format!("memory.address.{k}"))
                .contains(&format!("{mux}.mux.{n}"))
        );
    }
}

#[test]
fn port_board_keys_go_through_decoder_and_port() {
    let folder = shipped();
    let b = Board::new(&folder, "z80-ppi-vdp");
    let kb = b.raw.keyboard.as_ref().expect("a keyboard");
    let decoder = [1, 2, 3, 4, 5, 6, 7, 9, 10];
    for (n, (line, pin)) in expand::list(&kb.columns).iter().zip(decoder).enumerate() {
        for at in [
            format!("U19.{pin}"),
            format!("U19.y{n}"),
            format!("J7.{}", 2 + 2 * n),
            format!("JN1.{}", n + 1),
        ] {
            assert_eq!(b.line(&at), line, "{at}");
        }
        let scan = kb.drives.replace('#', "0..8");
        assert!(b.function(&scan).contains(&"U19.decode.#".to_string()));
    }
    for (n, line) in expand::list(&kb.rows).iter().enumerate() {
        for at in [
            format!("J7.{}", 1 + 2 * n),
            format!("JN2.{}", n + 1),
            format!("RA3.{}", 9 - n),
        ] {
            assert_eq!(b.line(&at), line, "{at}");
        }
        let needs = b.function(&kb.reads.replace('#', &n.to_string()));
        assert!(needs.contains(&format!("U18.port-b.{n}")));
        assert!(needs.contains(&format!("RA3.pull.{}", 8 - n)));
        // Rows 0, 2 and 4 go through a buffer, the others straight to the port.
        let (port, buffered) = (format!("U18.{}", 18 + n), matches!(n, 0 | 2 | 4));
        assert_eq!(
            b.line(&port),
            if buffered {
                format!("{line}_BUF")
            } else {
                line.clone()
            }
        );
        assert_eq!(needs.contains(&format!("U52.pass.{}", n / 2 + 1)), buffered);
    }
    for bit in 0..4 {
        let line = format!("PPI_PC{bit}");
        assert_eq!(b.line(&format!("U18.{}", 14 + bit)), line);
        assert_eq!(b.line(&format!("U18.pc{bit}")), line);
        assert_eq!(b.line(&format!("U19.{}", 15 - bit)), line);
        // The outputs whose number has this bit need the input of the decoder.
        let input = ["a", "b", "c", "d"][bit];
        for (name, f) in b.wired["U19"]
            .functions
            .iter()
            .filter(|(f, _)| f.starts_with("decode."))
        {
            let number: usize = name["decode.".len()..].parse().expect("a number");
            assert_eq!(
                expand::list(&f.needs).iter().any(|n| n == input),
                number >> bit & 1 == 1,
                "{name}"
            );
        }
    }
    matrix_is_whole(&b, 72);
}

#[test]
fn port_board_paths_are_those_of_the_table() {
    let folder = shipped();
    let b = Board::new(&folder, "z80-ppi-vdp");
    let paths: [&[&str]; 11] = [
        // Clock, from the crystal to processor and sound chip.
        &[
            "Y2.1", "Y2.2", "C83.2", "C83.1", "U53.9", "U53.8", "C82.1", "C82.2", "U53.1", "U53.3",
        ],
        &["U53.12", "U53.11", "U49.3", "U49.5"],
        &["U49.11", "U49.9", "U24.22"],
        &["U49.9", "U2.6", "U2.7", "U3.6"],
        // Reset.
        &["R21.2", "C36.1", "R19.2", "R19.1", "Q3.2", "Q3.1", "U18.35"],
        &["Q3.1", "U41.14", "U41.13", "U3.26"],
        // Frame interrupt.
        &["U30.16", "U42.9", "U42.8", "U3.16"],
        // Sound.
        &[
            "U24.4", "C77.1", "C77.2", "R42.1", "R42.2", "C76.1", "C76.2", "J6.1",
        ],
        // Tape in, tape out.
        &[
            "J2.5", "C6.2", "C6.1", "R11.2", "R11.1", "U48.3", "U48.7", "U24.14",
        ],
        &[
            "U18.12", "C1.1", "C1.2", "R30.2", "R30.1", "R25.2", "R25.1", "J2.2",
        ],
        // Tape motor.
        &["U18.13", "R29.1", "R29.2", "Q1.2", "Q1.3", "RY1.5"],
    ];
    follow(&b, &paths);
    // Two gates of U53 and the two halves of U49 meet on a line.
    assert_eq!(b.line("U53.3"), b.line("U53.12"));
    assert_eq!(b.line("U49.5"), b.line("U49.11"));
    // Control ports: direction and button lines to the selectors, trigger outputs to the buttons.
    for (pin, a, out) in [
        (1, "U26.2", "U24.21"),
        (2, "U26.5", "U24.20"),
        (3, "U26.11", "U24.19"),
        (4, "U26.14", "U24.18"),
        (6, "U27.2", "U24.17"),
        (7, "U27.5", "U24.16"),
    ] {
        assert_eq!(b.line(&format!("J3.{pin}")), b.line(a));
        let chip = &out[4..];
        let bit = 21 - chip.parse::<usize>().expect("a pin");
        assert_eq!(b.line(out), format!("PSG_IOA{bit}"));
        assert_eq!(b.line(&format!("U24.ioa{bit}")), format!("PSG_IOA{bit}"));
    }
}
