//! The posterior straight from the definition: every setting, every joint state, every hidden state per run.
//!
//! Nothing here is shared with the engine. The arithmetic is generic, so the same enumeration runs in ordinary
//! and in extended precision.

use whichsocket::infer::network::{Network, Outcome};

/// Arithmetic for the enumeration.
pub trait Number: Clone {
    fn from(x: f64) -> Self;
    fn add(&self, other: &Self) -> Self;
    fn sub(&self, other: &Self) -> Self;
    fn mul(&self, other: &Self) -> Self;
    /// `self / other`, rounded to an ordinary number.
    fn ratio(&self, other: &Self) -> f64;
    fn is_zero(&self) -> bool;
}

impl Number for f64 {
    fn from(x: f64) -> Self {
        x
    }
    fn add(&self, other: &Self) -> Self {
        self + other
    }
    fn sub(&self, other: &Self) -> Self {
        self - other
    }
    fn mul(&self, other: &Self) -> Self {
        self * other
    }
    fn ratio(&self, other: &Self) -> f64 {
        self / other
    }
    fn is_zero(&self) -> bool {
        *self == 0.0
    }
}

/// What the enumeration finds.
pub struct Truth<T> {
    /// P(readings).
    pub evidence: T,
    /// P(cause i in mode m, readings).
    pub modes: Vec<Vec<T>>,
    /// P(common cause b present, readings).
    pub common: Vec<T>,
    /// The probability of each joint state and the readings, common causes summed out.
    pub states: Vec<(Vec<Option<usize>>, T)>,
}

/// Number of joint states, settings included.
pub fn joint_states(net: &Network) -> usize {
    net.causes
        .iter()
        .map(|c| c.modes.len() + 1)
        .product::<usize>()
        << net.common.len()
}

/// Enumerates everything.
pub fn enumerate<T: Number>(net: &Network) -> Truth<T> {
    let zero = || T::from(0.0);
    let mut truth = Truth {
        evidence: zero(),
        modes: net
            .causes
            .iter()
            .map(|c| vec![zero(); c.modes.len()])
            .collect(),
        common: vec![zero(); net.common.len()],
        states: Vec::new(),
    };
    let mut state: Vec<Option<usize>> = vec![None; net.causes.len()];
    loop {
        let likelihood = likelihood::<T>(net, &state);
        let mut over_settings = zero();
        for setting in 0..1 << net.common.len() {
            let joint = prior::<T>(net, &state, setting).mul(&likelihood);
            if joint.is_zero() {
                continue;
            }
            truth.evidence = truth.evidence.add(&joint);
            over_settings = over_settings.add(&joint);
            for (b, common) in truth.common.iter_mut().enumerate() {
                if setting >> b & 1 == 1 {
                    *common = common.add(&joint);
                }
            }
            for (cause, mode) in state.iter().enumerate() {
                if let Some(mode) = mode {
                    truth.modes[cause][*mode] = truth.modes[cause][*mode].add(&joint);
                }
            }
        }
        if !over_settings.is_zero() {
            truth.states.push((state.clone(), over_settings));
        }
        if !next(net, &mut state) {
            return truth;
        }
    }
}

/// Steps through all joint states like an odometer.
fn next(net: &Network, state: &mut [Option<usize>]) -> bool {
    for (cause, mode) in state.iter_mut().enumerate() {
        let following = mode.map_or(0, |m| m + 1);
        if following < net.causes[cause].modes.len() {
            *mode = Some(following);
            return true;
        }
        *mode = None;
    }
    false
}

/// P(setting, state).
fn prior<T: Number>(net: &Network, state: &[Option<usize>], setting: usize) -> T {
    let mut p = T::from(1.0);
    for (b, &common) in net.common.iter().enumerate() {
        let present = T::from(common);
        p = p.mul(&if setting >> b & 1 == 1 {
            present
        } else {
            T::from(1.0).sub(&present)
        });
    }
    for (cause, mode) in state.iter().enumerate() {
        let modes = &net.causes[cause].modes;
        p = p.mul(&match mode {
            Some(m) => T::from(modes[*m].prior[setting]),
            // The same rounding as in any reader of the contract: the rest of the sum of the priors.
            None => T::from((1.0 - modes.iter().map(|m| m.prior[setting]).sum::<f64>()).max(0.0)),
        });
    }
    p
}

/// P(readings | state): for each run the sum over which of the flaky active modes act in it.
fn likelihood<T: Number>(net: &Network, state: &[Option<usize>]) -> T {
    let mut p = T::from(1.0);
    for (cause, mode) in state.iter().enumerate() {
        let cause = &net.causes[cause];
        p = p.mul(&T::from(
            mode.map_or(cause.likelihood_fine, |m| cause.modes[m].likelihood),
        ));
    }
    let active: Vec<_> = state
        .iter()
        .enumerate()
        .filter_map(|(c, m)| m.map(|m| &net.causes[c].modes[m]))
        .collect();
    let flaky: Vec<usize> = (0..active.len())
        .filter(|&a| active[a].shows.is_some())
        .collect();
    let runs = net.checks.iter().map(|c| c.run + 1).max().unwrap_or(0);
    for run in 0..runs {
        let mut of_run = T::from(0.0);
        for hidden in 0..1usize << flaky.len() {
            let acts = |a: usize| {
                flaky
                    .iter()
                    .position(|&f| f == a)
                    .is_none_or(|bit| hidden >> bit & 1 == 1)
            };
            let mut term = T::from(1.0);
            for (bit, &a) in flaky.iter().enumerate() {
                let shows = T::from(active[a].shows.unwrap_or(1.0));
                term = term.mul(&if hidden >> bit & 1 == 1 {
                    shows
                } else {
                    T::from(1.0).sub(&shows)
                });
            }
            for (id, check) in net.checks.iter().enumerate().filter(|(_, c)| c.run == run) {
                let Some(seen) = check.seen else { continue };
                let at_most = |outcome: Outcome| {
                    let f = |intermittent: f64, fail: f64| match outcome {
                        Outcome::Pass => {
                            T::from(1.0).sub(&T::from(intermittent)).sub(&T::from(fail))
                        }
                        Outcome::Intermittent => T::from(1.0).sub(&T::from(fail)),
                        Outcome::Fail => T::from(1.0),
                    };
                    let mut all = f(check.leak_intermittent, check.leak_fail);
                    for (a, mode) in active.iter().enumerate().filter(|(a, _)| acts(*a)) {
                        let _ = a;
                        if let Some(effect) = mode.effects.iter().find(|e| e.check == id) {
                            all = all.mul(&f(effect.intermittent, effect.fail));
                        }
                    }
                    all
                };
                let exactly = match seen {
                    Outcome::Pass => at_most(Outcome::Pass),
                    Outcome::Intermittent => {
                        at_most(Outcome::Intermittent).sub(&at_most(Outcome::Pass))
                    }
                    Outcome::Fail => T::from(1.0).sub(&at_most(Outcome::Intermittent)),
                };
                term = term.mul(&exactly);
            }
            of_run = of_run.add(&term);
        }
        p = p.mul(&of_run);
    }
    p
}
