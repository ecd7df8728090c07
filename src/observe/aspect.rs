//! How a condition on the board is described by the person who sees it.
//!
//! A row a kind of condition, a column an aspect: the probability that trouble of this kind, when it shows at all, is
//! described so. A stuck-low line is called `low`, hardly ever `high`; a missing signal is called `dead`, but a logic
//! probe on an open TTL input reads high. All figures are guesses from the meaning of the words, except where noted.

use crate::faultmap::model::Kind;

/// What a result says beyond pass or fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Aspect {
    /// Not as it should be, no more said.
    Trouble,
    /// The same for a check that also shows speed: clocks, pitch, frequencies.
    TroubleOrSpeed,
    /// Nothing there, stopped, silent, missing.
    Dead,
    /// Stuck or too low.
    Low,
    /// Stuck or too high.
    High,
    /// A supply above its limit: unlike a logic line, a rail that is open does not read high.
    OverVoltage,
    /// Too slow.
    Slow,
    /// Too fast.
    Fast,
    /// Wrong contents.
    Wrong,
    /// Noisy, weak, distorted.
    Noisy,
    /// Neither high nor low.
    Floating,
    /// Of a clock: it skips or repeats.
    Jumps,
    /// Of a clock: now too slow, now too fast.
    Drifts,
    /// A key that is reported without being pressed: unlike a logic line, an open one does not read so.
    Pressed,
    /// Otherwise than high, on a line that is high at rest.
    NotHigh,
    /// Otherwise than low, on a line that is low at rest.
    NotLow,
    /// Standing still, on a line that should move.
    NotMoving,
}

impl Aspect {
    /// Whether a thing that is not there can be described so.
    pub fn fits_absence(self) -> bool {
        use Aspect::{Dead, Trouble, TroubleOrSpeed, Wrong};
        matches!(self, Trouble | TroubleOrSpeed | Dead | Wrong)
    }

    /// P(described as this aspect | trouble of this kind shows).
    pub fn describes(self, kind: Kind) -> f64 {
        use Aspect::*;
        // Columns: Lost, Low, High, Wrong, Slow, Fast, Noisy.
        let row = match self {
            Trouble => [1.0, 1.0, 1.0, 1.0, 0.05, 0.05, 0.6],
            TroubleOrSpeed => [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.6],
            Dead => [0.9, 0.7, 0.6, 0.05, 0.02, 0.02, 0.05],
            Low => [0.4, 0.95, 0.02, 0.1, 0.02, 0.02, 0.1],
            // An open TTL input floats to about 1.5 V and reads high: common practice, no source.
            High => [0.5, 0.02, 0.95, 0.1, 0.02, 0.02, 0.1],
            OverVoltage => [0.01, 0.01, 0.95, 0.02, 0.01, 0.01, 0.02],
            Slow => [0.02, 0.02, 0.02, 0.1, 0.95, 0.01, 0.1],
            Fast => [0.02, 0.02, 0.02, 0.1, 0.01, 0.95, 0.1],
            Wrong => [0.3, 0.4, 0.4, 0.9, 0.1, 0.1, 0.3],
            Noisy => [0.1, 0.1, 0.1, 0.2, 0.05, 0.05, 0.9],
            Pressed => [0.005, 0.95, 0.005, 0.1, 0.005, 0.005, 0.1],
            Floating => [0.6, 0.02, 0.05, 0.02, 0.01, 0.01, 0.05],
            // A lost data bit or doubled ticks.
            Jumps => [0.05, 0.05, 0.05, 0.7, 0.02, 0.2, 0.9],
            Drifts => [0.01, 0.01, 0.01, 0.2, 0.3, 0.3, 0.7],
            // What rests high is mostly pulled up, so nobody driving it does not show; what rests low is mostly driven.
            NotHigh => [0.2, 1.0, 0.02, 0.4, 0.2, 0.2, 0.5],
            NotLow => [0.5, 0.02, 1.0, 0.4, 0.2, 0.2, 0.5],
            // Wrong contents move as right ones do, and a probe does not tell speed.
            NotMoving => [1.0, 1.0, 1.0, 0.1, 0.1, 0.05, 0.2],
        };
        row[kind as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::faultmap::model::KINDS;

    #[test]
    fn the_plain_word_fits_best() {
        let pairs = [
            (Aspect::Dead, Kind::Lost),
            (Aspect::Low, Kind::Low),
            (Aspect::High, Kind::High),
            (Aspect::OverVoltage, Kind::High),
            (Aspect::Slow, Kind::Slow),
            (Aspect::Fast, Kind::Fast),
            (Aspect::Wrong, Kind::Wrong),
            (Aspect::Noisy, Kind::Noisy),
        ];
        for (aspect, kind) in pairs {
            for other in KINDS.into_iter().filter(|&k| k != kind) {
                assert!(
                    aspect.describes(kind) > aspect.describes(other),
                    "{aspect:?} {other:?}"
                );
            }
        }
    }
}
