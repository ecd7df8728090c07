//! What must hold for every problem, on random ones.

#[allow(dead_code)]
mod plan_support;

use std::time::Duration;

use plan_support::oracle::{Oracle, Position};
use plan_support::{Random, Shape, bench_sized, random_repair};
use proptest::prelude::*;
use whichsocket::plan::{
    Goal, Hypothesis, Options, Planner, Power, Problem, ProblemError, Step, StepId, Tree, plan,
};

fn small(seed: u64) -> Problem {
    let mut random = Random(seed);
    let shape = Shape {
        suspects: 2 + random.below(4),
        steps: 3 + random.below(5),
        involved: random.chance(0.7),
        sharp: random.chance(0.5),
    };
    random_repair(&mut random, shape)
}

fn large(seed: u64) -> Problem {
    let mut random = Random(seed);
    let (suspects, steps) = (3 + random.below(8), 6 + random.below(25));
    let hypotheses = suspects + random.below(suspects);
    bench_sized(&mut random, suspects, steps, hypotheses)
}

/// A test without cost that tells every hypothesis from every other.
fn perfect(hypotheses: usize) -> Step {
    let row = |h| {
        (0..hypotheses)
            .map(|o| f64::from(u8::from(o == h)))
            .collect()
    };
    Step::observe(0.0, (0..hypotheses).map(row).collect())
}

