//! A problem made ready for the search: tables by hypothesis and step, and the states of a plan.

use std::collections::HashMap;

use super::problem::{Goal, Kind, Options, Power, Problem, Step, StepId, UnitId};

/// Probabilities below this are taken as 0: rounding, not belief.
pub(super) const NOTHING: f64 = 1e-13;

/// A hypothesis together with those of its units that are still at fault: `hypothesis << 16 | bits`. The
/// unexplored rest is the hypothesis after the last one, without bits.
pub(super) type World = u32;

pub(super) fn world(hypothesis: usize, bits: u32) -> World {
    (hypothesis as u32) << 16 | bits
}

pub(super) fn hypothesis_of(world: World) -> usize {
    (world >> 16) as usize
}

pub(super) fn bits_of(world: World) -> u32 {
    world & 0xffff
}

/// Where a plan stands: what is believed, what has been done, the supply.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Worlds with their probabilities, by world, adding up to 1.
    pub(super) belief: Vec<(World, f64)>,
    /// Steps that have been done.
    pub(super) used: u128,
    /// Steps that have not been done, are not ruled out for good, and can be of use.
    pub(super) open: u128,
    /// Conditions that are true.
    pub(super) met: u128,
    pub(super) power: Power,
}

/// A way in which a step can turn out.
pub(super) struct Branch {
    pub outcome: usize,
    pub probability: f64,
    /// `None`: the machine works, the plan is at its end.
    pub state: Option<State>,
}

/// A step with its tables.
pub(super) struct Compiled {
    /// Minutes, whatever comes out, without switching the supply.
    pub cost: f64,
    /// Minutes in addition when something is cured.
    pub when_cured: f64,
    pub power: Power,
    /// Groups of conditions, one of each of which must be met.
    after: Vec<u128>,
    never_after: u128,
    /// Number of outcomes.
    pub outcomes: usize,
    /// Observation: probabilities by hypothesis (the rest last) and outcome, one after the other.
    pub rows: Vec<f64>,
    /// Observation: equal numbers for equal rows.
    class: Vec<u32>,
    /// Remedy: by hypothesis, which of its units it cures with which probability.
    pub cures: Vec<Vec<(u32, f64)>>,
    /// Steps that become possible again.
    reopens: u128,
    /// Conditions on this step by outcome, and all of them.
    sets: Vec<u128>,
    all_sets: u128,
    pub remedy: bool,
}

pub(super) struct Model<'a> {
    pub problem: &'a Problem,
    pub steps: Vec<Compiled>,
    /// Steps not ruled out by tools, filter or goal.
    pub usable: u128,
    /// Steps that a rule waits for: of use even when they tell nothing.
    awaited: u128,
    /// By hypothesis: `(step, unit's bit, probability of the cure)`.
    pub remedies: Vec<Vec<(StepId, u32, f64)>>,
    /// By hypothesis and bits: the world that this is.
    worlds: Vec<Vec<World>>,
    /// By hypothesis and bits: what at least remains to be spent.
    lower: Vec<Vec<f64>>,
    /// Whether what a step tells can change under a plan (so that done steps are part of the state).
    changing: bool,
    observations: u128,
    /// Whether any step waits for another.
    pub waits: bool,
}

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

impl<'a> Model<'a> {
    /// The tables of a checked problem.
    pub fn new(problem: &'a Problem, options: &Options) -> Self {
        let steps: Vec<Compiled> = (0..problem.steps.len())
            .map(|s| compile(problem, options, s))
            .collect();
        let mut usable = 0;
        let mut awaited = 0;
        for (id, step) in problem.steps.iter().enumerate() {
            if is_usable(problem, options, id, step) {
                usable |= bit(id);
                let conditions = step.rule.after.iter().flatten();
                conditions.for_each(|condition| awaited |= bit(condition.step));
                if steps[id].reopens != 0 {
                    // Done for nothing, it still lets an observation be made again.
                    awaited |= bit(id);
                }
            }
        }
        let mut model = Self {
            problem,
            usable,
            awaited,
            remedies: remedies_by_hypothesis(problem, &steps, usable),
            worlds: tabulate_worlds(problem),
            lower: Vec::new(),
            changing: false,
            observations: 0,
            waits: awaited != 0,
            steps,
        };
        let single = problem.hypotheses.iter().all(|h| h.faulty.len() <= 1);
        model.changing = !single || model.steps.iter().any(|s| s.reopens != 0);
        model.observations = (0..model.steps.len())
            .filter(|&s| !model.steps[s].remedy)
            .fold(0, |set, s| set | bit(s));
        model.lower = tabulate_lower(&model);
        model
    }

