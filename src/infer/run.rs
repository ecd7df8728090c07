//! Running a plan: numbers in, evidence and marginals out.

use super::absorb::{Absorb, Scratch};
use super::arith::Arith;
use super::contract::{self, Buffers, Contract, Slot};
use super::fold::{Folded, FoldedCause, Member};
use super::network::Network;
use super::order::{Var, Vars, group};
use super::plan::{Base, Depends, Plan, Step};
use super::wide::Num;

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
    /// What is kept of the causes; everything when empty.
    pub(crate) keep: &'p [Keep],
    /// What to compute again, everything else being in the space from an earlier run of the same plan; `None` for all.
    /// Backward, only what it names gets a worth.
    pub(crate) again: Option<&'p Depends>,
}

impl<'p> Problem<'p> {
    /// All of it: nothing kept out, everything computed.
    pub(crate) fn whole(
        net: &'p Network,
        folded: &'p Folded,
        vars: &'p Vars,
        plan: &'p Plan,
    ) -> Self {
        Problem {
            net,
            folded,
            vars,
            plan,
            keep: &[],
            again: None,
        }
    }
}

/// A restriction of one cause; several of the same cause must all hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Keep {
    /// The cause.
    pub(crate) cause: usize,
    /// Which of its states.
    pub(crate) which: Which,
    /// Only these, or all but these.
    pub(crate) only: bool,
}

/// Some of the states of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Which {
    /// A mode, or being fine.
    Mode(Option<usize>),
    /// All that may explain a reading, or all that explain none.
    Explains(bool),
}

impl Which {
    pub(crate) fn holds(self, member: &Member) -> bool {
        match self {
            Which::Mode(mode) => member.mode == mode,
            Which::Explains(yes) => member.explains == yes,
        }
    }
}

/// Room for the numbers of a run, to be used again by the next.
#[derive(Debug, Default)]
pub(crate) struct Space<N> {
    /// Entries of the tables that are the same for all settings.
    plain: Vec<N>,
    /// Entries of the tables with `L` numbers each, for the settings.
    lanes: Vec<N>,
    /// What each number in `lanes` is worth.
    worth: Vec<N>,
    buffers: Buffers<N>,
    scratch: Scratch<N>,
}

/// The entries of a flat arena.
fn entries<N, const L: usize>(flat: &[N]) -> &[Lane<N, L>] {
    flat.as_chunks().0
}

/// The entries of a flat arena, to change.
fn entries_mut<N, const L: usize>(flat: &mut [N]) -> &mut [Lane<N, L>] {
    flat.as_chunks_mut().0
}

/// `out += a · b`, all with lanes.
#[inline(always)]
pub(crate) fn lanes_by_lanes<N: Num, const L: usize>(
    out: &mut Lane<N, L>,
    a: &Lane<N, L>,
    b: &Lane<N, L>,
) {
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

/// Numbers of one cause, `[mode][setting]`.
pub(crate) struct Rows<'m> {
    pub(crate) numbers: &'m mut [f64],
    /// Numbers for each mode.
    pub(crate) width: usize,
}

