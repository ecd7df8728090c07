//! How many clean loops, or clean hours, until an intermittent fault counts as cured.
//!
//! A fault that is still there shows in each loop with some probability p. Loops are taken to be independent, and cold
//! starts and warm loops to be different things: each kind is counted for itself, and a machine is proved when every kind in
//! which it failed is.
//!
//! With confidence c (0.95 unless said otherwise) the loops needed are the smallest n for which an uncured fault would stay
//! unseen for n loops with a probability below 1 − c:
//!
//! - failing rate p known: (1 − p)^n < 1 − c, so n is ln(1 − c) / ln(1 − p), rounded up ([`loops_at_rate`]): elementary;
//! - estimated from k failures in m loops before, all rates equally probable beforehand: p ~ Beta(k + 1, m − k + 1) (Bayes'
//!   rule; the beta-binomial of any textbook), and
//!   E\[(1 − p)^n\] = B(k + 1, m − k + 1 + n) / B(k + 1, m − k + 1) = Π (m − k + 1 + i)/(m + 2 + i), i = 0 … n − 1
//!   ([`unseen`], [`loops_after`]);
//! - never failed on the bench: nothing can be proved cured. After n clean loops the rate is at most 1 − (1 − c)^(1/n) with
//!   confidence c, about 3/n for 95 %: the 'rule of three' (Hanley, Lippman-Hand, If nothing goes wrong, is everything all
//!   right?, JAMA 1983; 249:1743) ([`rate_below`]).
//!
//! By time instead of loops, with failures as a Poisson process of rate λ an hour: known rate, hours −ln(1 − c)/λ
//! ([`hours_at_rate`]); k failures in T hours and all rates equally probable beforehand, λ ~ Gamma(k + 1, T) and
//! E\[e^(−λt)\] = (T/(T + t))^(k + 1), so t = T ((1 − c)^(−1/(k + 1)) − 1) ([`hours_after`]); never failed: λ is below
//! −ln(1 − c)/t ([`hourly_rate_below`]). These are the limits of the formulas above for short loops.

/// Usual confidence.
pub const CONFIDENCE: f64 = 0.95;

/// More loops than this no one runs.
pub const MOST_LOOPS: u64 = 1_000_000_000;

/// Equality within rounding is not 'below': 1 failure in 5 loops gives exactly 0.05 after 19 loops.
const ROUNDING: f64 = 1.0 - 1e-12;

/// Clean loops needed when the failing rate `p` of a loop is known; `None` for a rate or confidence outside 0 to 1 (ends
/// excluded, a rate of 1 included), or for more than [`MOST_LOOPS`].
///
/// ```
/// assert_eq!(whichsocket::soak::loops_at_rate(0.2, 0.95), Some(14));
/// ```
#[must_use]
pub fn loops_at_rate(p: f64, confidence: f64) -> Option<u64> {
    if !(p > 0.0 && p <= 1.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    if p == 1.0 {
        return Some(1);
    }
    let n = ((-confidence).ln_1p() / (-p).ln_1p()).ceil();
    (n <= MOST_LOOPS as f64).then_some((n as u64).max(1))
}

/// Probability that an uncured fault that failed in `failed` of `of` loops stays unseen for `clean` loops:
/// E\[(1 − p)^n\] with p ~ Beta(k + 1, m − k + 1). `failed` above `of` counts as all of them.
///
/// ```
/// // 1 in 5: 5·6/((5 + n)(6 + n)).
/// assert!((whichsocket::soak::unseen(1, 5, 20) - 30.0 / 650.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn unseen(failed: u64, of: u64, clean: u64) -> f64 {
    let b = (of - failed.min(of) + 1) as f64;
    let all = of as f64 + 2.0;
    // Over more loops than failures the same product is shorter the other way round:
    // Π (m − k + 1 + j)/(m − k + 1 + n + j), j = 0 … k.
    let factors = failed.min(of) + 1;
    if factors < clean {
        let n = clean as f64;
        return (0..factors)
            .map(|j| (b + j as f64) / (b + n + j as f64))
            .product();
    }
    (0..clean)
        .map(|i| (b + i as f64) / (all + i as f64))
        .product()
}