    /// The state before anything is done.
    pub fn start(&self) -> State {
        let mut belief: Vec<(World, f64)> = Vec::new();
        for (h, hypothesis) in self.problem.hypotheses.iter().enumerate() {
            let all = self.worlds[h].len() - 1;
            belief.push((self.worlds[h][all], hypothesis.probability));
        }
        belief.push((self.rest(), self.problem.unexplored));
        let mut state = State {
            belief,
            used: 0,
            open: 0,
            met: 0,
            power: self.problem.power,
        };
        self.settle(&mut state);
        state
    }

    /// The world of the unexplored rest.
    pub fn rest(&self) -> World {
        world(self.problem.hypotheses.len(), 0)
    }

    /// The price of stopping, when the goal knows one.
    pub fn stop(&self) -> Option<f64> {
        match self.problem.goal {
            Goal::Repair { stop } => Some(stop),
            Goal::Identify { .. } => None,
        }
    }

    /// The units of a world that are still at fault.
    pub fn units(&self, world: World) -> impl Iterator<Item = UnitId> + '_ {
        let faulty = self
            .problem
            .hypotheses
            .get(hypothesis_of(world))
            .map_or(&[][..], |h| &h.faulty);
        let bits = bits_of(world);
        faulty
            .iter()
            .enumerate()
            .filter(move |(i, _)| bits >> i & 1 == 1)
            .map(|(_, &unit)| unit)
    }

    /// What at least remains to be spent; linear in the belief.
    pub fn lower(&self, belief: &[(World, f64)]) -> f64 {
        belief
            .iter()
            .map(|&(w, p)| p * self.lower[hypothesis_of(w)][bits_of(w) as usize])
            .sum()
    }

    /// Whether the rules let this step be done now (whether it is of use is another matter).
    pub fn may(&self, state: &State, step: StepId) -> bool {
        let of_step = bit(step);
        let Compiled {
            after, never_after, ..
        } = &self.steps[step];
        self.usable & of_step != 0
            && state.used & of_step == 0
            && state.met & never_after == 0
            && after.iter().all(|group| state.met & group != 0)
    }

    /// The steps that conditions of this group are about.
    pub fn steps_that_meet(&self, group: u128) -> u128 {
        (0..self.steps.len())
            .filter(|&s| self.steps[s].all_sets & group != 0)
            .fold(0, |set, s| set | bit(s))
    }

    /// Whether a remedy that leaves the machine faulty meets this group.
    pub fn fails_into(&self, remedy: StepId, group: u128) -> bool {
        self.steps[remedy].sets[super::problem::STILL_FAULTY] & group != 0
    }

    /// The groups of conditions of a step that are not met.
    pub fn unmet(&self, state: &State, step: StepId) -> impl Iterator<Item = u128> + '_ {
        let met = state.met;
        self.steps[step]
            .after
            .iter()
            .copied()
            .filter(move |group| met & group == 0)
    }

    /// Minutes that a step costs in this state, without what only a cure costs.
    pub fn cost(&self, power: Power, step: StepId) -> f64 {
        let Compiled {
            cost,
            power: wanted,
            ..
        } = &self.steps[step];
        let switched = matches!(
            (power, wanted),
            (Power::On, Power::Off) | (Power::Off, Power::On)
        );
        if switched {
            cost + self.problem.power_change
        } else {
            *cost
        }
    }

    /// The state of the supply after a step.
    pub fn power_after(&self, power: Power, step: StepId) -> Power {
        match (self.steps[step].power, self.steps[step].remedy) {
            (Power::Either, _) => power,
            (Power::Off, true) => Power::On,
            (wanted, _) => wanted,
        }
    }

    /// Does a step: its minutes (those of a cure included) and the ways in which it can turn out.
    pub fn act(&self, state: &State, step: StepId) -> (f64, Vec<Branch>) {
        let cost = self.cost(state.power, step);
        if self.steps[step].remedy {
            let mut belief = Vec::with_capacity(state.belief.len());
            let (cured, works) = self.apply(&state.belief, step, &mut belief);
            let mut branches = Vec::with_capacity(2);
            if works > NOTHING {
                branches.push(Branch {
                    outcome: super::problem::WORKS,
                    probability: works,
                    state: None,
                });
            }
            if 1.0 - works > NOTHING {
                let outcome = super::problem::STILL_FAULTY;
                let state = Some(self.after(state, step, outcome, belief));
                branches.push(Branch {
                    outcome,
                    probability: 1.0 - works,
                    state,
                });
            }
            return (cost + cured * self.steps[step].when_cured, branches);
        }
        (
            cost,
            (0..self.steps[step].outcomes)
                .filter_map(|o| self.look(state, step, o))
                .collect(),
        )
    }

    /// One outcome of an observation; `None` when it cannot come out so.
    fn look(&self, state: &State, step: StepId, outcome: usize) -> Option<Branch> {
        let Compiled { rows, outcomes, .. } = &self.steps[step];
        let mut belief = Vec::with_capacity(state.belief.len());
        let mut probability = 0.0;
        for &(w, p) in &state.belief {
            let joint = p * rows[hypothesis_of(w) * outcomes + outcome];
            if joint > 0.0 {
                belief.push((w, joint));
                probability += joint;
            }
        }
        (probability > NOTHING).then(|| Branch {
            outcome,
            probability,
            state: Some(self.after(state, step, outcome, belief)),
        })
    }

    /// Applies a remedy to a belief (which need not add up to 1): what is left goes to `left`; returns the
    /// probabilities that something was cured, and that everything was.
    pub fn apply(
        &self,
        belief: &[(World, f64)],
        step: StepId,
        left: &mut Vec<(World, f64)>,
    ) -> (f64, f64) {
        left.clear();
        let (mut cured, mut works, mut moved) = (0.0, 0.0, false);
        for &(w, p) in belief {
            let (h, bits) = (hypothesis_of(w), bits_of(w));
            let mut missed = p;
            let first = left.len();
            left.push((w, p));
            for &(unit, cure) in self.steps[step].cures[h]
                .iter()
                .filter(|(unit, _)| bits & unit != 0)
            {
                missed *= 1.0 - cure;
                for i in first..left.len() {
                    let (other, p) = left[i];
                    left[i].1 = p * (1.0 - cure);
                    left.push((other & !unit, p * cure));
                }
            }
            cured += p - missed;
            let mut keep = first;
            for i in first..left.len() {
                let (other, p) = left[i];
                if bits_of(other) == 0 && bits != 0 {
                    works += p;
                } else if p > 0.0 {
                    left[keep] = (
                        if other == w {
                            w
                        } else {
                            self.worlds[h][bits_of(other) as usize]
                        },
                        p,
                    );
                    moved |= other != w;
                    keep += 1;
                }
            }
            left.truncate(keep);
        }
        if moved {
            merge(left);
        }
        (cured, works)
    }

    /// The state after a step with this outcome, given the belief (not yet adding up to 1).
    fn after(
        &self,
        state: &State,
        step: StepId,
        outcome: usize,
        belief: Vec<(World, f64)>,
    ) -> State {
        let power = self.power_after(state.power, step);
        let (used, met) = self.mark(state.used, state.met, step, outcome);
        let mut state = State {
            belief,
            used,
            open: 0,
            met,
            power,
        };
        self.settle(&mut state);
        state
    }

    /// Steps done and conditions met after a step.
    pub fn mark(&self, used: u128, met: u128, step: StepId, outcome: usize) -> (u128, u128) {
        let Compiled {
            reopens,
            sets,
            all_sets,
            ..
        } = &self.steps[step];
        let mut met = met & !all_sets | sets[outcome];
        for other in each(*reopens) {
            met &= !self.steps[other].all_sets;
        }
        ((used | bit(step)) & !reopens, met)
    }

    /// Makes the belief add up to 1 and finds which steps are still of use.
    fn settle(&self, state: &mut State) {
        let sum: f64 = state.belief.iter().map(|&(_, p)| p).sum();
        state.belief.iter_mut().for_each(|(_, p)| *p /= sum);
        state.belief.retain(|&(_, p)| p > NOTHING);
        let left = self.usable & !state.used;
        let mut open = left & self.awaited;
        for step in each(left & self.observations & !open) {
            let class = &self.steps[step].class;
            let first = state
                .belief
                .first()
                .map_or(0, |&(w, _)| class[hypothesis_of(w)]);
            if state
                .belief
                .iter()
                .any(|&(w, _)| class[hypothesis_of(w)] != first)
            {
                open |= bit(step);
            }
        }
        for &(w, _) in &state.belief {
            for &(step, unit, _) in self
                .remedies
                .get(hypothesis_of(w))
                .map_or(&[][..], Vec::as_slice)
            {
                if bits_of(w) & unit != 0 {
                    open |= bit(step) & left;
                }
            }
        }
        state.open = open;
    }

    /// A fingerprint: equal for states from which the same can be done with the same prospects.
    pub fn key(&self, state: &State) -> u128 {
        let mut lanes = [0x9e37_79b9_7f4a_7c15_u64, 0xd1b5_4a32_d192_ed03];
        let mut mix = |value: u64| {
            for (lane, factor) in lanes
                .iter_mut()
                .zip([0xff51_afd7_ed55_8ccd, 0xc4ce_b9fe_1a85_ec53])
            {
                *lane = (*lane ^ value).wrapping_mul(factor);
                *lane ^= *lane >> 29;
            }
        };
        for &(w, p) in &state.belief {
            // 40 bits of the probability: differences below come from the order of the arithmetic.
            mix(u64::from(w) << 32 ^ ((p * (1_u64 << 40) as f64).round() as u64).rotate_left(7));
        }
        let done = if self.changing {
            state.used & self.observations
        } else {
            0
        };
        for mask in [state.open, done, state.met] {
            mix(mask as u64);
            mix((mask >> 64) as u64);
        }
        mix(state.power as u64);
        u128::from(lanes[0]) << 64 | u128::from(lanes[1])
    }
}

