//! An exhaustive search written apart from the planner (plain sets of units, no bounds, no policies), so that
//! the two can only agree by both being right.

use std::collections::{BTreeMap, HashMap};

use whichsocket::plan::{
    Condition, Cure, Goal, Hypothesis, Kind, Planner, Power, Problem, State, StepId,
};

/// Hypothesis (its number of the list, or the list's length for the rest) and the set of units still at fault
/// (bit u for unit u).
type World = (usize, u32);

/// Where a plan stands, in plain maps.
#[derive(Clone)]
pub struct Position {
    belief: Vec<(World, f64)>,
    /// The outcome of every step done and not reopened.
    done: BTreeMap<StepId, usize>,
    power: Power,
}

/// The exhaustive search.
pub struct Oracle<'p> {
    problem: &'p Problem,
    known: HashMap<Vec<u64>, f64>,
}

impl<'p> Oracle<'p> {
    pub fn new(problem: &'p Problem) -> Self {
        Self {
            problem,
            known: HashMap::new(),
        }
    }

    pub fn start(&self) -> Position {
        let listed = self.problem.hypotheses.iter().enumerate();
        let mut belief: Vec<(World, f64)> = listed
            .map(|(h, hypothesis)| {
                (
                    self.name(h, set(&hypothesis.faulty)),
                    hypothesis.probability,
                )
            })
            .collect();
        belief.push(((self.problem.hypotheses.len(), 0), self.problem.unexplored));
        belief.retain(|(_, p)| *p > 0.0);
        Position {
            belief,
            done: BTreeMap::new(),
            power: self.problem.power,
        }
    }

    /// A set of units that is a hypothesis of the list is that hypothesis, else it stays with its own.
    fn name(&self, hypothesis: usize, units: u32) -> World {
        let whole = set(&self.problem.hypotheses[hypothesis].faulty);
        let same = |h: &Hypothesis| set(&h.faulty) == units;
        let mut listed = self
            .problem
            .hypotheses
            .iter()
            .enumerate()
            .filter(|(_, h)| same(h))
            .map(|(i, _)| i);
        match (listed.next(), listed.next()) {
            (Some(only), None) if units != whole => (only, units),
            _ => (hypothesis, units),
        }
    }

    pub fn allowed(&self, position: &Position, step: StepId) -> bool {
        let holds = |c: &Condition| {
            position
                .done
                .get(&c.step)
                .is_some_and(|o| c.outcomes.is_empty() || c.outcomes.contains(o))
        };
        let rule = &self.problem.steps[step].rule;
        !position.done.contains_key(&step)
            && rule.after.iter().all(|group| group.iter().any(holds))
            && !rule.never_after.iter().any(holds)
    }

    /// Minutes, and by outcome the probability and the position (`None`: the machine works).
    pub fn act(
        &self,
        position: &Position,
        step: StepId,
    ) -> (f64, Vec<(usize, f64, Option<Position>)>) {
        let given = &self.problem.steps[step];
        let mut minutes = given.cost.minutes + given.cost.hazard;
        let differs = matches!(
            (position.power, given.power),
            (Power::On, Power::Off) | (Power::Off, Power::On)
        );
        if differs {
            minutes += self.problem.power_change;
        }
        let mut next = position.clone();
        if given.power != Power::Either {
            next.power = given.power;
        }
        match &given.kind {
            Kind::Observe { rows, unexplored } => {
                assert!(
                    unexplored.is_none(),
                    "the random models leave this to the planner"
                );
                let outcomes = (0..given.outcomes()).filter_map(|o| {
                    let mut next = next.clone();
                    for ((h, _), p) in &mut next.belief {
                        *p *= if *h < rows.len() {
                            rows[*h][o]
                        } else {
                            self.mean(rows, o)
                        };
                    }
                    next.done.insert(step, o);
                    let p = settle(&mut next.belief);
                    (p > 1e-13).then_some((o, p, Some(next)))
                });
                (minutes, outcomes.collect())
            }
            Kind::Remedy {
                cures,
                verify,
                when_cured,
                reopens,
            } => {
                if given.power == Power::Off {
                    next.power = Power::On;
                }
                let mut works = 0.0;
                let mut cured = 0.0;
                next.belief.clear();
                for &((h, units), p) in &position.belief {
                    for (left, share) in remedied(units, cures) {
                        if left != units {
                            cured += p * share;
                        }
                        if left == 0 && units != 0 {
                            works += p * share;
                        } else if share > 0.0 {
                            let world = if left == units {
                                (h, left)
                            } else {
                                self.name(h, left)
                            };
                            next.belief.push((world, p * share));
                        }
                    }
                }
                next.done.insert(step, 1);
                next.done.retain(|s, _| !reopens.contains(s));
                let mut outcomes = vec![(0, works, None)];
                let p = settle(&mut next.belief);
                if p > 1e-13 {
                    outcomes.push((1, p, Some(next)));
                }
                (minutes + verify + cured * when_cured, outcomes)
            }
        }
    }