/// Clean loops needed after `failed` failures in `of` loops, the rate being estimated from them; `None` when more than
/// [`MOST_LOOPS`], or for a confidence outside 0 to 1.
///
/// ```
/// use whichsocket::soak::loops_after;
/// assert_eq!(loops_after(1, 5, 0.95), Some(20));
/// assert_eq!(loops_after(4, 20, 0.95), Some(16));
/// ```
#[must_use]
pub fn loops_after(failed: u64, of: u64, confidence: f64) -> Option<u64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let enough = |n: u64| unseen(failed, of, n) < (1.0 - confidence) * ROUNDING;
    let (mut low, mut high) = (0, 1);
    while !enough(high) {
        if high >= MOST_LOOPS {
            return None;
        }
        (low, high) = (high, (high * 2).min(MOST_LOOPS));
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

/// What the failing rate of a loop is below, with this confidence, after `clean` loops and no failure ever; 1 after none.
///
/// ```
/// // The rule of three: about 3/n.
/// assert!((whichsocket::soak::rate_below(100, 0.95) - 0.03).abs() < 0.001);
/// ```
#[must_use]
pub fn rate_below(clean: u64, confidence: f64) -> f64 {
    if clean == 0 {
        return 1.0;
    }
    -((-confidence).ln_1p() / clean as f64).exp_m1()
}

/// Clean hours needed at a known rate of failures an hour; `None` for a rate that is not above 0.
#[must_use]
pub fn hours_at_rate(per_hour: f64, confidence: f64) -> Option<f64> {
    let fits = per_hour.is_finite() && per_hour > 0.0 && confidence > 0.0 && confidence < 1.0;
    fits.then(|| -(-confidence).ln_1p() / per_hour)
}

/// Probability that an uncured fault that failed `failed` times in `hours` stays unseen for `clean` hours.
#[must_use]
pub fn unseen_hours(failed: u64, hours: f64, clean: f64) -> f64 {
    if hours + clean <= 0.0 {
        return 1.0;
    }
    (hours / (hours + clean)).powf(failed as f64 + 1.0)
}

/// Clean hours needed after `failed` failures in `hours`, the rate being estimated from them; `None` for no hours at all.
#[must_use]
pub fn hours_after(failed: u64, hours: f64, confidence: f64) -> Option<f64> {
    let fits = hours.is_finite() && hours > 0.0 && confidence > 0.0 && confidence < 1.0;
    fits.then(|| hours * ((1.0 - confidence).powf(-1.0 / (failed as f64 + 1.0)) - 1.0))
}

/// What the rate of failures an hour is below, with this confidence, after `clean` hours and no failure ever.
#[must_use]
pub fn hourly_rate_below(clean: f64, confidence: f64) -> f64 {
    -(-confidence).ln_1p() / clean
}

/// Loops of one kind: what failed before the repair, and what ran clean since.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Count {
    /// Loops that failed before.
    pub failed: u64,
    /// Loops run before.
    pub of: u64,
    /// Clean loops since.
    pub clean: u64,
}

/// What a count of loops proves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Proof {
    /// It failed before: how probable it is that an uncured fault stayed unseen, loops needed, and loops to go.
    Cure {
        /// Probability that an uncured fault stays unseen so long.
        unseen: f64,
        /// Clean loops needed in all; `None`: more than anyone runs.
        needed: Option<u64>,
        /// Clean loops still to run.
        to_go: Option<u64>,
    },
    /// It never failed on the bench: nothing to be cured of, but the rate is below this.
    NeverFailed {
        /// Bound of the failing rate of a loop.
        rate_below: f64,
    },
}

