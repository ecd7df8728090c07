//! Running a plan for what it is there for: P(readings) and the posterior of every mode.

use std::cell::Cell;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::arith::{Arith, Single, Vector};
use super::network::{Network, Posterior};
use super::run::{Lane, Problem, Rows, Space};
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
    in_spare(problem, true)
}

/// P(readings) by a plan, for all settings. `None` when it is 0.
pub(crate) fn total(problem: Problem<'_>) -> Option<Wide> {
    in_spare(problem, false).map(|s| s.evidence)
}

fn in_spare(problem: Problem<'_>, marginals: bool) -> Option<Solved> {
    let mut spaces = SPARE.take();
    spaces.shared = true;
    let solved = run_in(problem, marginals, &mut spaces);
    SPARE.set(spaces);
    solved
}

/// With more entries than this in the tables the settings are taken four at a time: the tables of one step then stay in
/// the nearest cache.
const MANY_ENTRIES: usize = 1 << 12;

/// With more entries than this the settings are halved where there is a thread for each half.
const SOME_ENTRIES: usize = 1 << 9;

/// The tables of a run, for the next.
#[derive(Debug, Default)]
pub(crate) struct Spaces {
    rooms: Vec<Space<f64>>,
    /// All groups of settings on a thread use the same room one after the other, which then stays in the cache; nothing is
    /// left to compute [again](Problem::again).
    shared: bool,
}

/// [`solve`] in room of the caller's; without `marginals` only P(readings) is computed, a third of the work. When the problem says
/// what to compute [again](Problem::again), the room must hold a run of the same plan on the same network, and the modes
/// of other causes are not computed.
pub(crate) fn run_in(problem: Problem<'_>, marginals: bool, spaces: &mut Spaces) -> Option<Solved> {
    match problem.net.settings() {
        1 => solve_lanes::<1>(problem, marginals, spaces),
        2 | 4 => solve_lanes::<4>(problem, marginals, spaces),
        _ if problem.plan.lanes > MANY_ENTRIES => solve_lanes::<4>(problem, marginals, spaces),
        _ if problem.plan.lanes > SOME_ENTRIES && THREADS.load(Ordering::Relaxed) > 1 => {
            solve_lanes::<8>(problem, marginals, spaces)
        }
        _ => solve_lanes::<16>(problem, marginals, spaces),
    }
}

/// How many threads one sum may use.
static THREADS: AtomicUsize = AtomicUsize::new(1);

/// Lets each dear sum of this process use so many threads: for one machine at a time, while the other cores are idle. The
/// numbers are the same.
pub fn use_threads(threads: usize) {
    THREADS.store(threads.max(1), Ordering::Relaxed);
}

/// Plain numbers first; wide ones when those may have lost something to underflow. Lanes beyond the settings stay at
/// weight 0.
fn solve_lanes<const L: usize>(
    problem: Problem<'_>,
    marginals: bool,
    spaces: &mut Spaces,
) -> Option<Solved> {
    let groups = problem.net.settings().div_ceil(L);
    let threads = THREADS.load(Ordering::Relaxed).min(groups);
    let rooms = if spaces.shared { threads } else { groups };
    if spaces.rooms.len() < rooms {
        spaces.rooms.resize_with(rooms, Space::default);
    }
    let shared = spaces.shared;
    let sum = |groups: Range<usize>, spaces: &mut [Space<f64>]| {
        pulp::Arch::new().dispatch(Sum::<L> {
            problem,
            marginals,
            groups,
            spaces,
            shared,
        })
    };
    let each = groups.div_ceil(threads);
    let found: Vec<OfGroup<f64, L>> = std::thread::scope(|scope| {
        let rooms = spaces.rooms[..rooms].chunks_mut(if shared { 1 } else { each });
        let mut parts = rooms.enumerate().map(|(k, rooms)| {
            let groups = k * each..((k + 1) * each).min(groups);
            move || sum(groups, rooms)
        });
        let own = parts.next();
        let others: Vec<_> = parts.map(|part| scope.spawn(part)).collect();
        let mut found = own.map_or_else(Vec::new, |part| part());
        for other in others {
            let joined = other.join();
            found.extend(joined.unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        found
    });
    together(problem, marginals, found)
        .or_else(|| {
            let all = Problem {
                again: None,
                ..problem
            };
            let mut space = Space::default();
            let arith = Single::<Wide>::default();
            let idle = idle(all);
            let one = |group| {
                of_group::<_, Wide, L>(arith, all, marginals, &idle, (group, true), &mut space)
            };
            together(all, marginals, (0..groups).map(one).collect())
        })
        .flatten()
}

/// The sum of some groups of settings in plain numbers, compiled once for every width of vectors that the processor may have.
/// Nothing is fused, so the numbers are the same on all.
struct Sum<'p, const L: usize> {
    problem: Problem<'p>,
    marginals: bool,
    groups: Range<usize>,
    spaces: &'p mut [Space<f64>],
    shared: bool,
}

impl<const L: usize> pulp::WithSimd for Sum<'_, L> {
    type Output = Vec<OfGroup<f64, L>>;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, simd: S) -> Self::Output {
        match L.is_multiple_of(S::F64_LANES) {
            true => self.with(Vector(simd)),
            false => self.with(Single::<f64>::default()),
        }
    }
}

