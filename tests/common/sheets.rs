//! Random run sheets, the same for the same seed: the mixture that a club or a depot would rank. Five boards; memory lists,
//! keys, clocks, rails, levels, sound, pictures; now and then a part swapped, a second run, a slip of the keyboard.

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// A board, columns of its keyboard, and pins that a probe may be held on.
struct Board(&'static str, [&'static str; 2], [&'static str; 3]);

const BOARDS: [Board; 5] = [
    Board(
        "dunlin-64",
        ["ESC 1 Q A Z TAB CTRL F1", "E D C 4"],
        ["L10.8 low", "A1.2 pulsing", "P1.40 high"],
    ),
    Board(
        "64k-6510-wide",
        ["3 W A 4 Z S E", "7 Y G 8 B H U V"],
        ["U7.40 low", "U1.2 pulsing", "U12.14 low"],
    ),
    Board(
        "64k-6510-narrow",
        ["5 R D 6 C F T X", "9 I J 0"],
        ["U6.40 high", "U1.2 pulsing", "U4.13 low"],
    ),
    Board(
        "48k-z80-ula",
        ["A S D F G", "P O I U Y"],
        ["IC2.26 low", "IC2.6 pulsing", "IC2.16 high"],
    ),
    Board(
        "z80-ppi-vdp",
        ["Q W E", "A S D F G H"],
        ["U1.5 low", "U1.9 pulsing", "U1.8 high"],
    ),
];

/// Results that went wrong, as they are typed.
const BAD: [&str; 18] = [
    "memory bit 3 bad",
    "memory bits 1 5 bad",
    "memory bit 6 stuck low",
    "clock 1 stopped",
    "clock 2 stopped",
    "clock 1 10.0 s in 12.0 s",
    "timer 1a bad",
    "key Q dead",
    "voice 1 silent",
    "sound bad",
    "picture garbage",
    "wrong colours",
    "black screen",
    "rail 5V 4.4",
    "colour memory bad",
    "serial port bad",
    "os rom bad",
    "user port bad",
];

/// Results as they should be.
const GOOD: [&str; 8] = [
    "timer 2b ok",
    "voice 2 ok",
    "rail 5V 5.01",
    "rail 12V 12.1",
    "rom ok",
    "user port ok",
    "serial port ok",
    "keyboard ok",
];

/// Remarks and slips.
const ASIDE: [&str; 4] = [
    "note board is dusty",
    "memroy bit 2 ok",
    "the cat has been on the keyboard again",
    "complaint it worked last year",
];

/// A run sheet of 4 to about 30 lines: one to three results went wrong.
pub fn random_sheet(seed: u64) -> String {
    let mut rng = StdRng::seed_from_u64(seed);
    let board = &BOARDS[rng.random_range(0..BOARDS.len())];
    let mut lines = vec![format!("ticket {seed:06}"), format!("board {}", board.0)];
    if rng.random_bool(0.8) {
        lines.push("came in faulty".into());
    }
    for _ in 0..rng.random_range(1..=3) {
        match rng.random_range(0..10) {
            0 | 1 => memory_list(&mut rng, &mut lines),
            2 => lines.push(format!("keys dead {}", board.1[rng.random_range(0..2)])),
            3 => lines.push(board.2[rng.random_range(0..3)].into()),
            _ => lines.push(BAD[rng.random_range(0..BAD.len())].into()),
        }
    }
    for _ in 0..rng.random_range(0..=4) {
        lines.push(GOOD[rng.random_range(0..GOOD.len())].into());
    }
    if rng.random_bool(0.15) {
        lines.push(ASIDE[rng.random_range(0..ASIDE.len())].into());
    }
    if rng.random_bool(0.7) {
        lines.push("rest fine".into());
    }
    if rng.random_bool(0.1) {
        lines.push("swapped U1 with known good: no change".into());
    }
    if rng.random_bool(0.05) {
        lines.extend([
            "new run".into(),
            "memory bit 3 ok".into(),
            "rest fine".into(),
        ]);
    }
    lines.join("\n") + "\n"
}

/// Failing cells as a test lists them: one or two data bits over 4 to 16 addresses.
fn memory_list(rng: &mut StdRng, lines: &mut Vec<String>) {
    let mut mask = 1u8 << rng.random_range(0..8);
    if rng.random_bool(0.3) {
        mask |= 1 << rng.random_range(0..8);
    }
    let (start, step) = (
        0x4000 + 64 * rng.random_range(0..256),
        [1, 2, 256][rng.random_range(0..3)],
    );
    let stuck_high = rng.random_bool(0.5);
    let count = rng.random_range(4..=16);
    for k in 0..count {
        let wrote: u8 = if k % 2 == 0 { 0x55 } else { 0xAA };
        let read = if stuck_high {
            wrote | mask
        } else {
            wrote & !mask
        };
        lines.push(format!(
            "{:04X} wrote {wrote:02X} read {read:02X}",
            start + step * k
        ));
    }
    if rng.random_bool(0.5) {
        lines.push(format!("{} more", rng.random_range(10..4000)));
    }
}
