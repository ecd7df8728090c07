//! Predictions and leading hypotheses against enumeration, and what must not matter.

#[path = "common/brute.rs"]
#[allow(dead_code)]
mod brute;
#[path = "common/models.rs"]
#[allow(dead_code)]
mod models;

use brute::{enumerate, joint_states};
use models::{Shape, random};
use proptest::prelude::*;
use whichsocket::infer::network::{Effect, Network, Outcome};
use whichsocket::infer::predict::{OUTCOMES, entropy_bits};
use whichsocket::infer::{
    Extent, Hypothesis, InferError, Limits, expected_faults, leading_explanations,
    leading_hypotheses, leading_hypotheses_of, posterior, predict, small_explanations,
};

fn networks() -> impl Strategy<Value = Network> {
    let sizes = (1usize..=5, 1usize..=3, 2usize..=7, 1usize..=2, 0usize..=2);
    let chances = (
        0.1..0.9f64,
        prop_oneof![Just(0.0), 0.1..0.5f64],
        prop_oneof![Just(0.0), 0.0..0.2f64],
    );
    (sizes, chances, 0.3..0.9f64, 0.0..0.3f64, any::<u64>()).prop_map(
        |(sizes, chances, read, leak, seed)| {
            let (causes, most_modes, checks, runs, common) = sizes;
            let (density, flaky, extreme) = chances;
            let read = (read, 0.6);
            random(
                &Shape {
                    causes,
                    most_modes,
                    checks,
                    runs,
                    common,
                    density,
                    flaky,
                    extreme,
                    read,
                    leak,
                },
                seed,
            )
        },
    )
}