/// Sorts by world and adds up what is the same world.
fn merge(belief: &mut Vec<(World, f64)>) {
    belief.sort_by_key(|&(w, _)| w);
    belief.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
}

fn is_usable(problem: &Problem, options: &Options, id: StepId, step: &Step) -> bool {
    let wanted = !step.is_remedy() || matches!(problem.goal, Goal::Repair { .. });
    wanted
        && step.tools & !options.tools == 0
        && options.allowed.is_none_or(|allowed| allowed(id, step))
}

fn compile(problem: &Problem, options: &Options, id: StepId) -> Compiled {
    let step = &problem.steps[id];
    let conditions = problem.conditions();
    let number = |condition| {
        conditions
            .iter()
            .position(|c| *c == condition)
            .map_or(0, bit)
    };
    let outcomes = step.outcomes();
    let mut sets = vec![0; outcomes];
    for (i, condition) in conditions.iter().enumerate().filter(|(_, c)| c.step == id) {
        for (o, set) in sets.iter_mut().enumerate() {
            if condition.outcomes.is_empty() || condition.outcomes.contains(&o) {
                *set |= bit(i);
            }
        }
    }
    let mut compiled = Compiled {
        cost: step.cost.total(options.minutes_per_money),
        when_cured: 0.0,
        power: step.power,
        after: step
            .rule
            .after
            .iter()
            .map(|group| group.iter().fold(0, |set, c| set | number(c)))
            .collect(),
        never_after: step
            .rule
            .never_after
            .iter()
            .fold(0, |set, c| set | number(c)),
        outcomes,
        rows: Vec::new(),
        class: Vec::new(),
        cures: Vec::new(),
        reopens: 0,
        all_sets: sets.iter().fold(0, |all, set| all | set),
        sets,
        remedy: step.is_remedy(),
    };
    match &step.kind {
        Kind::Observe { rows, unexplored } => {
            let rest = unexplored
                .clone()
                .unwrap_or_else(|| mean_row(problem, rows, outcomes));
            compiled.class = classes(rows.iter().chain([&rest]));
            compiled.rows = rows.iter().chain([&rest]).flatten().copied().collect();
        }
        Kind::Remedy {
            cures,
            verify,
            when_cured,
            reopens,
        } => {
            compiled.cost += verify;
            compiled.when_cured = *when_cured;
            compiled.reopens = reopens.iter().fold(0, |set, &s| set | bit(s));
            compiled.cures = problem
                .hypotheses
                .iter()
                .map(|h| cures_of(&h.faulty, cures))
                .collect();
            compiled.cures.push(Vec::new());
        }
    }
    compiled
}

