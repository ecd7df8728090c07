//! The batch as numbers: machines with what may be wrong with them, lots of parts, money.
//!
//! Each machine has *scenarios* `h`, each with a probability `P(h)` and a set of needs `N(h)` (positions that get another
//! part). A *way* to finish it puts lots of parts beside some of its needs: `f(n)` is the lot for need `n`. A part that proves
//! not to be the fault is taken out again, so it does no harm, and
//!
//! P(works | f)  =  Σ over h with N(h) ⊆ dom f  of  P(h) · Π over n ∈ N(h)  of  good(f(n)) · sound(n)
//!
//! with `good` the probability that a part of the lot is good and `sound` that fitting one does no damage. Scenarios that are
//! not listed count as not finished, so this is a bound from below. What the plan makes largest is the sum over machines of
//!
//! number:  P(works) − 0.001 · price / budget − 0.000001 · minutes
//! value:   worth · P(works) − price − minute · minutes
//!
//! The small terms of the first make the cheaper and shorter of two equal plans the better one: the whole budget weighs as
//! much as a thousandth of a machine. Knows no boards.

use std::collections::{BTreeMap, BTreeSet};

/// Index into [`Problem::lots`].
pub type LotId = usize;

/// Equal parts from one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// How many there are.
    pub count: u32,
    /// P(good) of each.
    pub good: f64,
    /// Price of one; 0 for what is at hand.
    pub price: f64,
    /// Minutes to get one: out of its donor.
    pub minutes: f64,
    /// The machine that must be taken apart for it.
    pub donor: Option<usize>,
}

/// A position that may get another part.
#[derive(Debug, Clone, PartialEq)]
pub struct Need {
    /// Lots whose parts fit.
    pub lots: Vec<LotId>,
    /// Minutes to fit one.
    pub minutes: f64,
    /// P(fitting does no damage).
    pub sound: f64,
    /// Nothing is there now: no way does without.
    pub required: bool,
}

/// What may be wrong with a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// P(it is so, and the work that needs no part succeeds).
    pub probability: f64,
    /// Needs that must get a part, a bit each.
    pub needs: u64,
}

/// A machine.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Machine {
    /// Positions that may get a part, at most 64.
    pub needs: Vec<Need>,
    /// What may be wrong; probabilities add up to at most 1.
    pub scenarios: Vec<Scenario>,
    /// Minutes of work that needs no part.
    pub minutes: f64,
}

/// What counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Goal {
    /// The expected number of working machines.
    Number,
    /// What they are worth, less what they cost.
    Value {
        /// Of a working machine.
        worth: f64,
        /// Of a minute of work.
        minute: f64,
    },
}

/// The batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Machines.
    pub machines: Vec<Machine>,
    /// Parts.
    pub lots: Vec<Lot>,
    /// Money for parts.
    pub budget: f64,
    /// What counts.
    pub goal: Goal,
}

/// One way to finish one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// The machine.
    pub machine: usize,
    /// Need and lot, by need.
    pub fitted: Vec<(usize, LotId)>,
    /// P(the machine works then).
    pub works: f64,
    /// Money for its parts.
    pub price: f64,
    /// Minutes, if all of it is done.
    pub minutes: f64,
    /// What it adds to the goal.
    pub value: f64,
}

/// Of the whole budget, in machines, when the number counts.
pub const ALL_MONEY: f64 = 1e-3;
/// Of a minute, in machines, when the number counts.
pub const A_MINUTE: f64 = 1e-6;

/// Parts that one way puts beside a machine at most, besides those that are missing.
pub const MOST_PARTS: usize = 3;
/// Ways of one machine that are tried, and those that are given to the solver, at most.
const MOST_TRIED: usize = 100_000;
const MOST_COMPARED: usize = 1_500;
const MOST_WAYS: usize = 400;

impl Goal {
    /// What a way adds.
    pub fn value(self, works: f64, price: f64, minutes: f64, budget: f64) -> f64 {
        match self {
            Goal::Number => {
                let spent = if budget > 0.0 { price / budget } else { 0.0 };
                works - ALL_MONEY * spent - A_MINUTE * minutes
            }
            Goal::Value { worth, minute } => worth * works - price - minute * minutes,
        }
    }
}

impl Problem {
    /// P(the machine works) with these parts beside it (need, lot).
    pub fn works(&self, machine: usize, fitted: &[(usize, LotId)]) -> f64 {
        let m = &self.machines[machine];
        let of = |need: usize| fitted.iter().find(|f| f.0 == need).map(|f| f.1);
        let scenario = |s: &Scenario| {
            let mut p = s.probability;
            for (n, need) in m.needs.iter().enumerate() {
                if s.needs >> n & 1 == 1 || need.required {
                    p *= of(n).map_or(0.0, |lot| self.lots[lot].good * need.sound);
                }
            }
            p
        };
        m.scenarios.iter().map(scenario).sum()
    }

