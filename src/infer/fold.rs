//! Folding: what the readings leave of each cause.
//!
//! A passing reading multiplies the weight of every mode it touches by the probability that the mode does not
//! show in it, `1 - intermittent - fail`, and the whole by the same of its leak. An unread check vanishes. A
//! reading that did not pass keeps, for each mode that touches it, the pair
//!
//! read as fail:          e = fail,          u = 1 - fail
//! read as intermittent:  e = intermittent,  u = 1 - intermittent - fail
//!
//! (e: explains it, u: does not, and is compatible with it), divided by `e + u`, which goes into the weight of
//! the mode: then `e + u = 1` always, and a reading once explained costs nothing more.
//!
//! A *flaky* mode is folded run by run, inside the branch 'acts in this run' (probability `shows`), beside the
//! branch 'idle' (factor 1). A run in which it touches no such reading gives a factor, one reading a pair
//! (e, u) again; only a run with two or more keeps its hidden state, as a [`Group`].

use super::network::{CauseId, Check, CheckId, Mode, Network, Outcome};
use super::wide::{Num, Wide};

/// How a check counts in this sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Seen {
    /// Not at all.
    Unread,
    /// Exactly this outcome was read.
    Exactly(Outcome),
    /// Pass or intermittent: needed for what a check *would* give.
    NotFail,
}

impl Seen {
    /// What the network says of a check.
    pub(crate) fn of(check: &Check) -> Self {
        check.seen.map_or(Seen::Unread, Seen::Exactly)
    }

    /// Whether it needs an explanation.
    pub(crate) fn needs_explaining(self) -> bool {
        matches!(self, Seen::Exactly(Outcome::Fail | Outcome::Intermittent))
    }
}

/// The chance that one mode explains one reading; `1 - e` is carried as `u` so that nothing is subtracted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pair {
    /// Index of the reading in [`Folded::readings`].
    pub(crate) reading: usize,
    /// Does not explain it.
    pub(crate) u: Wide,
    /// Explains it.
    pub(crate) e: Wide,
}

/// The hidden state of a flaky mode in one run in which it touches two or more readings.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Group {
    /// The run.
    pub(crate) run: usize,
    /// Share of 'idle in this run'.
    pub(crate) idle: Wide,
    /// Share of 'acts in this run'; `idle + acts = 1`.
    pub(crate) acts: Wide,
    /// What it explains when it acts.
    pub(crate) pairs: Vec<Pair>,
}

/// What being in a state does to the readings; states of a cause with the same shape are one.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Shape {
    /// Explains independently of everything.
    pub(crate) pairs: Vec<Pair>,
    /// Explains through a hidden state per run.
    pub(crate) groups: Vec<Group>,
}

/// A mode, or being fine, as a member of a state.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Member {
    /// The mode; `None` for 'fine'.
    pub(crate) mode: Option<usize>,
    /// The state (index of a shape) it belongs to.
    pub(crate) state: usize,
    /// What the folded readings leave of it, relative to the scale of the cause.
    pub(crate) left: Wide,
    /// Whether it may explain a reading.
    pub(crate) explains: bool,
}

/// A cause after folding.
#[derive(Debug, Clone)]
pub(crate) struct FoldedCause {
    /// The distinct shapes; the first is 'touches nothing'.
    pub(crate) states: Vec<Shape>,
    /// Fine and all modes.
    pub(crate) members: Vec<Member>,
    /// The readings touched, ascending.
    pub(crate) touched: Vec<usize>,
    /// The runs that have a group, ascending.
    pub(crate) runs: Vec<usize>,
    /// Factor taken out of the members, so that their weights add up to at most 1 in every setting.
    pub(crate) scale: Wide,
}

/// A reading that needs an explanation, with its leak.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    /// P(the leak does not explain it), relative.
    pub(crate) u: f64,
    /// P(the leak explains it), relative; `e + u = 1`.
    pub(crate) e: f64,
}

/// The network after folding.
#[derive(Debug, Clone)]
pub(crate) struct Folded {
    /// Readings that need an explanation.
    pub(crate) readings: Vec<Reading>,
    /// One for each cause of the network.
    pub(crate) causes: Vec<FoldedCause>,
    /// Factor taken out of the readings.
    pub(crate) scale: Wide,
    /// Index in `readings` of each check, `usize::MAX` when it needs no explanation.
    index: Vec<usize>,
    /// Prior of being fine, for each cause and setting.
    fine: Vec<f64>,
}

