//! The engine against enumeration straight from the definition, and against published examples.

#[path = "common/brute.rs"]
#[allow(dead_code)]
mod brute;
#[path = "common/models.rs"]
#[allow(dead_code)]
mod models;

use brute::{Number, enumerate, joint_states};
use models::{Board, Shape, board, random, read_all};
use proptest::prelude::*;
use whichsocket::infer::network::{Cause, Check, Effect, Mode, Network, Outcome, Posterior};
use whichsocket::infer::{InferError, Limits, Strategy as Way, evidence, posterior};

/// All posteriors of a random network must agree with enumeration to this.
const TOLERANCE: f64 = 1e-9;

fn shapes() -> impl Strategy<Value = (Shape, u64)> {
    let sizes = (1usize..=7, 1usize..=3, 1usize..=7, 1usize..=3, 0usize..=4);
    let chances = (
        0.1..0.9f64,
        prop_oneof![Just(0.0), 0.1..0.7f64],
        prop_oneof![Just(0.0), 0.0..0.3f64],
    );
    let readings = (
        0.5..1.0f64,
        0.1..1.0f64,
        prop_oneof![Just(0.0), Just(0.01), 0.0..0.5f64],
    );
    (sizes, chances, readings, any::<u64>()).prop_map(|(sizes, chances, readings, seed)| {
        let (causes, most_modes, checks, runs, common) = sizes;
        let (density, flaky, extreme) = chances;
        let (read, failing, leak) = readings;
        (
            Shape {
                causes,
                most_modes,
                checks,
                runs,
                common,
                density,
                flaky,
                extreme,
                read: (read, failing),
                leak,
            },
            seed,
        )
    })
}

fn assert_agrees(net: &Network, found: &Result<Posterior, InferError>) {
    let truth = enumerate::<f64>(net);
    if truth.evidence == 0.0 {
        assert_eq!(found, &Err(InferError::Impossible));
        return;
    }
    // Where the enumeration itself subtracts nearly equal numbers it is no reference.
    if truth.evidence < 1e-6 {
        return;
    }
    let found = found.as_ref().expect("possible readings have a posterior");
    assert_close(found, &truth, TOLERANCE);
}

