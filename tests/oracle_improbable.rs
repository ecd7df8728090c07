//! Evidence far below what an ordinary number can subtract, or hold, against extended precision.

#[path = "common/brute.rs"]
#[allow(dead_code)]
mod brute;
#[path = "common/models.rs"]
#[allow(dead_code)]
mod models;

use brute::{Number, enumerate};
use dashu_float::FBig;
use dashu_float::round::mode::HalfEven;
use models::{Shape, random};
use whichsocket::infer::network::{Network, Outcome};
use whichsocket::infer::{InferError, Limits, Strategy, posterior};

/// 4000 bits: differences of probabilities down to 1e-1000 keep hundreds of digits.
const BITS: usize = 4000;

#[derive(Clone)]
struct Big(FBig<HalfEven, 2>);

impl Number for Big {
    fn from(x: f64) -> Self {
        Big(FBig::try_from(x)
            .expect("finite")
            .with_precision(BITS)
            .value())
    }
    fn add(&self, other: &Self) -> Self {
        Big(&self.0 + &other.0)
    }
    fn sub(&self, other: &Self) -> Self {
        Big(&self.0 - &other.0)
    }
    fn mul(&self, other: &Self) -> Self {
        Big(&self.0 * &other.0)
    }
    fn ratio(&self, other: &Self) -> f64 {
        (&self.0 / &other.0).to_f64().value()
    }
    fn is_zero(&self) -> bool {
        self.0 == FBig::<HalfEven, 2>::ZERO
    }
}

/// A network whose readings are as improbable as asked: small leaks, priors and effects.
fn improbable(seed: u64, tiny: f64) -> Network {
    let shape = Shape {
        causes: 5,
        most_modes: 2,
        checks: 6,
        runs: 2,
        common: 1,
        density: 0.6,
        flaky: 0.3,
        extreme: 0.0,
        read: (1.0, 0.7),
        leak: 0.2,
    };
    let mut net = random(&shape, seed);
    for check in &mut net.checks {
        check.leak_fail *= tiny;
        check.leak_intermittent *= tiny;
    }
    for mode in net.causes.iter_mut().flat_map(|c| &mut c.modes) {
        mode.prior.iter_mut().for_each(|p| *p *= tiny);
        for effect in &mut mode.effects {
            effect.fail *= tiny.sqrt();
        }
    }
    net
}

#[test]
fn improbable_readings_agree_with_extended_precision() {
    let mut smallest = 0.0f64;
    for (seed, tiny) in (0..60).zip([1e-3, 1e-5, 1e-8, 1e-15, 1e-40, 1e-100].into_iter().cycle()) {
        let net = improbable(seed, tiny);
        let truth = enumerate::<Big>(&net);
        for strategy in [
            Strategy::Auto,
            Strategy::Lattice,
            Strategy::Conditioning,
            Strategy::Enumeration,
        ] {
            let limits = Limits {
                strategy,
                max_unexplored: 1e-13,
                ..Limits::default()
            };
            let found = posterior(&net, &limits).expect("leaks make every reading possible");
            for (cause, modes) in truth.modes.iter().enumerate() {
                for (mode, joint) in modes.iter().enumerate() {
                    let (p, q) = (found.modes[cause][mode], joint.ratio(&truth.evidence));
                    let at =
                        format!("seed {seed} tiny {tiny:e} {strategy:?} cause {cause} mode {mode}");
                    if strategy == Strategy::Enumeration {
                        assert!((p - q).abs() <= 1e-9, "{at}: {p:e} instead of {q:e}");
                    } else {
                        // Relative, as long as the posterior itself is an ordinary number.
                        assert!(
                            (p - q).abs() <= 1e-9 * q + 1e-200,
                            "{at}: {p:e} instead of {q:e}"
                        );
                    }
                }
            }
            // ln P from the ratio to a power of two near it.
            let power = (found.log_evidence / std::f64::consts::LN_2).round();
            let near = Big(FBig::<HalfEven, 2>::ONE.with_precision(BITS).value() << power as isize);
            let log = truth.evidence.ratio(&near).ln() + power * std::f64::consts::LN_2;
            assert!(
                (found.log_evidence - log).abs() < 1e-9 * log.abs(),
                "{} {log}",
                found.log_evidence
            );
            smallest = smallest.min(found.log_evidence);
        }
    }
    assert!(
        smallest < 1e-300f64.ln(),
        "the cases must go below what an ordinary number holds: e^{smallest}"
    );
}

#[test]
fn impossible_readings_are_an_error() {
    let mut net = improbable(1, 1e-3);
    for check in &mut net.checks {
        (check.leak_fail, check.leak_intermittent) = (0.0, 0.0);
    }
    for mode in net.causes.iter_mut().flat_map(|c| &mut c.modes) {
        mode.effects.clear();
    }
    net.checks[0].seen = Some(Outcome::Fail);
    for strategy in [
        Strategy::Auto,
        Strategy::Lattice,
        Strategy::Conditioning,
        Strategy::Enumeration,
    ] {
        let found = posterior(
            &net,
            &Limits {
                strategy,
                ..Limits::default()
            },
        );
        assert_eq!(found, Err(InferError::Impossible), "{strategy:?}");
    }
}

#[test]
fn a_network_that_breaks_its_contract_is_refused_with_every_reason() {
    let mut net = improbable(1, 1e-3);
    net.checks[2].leak_fail = 1.5;
    net.causes[1].modes[0].prior[0] = f64::NAN;
    net.causes[2].modes[0].prior.pop();
    let Err(InferError::Invalid(problems)) = posterior(&net, &Limits::default()) else {
        panic!("accepted");
    };
    for expected in [
        "check 2 leaks",
        "mode 0 of cause 1 has prior NaN",
        "mode 0 of cause 2 has 1 priors",
    ] {
        assert!(
            problems.iter().any(|p| p.contains(expected)),
            "{expected}: {problems:?}"
        );
    }
}
