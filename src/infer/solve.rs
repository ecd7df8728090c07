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

/// Runs a plan for all settings. `None` when P(readings) is 0.
pub(crate) fn solve(problem: Problem<'_>) -> Option<Solved> {
    let mut spaces = SPARE.take();
    let solved = run_in(problem, true, &mut spaces);
    SPARE.set(spaces);
    solved
}

/// With more entries than this in the tables the settings are taken four at a time: the tables of one step then stay in
/// the nearest cache.
const MANY_ENTRIES: usize = 1 << 12;

/// The tables of a run, for the next.
#[derive(Debug, Default)]
pub(crate) struct Spaces(Vec<Space<f64>>);

/// [`solve`] in room of the caller's; without `marginals` only P(readings) is computed, a third of the work. When the problem says
/// what to compute [again](Problem::again), the room must hold a run of the same plan on the same network, and the modes
/// of other causes are not computed.
pub(crate) fn run_in(problem: Problem<'_>, marginals: bool, spaces: &mut Spaces) -> Option<Solved> {
    let spaces = &mut spaces.0;
    match problem.net.settings() {
        1 => solve_lanes::<1>(problem, marginals, spaces),
        2 | 4 => solve_lanes::<4>(problem, marginals, spaces),
        _ if problem.plan.lanes > MANY_ENTRIES => solve_lanes::<4>(problem, marginals, spaces),
        _ => solve_lanes::<16>(problem, marginals, spaces),
    }
}

/// Plain numbers first; wide ones when those may have lost something to underflow. Lanes beyond the settings stay at
/// weight 0.
fn solve_lanes<const L: usize>(
    problem: Problem<'_>,
    marginals: bool,
    spaces: &mut Vec<Space<f64>>,
) -> Option<Solved> {
    let plain = pulp::Arch::new().dispatch(Sum::<L> {
        problem,
        marginals,
        spaces,
    });
    plain
        .or_else(|| {
            let all = Problem {
                again: None,
                ..problem
            };
            solve_in::<Wide, L>(all, marginals, &mut Vec::new())
        })
        .flatten()
}

/// The sum in plain numbers, compiled once for every width of vectors that the processor may have. Nothing is fused, so the
/// numbers are the same on all.
struct Sum<'p, const L: usize> {
    problem: Problem<'p>,
    marginals: bool,
    spaces: &'p mut Vec<Space<f64>>,
}

impl<const L: usize> pulp::WithSimd for Sum<'_, L> {
    type Output = Option<Option<Solved>>;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> Self::Output {
        solve_in::<f64, L>(self.problem, self.marginals, self.spaces)
    }
}

thread_local! {
    /// Room that the next inference on this thread uses again: fresh pages cost more than the sums in them.
    static SPARE: Cell<Spaces> = Cell::default();
}

/// Below this a plain number may have lost digits to underflow (see [`super::wide`]): `2^-1074` times any number
/// of operations that ends is far smaller than its rounding.
const SAFE: f64 = 1e-250;

/// What the settings of the common causes come to.
struct Settings {
    /// P(readings), apart from the scale.
    total: Wide,
    /// P(setting | readings).
    share: Vec<f64>,
}

/// The share of each setting from the parts that multiply (`[group of lanes][part][lane]`). `None` when a setting that is
/// too small to be sure of might matter.
fn settings<N: Num, const L: usize>(
    net: &Network,
    parts: &[Vec<Lane<N, L>>],
    checked: bool,
) -> Option<Settings> {
    let safe = Wide::new(SAFE);
    let mut values = vec![Wide::ZERO; net.settings()];
    let mut total = Wide::ZERO;
    let mut doubtful = Wide::ZERO;
    for (s, value) in values.iter_mut().enumerate() {
        let prior = Wide::new(net.setting_prior(s));
        let (mut exact, mut most, mut weak) = (prior, prior, false);
        for part in &parts[s / L] {
            let part = part[s % L].wide();
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
    let share = values.into_iter().map(|v| {
        if total.is_zero() {
            0.0
        } else {
            v.over(total).to_f64()
        }
    });
    Some(Settings {
        share: share.collect(),
        total,
    })
}

/// Runs the plan in one kind of number, `L` settings at a time. `None` when underflow may have cost something,
/// `Some(None)` when P(readings) is 0.
#[inline(always)]
fn solve_in<N: Num, const L: usize>(
    problem: Problem<'_>,
    marginals: bool,
    spaces: &mut Vec<Space<N>>,
) -> Option<Option<Solved>> {
    let checked = N::from_wide(Wide::exp(-2000.0)) == N::ZERO;
    let Problem {
        net, folded, plan, ..
    } = problem;
    let idle: Vec<usize> = (0..net.causes.len())
        .filter(|&c| problem.vars.of_cause[c].is_none())
        .collect();
    let groups = net.settings().div_ceil(L);
    if spaces.len() < groups {
        spaces.resize_with(groups, Space::default);
    }
    let mut parts: Vec<Vec<Lane<N, L>>> = Vec::with_capacity(groups);
    for (group, space) in spaces.iter_mut().enumerate().take(groups) {
        problem.forward::<N, L>(group * L, space);
        let mut of_group: Vec<Lane<N, L>> =
            plan.roots.iter().map(|&root| space.root(root)).collect();
        for &cause in &idle {
            let mut weight = [[N::ZERO; L]];
            problem.weights(cause, group * L, &mut weight);
            of_group.extend(weight);
        }
        parts.push(of_group);
    }
    let settings = settings(net, &parts, checked)?;
    let evidence = settings.total.times(folded.total_scale());
    if evidence.is_zero() {
        return Some(None);
    }
    let mut solved = Solved {
        evidence,
        share: settings.share,
        modes: Vec::new(),
    };
    if !marginals {
        return Some(Some(solved));
    }
    solved.modes = (net.causes.iter())
        .map(|cause| vec![0.0; cause.modes.len()])
        .collect();
    for (group, (space, parts)) in spaces.iter_mut().zip(&parts).enumerate() {
        let first = group * L;
        let share = &solved.share[first..(first + L).min(net.settings())];
        let seeds: Vec<Lane<N, L>> = parts.iter().map(|part| seed(part, share)).collect();
        let worth = space.backward(problem, &seeds[..plan.roots.len()]);
        for (&cause, seed) in idle.iter().zip(&seeds[plan.roots.len()..]) {
            let worth = std::slice::from_ref(seed);
            problem.collect(cause, first, worth, &mut solved.modes[cause]);
        }
        for (at, cause, slot) in plan.weights() {
            if problem.again.is_some_and(|a| !a.bases[at]) {
                continue;
            }
            let worth = &worth[slot.start..slot.start + slot.len];
            problem.collect(cause, first, worth, &mut solved.modes[cause]);
        }
    }
    let all = solved.modes.iter_mut().flatten();
    all.for_each(|p| *p = p.min(1.0));
    Some(Some(solved))
}

/// What a part is worth: P(setting | readings) over its value.
fn seed<N: Num, const L: usize>(part: &Lane<N, L>, share: &[f64]) -> Lane<N, L> {
    let mut seed = [N::ZERO; L];
    for ((seed, value), &share) in seed.iter_mut().zip(part).zip(share) {
        let value = value.wide();
        if share > 0.0 && !value.is_zero() {
            *seed = N::from_wide(Wide::new(share).over(value));
        }
    }
    seed
}
