//! The abstract network that the ranking is computed on.
//!
//! Nothing here knows of boards or sheets. A [`Network`] has *causes* (a replaceable unit, a contact, a
//! cable ... one variable each, with mutually exclusive failure modes), *checks* (ordered outcomes,
//! noisy-MAX with leak) and at most four binary *common causes* that change the priors of the modes.
//!
//! # The model
//!
//! For a setting `s` of the common causes (there are `2^c`, each with its prior), cause `i` is in mode `m`
//! with probability `prior[i][m][s]` and fine with the rest. Given what is active, the outcome of check `j`
//! is the worst of independent contributions:
//!
//! P(outcome ≤ k | active) = L_j(k) · Π over active (i,m) of F_imj(k)
//!
//! with outcomes pass < intermittent < fail, `L_j(pass) = 1 - leak.intermittent - leak.fail`,
//! `F(pass) = 1 - intermittent - fail` of the effect, `F(intermittent) = 1 - fail`, `F(fail) = 1`.
//!
//! A *flaky* mode has one hidden state per run: with probability `shows` it acts in that run (all its
//! effects on checks of that run, independently), else on none of them.

/// Index of a cause in [`Network::causes`].
pub type CauseId = usize;
/// Index of a check in [`Network::checks`].
pub type CheckId = usize;

/// The most binary common causes a network may have.
pub const MOST_COMMON_CAUSES: usize = 4;

/// Ordered outcomes of a check; the worst contribution wins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// As it should be.
    Pass,
    /// Failed in some of the loops.
    Intermittent,
    /// Failed.
    Fail,
}

/// How one mode shows in one check: probabilities that its contribution is *exactly* this outcome.
/// `intermittent + fail <= 1`; the rest is the probability that it does not show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The check.
    pub check: CheckId,
    /// P(contribution = intermittent | mode active).
    pub intermittent: f64,
    /// P(contribution = fail | mode active).
    pub fail: f64,
}

/// One failure mode of a cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// Prior probability of this mode for each setting of the common causes (`2^c` values; setting `s` has
    /// common cause `b` present when bit `b` of `s` is set).
    pub prior: Vec<f64>,
    /// Effects on checks; each check at most once.
    pub effects: Vec<Effect>,
    /// For a flaky mode, the probability that it acts in a given run.
    pub shows: Option<f64>,
    /// Likelihood of readings that concern this mode alone (a chip tested in a tester, say), 1 when none.
    pub likelihood: f64,
    /// The fault is over: it explains what was read while it was there. The sums do not look at this.
    pub past: bool,
}

/// A variable of the network: fine, or in exactly one of its modes.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// The failure modes; for each setting their priors add up to at most 1.
    pub modes: Vec<Mode>,
    /// Likelihood, given that this cause is fine, of readings that concern it alone; 1 when none.
    pub likelihood_fine: f64,
}

/// A check of one run with its leak: what it gives when nothing on the board acts on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Check {
    /// The run (0-based) this check belongs to; flaky modes share one hidden state per run.
    pub run: usize,
    /// P(contribution of the leak = intermittent).
    pub leak_intermittent: f64,
    /// P(contribution of the leak = fail), the false-fail rate of the reading.
    pub leak_fail: f64,
    /// What was read; `None` when the check was not observed.
    pub seen: Option<Outcome>,
}

/// The whole network under one set of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// Prior probability of each common cause being present (at most [`MOST_COMMON_CAUSES`]).
    pub common: Vec<f64>,
    /// The causes.
    pub causes: Vec<Cause>,
    /// The checks.
    pub checks: Vec<Check>,
}

impl Network {
    /// Number of settings of the common causes, `2^c`.
    pub fn settings(&self) -> usize {
        1 << self.common.len()
    }

    /// Prior probability of a setting: the product over the common causes of `p` or `1 - p`.
    pub fn setting_prior(&self, setting: usize) -> f64 {
        self.common
            .iter()
            .enumerate()
            .map(|(b, &p)| if setting >> b & 1 == 1 { p } else { 1.0 - p })
            .product()
    }
}

/// What the readings say about the causes.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Natural logarithm of the probability of the readings.
    pub log_evidence: f64,
    /// P(cause i in mode m | readings).
    pub modes: Vec<Vec<f64>>,
    /// P(common cause b present | readings).
    pub common: Vec<f64>,
    /// Upper bound on the share of the probability that was not looked at; 0 when the sum was exact.
    /// Every probability above is then off by at most this much.
    pub unexplored_mass: f64,
}

impl Posterior {
    /// P(cause i at fault, in whatever mode | readings).
    pub fn cause(&self, cause: CauseId) -> f64 {
        self.modes[cause].iter().sum()
    }
    /// Expected number of causes at fault, given the readings.
    pub fn expected_faults(&self) -> f64 {
        self.modes.iter().flatten().sum()
    }
}
