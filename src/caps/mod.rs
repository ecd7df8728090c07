//! Capacitors: what is printed on one, what was measured, and whether to keep it.
//!
//! [`entry`] reads a line, [`limits`] holds the tables and formulas, [`assess`] decides. Nothing is replaced for its age alone.

pub mod assess;
pub mod entry;
pub mod limits;

pub use assess::{Judged, Verdict, judge};
pub use entry::{CapReading, Fault, Marking, parse};

/// Said wherever somebody is told to measure or to change a capacitor.
pub const CAUTION: &str = "A capacitor may still be charged: switch off, unplug, discharge it through a resistor (not by a \
short) and measure before you touch it. In a mains part or at a picture tube leave that to those who are licensed for it; \
local rules come first.";
