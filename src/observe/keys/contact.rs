//! The resistance of a key's contact while it is pressed.
//!
//! What a port still reads as low: with a pull-up R from V and an output that gives VOL, a contact of r ohms gives
//!
//! V(r) = VOL + (V − VOL) · r / (r + R) ≤ VIL
//!
//! At worst (6526 data sheet: VOL 0.4 V, VIL 0.8 V, pull-up 3.1 kΩ, 5.25 V) up to 279 Ω, typically (0.2 V, 5 kΩ, 5.0 V) up to
//! 714 Ω. Makers name less than 200 Ω for carbon pills, less than 100 Ω on metal pads, 600 to 1000 Ω on carbon pads.

/// Limits of the classes in ohms: below the first good, below the second marginal, else unreliable.
pub const LIMITS: [f64; 2] = [200.0, 700.0];

/// P(class | contact fine), P(class | contact at fault) for good, marginal, unreliable. Guesses; columns add up to one. The
/// marginal and unreliable shares of a fine one are pads of carbon, which read high when they are good.
pub const CLASSES: [(f64, f64); 3] = [(0.90, 0.10), (0.08, 0.20), (0.02, 0.70)];

/// The class of a resistance in ohms: 0 good, 1 marginal, 2 unreliable (or open).
pub fn class(ohms: f64) -> usize {
    LIMITS.iter().filter(|&&l| ohms >= l).count()
}

/// Words for the classes.
pub const WORDS: [&str; 3] = ["good", "marginal", "unreliable"];

/// The largest contact resistance in ohms that an input still reads as low.
pub fn largest(low_out: f64, low_in: f64, pull_up: f64, supply: f64) -> f64 {
    pull_up * (low_in - low_out) / (supply - low_in)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked figures from the limits of the 6526 data sheet.
    #[test]
    fn the_limits_follow_from_the_data_sheet() {
        assert!((largest(0.4, 0.8, 3100.0, 5.25) - 279.0).abs() < 1.0);
        assert!((largest(0.2, 0.8, 5000.0, 5.0) - 714.0).abs() < 1.0);
    }

    #[test]
    fn classes_add_up_to_one() {
        let sum = |f: fn(&(f64, f64)) -> f64| CLASSES.iter().map(f).sum::<f64>();
        assert!((sum(|c| c.0) - 1.0).abs() < 1e-12 && (sum(|c| c.1) - 1.0).abs() < 1e-12);
        assert_eq!([15.0, 250.0, 800.0, f64::INFINITY].map(class), [0, 1, 2, 2]);
    }
}
