//! The boards of the campaign: two shipped ones, and two made from the school computer's map by giving it other memory.
//!
//! What is stated here of addresses and data lines is read off the pins of the maps, by hand.

use crate::sim::wiring::{Bank, regular};
use std::path::Path;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::shipped::Library;

/// A board with its memory as wired.
pub struct Board {
    pub model: BoardModel,
    pub banks: Vec<Bank>,
}

/// Pins that lie side by side on a 4164 (data sheet): 5-6-7, 9-10-11-12-13.
const BESIDE_X1: [(u32, u32); 6] = [(0, 2), (2, 1), (7, 5), (5, 4), (4, 3), (3, 6)];
/// On a 41464 (18 pins): 6-7-8, 10-11-12-13-14.
const BESIDE_X4: [(u32, u32); 6] = [(6, 5), (5, 4), (7, 3), (3, 2), (2, 1), (1, 0)];

fn names(all: &[&str]) -> Vec<String> {
    all.iter().map(|s| s.to_string()).collect()
}

fn numbered(stem: &str, n: usize) -> Vec<String> {
    (0..n).map(|i| format!("{stem}{i}")).collect()
}

/// All boards of the campaign.
pub fn all() -> Vec<Board> {
    vec![dunlin(), wide(), four_bit(), two_banks()]
}

/// Eight 64K x 1 behind 74LS257: A0-A7 row, A8-A15 column; memory has data lines of its own.
pub fn dunlin() -> Board {
    Board {
        model: Library::default().board("dunlin-64").unwrap(),
        banks: vec![Bank {
            prefix: "memory",
            from: 0,
            to: 0xFFFF,
            sockets: numbered("M", 8),
            width: 1,
            pairs: regular(8, 8, 16),
            beside: BESIDE_X1.to_vec(),
            own_data: true,
            own_write: true,
        }],
    }
}

/// Eight 64K x 1, series resistor packs in the address lines, data lines shared with everything.
fn wide() -> Board {
    Board {
        model: Library::default().board("64k-6510-wide").unwrap(),
        banks: vec![Bank {
            prefix: "memory",
            from: 0,
            to: 0xFFFF,
            sockets: names(&["U21", "U9", "U22", "U10", "U23", "U11", "U24", "U12"]),
            width: 1,
            pairs: regular(8, 8, 16),
            beside: BESIDE_X1.to_vec(),
            own_data: false,
            own_write: false,
        }],
    }
}

/// The school computer's map with these pieces exchanged.
fn altered(name: &str, exchange: &[(&str, String)]) -> BoardModel {
    let maps = Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps");
    let mut text = std::fs::read_to_string(maps.join("boards/dunlin-64.yaml")).unwrap();
    for (old, new) in exchange {
        assert!(
            text.contains(old),
            "the map of the school computer has changed: no '{old}'"
        );
        text = text.replace(old, new);
    }
    let dir = tempfile::tempdir().unwrap();
    for folder in ["boards", "parts"] {
        std::fs::create_dir(dir.path().join(folder)).unwrap();
    }
    for part in std::fs::read_dir(maps.join("parts")).unwrap() {
        let part = part.unwrap();
        std::fs::copy(part.path(), dir.path().join("parts").join(part.file_name())).unwrap();
    }
    std::fs::write(dir.path().join("parts/memory-four-bit.yaml"), FOUR_BIT).unwrap();
    std::fs::write(dir.path().join(format!("boards/{name}.yaml")), text).unwrap();
    let library = Library::open(Some(dir.path())).unwrap_or_else(|e| panic!("{e}"));
    library.board(name).unwrap()
}

/// A 64K x 4 chip: pins as published for the 18-pin package.
const FOUR_BIT: &str = r##"
family: memory-four-bit
what: dynamic memory, 65536 x 4 bits
class: memory
pins: oe dq1 dq2 we ras a6 a5 a4 vcc a7 a3 a2 a1 a0 dq3 cas dq4 vss
functions:
  cell.1..4: {what: "stores and gives back bit # of its four", needs: "dq# oe we ras cas a0..7", power: vcc vss, drives: "dq#"}
