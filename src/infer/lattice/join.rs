//! A group of causes put into the table of all readings: a product in which sets of explained readings are united.
//!
//! out\[S ∪ R\] += table\[S\] · group\[R\]. Reading by reading, with index 0 for what leaves it unexplained and 1 for what explains it,
//!
//! out₀ = table₀ · group₀,      out₁ = table₁ · (group₀ + group₁) + table₀ · group₁,
//!
//! three products of half the size instead of four, and nothing is subtracted. With k readings of the group that is 3^k products
//! of rows instead of 4^k, for each set of the other readings.

use super::{Row, ZERO, add};

/// Groups of fewer readings are put in product by product: that is quicker than laying the tables out.
const FEWEST: usize = 3;

/// The table with a group in it; entry R of the table of the group stands for the readings `sets[R]`.
#[inline(always)]
pub(super) fn join(table: &[Row], group: &[Row], sets: &[usize], out: &mut [Row]) {
    if sets.len() >= 1 << FEWEST {
        return Join::new(table.len(), sets, group).forward(table, out);
    }
    for (group, set) in group.iter().zip(sets) {
        for (at, entry) in table.iter().enumerate() {
            add(&mut out[at | set], entry, group);
        }
    }
}

/// What the table before and the group are worth, from what the table after is.
#[inline(always)]
pub(super) fn join_back(
    table: &[Row],
    group: &[Row],
    sets: &[usize],
    after: &[Row],
) -> (Vec<Row>, Vec<Row>) {
    if sets.len() >= 1 << FEWEST {
        return Join::new(table.len(), sets, group).backward(table, after);
    }
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

/// The tables of all readings and of a group, laid out so that the readings of the group come first.
struct Join<'g> {
    /// Readings of the group.
    readings: usize,
    /// How many sets of the other readings there are.
    rest: usize,
    /// Where an entry of the laid out table stands in the plain one.
    order: Vec<u32>,
    /// The table of the group, and behind it room for the sums of halves: see [`Walk`].
    group: Vec<Row>,
    sets: &'g [usize],
}

/// One of the 3^k products: a path that takes one of three ways at each reading of the group.
struct Walk {
    /// The way at each reading, from that of the least stride on.
    ways: Vec<u8>,
    /// Where the part of a path is that has so many readings still to go.
    parts: Vec<Spot>,
    /// Where the sums of halves with so many readings still to go are kept.
    sums: Vec<usize>,
}

/// Where a part of the product is.
#[derive(Clone, Copy, Default)]
struct Spot {
    /// In the table before.
    table: usize,
    /// In the table of the group, or among the sums.
    group: usize,
    /// In the table after.
    out: usize,
}

impl Walk {
    fn new(readings: usize) -> Self {
        // Sums of 2^(k-1) rows first, then of half as many, …
        let sum = |left: usize| (2 << readings) - (2 << left);
        Self {
            ways: vec![0; readings],
            parts: vec![Spot::default(); readings + 1],
            sums: (0..=readings).map(sum).collect(),
        }
    }

    /// Where the part is that the way at this reading leads to.
    fn part(&self, reading: usize) -> Spot {
        let half = 1 << reading;
        let mut spot = self.parts[reading + 1];
        match self.ways[reading] {
            0 => {}
            1 => {
                spot.table += half;
                spot.out += half;
                spot.group = self.sums[reading];
            }
            _ => {
                spot.out += half;
                spot.group += half;
            }
        }
        spot
    }

    /// Goes on to the next path. Gives the reading with the greatest stride at which it takes another way.
    fn next(&mut self) -> Option<usize> {
        for (reading, way) in self.ways.iter_mut().enumerate() {
            *way = (*way + 1) % 3;
            if *way > 0 {
                return Some(reading);
            }
        }
        None
    }
}

impl<'g> Join<'g> {
    /// For a table of all readings with `full` entries; entry R of the table of the group stands for the readings `sets[R]`.
    fn new(full: usize, sets: &'g [usize], group: &[Row]) -> Self {
        let readings = sets.len().trailing_zeros() as usize;
        let all = sets.last().copied().unwrap_or(0);
        let others: Vec<usize> = (0..full).filter(|set| set & all == 0).collect();
        let spread = |set: &usize| {
            let set = *set;
            others.iter().map(move |other| (set | other) as u32)
        };
        let mut room = Vec::with_capacity(2 * sets.len());
        room.extend_from_slice(group);
        room.resize(2 * sets.len(), ZERO);
        Self {
            readings,
            rest: others.len(),
            order: sets.iter().flat_map(spread).collect(),
            group: room,
            sets,
        }
    }

    /// The entries of a table, laid out.
    fn laid(&self, table: &[Row]) -> Vec<Row> {
        self.order.iter().map(|&at| table[at as usize]).collect()
    }

    /// Puts laid out entries back where they belong.
    fn back(&self, laid: &[Row], table: &mut [Row]) {
        for (row, &at) in laid.iter().zip(&self.order) {
            table[at as usize] = *row;
        }
    }

    fn entries(&self, at: usize) -> std::ops::Range<usize> {
        at * self.rest..(at + 1) * self.rest
    }

