//! In which order to sum the variables out.
//!
//! The variables are the readings to be explained (a bit each), the causes that touch any (as many values as
//! distinct states), and for a flaky cause one hidden variable per run that needs it. Two variables are
//! neighbours when a table mentions both. Summing a variable out makes all its neighbours neighbours of each
//! other; the table made on the way has the product of their sizes. That product is what a good order keeps
//! small; the greedy rule takes the variable with the smallest one next (after Rose 1973 / Kjaerulff 1990, the
//! minimum-weight heuristic for triangulation, from memory).
//!
//! Summing out all causes first is the *lattice* over sets of explained readings; summing out readings first is
//! *conditioning* on the causes. The greedy order mixes the two as the structure asks for.

use super::fold::{Folded, Group};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Index of a variable.
pub(crate) type VarId = usize;

/// What a variable stands for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Var {
    /// Whether a reading is explained.
    Reading(usize),
    /// The state of a cause.
    Cause(usize),
    /// What acts of a flaky cause in one run: 0 nothing, else 1 + index in `groups`, which lists (state, index
    /// of the group in that state).
    Hidden {
        /// The cause.
        cause: usize,
        /// The run.
        run: usize,
        /// The (state, group) pairs it may take.
        groups: Vec<(usize, usize)>,
    },
}

/// All variables of a folded network.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Vars {
    /// The variables: readings first, then each cause followed by its hidden ones.
    pub(crate) list: Vec<Var>,
    /// Number of values of each.
    pub(crate) sizes: Vec<usize>,
    /// Variable of each cause, `None` when it touches nothing.
    pub(crate) of_cause: Vec<Option<VarId>>,
    /// The groups of variables that some given table mentions together (one for each table).
    pub(crate) tables: Vec<Vec<VarId>>,
}

impl Vars {
    /// Lists the variables and which of them belong together.
    pub(crate) fn new(folded: &Folded) -> Self {
        let n = folded.readings.len();
        let mut vars = Vars {
            list: (0..n).map(Var::Reading).collect(),
            sizes: vec![2; n],
            of_cause: vec![None; folded.causes.len()],
            tables: Vec::new(),
        };
        for (id, cause) in folded.causes.iter().enumerate() {
            if cause.touched.is_empty() {
                continue;
            }
            let root = vars.push(Var::Cause(id), cause.states.len());
            vars.of_cause[id] = Some(root);
            let mut direct: Vec<usize> = cause
                .states
                .iter()
                .flat_map(|s| s.pairs.iter().map(|p| p.reading))
                .collect();
            direct.sort_unstable();
            direct.dedup();
            vars.tables
                .extend(direct.into_iter().map(|reading| vec![reading, root]));
            for &run in &cause.runs {
                vars.push_hidden(folded, id, root, run);
            }
        }
        vars
    }

    fn push(&mut self, var: Var, size: usize) -> VarId {
        self.list.push(var);
        self.sizes.push(size);
        self.list.len() - 1
    }

    fn push_hidden(&mut self, folded: &Folded, cause: usize, root: VarId, run: usize) {
        let mut groups = Vec::new();
        let mut touched = Vec::new();
        for (s, state) in folded.causes[cause].states.iter().enumerate() {
            for (g, group) in state
                .groups
                .iter()
                .enumerate()
                .filter(|(_, g)| g.run == run)
            {
                groups.push((s, g));
                touched.extend(group.pairs.iter().map(|p| p.reading));
            }
        }
        touched.sort_unstable();
        touched.dedup();
        let size = groups.len() + 1;
        let hidden = self.push(Var::Hidden { cause, run, groups }, size);
        self.tables.push(vec![root, hidden]);
        self.tables
            .extend(touched.into_iter().map(|reading| vec![reading, hidden]));
    }
}

/// The group that a hidden variable's value stands for.
pub(crate) fn group(folded: &Folded, cause: usize, at: (usize, usize)) -> &Group {
    &folded.causes[cause].states[at.0].groups[at.1]
}

/// Which variables to sum out first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// The cheapest next.
    Greedy,
    /// All causes (and hidden states), then the readings: the lattice over explained readings.
    CausesFirst,
    /// All readings, then the causes: conditioning.
    ReadingsFirst,
    /// Greedy, but the causes that touch most readings last.
    KeepWidest(usize),
}

/// An order and what it costs.
#[derive(Debug, Clone)]
pub(crate) struct Order {
    /// The variables in the order of summing out.
    pub(crate) sequence: Vec<VarId>,
    /// Sum over the steps of the size of the table made.
    pub(crate) cost: f64,
}

/// For each variable the set of its neighbours and itself, as bits.
struct Near {
    words: usize,
    bits: Vec<u64>,
}

impl Near {
    fn new(vars: &Vars) -> Self {
        let count = vars.list.len();
        let words = count.div_ceil(64);
        let mut near = Near {
            words,
            bits: vec![0; words * count],
        };
        for v in 0..count {
            near.set(v, v);
        }
        for table in &vars.tables {
            for &a in table {
                for &b in table {
                    near.set(a, b);
                }
            }
        }
        near
    }

    fn set(&mut self, of: VarId, v: VarId) {
        self.bits[of * self.words + v / 64] |= 1 << (v % 64);
    }