modes:
  dead: {what: all four outputs dead, loses: cell.1..4, share: 14, source: guess}
  low.1..4: {what: "output # always reads 0", low: "cell.#", share: 10, source: guess}
  high.1..4: {what: "output # always reads 1", high: "cell.#", share: 8, source: guess}
  open.1..4: {what: "output # dead", loses: "cell.#", share: 7, source: guess}
  cells.1..4: {what: "cells of output # bad", wrong: "cell.#", share: 22, source: guess}
  rows: {what: "bad row or column in all four bits", wrong: cell.1..4, share: 14, source: guess}
  warm: {what: fails when warm, wrong: cell.1..4, flaky: 0.45, share: 10, source: guess}
  address-low.0..7: {what: "address pin # holds the line of all chips low", low: "a#", share: 1, notice: 1.0, source: guess}
  pins-6-7: {what: pins 6 and 7 joined, wrong: a6 a5, share: 0.3, notice: 1.0, source: guess}
  pins-7-8: {what: pins 7 and 8 joined, wrong: a5 a4, share: 0.3, notice: 1.0, source: guess}
  pins-10-11: {what: pins 10 and 11 joined, wrong: a7 a3, share: 0.3, notice: 1.0, source: guess}
  pins-11-12: {what: pins 11 and 12 joined, wrong: a3 a2, share: 0.3, notice: 1.0, source: guess}
  pins-12-13: {what: pins 12 and 13 joined, wrong: a2 a1, share: 0.3, notice: 1.0, source: guess}
  pins-13-14: {what: pins 13 and 14 joined, wrong: a1 a0, share: 0.3, notice: 1.0, source: guess}
rate: {micro: {technology: mos-dram, size: 262144, tj: 50}}
field: {factor: 1.5, source: guess}
warmth: warm
"##;

/// The lines of the eight chips in the school computer's map.
fn without_chips() -> Vec<(String, String)> {
    let maps = Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps/boards/dunlin-64.yaml");
    let text = std::fs::read_to_string(maps).unwrap();
    let chips = text.lines().filter(|l| l.contains("{family: memory-4164,"));
    chips.map(|l| (format!("{l}\n"), String::new())).collect()
}

/// Two 64K x 4.
fn four_bit() -> Board {
    let chip = |i: usize| {
        let md = |k: usize| format!("MD{}", 4 * i + k);
        format!(
            "  N{i}: {{family: memory-four-bit, type: \"41464\", role: \"data bits {} to {}\", socket: true, pins: \"GND {} {} WE_N RAS_N MA6 MA5 MA4 +5V MA7 MA3 MA2 MA1 MA0 {} CAS_N {} GND\"}}\n",
            4 * i,
            4 * i + 3,
            md(0),
            md(1),
            md(2),
            md(3)
        )
    };
    let bits: Vec<String> = (0..8)
        .map(|b| format!("  memory.bit.{b}: {{reads: N{}.cell.{} memory-read.{b} address.0..7@0.9, test: true, what: data bit {b}}}", b / 4, b % 4 + 1))
        .collect();
    let removed = without_chips();
    let mut exchange: Vec<(&str, String)> = removed
        .iter()
        .map(|(l, _)| (l.as_str(), String::new()))
        .collect();
    let all = |w: &str| format!("N0.cell.1..4{w} N1.cell.1..4{w}");
    exchange.extend([
        ("board: dunlin-64\n", "board: four-bit\n".to_string()),
        ("  # Row address on the B inputs", format!("{}{}  # Row address on the B inputs", chip(0), chip(1))),
        ("  memory.bit.0..7: {reads: \"M#.cell memory-read.# address.0..7@0.9\", test: true, what: \"data bit # of main memory\", minutes: 2}", bits.join("\n")),
        ("memory: {bits: M0..7, width: 1,", "memory: {bits: N0..1, width: 4,".into()),
        ("M0..7.cell@0.7", all("@0.7")),
        ("M0..7.cell@0.6", all("@0.6")),
        ("M0..7.cell@0.1", all("@0.1")),
        ("M0.15}", "N0.16}".into()),
        ("M0.4}", "N0.5}".into()),
        ("M0.3}", "N0.4}".into()),
        ("M0.8,", "N0.9,".into()),
        ("at: M0.14}", "at: N0.2}".into()),
        ("at: M1.14}", "at: N0.3}".into()),
        ("at: M2.14}", "at: N0.15}".into()),
        ("at: M3.14}", "at: N0.17}".into()),
        ("at: M4.14}", "at: N1.2}".into()),
        ("at: M5.14}", "at: N1.3}".into()),
        ("at: M6.14}", "at: N1.15}".into()),
        ("at: M7.14}", "at: N1.17}".into()),
    ]);
    Board {
        model: altered("four-bit", &exchange),
        banks: vec![Bank {
            prefix: "memory",
            from: 0,
            to: 0xFFFF,
            sockets: numbered("N", 2),
            width: 4,
            pairs: regular(8, 8, 16),
            beside: BESIDE_X4.to_vec(),
            own_data: true,
            own_write: true,
        }],
    }
}

