//! Running a plan: numbers in, evidence and marginals out.

use super::contract::{self, Contract, Slot};
use super::fold::{Folded, FoldedCause, prior};
use super::network::Network;
use super::order::{Var, Vars, group};
use super::plan::{Base, Plan};
use super::wide::{Num, Wide};

/// A number for each of `L` settings.
pub(crate) type Lane<N, const L: usize> = [N; L];

/// Everything a plan is run on.
#[derive(Clone, Copy)]
pub(crate) struct Problem<'p> {
    /// The network, for the priors.
    pub(crate) net: &'p Network,
    /// What the readings left of it.
    pub(crate) folded: &'p Folded,
    /// The variables of the plan.
    pub(crate) vars: &'p Vars,
    /// The plan.
    pub(crate) plan: &'p Plan,
}

/// The values of all tables.
pub(crate) struct Tables<N, const L: usize> {
    plain: Vec<N>,
    lanes: Vec<Lane<N, L>>,
}

fn zero<N: Num, const L: usize>() -> Lane<N, L> {
    [N::ZERO; L]
}

fn add<N: Num, const L: usize>(a: Lane<N, L>, b: Lane<N, L>) -> Lane<N, L> {
    let mut sum = a;
    for (s, b) in sum.iter_mut().zip(b) {
        *s = s.plus(b);
    }
    sum
}

/// `out += a · b`, all with lanes.
#[inline(always)]
fn lanes_by_lanes<N: Num, const L: usize>(out: &mut Lane<N, L>, a: &Lane<N, L>, b: &Lane<N, L>) {
    for l in 0..L {
        out[l] = out[l].plus(a[l].times(b[l]));
    }
}

/// `out += a · b`, where `b` is the same for all lanes.
#[inline(always)]
fn lanes_by_plain<N: Num, const L: usize>(out: &mut Lane<N, L>, a: &Lane<N, L>, b: &N) {
    for l in 0..L {
        out[l] = out[l].plus(a[l].times(*b));
    }
}

impl Problem<'_> {
    /// Weights of the states of a cause: `states · L`.
    pub(crate) fn weights<N: Num, const L: usize>(&self, cause: usize) -> Vec<Lane<N, L>> {
        let folded = &self.folded.causes[cause];
        let mut weights = vec![zero::<N, L>(); folded.states.len()];
        for member in &folded.members {
            let left = N::from_wide(member.left);
            for (setting, w) in weights[member.state].iter_mut().enumerate() {
                let prior = N::from_f64(prior(self.net, cause, member.mode, setting));
                *w = w.plus(prior.times(left));
            }
        }
        weights
    }

    /// Forward: all tables of the plan.
    pub(crate) fn forward<N: Num, const L: usize>(&self) -> Tables<N, L> {
        let mut tables = Tables {
            plain: vec![N::ZERO; self.plan.plain],
            lanes: vec![zero(); self.plan.lanes],
        };
        for (base, slot) in &self.plan.bases {
            if let Base::Weights { cause } = *base {
                tables.lanes[range(*slot)].copy_from_slice(&self.weights::<N, L>(cause));
            } else {
                self.fill(base, &mut tables.plain[range(*slot)]);
            }
        }
        for step in &self.plan.steps {
            tables.step(step);
        }
        tables
    }

    /// Fills an initial table that is the same for all settings.
    fn fill<N: Num>(&self, base: &Base, to: &mut [N]) {
        match *base {
            Base::Unit => to[0] = N::ONE,
            Base::Leak(reading) => {
                let leak = self.folded.readings[reading];
                to[0] = N::from_f64(leak.u);
                to[1] = N::from_f64(leak.e);
            }
            Base::Direct { cause, reading } => {
                let states = &self.folded.causes[cause].states;
                for (x, state) in states.iter().enumerate() {
                    let pair = state.pairs.iter().find(|p| p.reading == reading);
                    to[x] = pair.map_or(N::ONE, |p| N::from_wide(p.u));
                    to[states.len() + x] = pair.map_or(N::ZERO, |p| N::from_wide(p.e));
                }
            }
            Base::Whole { cause } => fill_whole(&self.folded.causes[cause], to),
            Base::Gate { hidden } => self.fill_gate(hidden, to),
            Base::Acts { hidden, reading } => {
                let Var::Hidden { cause, groups, .. } = &self.vars.list[hidden] else {
                    return;
                };
                to[0] = N::ONE;
                for (h, &at) in groups.iter().enumerate() {
                    let pair = group(self.folded, *cause, at)
                        .pairs
                        .iter()
                        .find(|p| p.reading == reading);
                    to[h + 1] = pair.map_or(N::ONE, |p| N::from_wide(p.u));
                    to[groups.len() + 1 + h + 1] = pair.map_or(N::ZERO, |p| N::from_wide(p.e));
                }
            }
            Base::Weights { .. } => unreachable!("weights have a number for each setting"),
        }
    }

    fn fill_gate<N: Num>(&self, hidden: usize, to: &mut [N]) {
        let Var::Hidden { cause, groups, .. } = &self.vars.list[hidden] else {
            return;
        };
        let size = groups.len() + 1;
        for x in 0..self.folded.causes[*cause].states.len() {
            to[x * size] = N::ONE;
        }
        for (h, &at) in groups.iter().enumerate() {
            let group = group(self.folded, *cause, at);
            to[at.0 * size] = N::from_wide(group.idle);
            to[at.0 * size + h + 1] = N::from_wide(group.acts);
        }
    }
}

