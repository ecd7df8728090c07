//! What the program of a machine does and what its picture shows: one for each way that a board works. Chips, wiring and faults
//! are the same for all.

use super::boards;
use super::config::Config;
use super::machine::Machine;
use super::measure;
use super::program::{self, Results};
use super::wiring::Wired;

/// A machine with its programs.
pub trait System: Send + Sync {
    /// The test run and the screen.
    fn run(&self, m: &mut Machine) -> Results;

    /// Lets the machine do what it does on the bench while a probe is held to it.
    fn exercise(&self, m: &mut Machine);

    /// A check of the map that is none of the test run's, after power-on without a cartridge: whether it is as it should be. `None`
    /// where the machine has no such thing.
    fn own(&self, _m: &mut Machine, _id: &str) -> Option<bool> {
        None
    }

    /// The probe's word at a line after that.
    fn word(&self, m: &Machine, line: usize) -> &'static str;
}

/// Boards with a machine here.
const KNOWN: [&str; 5] = [
    "dunlin-64",
    "64k-6510-wide",
    "64k-6510-narrow",
    "z80-ppi-vdp",
    "48k-z80-ula",
];

/// Whether a board is known here.
pub fn knows(board: &str) -> bool {
    KNOWN.contains(&board)
}

/// The machine of a board.
pub fn of(w: &Wired) -> Box<dyn System> {
    match w.board.as_str() {
        "z80-ppi-vdp" => Box::new(boards::vdp::Vdp::of(w)),
        "48k-z80-ula" => Box::new(boards::ula::Ula::of(w)),
        _ => Box::new(Config::of(w)),
    }
}

impl System for Config {
    fn run(&self, m: &mut Machine) -> Results {
        program::run(m, self)
    }

    fn exercise(&self, m: &mut Machine) {
        measure::exercise(m, self);
    }

    fn word(&self, m: &Machine, line: usize) -> &'static str {
        measure::tick_word(m, self, line).unwrap_or_else(|| measure::level_word(m, self, line))
    }
}