fn cures_of(faulty: &[UnitId], cures: &[super::problem::Cure]) -> Vec<(u32, f64)> {
    let mut found = Vec::new();
    for (i, unit) in faulty.iter().enumerate() {
        found.extend(
            cures
                .iter()
                .filter(|c| c.unit == *unit && c.probability > 0.0)
                .map(|c| (1 << i, c.probability)),
        );
    }
    found
}

/// Mean of the rows, weighted by probability (all alike when everything is unexplored).
fn mean_row(problem: &Problem, rows: &[Vec<f64>], outcomes: usize) -> Vec<f64> {
    let known: f64 = problem.hypotheses.iter().map(|h| h.probability).sum();
    let mean = |o: usize| -> f64 {
        if known > 0.0 {
            problem
                .hypotheses
                .iter()
                .zip(rows)
                .map(|(h, row)| h.probability * row[o])
                .sum::<f64>()
                / known
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
        *seen
            .entry(row.iter().map(|p| p.to_bits()).collect())
            .or_insert(next)
    })
    .collect()
}

fn remedies_by_hypothesis(
    problem: &Problem,
    steps: &[Compiled],
    usable: u128,
) -> Vec<Vec<(StepId, u32, f64)>> {
    let of = |h: usize| {
        each(usable)
            .filter(|&s| steps[s].remedy)
            .flat_map(|s| {
                steps[s].cures[h]
                    .iter()
                    .map(move |&(unit, cure)| (s, unit, cure))
            })
            .collect()
    };
    (0..problem.hypotheses.len()).map(of).collect()
}

