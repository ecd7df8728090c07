//! Simple policies whose cost can be worked out at once: they close the search where it is cut off, and one
//! of them is what a plan is compared with.

use super::model::{Model, NOTHING, State, World, bit, each, hypothesis_of};
use super::problem::{STILL_FAULTY, StepId};

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
}

/// A remedy with those it has to wait for: the first to do, and the sums of all.
struct Lead {
    first: StepId,
    score: f64,
    cost: f64,
}

/// How many steps deep a policy goes through observations that something else waits for.
const LONGEST_WAIT: u8 = 8;
/// The most states that one estimate of an identification looks at.
const IDENTIFY_STATES: usize = 200;

impl Model<'_> {
    /// Minutes of the best simple policy from here; adds the work done to `effort`.
    pub fn simple(&self, state: &State, effort: &mut u64) -> f64 {
        match self.problem.goal {
            super::problem::Goal::Repair { stop } => self.repair(state, stop, 0, effort),
            super::problem::Goal::Identify { .. } => {
                let mut left = IDENTIFY_STATES;
                self.identify(state, &mut left, effort)
            }
        }
    }

    /// The better of the two orders of remedies; when a remedy has to wait for an observation, perhaps after
    /// making that one first.
    fn repair(&self, state: &State, stop: f64, depth: u8, effort: &mut u64) -> f64 {
        let mut best = self.sequence(state, stop, Order::Ratio, effort).best;
        best = best.min(self.sequence(state, stop, Order::Rank, effort).best);
        if !self.waits || depth >= LONGEST_WAIT {
            return best;
        }
        let Some(first) = self.awaited_by_remedy(state) else {
            return best;
        };
        let (mut minutes, branches) = self.act(state, first);
        for branch in &branches {
            let Some(next) = &branch.state else { continue };
            if minutes >= best {
                break;
            }
            minutes += branch.probability * self.repair(next, stop, depth + 1, effort);
        }
        best.min(minutes)
    }

    /// Tries remedies in this order.
    pub fn sequence(&self, state: &State, stop: f64, order: Order, effort: &mut u64) -> Sequence {
        let mut belief: Vec<(World, f64)> = state.belief.clone();
        let mut left = Vec::with_capacity(belief.len());
        let (mut used, mut met, mut power) = (state.used, state.met, state.power);
        let (mut alive, mut spent) = (1.0, 0.0);
        let mut found = Sequence {
            to_the_end: stop,
            best: stop,
        };
        let mut scores = vec![0.0; self.steps.len()];
        loop {
            *effort += 2 * belief.len() as u64 + 4;
            self.score(&belief, order, &mut scores);
            let now = State {
                belief: Vec::new(),
                used,
                open: 0,
                met,
                power,
            };
            let Some(step) = self.pick(&now, &scores, order, NOTHING * alive) else {
                break;
            };
            let cost = self.cost(power, step);
            let (cured, works) = self.apply(&belief, step, &mut left);
            spent += alive * cost + cured * self.steps[step].when_cured;
            alive -= works;
            power = self.power_after(power, step);
            (used, met) = self.mark(used, met, step, STILL_FAULTY);
            std::mem::swap(&mut belief, &mut left);
            if alive <= NOTHING {
                alive = 0.0;
            }
            found.best = found.best.min(spent + alive * stop);
            found.to_the_end = spent + alive * stop;
            if alive == 0.0 {
                break;
            }
        }
        found
    }

    /// The remedy that this order takes next. By ratio, a remedy that has to wait for others competes
    /// together with them, and the first of them is taken.
    fn pick(&self, now: &State, scores: &[f64], order: Order, nothing: f64) -> Option<StepId> {
        let mut chosen: Option<(StepId, f64)> = None;
        for step in each(self.usable & !now.used).filter(|&s| scores[s] > nothing) {
            let found = match order {
                Order::Rank => self.may(now, step).then_some((step, scores[step])),
                Order::Ratio => self
                    .lead(now, scores, step, LONGEST_WAIT)
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

    /// A remedy with all the remedies that it has to wait for.
    fn lead(&self, now: &State, scores: &[f64], step: StepId, depth: u8) -> Option<Lead> {
        let mut lead = Lead {
            first: step,
            score: scores[step],
            cost: self.cost(now.power, step),
        };
        if self.may(now, step) {
            return Some(lead);
        }
        let mut blocked = false;
        for (i, group) in self.unmet(now, step).enumerate() {
            let others = self.steps_that_meet(group) & self.usable & !now.used;
            let cheapest = each(others)
                .filter(|&s| depth > 0 && self.steps[s].remedy && self.fails_into(s, group))
                .filter_map(|s| self.lead(now, scores, s, depth - 1))
                .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
            if i == 0 {
                lead.first = cheapest.first;
            }
            lead.score += cheapest.score;
            lead.cost += cheapest.cost;
            blocked = true;
        }
        // Nothing to wait for, and still not allowed: it never will be by remedies alone.
        blocked.then_some(lead)
    }

    /// By remedy: the probability that it cures something, by the measure of this order.
    fn score(&self, belief: &[(World, f64)], order: Order, scores: &mut [f64]) {
        scores.fill(0.0);
        for &(w, p) in belief {
            let bits = super::model::bits_of(w);
            let share = match order {
                Order::Ratio => p / f64::from(bits.count_ones().max(1)),
                Order::Rank => p,
            };
            for &(step, unit, cure) in self
                .remedies
                .get(hypothesis_of(w))
                .map_or(&[][..], Vec::as_slice)
            {
                if bits & unit != 0 {
                    scores[step] += share * cure;
                }
            }
        }
    }

    /// The first observation that can be made now and that a remedy of use is waiting for, directly or
    /// through other observations.
    fn awaited_by_remedy(&self, state: &State) -> Option<StepId> {
        let mut wanted = each(state.open)
            .filter(|&s| self.steps[s].remedy)
            .fold(0, |set, s| set | bit(s));
        let mut known = wanted;
        while wanted != 0 {
            let mut next = 0;
            for step in each(wanted) {
                for group in self.unmet(state, step) {
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
        for step in each(state.open).filter(|&s| self.may(state, s)) {
            let score = self.gain(state, step) / self.cost(state.power, step).max(1e-9);
            if chosen.is_none_or(|(_, best)| score > best + 1e-9 * best.abs()) {
                chosen = Some((step, score));
            }
        }
        let Some((step, _)) = chosen else { return 0.0 };
        let (mut minutes, branches) = self.act(state, step);
        for branch in branches {
            if let Some(next) = &branch.state {
                minutes += branch.probability * self.identify(next, left, effort);
            }
        }
        minutes
    }

    /// Whether an identification is at its end: one hypothesis is certain enough, or nothing that can be
    /// done separates what remains.
    pub fn identified(&self, state: &State) -> bool {
        let super::problem::Goal::Identify { certainty } = self.problem.goal else {
            return false;
        };
        state.belief.iter().any(|&(_, p)| p >= certainty - 1e-12)
            || !each(state.open).any(|s| self.may(state, s))
    }

    /// Expected information of a step about the hypotheses, in bits: the entropy now less the mean entropy
    /// afterwards. A machine that works counts as entropy 0.
    pub fn gain(&self, state: &State, step: StepId) -> f64 {
        let after: f64 = self
            .act(state, step)
            .1
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