    /// The table with the group in it.
    #[inline(always)]
    fn forward(mut self, table: &[Row], out: &mut [Row]) {
        let table = self.laid(table);
        let mut after = vec![ZERO; table.len()];
        let mut walk = Walk::new(self.readings);
        let mut from = self.readings.checked_sub(1);
        loop {
            self.descend(&mut walk, from);
            let leaf = walk.parts[0];
            let group = self.group[leaf.group];
            let (to, with) = (self.entries(leaf.out), self.entries(leaf.table));
            for (to, with) in after[to].iter_mut().zip(&table[with]) {
                add(to, with, &group);
            }
            from = walk.next();
            if from.is_none() {
                break;
            }
        }
        self.back(&after, out);
    }

    /// Follows the path from this reading on, and adds up the halves of the group that it asks for.
    #[inline(always)]
    fn descend(&mut self, walk: &mut Walk, from: Option<usize>) {
        for reading in (0..from.map_or(0, |r| r + 1)).rev() {
            let (half, above) = (1 << reading, walk.parts[reading + 1].group);
            walk.parts[reading] = walk.part(reading);
            if walk.ways[reading] == 1 {
                let to = walk.sums[reading];
                for i in 0..half {
                    let (no, yes) = (self.group[above + i], self.group[above + half + i]);
                    self.group[to + i] = std::array::from_fn(|s| no[s] + yes[s]);
                }
            }
        }
    }

    /// What the table before and the group are worth, from what the table after is.
    #[inline(always)]
    fn backward(mut self, table: &[Row], after: &[Row]) -> (Vec<Row>, Vec<Row>) {
        let (table, after) = (self.laid(table), self.laid(after));
        let mut before = vec![ZERO; table.len()];
        let mut worth = vec![ZERO; self.group.len()];
        let mut walk = Walk::new(self.readings);
        let mut from = self.readings.checked_sub(1);
        loop {
            self.descend(&mut walk, from);
            let leaf = walk.parts[0];
            let group = self.group[leaf.group];
            let (of, with) = (self.entries(leaf.out), self.entries(leaf.table));
            let to = &mut worth[leaf.group];
            for ((before, with), after) in
                (before[with.clone()].iter_mut().zip(&table[with])).zip(&after[of])
            {
                add(before, after, &group);
                add(to, after, with);
            }
            from = walk.next();
            let Some(changed) = from else { break };
            Self::give_back(&walk, changed, &mut worth);
        }
        // The last path took no sum; what the sums of the greatest stride are worth was given back on the way.
        worth.truncate(self.sets.len());
        let mut plain = vec![ZERO; before.len()];
        self.back(&before, &mut plain);
        (plain, worth)
    }

    /// What a sum of halves is worth, each half is, once the path leaves it.
    #[inline(always)]
    fn give_back(walk: &Walk, changed: usize, worth: &mut [Row]) {
        if walk.ways[changed] != 2 {
            return;
        }
        let (half, above) = (1 << changed, walk.parts[changed + 1].group);
        let sums = walk.sums[changed];
        for i in 0..half {
            let sum = std::mem::replace(&mut worth[sums + i], ZERO);
            for s in 0..super::SETTINGS {
                worth[above + i][s] += sum[s];
                worth[above + half + i][s] += sum[s];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::infer::lattice::SETTINGS;
    use crate::sampled;
    use proptest::prelude::*;

    /// Rows of numbers that differ by setting.
    fn rows(from: &[f64]) -> Vec<Row> {
        let row = |x: &f64| std::array::from_fn(|s| x * (1.0 + s as f64 / SETTINGS as f64));
        from.iter().map(row).collect()
    }

    fn near(a: &[Row], b: &[Row]) -> bool {
        let (a, b) = (a.as_flattened(), b.as_flattened());
        let close = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-13 * b.abs().max(1e-30);
        a.len() == b.len() && a.iter().zip(b).all(close)
    }

    proptest! {
        #![proptest_config(sampled::properties())]

        /// As each set united with each.
        #[test]
        fn as_each_set_with_each(
            mask in 0usize..1 << 6,
            numbers in prop::collection::vec(0.0..1.0f64, 3 << 6),
        ) {
            let full = 1 << 6;
            let readings: Vec<usize> = (0..6).filter(|r| mask >> r & 1 == 1).collect();
            let spread = |set: usize| {
                let each = readings.iter().enumerate();
                each.fold(0, |all, (p, r)| all | (set >> p & 1) << r)
            };
            let sets: Vec<usize> = (0..1 << readings.len()).map(spread).collect();
            let all = rows(&numbers);
            let (table, after) = (&all[..full], &all[full..2 * full]);
            let group = &all[2 * full..2 * full + sets.len()];
            let (mut out, mut of_group) = (vec![ZERO; full], vec![ZERO; sets.len()]);
            let mut before = vec![ZERO; full];
            for (r, set) in sets.iter().enumerate() {
                for at in 0..full {
                    add(&mut out[at | set], &table[at], &group[r]);
                    add(&mut before[at], &after[at | set], &group[r]);
                    add(&mut of_group[r], &after[at | set], &table[at]);
                }
            }
            let mut joined = vec![ZERO; full];
            Join::new(full, &sets, group).forward(table, &mut joined);
            prop_assert!(near(&joined, &out));
            let (b, g) = Join::new(full, &sets, group).backward(table, after);
            prop_assert!(near(&b, &before));
            prop_assert!(near(&g, &of_group));
        }
    }
}