impl Folded {
    /// The factor taken out of everything.
    pub(crate) fn total_scale(&self) -> Wide {
        let of_causes = self.causes.iter().map(|c| c.scale);
        of_causes.fold(self.scale, Wide::times)
    }

    /// Folds one cause again, under other readings of checks that need no explanation before or after.
    pub(crate) fn refold(&self, net: &Network, seen: &[Seen], cause: CauseId) -> FoldedCause {
        let settings = net.settings();
        let fine = &self.fine[cause * settings..(cause + 1) * settings];
        fold_cause(net, seen, &self.index, cause, fine)
    }

    /// Prior of a mode, or of being fine, for each setting.
    pub(crate) fn priors<'f>(
        &'f self,
        net: &'f Network,
        cause: CauseId,
        mode: Option<usize>,
    ) -> &'f [f64] {
        let settings = net.settings();
        mode.map_or(&self.fine[cause * settings..(cause + 1) * settings], |m| {
            &net.causes[cause].modes[m].prior
        })
    }
}

/// `1 - a - b`, not below 0 (sums of priors may exceed 1 by rounding).
pub(crate) fn rest(a: f64, b: f64) -> f64 {
    (1.0 - a - b).max(0.0)
}

/// (u, e) of a contribution under a reading, before dividing by their sum.
fn pair(seen: Seen, intermittent: f64, fail: f64) -> (f64, f64) {
    match seen {
        Seen::Unread => (1.0, 0.0),
        Seen::NotFail => (rest(0.0, fail), 0.0),
        Seen::Exactly(Outcome::Pass) => (rest(intermittent, fail), 0.0),
        Seen::Exactly(Outcome::Intermittent) => (rest(intermittent, fail), intermittent),
        Seen::Exactly(Outcome::Fail) => (rest(0.0, fail), fail),
    }
}

/// A pair divided by its sum, and the sum. A sum of 0 (certain to contradict the reading) leaves a pair that
/// keeps the shape of the problem; the factor 0 makes it weightless.
fn normalised(u: f64, e: f64) -> (f64, f64, f64) {
    let sum = u + e;
    if sum > 0.0 {
        (u / sum, e / sum, sum)
    } else {
        (1.0, 0.0, 0.0)
    }
}

/// Folds the network under the given reading of each check.
pub(crate) fn fold(net: &Network, seen: &[Seen]) -> Folded {
    let mut index = vec![usize::MAX; net.checks.len()];
    let mut readings = Vec::new();
    let mut scale = Wide::ONE;
    for (id, check) in net.checks.iter().enumerate() {
        let (u, e) = pair(seen[id], check.leak_intermittent, check.leak_fail);
        let (u, e, sum) = normalised(u, e);
        scale = scale.times(Wide::new(sum));
        if seen[id].needs_explaining() {
            index[id] = readings.len();
            readings.push(Reading { u, e });
        }
    }
    let mut causes = Vec::with_capacity(net.causes.len());
    let mut fine = Vec::with_capacity(net.causes.len() * net.settings());
    for (id, cause) in net.causes.iter().enumerate() {
        let start = fine.len();
        fine.resize(start + net.settings(), 0.0);
        for mode in &cause.modes {
            for (sum, prior) in fine[start..].iter_mut().zip(&mode.prior) {
                *sum += prior;
            }
        }
        fine[start..].iter_mut().for_each(|f| *f = rest(*f, 0.0));
        causes.push(fold_cause(net, seen, &index, id, &fine[start..]));
    }
    Folded {
        readings,
        causes,
        scale,
        index,
        fine,
    }
}

