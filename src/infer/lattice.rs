//! The posterior when few readings need an explanation: no plan, one table over the sets of explained readings.
//!
//! Every cause is summed into a table with an entry for each set S of readings (explained so far), all settings of the common
//! causes at once:
//!
//! out  =  Σ over states x of  w_x · T_x(acc),      (acc\[S\], acc\[S+r\])  →  (u·acc\[S\],  acc\[S+r\] + e·acc\[S\])
//!
//! as [`super::absorb`] does. Causes that touch the same readings are first put together in a table of those readings alone; then
//! the groups: out\[S ∪ R\] += acc\[S\] · group\[R\]. Backward the same transposed gives what each state is worth. All terms are
//! non-negative, nothing is subtracted.

/// Most readings.
pub(crate) const MOST_READINGS: usize = 7;
/// Most entries that putting the causes and the groups together may touch: beyond that a network with a plan is quicker.
const MOST_ENTRIES: usize = 100_000;
/// Settings of the common causes.
pub(crate) const SETTINGS: usize = 16;

/// A number for each setting.
pub(crate) type Row = [f64; SETTINGS];

const ZERO: Row = [0.0; SETTINGS];

/// How a state bears on a reading; `e + u = 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pair {
    /// Which reading.
    pub(crate) reading: usize,
    /// Does not explain it.
    pub(crate) u: f64,
    /// Explains it.
    pub(crate) e: f64,
}

/// A state of a cause: those of its modes that do the same to the readings.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// What it does, by reading.
    pub(crate) pairs: Vec<Pair>,
    /// Its weight in each setting.
    pub(crate) weight: Row,
}

/// A cause that touches some reading: its states.
pub(crate) type Live = Vec<State>;

/// What comes of it.
#[derive(Debug)]
pub(crate) struct Found {
    /// P(readings), all settings together.
    pub(crate) evidence: f64,
    /// P(setting | readings).
    pub(crate) share: Row,
    /// What the weight of each state of each cause is worth: weight times worth, over the settings, is its posterior.
    pub(crate) worth: Vec<Vec<Row>>,
}

/// Below this plain numbers may have lost digits to underflow.
const SAFE: f64 = 1e-200;

/// Sums over the causes. `leaks` has (u, e) of what explains each reading without a cause, `outer` the weight of each setting
/// from everything else. `None` when the readings are too many, or too improbable for plain numbers.
pub(crate) fn solve(leaks: &[(f64, f64)], causes: &[Live], outer: &Row) -> Option<Found> {
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
    causes: &'p [Live],
    outer: &'p Row,
}