/// A larger set cured down to a smaller one becomes the hypothesis of exactly that smaller set, if one is
/// listed (and only one); else it goes on reading as the larger one did.
fn tabulate_worlds(problem: &Problem) -> Vec<Vec<World>> {
    let mut listed: HashMap<Vec<UnitId>, Option<usize>> = HashMap::new();
    for (h, hypothesis) in problem.hypotheses.iter().enumerate() {
        let mut units = hypothesis.faulty.clone();
        units.sort_unstable();
        listed
            .entry(units)
            .and_modify(|known| *known = None)
            .or_insert(Some(h));
    }
    let of = |(h, hypothesis): (usize, &super::problem::Hypothesis)| -> Vec<World> {
        let n = hypothesis.faulty.len();
        let all = (1_u32 << n) - 1;
        let find = |bits: u32| {
            let mut units: Vec<UnitId> = (0..n)
                .filter(|i| bits >> i & 1 == 1)
                .map(|i| hypothesis.faulty[i])
                .collect();
            units.sort_unstable();
            match listed.get(&units) {
                Some(Some(other)) if bits != all => world(*other, (1 << units.len()) - 1),
                _ => world(h, bits),
            }
        };
        (0..=all).map(find).collect()
    };
    problem.hypotheses.iter().enumerate().map(of).collect()
}

/// What a plan spends at least when it is told which world it is in: the dearest of its units by the
/// cheapest remedy, or the sum of the cheapest remedies, each shared by all units that it cures; never more
/// than stopping. Nothing for an identification.
fn tabulate_lower(model: &Model) -> Vec<Vec<f64>> {
    let hypotheses = &model.problem.hypotheses;
    let Some(stop) = model.stop() else {
        return hypotheses
            .iter()
            .map(|h| vec![0.0; 1 << h.faulty.len()])
            .chain([vec![0.0]])
            .collect();
    };
    let mut table = Vec::with_capacity(hypotheses.len() + 1);
    for (h, hypothesis) in hypotheses.iter().enumerate() {
        let bounds: Vec<(f64, f64)> = (0..hypothesis.faulty.len())
            .map(|i| {
                let of_unit = || {
                    model.remedies[h]
                        .iter()
                        .filter(move |(_, unit, _)| *unit == 1 << i)
                };
                let cheapest = of_unit()
                    .map(|&(s, ..)| model.steps[s].cost)
                    .fold(stop, f64::min);
                let alone = of_unit().map(|&(s, _, cure)| {
                    let Compiled {
                        cost, when_cured, ..
                    } = &model.steps[s];
                    cost + cure * when_cured + (1.0 - cure) * cheapest
                });
                let share = of_unit().map(|&(s, ..)| {
                    let Kind::Remedy { cures, .. } = &model.problem.steps[s].kind else {
                        return 0.0;
                    };
                    model.steps[s].cost / cures.len() as f64
                });
                (alone.fold(stop, f64::min), share.fold(stop, f64::min))
            })
            .collect();
        let of = |bits: usize| {
            let chosen = || {
                bounds
                    .iter()
                    .enumerate()
                    .filter(move |(i, _)| bits >> i & 1 == 1)
                    .map(|(_, b)| b)
            };
            chosen()
                .map(|b| b.0)
                .fold(0.0, f64::max)
                .max(chosen().map(|b| b.1).sum())
                .min(stop)
        };
        table.push((0..1_usize << hypothesis.faulty.len()).map(of).collect());
    }
    table.push(vec![stop]);
    table
}
