//! Values on a grid: how probable each typed value is under a cause, so that all of them together have probability one.
//!
//! A value is read in whole steps (a tenth of a second, a tenth of a per cent, a cent). The probability of step k is
//!
//! P(k) = F((k + 1/2) · step) − F((k − 1/2) · step),   P(lowest) = F((lowest + 1/2) · step)
//!
//! with F the distribution function of a mixture. The sum over all k telescopes to F(∞) = 1.

/// A part of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Normal, with mean and standard deviation (above 0).
    Normal(f64, f64),
    /// Anything from the first value to the second, evenly.
    Even(f64, f64),
    /// Anything from the first value (above 0) to the second, evenly in its logarithm.
    LogEven(f64, f64),
}

impl Shape {
    /// P(value at most x).
    fn below(self, x: f64) -> f64 {
        match self {
            // Φ(z) = erfc(−z/√2) / 2, exact in both tails.
            Shape::Normal(mean, sd) => {
                0.5 * libm::erfc((mean - x) / (sd * std::f64::consts::SQRT_2))
            }
            Shape::Even(low, high) => ((x - low) / (high - low)).clamp(0.0, 1.0),
            Shape::LogEven(low, high) => {
                if x <= low {
                    0.0
                } else {
                    ((x / low).ln() / (high / low).ln()).min(1.0)
                }
            }
        }
    }

    /// P(value above x).
    fn above(self, x: f64) -> f64 {
        match self {
            Shape::Normal(mean, sd) => {
                0.5 * libm::erfc((x - mean) / (sd * std::f64::consts::SQRT_2))
            }
            _ => 1.0 - self.below(x),
        }
    }

    /// P(from a to b): the smaller tails are subtracted, so that nothing is lost far out.
    fn between(self, a: f64, b: f64) -> f64 {
        if self.below(a) < 0.5 {
            self.below(b) - self.below(a)
        } else {
            self.above(a) - self.above(b)
        }
    }
}

/// A mixture: shares (adding up to 1) and shapes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Mixture(Vec<(f64, Shape)>);

impl Mixture {
    /// One shape alone.
    pub fn of(shape: Shape) -> Self {
        Self(vec![(1.0, shape)])
    }

    /// This one with the probability `1 − share`, the other with `share`.
    pub fn or(mut self, share: f64, other: &Mixture) -> Self {
        self.0.iter_mut().for_each(|p| p.0 *= 1.0 - share);
        self.0.extend(other.0.iter().map(|(p, s)| (p * share, *s)));
        self
    }

    /// The same with every value divided by `by` (above 0).
    pub fn divided(&self, by: f64) -> Self {
        let of = |s: Shape| match s {
            Shape::Normal(m, sd) => Shape::Normal(m / by, sd / by),
            Shape::Even(a, b) => Shape::Even(a / by, b / by),
            Shape::LogEven(a, b) => Shape::LogEven(a / by, b / by),
        };
        Self(self.0.iter().map(|&(p, s)| (p, of(s))).collect())
    }
}

/// A grid of values that can be typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Distance of two values.
    pub step: f64,
    /// Number of the lowest value; what lies below is read as it.
    pub lowest: i64,
}

impl Grid {
    /// The number of the value that is read for `x`.
    pub fn at(self, x: f64) -> i64 {
        // Past this a typed number is absurd, and i64 holds it.
        ((x / self.step).round().clamp(-1e15, 1e15) as i64).max(self.lowest)
    }

    /// P(this value is read | the mixture). Sums to 1 over all values from the lowest on.
    pub fn p(self, k: i64, mixture: &Mixture) -> f64 {
        let (low, high) = ((k as f64 - 0.5) * self.step, (k as f64 + 0.5) * self.step);
        let cell = |s: Shape| match k <= self.lowest {
            true => s.below(high),
            false => s.between(low, high),
        };
        mixture.0.iter().map(|&(p, s)| p * cell(s)).sum()
    }

