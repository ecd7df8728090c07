//! The planner against published and independently worked examples.

use whichsocket::plan::{
    Cure, Goal, Hypothesis, Kind, Options, Plan, Planner, Power, Problem, Step, StepId, Tree, plan,
};

const EXACT: f64 = 1e-9;

fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected}"
    );
}

fn problem(hypotheses: Vec<Hypothesis>, steps: Vec<Step>, goal: Goal) -> Problem {
    Problem {
        hypotheses,
        unexplored: 0.0,
        steps,
        goal,
        power: Power::Either,
        power_change: 0.0,
    }
}

fn hypothesis(probability: f64, faulty: &[u32]) -> Hypothesis {
    Hypothesis {
        probability,
        faulty: faulty.to_vec(),
    }
}

/// A test that gives outcome `outcomes[h]` (of `n`) for certain.
fn certain(minutes: f64, n: usize, outcomes: &[usize]) -> Step {
    let row = |&outcome: &usize| {
        (0..n)
            .map(|o| if o == outcome { 1.0 } else { 0.0 })
            .collect()
    };
    Step::observe(minutes, outcomes.iter().map(row).collect())
}

fn first(plan: &Plan) -> Option<StepId> {
    plan.next().and_then(|choice| choice.step)
}

// Pattipati, Alexandridis, Application of heuristic search and information theory to sequential fault
// diagnosis, IEEE Trans. SMC 20(4), 1990: six states, five tests, optimum 2.18.
fn sequencing(costs: [f64; 5]) -> Problem {
    let prior = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12];
    let table = [
        [0, 0, 0, 0, 0],
        [0, 1, 0, 0, 1],
        [0, 0, 1, 1, 0],
        [1, 0, 0, 1, 1],
        [1, 1, 0, 0, 0],
        [1, 1, 1, 1, 0],
    ];
    let steps = (0..5)
        .map(|t| certain(costs[t], 2, &table.map(|row| row[t])))
        .collect();
    problem(
        prior.iter().map(|&p| hypothesis(p, &[])).collect(),
        steps,
        Goal::Identify { certainty: 1.0 },
    )
}

fn branch(tree: &Tree, outcome: usize) -> Option<&Tree> {
    tree.branches
        .iter()
        .find(|b| b.0 == outcome)
        .and_then(|b| b.2.as_ref())
}

#[test]
fn sequencing_example_costs_2_18() {
    let options = Options {
        tree: 5,
        runners_up: 4,
        ..Options::default()
    };
    let plan = plan(&sequencing([1.0; 5]), &options).unwrap();
    assert!(plan.exact);
    assert_near(plan.minutes, 2.18, EXACT, "optimum");
    assert_near(
        plan.entropy,
        1.454873363593605,
        EXACT,
        "prior entropy in bits",
    );
    // The published tree: t2; pass: t4 (fail: t1); fail: t3 (pass: t1).
    let tree = plan.tree.as_ref().unwrap();
    assert_eq!(tree.step, Some(1));
    let (pass, fail) = (branch(tree, 0).unwrap(), branch(tree, 1).unwrap());
    assert_eq!((pass.step, fail.step), (Some(3), Some(2)));
    assert_eq!(branch(pass, 1).unwrap().step, Some(0));
    assert_eq!(branch(fail, 0).unwrap().step, Some(0));
    assert!(branch(pass, 0).is_none() && branch(fail, 1).is_none());
    let gains = [0.841465, 0.680077, 0.584239, 0.795040, 0.499916];
    assert_eq!(plan.choices.len(), 5);
    for choice in &plan.choices {
        assert_near(
            choice.gain,
            gains[choice.step.unwrap()],
            5e-7,
            "gain at the root in bits",
        );
    }
}

#[test]
fn one_step_gain_costs_2_86() {
    // The baseline of an identification observes by greatest gain per minute.
    let plan = plan(&sequencing([1.0; 5]), &Options::default()).unwrap();
    assert_near(plan.baseline, 2.86, EXACT, "one-step gain");
    assert_near(plan.saves(), 0.68, EXACT, "saved against it");
}

