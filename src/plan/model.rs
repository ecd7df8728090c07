//! The states of a plan and what steps make of them.

use super::problem::{Goal, Options, Power, Problem, STILL_FAULTY, StepId, UnitId, WORKS};
use super::tables::{Compiled, World, Worlds, bit, compile, each, is_usable};

/// Probabilities below this are taken as 0: rounding, not belief.
pub(super) const NOTHING: f64 = 1e-13;

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

/// A step done: its minutes (those of a cure included), and how it can turn out.
pub(super) struct Act {
    pub minutes: f64,
    pub branches: Vec<Branch>,
}

/// A problem with its tables.
pub(super) struct Model<'a> {
    pub problem: &'a Problem,
    pub steps: Vec<Compiled>,
    pub worlds: Worlds,
    /// Steps not ruled out by tools, filter or goal.
    pub usable: u128,
    /// Steps that are of use even when they tell and cure nothing: a rule waits for them, or they let an
    /// observation be made again.
    awaited: u128,
    /// Whether what an observation tells can change under a plan: then those made belong to the state.
    changing: bool,
    observations: u128,
    /// Whether any step waits for another.
    pub waits: bool,
    /// By condition: the steps that it is about.
    about: Vec<u128>,
}

impl<'a> Model<'a> {
    /// The tables of a checked problem.
    pub fn new(problem: &'a Problem, options: &Options) -> Self {
        let steps = compile(problem, options);
        let (mut usable, mut awaited, mut observations) = (0, 0, 0);
        for (id, step) in problem.steps.iter().enumerate() {
            if !is_usable(problem, options, id, step) {
                continue;
            }
            usable |= bit(id);
            let conditions = step.rule.after.iter().flatten();
            conditions.for_each(|condition| awaited |= bit(condition.step));
            if steps[id].reopens != 0 {
                awaited |= bit(id);
            }
            if !steps[id].remedy {
                observations |= bit(id);
            }
        }
        let about = |condition: usize| {
            let is = |s: &StepId| steps[*s].all_sets & bit(condition) != 0;
            (0..steps.len()).filter(is).fold(0, |set, s| set | bit(s))
        };
        let about = (0..u128::BITS as usize).map(about).collect();
        let single = problem.hypotheses.iter().all(|h| h.faulty.len() <= 1);
        Self {
            problem,
            worlds: Worlds::new(problem, &steps, usable),
            usable,
            awaited,
            changing: !single || steps.iter().any(|s| s.reopens != 0),
            observations,
            about,
            waits: steps.iter().any(|s| !s.after.is_empty()),
            steps,
        }
    }

    /// The state before anything is done.
    pub fn start(&self) -> State {
        let listed = self.worlds.whole.iter().zip(&self.problem.hypotheses);
        let mut belief: Vec<(World, f64)> = listed.map(|(&w, h)| (w, h.probability)).collect();
        belief.push((self.worlds.rest(), self.problem.unexplored));
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

    /// The price of stopping, when the goal knows one.
    pub fn stop(&self) -> Option<f64> {
        match self.problem.goal {
            Goal::Repair { stop } => Some(stop),
            Goal::Identify { .. } => None,
        }
    }

    /// The units of a world that are still at fault.
    pub fn units(&self, world: World) -> impl Iterator<Item = UnitId> + '_ {
        let place = &self.worlds.places[world as usize];
        let hypothesis = self.problem.hypotheses.get(place.hypothesis);
        let faulty = hypothesis.map_or(&[][..], |h| &h.faulty);
        let still = faulty
            .iter()
            .enumerate()
            .filter(|(i, _)| place.bits >> i & 1 == 1);
        still.map(|(_, &unit)| unit)
    }

    /// What at least remains to be spent; linear in the belief.
    pub fn lower(&self, belief: &[(World, f64)]) -> f64 {
        belief
            .iter()
            .map(|&(w, p)| p * self.worlds.places[w as usize].lower)
            .sum()
    }

    /// What a step at least leads to.
    pub fn lower_after(&self, act: &Act) -> f64 {
        let rest = |b: &Branch| {
            b.state
                .as_ref()
                .map_or(0.0, |s| b.probability * self.lower(&s.belief))
        };
        act.minutes + act.branches.iter().map(rest).sum::<f64>()
    }

    /// Whether the rules let this step be done now (whether it is of use is another matter).
    pub fn may(&self, state: &State, step: StepId) -> bool {
        self.free(state.used, state.met, step)
    }

    /// The same, with what counts of the state given apart.
    pub fn free(&self, used: u128, met: u128, step: StepId) -> bool {
        let Compiled {
            after, never_after, ..
        } = &self.steps[step];
        self.usable & !used & bit(step) != 0
            && met & never_after == 0
            && after.iter().all(|group| met & group != 0)
    }

