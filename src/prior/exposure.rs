//! One scalar exposure an intake reason: what turns failure rates into probabilities.
//!
//! The handbook's rates say how parts compare, not how many hours of what life a machine had. So one number `x`
//! (in million hours of equal stress) is set such that the *expected number of faulty units* of a machine with this
//! reason to be on the bench is a stated figure: `p_i = 1 - exp(-x r_i)`.
//!
//! "Came in faulty" is itself evidence. A complaint node is caused by every fault with the probability that an owner
//! notices it (noisy-OR with a small leak), and the expected number is taken *given* the complaint. The same node is
//! then part of the network that ranks, so that the evidence is counted once.

use super::common::{CommonTable, Setting};
use crate::faultmap::raw::Class;
use crate::sheet::Intake;

/// Probability of a complaint about a machine without a fault (a wrong lead, a program at fault): a guess.
pub const COMPLAINT_LEAK: f64 = 0.02;

/// Expected number of faulty units of a machine that came in faulty: 49 in 27 counted repairs.
///
/// Counted in the list of documented repairs that the ranking was developed with (27 cases, 11 of them with more than
/// one faulty unit): one for each chip, connector or other unit that was proved faulty or missing; "six of
/// eight" counts six, "one or more" counts one. Write-ups favour the odd machine, so this is rather high than low.
pub const FAULTS_CAME_IN_FAULTY: f64 = 49.0 / 27.0;

/// Expected number of faulty units of an untested machine: a guess.
///
/// Two counts of machines from a recycling centre had 67 % and 78 % that work; 0.275 × 49/27 is 0.50, plus something for
/// faults that a first look does not show.
pub const FAULTS_UNTESTED: f64 = 0.6;

/// Expected number of faulty units of a machine that works as far as its owner knows: a guess.
pub const FAULTS_WORKS: f64 = 0.15;

/// What is expected of a machine with this reason to be on the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Expected number of faulty units.
    pub faults: f64,
    /// Whether it is taken given a complaint.
    pub complaint: bool,
    /// Where the figure is from, for `--why`.
    pub source: &'static str,
}

/// The stated figure for an intake reason.
#[must_use]
pub fn expectation(intake: Intake) -> Expectation {
    match intake {
        Intake::Faulty => Expectation {
            faults: FAULTS_CAME_IN_FAULTY,
            complaint: true,
            source: "49 faulty units in 27 counted repairs",
        },
        Intake::Untested => Expectation {
            faults: FAULTS_UNTESTED,
            complaint: false,
            source: "guess, after two counts of 67 % and 78 % working among untested machines",
        },
        Intake::Works => Expectation {
            faults: FAULTS_WORKS,
            complaint: false,
            source: "guess",
        },
    }
}

/// One replaceable unit. The failure modes of a unit exclude each other: the unit fails with the sum of their
/// rates, and a mode has its share of that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Failures per million hours, all modes together.
    pub per_million: f64,
    /// Probability that an owner notices when this unit is faulty: the mean over its modes, weighted by rate.
    pub notice: f64,
    /// What the common causes go by.
    pub class: Class,
}

impl Rate {
    /// A unit from its modes, each with failures per million hours and the probability that an owner notices it.
    #[must_use]
    pub fn of_modes(class: Class, modes: &[(f64, f64)]) -> Self {
        let per_million: f64 = modes.iter().map(|m| m.0).sum();
        let noticed: f64 = modes.iter().map(|m| m.0 * m.1).sum();
        Self {
            per_million,
            notice: if per_million > 0.0 {
                noticed / per_million
            } else {
                0.0
            },
            class,
        }
    }
}

/// A solved exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure {
    /// Million hours of equal stress.
    pub million_hours: f64,
    /// Expected number of faulty units that it gives.
    pub faults: f64,
}

impl Exposure {
    /// Probability that a unit is faulty: `1 - exp(-x r f)`, r in failures per million hours, f the multiplier of
    /// the common causes present.
    #[must_use]
    pub fn probability(&self, per_million: f64, factor: f64) -> f64 {
        -(-self.million_hours * per_million * factor).exp_m1()
    }
}

/// Why no exposure gives the stated figure.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ExposureError {
    /// A rate or notice that is not a number in range.
    #[error(
        "unit {index}: rate {per_million} with notice {notice} is not a rate and a probability"
    )]
    Rate {
        /// Place in the list.
        index: usize,
        /// As given.
        per_million: f64,
        /// As given.
        notice: f64,
    },
    /// The figure cannot be reached.
    #[error("{target} faults cannot be expected of {units} units that can fail")]
    Target {
        /// As asked for.
        target: f64,
        /// Units with a rate above 0.
        units: usize,
    },
}