#[test]
fn sequencing_example_with_unequal_costs() {
    let plan = plan(&sequencing([2.0, 1.0, 3.0, 1.0, 1.0]), &Options::default()).unwrap();
    assert!(plan.exact);
    assert_near(plan.minutes, 2.18, EXACT, "optimum");
    assert_near(plan.baseline, 2.18, EXACT, "gain per cost");
    // t2 and t4 tie at 2.18: the earlier step goes first.
    assert_eq!(first(&plan), Some(1));
}

// Heckerman, Breese, Rommelse, Decision-theoretic troubleshooting, CACM 38(3), 1995; the simple case is due
// to Kadane and Simon. Perfect check before repair: `cost` is the check's, `when_cured` the repair's.
fn checked_repair(unit: u32, check: f64, repair: f64) -> Step {
    let mut step = Step::remedy(unit, check, 1.0, 0.0);
    let cures = vec![Cure {
        unit,
        probability: 1.0,
    }];
    step.kind = Kind::Remedy {
        cures,
        verify: 0.0,
        when_cured: repair,
        reopens: Vec::new(),
    };
    step
}

fn example_1(observation: Option<f64>) -> Problem {
    let hypotheses = [0.50, 0.30, 0.15, 0.05]
        .iter()
        .zip(0..)
        .map(|(&p, unit)| hypothesis(p, &[unit]))
        .collect();
    let checks = [(10.0, 60.0), (2.0, 40.0), (1.0, 15.0), (4.0, 5.0)];
    let mut steps: Vec<Step> = checks
        .iter()
        .zip(0..)
        .map(|(&(co, cr), unit)| checked_repair(unit, co, cr))
        .collect();
    if let Some(minutes) = observation {
        steps.push(Step::observe(
            minutes,
            [0.1, 0.9, 0.9, 0.9]
                .iter()
                .map(|&p| vec![p, 1.0 - p])
                .collect(),
        ));
    }
    problem(hypotheses, steps, Goal::Repair { stop: 1000.0 })
}

fn sequence(plan: &Plan) -> Vec<StepId> {
    let mut found = Vec::new();
    let mut tree = plan.tree.as_ref();
    while let Some(here) = tree {
        found.extend(here.step);
        tree = branch(here, whichsocket::plan::STILL_FAULTY);
    }
    found
}

#[test]
fn probability_per_cost_example_1() {
    let plan = plan(
        &example_1(None),
        &Options {
            tree: 4,
            ..Options::default()
        },
    )
    .unwrap();
    assert!(plan.exact);
    assert_near(plan.minutes, 52.90, EXACT, "best order");
    // BCAD and CBAD tie exactly; the earlier step (B) goes first.
    assert_eq!(sequence(&plan), [1, 2, 0, 3]);
    assert_eq!(plan.choices[1].step, Some(2));
    assert_near(plan.choices[1].minutes, 52.90, EXACT, "the order that ties");
    // In order of rank: ABCD.
    assert_near(plan.baseline, 55.90, EXACT, "in order of probability");
}

#[test]
fn probability_per_cost_example_2() {
    let actions = [(0.45, 9.0), (0.30, 3.0), (0.15, 1.0), (0.10, 4.0)];
    let hypotheses = actions
        .iter()
        .zip(0..)
        .map(|(&(p, _), unit)| hypothesis(p, &[unit]))
        .collect();
    let steps = actions
        .iter()
        .zip(0..)
        .map(|(&(_, cost), unit)| Step::remedy(unit, cost, 1.0, 0.0))
        .collect();
    let problem = problem(hypotheses, steps, Goal::Repair { stop: 1000.0 });
    let plan = plan(
        &problem,
        &Options {
            tree: 4,
            ..Options::default()
        },
    )
    .unwrap();
    assert!(plan.exact);
    assert_near(plan.minutes, 8.90, EXACT, "best order");
    assert_eq!(sequence(&plan), [2, 1, 0, 3]);
    assert_near(
        plan.choices[1].minutes,
        9.05,
        EXACT,
        "beginning with the second",
    );
}

