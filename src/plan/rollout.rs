//! Simple policies whose cost can be worked out at once: they close the search where it is cut off, and one
//! of them is what a plan is compared with.

use std::cell::Cell;

use super::model::{Model, NOTHING, State};
use super::problem::{Goal, Power, STILL_FAULTY, StepId};
use super::tables::{World, bit, each};

/// Which remedy a simple policy tries next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// The one with the greatest probability of curing something, per minute; of two faults at once each
    /// counts half. Optimal for one fault at a time and one perfect remedy each (Kadane and Simon).
    Ratio,
    /// The one with the greatest probability of curing something: swap in order of rank.
    Rank,
}

/// What a sequence of remedies costs.
pub(super) struct Sequence {
    /// Going on until no remedy is left that could cure anything, then stopping.
    pub to_the_end: f64,
    /// Stopping at the best moment (which may be at once).
    pub best: f64,
    /// The first remedy, if there is any.
    pub first: Option<StepId>,
}

/// What a simple policy costs and begins with (`None`: with stopping, or it was not asked).
#[derive(Clone, Copy)]
pub(super) struct Policy {
    pub minutes: f64,
    pub first: Option<StepId>,
}

impl Policy {
    fn or(&mut self, other: Policy) {
        if other.minutes < self.minutes {
            *self = other;
        }
    }
}

/// How far a policy may still observe: along how many steps that something waits for, how likely it is
/// to come here (each look counts a little less), how many remedies it may try before it observes, and how many
/// states it may look at: shared out over the ways to go on, and over the outcomes as they are probable.
#[derive(Clone, Copy)]
struct Left {
    waits: u8,
    states: f64,
    likely: f64,
    tries: u8,
}

/// A remedy with those it has to wait for: the first to do, and the sums of all.
struct Lead {
    first: StepId,
    score: f64,
    cost: f64,
}

/// A sequence of remedies under way, with the worlds laid out side by side.
pub(super) struct Trial {
    order: Order,
    /// By world: its probability; together what still does not work.
    belief: Vec<f64>,
    /// By step: what the order prefers, before cost.
    pub scores: Vec<f64>,
    used: u128,
    met: u128,
    power: Power,
    /// What at least remains to be spent.
    lower: f64,
    moved: Vec<(World, f64)>,
    /// Work done; looking for the next remedy counts as well.
    pub effort: Cell<u64>,
}

impl Trial {
    pub fn new(model: &Model, state: &State, order: Order) -> Self {
        let mut trial = Self {
            order,
            belief: vec![0.0; model.worlds.places.len()],
            scores: vec![0.0; model.steps.len()],
            used: state.used,
            met: state.met,
            power: state.power,
            lower: 0.0,
            moved: Vec::new(),
            effort: Cell::new(state.belief.len() as u64),
        };
        for &(world, p) in &state.belief {
            trial.add(model, world, p);
        }
        trial
    }

    /// Adds to the probability of a world (or takes from it), and to the scores.
    fn add(&mut self, model: &Model, world: World, p: f64) {
        self.belief[world as usize] += p;
        let scores = &model.worlds.places[world as usize].scores;
        for &(step, share, cured) in scores {
            self.scores[step as usize] += p * match self.order {
                Order::Ratio => share,
                Order::Rank => cured,
            };
        }
        self.lower += p * model.worlds.places[world as usize].lower;
        let work = 1 + scores.len() as u64;
        self.worked(work);
    }

    fn worked(&self, work: u64) {
        self.effort.set(self.effort.get() + work);
    }

    fn may(&self, model: &Model, step: StepId) -> bool {
        model.free(self.used, self.met, step)
    }

    /// Does a remedy; returns the probabilities that it cures something, and everything.
    fn apply(&mut self, model: &Model, step: StepId) -> (f64, f64) {
        let (mut cured, mut works) = (0.0, 0.0);
        let mut moved = std::mem::take(&mut self.moved);
        for &world in &model.worlds.touched[step] {
            let p = self.belief[world as usize];
            let place = &model.worlds.places[world as usize];
            if p > 0.0
                && let Some(found) = place.moves.iter().find(|m| m.step == step)
            {
                cured += p * found.cured;
                works += p * found.works;
                let mut stays = 0.0;
                for &(left, share) in &found.left {
                    if left == world {
                        stays = share;
                    } else {
                        moved.push((left, p * share));
                    }
                }
                self.add(model, world, p * stays - p);
                self.belief[world as usize] = p * stays;
            }
        }
        for (world, p) in moved.drain(..) {
            self.add(model, world, p);
        }
        self.moved = moved;
        self.power = model.power_after(self.power, step);
        (self.used, self.met) = model.mark(self.used, self.met, step, STILL_FAULTY);
        self.worked(model.steps.len() as u64 / 4);
        (cured, works)
    }
}