    fn mean(&self, rows: &[Vec<f64>], outcome: usize) -> f64 {
        let hypotheses = &self.problem.hypotheses;
        let all: f64 = hypotheses.iter().map(|h| h.probability).sum();
        hypotheses
            .iter()
            .zip(rows)
            .map(|(h, row)| h.probability * row[outcome])
            .sum::<f64>()
            / all
    }

    /// Minutes of the best plan, every one of them tried.
    pub fn best(&mut self, position: &Position) -> f64 {
        let key = key(position);
        if let Some(&known) = self.known.get(&key) {
            return known;
        }
        let steps: Vec<StepId> = (0..self.problem.steps.len())
            .filter(|&s| self.allowed(position, s))
            .collect();
        let mut best = match self.problem.goal {
            Goal::Repair { stop } => stop,
            Goal::Identify { certainty } => {
                let known = position.belief.iter().any(|(_, p)| *p >= certainty - 1e-12);
                if known || !steps.iter().any(|&s| self.separates(position, s)) {
                    0.0
                } else {
                    f64::INFINITY
                }
            }
        };
        if best > 0.0 {
            for step in steps {
                let (mut minutes, outcomes) = self.act(position, step);
                // A step that changes nothing would be tried for ever only if it could be repeated: it cannot.
                for (_, p, next) in outcomes {
                    minutes += next.map_or(0.0, |next| p * self.best(&next));
                }
                best = best.min(minutes);
            }
        }
        self.known.insert(key, best);
        best
    }

    fn separates(&self, position: &Position, step: StepId) -> bool {
        self.act(position, step).1.len() > 1
    }

    /// True cost of doing at every turn what the planner says, reckoned by this search's own arithmetic.
    pub fn follow(&self, planner: &Planner, state: &State, position: &Position) -> f64 {
        let Some(next) = planner.next(state) else {
            return 0.0;
        };
        let Some(step) = next else {
            let Goal::Repair { stop } = self.problem.goal else {
                panic!("stopped an identification")
            };
            return stop;
        };
        assert!(
            self.allowed(position, step),
            "step {step} is not allowed here"
        );
        let (minutes, outcomes) = self.act(position, step);
        let (_, after) = planner.act(state, step).expect("allowed");
        let rest = outcomes.iter().map(|(outcome, p, next)| {
            let there = after.iter().find(|a| a.outcome == *outcome);
            match (next, there.and_then(|a| a.state.as_ref())) {
                (Some(next), Some(state)) => p * self.follow(planner, state, next),
                (None, None) => 0.0,
                (next, state) => panic!(
                    "outcome {outcome} of step {step}: {} but {}",
                    next.is_some(),
                    state.is_some()
                ),
            }
        });
        minutes + rest.sum::<f64>()
    }
}

/// Units as a set: bit u for unit u.
pub fn set(units: &[u32]) -> u32 {
    units.iter().fold(0, |set, u| set | 1 << u)
}

/// What is left of the units after a remedy, with probabilities.
fn remedied(units: u32, cures: &[Cure]) -> Vec<(u32, f64)> {
    let mut found = vec![(units, 1.0)];
    for cure in cures.iter().filter(|c| units >> c.unit & 1 == 1) {
        let missed = found
            .iter()
            .map(|&(left, p)| (left, p * (1.0 - cure.probability)));
        let cured = found
            .iter()
            .map(|&(left, p)| (left & !(1 << cure.unit), p * cure.probability));
        found = missed.chain(cured).collect();
    }
    found
}

/// Adds up equal worlds and makes the probabilities add up to 1; returns what they added up to.
fn settle(belief: &mut Vec<(World, f64)>) -> f64 {
    let sum: f64 = belief.iter().map(|(_, p)| p).sum();
    belief.sort_by_key(|(world, _)| *world);
    let mut settled: Vec<(World, f64)> = Vec::new();
    for &(world, p) in belief.iter() {
        match settled.last_mut() {
            Some((last, total)) if *last == world => *total += p / sum,
            _ => settled.push((world, p / sum)),
        }
    }
    settled.retain(|(_, p)| *p > 1e-13);
    *belief = settled;
    sum
}

fn key(position: &Position) -> Vec<u64> {
    let mut key = vec![position.power as u64];
    for (&step, &outcome) in &position.done {
        key.extend([step as u64, outcome as u64]);
    }
    key.push(u64::MAX);
    for ((h, units), p) in &position.belief {
        key.extend([*h as u64, u64::from(*units), (p * 1e11).round() as u64]);
    }
    key
}