#[test]
fn observation_of_example_3_is_worth_1_15() {
    let free = plan(&example_1(Some(0.0)), &Options::default()).unwrap();
    assert!(free.exact);
    assert_eq!(first(&free), Some(4));
    assert_near(
        free.minutes,
        51.75,
        EXACT,
        "with the observation for nothing",
    );
    let outcomes = &free.next().unwrap().outcomes;
    let problem = example_1(Some(0.0));
    let planner = Planner::new(&problem, &Options::default()).unwrap();
    let after = |outcome: usize| planner.hypotheses(outcomes[outcome].state.as_ref().unwrap());
    for (found, expected) in after(1).iter().zip([0.90, 0.06, 0.03, 0.01]) {
        assert_near(*found, expected, EXACT, "posterior of +");
    }
    for (found, expected) in after(0).iter().zip([0.10, 0.54, 0.27, 0.09]) {
        assert_near(*found, expected, EXACT, "posterior of -");
    }
    // Worth doing at once only below 52.90 - 51.75.
    let cheap = plan(&example_1(Some(1.14)), &Options::default()).unwrap();
    assert_near(cheap.minutes, 52.89, EXACT, "just worth it");
    assert_eq!(first(&cheap), Some(4));
    let dear = plan(
        &example_1(Some(1.16)),
        &Options {
            runners_up: 9,
            ..Options::default()
        },
    )
    .unwrap();
    let observed = dear.choices.iter().find(|c| c.step == Some(4)).unwrap();
    assert_near(observed.minutes, 52.91, EXACT, "observing first");
    assert!(first(&dear) != Some(4) && dear.minutes <= 52.90 + EXACT);
}

// de Kleer, Williams, Diagnosing multiple faults, Artificial Intelligence 32, 1987: the polybox. A faulty
// block's output is any value; a value nobody predicts is 'undetermined' and matches any observation.
const BLOCKS: usize = 5; // M1 M2 M3 A1 A2

/// Values of X, Y, Z (4, 6, 8 or undetermined) under a set of faulty blocks, and whether F = 10, G = 12 can
/// come out. Inferred both forwards and back from the observed sums through sound adders.
fn polybox(faulty: u32) -> Option<[Option<i32>; 3]> {
    let sound = |block: usize| faulty >> block & 1 == 0;
    let mut value = [0, 1, 2].map(|m| sound(m).then_some(6));
    let sums = [(3, 0, 1, 10), (4, 1, 2, 12)];
    for _ in 0..3 {
        for (adder, a, b, sum) in sums {
            if !sound(adder) {
                continue;
            }
            match (value[a], value[b]) {
                (Some(x), Some(y)) if x + y != sum => return None,
                (Some(x), None) => value[b] = Some(sum - x),
                (None, Some(y)) => value[a] = Some(sum - y),
                _ => {}
            }
        }
    }
    Some(value)
}