/// Those of these causes that are in a mode which explains a failing reading.
fn explaining(net: &Network, of: &[usize], state: &[Option<usize>]) -> Vec<usize> {
    let explains = |c: usize, m: usize| {
        let mut effects = net.causes[c].modes[m].effects.iter();
        effects.any(|e| match net.checks[e.check].seen {
            Some(Outcome::Fail) => e.fail > 0.0,
            Some(Outcome::Intermittent) => e.intermittent > 0.0,
            _ => false,
        })
    };
    let at_fault = |c: &usize| state[*c].is_some_and(|m| explains(*c, m));
    of.iter().copied().filter(at_fault).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn predictions_agree_with_enumeration(net in networks()) {
        prop_assume!(joint_states(&net) <= 400);
        let now = enumerate::<f64>(&net);
        prop_assume!(now.evidence > 1e-6);
        let open: Vec<usize> = (0..net.checks.len()).filter(|&c| net.checks[c].seen.is_none()).collect();
        let found = predict(&net, &open, &Limits::default()).unwrap();
        prop_assert_eq!(found.len(), open.len());
        let before = posterior(&net, &Limits::default()).unwrap();
        for prediction in found {
            let mut expected_gain = entropy_bits(&before.modes);
            prop_assert!((prediction.outcomes.iter().sum::<f64>() - 1.0).abs() < 1e-9);
            for (k, outcome) in OUTCOMES.into_iter().enumerate() {
                let mut with = net.clone();
                with.checks[prediction.check].seen = Some(outcome);
                let then = enumerate::<f64>(&with);
                let p = then.evidence / now.evidence;
                prop_assert!((prediction.outcomes[k] - p).abs() < 1e-9, "{} {}", prediction.outcomes[k], p);
                // The enumeration subtracts; where little is left it is no reference.
                if p < 1e-5 {
                    continue;
                }
                let after = prediction.after[k].as_ref().expect("possible");
                for (found, joint) in after.iter().flatten().zip(then.modes.iter().flatten()) {
                    prop_assert!((found - joint / then.evidence).abs() < 1e-8, "{found} {}", joint / then.evidence);
                }
                expected_gain -= p * entropy_bits(after);
            }
            prop_assert!((prediction.gain_bits - expected_gain).abs() < 1e-3);
        }
    }

    #[test]
    fn hypotheses_come_in_order_with_their_probability(net in networks()) {
        prop_assume!(joint_states(&net) <= 400);
        let truth = enumerate::<f64>(&net);
        prop_assume!(truth.evidence > 1e-6);
        // As many parts as it takes: by default the search stops after sixty.
        let limits = Limits { max_steps: 100_000, ..Limits::default() };
        let found = leading_hypotheses(&net, &limits, 0.999, 25).unwrap();
        let mut expected: Vec<(Vec<(usize, usize)>, f64)> = truth
            .states
            .iter()
            .map(|(state, joint)| {
                let active = state.iter().enumerate().filter_map(|(c, m)| m.map(|m| (c, m))).collect();
                (active, joint / truth.evidence)
            })
            .collect();
        expected.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut covered = 0.0;
        for (k, Hypothesis { active, probability }) in found.list.iter().enumerate() {
            let (_, p) = expected.iter().find(|(state, _)| state == active).expect("a state that exists");
            prop_assert!((probability - p).abs() < 1e-9);
            prop_assert!((expected[k].1 - p).abs() < 1e-9, "place {}: {} instead of {}", k, p, expected[k].1);
            covered += probability;
        }
        prop_assert!((found.covered - covered).abs() < 1e-9);
        prop_assert!(found.covered >= 0.999 || found.list.len() == 25 || found.list.len() == expected.len());
    }

    #[test]
    fn hypotheses_of_some_causes_sum_the_others_out(net in networks()) {
        prop_assume!(joint_states(&net) <= 400);
        let truth = enumerate::<f64>(&net);
        prop_assume!(truth.evidence > 1e-6);
        let some: Vec<usize> = (0..net.causes.len()).step_by(2).collect();
        let found = leading_hypotheses_of(&net, &Limits::default(), &some, 0.99, 1000).unwrap();
        prop_assert!(found.covered >= 0.99);
        for Hypothesis { active, probability } in &found.list {
            let agrees = |state: &[Option<usize>]| {
                some.iter().all(|&c| state[c] == active.iter().find(|(a, _)| *a == c).map(|(_, m)| *m))
            };
            let p: f64 = truth.states.iter().filter(|(s, _)| agrees(s)).map(|(_, joint)| joint / truth.evidence).sum();
            prop_assert!((probability - p).abs() < 1e-9, "{:?}: {} {}", active, probability, p);
        }
    }

    #[test]
    fn explanations_sum_over_the_modes_and_the_other_causes(net in networks()) {
        prop_assume!(joint_states(&net) <= 400);
        let truth = enumerate::<f64>(&net);
        prop_assume!(truth.evidence > 1e-6);
        let some: Vec<usize> = (0..net.causes.len()).step_by(2).collect();
        let set = |state: &[Option<usize>]| explaining(&net, &some, state);
        let extent = Extent { mass: 0.999, most: 1000, at_any_rate: true };
        let found = leading_explanations(&net, &Limits::default(), &some, extent).unwrap();
        prop_assert!(found.covered >= 0.999);
        let mut last = f64::INFINITY;
        for (causes, probability) in &found.list {
            let p: f64 = truth.states.iter().filter(|(s, _)| set(s) == *causes).map(|(_, joint)| joint / truth.evidence).sum();
            prop_assert!((probability - p).abs() < 1e-9, "{:?}: {} {}", causes, probability, p);
            prop_assert!(*probability <= last + 1e-9, "out of order");
            last = *probability;
        }
    }

    #[test]
    fn explanations_by_one_or_two_causes(net in networks()) {
        prop_assume!(joint_states(&net) <= 400);
        let truth = enumerate::<f64>(&net);
        prop_assume!(truth.evidence > 1e-6);
        let all: Vec<usize> = (0..net.causes.len()).collect();
        let set = |state: &[Option<usize>]| explaining(&net, &all, state);
        let found = small_explanations(&net, &all, truth.evidence.ln()).unwrap();
        prop_assert_eq!(found.len(), all.len() * (all.len() + 1) / 2);
        for (causes, probability) in &found {
            let p: f64 = truth.states.iter().filter(|(s, _)| set(s) == *causes).map(|(_, joint)| joint / truth.evidence).sum();
            prop_assert!((probability - p).abs() < 1e-9, "{:?}: {} {}", causes, probability, p);
        }
    }

    #[test]
    fn the_order_of_causes_and_checks_does_not_matter(net in networks(), turn in 0usize..7) {
        let mut turned = net.clone();
        let (causes, checks) = (net.causes.len(), net.checks.len());
        turned.causes.rotate_left(turn % causes);
        turned.checks.rotate_left(turn % checks);
        for effect in turned.causes.iter_mut().flat_map(|c| &mut c.modes).flat_map(|m| &mut m.effects) {
            effect.check = (effect.check + checks - turn % checks) % checks;
        }
        match (posterior(&net, &Limits::default()), posterior(&turned, &Limits::default())) {
            (Ok(a), Ok(b)) => {
                prop_assert!((a.log_evidence - b.log_evidence).abs() < 1e-9);
                for cause in 0..causes {
                    let other = (cause + causes - turn % causes) % causes;
                    for (p, q) in a.modes[cause].iter().zip(&b.modes[other]) {
                        prop_assert!((p - q).abs() < 1e-9);
                    }
                }
            }
            (a, b) => prop_assert_eq!(a, b),
        }
    }

    /// A check that nothing touches changes the evidence by its leak, and nothing else.
    #[test]
    fn a_check_without_effects_teaches_nothing(net in networks(), leak in 0.01..0.9f64, failed in any::<bool>()) {
        let Ok(before) = posterior(&net, &Limits::default()) else { return Ok(()) };
        let mut more = net.clone();
        let check = more.checks.len();
        let seen = Some(if failed { Outcome::Fail } else { Outcome::Pass });
        let run = 0;
        more.checks.push(whichsocket::infer::network::Check { run, leak_intermittent: 0.0, leak_fail: leak, seen });
        for mode in more.causes.iter_mut().flat_map(|c| &mut c.modes) {
            mode.effects.push(Effect { check, intermittent: 0.0, fail: 0.0 });
        }
        let after = posterior(&more, &Limits::default()).unwrap();
        let expected = before.log_evidence + if failed { leak.ln() } else { (1.0 - leak).ln() };
        prop_assert!((after.log_evidence - expected).abs() < 1e-9);
        for (a, b) in before.modes.iter().flatten().zip(after.modes.iter().flatten()) {
            prop_assert!((a - b).abs() < 1e-9);
        }
        let faults: f64 = before.modes.iter().flatten().sum();
        prop_assert!((expected_faults(&net, &Limits::default()).unwrap() - faults).abs() < 1e-12);
    }
}

#[test]
fn a_check_that_was_read_cannot_be_predicted() {
    let shape = Shape {
        causes: 2,
        most_modes: 1,
        checks: 2,
        runs: 1,
        common: 0,
        density: 1.0,
        flaky: 0.0,
        extreme: 0.0,
        read: (1.0, 0.0),
        leak: 0.1,
    };
    let net = random(&shape, 5);
    let found = predict(&net, &[0, 7], &Limits::default());
    let Err(InferError::Invalid(problems)) = found else {
        panic!("accepted: {found:?}")
    };
    assert_eq!(problems.len(), 2);
}