/// 16K x 1 at 4000-7FFF behind one pair of multiplexers, 32K x 1 at 8000-FFFF behind another, as boards with an upper bank have it: A0-A6
/// are the row, A7-A13 the column; A14 has a line of its own in the upper bank.
fn two_banks() -> Board {
    let lower: String = (0..8)
        .map(|b| format!("  K{b}: {{family: memory-4164, type: \"4116\", role: lower memory, socket: true, pins: \"- D{b} WE_N RAS_N MA0 MA2 MA1 +5V GND MA5 MA4 MA3 MA6 MD{b} CASL_N GND\"}}\n"))
        .collect();
    let upper: String = (0..8)
        .map(|b| format!("  M{b}: {{family: memory-4164, type: \"4532\", role: upper memory, socket: true, pins: \"- D{b} WE_N RAS_N UA0 UA2 UA1 +5V UA7 UA5 UA4 UA3 UA6 MD{b} CASU_N GND\"}}\n"))
        .collect();
    let more = concat!(
        "  L21: {family: logic-74ls257, type: 74LS257, role: upper memory address, socket: true, pins: MUX A7 A0 UA0 A8 A1 UA1 GND UA2 A2 A9 UA3 A3 A10 PHI2_N +5V}\n",
        "  L22: {family: logic-74ls257, type: 74LS257, role: upper memory address, socket: true, pins: MUX A11 A4 UA4 A12 A5 UA5 GND UA6 A6 A13 UA7 A14 A14 PHI2_N +5V}\n",
        "  L23: {family: logic-74ls32, type: 74LS32, role: column strobes of the banks, socket: true, pins: CAS_N A15 CASL_N CAS_N A14 CASU_N GND - GND GND - GND GND +5V}\n",
    );
    let lines: String = (0..8)
        .map(|k| {
            let (chip, y) = (21 + k / 4, k % 4 + 1);
            format!("  upper.address.{k}: {{what: upper memory address line {k}, needs: L{chip}.mux.{y} L{chip}.y{y} UA{k}}}\n")
        })
        .collect();
    let checks = "  memory.bit.0..7: {reads: \"K#.cell memory-read.# address.0..6@0.9\", test: true, what: \"data bit # of the lower memory\"}\n  upper.bit.0..7: {reads: \"M#.cell memory-read.# upper.address.0..7@0.9\", test: true, what: \"data bit # of the upper memory\"}\n  upper.address.0..7: {reads: \"upper.address.#\", test: true, what: \"address line # of the upper memory\"}\n  upper.strobe.cas: {reads: CASU_N, test: true, what: column strobe of the upper memory}\n  upper.refresh: {reads: V1.address L3.mux.1..4@0.6 L4.mux.1..4@0.6, test: true, what: refresh of the upper memory}\n  upper.write: {reads: WE_N, test: true, what: write of the upper memory}";
    let removed = without_chips();
    let mut exchange: Vec<(&str, String)> = removed
        .iter()
        .map(|(l, _)| (l.as_str(), String::new()))
        .collect();
    exchange.extend([
        ("board: dunlin-64\n", "board: two-banks\n".to_string()),
        ("  # Row address on the B inputs", format!("{lower}{upper}{more}  # Row address on the B inputs")),
        ("pins: MUX A8 A0 MA0 A9 A1 MA1 GND MA2 A2 A10 MA3 A3 A11 PHI2_N +5V", "pins: MUX A7 A0 MA0 A8 A1 MA1 GND MA2 A2 A9 MA3 A3 A10 PHI2_N +5V".into()),
        ("pins: MUX A12 A4 MA4 A13 A5 MA5 GND MA6 A6 A14 MA7 A7 BANK PHI2_N +5V", "pins: MUX A11 A4 MA4 A12 A5 MA5 GND MA6 A6 A13 MA7 A7 BANK PHI2_N +5V".into()),
        ("  address.0: {what: memory address line 0", format!("{lines}  address.0: {{what: memory address line 0")),
        ("  memory.bit.0..7: {reads: \"M#.cell memory-read.# address.0..7@0.9\", test: true, what: \"data bit # of main memory\", minutes: 2}", checks.into()),
        ("memory.address.0..7: {reads:", "memory.address.0..6: {reads:".into()),
        ("  memory.strobe.cas: {reads: CAS_N MUX@0.3,", "  memory.strobe.cas: {reads: CASL_N,".into()),
        ("memory: {bits: M0..7, width: 1, from: 0, to: 65535}", "memory: {bits: K0..7, width: 1, from: 16384, to: 32767, column: 7, others: {upper: {bits: M0..7, from: 32768, to: 65535, column: 7}}}".into()),
        (" M0.15}", "}".into()),
    ]);
    let bank = |prefix, from, to, stem, lines, bits, beside: &[(u32, u32)]| Bank {
        prefix,
        from,
        to,
        sockets: numbered(stem, 8),
        width: 1,
        pairs: regular(lines, 7, bits),
        beside: beside.to_vec(),
        own_data: true,
        own_write: true,
    };
    let low: Vec<(u32, u32)> = BESIDE_X1
        .iter()
        .copied()
        .filter(|p| p.0 != 7 && p.1 != 7)
        .collect();
    Board {
        model: altered("two-banks", &exchange),
        banks: vec![
            bank("memory", 0x4000, 0x7FFF, "K", 7, 14, &low),
            bank("upper", 0x8000, 0xFFFF, "M", 8, 15, &BESIDE_X1),
        ],
    }
}
