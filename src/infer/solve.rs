//! Running a plan for what it is there for: P(readings) and the posterior of every mode.

use std::cell::Cell;

use super::network::{Network, Posterior};
use super::run::{Lane, Problem, Space};
use super::wide::{Num, Wide};

/// What a plan gives.
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    /// P(readings), and that the causes are as the problem keeps them.
    pub(crate) evidence: Wide,
    /// P(setting | readings).
    pub(crate) share: Vec<f64>,
    /// P(cause i in mode m | readings).
    pub(crate) modes: Vec<Vec<f64>>,
}

impl Solved {
    /// As an exact posterior.
    pub(crate) fn into_posterior(self) -> Posterior {
        let common = (0..self.share.len().ilog2())
            .map(|b| {
                let present = self
                    .share
                    .iter()
                    .enumerate()
                    .filter(|(s, _)| s >> b & 1 == 1);
                present.map(|(_, share)| share).sum::<f64>().min(1.0)
            })
            .collect();
        Posterior {
            log_evidence: self.evidence.ln(),
            modes: self.modes,
            common,
            unexplored_mass: 0.0,
        }
    }
}

/// Runs a plan with at least as many lanes as there are settings; lanes beyond those stay at weight 0. `None` when
/// P(readings) is 0.
pub(crate) fn solve(problem: Problem<'_>) -> Option<Solved> {
    match problem.net.settings() {
        1 => solve_lanes::<1>(problem),
        2 | 4 => solve_lanes::<4>(problem),
        _ => solve_lanes::<16>(problem),
    }
}

/// Plain numbers first; wide ones when those may have lost something to underflow.
fn solve_lanes<const L: usize>(problem: Problem<'_>) -> Option<Solved> {
    let mut space = SPARE.take();
    // The same sums with wider vectors where the processor has them; no fused operations, so the numbers do not differ.
    let plain = pulp::Arch::new().dispatch(|| solve_in::<f64, L>(problem, &mut space));
    SPARE.set(space);
    plain
        .or_else(|| solve_in::<Wide, L>(problem, &mut Space::default()))
        .flatten()
}

thread_local! {
    /// Room that the next inference on this thread uses again: fresh pages cost more than the sums in them.
    static SPARE: Cell<Space<f64>> = Cell::default();
}

/// Below this a plain number may have lost digits to underflow (see [`super::wide`]): `2^-1074` times any number
/// of operations that ends is far smaller than its rounding.
const SAFE: f64 = 1e-250;

/// What the settings of the common causes come to.
struct Settings<const L: usize> {
    /// P(readings), apart from the scale.
    total: Wide,
    /// P(setting | readings).
    share: [f64; L],
}

/// The share of each setting from the parts that multiply. `None` when a setting that is too small to be sure of
/// might matter.
fn settings<N: Num, const L: usize>(
    net: &Network,
    parts: &[Lane<N, L>],
    checked: bool,
) -> Option<Settings<L>> {
    let safe = Wide::new(SAFE);
    let mut values = [Wide::ZERO; L];
    let mut total = Wide::ZERO;
    let mut doubtful = Wide::ZERO;
    for (s, value) in values.iter_mut().enumerate().take(net.settings()) {
        let prior = Wide::new(net.setting_prior(s));
        let (mut exact, mut most, mut weak) = (prior, prior, false);
        for part in parts {
            let part = part[s].wide();
            exact = exact.times(part);
            most = most.times(part.max(safe));
            weak |= part.less(safe);
        }
        if checked && weak {
            doubtful = doubtful.plus(most);
        } else {
            total = total.plus(exact);
            *value = exact;
        }
    }
    if checked && !doubtful.less(total.times(Wide::new(1e-25))) && !doubtful.is_zero() {
        return None;
    }
    let share = values.map(|v| {
        if total.is_zero() {
            0.0
        } else {
            v.over(total).to_f64()
        }
    });
    Some(Settings { total, share })
}

/// Runs the plan in one kind of number. `None` when underflow may have cost something, `Some(None)` when
/// P(readings) is 0.
#[inline(always)]
fn solve_in<N: Num, const L: usize>(
    problem: Problem<'_>,
    space: &mut Space<N>,
) -> Option<Option<Solved>> {
    let checked = N::from_wide(Wide::exp(-2000.0)) == N::ZERO;
    let Problem {
        net, folded, plan, ..
    } = problem;
    problem.forward::<N, L>(space);
    let mut parts: Vec<Lane<N, L>> = plan.roots.iter().map(|&root| space.root(root)).collect();
    let idle: Vec<usize> = (0..net.causes.len())
        .filter(|&c| problem.vars.of_cause[c].is_none())
        .collect();
    for &cause in &idle {
        let mut weight = [[N::ZERO; L]];
        problem.weights(cause, &mut weight);
        parts.extend(weight);
    }
    let settings = settings(net, &parts, checked)?;
    let evidence = settings.total.times(folded.total_scale());
    if evidence.is_zero() {
        return Some(None);
    }
    let seeds: Vec<Lane<N, L>> = parts
        .iter()
        .map(|part| seed(part, &settings.share))
        .collect();
    let worth = space.backward(problem, &seeds[..plan.roots.len()]);
    let mut modes: Vec<Vec<f64>> = net
        .causes
        .iter()
        .map(|cause| vec![0.0; cause.modes.len()])
        .collect();
    for (&cause, seed) in idle.iter().zip(&seeds[plan.roots.len()..]) {
        problem.collect(cause, std::slice::from_ref(seed), &mut modes[cause]);
    }
    for (cause, slot) in plan.weights() {
        problem.collect(
            cause,
            &worth[slot.start..slot.start + slot.len],
            &mut modes[cause],
        );
    }
    Some(Some(Solved {
        evidence,
        share: settings.share[..net.settings()].to_vec(),
        modes,
    }))
}

/// What a part is worth: P(setting | readings) over its value.
fn seed<N: Num, const L: usize>(part: &Lane<N, L>, share: &[f64; L]) -> Lane<N, L> {
    let mut seed = [N::ZERO; L];
    for s in 0..L {
        let value = part[s].wide();
        if share[s] > 0.0 && !value.is_zero() {
            seed[s] = N::from_wide(Wide::new(share[s]).over(value));
        }
    }
    seed
}