    /// P(above this value | the mixture): what is left after summing up to it.
    pub fn p_above(self, k: i64, mixture: &Mixture) -> f64 {
        let high = (k as f64 + 0.5) * self.step;
        mixture.0.iter().map(|&(p, s)| p * s.above(high)).sum()
    }
}

/// What a value says of modes: outcome of a check and how surely each mode shows in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// Whether it is a failure.
    pub failed: bool,
    /// Strength of each mode in that outcome, in the order given.
    pub strengths: Vec<f64>,
    /// P(reads as a failure with nothing behind it), for a failure.
    pub leak: f64,
}

/// A cause must make the value so many times as probable as nothing wrong does before it counts as a failure.
const FAILS_FROM: f64 = 3.0;

/// Below this probability a value has no explanation at all.
const UNHEARD_OF: f64 = 1e-30;

/// A value as the outcome of a noisy-MAX check. `nominal` is P(value | nothing wrong), `under` P(value | mode) of each mode.
///
/// Fine: P(outcome | modes) ∝ Π (1 − s), so s = 1 − P(value | mode) / P(value | nothing wrong).
/// Failed: P(outcome | modes) ∝ 1 − (1 − leak) Π (1 − s), so s and leak are the probabilities over the largest.
pub fn weigh(nominal: f64, under: &[f64]) -> Weighed {
    let most = under.iter().copied().fold(0.0, f64::max);
    if nominal > 0.0 && most <= FAILS_FROM * nominal {
        let s = |p: &f64| (1.0 - p / nominal).clamp(0.0, 1.0);
        return Weighed {
            failed: false,
            strengths: under.iter().map(s).collect(),
            leak: 0.0,
        };
    }
    let most = most.max(nominal);
    if most < UNHEARD_OF {
        // Nothing known gives this value: it accuses nothing.
        return Weighed {
            failed: true,
            strengths: vec![0.0; under.len()],
            leak: 1.0,
        };
    }
    Weighed {
        failed: true,
        strengths: under.iter().map(|p| p / most).collect(),
        leak: nominal / most,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shape() -> impl Strategy<Value = Shape> {
        prop_oneof![
            (0.01f64..5.0, 0.001f64..0.5).prop_map(|(m, s)| Shape::Normal(m, s)),
            (0.0f64..2.0, 0.1f64..3.0).prop_map(|(a, w)| Shape::Even(a, a + w)),
            (0.01f64..1.0, 1.5f64..50.0).prop_map(|(a, f)| Shape::LogEven(a, a * f)),
        ]
    }

    proptest! {
        #![proptest_config(crate::sampled::properties())]

        #[test]
        fn probabilities_of_all_values_sum_to_one(
            parts in proptest::collection::vec((0.01f64..1.0, shape()), 1..4),
            step in 0.01f64..0.3,
            lowest in -3i64..1,
        ) {
            let mixture = parts.iter().fold(Mixture::of(parts[0].1), |m, p| m.or(p.0, &Mixture::of(p.1)));
            let grid = Grid { step, lowest };
            let far = lowest + 500;
            let sum: f64 = (lowest..=far).map(|k| grid.p(k, &mixture)).sum();
            prop_assert!((sum + grid.p_above(far, &mixture) - 1.0).abs() < 1e-9);
        }

        #[test]
        fn a_weighed_value_keeps_the_ratios(nominal in 1e-6f64..1.0, under in proptest::collection::vec(0.0f64..1.0, 1..6)) {
            let w = weigh(nominal, &under);
            for (s, p) in w.strengths.iter().zip(&under) {
                prop_assert!((0.0..=1.0).contains(s));
                // With one mode alone: fine as 1 − s, failed as its strength over the leak.
                if w.failed {
                    prop_assert!((s * nominal - w.leak * p).abs() < 1e-9);
                } else if *p <= nominal {
                    prop_assert!(((1.0 - s) * nominal - p).abs() < 1e-9);
                }
            }
        }
    }
}
