//! Shared by the planner's tests: seeded random models here, an exhaustive search in [`oracle`].

use whichsocket::plan::{
    Condition, Cost, Cure, Goal, Hypothesis, Kind, Power, Problem, Rule, Step,
};

pub mod oracle;

use oracle::set;

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
    /// Cheap observations that tell much, dear remedies: where looking ahead pays.
    pub sharp: bool,
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
        steps.push(random_observation(random, &hypotheses, shape));
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

fn random_observation(random: &mut Random, hypotheses: &[Hypothesis], shape: Shape) -> Step {
    let outcomes = 2 + usize::from(random.chance(0.25));
    let rows = hypotheses.iter().map(|_| {
        let usual = random.below(outcomes);
        let sure = if random.chance(0.3) {
            1.0
        } else {
            random.between(if shape.sharp { 0.85 } else { 0.6 }, 1.0)
        };
        let other = (1.0 - sure) / (outcomes - 1) as f64;
        (0..outcomes)
            .map(|o| if o == usual { sure } else { other })
            .collect()
    });
    let rows = rows.collect();
    let dearest = if shape.sharp { 3.0 } else { 8.0 };
    Step::observe(random.minutes(0.5, dearest), rows)
}

fn random_remedy(random: &mut Random, unit: u32, shape: Shape) -> Step {
    let cure = if shape.involved && random.chance(0.5) {
        random.between(0.3, 0.98)
    } else {
        1.0
    };
    let verify = random.between(0.5, 3.0);
    let mut step = Step::remedy(
        unit,
        random.minutes(if shape.sharp { 8.0 } else { 2.0 }, 40.0),
        cure,
        verify,
    );
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

/// A problem of the size that a board gives: single faults and pairs; of the steps, two thirds at most are
/// remedies (a cheap one that seldom cures and a dear one that mostly does, for each suspect), the rest
/// observations of which each concerns some of the suspects.
pub fn bench_sized(
    random: &mut Random,
    suspects: usize,
    steps: usize,
    hypotheses: usize,
) -> Problem {
    let mut listed: Vec<Hypothesis> = (0..suspects as u32)
        .map(|u| Hypothesis {
            probability: random.minutes(0.02, 1.0),
            faulty: vec![u],
        })
        .collect();
    while listed.len() < hypotheses {
        let (a, b) = (random.below(suspects), random.below(suspects));
        let same = |h: &Hypothesis| set(&h.faulty) == 1 << a | 1 << b;
        if a != b && !listed.iter().any(same) {
            let probability = 0.1 * listed[a].probability * listed[b].probability;
            listed.push(Hypothesis {
                probability,
                faulty: vec![a as u32, b as u32],
            });
        }
    }
    normalise(&mut listed, 0.99);
    let mut all = Vec::new();
    for unit in (0..suspects as u32).take(steps / 3) {
        all.push(Step::remedy(
            unit,
            random.minutes(1.0, 3.0),
            random.between(0.05, 0.3),
            2.0,
        ));
        all.push(Step::remedy(
            unit,
            random.minutes(4.0, 40.0),
            random.between(0.9, 1.0),
            2.0,
        ));
    }
    while all.len() < steps {
        // Each suspect decides on its own how it would show; of two the worse shows.
        let shows: Vec<f64> = (0..suspects)
            .map(|_| {
                if random.chance(0.4) {
                    random.between(0.7, 1.0)
                } else {
                    0.02
                }
            })
            .collect();
        let row = |h: &Hypothesis| {
            let passes: f64 = h.faulty.iter().map(|&u| 1.0 - shows[u as usize]).product();
            vec![passes, 1.0 - passes]
        };
        all.push(Step::observe(
            random.minutes(0.5, 8.0),
            listed.iter().map(row).collect(),
        ));
    }
    Problem {
        hypotheses: listed,
        unexplored: 0.01,
        steps: all,
        goal: Goal::Repair { stop: 240.0 },
        power: Power::Off,
        power_change: 0.5,
    }
}
