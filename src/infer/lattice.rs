//! The posterior when few readings need an explanation: no plan, one table over the sets of explained readings.
//!
//! Every cause is summed into a table with an entry for each set S of readings (explained so far), all settings of the common
//! causes at once:
//!
//! out  =  Σ over states x of  w_x · T_x(acc)      ([`super::shift`])
//!
//! as [`super::absorb`] does. Causes that touch the same readings are first put together in a table of those readings alone; then
//! the groups: out\[S ∪ R\] += acc\[S\] · group\[R\]. Few causes that touch nearly all readings go into the table of all readings at
//! once. Backward the same transposed gives what each state is worth. All terms are non-negative, nothing is subtracted.

mod causes;

pub(crate) use causes::{Causes, Pair};

use super::arith::{Arith, Vector};
use super::shift::{Map, Shift, Way};
use std::cell::Cell;

/// Most readings.
pub(crate) const MOST_READINGS: usize = 12;
/// Most entries that putting the causes and the groups together may touch: beyond that a network with a plan is quicker.
const MOST_ENTRIES: usize = 6_000_000;
/// Settings of the common causes.
pub(crate) const SETTINGS: usize = 16;

/// A number for each setting.
pub(crate) type Row = [f64; SETTINGS];

const ZERO: Row = [0.0; SETTINGS];

/// What comes of it.
#[derive(Debug)]
pub(crate) struct Found {
    /// P(readings), all settings together.
    pub(crate) evidence: f64,
    /// P(setting | readings).
    pub(crate) share: Row,
    /// What the weight of each state is worth, by where it is: weight times worth, over the settings, is its posterior.
    pub(crate) worth: Vec<Row>,
}

/// Below this plain numbers may have lost digits to underflow.
const SAFE: f64 = 1e-200;

/// Sums over the causes. `leaks` has (u, e) of what explains each reading without a cause, `outer` the weight of each setting
/// from everything else. `None` when the readings are too many, or too improbable for plain numbers.
pub(crate) fn solve(leaks: &[(f64, f64)], causes: &Causes, outer: &Row) -> Option<Found> {
    if leaks.len() > MOST_READINGS {
        return None;
    }
    pulp::Arch::new().dispatch(Sum {
        leaks,
        causes,
        outer,
    })
}

struct Sum<'p> {
    leaks: &'p [(f64, f64)],
    causes: &'p Causes,
    outer: &'p Row,
}

impl pulp::WithSimd for Sum<'_> {
    type Output = Option<Found>;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, simd: S) -> Self::Output {
        let full = 1 << self.leaks.len();
        let groups = groups(self.causes, full);
        let entries: usize = groups.iter().map(|g| g.entries(full)).sum();
        if entries > MOST_ENTRIES {
            return None;
        }
        let rows = |g: &Group| (g.causes.len() + 1) * g.sets.len();
        let mut room = SPARE.take();
        room.clear();
        let chains: usize = groups.iter().map(rows).sum();
        room.resize((groups.len() + 1) * full + chains, ZERO);
        let found = self.in_room(Vector(simd), &groups, &mut room);
        if room.len() <= MOST_SPARE {
            SPARE.set(room);
        }
        found
    }
}

thread_local! {
    /// Room that the next sum on this thread uses again: fresh pages cost more than small sums in them.
    static SPARE: Cell<Vec<Row>> = Cell::default();
}

/// More room is not kept (8 MB).
const MOST_SPARE: usize = 1 << 16;

