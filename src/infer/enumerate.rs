//! Beyond the reach of an exact sum: a search that certifies what it left out.
//!
//! The states of the causes are split into *cells*, each given by the states of some causes. In a cell, some
//! readings are summed exactly; for each other reading `j`, with `e` the probability that the leak or a cause
//! fixed in this cell explains it and `u = 1 - e`, and `e_i` that of free cause `i` in its state,
//!
//! e  ≤  P(j explained)  =  1 - u·Π(1 - e_i)  ≤  e·Π(1 + e_i·u/e)
//!
//! The left side drops the free causes; the right side holds because `log(1 - u·exp(-t))` is concave in `t` (the
//! first step of the bound of Jaakkola and Jordan, Variational probabilistic inference and the QMR-DT network,
//! JAIR 10, 1999, derived here). Both sides are products over causes, so both are as cheap as dropping the reading,
//! and both hold for *every* state: the lower sum is what was found, the difference is at most what was missed.
//! The cell with the largest difference is split next, by the cause that matters most to it, until all differences
//! together are below the limit. With enough causes fixed a cell is summed exactly.

use super::fold::{Folded, FoldedCause, Shape};
use super::network::Network;
use super::order::{Rule, Vars, order};
use super::plan::{Allowance, Plan};
use super::posterior::{Limits, Strategy};
use super::relax::{Side, UNEXPLAINED, relax};
use super::run::{Keep, Problem, Which};
use super::solve::{Solved, solve};
use super::wide::{Num, Wide};

/// What the search found.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// The sum over the cells from below, or a guess when nothing was found for certain.
    pub(crate) solved: Solved,
    /// Share of the probability that may have been missed.
    pub(crate) missed: f64,
}

/// Bounds for one cell.
#[derive(Debug, Clone)]
pub(crate) struct Cell {
    /// What is kept in it.
    pub(crate) keep: Vec<Keep>,
    /// From below; `None` when that is 0.
    pub(crate) lower: Option<Solved>,
    /// From above.
    pub(crate) upper: Solved,
    /// Difference of the two.
    pub(crate) gap: Wide,
    /// The cause to split next.
    split: Option<usize>,
}

/// Searches until at most `limits.max_unexplored` may have been missed, or `limits.max_steps` cells were looked at.
/// `None` when P(readings) is 0.
///
/// A cell that was split is followed down its most promising part until a sum is exact there; then the largest gap of all is
/// next. Largest gaps only would stay where the bounds are loose, and find nothing where the steps do not suffice.
pub(crate) fn enumerate(net: &Network, folded: &Folded, limits: &Limits) -> Option<Found> {
    let root = bound(net, folded, limits, &[])?;
    let guess = root.upper.clone();
    let mut cells = vec![root];
    let mut steps = 1;
    let mut follow = Some(0);
    while steps < limits.max_steps {
        let (lower, gap) = totals(&cells);
        if gap.is_zero() || gap.over(lower.plus(gap)).to_f64() <= limits.max_unexplored {
            break;
        }
        let next = follow.or_else(|| most(&cells, 0, |cell| cell.gap));
        let Some((at, cause)) = next.and_then(|at| Some((at, cells[at].split?))) else {
            break;
        };
        let cell = cells.swap_remove(at);
        let first = cells.len();
        for member in &folded.causes[cause].members {
            let mut keep = cell.keep.clone();
            keep.push(Keep {
                cause,
                which: Which::Mode(member.mode),
                only: true,
            });
            steps += 1;
            cells.extend(bound(net, folded, limits, &keep));
        }
        follow = most(&cells, first, |cell| cell.upper.evidence);
    }
    let (lower, gap) = totals(&cells);
    if lower.is_zero() && gap.is_zero() {
        return None;
    }
    let missed = if lower.is_zero() {
        1.0
    } else {
        gap.over(lower.plus(gap)).to_f64()
    };
    let solved = if lower.is_zero() {
        guess
    } else {
        mixture(cells.iter(), lower)
    };
    Some(Found { solved, missed })
}

/// The cell, of those from `first` on that can be split, with the most of something; the first among equals.
fn most(cells: &[Cell], first: usize, of: impl Fn(&Cell) -> Wide) -> Option<usize> {
    let open = (first..cells.len()).filter(|&c| cells[c].split.is_some());
    open.fold(None, |best, c| match best {
        Some(b) if !of(&cells[b]).less(of(&cells[c])) => best,
        _ => Some(c),
    })
}