    fn clear(&mut self, of: VarId, v: VarId) {
        self.bits[of * self.words + v / 64] &= !(1 << (v % 64));
    }

    fn of(&self, v: VarId) -> &[u64] {
        &self.bits[v * self.words..(v + 1) * self.words]
    }

    fn of_mut(&mut self, v: VarId) -> &mut [u64] {
        &mut self.bits[v * self.words..(v + 1) * self.words]
    }
}

/// The variables of a set, ascending.
fn members(bits: &[u64]) -> impl Iterator<Item = VarId> + '_ {
    bits.iter().enumerate().flat_map(|(w, &word)| {
        std::iter::successors((word != 0).then_some(word), |&x| {
            let x = x & (x - 1);
            (x != 0).then_some(x)
        })
        .map(move |x| w * 64 + x.trailing_zeros() as usize)
    })
}

/// A number that compares as the weight does (as [`f64::total_cmp`]).
fn comparable(weight: f64) -> i64 {
    let bits = weight.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// Finds an order by a rule.
pub(crate) fn order(vars: &Vars, rule: Rule) -> Order {
    order_below(vars, rule, f64::INFINITY).unwrap_or_else(|| Order {
        sequence: (0..vars.list.len()).collect(),
        cost: f64::INFINITY,
    })
}

/// Finds an order by a rule; `None` as soon as it costs as much as `limit`.
pub(crate) fn order_below(vars: &Vars, rule: Rule, limit: f64) -> Option<Order> {
    let count = vars.list.len();
    let logs: Vec<f64> = vars.sizes.iter().map(|&s| (s as f64).log2()).collect();
    let mut near = Near::new(vars);
    let rank = ranks(vars, rule, &near);
    let mut weight: Vec<f64> = (0..count)
        .map(|v| members(near.of(v)).map(|u| logs[u]).sum())
        .collect();
    // Entries of variables whose weight has changed since, or that are gone, are passed over.
    let entry = |v: VarId, weight: f64| Reverse((rank[v], comparable(weight), v));
    let mut waiting: BinaryHeap<_> = (0..count).map(|v| entry(v, weight[v])).collect();
    let mut gone = vec![false; count];
    let mut sequence = Vec::with_capacity(count);
    let mut cost = 0.0;
    let mut neighbours = Vec::with_capacity(near.words);
    while let Some(Reverse((_, at, v))) = waiting.pop() {
        if gone[v] || at != comparable(weight[v]) {
            continue;
        }
        gone[v] = true;
        cost += weight[v].exp2();
        if cost >= limit {
            return None;
        }
        sequence.push(v);
        near.clear(v, v);
        neighbours.clear();
        neighbours.extend_from_slice(near.of(v));
        for u in members(&neighbours) {
            near.clear(u, v);
            weight[u] -= logs[v];
            for (w, (mine, &word)) in near.of_mut(u).iter_mut().zip(&neighbours).enumerate() {
                let mut new = word & !*mine;
                *mine |= word;
                while new != 0 {
                    weight[u] += logs[w * 64 + new.trailing_zeros() as usize];
                    new &= new - 1;
                }
            }
            waiting.push(entry(u, weight[u]));
        }
    }
    Some(Order { sequence, cost })
}

/// Lower ranks go first, whatever they cost.
fn ranks(vars: &Vars, rule: Rule, near: &Near) -> Vec<u8> {
    let is_reading = |v: VarId| matches!(vars.list[v], Var::Reading(_));
    let mut rank = vec![0; vars.list.len()];
    match rule {
        Rule::Greedy => {}
        Rule::CausesFirst => rank
            .iter_mut()
            .enumerate()
            .for_each(|(v, r)| *r = u8::from(is_reading(v))),
        Rule::ReadingsFirst => rank
            .iter_mut()
            .enumerate()
            .for_each(|(v, r)| *r = u8::from(!is_reading(v))),
        Rule::KeepWidest(k) => {
            let mut widest: Vec<VarId> = (0..vars.list.len()).filter(|&v| !is_reading(v)).collect();
            widest.sort_by_key(|&v| Reverse(members(near.of(v)).count()));
            widest.into_iter().take(k).for_each(|v| rank[v] = 1);
        }
    }
    rank
}

#[cfg(test)]
mod tests {
    use super::{Rule, Var, Vars, order};

    /// A chain reading–cause–reading–cause ... never needs a table of more than three variables.
    #[test]
    fn a_chain_stays_small() {
        let n = 20;
        let vars = Vars {
            list: (0..2 * n)
                .map(|v| {
                    if v < n {
                        Var::Reading(v)
                    } else {
                        Var::Cause(v - n)
                    }
                })
                .collect(),
            sizes: vec![2; 2 * n],
            of_cause: (n..2 * n).map(Some).collect(),
            tables: (0..n)
                .flat_map(|i| [vec![i, n + i], vec![(i + 1) % n, n + i]])
                .collect(),
        };
        let found = order(&vars, Rule::Greedy);
        assert!(found.cost <= 2.0 * n as f64 * 8.0, "{}", found.cost);
        let mut all = found.sequence.clone();
        all.sort_unstable();
        assert_eq!(all, (0..2 * n).collect::<Vec<_>>());
        let lattice = order(&vars, Rule::CausesFirst);
        assert!(lattice.sequence[..n].iter().all(|&v| v >= n));
    }
}