impl Sum<'_> {
    /// The sum, in room for a table before each group and one after the last, and for the chain of each group; all zero.
    #[inline(always)]
    fn in_room<A: Arith<Number = f64>>(
        &self,
        arith: A,
        groups: &[Group],
        room: &mut [Row],
    ) -> Option<Found> {
        let full = 1 << self.leaks.len();
        let (tables, mut rest) = room.split_at_mut((groups.len() + 1) * full);
        let mut tables: Vec<&mut [Row]> = tables.chunks_exact_mut(full).collect();
        leak_table(self.leaks, tables[0]);
        let mut chains = Vec::with_capacity(groups.len());
        for (at, group) in groups.iter().enumerate() {
            let chain;
            (chain, rest) = rest.split_at_mut((group.causes.len() + 1) * group.sets.len());
            let (done, open) = tables.split_at_mut(at + 1);
            let (table, out) = (&*done[at], &mut *open[0]);
            group.forward(arith, self.causes, table, chain);
            let together = group.last(chain);
            match group.direct {
                true => out.copy_from_slice(together),
                false => join(table, together, &group.sets, out),
            }
            chains.push(&*chain);
        }
        let last = tables[groups.len()][full - 1];
        let evidence: f64 = (0..SETTINGS).map(|s| last[s] * self.outer[s]).sum();
        if evidence < SAFE {
            return None;
        }
        let seed = self.outer.map(|o| o / evidence);
        let mut worth = vec![ZERO; self.causes.states()];
        let mut of_table = vec![ZERO; full];
        of_table[full - 1] = seed;
        for (at, group) in groups.iter().enumerate().rev() {
            if group.direct {
                of_table = group.backward(arith, self.causes, chains[at], of_table, &mut worth);
                continue;
            }
            let together = group.last(chains[at]);
            let (before, of_group) = join_back(tables[at], together, &group.sets, &of_table);
            group.backward(arith, self.causes, chains[at], of_group, &mut worth);
            of_table = before;
        }
        let share = std::array::from_fn(|s| seed[s] * last[s]);
        Some(Found {
            evidence,
            share,
            worth,
        })
    }
}

/// `to += a · b`.
#[inline(always)]
fn add(to: &mut Row, a: &Row, b: &Row) {
    for ((to, a), b) in to.iter_mut().zip(a).zip(b) {
        *to += a * b;
    }
}

/// A table as packs, to change.
#[inline(always)]
fn packs_mut<A: Arith<Number = f64>>(table: &mut [Row]) -> &mut [A::Pack] {
    A::packs_mut(table.as_flattened_mut())
}

/// P(each set of readings is what the leaks explain).
fn leak_table(leaks: &[(f64, f64)], table: &mut [Row]) {
    let of = |set: usize| {
        let each = leaks.iter().enumerate();
        let p = each.map(|(r, &(u, e))| if set >> r & 1 == 1 { e } else { u });
        [p.product(); SETTINGS]
    };
    table
        .iter_mut()
        .enumerate()
        .for_each(|(set, row)| *row = of(set));
}

/// Causes that touch the same readings.
struct Group {
    causes: Vec<usize>,
    /// How many times putting its causes together goes over a table: once for each state, and for each reading that it touches.
    passes: usize,
    /// The sets of its readings: entry R of its tables stands for the readings `sets[R]`.
    sets: Vec<usize>,
    /// Place of each reading in its tables.
    place: [usize; MOST_READINGS],
    /// Its causes go into the table of all readings one by one: with few states, or nearly all readings, that is less than
    /// putting them together first.
    direct: bool,
    /// They touch one reading, and have a table of two entries: see [`One`].
    one: bool,
}

/// The groups, for a table of all readings with `full` entries.
fn groups(causes: &Causes, full: usize) -> Vec<Group> {
    let mut out: Vec<(usize, Group)> = Vec::new();
    for (at, (states, touched)) in causes.all().enumerate() {
        let group = match out.iter().position(|g| g.0 == *touched) {
            Some(known) => &mut out[known].1,
            None => {
                out.push((*touched, Group::new(*touched)));
                let last = out.len() - 1;
                &mut out[last].1
            }
        };
        group.causes.push(at);
        group.passes += causes.passes(states.clone());
    }
    let mut groups: Vec<Group> = out.into_iter().map(|g| g.1).collect();
    for group in &mut groups {
        if group.passes * full < group.entries(full) {
            (group.direct, group.one) = (true, false);
            group.sets = (0..full).collect();
            group.place = std::array::from_fn(|r| r);
        }
    }
    groups
}

