//! A problem made ready for the search: its steps, and the worlds that remedies lead through.

use std::collections::HashMap;

use super::problem::{
    Condition, Cure, Goal, Hypothesis, Kind, Options, Power, Problem, Step, StepId, UnitId,
};

/// Number of a world: a hypothesis together with those of its units that are still at fault. The last one
/// is the unexplored rest.
pub(super) type World = u32;

/// The set of one step (or condition).
pub(super) fn bit(step: StepId) -> u128 {
    1 << step
}

/// The numbers of the bits that are set, ascending.
pub(super) fn each(mut set: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (set != 0).then(|| {
            let next = set.trailing_zeros() as usize;
            set &= set - 1;
            next
        })
    })
}

/// A step with its tables.
pub(super) struct Compiled {
    /// Minutes, whatever comes out, without switching the supply.
    pub cost: f64,
    /// Minutes in addition when something is cured.
    pub when_cured: f64,
    pub power: Power,
    /// Groups of conditions, one of each of which must be met.
    pub after: Vec<u128>,
    pub never_after: u128,
    pub outcomes: usize,
    /// Observation: probabilities by hypothesis (the rest last) and outcome, one after the other.
    pub rows: Vec<f64>,
    /// Observation: equal numbers for equal rows.
    pub class: Vec<u32>,
    /// Steps that become possible again.
    pub reopens: u128,
    /// Conditions on this step that each outcome meets, and all that there are.
    pub sets: Vec<u128>,
    pub all_sets: u128,
    pub remedy: bool,
}

/// Whether a step can occur in any plan.
pub(super) fn is_usable(problem: &Problem, options: &Options, id: StepId, step: &Step) -> bool {
    let wanted = !step.is_remedy() || matches!(problem.goal, Goal::Repair { .. });
    let at_hand = step.tools & !options.tools == 0;
    wanted && at_hand && options.allowed.is_none_or(|allowed| allowed(id, step))
}

/// The tables of all steps.
pub(super) fn compile(problem: &Problem, options: &Options) -> Vec<Compiled> {
    let conditions = problem.conditions();
    let number = |condition: &Condition| {
        conditions
            .iter()
            .position(|&c| c == condition)
            .map_or(0, bit)
    };
    let of = |(id, step): (StepId, &Step)| {
        let mut sets = vec![0; step.outcomes()];
        for (i, condition) in conditions.iter().enumerate().filter(|(_, c)| c.step == id) {
            for (o, set) in sets.iter_mut().enumerate() {
                if condition.outcomes.is_empty() || condition.outcomes.contains(&o) {
                    *set |= bit(i);
                }
            }
        }
        let group = |group: &Vec<Condition>| group.iter().fold(0, |set, c| set | number(c));
        let mut compiled = Compiled {
            cost: step.cost.total(options.minutes_per_money),
            when_cured: 0.0,
            power: step.power,
            after: step.rule.after.iter().map(group).collect(),
            never_after: group(&step.rule.never_after),
            outcomes: step.outcomes(),
            rows: Vec::new(),
            class: Vec::new(),
            reopens: 0,
            all_sets: sets.iter().fold(0, |all, set| all | set),
            sets,
            remedy: step.is_remedy(),
        };
        compiled.fill(problem, &step.kind);
        compiled
    };
    problem.steps.iter().enumerate().map(of).collect()
}

impl Compiled {
    fn fill(&mut self, problem: &Problem, kind: &Kind) {
        match kind {
            Kind::Observe { rows, unexplored } => {
                let rest = unexplored.clone();
                let rest = rest.unwrap_or_else(|| mean_row(problem, rows, self.outcomes));
                self.class = classes(rows.iter().chain([&rest]));
                self.rows = rows.iter().chain([&rest]).flatten().copied().collect();
            }
            Kind::Remedy {
                verify,
                when_cured,
                reopens,
                ..
            } => {
                self.cost += verify;
                self.when_cured = *when_cured;
                self.reopens = reopens.iter().fold(0, |set, &s| set | bit(s));
            }
        }
    }
}

/// Mean of the rows, weighted by probability (all alike when everything is unexplored).
fn mean_row(problem: &Problem, rows: &[Vec<f64>], outcomes: usize) -> Vec<f64> {
    let known: f64 = problem.hypotheses.iter().map(|h| h.probability).sum();
    let mean = |o: usize| -> f64 {
        if known > 0.0 {
            let weighted = problem.hypotheses.iter().zip(rows);
            weighted.map(|(h, row)| h.probability * row[o]).sum::<f64>() / known
        } else {
            1.0 / outcomes as f64
        }
    };
    (0..outcomes).map(mean).collect()
}