/// The exposure at which the expected number of faulty units is `target`; given a complaint, if `complaint`.
///
/// Bisection on the logarithm of x, to the resolution of `f64`. The expected number is 0 at x = 0 and the number of
/// units that can fail at x = ∞ (with complaint as well, since the leak is positive), so that a solution exists for
/// every target in between.
///
/// # Errors
/// A rate that is negative or not finite, a notice outside 0…1, a target that is not above 0 and below the number of
/// units that can fail.
pub fn solve(
    rates: &[Rate],
    common: &CommonTable,
    target: f64,
    complaint: bool,
) -> Result<Exposure, ExposureError> {
    for (index, r) in rates.iter().enumerate() {
        let rate_ok = r.per_million.is_finite() && r.per_million >= 0.0;
        if !rate_ok || !(0.0..=1.0).contains(&r.notice) {
            return Err(ExposureError::Rate {
                index,
                per_million: r.per_million,
                notice: r.notice,
            });
        }
    }
    let failing: Vec<Rate> = rates
        .iter()
        .copied()
        .filter(|r| r.per_million > 0.0)
        .collect();
    let units = failing.len();
    let unreachable = ExposureError::Target { target, units };
    if !target.is_finite() || target <= 0.0 || target >= units as f64 {
        return Err(unreachable);
    }
    let expected = |x: f64| expected_faults(&failing, common, x, complaint);
    let total: f64 = failing.iter().map(|r| r.per_million).sum();
    let (mut low, mut high) = (1e-12 / total, 1.0 / total);
    while expected(high) < target {
        high *= 2.0;
        if !high.is_finite() {
            return Err(unreachable);
        }
    }
    while expected(low) > target {
        low /= 1024.0;
        if low < f64::MIN_POSITIVE {
            return Err(unreachable);
        }
    }
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if middle <= low || middle >= high {
            break;
        }
        if expected(middle) < target {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Exposure {
        million_hours: high,
        faults: expected(high),
    })
}

/// Expected number of faulty units at exposure `x` (million hours), summed over the settings of the common causes;
/// given a complaint, if `complaint`.
///
/// With p = 1 − exp(−x r f) and n the notice of each unit, Q = (1 − leak) Π (1 − p n) the probability of no complaint:
/// E[N | complaint] = Σ_s P(s) Σ_u p_u [1 − (1 − n_u) Q/(1 − p_u n_u)] / Σ_s P(s) (1 − Q). Derived here: the
/// second factor is the probability of a complaint given that u is faulty.
#[must_use]
pub fn expected_faults(rates: &[Rate], common: &CommonTable, x: f64, complaint: bool) -> f64 {
    let (mut faults, mut weight) = (0.0, 0.0);
    for setting in common.settings() {
        let prior = common.probability(setting);
        let (n, c) = within_setting(rates, common, setting, x, complaint);
        faults += prior * n;
        weight += prior * c;
    }
    if weight > 0.0 { faults / weight } else { 0.0 }
}

/// Under one setting: E[N · complaint] and P(complaint); or E[N] and 1 without one.
fn within_setting(
    rates: &[Rate],
    common: &CommonTable,
    setting: Setting,
    x: f64,
    complaint: bool,
) -> (f64, f64) {
    let p = |r: &Rate| -(-x * r.per_million * common.factor(setting, r.class)).exp_m1();
    if !complaint {
        return (rates.iter().map(p).sum(), 1.0);
    }
    // Logarithms, because 1 - Q would lose its digits when a complaint is improbable.
    let silent = |r: &Rate| (-p(r) * r.notice).ln_1p();
    let leak = (-COMPLAINT_LEAK).ln_1p();
    // A unit that is surely faulty and surely noticed has silent = -inf; keep it out of the sum for the others.
    let (sure, finite) = rates.iter().map(silent).fold((0usize, leak), |(k, s), l| {
        if l.is_finite() {
            (k, s + l)
        } else {
            (k + 1, s)
        }
    });
    let no_complaint = if sure > 0 { f64::NEG_INFINITY } else { finite };
    let faults = rates
        .iter()
        .map(|r| {
            let own = silent(r);
            let others = match (own.is_finite(), sure) {
                (true, 0) => finite - own,
                (false, 1) => finite,
                _ => f64::NEG_INFINITY,
            };
            p(r) * (r.notice + (1.0 - r.notice) * -others.exp_m1())
        })
        .sum();
    (faults, -no_complaint.exp_m1())
}