/// How many steps deep a policy goes through observations that something else waits for.
const LONGEST_WAIT: u8 = 8;
/// A policy goes on observing along outcomes that are at least so probable, each observation counting as a
/// tenth less. Smaller is more accurate and slower; about 0.1 to 0.2 gave the best plans for the time on the problems of
/// `tests/bench/plan.rs` and on the samples.
const LIKELY: f64 = 0.15;
const LOOK: f64 = 0.9;
/// A policy tries so many remedies and observes then. Without this every observation looks better before the likeliest remedy than
/// after it, because only before it the policies know how to observe.
const TRIES: u8 = 1;
/// Work of looking whether a remedy may be done.
const LEAD: u64 = 2;
/// States that one estimate of a repair looks at, about.
const POLICY_STATES: f64 = 40.0;
/// Share of them that goes to what has to be read anyhow.
const AWAITED: f64 = 0.6;
/// The most states that one estimate of an identification looks at.
const IDENTIFY_STATES: usize = 200;

impl Model<'_> {
    /// The best simple policy from here, with or without observations that nothing waits for; adds the work
    /// done to `effort`.
    pub fn simple(&self, state: &State, observing: bool, effort: &mut u64) -> Policy {
        match self.problem.goal {
            Goal::Repair { stop } => {
                let left = Left {
                    waits: LONGEST_WAIT,
                    states: POLICY_STATES,
                    likely: if observing { 1.0 } else { 0.0 },
                    tries: TRIES,
                };
                self.repair(state, stop, left, effort)
            }
            Goal::Identify { .. } => {
                let mut left = IDENTIFY_STATES;
                let minutes = self.identify(state, &mut left, effort);
                Policy {
                    minutes,
                    first: None,
                }
            }
        }
    }

    /// Remedies by probability per minute; perhaps first the observations that a remedy has to wait for, and
    /// those that separate most per minute; perhaps the first remedy before these.
    fn repair(&self, state: &State, stop: f64, left: Left, effort: &mut u64) -> Policy {
        let found = self.sequence(state, Order::Ratio, (stop, Some(stop)), effort);
        let mut best = Policy {
            minutes: found.best,
            first: found.first.filter(|_| found.best < stop),
        };
        if left.states <= 1.0 {
            return best;
        }
        let (likely, may_look) = (left.likely * LOOK, left.likely > LIKELY);
        let awaited = (self.waits && left.waits > 0)
            .then(|| self.awaited_by_remedy(state, effort))
            .flatten();
        let tried = found.first.filter(|_| may_look && left.tries > 0);
        let separating = may_look
            .then(|| self.separating(state, 1, effort).first().copied())
            .flatten();
        let count = [awaited, tried, separating].iter().flatten().count();
        let mut follow = |step, left: Left, share: f64| {
            let states = share * left.states;
            best.or(self.look_first(state, step, stop, Left { states, ..left }, effort));
            best.minutes
        };
        // What has to be read anyhow is read; the rest is a choice.
        let share = 1.0 / count as f64;
        let mut minutes = found.best;
        if let Some(step) = awaited {
            let waits = left.waits - 1;
            minutes = follow(step, Left { waits, ..left }, AWAITED);
        }
        if let Some(step) = tried {
            let tries = left.tries - 1;
            minutes = follow(
                step,
                Left {
                    tries,
                    likely,
                    ..left
                },
                share,
            );
        }
        if let Some(step) = separating
            && self.cost(state.power, step) + self.lower(&state.belief) < minutes
        {
            follow(step, Left { likely, ..left }, share);
        }
        best
    }

    fn look_first(
        &self,
        state: &State,
        step: StepId,
        stop: f64,
        left: Left,
        effort: &mut u64,
    ) -> Policy {
        let act = self.act(state, step);
        *effort += 2 * (act.branches.len() * state.belief.len()) as u64 + 40;
        let rest = act.branches.iter().map(|branch| match &branch.state {
            Some(next) => {
                let likely = left.likely * branch.probability;
                let states = left.states * branch.probability;
                let left = Left {
                    likely,
                    states,
                    ..left
                };
                branch.probability * self.repair(next, stop, left, effort).minutes
            }
            None => 0.0,
        });
        Policy {
            minutes: act.minutes + rest.sum::<f64>(),
            first: Some(step),
        }
    }

    /// Tries remedies in this order; with a limit, gives up once it cannot come below it.
    pub fn sequence(
        &self,
        state: &State,
        order: Order,
        (stop, limit): (f64, Option<f64>),
        effort: &mut u64,
    ) -> Sequence {
        let mut trial = Trial::new(self, state, order);
        let (mut alive, mut spent) = (1.0, 0.0);
        let mut found = Sequence {
            to_the_end: stop,
            best: stop,
            first: None,
        };
        while alive > NOTHING
            && limit.is_none_or(|limit| spent + trial.lower < found.best.min(limit))
            && let Some(step) = self.pick(&trial)
        {
            found.first = found.first.or(Some(step));
            let cost = self.cost(trial.power, step);
            let (cured, works) = trial.apply(self, step);
            spent += alive * cost + cured * self.steps[step].when_cured;
            alive = (alive - works).max(0.0);
            found.to_the_end = spent + alive * stop;
            found.best = found.best.min(found.to_the_end);
        }
        *effort += trial.effort.get();
        found
    }

    /// The remedy that this order takes next. By ratio, a remedy that has to wait for others competes
    /// together with them, and the first of them is taken.
    pub fn pick(&self, trial: &Trial) -> Option<StepId> {
        let mut chosen: Option<(StepId, f64)> = None;
        for step in each(self.usable & !trial.used) {
            if trial.scores[step] <= NOTHING {
                continue;
            }
            let found = match trial.order {
                Order::Rank => trial.may(self, step).then_some((step, trial.scores[step])),
                Order::Ratio => self
                    .lead(trial, step, LONGEST_WAIT)
                    .map(|lead| (lead.first, lead.score / lead.cost.max(1e-9))),
            };
            if let Some((first, score)) = found
                && chosen.is_none_or(|(_, best)| score > best * (1.0 + 1e-9))
            {
                chosen = Some((first, score));
            }
        }
        chosen.map(|(step, _)| step)
    }

    /// A remedy with all the remedies that it has to wait for; `None` when remedies alone do not lead there.
    fn lead(&self, trial: &Trial, step: StepId, depth: u8) -> Option<Lead> {
        let mut lead = Lead {
            first: step,
            score: trial.scores[step],
            cost: self.cost(trial.power, step),
        };
        trial.worked(LEAD);
        if trial.may(self, step) {
            return Some(lead);
        }
        let mut groups = self.unmet(trial.met, step).peekable();
        groups.peek()?;
        for (i, group) in groups.enumerate() {
            let others = self.steps_that_meet(group) & self.usable & !trial.used;
            let fits = |s: &StepId| {
                depth > 0 && self.steps[*s].remedy && self.steps[*s].sets[STILL_FAULTY] & group != 0
            };
            let leads = each(others).filter(fits);
            let leads = leads.filter_map(|s| self.lead(trial, s, depth - 1));
            let cheapest = leads.min_by(|a, b| a.cost.total_cmp(&b.cost))?;
            if i == 0 {
                lead.first = cheapest.first;
            }
            lead.score += cheapest.score;
            lead.cost += cheapest.cost;
        }
        Some(lead)
    }

    /// The first observation that can be made now and that a remedy of use is waiting for, directly or
    /// through other observations.
    pub fn awaited_by_remedy(&self, state: &State, effort: &mut u64) -> Option<StepId> {
        let mut wanted = each(state.open)
            .filter(|&s| self.steps[s].remedy)
            .fold(0, |set, s| set | bit(s));
        let mut known = wanted;
        while wanted != 0 {
            let mut next = 0;
            for step in each(wanted) {
                *effort += LEAD;
                for group in self.unmet(state.met, step) {
                    next |= self.steps_that_meet(group) & self.usable & !state.used;
                }
            }
            let ready = each(next).find(|&s| !self.steps[s].remedy && self.may(state, s));
            if ready.is_some() {
                return ready;
            }
            wanted = next & !known;
            known |= next;
        }
        None
    }

    /// Observes by greatest gain per minute until it is identified.
    fn identify(&self, state: &State, left: &mut usize, effort: &mut u64) -> f64 {
        if self.identified(state) {
            return 0.0;
        }
        *effort += (state.belief.len() * state.open.count_ones() as usize) as u64 + 4;
        if *left == 0 {
            return each(state.open)
                .map(|s| self.cost(state.power, s) + self.problem.power_change)
                .sum();
        }
        *left -= 1;
        let mut chosen: Option<(StepId, f64)> = None;
        for step in self.moves(state) {
            let score = self.gain(state, step) / self.cost(state.power, step).max(1e-9);
            if chosen.is_none_or(|(_, best)| score > best + 1e-9 * best.abs()) {
                chosen = Some((step, score));
            }
        }
        let Some((step, _)) = chosen else { return 0.0 };
        let act = self.act(state, step);
        let mut minutes = act.minutes;
        for branch in act.branches {
            if let Some(next) = &branch.state {
                minutes += branch.probability * self.identify(next, left, effort);
            }
        }
        minutes
    }

    /// Whether an identification is at its end: one hypothesis is certain enough, or nothing that can be
    /// done separates what remains.
    pub fn identified(&self, state: &State) -> bool {
        let Goal::Identify { certainty } = self.problem.goal else {
            return false;
        };
        state.belief.iter().any(|&(_, p)| p >= certainty - 1e-12)
            || self.moves(state).next().is_none()
    }

    /// Expected information of a step about the hypotheses, in bits: the entropy now less the mean entropy
    /// afterwards. A machine that works counts as entropy 0.
    pub fn gain(&self, state: &State, step: StepId) -> f64 {
        let after: f64 = self
            .act(state, step)
            .branches
            .iter()
            .filter_map(|b| b.state.as_ref().map(|s| b.probability * entropy(&s.belief)))
            .sum();
        entropy(&state.belief) - after
    }
}

/// Entropy in bits, `-sum p log2 p`, of a belief that adds up to 1.
pub(super) fn entropy(belief: &[(World, f64)]) -> f64 {
    belief
        .iter()
        .filter(|(_, p)| *p > 0.0)
        .map(|(_, p)| -p * p.log2())
        .sum()
}