/// What the loops of one kind prove; `rate` is the failing rate of a loop when it is known.
#[must_use]
pub fn prove(count: Count, rate: Option<f64>, confidence: f64) -> Proof {
    let (unseen, needed) = match rate {
        Some(p) => (
            (1.0 - p).powf(count.clean as f64),
            loops_at_rate(p, confidence),
        ),
        None if count.failed == 0 => {
            return Proof::NeverFailed {
                rate_below: rate_below(count.of + count.clean, confidence),
            };
        }
        None => (
            unseen(count.failed, count.of, count.clean),
            loops_after(count.failed, count.of, confidence),
        ),
    };
    Proof::Cure {
        unseen,
        needed,
        to_go: needed.map(|n| n.saturating_sub(count.clean)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The definition, factor by factor: B(k+1, m−k+1+n)/B(k+1, m−k+1).
    fn by_hand(failed: u64, of: u64, clean: u64) -> f64 {
        let mut e = 1.0;
        for i in 0..clean {
            e *= (of - failed + 1 + i) as f64 / (of + 2 + i) as f64;
        }
        e
    }

    #[test]
    fn values_worked_out_by_hand() {
        assert_eq!(loops_at_rate(0.2, 0.95), Some(14)); // 0.8^13 = 0.055, 0.8^14 = 0.044
        assert_eq!(loops_at_rate(0.5, 0.95), Some(5)); // 1/16 = 0.0625, 1/32
        assert_eq!(loops_at_rate(1.0, 0.95), Some(1));
        // 1 in 5: 30/((5+n)(6+n)) is 0.05 exactly at 19, 0.046 at 20.
        assert_eq!(loops_after(1, 5, 0.95), Some(20));
        // 4 in 20: 2441880/((17+n)…(21+n)) is 0.0540 at 15, 0.0467 at 16.
        assert_eq!(loops_after(4, 20, 0.95), Some(16));
        // Failed in its one loop: 2/((n+1)(n+2)) is 2/30 at 4, 2/42 at 5.
        assert_eq!(loops_after(1, 1, 0.95), Some(5));
        // Rule of three: 1 − 0.05^(1/30) = 0.0950.
        assert!((rate_below(30, 0.95) - 0.0950).abs() < 5e-5);
        // By time: −ln 0.05 = 2.9957; one failure in 10 hours: 10 (√20 − 1) = 34.72.
        assert!((hours_at_rate(1.0, 0.95).unwrap() - 2.9957).abs() < 1e-4);
        assert!((hours_after(1, 10.0, 0.95).unwrap() - 34.7214).abs() < 1e-4);
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        for (p, c) in [
            (0.0, 0.95),
            (1.1, 0.95),
            (f64::NAN, 0.95),
            (0.2, 1.0),
            (0.2, 0.0),
        ] {
            assert_eq!(loops_at_rate(p, c), None, "{p} {c}");
        }
        assert_eq!(loops_at_rate(1e-12, 0.95), None);
        assert_eq!(hours_at_rate(0.0, 0.95), None);
        assert_eq!(hours_after(1, 0.0, 0.95), None);
        assert_eq!(loops_after(1, 5, 1.0), None);
    }

    proptest! {
        #![proptest_config(crate::sampled::properties())]

        #[test]
        fn the_short_product_is_the_long_one((of, failed) in (0u64..60).prop_flat_map(|m| (Just(m), 0..=m)), clean in 0u64..200) {
            let (short, long) = (unseen(failed, of, clean), by_hand(failed, of, clean));
            prop_assert!((short - long).abs() <= 1e-12 * long, "{short} {long}");
        }

        #[test]
        fn needed_loops_are_the_fewest_that_do((of, failed) in (1u64..200).prop_flat_map(|m| (Just(m), 0..=m)), c in 0.5..0.99) {
            if let Some(n) = loops_after(failed, of, c) {
                prop_assert!(by_hand(failed, of, n) < 1.0 - c);
                prop_assert!(n == 1 || by_hand(failed, of, n - 1) >= (1.0 - c) * (1.0 - 1e-9));
            }
        }

        #[test]
        fn more_failures_need_fewer_loops_and_more_confidence_more(
            (of, failed) in (2u64..100).prop_flat_map(|m| (Just(m), 1..m)), c in 0.5..0.98
        ) {
            let n = loops_after(failed, of, c);
            prop_assert!(loops_after(failed + 1, of, c) <= n);
            prop_assert!(loops_after(failed, of, c + 0.01) >= n);
            // The same failures in more loops were rarer.
            prop_assert!(loops_after(failed, of + 1, c) >= n);
            prop_assert!(unseen(failed, of, 11) < unseen(failed, of, 10));
        }

        #[test]
        fn a_known_rate_gives_the_fewest_loops(p in 0.001..1.0f64, c in 0.5..0.999) {
            let n = loops_at_rate(p, c).unwrap();
            prop_assert!((1.0 - p).powi(n as i32) <= (1.0 - c) * (1.0 + 1e-9));
            prop_assert!(n == 1 || (1.0 - p).powi(n as i32 - 1) >= (1.0 - c) * (1.0 - 1e-9));
        }

        #[test]
        fn a_rate_that_is_well_known_is_as_good_as_known(p in 0.05..0.9f64) {
            // Of a million loops, the estimate is the rate.
            let of = 1_000_000;
            let failed = (p * of as f64).round() as u64;
            let (known, estimated) = (loops_at_rate(p, 0.95).unwrap(), loops_after(failed, of, 0.95).unwrap());
            prop_assert!(known.abs_diff(estimated) <= 1, "{known} {estimated}");
        }

        #[test]
        fn hours_are_the_limit_of_short_loops(failed in 0u64..20, hours in 1.0..100.0f64) {
            let needed = hours_after(failed, hours, 0.95).unwrap();
            prop_assert!((unseen_hours(failed, hours, needed) - 0.05).abs() < 1e-9);
            // A loop of a thousandth of an hour.
            let of = (hours * 1000.0).round() as u64;
            let loops = unseen(failed, of, (needed * 1000.0).round() as u64);
            prop_assert!((loops - 0.05).abs() < 0.01, "{loops}");
            prop_assert!(hours_after(failed + 1, hours, 0.95).unwrap() < needed);
        }

        #[test]
        fn after_clean_loops_the_rate_is_bounded(n in 1u64..10_000) {
            let p = rate_below(n, 0.95);
            prop_assert!(((1.0 - p).powf(n as f64) - 0.05).abs() < 1e-9);
            prop_assert!(p <= 3.0 / n as f64 && rate_below(n + 1, 0.95) < p);
        }
    }
}