/// Sums over all cells, from below, and of the gaps.
fn totals(cells: &[Cell]) -> (Wide, Wide) {
    let none = (Wide::ZERO, Wide::ZERO);
    cells.iter().fold(none, |(lower, gap), cell| {
        let found = cell.lower.as_ref().map_or(Wide::ZERO, |l| l.evidence);
        (lower.plus(found), gap.plus(cell.gap))
    })
}

/// The cells together, each by its share of the total.
fn mixture<'c>(cells: impl Iterator<Item = &'c Cell>, total: Wide) -> Solved {
    let mut mixed: Option<Solved> = None;
    for solved in cells.filter_map(|c| c.lower.as_ref()) {
        let share = solved.evidence.over(total).to_f64();
        let into = mixed.get_or_insert_with(|| Solved {
            evidence: total,
            share: vec![0.0; solved.share.len()],
            modes: solved.modes.iter().map(|m| vec![0.0; m.len()]).collect(),
        });
        for (to, from) in into.share.iter_mut().zip(&solved.share) {
            *to += share * from;
        }
        for (to, from) in into
            .modes
            .iter_mut()
            .flatten()
            .zip(solved.modes.iter().flatten())
        {
            *to += share * from;
        }
    }
    mixed.unwrap_or(Solved {
        evidence: Wide::ZERO,
        share: vec![],
        modes: vec![],
    })
}

/// Bounds a cell. `None` when even the upper bound is 0.
pub(crate) fn bound(
    net: &Network,
    folded: &Folded,
    limits: &Limits,
    keep: &[Keep],
) -> Option<Cell> {
    let cell = fix(folded, keep);
    if cell.causes.iter().any(|c| c.members.is_empty()) {
        return None;
    }
    let budget = if limits.strategy == Strategy::Enumeration {
        FORCED
    } else {
        CELL
    };
    let bounded = bound_within(net, &cell, limits, keep, budget)?;
    if bounded.split.is_none() && !bounded.gap.is_zero() {
        // Only hidden states of flaky causes are left to sum over.
        return bound_within(net, &cell, limits, keep, f64::INFINITY);
    }
    Some(bounded)
}

/// Bounds a cell with tables of at most `budget` entries together.
fn bound_within(
    net: &Network,
    cell: &Folded,
    limits: &Limits,
    keep: &[Keep],
    budget: f64,
) -> Option<Cell> {
    let (exact, vars, plan) = choose(cell, limits, net.settings(), budget);
    let below = relax(cell, &exact, Side::Below);
    let run = |folded: &Folded| {
        solve(Problem {
            net,
            folded,
            vars: &vars,
            plan: &plan,
            keep,
            again: None,
        })
    };
    let lower = run(&below);
    let keep = keep.to_vec();
    if exact.iter().all(|&e| e) {
        let upper = lower.clone()?;
        return Some(Cell {
            keep,
            lower,
            upper,
            gap: Wide::ZERO,
            split: None,
        });
    }
    let upper = run(&relax(cell, &exact, Side::Above))?;
    let found = lower
        .as_ref()
        .map_or(0.0, |l| l.evidence.over(upper.evidence).to_f64());
    let gap = upper.evidence.times(Wide::new((1.0 - found).max(0.0)));
    let split = most_influential(cell, &exact, &upper);
    Some(Cell {
        keep,
        lower,
        upper,
        gap,
        split,
    })
}

/// The folded network with the kept states only; what fixed causes explain for certain goes to the leaks.
fn fix(folded: &Folded, keep: &[Keep]) -> Folded {
    let mut cell = folded.clone();
    for (id, cause) in cell.causes.iter_mut().enumerate() {
        let of_cause = keep.iter().filter(|k| k.cause == id);
        if keep.iter().all(|k| k.cause != id) {
            continue;
        }
        cause
            .members
            .retain(|m| of_cause.clone().all(|k| k.which.holds(m) == k.only));
        rebuild(cause);
        if let [shape] = &mut cause.states[..] {
            for pair in std::mem::take(&mut shape.pairs) {
                let reading = &mut cell.readings[pair.reading];
                reading.e += reading.u * pair.e.to_f64();
                reading.u *= pair.u.to_f64();
            }
            rebuild(cause);
        }
    }
    cell
}