/// Numbers such that equal rows have equal numbers.
fn classes<'r>(rows: impl Iterator<Item = &'r Vec<f64>>) -> Vec<u32> {
    let mut seen: HashMap<Vec<u64>, u32> = HashMap::new();
    rows.map(|row| {
        let next = seen.len() as u32;
        let bits = row.iter().map(|p| p.to_bits()).collect();
        *seen.entry(bits).or_insert(next)
    })
    .collect()
}

/// What a remedy does in one world.
pub(super) struct Move {
    pub step: StepId,
    /// P(something is cured).
    pub cured: f64,
    /// P(everything is cured).
    pub works: f64,
    /// Worlds that are left, with probabilities; together with `works` they add up to 1.
    pub left: Vec<(World, f64)>,
}

/// One world.
pub(super) struct Place {
    pub hypothesis: usize,
    /// The units still at fault, as a set of positions in the hypothesis.
    pub bits: u32,
    /// What at least is spent from here, even when told that it is this world.
    pub lower: f64,
    /// The remedies that may cure something here.
    pub moves: Vec<Move>,
    /// Their steps.
    pub remedies: u128,
    /// The same, for speed laid out apart: step, mean share of the units at fault that it cures, P(something
    /// is cured).
    pub scores: Vec<(u32, f64, f64)>,
}

/// All worlds.
pub(super) struct Worlds {
    pub places: Vec<Place>,
    /// By hypothesis: its world with every unit at fault.
    pub whole: Vec<World>,
    /// By step: the worlds in which it may cure something.
    pub touched: Vec<Vec<World>>,
}

impl Worlds {
    /// Tabulates the worlds of a problem for the remedies in `usable`.
    ///
    /// A larger set that is cured down to a smaller one becomes the hypothesis of exactly that smaller set
    /// if one, and only one, is listed; else it goes on reading as the larger one did.
    pub fn new(problem: &Problem, steps: &[Compiled], usable: u128) -> Self {
        let (first, named) = name_worlds(&problem.hypotheses);
        let mut places = Vec::with_capacity(named.len() + 1);
        for (h, hypothesis) in problem.hypotheses.iter().enumerate() {
            let cures = cures_of(problem, usable, &hypothesis.faulty);
            let bounds = bounds(problem, steps, &cures, hypothesis.faulty.len());
            for bits in 0..1_u32 << hypothesis.faulty.len() {
                let is_named = named[(first[h] + bits) as usize] == first[h] + bits;
                let mut place = Place {
                    hypothesis: h,
                    bits,
                    lower: lower(problem, &bounds, bits),
                    moves: Vec::new(),
                    remedies: 0,
                    scores: Vec::new(),
                };
                if bits != 0 && is_named {
                    let name = |bits: u32| named[(first[h] + bits) as usize];
                    for (found, share) in cures.iter().filter_map(|c| step_in(bits, c, name)) {
                        let step = found.step as u32;
                        place.scores.push((step, share, found.cured));
                        place.remedies |= bit(found.step);
                        place.moves.push(found);
                    }
                }
                places.push(place);
            }
        }
        places.push(Place {
            hypothesis: problem.hypotheses.len(),
            bits: 0,
            lower: stop(problem),
            moves: Vec::new(),
            remedies: 0,
            scores: Vec::new(),
        });
        let mut touched = vec![Vec::new(); steps.len()];
        for (world, place) in (0..).zip(&places) {
            place.moves.iter().for_each(|m| touched[m.step].push(world));
        }
        let size = |h: &Hypothesis| (1_u32 << h.faulty.len()) - 1;
        let sizes = problem.hypotheses.iter().map(size);
        let whole = first.iter().zip(sizes).map(|(f, all)| f + all).collect();
        Self {
            places,
            whole,
            touched,
        }
    }

    /// The world of the unexplored rest.
    pub fn rest(&self) -> World {
        self.places.len() as World - 1
    }

    pub fn hypothesis(&self, world: World) -> usize {
        self.places[world as usize].hypothesis
    }
}

fn stop(problem: &Problem) -> f64 {
    match problem.goal {
        Goal::Repair { stop } => stop,
        Goal::Identify { .. } => 0.0,
    }
}

/// By hypothesis the number of its first world, and by world the world that it goes by.
fn name_worlds(hypotheses: &[Hypothesis]) -> (Vec<World>, Vec<World>) {
    let mut first = Vec::with_capacity(hypotheses.len());
    let mut listed: HashMap<Vec<UnitId>, Option<World>> = HashMap::new();
    let mut next = 0;
    for hypothesis in hypotheses {
        let mut units = hypothesis.faulty.clone();
        units.sort_unstable();
        let size = 1 << units.len();
        let entry = listed.entry(units).and_modify(|known| *known = None);
        entry.or_insert(Some(next + size - 1));
        first.push(next);
        next += size;
    }
    let mut named = Vec::with_capacity(next as usize);
    for (hypothesis, &first) in hypotheses.iter().zip(&first) {
        let all = (1_u32 << hypothesis.faulty.len()) - 1;
        for bits in 0..=all {
            let faulty = hypothesis.faulty.iter().enumerate();
            let still = faulty.filter(|(i, _)| bits >> i & 1 == 1);
            let mut units: Vec<UnitId> = still.map(|(_, &u)| u).collect();
            units.sort_unstable();
            named.push(match listed.get(&units) {
                Some(&Some(other)) if bits != all && bits != 0 => other,
                _ => first + bits,
            });
        }
    }
    (first, named)
}