impl Problem<'_> {
    /// The members of a cause that are kept, each with its prior for each setting.
    fn members(&self, cause: usize) -> impl Iterator<Item = (&Member, &[f64])> {
        let keep = self.keep.iter().filter(move |k| k.cause == cause);
        let members = self.folded.causes[cause].members.iter();
        members
            .filter(move |m| keep.clone().all(|k| k.which.holds(m) == k.only))
            .map(move |m| (m, self.folded.priors(self.net, cause, m.mode)))
    }

    /// Adds up the weights of the states of a cause, for the settings from `first` on.
    #[inline(always)]
    pub(crate) fn weights<N: Num, const L: usize>(
        &self,
        cause: usize,
        first: usize,
        to: &mut [Lane<N, L>],
    ) {
        for (member, priors) in self.members(cause) {
            let left = N::from_wide(member.left);
            for (w, &prior) in to[member.state].iter_mut().zip(&priors[first..]) {
                *w = w.plus(N::from_f64(prior).times(left));
            }
        }
    }

    /// The probability of each mode of a cause in the settings from `first` on: its weight times what its state is worth.
    #[inline(always)]
    pub(crate) fn collect<N: Num, const L: usize>(
        &self,
        cause: usize,
        first: usize,
        worth: &[Lane<N, L>],
        to: Rows<'_>,
    ) {
        for (member, priors) in self.members(cause) {
            let Some(mode) = member.mode else { continue };
            let left = N::from_wide(member.left);
            let row = &mut to.numbers[mode * to.width..][..L];
            for ((p, &worth), &prior) in
                (row.iter_mut().zip(&worth[member.state])).zip(&priors[first..])
            {
                *p += N::from_f64(prior).times(left).times(worth).wide().to_f64();
            }
        }
    }

    /// Forward: all tables of the plan, for the settings from `first` on. Without `plain`, those that are the same for all
    /// settings are still in the space from other settings.
    #[inline(always)]
    pub(crate) fn forward<A: Arith<Number = N>, N: Num, const L: usize>(
        &self,
        arith: A,
        first: usize,
        plain: bool,
        space: &mut Space<N>,
    ) {
        make_room(&mut space.plain, self.plan.plain);
        make_room(&mut space.lanes, self.plan.lanes * L);
        for (at, (base, slot)) in self.plan.bases.iter().enumerate() {
            if self.again.is_some_and(|a| !a.bases[at]) || !(plain || slot.lanes) {
                continue;
            }
            match *base {
                Base::Weights { cause } => {
                    entries_mut::<N, L>(&mut space.lanes)[range(*slot)].fill([N::ZERO; L]);
                    let to = &mut entries_mut(&mut space.lanes)[range(*slot)];
                    self.weights::<N, L>(cause, first, to);
                }
                Base::Start => {
                    let start = &mut entries_mut::<N, L>(&mut space.lanes)[range(*slot)];
                    start.fill([N::ZERO; L]);
                    start[0] = [N::ONE; L];
                }
                _ => {
                    let to = &mut space.plain[range(*slot)];
                    to.fill(N::ZERO);
                    self.fill(base, to);
                }
            }
        }
        for (at, step) in self.plan.steps.iter().enumerate() {
            if self.again.is_some_and(|a| !a.steps[at]) {
                continue;
            }
            match step {
                Step::Contract(step) if !(plain || step.out.lanes) => {}
                Step::Contract(step) => space.contract::<L>(step),
                Step::Absorb(step) => {
                    space.absorb::<A, L>(arith, step, &self.folded.causes[step.cause]);
                }
            }
        }
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
            // These have a number for each setting.
            Base::Weights { .. } | Base::Start => {}
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

/// Room for so many numbers; what is in it is left over from before.
pub(crate) fn make_room<N: Num>(numbers: &mut Vec<N>, len: usize) {
    if numbers.len() < len {
        numbers.resize(len, N::ZERO);
    }
}

/// The entries of two slots, the first one lower.
fn two<T>(all: &mut [T], low: Slot, high: Slot) -> (&mut [T], &mut [T]) {
    let (lower, upper) = all.split_at_mut(high.start);
    (&mut lower[range(low)], &mut upper[..high.len])
}

impl<N: Num> Space<N> {
    #[inline(always)]
    fn contract<const L: usize>(&mut self, op: &Contract) {
        let Space {
            plain,
            lanes,
            buffers,
            ..
        } = self;
        if op.out.lanes {
            entries_mut::<N, L>(lanes)[range(op.out)].fill([N::ZERO; L]);
        } else {
            plain[range(op.out)].fill(N::ZERO);
        }
        match (op.a.lanes, op.b.lanes) {
            (false, false) => {
                let (below, out) = plain.split_at_mut(op.out.start);
                let c = buffers.widen(op, &below[range(op.b)], 1);
                contract::forward(
                    op,
                    &below[range(op.a)],
                    c,
                    &mut out[..op.out.len],
                    |o, a, c| {
                        *o = o.plus(a.times(*c));
                    },
                );
            }
            (true, false) => {
                let c = buffers.widen(op, &plain[range(op.b)], 1);
                let (a, out) = two(entries_mut(lanes), op.a, op.out);
                contract::forward(op, a, c, out, lanes_by_plain::<N, L>);
            }
            (false, true) => {
                let (below, out) = entries_mut::<N, L>(lanes).split_at_mut(op.out.start);
                let c = buffers.widen(op, below[range(op.b)].as_flattened(), L);
                let a = &plain[range(op.a)];
                contract::forward(op, a, entries(c), &mut out[..op.out.len], |o, a, c| {
                    lanes_by_plain::<N, L>(o, c, a);
                });
            }
            (true, true) => {
                let (below, out) = entries_mut::<N, L>(lanes).split_at_mut(op.out.start);
                let c = buffers.widen(op, below[range(op.b)].as_flattened(), L);
                contract::forward(
                    op,
                    &below[range(op.a)],
                    entries(c),
                    &mut out[..op.out.len],
                    lanes_by_lanes::<N, L>,
                );
            }
        }
    }

    /// Probability of the part of the readings that a root stands for, for each setting.
    #[inline(always)]
    pub(crate) fn root<const L: usize>(&self, root: Slot) -> Lane<N, L> {
        if root.lanes {
            entries(&self.lanes)[root.start]
        } else {
            [self.plain[root.start]; L]
        }
    }

    /// Backward: what an entry of each table with lanes is worth, `∂ Σ_root seed·value / ∂ entry`.
    #[inline(always)]
    pub(crate) fn backward<A: Arith<Number = N>, const L: usize>(
        &mut self,
        arith: A,
        problem: Problem<'_>,
        seeds: &[Lane<N, L>],
    ) -> &[Lane<N, L>] {
        make_room(&mut self.worth, problem.plan.lanes * L);
        let worth = entries_mut(&mut self.worth);
        for (root, seed) in problem.plan.roots.iter().zip(seeds) {
            if root.lanes {
                worth[root.start] = *seed;
            }
        }
        for (at, step) in problem.plan.steps.iter().enumerate().rev() {
            if problem.again.is_some_and(|a| !a.steps[at]) {
                continue;
            }
            match step {
                Step::Contract(step) if step.out.lanes => self.contract_back::<L>(step),
                Step::Contract(_) => {}
                Step::Absorb(step) => {
                    self.absorb_back::<A, L>(arith, step, &problem.folded.causes[step.cause]);
                }
            }
        }
        entries(&self.worth)
    }

    #[inline(always)]
    fn absorb<A: Arith<Number = N>, const L: usize>(
        &mut self,
        arith: A,
        op: &Absorb,
        cause: &FoldedCause,
    ) {
        let (below, out) = entries_mut::<N, L>(&mut self.lanes).split_at_mut(op.out.start);
        let tables = [op.weights, op.acc].map(|slot| &below[range(slot)]);
        op.forward(
            arith,
            cause,
            tables,
            &mut out[..op.out.len],
            &mut self.scratch,
        );
    }

    #[inline(always)]
    fn absorb_back<A: Arith<Number = N>, const L: usize>(
        &mut self,
        arith: A,
        op: &Absorb,
        cause: &FoldedCause,
    ) {
        let lanes = entries::<N, L>(&self.lanes);
        let (below, out) = entries_mut::<N, L>(&mut self.worth).split_at_mut(op.out.start);
        let worth = if op.acc.start < op.weights.start {
            let (low, high) = below.split_at_mut(op.weights.start);
            [&mut high[..op.weights.len], &mut low[range(op.acc)]]
        } else {
            let (low, high) = below.split_at_mut(op.acc.start);
            [&mut low[range(op.weights)], &mut high[..op.acc.len]]
        };
        let tables = [op.weights, op.acc].map(|slot| &lanes[range(slot)]);
        op.backward(
            arith,
            cause,
            tables,
            &out[..op.out.len],
            worth,
            &mut self.scratch,
        );
    }

    #[inline(always)]
    fn contract_back<const L: usize>(&mut self, op: &Contract) {
        let Space {
            plain,
            lanes,
            worth,
            buffers,
            ..
        } = self;
        let (lanes, worth) = (entries::<N, L>(lanes), entries_mut::<N, L>(worth));
        if op.b.lanes {
            let c = entries_mut(buffers.coefficients(op, L));
            let out = &worth[range(op.out)];
            if op.a.lanes {
                contract::back_to_c(op, &lanes[range(op.a)], c, out, lanes_by_lanes::<N, L>);
            } else {
                contract::back_to_c(op, &plain[range(op.a)], c, out, |c, a, o| {
                    lanes_by_plain::<N, L>(c, o, a)
                });
            }
            worth[range(op.b)].copy_from_slice(entries(buffers.narrow(op, L)));
        }
        if op.a.lanes {
            let (a, out) = two(worth, op.a, op.out);
            a.fill([N::ZERO; L]);
            if op.b.lanes {
                let c = buffers.widen(op, lanes[range(op.b)].as_flattened(), L);
                contract::back_to_a(op, a, entries(c), out, lanes_by_lanes::<N, L>);
            } else {
                let c = buffers.widen(op, &plain[range(op.b)], 1);
                contract::back_to_a(op, a, c, out, lanes_by_plain::<N, L>);
            }
        }
    }
}
