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
/// Solved by a bracketing method on the logarithm of x, to the resolution of `f64`. The expected number is 0 at x = 0 and the number of
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
    let groups = grouped(rates);
    let units: usize = groups.iter().map(|g| g.count).sum();
    let unreachable = ExposureError::Target { target, units };
    if !target.is_finite() || target <= 0.0 || target >= units as f64 {
        return Err(unreachable);
    }
    let expected = |x: f64| expected_of(&groups, common, x, complaint);
    let total: f64 = groups
        .iter()
        .map(|g| g.rate.per_million * g.count as f64)
        .sum();
    let (mut low, mut high) = (1e-3 / total, 1.0 / total);
    while expected(high) < target {
        high *= 8.0;
        if !high.is_finite() {
            return Err(unreachable);
        }
    }
    while expected(low) > target {
        low /= 64.0;
        if low < f64::MIN_POSITIVE {
            return Err(unreachable);
        }
    }
    let x = root(|x| expected(x).ln() - target.ln(), low, high);
    Ok(Exposure {
        million_hours: x,
        faults: expected(x),
    })
}

/// Where `f`, negative at `low` and not negative at `high`, is zero: false position in log x, halving the weight of an
/// end that stays (the Illinois method: Dowell and Jarratt, BIT 11, 1971), and bisection when that is slow.
fn root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut a, mut b) = (low.ln(), high.ln());
    let (mut fa, mut fb) = (f(low), f(high));
    for step in 0..400 {
        // Every fourth step is a bisection, so that no shape of f takes more than about 200 steps.
        let middle = if step % 4 == 3 {
            0.5 * (a + b)
        } else {
            (a * fb - b * fa) / (fb - fa)
        };
        let middle = middle.clamp(a, b);
        let value = f(middle.exp());
        if value.abs() < 1e-14 || b - a < 1e-15 * (1.0 + a.abs()) {
            return middle.exp();
        }
        if value < 0.0 {
            a = middle;
            fa = value;
            fb *= 0.5;
        } else {
            b = middle;
            fb = value;
            fa *= 0.5;
        }
    }
    b.exp()
}

/// Units that cannot be told apart: 64 keys are one term of the sum, not 64.
struct Group {
    rate: Rate,
    count: usize,
}

fn grouped(rates: &[Rate]) -> Vec<Group> {
    let mut sorted: Vec<Rate> = rates
        .iter()
        .copied()
        .filter(|r| r.per_million > 0.0)
        .collect();
    sorted.sort_by(|a, b| {
        a.class
            .cmp(&b.class)
            .then(a.per_million.total_cmp(&b.per_million))
            .then(a.notice.total_cmp(&b.notice))
    });
    let mut groups: Vec<Group> = Vec::new();
    for rate in sorted {
        match groups.last_mut() {
            Some(g) if g.rate == rate => g.count += 1,
            _ => groups.push(Group { rate, count: 1 }),
        }
    }
    groups
}

/// Expected number of faulty units at exposure `x` (million hours), summed over the settings of the common causes;
/// given a complaint, if `complaint`.
///
/// With p = 1 − exp(−x r f) and n the notice of each unit, Q = (1 − leak) Π (1 − p n) the probability of no complaint:
/// E[N | complaint] = Σ_s P(s) Σ_u p_u [1 − (1 − n_u) Q/(1 − p_u n_u)] / Σ_s P(s) (1 − Q). Derived here: the
/// second factor is the probability of a complaint given that u is faulty.
#[must_use]
pub fn expected_faults(rates: &[Rate], common: &CommonTable, x: f64, complaint: bool) -> f64 {
    expected_of(&grouped(rates), common, x, complaint)
}

fn expected_of(groups: &[Group], common: &CommonTable, x: f64, complaint: bool) -> f64 {
    let (mut faults, mut weight) = (0.0, 0.0);
    for setting in common.settings() {
        let prior = common.probability(setting);
        let (n, c) = within_setting(groups, common, setting, x, complaint);
        faults += prior * n;
        weight += prior * c;
    }
    if weight > 0.0 { faults / weight } else { 0.0 }
}

/// Under one setting: E[N · complaint] and P(complaint); or E[N] and 1 without one.
fn within_setting(
    groups: &[Group],
    common: &CommonTable,
    setting: Setting,
    x: f64,
    complaint: bool,
) -> (f64, f64) {
    let terms: Vec<(f64, f64, f64)> = groups
        .iter()
        .map(|g| {
            let factor = common.factor(setting, g.rate.class);
            let p = -(-x * g.rate.per_million * factor).exp_m1();
            (p, g.rate.notice, g.count as f64)
        })
        .collect();
    if !complaint {
        return (terms.iter().map(|(p, _, k)| p * k).sum(), 1.0);
    }
    // Logarithms of the probability that a unit stays silent, because 1 - Q would lose its digits when a complaint is
    // improbable. A unit that is surely faulty and surely noticed has -inf: it is counted apart from the sum.
    let silent = |&(p, notice, _): &(f64, f64, f64)| (-p * notice).ln_1p();
    let (mut finite, mut sure) = ((-COMPLAINT_LEAK).ln_1p(), 0.0);
    for term in &terms {
        match silent(term) {
            l if l.is_finite() => finite += l * term.2,
            _ => sure += term.2,
        }
    }
    let all_silent = |sure: f64, finite: f64| {
        if sure > 0.5 {
            f64::NEG_INFINITY
        } else {
            finite
        }
    };
    let faults = terms
        .iter()
        .map(|term| {
            let (p, notice, count) = *term;
            let own = silent(term);
            let others = if own.is_finite() {
                all_silent(sure, finite - own)
            } else {
                all_silent(sure - 1.0, finite)
            };
            count * p * (notice + (1.0 - notice) * -others.exp_m1())
        })
        .sum();
    (faults, -all_silent(sure, finite).exp_m1())
}