impl Group {
    fn new(touched: usize) -> Self {
        let readings: Vec<usize> = (0..MOST_READINGS)
            .filter(|r| touched >> r & 1 == 1)
            .collect();
        let mut place = [0; MOST_READINGS];
        for (p, &r) in readings.iter().enumerate() {
            place[r] = p;
        }
        let spread = |set: usize| {
            let each = readings.iter().enumerate();
            each.fold(0, |all, (p, r)| all | (set >> p & 1) << r)
        };
        Self {
            causes: Vec::new(),
            passes: 0,
            sets: (0..1 << readings.len()).map(spread).collect(),
            place,
            direct: false,
            one: readings.len() == 1,
        }
    }

    /// How many entries putting it in touches.
    fn entries(&self, full: usize) -> usize {
        match self.direct {
            true => full * self.passes,
            false => self.sets.len() * (full + self.passes),
        }
    }

    /// What a state does to a table of the group.
    #[inline(always)]
    fn maps(&self, pairs: &[Pair], maps: &mut Vec<Map<f64>>) {
        maps.clear();
        maps.extend(pairs.iter().rev().map(|pair| Map {
            stride: 1 << self.place[pair.reading],
            u: pair.u,
            e: pair.e,
        }));
    }

    /// The table after each cause, one after the other: from 'nothing is explained' on, or from the table of all readings.
    #[inline(always)]
    fn forward<A: Arith<Number = f64>>(
        &self,
        arith: A,
        causes: &Causes,
        before: &[Row],
        chain: &mut [Row],
    ) {
        let n = self.sets.len();
        let packs = SETTINGS / A::WIDTH;
        match self.direct {
            true => chain[..n].copy_from_slice(before),
            false => chain[0] = [1.0; SETTINGS],
        }
        let (mut image, mut maps) = (vec![ZERO; n], Vec::new());
        for (at, &cause) in self.causes.iter().enumerate() {
            let (done, open) = chain.split_at_mut((at + 1) * n);
            let (table, out) = (&done[at * n..], &mut open[..n]);
            if self.one {
                One::of(causes, cause).forward(table, out);
                continue;
            }
            for state in causes.of(cause) {
                self.maps(causes.pairs(state), &mut maps);
                let shift = Shift {
                    arith,
                    way: Way::Forward,
                    packs,
                    maps: &maps,
                };
                let weight = A::packs(&state.weight);
                let (image, out) = (packs_mut::<A>(&mut image), packs_mut::<A>(out));
                shift.run(A::packs(table.as_flattened()), image, out, |at, out, x| {
                    *out = arith.plus(*out, arith.times(x, weight[at % packs]));
                });
            }
        }
    }

    /// The table of a chain after its last cause.
    fn last<'c>(&self, chain: &'c [Row]) -> &'c [Row] {
        &chain[chain.len() - self.sets.len()..]
    }

    /// What every state is worth, from what the last table is; gives what the first one is.
    #[inline(always)]
    fn backward<A: Arith<Number = f64>>(
        &self,
        arith: A,
        causes: &Causes,
        chain: &[Row],
        mut of_table: Vec<Row>,
        worth: &mut [Row],
    ) -> Vec<Row> {
        let n = self.sets.len();
        let (mut image, mut after) = (vec![ZERO; n], vec![ZERO; n]);
        let (mut before, mut maps) = (vec![ZERO; n], Vec::new());
        for (at, &cause) in self.causes.iter().enumerate().rev() {
            before.fill(ZERO);
            let acc = &chain[at * n..(at + 1) * n];
            if self.one {
                let one = One::of(causes, cause);
                one.backward(causes, cause, [acc, &of_table], &mut before, worth);
                std::mem::swap(&mut of_table, &mut before);
                continue;
            }
            for (state, worth) in causes.of(cause).iter().zip(&mut worth[causes.range(cause)]) {
                self.maps(causes.pairs(state), &mut maps);
                let shift = Shift {
                    arith,
                    way: Way::Backward,
                    packs: SETTINGS / A::WIDTH,
                    maps: &maps,
                };
                let of_table = A::packs(of_table.as_flattened());
                let (image, after_packs) = (packs_mut::<A>(&mut image), packs_mut::<A>(&mut after));
                shift.run(of_table, image, after_packs, |_, to, x| *to = x);
                let mut sum = ZERO;
                for ((after, acc), before) in after.iter().zip(acc).zip(&mut before) {
                    add(&mut sum, acc, after);
                    add(before, after, &state.weight);
                }
                *worth = sum;
            }
            std::mem::swap(&mut of_table, &mut before);
        }
        of_table
    }
}