#[test]
fn polybox_probes_x_first() {
    let sets: Vec<(u32, [Option<i32>; 3])> = (0..1 << BLOCKS)
        .filter_map(|s| polybox(s).map(|values| (s, values)))
        .collect();
    let weight = |set: u32| {
        let n = set.count_ones();
        0.01_f64.powi(n as i32) * 0.99_f64.powi(5 - n as i32)
    };
    let total: f64 = sets.iter().map(|&(s, _)| weight(s)).sum();
    let units = |set: u32| {
        (0..BLOCKS as u32)
            .filter(|b| set >> b & 1 == 1)
            .collect::<Vec<_>>()
    };
    let hypotheses: Vec<Hypothesis> = sets
        .iter()
        .map(|&(s, _)| Hypothesis {
            probability: weight(s) / total,
            faulty: units(s),
        })
        .collect();
    // Outcomes: 4, 6, 8, something else; an undetermined value may be any of the four.
    let probe = |place: usize| {
        let row = |values: &[Option<i32>; 3]| match values[place] {
            Some(value) => [4, 6, 8, 0]
                .map(|v| if v == value { 1.0 } else { 0.0 })
                .to_vec(),
            None => vec![0.25; 4],
        };
        Step::observe(1.0, sets.iter().map(|(_, values)| row(values)).collect())
    };
    let mut steps: Vec<Step> = (0..3).map(probe).collect();
    steps.extend((0..BLOCKS as u32).map(|unit| Step::remedy(unit, 10.0, 1.0, 0.0)));
    let problem = problem(hypotheses, steps, Goal::Repair { stop: 100.0 });
    let options = Options {
        runners_up: 9,
        ..Options::default()
    };
    let planner = Planner::new(&problem, &options).unwrap();
    let start = planner.start();
    let marginals = planner.units(&start);
    for (unit, expected) in [
        (0, 0.497635),
        (3, 0.497635),
        (1, 0.019609),
        (2, 0.014780),
        (4, 0.014780),
    ] {
        let found = marginals.iter().find(|m| m.0 == unit).unwrap().1;
        assert_near(found, expected, 5e-7, "marginal");
    }
    let plan = planner.plan(&start);
    assert_eq!(first(&plan), Some(0), "{:?}", plan.choices);
    let gain = |step: StepId| {
        plan.choices
            .iter()
            .find(|c| c.step == Some(step))
            .unwrap()
            .gain
    };
    assert!(
        gain(0) > 0.9 && gain(1) < 0.1 && gain(2) < 0.1,
        "X tells about one bit, Y and Z next to nothing"
    );
    let (_, after) = planner.act(&start, 0).unwrap();
    let four = planner.units(after[0].state.as_ref().unwrap());
    assert!(
        four[0].0 == 0 && four[0].1 > 0.98,
        "X = 4: the multiplier M1 ({four:?})"
    );
    let six = planner.units(after[1].state.as_ref().unwrap());
    assert!(
        six[0].0 == 3 && six[0].1 > 0.97,
        "X = 6: the adder A1 ({six:?})"
    );
}

// Same paper: a chain of inverters, each flipping its output wrongly with 0.01, the output seen wrong.
#[test]
fn inverter_chains_are_halved() {
    let published: [(usize, f64, &[f64]); 3] = [
        (3, 1.5854624814317364, &[0.667144, 0.667144]),
        (4, 2.001499845121192, &[1.190141, 1.001500, 1.190141]),
        (
            8,
            3.0104948436608496,
            &[
                2.466430, 2.198894, 2.055967, 2.010495, 2.055967, 2.198894, 2.466430,
            ],
        ),
    ];
    for (stages, before, after) in published {
        let sets: Vec<u32> = (0..1_u32 << stages)
            .filter(|s| s.count_ones() % 2 == 1)
            .collect();
        let weight = |s: u32| {
            0.01_f64.powi(s.count_ones() as i32)
                * 0.99_f64.powi(stages as i32 - s.count_ones() as i32)
        };
        let total: f64 = sets.iter().map(|&s| weight(s)).sum();
        let hypotheses = sets
            .iter()
            .map(|&s| Hypothesis {
                probability: weight(s) / total,
                faulty: (0..stages as u32).filter(|b| s >> b & 1 == 1).collect(),
            })
            .collect();
        // Measured after stage k: wrong when an odd number of the first k flips.
        let probe = |k: usize| {
            let wrong = |&s: &u32| (s & ((1 << k) - 1)).count_ones() as usize % 2;
            certain(1.0, 2, &sets.iter().map(wrong).collect::<Vec<_>>())
        };
        let steps = (1..stages).map(probe).collect();
        let problem = problem(hypotheses, steps, Goal::Identify { certainty: 0.95 });
        let plan = plan(
            &problem,
            &Options {
                runners_up: 9,
                ..Options::default()
            },
        )
        .unwrap();
        assert_near(plan.entropy, before, EXACT, "entropy before");
        for choice in &plan.choices {
            let expected = after[choice.step.unwrap()];
            assert_near(plan.entropy - choice.gain, expected, 5e-7, "entropy after");
        }
        assert_eq!(plan.choices.len(), stages - 1);
        let middle = if stages == 3 { 0 } else { stages / 2 - 1 };
        assert_eq!(
            first(&plan),
            Some(middle),
            "{stages} stages: {:?}",
            plan.choices
        );
    }
}
