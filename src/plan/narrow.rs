//! Which steps promise most: the few that the search follows when it looks far ahead.

use super::model::{Model, State};
use super::problem::{Goal, StepId};
use super::rollout::{Order, Trial};
use super::tables::World;

/// So many remedies and observations are followed.
const REMEDIES: usize = 2;
const OBSERVATIONS: usize = 3;

impl Model<'_> {
    /// The remedies that cure most per minute, the observations that separate most per minute, and whatever a
    /// remedy is waiting for; adds the work done to `effort`.
    pub fn promising(&self, state: &State, effort: &mut u64) -> Vec<StepId> {
        let mut found = Vec::with_capacity(REMEDIES + OBSERVATIONS + 1);
        if let Goal::Repair { .. } = self.problem.goal {
            let mut trial = Trial::new(self, state, Order::Ratio);
            for _ in 0..REMEDIES {
                let Some(step) = self.pick(&trial) else { break };
                found.push(step);
                trial.scores[step] = 0.0;
            }
            *effort += trial.effort.get();
            if self.waits {
                found.extend(self.awaited_by_remedy(state, effort));
            }
        }
        found.extend(self.separating(state, OBSERVATIONS, effort));
        found.sort_unstable();
        found.dedup();
        found
    }

    /// The few observations that separate most per minute.
    pub fn separating(&self, state: &State, few: usize, effort: &mut u64) -> Vec<StepId> {
        let mut found: Vec<(f64, StepId)> = Vec::new();
        for step in self.moves(state).filter(|&s| !self.steps[s].remedy) {
            *effort += (state.belief.len() * self.steps[step].outcomes) as u64;
            let gained = self.separation(&state.belief, step);
            found.push((gained / self.cost(state.power, step).max(1e-9), step));
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        found.iter().take(few).map(|found| found.1).collect()
    }

    /// How much an observation separates: the growth of the mean of `sum p^2`, the probability that two
    /// machines with this belief have the same fault. Ranks much as the gain in bits does, without logarithms.
    fn separation(&self, belief: &[(World, f64)], step: StepId) -> f64 {
        let rows = &self.steps[step].rows;
        let outcomes = self.steps[step].outcomes;
        let before: f64 = belief.iter().map(|(_, p)| p * p).sum();
        let after = (0..outcomes).map(|o| {
            let (mut sum, mut squares) = (0.0, 0.0);
            for &(world, p) in belief {
                let joint = p * rows[self.worlds.hypothesis(world) * outcomes + o];
                sum += joint;
                squares += joint * joint;
            }
            if sum > 0.0 { squares / sum } else { 0.0 }
        });
        after.sum::<f64>() - before
    }
}