/// A cause that touches one reading, all its states together: of a table of two entries, not explained and explained,
///
/// out₀ = acc₀ · Σ u w,      out₁ = acc₁ · Σ w + acc₀ · Σ e w
struct One {
    open: Row,
    any: Row,
    explains: Row,
}

impl One {
    #[inline(always)]
    fn of(causes: &Causes, cause: usize) -> Self {
        let mut one = One {
            open: ZERO,
            any: ZERO,
            explains: ZERO,
        };
        for state in causes.of(cause) {
            let (u, e) = bears(causes.pairs(state));
            for (s, w) in state.weight.iter().enumerate() {
                one.open[s] += u * w;
                one.any[s] += w;
                one.explains[s] += e * w;
            }
        }
        one
    }

    #[inline(always)]
    fn forward(&self, table: &[Row], out: &mut [Row]) {
        for s in 0..SETTINGS {
            out[0][s] = table[0][s] * self.open[s];
            out[1][s] = table[1][s] * self.any[s] + table[0][s] * self.explains[s];
        }
    }

    /// What the states are worth, and the table before, from what the tables before and after hold and are worth.
    #[inline(always)]
    fn backward(
        &self,
        causes: &Causes,
        cause: usize,
        [acc, after]: [&[Row]; 2],
        before: &mut [Row],
        worth: &mut [Row],
    ) {
        for (state, worth) in causes.of(cause).iter().zip(&mut worth[causes.range(cause)]) {
            let (u, e) = bears(causes.pairs(state));
            for (s, worth) in worth.iter_mut().enumerate() {
                let open = u * after[0][s] + e * after[1][s];
                *worth = acc[0][s] * open + acc[1][s] * after[1][s];
            }
        }
        for s in 0..SETTINGS {
            before[0][s] = after[0][s] * self.open[s] + after[1][s] * self.explains[s];
            before[1][s] = after[1][s] * self.any[s];
        }
    }
}

/// How a state bears on the one reading of its cause.
#[inline(always)]
fn bears(pairs: &[Pair]) -> (f64, f64) {
    let both = |(u, e): (f64, f64), p: &Pair| (u * p.u, e + u * p.e);
    pairs.iter().fold((1.0, 0.0), both)
}

/// The table with a group in it.
#[inline(always)]
fn join(table: &[Row], group: &[Row], sets: &[usize], out: &mut [Row]) {
    for (group, set) in group.iter().zip(sets) {
        for (at, entry) in table.iter().enumerate() {
            add(&mut out[at | set], entry, group);
        }
    }
}

/// What the table before and the group are worth, from what the table after is.
#[inline(always)]
fn join_back(table: &[Row], group: &[Row], sets: &[usize], after: &[Row]) -> (Vec<Row>, Vec<Row>) {
    let mut before = vec![ZERO; table.len()];
    let mut of_group = vec![ZERO; group.len()];
    for ((group, worth), set) in group.iter().zip(&mut of_group).zip(sets) {
        for (at, entry) in table.iter().enumerate() {
            add(&mut before[at], &after[at | set], group);
            add(worth, &after[at | set], entry);
        }
    }
    (before, of_group)
}