/// All the readings of a cause at once: entry `S · states + x` for the set S of explained readings.
fn fill_whole<N: Num>(cause: &FoldedCause, to: &mut [N]) {
    let k = cause.states.len();
    for (x, state) in cause.states.iter().enumerate() {
        to[x] = N::ONE;
        let mut filled = 1;
        // The last reading is the lowest bit of S.
        for &reading in cause.touched.iter().rev() {
            let pair = state.pairs.iter().find(|p| p.reading == reading);
            for s in 0..filled {
                let before = to[s * k + x];
                to[(s + filled) * k + x] =
                    pair.map_or(N::ZERO, |p| before.times(N::from_wide(p.e)));
                to[s * k + x] = pair.map_or(before, |p| before.times(N::from_wide(p.u)));
            }
            filled *= 2;
        }
    }
}

fn range(slot: Slot) -> std::ops::Range<usize> {
    slot.start..slot.start + slot.len
}

/// `(lower, upper)` of a slice that was cut at `at`: the entries of two slots, the first one lower.
fn two<T>(all: &mut [T], low: Slot, high: Slot) -> (&mut [T], &mut [T]) {
    let (lower, upper) = all.split_at_mut(high.start);
    (&mut lower[range(low)], &mut upper[..high.len])
}

impl<N: Num, const L: usize> Tables<N, L> {
    fn step(&mut self, op: &Contract) {
        let plus = |a: N, b: N| a.plus(b);
        match (op.a.lanes, op.b.lanes) {
            (false, false) => {
                let c = contract::widen(op, &self.plain[range(op.b)], plus);
                let (a, out) = two(&mut self.plain, op.a, op.out);
                contract::forward(op, a, &c, out, |o, a, c| *o = o.plus(a.times(*c)));
            }
            (true, false) => {
                let c = contract::widen(op, &self.plain[range(op.b)], plus);
                let (a, out) = two(&mut self.lanes, op.a, op.out);
                contract::forward(op, a, &c, out, lanes_by_plain);
            }
            (false, true) => {
                let c = contract::widen(op, &self.lanes[range(op.b)], add);
                let (a, out) = (&self.plain[range(op.a)], &mut self.lanes[range(op.out)]);
                contract::forward(op, a, &c, out, |o, a, c| lanes_by_plain(o, c, a));
            }
            (true, true) => {
                let c = contract::widen(op, &self.lanes[range(op.b)], add);
                let (a, out) = two(&mut self.lanes, op.a, op.out);
                contract::forward(op, a, &c, out, lanes_by_lanes);
            }
        }
    }

    /// Probability of the part of the readings that a root stands for, for each setting.
    pub(crate) fn root(&self, root: Slot) -> Lane<N, L> {
        if root.lanes {
            self.lanes[root.start]
        } else {
            [self.plain[root.start]; L]
        }
    }

    /// Backward: what an entry of each table with lanes is worth, `∂ Σ_root seed·value / ∂ entry`.
    pub(crate) fn backward(&self, plan: &Plan, seeds: &[Lane<N, L>]) -> Vec<Lane<N, L>> {
        let mut worth = vec![zero::<N, L>(); plan.lanes];
        for (root, seed) in plan.roots.iter().zip(seeds) {
            if root.lanes {
                worth[root.start] = *seed;
            }
        }
        for op in plan.steps.iter().rev().filter(|op| op.out.lanes) {
            self.step_back(op, &mut worth);
        }
        worth
    }

    fn step_back(&self, op: &Contract, worth: &mut [Lane<N, L>]) {
        if op.b.lanes {
            let mut c = vec![zero::<N, L>(); op.coefficients];
            let out = &worth[range(op.out)];
            if op.a.lanes {
                contract::back_to_c(op, &self.lanes[range(op.a)], &mut c, out, lanes_by_lanes);
            } else {
                contract::back_to_c(op, &self.plain[range(op.a)], &mut c, out, |c, a, o| {
                    lanes_by_plain(c, o, a)
                });
            }
            let b = contract::narrow(op, c, add);
            worth[range(op.b)].copy_from_slice(&b);
        }
        if op.a.lanes {
            let (a, out) = two(worth, op.a, op.out);
            if op.b.lanes {
                let c = contract::widen(op, &self.lanes[range(op.b)], add);
                contract::back_to_a(op, a, &c, out, lanes_by_lanes);
            } else {
                let c = contract::widen(op, &self.plain[range(op.b)], |a: N, b: N| a.plus(b));
                contract::back_to_a(op, a, &c, out, lanes_by_plain);
            }
        }
    }
}
