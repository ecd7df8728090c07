//! How much of the faults a set of checks detects, and how closely it isolates them.
//!
//! Definitions of MIL-STD-2165 (26 January 1985) and IEEE Std 1522-2004, weighted by failure rate λ:
//! fraction of faults detected FFD = Σ λ detected / Σ λ; fraction of faults isolated to L units
//! FFI(L) = Σ λ in ambiguity groups of at most L units / Σ λ detected. An ambiguity group is the faults with equal
//! signature, that is, which make the same checks fail.

use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A fault as a set of checks sees it.
#[derive(Debug, Clone)]
pub struct Fault {
    /// Failures per million hours; any common unit will do.
    pub rate: f64,
    /// The unit that would be renewed.
    pub unit: usize,
    /// Which checks fail and how, in any coding; `None` when none does.
    pub signature: Option<u64>,
}

/// Figures of a set of checks.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Figures {
    /// Fraction of faults detected, 0..1, by failure rate.
    pub detected: f64,
    /// Fraction of the detected that is isolated to 1, to at most 2, to at most 3 units.
    pub isolated: [f64; 3],
    /// Mean number of units in the ambiguity group of a detected fault, by failure rate.
    pub mean_group: f64,
}

/// The units and the rate of every signature.
pub fn groups(faults: &[Fault]) -> BTreeMap<u64, (BTreeSet<usize>, f64)> {
    let mut out: BTreeMap<u64, (BTreeSet<usize>, f64)> = BTreeMap::new();
    for fault in faults {
        if let Some(signature) = fault.signature {
            let group = out.entry(signature).or_default();
            group.0.insert(fault.unit);
            group.1 += fault.rate;
        }
    }
    out
}

/// Works the figures out. Without faults, or when none is detected, fractions are 0.
pub fn figures(faults: &[Fault]) -> Figures {
    let total: f64 = faults.iter().map(|f| f.rate).sum();
    let groups = groups(faults);
    let detected: f64 = groups.values().map(|g| g.1).sum();
    let part = |a: f64, b: f64| if b > 0.0 { a / b } else { 0.0 };
    let within = |most: usize| -> f64 {
        let small = groups.values().filter(|g| g.0.len() <= most);
        part(small.map(|g| g.1).sum(), detected)
    };
    let sizes = groups.values().map(|g| g.0.len() as f64 * g.1).sum();
    Figures {
        detected: part(detected, total),
        isolated: [within(1), within(2), within(3)],
        mean_group: part(sizes, detected),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seven faults and four tests with computed figures: fact sheet of the project, section 8(e), on the
    /// definitions of MIL-STD-2165 and IEEE Std 1522.
    #[test]
    fn the_worked_example() {
        let rows: [(f64, u64); 7] = [
            (0.9337, 0b1111),
            (0.2643, 0b0101),
            (0.0468, 0b1000),
            (0.0468, 0b1000),
            (0.0423, 0b1010),
            (0.0020, 0b0000),
            (0.3049, 0b0001),
        ];
        let faults: Vec<Fault> = rows
            .iter()
            .enumerate()
            .map(|(unit, &(rate, s))| Fault {
                rate,
                unit,
                signature: (s != 0).then_some(s),
            })
            .collect();
        let f = figures(&faults);
        assert!((f.detected - 0.998781).abs() < 5e-7, "{f:?}");
        assert!((f.isolated[0] - 0.942885).abs() < 5e-7, "{f:?}");
        assert!((f.isolated[1] - 1.0).abs() < 1e-12, "{f:?}");
        assert!((f.mean_group - 1.057115).abs() < 5e-7, "{f:?}");
    }

    #[test]
    fn nothing_to_see() {
        let f = figures(&[]);
        assert_eq!((f.detected, f.isolated), (0.0, [0.0; 3]));
    }
}