/// Every step of a tree, with the steps and outcomes that lead there.
fn walk(
    oracle: &Oracle,
    position: &Position,
    tree: &Tree,
    see: &mut impl FnMut(&Position, StepId),
) {
    let Some(step) = tree.step else { return };
    see(position, step);
    let (_, outcomes) = oracle.act(position, step);
    for (outcome, _, next) in &tree.branches {
        let there = outcomes
            .iter()
            .find(|o| o.0 == *outcome)
            .and_then(|o| o.2.as_ref());
        if let (Some(next), Some(there)) = (next, there) {
            walk(oracle, there, next, see);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn never_worse_than_swapping_in_order_of_rank(seed in any::<u64>(), depth in 1_u8..4) {
        for problem in [small(seed), large(seed)] {
            let options = Options { depth, effort: 20_000, ..Options::default() };
            let plan = plan(&problem, &options).unwrap();
            prop_assert!(plan.minutes <= plan.baseline * (1.0 + 1e-9));
            prop_assert!(plan.minutes >= plan.at_least * (1.0 - 1e-9));
            prop_assert!(plan.choices.windows(2).all(|w| w[0].minutes <= w[1].minutes * (1.0 + 1e-8)));
        }
    }

    #[test]
    fn a_free_perfect_test_never_hurts(seed in any::<u64>()) {
        let mut problem = small(seed);
        let without = plan(&problem, &Options { effort: u64::MAX, ..Options::default() }).unwrap();
        problem.steps.push(perfect(problem.hypotheses.len()));
        let with = plan(&problem, &Options { effort: u64::MAX, ..Options::default() }).unwrap();
        prop_assert!(without.exact && with.exact);
        prop_assert!(with.minutes <= without.minutes * (1.0 + 1e-9));
    }

    #[test]
    fn a_step_that_is_ruled_out_never_appears(seed in any::<u64>(), tools in any::<u64>(), kept_out in 0_usize..7) {
        let mut problem = small(seed);
        for (i, step) in problem.steps.iter_mut().enumerate() {
            step.tools = 1 << i;
        }
        let allowed = |id: StepId, _: &Step| id != kept_out;
        let options = Options {
            tools, tree: 5, runners_up: 99, effort: 5_000, allowed: Some(&allowed), ..Options::default()
        };
        let plan = plan(&problem, &options).unwrap();
        let oracle = Oracle::new(&problem);
        let fits = |step: StepId| step != kept_out && tools >> step & 1 == 1;
        for choice in &plan.choices {
            prop_assert!(choice.step.is_none_or(|s| fits(s) && oracle.allowed(&oracle.start(), s)));
        }
        let mut all_fit = true;
        let see = &mut |position: &Position, step| all_fit &= fits(step) && oracle.allowed(position, step);
        if let Some(tree) = &plan.tree {
            walk(&oracle, &oracle.start(), tree, see);
        }
        prop_assert!(all_fit);
    }

    #[test]
    fn more_effort_never_costs_more(seed in any::<u64>()) {
        for problem in [small(seed), large(seed)] {
            let mut last = f64::INFINITY;
            for effort in [0, 1_000, 30_000, 70_000, 150_000, 400_000] {
                let plan = plan(&problem, &Options { effort, ..Options::default() }).unwrap();
                prop_assert!(plan.minutes <= last * (1.0 + 1e-9), "{} after {last}", plan.minutes);
                last = plan.minutes;
            }
        }
    }

    #[test]
    fn more_time_never_costs_more(seed in any::<u64>()) {
        let problem = large(seed);
        let within = |time| {
            let options = Options { effort: 100_000, time: Some(time), ..Options::default() };
            plan(&problem, &options).unwrap().minutes
        };
        let (none, enough) = (within(Duration::ZERO), within(Duration::from_secs(60)));
        prop_assert!(enough <= none * (1.0 + 1e-9));
        let unlimited = plan(&problem, &Options { effort: 100_000, ..Options::default() }).unwrap();
        prop_assert_eq!(enough.to_bits(), unlimited.minutes.to_bits());
    }

    #[test]
    fn outcomes_add_up(seed in any::<u64>()) {
        let problem = small(seed);
        let planner = Planner::new(&problem, &Options::default()).unwrap();
        let start = planner.start();
        let (before, steps) = (planner.hypotheses(&start), 0..problem.steps.len());
        for step in steps.filter(|&s| planner.allowed(&start, s)) {
            let (_, after) = planner.act(&start, step).unwrap();
            let total: f64 = after.iter().map(|a| a.probability).sum();
            prop_assert!((total - 1.0).abs() < 1e-9);
            if problem.steps[step].is_remedy() {
                continue;
            }
            // The mean of the posteriors of an observation is the prior.
            for (h, prior) in before.iter().enumerate() {
                let mean: f64 = after
                    .iter()
                    .filter_map(|a| a.state.as_ref().map(|s| a.probability * planner.hypotheses(s)[h]))
                    .sum();
                prop_assert!((mean - prior).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn everything_that_is_wrong_is_said() {
    let mut remedy = Step::remedy(0, f64::NAN, 1.5, 1.0);
    remedy.rule.never_after = vec![whichsocket::plan::Condition {
        step: 7,
        outcomes: vec![],
    }];
    let problem = Problem {
        hypotheses: vec![
            Hypothesis {
                probability: 0.4,
                faulty: vec![3, 3],
            },
            Hypothesis {
                probability: 0.4,
                faulty: vec![],
            },
        ],
        unexplored: 0.0,
        steps: vec![Step::observe(1.0, vec![vec![0.5, 0.4]]), remedy],
        goal: Goal::Repair { stop: -1.0 },
        power: Power::Either,
        power_change: 0.0,
    };
    let errors = plan(&problem, &Options::default()).unwrap_err();
    let said: Vec<String> = errors.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "hypothesis 0 names unit 3 twice; expected each unit once",
            "units at fault in hypothesis 1: 0; expected 1 to 12",
            "the probabilities of the hypotheses add up to 0.8; expected 1",
            "the price of stopping is -1; expected a finite number, 0 or more",
            "rows of step 0: 1; expected one a hypothesis, 2",
            "the outcomes of step 0 in row 0 add up to 0.9; expected 1",
            "minutes of step 1 is NaN; expected a finite number, 0 or more",
            "the cure of unit 0 by step 1 is 1.5; expected a probability from 0 to 1",
            "step 1 refers to step 7, which is not there",
        ]
    );
    assert!(matches!(
        errors[0],
        ProblemError::UnitTwice {
            hypothesis: 0,
            unit: 3
        }
    ));
}

#[test]
fn without_hypotheses_or_steps_it_stops() {
    let problem = Problem {
        hypotheses: vec![],
        unexplored: 1.0,
        steps: vec![],
        goal: Goal::Repair { stop: 60.0 },
        power: Power::Either,
        power_change: 0.0,
    };
    let plan = plan(
        &problem,
        &Options {
            tree: 3,
            ..Options::default()
        },
    )
    .unwrap();
    assert!(plan.exact && plan.next().is_some_and(|choice| choice.step.is_none()));
    assert!((plan.minutes - 60.0).abs() < 1e-12);
}