    /// The ways to finish a machine that could be part of a best plan, best first, and whether that is all of them. A way that
    /// takes no more parts than another and adds as much makes that one superfluous.
    pub fn ways(&self, machine: usize) -> (Vec<Way>, bool) {
        let mut search = Search {
            problem: self,
            machine,
            best: BTreeMap::new(),
            tried: 0,
        };
        let sets = self.sets(machine);
        for set in &sets {
            search.fill(set, &mut Vec::new());
        }
        let mut all = search.tried < MOST_TRIED;
        let mut ways: Vec<(Vec<LotId>, Way)> = search.best.into_iter().collect();
        ways.sort_by(|a, b| b.1.value.total_cmp(&a.1.value).then(a.0.cmp(&b.0)));
        all &= ways.len() <= MOST_COMPARED;
        ways.truncate(MOST_COMPARED);
        let mut kept: Vec<(Vec<LotId>, Way)> = Vec::new();
        for (lots, way) in ways {
            // Those before it add at least as much.
            if !kept.iter().any(|(fewer, _)| within(fewer, &lots)) {
                kept.push((lots, way));
            }
        }
        all &= kept.len() <= MOST_WAYS;
        kept.truncate(MOST_WAYS);
        (kept.into_iter().map(|k| k.1).collect(), all)
    }

    /// Sets of needs worth filling: unions of what the scenarios need.
    fn sets(&self, machine: usize) -> BTreeSet<Vec<usize>> {
        let m = &self.machines[machine];
        let bits = |required: bool| {
            let of = m.needs.iter().enumerate();
            of.filter(move |(_, n)| n.required == required)
                .fold(0_u64, |bits, (i, _)| bits | 1 << i)
        };
        let (required, others) = (bits(true), bits(false));
        let mut sets = BTreeSet::from([required]);
        for s in &m.scenarios {
            let more: Vec<u64> = (sets.iter().map(|set| set | s.needs))
                .filter(|set| (set & others).count_ones() as usize <= MOST_PARTS)
                .collect();
            sets.extend(more);
        }
        let list = |set: u64| (0..m.needs.len()).filter(|n| set >> n & 1 == 1).collect();
        sets.into_iter().map(list).collect()
    }
}

/// Whether the sorted list `a` is within the sorted list `b`, each entry as often.
fn within(a: &[LotId], b: &[LotId]) -> bool {
    let mut rest = b.iter();
    a.iter().all(|x| rest.any(|y| y == x))
}

/// Ways of one machine by the parts they take (sorted); of equal ones the best is kept.
struct Search<'p> {
    problem: &'p Problem,
    machine: usize,
    best: BTreeMap<Vec<LotId>, Way>,
    tried: usize,
}

impl Search<'_> {
    /// Puts a lot beside each of the needs `set` that have none yet.
    fn fill(&mut self, set: &[usize], fitted: &mut Vec<(usize, LotId)>) {
        let p = self.problem;
        let Some(&need) = set.get(fitted.len()) else {
            return self.end(fitted);
        };
        for &lot in &p.machines[self.machine].needs[need].lots {
            if self.tried >= MOST_TRIED {
                return;
            }
            let l = &p.lots[lot];
            let taken = fitted.iter().filter(|f| f.1 == lot).count();
            let price: f64 = fitted.iter().map(|f| p.lots[f.1].price).sum();
            let affordable = price + l.price <= p.budget + 1e-9;
            if (taken as u32) < l.count && affordable && l.donor != Some(self.machine) {
                fitted.push((need, lot));
                self.fill(set, fitted);
                fitted.pop();
            }
        }
    }

    fn end(&mut self, fitted: &[(usize, LotId)]) {
        self.tried += 1;
        let p = self.problem;
        let m = &p.machines[self.machine];
        let works = p.works(self.machine, fitted);
        let lots = || fitted.iter().map(|f| &p.lots[f.1]);
        let price: f64 = lots().map(|l| l.price).sum();
        let fitting: f64 = fitted.iter().map(|f| m.needs[f.0].minutes).sum();
        let minutes = m.minutes + fitting + lots().map(|l| l.minutes).sum::<f64>();
        let value = p.goal.value(works, price, minutes, p.budget);
        if works <= 0.0 || value <= 0.0 {
            return;
        }
        let mut key: Vec<LotId> = fitted.iter().map(|f| f.1).collect();
        key.sort_unstable();
        let way = Way {
            machine: self.machine,
            fitted: fitted.to_vec(),
            works,
            price,
            minutes,
            value,
        };
        match self.best.get(&key) {
            Some(old) if old.value >= way.value => {}
            _ => {
                self.best.insert(key, way);
            }
        }
    }
}