/// Folds one cause.
fn fold_cause(
    net: &Network,
    seen: &[Seen],
    index: &[usize],
    id: CauseId,
    fine: &[f64],
) -> FoldedCause {
    let cause = &net.causes[id];
    let mut states = vec![Shape::default()];
    let mut members = Vec::with_capacity(cause.modes.len() + 1);
    members.push(Member {
        mode: None,
        state: 0,
        left: Wide::new(cause.likelihood_fine),
        explains: false,
    });
    let mut touched = Vec::new();
    let mut runs = Vec::new();
    for (m, mode) in cause.modes.iter().enumerate() {
        let (shape, left) = match mode.shows {
            None => fold_steady(mode, seen, index),
            Some(shows) => fold_flaky(net, mode, shows, seen, index),
        };
        touched.extend(shape.pairs.iter().map(|p| p.reading));
        for group in &shape.groups {
            runs.push(group.run);
            touched.extend(group.pairs.iter().map(|p| p.reading));
        }
        let state = state_of(&mut states, shape, mode.shows.is_some());
        members.push(Member {
            mode: Some(m),
            state,
            left: left.times(Wide::new(mode.likelihood)),
            explains: state != 0,
        });
    }
    touched.sort_unstable();
    touched.dedup();
    runs.sort_unstable();
    runs.dedup();
    // An upper bound of the sum of the weights in any setting, at most as many times too large as there are modes.
    let most = |mode: Option<usize>| match mode {
        Some(m) => cause.modes[m].prior.iter().copied().fold(0.0, f64::max),
        None => fine.iter().copied().fold(0.0, f64::max),
    };
    let top = members.iter().fold(Wide::ZERO, |sum, m| {
        sum.plus(m.left.times(Wide::new(most(m.mode))))
    });
    if !top.is_zero() {
        for member in &mut members {
            member.left = member.left.over(top);
        }
    }
    FoldedCause {
        states,
        members,
        touched,
        runs,
        scale: top,
    }
}

/// The state with this shape. Flaky shapes are not compared: whether two of them agree may depend on the
/// passing readings, and the plan for one set of readings is used again for others.
fn state_of(states: &mut Vec<Shape>, shape: Shape, flaky: bool) -> usize {
    if shape.pairs.is_empty() && shape.groups.is_empty() {
        return 0;
    }
    if !flaky && let Some(same) = states.iter().position(|s| *s == shape) {
        return same;
    }
    states.push(shape);
    states.len() - 1
}

/// A mode that acts in every run.
fn fold_steady(mode: &Mode, seen: &[Seen], index: &[usize]) -> (Shape, Wide) {
    let mut shape = Shape::default();
    let left = fold_effects(mode, seen, index, &mut shape.pairs, |_| true);
    (shape, left)
}

/// Folds those effects of a mode that `wanted` selects; returns the factor, appends the pairs.
fn fold_effects(
    mode: &Mode,
    seen: &[Seen],
    index: &[usize],
    pairs: &mut Vec<Pair>,
    wanted: impl Fn(CheckId) -> bool,
) -> Wide {
    let mut left = Wide::ONE;
    let mut product = 1.0;
    for effect in mode.effects.iter().filter(|e| wanted(e.check)) {
        let (u, e) = pair(seen[effect.check], effect.intermittent, effect.fail);
        if e > 0.0 {
            let (u, e, sum) = normalised(u, e);
            product *= sum;
            pairs.push(Pair {
                reading: index[effect.check],
                u: Wide::new(u),
                e: Wide::new(e),
            });
        } else {
            product *= u;
        }
        if product < 1e-200 {
            left = left.times(Wide::new(product));
            product = 1.0;
        }
    }
    pairs.sort_unstable_by_key(|p| p.reading);
    left.times(Wide::new(product))
}

/// A flaky mode, run by run.
fn fold_flaky(
    net: &Network,
    mode: &Mode,
    shows: f64,
    seen: &[Seen],
    index: &[usize],
) -> (Shape, Wide) {
    let mut runs: Vec<usize> = mode
        .effects
        .iter()
        .map(|e| net.checks[e.check].run)
        .collect();
    runs.sort_unstable();
    runs.dedup();
    let mut shape = Shape::default();
    let mut left = Wide::ONE;
    for run in runs {
        let mut pairs = Vec::new();
        let acts = fold_effects(mode, seen, index, &mut pairs, |check| {
            net.checks[check].run == run
        });
        let acts = acts.times(Wide::new(shows));
        let idle = Wide::new(1.0 - shows);
        let total = acts.plus(idle);
        left = left.times(total);
        // Contradicted: weightless, but the structure stays what it is under other readings.
        let (acts, idle) = if total.is_zero() {
            (Wide::ZERO, Wide::ONE)
        } else {
            (acts.over(total), idle.over(total))
        };
        if let [only] = pairs[..] {
            let u = idle.plus(acts.times(only.u));
            shape.pairs.push(Pair {
                reading: only.reading,
                u,
                e: acts.times(only.e),
            });
        } else if !pairs.is_empty() {
            shape.groups.push(Group {
                run,
                idle,
                acts,
                pairs,
            });
        }
    }
    shape.pairs.sort_unstable_by_key(|p| p.reading);
    (shape, left)
}