fn assert_close<T: Number>(found: &Posterior, truth: &brute::Truth<T>, tolerance: f64) {
    for (cause, modes) in truth.modes.iter().enumerate() {
        for (mode, joint) in modes.iter().enumerate() {
            let (p, q) = (found.modes[cause][mode], joint.ratio(&truth.evidence));
            assert!(
                (p - q).abs() <= tolerance,
                "cause {cause} mode {mode}: {p} instead of {q}"
            );
        }
    }
    for (b, joint) in truth.common.iter().enumerate() {
        let (p, q) = (found.common[b], joint.ratio(&truth.evidence));
        assert!(
            (p - q).abs() <= tolerance,
            "common cause {b}: {p} instead of {q}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn agrees_with_enumeration((shape, seed) in shapes()) {
        let net = random(&shape, seed);
        prop_assume!(joint_states(&net) <= 3000);
        let found = posterior(&net, &Limits::default());
        assert_agrees(&net, &found);
        if let Ok(found) = &found {
            let truth = enumerate::<f64>(&net);
            if truth.evidence > 1e-6 {
                prop_assert!((found.log_evidence - truth.evidence.ln()).abs() < 1e-8);
                let alone = evidence(&net, &Limits::default()).expect("as the posterior");
                prop_assert!((alone.log - truth.evidence.ln()).abs() < 1e-8);
                prop_assert_eq!(alone.unexplored_mass, found.unexplored_mass);
            }
        }
    }
}

#[test]
fn agrees_with_enumeration_up_to_sixteen_causes() {
    for seed in 0..2 {
        let shape = Shape {
            causes: 16,
            most_modes: 1,
            checks: 7,
            runs: 2,
            common: (seed % 2) as usize,
            density: 0.35,
            flaky: 0.1,
            extreme: 0.05,
            read: (0.9, 0.6),
            leak: 0.05,
        };
        let net = random(&shape, seed);
        assert_agrees(&net, &posterior(&net, &Limits::default()));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    /// Lattice, conditioning and the search are different sums for the same number.
    #[test]
    fn all_ways_of_summing_agree((shape, seed) in shapes()) {
        let net = random(&shape, seed);
        let limits = |strategy| Limits { strategy, max_unexplored: 1e-12, max_steps: 1_000_000, ..Limits::default() };
        let auto = posterior(&net, &limits(Way::Auto));
        for way in [Way::Lattice, Way::Conditioning, Way::Enumeration] {
            match (&auto, posterior(&net, &limits(way))) {
                (Ok(auto), Ok(other)) => {
                    prop_assert!((auto.log_evidence - other.log_evidence).abs() < 1e-8, "{:?}", way);
                    for (a, b) in auto.modes.iter().flatten().zip(other.modes.iter().flatten()) {
                        prop_assert!((a - b).abs() < TOLERANCE + other.unexplored_mass, "{:?}: {} {}", way, a, b);
                    }
                    prop_assert!(other.unexplored_mass <= 1e-12, "{:?}: {}", way, other.unexplored_mass);
                }
                (auto, other) => prop_assert_eq!(auto, &other, "{:?}", way),
            }
        }
    }
}

/// A mode with one prior for all settings.
fn mode(prior: f64, effects: &[(usize, f64)]) -> Mode {
    let effects = effects.iter().map(|&(check, fail)| Effect {
        check,
        intermittent: 0.0,
        fail,
    });
    Mode {
        prior: vec![prior],
        effects: effects.collect(),
        shows: None,
        likelihood: 1.0,
        past: false,
    }
}

fn cause(mode: Mode) -> Cause {
    Cause {
        modes: vec![mode],
        likelihood_fine: 1.0,
    }
}

fn check(leak_fail: f64, seen: Option<Outcome>) -> Check {
    Check {
        run: 0,
        leak_intermittent: 0.0,
        leak_fail,
        seen,
    }
}

fn outcome(failed: bool) -> Option<Outcome> {
    Some(if failed { Outcome::Fail } else { Outcome::Pass })
}

/// The two-level worked example of the model of Heckerman, A tractable inference algorithm for diagnosing multiple
/// diseases, UAI 1989; numbers worked out for this project by enumeration over its eight states and by the
/// inclusion-exclusion sum of that paper (priors, leaks, links and results as tabulated there).
#[test]
fn two_level_worked_example() {
    let rows = [
        (
            [true, true, false],
            0.019018744892421124,
            [0.5919240212665788, 0.5285489351858822, 0.005350502094050948],
        ),
        (
            [true, true, true],
            0.00370967148517888,
            [0.3900209350653898, 0.7844442257933678, 0.26582469719130114],
        ),
        (
            [false, true, false],
            0.03681156173637889,
            [0.0697457631116369, 0.4760888742739566, 0.020364288801310203],
        ),
    ];
    for (failed, evidence, posteriors) in rows {
        let net = Network {
            common: vec![],
            causes: vec![
                cause(mode(0.10, &[(0, 0.8), (1, 0.1)])),
                cause(mode(0.05, &[(0, 0.3), (1, 0.7), (2, 0.2)])),
                cause(mode(0.02, &[(1, 0.4), (2, 0.9)])),
            ],
            checks: vec![
                check(0.01, outcome(failed[0])),
                check(0.02, outcome(failed[1])),
                check(0.01, outcome(failed[2])),
            ],
        };
        let found = posterior(&net, &Limits::default()).unwrap();
        assert!((found.log_evidence.exp() - evidence).abs() < 1e-12);
        for (cause, expected) in posteriors.into_iter().enumerate() {
            assert!(
                (found.cause(cause) - expected).abs() < 1e-12,
                "{failed:?} {cause}: {}",
                found.cause(cause)
            );
        }
    }
}

/// Noisy-OR of the fever example in Russell and Norvig, Artificial Intelligence: a modern approach (inhibitions cold
/// 0.6, flu 0.2, malaria 0.1; no leak). The table of P(fever | causes) in full.
#[test]
fn noisy_or_fever_example() {
    let table = [
        ([false, false, false], 0.0),
        ([false, false, true], 0.9),
        ([false, true, false], 0.8),
        ([false, true, true], 0.98),
        ([true, false, false], 0.4),
        ([true, false, true], 0.94),
        ([true, true, false], 0.88),
        ([true, true, true], 0.988),
    ];
    for (present, expected) in table {
        let prior = |i: usize| if present[i] { 1.0 } else { 0.0 };
        let net = Network {
            common: vec![],
            causes: [0.4, 0.8, 0.9]
                .iter()
                .enumerate()
                .map(|(i, &q)| cause(mode(prior(i), &[(0, q)])))
                .collect(),
            checks: vec![check(0.0, Some(Outcome::Fail))],
        };
        match posterior(&net, &Limits::default()) {
            Ok(found) => assert!(
                (found.log_evidence.exp() - expected).abs() < 1e-12,
                "{present:?}"
            ),
            Err(error) => assert_eq!((error, expected), (InferError::Impossible, 0.0)),
        }
    }
}

/// Weights of evidence add up: Good, Studies in the history of probability and statistics XXXVII, Biometrika 66
/// (1979), 393-396. Prior 0.02 (-16.9020 decibans), factors 8, 0.5 and 20: +2.1289 decibans, 0.620155.
#[test]
fn weights_of_evidence_add_up() {
    // Three readings whose likelihood ratios are the factors: a failing one (e/leak), a passing one (1 - fail), and
    // one that concerns the mode alone.
    let mut only = mode(0.02, &[(1, 0.5)]);
    only.effects.push(Effect {
        check: 0,
        intermittent: 0.0,
        fail: (0.8 - 0.1) / (1.0 - 0.1),
    });
    only.likelihood = 20.0;
    let net = Network {
        common: vec![],
        causes: vec![cause(only)],
        checks: vec![
            check(0.1, Some(Outcome::Fail)),
            check(0.0, Some(Outcome::Pass)),
        ],
    };
    let p = posterior(&net, &Limits::default()).unwrap().cause(0);
    let decibans = |p: f64| 10.0 * (p / (1.0 - p)).log10();
    assert!((p - 0.620_155_038_759_690_1).abs() < 1e-12, "{p}");
    assert!(
        (decibans(p)
            - decibans(0.02)
            - (9.030_899_869_919_436 - 3.010_299_956_639_812 + 13.010_299_956_639_813))
            .abs()
            < 1e-9
    );
}

/// The search stops early, and what it says it may have missed is not less than what it missed.
#[test]
fn the_search_certifies_what_it_left_out() {
    let mut unfinished = 0;
    for seed in 0..40 {
        let shape = Shape {
            causes: 14,
            most_modes: 2,
            checks: 8,
            runs: 2,
            common: 1,
            density: 0.4,
            flaky: 0.1,
            extreme: 0.0,
            read: (1.0, 0.8),
            leak: 0.05,
        };
        let net = random(&shape, seed);
        let exact = posterior(&net, &Limits::default()).unwrap();
        let limits = Limits {
            strategy: Way::Enumeration,
            max_steps: 150,
            ..Limits::default()
        };
        let found = posterior(&net, &limits).unwrap();
        unfinished += usize::from(found.unexplored_mass > limits.max_unexplored);
        let allowed = found.unexplored_mass + 1e-9;
        for (p, q) in found
            .modes
            .iter()
            .flatten()
            .zip(exact.modes.iter().flatten())
        {
            assert!(
                (p - q).abs() <= allowed,
                "seed {seed}: {p} instead of {q}, allowed {allowed}"
            );
        }
        assert!(
            found.log_evidence <= exact.log_evidence + 1e-9,
            "a sum from below"
        );
        assert!(
            found.log_evidence.exp() >= exact.log_evidence.exp() * (1.0 - allowed),
            "seed {seed}"
        );
    }
    assert!(
        unfinished > 0,
        "some searches must stop at the limit for the bound to be put to the test"
    );
}

/// An unplugged keyboard is 64 failing keys: the plug leads, and the sum is exact.
#[test]
fn sixty_four_dead_keys_are_the_plug() {
    let mut net = board(
        &Board {
            causes: 150,
            checks: 120,
            matrix: 8,
            wide: 4,
            common: 4,
        },
        1,
    );
    let keys: Vec<usize> = (0..64).collect();
    read_all(&mut net, &keys);
    let found = posterior(&net, &Limits::default()).unwrap();
    assert!(found.unexplored_mass == 0.0);
    assert!(found.cause(0) > 0.99, "plug {}", found.cause(0));
    assert!((1..net.causes.len()).all(|c| found.cause(c) < 0.1));
}

/// One fault explains all twelve readings, or two others half of them each, about as probably. One chain that changes a cause at
/// a time hardly ever gets from the one to the other: it would have to have three faults at once, or leave six readings
/// unexplained.
#[test]
fn draws_find_both_of_two_explanations_far_apart() {
    let effects =
        |from: usize, to: usize| -> Vec<(usize, f64)> { (from..to).map(|c| (c, 0.9)).collect() };
    let net = Network {
        common: vec![],
        causes: vec![
            cause(mode(1e-5, &effects(0, 12))),
            cause(mode(3e-3, &effects(0, 6))),
            cause(mode(3e-3, &effects(6, 12))),
        ],
        checks: (0..12).map(|_| check(1e-3, Some(Outcome::Fail))).collect(),
    };
    let exact = posterior(&net, &Limits::default()).unwrap();
    let limits = Limits {
        strategy: Way::Draws,
        ..Limits::default()
    };
    let drawn = posterior(&net, &limits).unwrap();
    assert!((0.3..0.7).contains(&exact.cause(0)), "{}", exact.cause(0));
    for c in 0..3 {
        let (p, q) = (drawn.cause(c), exact.cause(c));
        assert!((p - q).abs() < 0.1, "cause {c}: {p} instead of {q}");
    }
    assert!((drawn.log_evidence - exact.log_evidence).abs() < 0.5);
}

/// Draws come near the exact sum on networks with flaky modes over two runs, common causes and up to sixteen failing readings:
/// a mean of some thousand draws that depend on each other is good to a few percent.
#[test]
fn draws_come_near_the_exact_sum() {
    let (mut worst, mut off, mut count) = (0.0f64, 0.0, 0.0);
    let mut several_explanations = 0;
    let mut look = |net: &Network| {
        let exact = posterior(net, &Limits::default()).unwrap();
        assert_eq!(exact.unexplored_mass, 0.0);
        let limits = Limits {
            strategy: Way::Draws,
            ..Limits::default()
        };
        let drawn = posterior(net, &limits).unwrap();
        assert!(
            (drawn.log_evidence - exact.log_evidence).abs() < 0.5,
            "{} {}",
            drawn.log_evidence,
            exact.log_evidence
        );
        let pairs = drawn
            .modes
            .iter()
            .flatten()
            .zip(exact.modes.iter().flatten());
        for (p, q) in pairs {
            worst = worst.max((p - q).abs());
            off += (p - q).abs();
            count += 1.0;
            several_explanations += usize::from((0.2..0.8).contains(q));
        }
        for (p, q) in drawn.common.iter().zip(&exact.common) {
            assert!((p - q).abs() < 0.1, "{p} {q}");
        }
    };
    for seed in 0..12 {
        let shape = Shape {
            causes: 14,
            most_modes: 3,
            checks: 10,
            runs: 2,
            common: (seed % 3) as usize,
            density: 0.4,
            flaky: 0.3,
            extreme: 0.0,
            read: (1.0, 0.8),
            leak: 0.05,
        };
        look(&random(&shape, seed));
    }
    let size = Board {
        causes: 40,
        checks: 40,
        matrix: 0,
        wide: 3,
        common: 3,
    };
    for seed in 0..4 {
        let mut net = board(&size, seed);
        let failing: Vec<usize> = (24 - 2 * seed as usize..40).collect();
        read_all(&mut net, &failing);
        look(&net);
    }
    println!(
        "worst {worst:.3}, mean {:.5}, of {count} probabilities",
        off / count
    );
    assert!(several_explanations > 30, "{several_explanations} in doubt");
    assert!(
        worst < 0.1 && off / count < 0.005,
        "{worst} {}",
        off / count
    );
}