impl pulp::WithSimd for Sum<'_> {
    type Output = Option<Found>;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> Self::Output {
        let groups = groups(self.causes);
        let full = (1 << self.leaks.len()) - 1;
        let states = |g: &Group| {
            g.causes
                .iter()
                .map(|c| self.causes[*c].len())
                .sum::<usize>()
        };
        let entries = |g: &Group| g.sets.len() * (full + 1 + states(g));
        let entries: usize = groups.iter().map(entries).sum();
        if entries > MOST_ENTRIES {
            return None;
        }
        let mut tables = vec![leak_table(self.leaks)];
        let mut chains = Vec::with_capacity(groups.len());
        for group in &groups {
            let chain = group.forward(self.causes);
            let together = group.last(&chain);
            let out = join(&tables[tables.len() - 1], together, &group.sets);
            tables.push(out);
            chains.push(chain);
        }
        let last = tables[tables.len() - 1][full];
        let evidence: f64 = (0..SETTINGS).map(|s| last[s] * self.outer[s]).sum();
        if evidence < SAFE {
            return None;
        }
        let seed = self.outer.map(|o| o / evidence);
        let mut worth: Vec<Vec<Row>> = vec![Vec::new(); self.causes.len()];
        let mut of_table = vec![ZERO; full + 1];
        of_table[full] = seed;
        for (at, group) in groups.iter().enumerate().rev() {
            let together = group.last(&chains[at]);
            let (before, of_group) = join_back(&tables[at], together, &group.sets, &of_table);
            group.backward(self.causes, &chains[at], of_group, &mut worth);
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

/// Entry of a table with a state in it that shows in one reading, see [`Group::image`].
#[inline(always)]
fn explained(table: &[Row], set: usize, bit: usize, pair: &Pair) -> Row {
    let here = table[set];
    if set & bit == 0 {
        return here.map(|no| pair.u * no);
    }
    let without = &table[set ^ bit];
    std::array::from_fn(|s| here[s] + pair.e * without[s])
}

/// What the entry is worth before the state, of what the table after it is.
#[inline(always)]
fn worth_before(after: &[Row], set: usize, bit: usize, pair: &Pair) -> Row {
    let here = after[set];
    if set & bit != 0 {
        return here;
    }
    let with = &after[set | bit];
    std::array::from_fn(|s| pair.u * here[s] + pair.e * with[s])
}

/// P(each set of readings is what the leaks explain).
fn leak_table(leaks: &[(f64, f64)]) -> Vec<Row> {
    let of = |set: usize| {
        let each = leaks.iter().enumerate();
        let p = each.map(|(r, &(u, e))| if set >> r & 1 == 1 { e } else { u });
        [p.product(); SETTINGS]
    };
    (0..1 << leaks.len()).map(of).collect()
}

/// Causes that touch the same readings.
struct Group {
    causes: Vec<usize>,
    /// The sets of its readings: entry R of its tables stands for the readings `sets[R]`.
    sets: Vec<usize>,
    /// Place of each reading in its tables.
    place: [usize; MOST_READINGS],
}

fn groups(causes: &[Live]) -> Vec<Group> {
    let mut out: Vec<(usize, Group)> = Vec::new();
    for (at, cause) in causes.iter().enumerate() {
        let pairs = cause.iter().flat_map(|s| &s.pairs);
        let touched = pairs.fold(0usize, |t, p| t | 1 << p.reading);
        match out.iter_mut().find(|g| g.0 == touched) {
            Some((_, group)) => group.causes.push(at),
            None => out.push((touched, Group::new(touched, at))),
        }
    }
    out.into_iter().map(|g| g.1).collect()
}

impl Group {
    fn new(touched: usize, first: usize) -> Self {
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
            causes: vec![first],
            sets: (0..1 << readings.len()).map(spread).collect(),
            place,
        }
    }

    /// The table after each cause, from 'nothing is explained' on, one after the other.
    #[inline(always)]
    fn forward(&self, causes: &[Live]) -> Vec<Row> {
        let n = self.sets.len();
        let mut chain = vec![ZERO; (self.causes.len() + 1) * n];
        chain[0] = [1.0; SETTINGS];
        let mut image = Vec::with_capacity(n);
        for (at, &cause) in self.causes.iter().enumerate() {
            let (done, open) = chain.split_at_mut((at + 1) * n);
            let (table, out) = (&done[at * n..], &mut open[..n]);
            for state in &causes[cause] {
                if let [pair] = state.pairs[..] {
                    let bit = 1 << self.place[pair.reading];
                    for (set, out) in out.iter_mut().enumerate() {
                        add(out, &explained(table, set, bit, &pair), &state.weight);
                    }
                    continue;
                }
                let pairs = state.pairs.iter();
                let after = self.image(pairs, table, &mut image, |no, yes, pair| {
                    yes.iter_mut().zip(&*no).for_each(|(y, n)| *y += pair.e * n);
                    no.iter_mut().for_each(|n| *n *= pair.u);
                });
                for (out, after) in out.iter_mut().zip(after) {
                    add(out, after, &state.weight);
                }
            }
        }
        chain
    }

    /// The table of a chain after its last cause.
    fn last<'c>(&self, chain: &'c [Row]) -> &'c [Row] {
        &chain[chain.len() - self.sets.len()..]
    }

    /// A table with a state in it, which shows so in readings: `put` gets the entries without and with each of them.
    #[inline(always)]
    fn image<'t, 'p>(
        &self,
        pairs: impl ExactSizeIterator<Item = &'p Pair>,
        table: &'t [Row],
        image: &'t mut Vec<Row>,
        put: impl Fn(&mut Row, &mut Row, &Pair),
    ) -> &'t [Row] {
        // One state of every cause shows in nothing.
        if pairs.len() == 0 {
            return table;
        }
        image.clear();
        image.extend_from_slice(table);
        for pair in pairs {
            let bit = 1 << self.place[pair.reading];
            for no in (0..image.len()).filter(|s| s & bit == 0) {
                let (low, high) = image.split_at_mut(no + bit);
                put(&mut low[no], &mut high[0], pair);
            }
        }
        image
    }

    /// What every state is worth, from what the last table is.
    #[inline(always)]
    fn backward(
        &self,
        causes: &[Live],
        chain: &[Row],
        mut of_table: Vec<Row>,
        worth: &mut [Vec<Row>],
    ) {
        let n = self.sets.len();
        let (mut image, mut before) = (Vec::with_capacity(n), vec![ZERO; n]);
        for (at, &cause) in self.causes.iter().enumerate().rev() {
            before.fill(ZERO);
            worth[cause].reserve_exact(causes[cause].len());
            for state in &causes[cause] {
                let acc = &chain[at * n..(at + 1) * n];
                let mut sum = ZERO;
                if let [pair] = state.pairs[..] {
                    let bit = 1 << self.place[pair.reading];
                    for (set, (acc, before)) in acc.iter().zip(&mut before).enumerate() {
                        let after = &worth_before(&of_table, set, bit, &pair);
                        add(&mut sum, acc, after);
                        add(before, after, &state.weight);
                    }
                    worth[cause].push(sum);
                    continue;
                }
                let pairs = state.pairs.iter().rev();
                let after = self.image(pairs, &of_table, &mut image, |no, yes, pair| {
                    let each = no.iter_mut().zip(&*yes);
                    each.for_each(|(no, yes)| *no = pair.u * *no + pair.e * yes);
                });
                for ((after, acc), before) in after.iter().zip(acc).zip(&mut before) {
                    add(&mut sum, acc, after);
                    add(before, after, &state.weight);
                }
                worth[cause].push(sum);
            }
            std::mem::swap(&mut of_table, &mut before);
        }
    }
}

/// The table with a group in it.
#[inline(always)]
fn join(table: &[Row], group: &[Row], sets: &[usize]) -> Vec<Row> {
    let mut out = vec![ZERO; table.len()];
    for (group, set) in group.iter().zip(sets) {
        for (at, entry) in table.iter().enumerate() {
            add(&mut out[at | set], entry, group);
        }
    }
    out
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
