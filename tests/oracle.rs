//! The engine against enumeration straight from the definition, and against published examples.

#[path = "common/brute.rs"]
mod brute;
#[path = "common/models.rs"]
mod models;

use brute::{Number, enumerate, joint_states};
use models::{Shape, random};
use proptest::prelude::*;
use whichsocket::infer::network::{Cause, Check, Effect, Mode, Network, Outcome, Posterior};
use whichsocket::infer::{InferError, Limits, Strategy as Way, posterior};

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

fn with(strategy: Way) -> Limits {
    Limits {
        strategy,
        ..Limits::default()
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
            }
        }
    }
}

#[test]
fn agrees_with_enumeration_up_to_sixteen_causes() {
    for seed in 0..12 {
        let shape = Shape {
            causes: 16,
            most_modes: 1,
            checks: 9,
            runs: 2,
            common: (seed % 2) as usize,
            density: 0.35,
            flaky: 0.2,
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
        let limits = |strategy| Limits { strategy, max_unexplored: 1e-12, ..Limits::default() };
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