impl<const L: usize> Sum<'_, L> {
    #[inline(always)]
    fn with<A: Arith<Number = f64>>(self, arith: A) -> Vec<OfGroup<f64, L>> {
        let idle = idle(self.problem);
        let first = self.groups.start;
        let mut found = Vec::with_capacity(self.groups.len());
        for group in self.groups {
            let (at, plain) = match self.shared {
                true => (0, group == first),
                false => (group - first, true),
            };
            let space = &mut self.spaces[at];
            let of = of_group(
                arith,
                self.problem,
                self.marginals,
                &idle,
                (group, plain),
                space,
            );
            found.push(of);
        }
        found
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

/// What a group of settings comes to: the parts that multiply, and the modes.
struct OfGroup<N, const L: usize> {
    parts: Vec<Lane<N, L>>,
    modes: Modes,
}

/// Causes that are in no table of the plan.
fn idle(problem: Problem<'_>) -> Vec<usize> {
    (0..problem.net.causes.len())
        .filter(|&c| problem.vars.of_cause[c].is_none())
        .collect()
}

/// Runs the plan in one kind of number for `L` settings, the group of this number. `plain` as in [`Problem::forward`].
#[inline(always)]
fn of_group<A: Arith<Number = N>, N: Num, const L: usize>(
    arith: A,
    problem: Problem<'_>,
    marginals: bool,
    idle: &[usize],
    (group, plain): (usize, bool),
    space: &mut Space<N>,
) -> OfGroup<N, L> {
    let plan = problem.plan;
    let first = group * L;
    problem.forward::<A, N, L>(arith, first, plain, space);
    let mut parts: Vec<Lane<N, L>> = plan.roots.iter().map(|&root| space.root(root)).collect();
    for &cause in idle {
        let mut weight = [[N::ZERO; L]];
        problem.weights(cause, first, &mut weight);
        parts.extend(weight);
    }
    let mut modes = Modes::new(problem.net, if marginals { L } else { 0 });
    if marginals {
        // Straight after the forward run, while its tables are still near.
        let seeds = seeds(&parts, checked::<N>());
        let (of_roots, of_idle) = seeds.split_at(plan.roots.len());
        let worth = space.backward(arith, problem, of_roots);
        for (&cause, seed) in idle.iter().zip(of_idle) {
            let worth = std::slice::from_ref(seed);
            problem.collect(cause, first, worth, modes.of(cause));
        }
        for (at, cause, slot) in plan.weights() {
            if problem.again.is_some_and(|a| !a.bases[at]) {
                continue;
            }
            let worth = &worth[slot.start..slot.start + slot.len];
            problem.collect(cause, first, worth, modes.of(cause));
        }
    }
    OfGroup { parts, modes }
}

/// Whether this kind of number may underflow.
fn checked<N: Num>() -> bool {
    N::from_wide(Wide::exp(-2000.0)) == N::ZERO
}

/// All groups of settings together. `None` when underflow may have cost something, `Some(None)` when P(readings) is 0.
fn together<N: Num, const L: usize>(
    problem: Problem<'_>,
    marginals: bool,
    groups: Vec<OfGroup<N, L>>,
) -> Option<Option<Solved>> {
    let net = problem.net;
    let (parts, modes): (Vec<_>, Vec<_>) = groups.into_iter().map(|g| (g.parts, g.modes)).unzip();
    let settings = settings(net, &parts, checked::<N>())?;
    let evidence = settings.total.times(problem.folded.total_scale());
    if evidence.is_zero() {
        return Some(None);
    }
    let modes = match marginals {
        true => Modes::over(&modes, net, &settings.share),
        false => Vec::new(),
    };
    Some(Some(Solved {
        evidence,
        modes,
        share: settings.share,
    }))
}

/// P(mode | setting, readings) of every mode of every cause, for a group of settings.
struct Modes {
    /// `[mode][setting]`, the modes of one cause after those of the other.
    numbers: Vec<f64>,
    /// Where the numbers of each cause begin.
    starts: Vec<usize>,
    /// Numbers for each mode.
    width: usize,
}

impl Modes {
    fn new(net: &Network, width: usize) -> Self {
        let mut end = 0;
        let starts = std::iter::once(0).chain(net.causes.iter().map(|cause| {
            end += cause.modes.len() * width;
            end
        }));
        let starts: Vec<usize> = starts.collect();
        Modes {
            numbers: vec![0.0; end],
            starts,
            width,
        }
    }

    /// What is known of a cause, `[mode][setting]`.
    fn of(&mut self, cause: usize) -> Rows<'_> {
        let range = self.starts[cause]..self.starts[cause + 1];
        Rows {
            numbers: &mut self.numbers[range],
            width: self.width,
        }
    }

    /// The row of a mode.
    fn row(&self, cause: usize, mode: usize) -> &[f64] {
        &self.numbers[self.starts[cause] + mode * self.width..][..self.width]
    }

    /// P(mode | readings): the mean over the settings of all groups by their share.
    fn over(groups: &[Self], net: &Network, share: &[f64]) -> Vec<Vec<f64>> {
        let mean = |cause: usize, mode: usize| -> f64 {
            let rows = groups.iter().flat_map(|g| g.row(cause, mode));
            rows.zip(share).map(|(p, s)| p * s).sum::<f64>().min(1.0)
        };
        (net.causes.iter().enumerate())
            .map(|(id, cause)| (0..cause.modes.len()).map(|m| mean(id, m)).collect())
            .collect()
    }
}

/// What each part is worth in a setting: one over its value. Nothing in a setting with a part that is 0, or too small to be
/// sure of: such a setting has no share (see [`settings`]).
fn seeds<N: Num, const L: usize>(parts: &[Lane<N, L>], checked: bool) -> Vec<Lane<N, L>> {
    let safe = Wide::new(SAFE);
    let mut seeds = vec![[N::ZERO; L]; parts.len()];
    for l in 0..L {
        let values = || parts.iter().map(|part| part[l].wide());
        if values().any(|v| v.is_zero() || checked && v.less(safe)) {
            continue;
        }
        for (seed, value) in seeds.iter_mut().zip(values()) {
            seed[l] = N::from_wide(Wide::new(1.0).over(value));
        }
    }
    seeds
}