/// The usable remedies for these units: the step, and which unit (by position) it cures how probably.
fn cures_of(
    problem: &Problem,
    usable: u128,
    faulty: &[UnitId],
) -> Vec<(StepId, Vec<(usize, f64)>)> {
    let mut found = Vec::new();
    for step in each(usable) {
        let Kind::Remedy { cures, .. } = &problem.steps[step].kind else {
            continue;
        };
        let place = |c: &Cure| faulty.iter().position(|u| *u == c.unit);
        let positive = cures.iter().filter(|c| c.probability > 0.0);
        let of_these: Vec<_> = positive
            .filter_map(|c| Some((place(c)?, c.probability)))
            .collect();
        if !of_these.is_empty() {
            found.push((step, of_these));
        }
    }
    found
}

/// What a remedy does to these units, and the mean share of them that it cures; `None`: nothing.
fn step_in(
    bits: u32,
    (step, cures): &(StepId, Vec<(usize, f64)>),
    name: impl Fn(u32) -> World,
) -> Option<(Move, f64)> {
    let mut ends = vec![(bits, 1.0)];
    for &(unit, cure) in cures.iter().filter(|(unit, _)| bits >> unit & 1 == 1) {
        for i in 0..ends.len() {
            let (left, p) = ends[i];
            ends[i].1 = p * (1.0 - cure);
            ends.push((left & !(1 << unit), p * cure));
        }
    }
    if ends.len() == 1 {
        return None;
    }
    let total = bits.count_ones();
    let gone = |left: u32| f64::from(total - left.count_ones()) / f64::from(total);
    let share = ends.iter().map(|&(left, p)| p * gone(left)).sum();
    let mut found = Move {
        step: *step,
        cured: ends
            .iter()
            .filter(|(left, _)| *left != bits)
            .map(|(_, p)| p)
            .sum(),
        works: ends
            .iter()
            .filter(|(left, _)| *left == 0)
            .map(|(_, p)| p)
            .sum(),
        left: Vec::new(),
    };
    for &(left, p) in ends.iter().filter(|&&(left, p)| left != 0 && p > 0.0) {
        let world = if left == bits { name(bits) } else { name(left) };
        match found.left.iter_mut().find(|(other, _)| *other == world) {
            Some((_, total)) => *total += p,
            None => found.left.push((world, p)),
        }
    }
    Some((found, share))
}

/// By unit: what its cure costs at least, and at least each unit's share of a remedy for several.
fn bounds(
    problem: &Problem,
    steps: &[Compiled],
    cures: &[(StepId, Vec<(usize, f64)>)],
    units: usize,
) -> Vec<(f64, f64)> {
    let stop = stop(problem);
    let of = |unit: usize| {
        let each_cure = || {
            let pick = move |(s, list): &'_ (StepId, Vec<(usize, f64)>)| {
                // Listed twice, a unit is cured with the better part of both.
                let missed: f64 = list
                    .iter()
                    .filter(|c| c.0 == unit)
                    .map(|c| 1.0 - c.1)
                    .product();
                (*s, 1.0 - missed, list.len())
            };
            cures.iter().map(pick).filter(|(_, cure, _)| *cure > 0.0)
        };
        let cheapest = each_cure()
            .map(|(s, ..)| steps[s].cost)
            .fold(stop, f64::min);
        let alone = each_cure().map(|(s, cure, _)| {
            let Compiled {
                cost, when_cured, ..
            } = steps[s];
            cost + cure * when_cured + (1.0 - cure) * cheapest
        });
        let share = each_cure().map(|(s, _, n)| steps[s].cost / n as f64);
        (alone.fold(stop, f64::min), share.fold(stop, f64::min))
    };
    (0..units).map(of).collect()
}

/// What a plan spends at least when told that just these units are at fault: the dearest of them by its
/// cheapest remedy, or the sum of all shares; never more than stopping. Nothing for an identification.
fn lower(problem: &Problem, bounds: &[(f64, f64)], bits: u32) -> f64 {
    let chosen = || {
        bounds
            .iter()
            .enumerate()
            .filter(|(i, _)| bits >> i & 1 == 1)
            .map(|(_, b)| b)
    };
    let dearest = chosen().map(|b| b.0).fold(0.0, f64::max);
    dearest.max(chosen().map(|b| b.1).sum()).min(stop(problem))
}
