//! Random run sheets, the same for the same seed.

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// Results that went wrong, as they are typed.
const BAD: [&str; 14] = [
    "memory bit 3 bad",
    "memory bits 1 5 bad",
    "4000 wrote 55 read 5D",
    "clock 1 stopped",
    "clock 2 stopped",
    "clock 1 10.0 s in 12.0 s",
    "timer 1a bad",
    "key Q dead",
    "keys A S D dead",
    "voice 1 silent",
    "sound bad",
    "picture garbage",
    "rail 5V 4.4",
    "colour memory bad",
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
    "rest fine",
];

/// A run sheet of 4 to 11 lines: one to three results went wrong.
pub fn random_sheet(seed: u64) -> String {
    let mut rng = StdRng::seed_from_u64(seed);
    let board = if rng.random_bool(0.5) {
        "dunlin-64"
    } else {
        "64k-6510-wide"
    };
    let mut text = format!("ticket {seed:06}\nboard {board}\n");
    if rng.random_bool(0.8) {
        text += "came in faulty\n";
    }
    for _ in 0..rng.random_range(1..=3) {
        text += BAD[rng.random_range(0..BAD.len())];
        text.push('\n');
    }
    for _ in 0..rng.random_range(1..=5) {
        text += GOOD[rng.random_range(0..GOOD.len())];
        text.push('\n');
    }
    text
}