/// Lists the states that the members are in once more, equal ones once, and what they touch.
pub(crate) fn rebuild(cause: &mut FoldedCause) {
    let mut states: Vec<Shape> = Vec::new();
    for member in &mut cause.members {
        let shape = &cause.states[member.state];
        let at = states.iter().position(|s| s == shape).unwrap_or_else(|| {
            states.push(shape.clone());
            states.len() - 1
        });
        member.state = at;
    }
    cause.states = states;
    let groups = || cause.states.iter().flat_map(|s| &s.groups);
    let direct = cause.states.iter().flat_map(|s| &s.pairs);
    let mut touched: Vec<usize> = direct
        .chain(groups().flat_map(|g| &g.pairs))
        .map(|p| p.reading)
        .collect();
    let mut runs: Vec<usize> = groups().map(|g| g.run).collect();
    touched.sort_unstable();
    touched.dedup();
    runs.sort_unstable();
    runs.dedup();
    cause.touched = touched;
    cause.runs = runs;
}

/// Table entries that the sum for one cell may need.
const CELL: f64 = 2e4;

/// The same when the search is forced, so that it searches where an exact sum would do.
const FORCED: f64 = 64.0;

/// Which readings are summed exactly: those least explained so far, as many as the allowance permits.
fn choose(cell: &Folded, limits: &Limits, lanes: usize, budget: f64) -> (Vec<bool>, Vars, Plan) {
    let n = cell.readings.len();
    let mut by_need: Vec<usize> = (0..n).collect();
    by_need.sort_by(|&a, &b| {
        cell.readings[a]
            .e
            .total_cmp(&cell.readings[b].e)
            .then(a.cmp(&b))
    });
    let allowance = Allowance {
        work: limits.max_work,
        entries: limits.max_entries,
        lanes,
    };
    // A reading that nothing free touches costs nothing.
    let mut untouched = vec![true; n];
    cell.causes
        .iter()
        .flat_map(|c| &c.touched)
        .for_each(|&j| untouched[j] = false);
    let attempt = |count: usize| {
        let mut exact = untouched.clone();
        by_need[..count].iter().for_each(|&j| exact[j] = true);
        let vars = Vars::new(&relax(cell, &exact, Side::Below));
        let order = order(&vars, Rule::Greedy);
        if order.cost > budget + vars.list.len() as f64 * 4.0 {
            return None;
        }
        Plan::new(&vars, &order, allowance)
            .ok()
            .map(|plan| (exact, vars, plan))
    };
    if let Some(all) = attempt(n) {
        return all;
    }
    let (mut low, mut high) = (0, n);
    let mut best = None;
    while low + 1 < high {
        let middle = low.midpoint(high);
        match attempt(middle) {
            Some(found) => {
                low = middle;
                best = Some(found);
            }
            None => high = middle,
        }
    }
    best.unwrap_or_else(|| {
        let vars = Vars::new(&relax(cell, &untouched, Side::Below));
        let all = Allowance {
            work: f64::INFINITY,
            entries: f64::INFINITY,
            lanes,
        };
        let plan = Plan::new(&vars, &order(&vars, Rule::Greedy), all).unwrap_or_default();
        (untouched.clone(), vars, plan)
    })
}

/// The free cause whose state moves the bound most: expected logarithm of its factor under the upper bound.
fn most_influential(cell: &Folded, exact: &[bool], upper: &Solved) -> Option<usize> {
    let mut best: Option<(f64, usize)> = None;
    for (id, cause) in cell.causes.iter().enumerate() {
        if cause.members.len() < 2 {
            continue;
        }
        let at_fault: f64 = upper.modes[id].iter().sum();
        let mut expected = 0.0;
        for member in &cause.members {
            let p = member
                .mode
                .map_or((1.0 - at_fault).max(0.0), |m| upper.modes[id][m]);
            let state = &cause.states[member.state];
            let pairs = state
                .pairs
                .iter()
                .chain(state.groups.iter().flat_map(|g| &g.pairs));
            let reach: f64 = pairs
                .filter(|p| !exact[p.reading])
                .map(|p| {
                    let reading = cell.readings[p.reading];
                    (p.e.to_f64() * reading.u / reading.e.max(UNEXPLAINED)).ln_1p()
                })
                .sum();
            expected += p * reach;
        }
        // A cause that is certain to be as it is moves nothing, but is still split when nothing else is left.
        let score = if cause.touched.iter().any(|&j| !exact[j]) {
            expected + 1e-12
        } else {
            0.0
        };
        if score > 0.0 && best.is_none_or(|(most, _)| score > most) {
            best = Some((score, id));
        }
    }
    best.map(|(_, id)| id)
}
