//! Shared by the planner's tests: seeded random models, and an exhaustive search written apart from the
//! planner (plain maps of units, no bounds, no policies), so that the two can only agree by both being right.

use std::collections::{BTreeMap, HashMap};

use whichsocket::plan::{
    Condition, Cost, Cure, Goal, Hypothesis, Kind, Planner, Power, Problem, Rule, State, Step,
    StepId,
};

/// Splitmix64 (Steele, Lea, Flood 2014): a small generator whose numbers never change with a library.
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Costs as on a bench: small ones often, large ones sometimes.
    pub fn minutes(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }
}

/// How large and how involved a random model is.
#[derive(Clone, Copy)]
pub struct Shape {
    pub suspects: usize,
    pub steps: usize,
    /// Pairs of faults, imperfect cures, the supply, rules, an unexplored rest.
    pub involved: bool,
}

/// A random problem of repair: unequal costs, noisy outcomes.
pub fn random_repair(random: &mut Random, shape: Shape) -> Problem {
    let mut hypotheses: Vec<Hypothesis> = (0..shape.suspects as u32)
        .map(|u| Hypothesis {
            probability: random.minutes(0.02, 1.0),
            faulty: vec![u],
        })
        .collect();
    if shape.involved {
        for _ in 0..random.below(4) {
            let (a, b) = (
                random.below(shape.suspects) as u32,
                random.below(shape.suspects) as u32,
            );
            if a != b {
                hypotheses.push(Hypothesis {
                    probability: random.between(0.01, 0.2),
                    faulty: vec![a, b],
                });
            }
        }
    }
    let unexplored = if shape.involved && random.chance(0.3) {
        random.between(0.0, 0.1)
    } else {
        0.0
    };
    normalise(&mut hypotheses, 1.0 - unexplored);
    let mut steps = Vec::new();
    let observations = 1 + random.below(5.min(shape.steps - 1));
    for _ in 0..observations {
        steps.push(random_observation(random, &hypotheses));
    }
    let mut units: Vec<u32> = (0..shape.suspects as u32).collect();
    while steps.len() < shape.steps && !units.is_empty() {
        let unit = units.remove(random.below(units.len()));
        steps.push(random_remedy(random, unit, shape));
    }
    while steps.len() < shape.steps && shape.involved {
        let unit = random.below(shape.suspects) as u32;
        steps.push(random_remedy(random, unit, shape));
    }
    if shape.involved {
        involve(random, &mut steps);
    }
    // The order of the steps must not help.
    Problem {
        hypotheses,
        unexplored,
        steps,
        goal: Goal::Repair {
            stop: random.minutes(40.0, 400.0),
        },
        power: if shape.involved {
            Power::Off
        } else {
            Power::Either
        },
        power_change: if shape.involved && random.chance(0.5) {
            random.between(0.2, 2.0)
        } else {
            0.0
        },
    }
}

/// A random problem of identification by sure tests with unequal costs.
pub fn random_identification(random: &mut Random, shape: Shape) -> Problem {
    let mut hypotheses: Vec<Hypothesis> = (0..shape.suspects)
        .map(|_| Hypothesis {
            probability: random.minutes(0.02, 1.0),
            faulty: vec![],
        })
        .collect();
    normalise(&mut hypotheses, 1.0);
    let steps = (0..shape.steps)
        .map(|_| {
            let minutes = random.minutes(0.5, 8.0);
            let rows = (0..shape.suspects).map(|_| {
                if random.chance(0.5) {
                    vec![1.0, 0.0]
                } else {
                    vec![0.0, 1.0]
                }
            });
            Step::observe(minutes, rows.collect())
        })
        .collect();
    let goal = Goal::Identify { certainty: 1.0 };
    Problem {
        hypotheses,
        unexplored: 0.0,
        steps,
        goal,
        power: Power::Either,
        power_change: 0.0,
    }
}

fn normalise(hypotheses: &mut [Hypothesis], to: f64) {
    let sum: f64 = hypotheses.iter().map(|h| h.probability).sum();
    hypotheses
        .iter_mut()
        .for_each(|h| h.probability *= to / sum);
}

fn random_observation(random: &mut Random, hypotheses: &[Hypothesis]) -> Step {
    let outcomes = 2 + usize::from(random.chance(0.25));
    let rows = hypotheses.iter().map(|_| {
        let usual = random.below(outcomes);
        let sure = if random.chance(0.3) {
            1.0
        } else {
            random.between(0.6, 1.0)
        };
        let other = (1.0 - sure) / (outcomes - 1) as f64;
        (0..outcomes)
            .map(|o| if o == usual { sure } else { other })
            .collect()
    });
    let rows = rows.collect();
    Step::observe(random.minutes(0.5, 8.0), rows)
}

fn random_remedy(random: &mut Random, unit: u32, shape: Shape) -> Step {
    let cure = if shape.involved && random.chance(0.5) {
        random.between(0.3, 0.98)
    } else {
        1.0
    };
    let verify = random.between(0.5, 3.0);
    let mut step = Step::remedy(unit, random.minutes(2.0, 40.0), cure, verify);
    if shape.involved && random.chance(0.3) {
        let other = random.below(shape.suspects) as u32;
        let mut cures = vec![Cure {
            unit,
            probability: cure,
        }];
        if other != unit {
            cures.push(Cure {
                unit: other,
                probability: random.between(0.1, 1.0),
            });
        }
        let when_cured = random.between(0.0, 10.0);
        step.kind = Kind::Remedy {
            cures,
            verify,
            when_cured,
            reopens: Vec::new(),
        };
    }
    step
}

/// Hazards, money, the supply, and a few rules (always on earlier steps, so that none waits for itself).
fn involve(random: &mut Random, steps: &mut [Step]) {
    for s in 0..steps.len() {
        steps[s].cost = Cost {
            hazard: random.between(0.0, 1.0),
            ..steps[s].cost
        };
        steps[s].power = [Power::Either, Power::Off, Power::On][random.below(3)];
        if s > 0 && random.chance(0.2) {
            let step = random.below(s);
            let outcomes = if random.chance(0.5) {
                vec![random.below(steps[step].outcomes())]
            } else {
                Vec::new()
            };
            steps[s].rule = Rule {
                after: vec![vec![Condition { step, outcomes }]],
                never_after: Vec::new(),
            };
        }
        if s > 0 && random.chance(0.1) {
            let step = random.below(s);
            let condition = Condition {
                step,
                outcomes: vec![random.below(steps[step].outcomes())],
            };
            steps[s].rule.never_after.push(condition);
        }
        let reopened = random.below(steps.len());
        let observation = !steps[reopened].is_remedy();
        if let Kind::Remedy { reopens, .. } = &mut steps[s].kind
            && observation
            && random.chance(0.15)
        {
            reopens.push(reopened);
        }
    }
}

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

fn set(units: &[u32]) -> u32 {
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