    /// The steps of use that the rules allow now, in their order.
    pub fn moves(&self, state: &State) -> impl Iterator<Item = StepId> + '_ {
        let (used, met, open) = (state.used, state.met, state.open);
        each(open).filter(move |&s| self.free(used, met, s))
    }

    /// The groups of conditions of a step that are not met.
    pub fn unmet(&self, met: u128, step: StepId) -> impl Iterator<Item = u128> + '_ {
        let groups = self.steps[step].after.iter().copied();
        groups.filter(move |group| met & group == 0)
    }

    /// The steps that conditions of this group are about.
    pub fn steps_that_meet(&self, group: u128) -> u128 {
        each(group).fold(0, |set, condition| set | self.about[condition])
    }

    /// Minutes that a step costs in this state, without what only a cure costs.
    pub fn cost(&self, power: Power, step: StepId) -> f64 {
        let Compiled {
            cost,
            power: wanted,
            ..
        } = &self.steps[step];
        match (power, wanted) {
            (Power::On, Power::Off) | (Power::Off, Power::On) => cost + self.problem.power_change,
            _ => *cost,
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

    /// Does a step.
    pub fn act(&self, state: &State, step: StepId) -> Act {
        let minutes = self.cost(state.power, step);
        if self.steps[step].remedy {
            return self.remedy(state, step, minutes);
        }
        let outcomes = 0..self.steps[step].outcomes;
        Act {
            minutes,
            branches: outcomes.filter_map(|o| self.look(state, step, o)).collect(),
        }
    }

    /// One outcome of an observation; `None` when it cannot come out so.
    fn look(&self, state: &State, step: StepId, outcome: usize) -> Option<Branch> {
        let Compiled { rows, outcomes, .. } = &self.steps[step];
        let mut belief = Vec::with_capacity(state.belief.len());
        let mut probability = 0.0;
        for &(w, p) in &state.belief {
            let joint = p * rows[self.worlds.hypothesis(w) * outcomes + outcome];
            if joint > 0.0 {
                belief.push((w, joint));
                probability += joint;
            }
        }
        let after = || self.after(state, step, outcome, belief);
        (probability > NOTHING).then(|| Branch {
            outcome,
            probability,
            state: Some(after()),
        })
    }

    fn remedy(&self, state: &State, step: StepId, minutes: f64) -> Act {
        let mut belief = Vec::with_capacity(state.belief.len());
        let (mut cured, mut works, mut moved) = (0.0, 0.0, false);
        for &(w, p) in &state.belief {
            let place = &self.worlds.places[w as usize];
            match place.moves.iter().find(|m| m.step == step) {
                Some(found) => {
                    belief.extend(found.left.iter().map(|&(left, q)| (left, p * q)));
                    cured += p * found.cured;
                    works += p * found.works;
                    moved = true;
                }
                None => belief.push((w, p)),
            }
        }
        if moved {
            merge(&mut belief);
        }
        let left: f64 = belief.iter().map(|(_, p)| p).sum();
        let mut branches = Vec::with_capacity(2);
        if works > NOTHING {
            branches.push(Branch {
                outcome: WORKS,
                probability: works,
                state: None,
            });
        }
        if left > NOTHING {
            branches.push(Branch {
                outcome: STILL_FAULTY,
                probability: left,
                state: Some(self.after(state, step, STILL_FAULTY, belief)),
            });
        }
        let minutes = minutes + cured * self.steps[step].when_cured;
        Act { minutes, branches }
    }

    /// The state after a step with this outcome, given the belief (not yet adding up to 1).
    fn after(
        &self,
        state: &State,
        step: StepId,
        outcome: usize,
        belief: Vec<(World, f64)>,
    ) -> State {
        let (used, met) = self.mark(state.used, state.met, step, outcome);
        let mut state = State {
            belief,
            used,
            open: 0,
            met,
            power: self.power_after(state.power, step),
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
        let places = &self.worlds.places;
        let remedies = state
            .belief
            .iter()
            .fold(0, |set, &(w, _)| set | places[w as usize].remedies);
        state.open = left & (self.awaited | remedies);
        let Some(&(first, _)) = state.belief.first() else {
            return;
        };
        for step in each(left & self.observations & !state.open) {
            let class = |w: World| self.steps[step].class[self.worlds.hypothesis(w)];
            if state.belief.iter().any(|&(w, _)| class(w) != class(first)) {
                state.open |= bit(step);
            }
        }
    }

    /// A fingerprint: equal for states from which the same can be done with the same prospects.
    pub fn key(&self, state: &State) -> u128 {
        let mut lanes = [0x9e37_79b9_7f4a_7c15_u64, 0xd1b5_4a32_d192_ed03];
        let factors = [0xff51_afd7_ed55_8ccd, 0xc4ce_b9fe_1a85_ec53];
        let mut mix = |value: u64| {
            for (lane, factor) in lanes.iter_mut().zip(factors) {
                *lane = (*lane ^ value).wrapping_mul(factor);
                *lane ^= *lane >> 29;
            }
        };
        for &(w, p) in &state.belief {
            // 40 bits of the probability: differences below come from the order of the arithmetic.
            let rounded = (p * (1_u64 << 40) as f64).round() as u64;
            mix(u64::from(w) ^ rounded.rotate_left(20));
        }
        let made = if self.changing {
            state.used & self.observations
        } else {
            0
        };
        for mask in [state.open, made, state.met] {
            mix(mask as u64);
            mix((mask >> 64) as u64);
        }
        mix(state.power as u64);
        u128::from(lanes[0]) << 64 | u128::from(lanes[1])
    }
}

/// Sorts by world and adds up what is the same world.
fn merge(belief: &mut Vec<(World, f64)>) {
    belief.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    belief.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
}
