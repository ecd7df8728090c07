//! Random networks for tests and benchmarks, the same for the same seed.

use rand::rngs::StdRng;
use rand::{Rng, RngExt, SeedableRng};
use whichsocket::infer::network::{Cause, Check, CheckId, Effect, Mode, Network, Outcome};

/// What a small random network looks like.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Number of causes.
    pub causes: usize,
    /// The most modes of a cause.
    pub most_modes: usize,
    /// Number of checks.
    pub checks: usize,
    /// Number of runs.
    pub runs: usize,
    /// Number of common causes.
    pub common: usize,
    /// Chance that a mode touches a check.
    pub density: f64,
    /// Chance that a mode is flaky.
    pub flaky: f64,
    /// Chance that a prior, an effect or a leak is exactly 0 or 1.
    pub extreme: f64,
    /// Chance that a check was read, and that what was read is not a pass.
    pub read: (f64, f64),
    /// Leaks are up to this.
    pub leak: f64,
}

/// A random network; nothing about it is realistic.
pub fn random(shape: &Shape, seed: u64) -> Network {
    let mut rng = StdRng::seed_from_u64(seed);
    let settings = 1 << shape.common;
    let checks: Vec<Check> = (0..shape.checks)
        .map(|_| random_check(shape, &mut rng))
        .collect();
    let causes = (0..shape.causes)
        .map(|_| {
            let modes = rng.random_range(1..=shape.most_modes);
            Cause {
                modes: (0..modes)
                    .map(|_| random_mode(shape, modes, settings, &mut rng))
                    .collect(),
                likelihood_fine: random_likelihood(&mut rng),
            }
        })
        .collect();
    let common = (0..shape.common)
        .map(|_| random_probability(shape, 1.0, &mut rng))
        .collect();
    Network {
        common,
        causes,
        checks,
    }
}

fn random_probability(shape: &Shape, most: f64, rng: &mut StdRng) -> f64 {
    if rng.random_bool(shape.extreme) {
        return if rng.random_bool(0.5) { most } else { 0.0 };
    }
    most * rng.random::<f64>()
}

fn random_likelihood(rng: &mut StdRng) -> f64 {
    match rng.random_range(0..10) {
        0 => rng.random::<f64>() * 3.0,
        1 => rng.random::<f64>() * 1e-6,
        _ => 1.0,
    }
}

fn random_check(shape: &Shape, rng: &mut StdRng) -> Check {
    let leak_fail = random_probability(shape, shape.leak, rng);
    let seen = rng.random_bool(shape.read.0).then(|| {
        if !rng.random_bool(shape.read.1) {
            Outcome::Pass
        } else if rng.random_bool(0.7) {
            Outcome::Fail
        } else {
            Outcome::Intermittent
        }
    });
    Check {
        run: rng.random_range(0..shape.runs),
        leak_intermittent: random_probability(shape, shape.leak, rng).min(1.0 - leak_fail),
        leak_fail,
        seen,
    }
}

fn random_mode(shape: &Shape, modes: usize, settings: usize, rng: &mut StdRng) -> Mode {
    let most = 1.0 / modes as f64;
    let mut effects = Vec::new();
    for check in 0..shape.checks {
        if rng.random_bool(shape.density) {
            let fail = random_probability(shape, 1.0, rng);
            let intermittent = if rng.random_bool(0.5) {
                0.0
            } else {
                random_probability(shape, 1.0 - fail, rng)
            };
            effects.push(Effect {
                check,
                intermittent,
                fail,
            });
        }
    }
    Mode {
        prior: (0..settings)
            .map(|_| random_probability(shape, most, rng))
            .collect(),
        effects,
        shows: rng
            .random_bool(shape.flaky)
            .then(|| random_probability(shape, 1.0, rng)),
        likelihood: random_likelihood(rng),
        past: false,
    }
}

/// What a network of the size of a board looks like.
#[derive(Debug, Clone, Copy)]
pub struct Board {
    /// Number of causes, those of the keyboard included.
    pub causes: usize,
    /// Number of checks, keys and wide readings included.
    pub checks: usize,
    /// Rows and columns of the key matrix; 0 for none.
    pub matrix: usize,
    /// Number of checks that many causes touch.
    pub wide: usize,
    /// Number of common causes.
    pub common: usize,
}

/// A network shaped like a board: chips with several modes that touch a handful of checks near each other, some
/// wide readings that more than half of the chips touch, and (if asked for) a key matrix whose contacts, row
/// lines, column lines, plug and adapter are causes. Checks are numbered: keys, then narrow, then wide.
pub fn board(size: &Board, seed: u64) -> Network {
    let mut rng = StdRng::seed_from_u64(seed);
    let keys = size.matrix * size.matrix;
    let settings = 1 << size.common;
    let checks = (0..size.checks)
        .map(|_| Check {
            run: 0,
            leak_intermittent: 0.001,
            leak_fail: 10f64.powf(rng.random_range(-4.0..-2.0)),
            seen: None,
        })
        .collect();
    let mut causes = matrix_causes(size, settings, &mut rng);
    causes.truncate(size.causes);
    let narrow: Vec<CheckId> = (keys..size.checks - size.wide).collect();
    while causes.len() < size.causes {
        causes.push(chip(size, &narrow, settings, &mut rng));
    }
    let common = (0..size.common)
        .map(|_| rng.random_range(0.02..0.2))
        .collect();
    Network {
        common,
        causes,
        checks,
    }
}

/// Priors for each setting: the base rate times a hazard factor for each common cause that strikes this cause.
fn priors(base: f64, settings: usize, rng: &mut StdRng) -> Vec<f64> {
    let factors: Vec<f64> = (0..4)
        .map(|_| {
            if rng.random_bool(0.4) {
                rng.random_range(2.0..10.0)
            } else {
                1.0
            }
        })
        .collect();
    (0..settings)
        .map(|s| {
            let factor: f64 = factors
                .iter()
                .enumerate()
                .filter(|(b, _)| s >> b & 1 == 1)
                .map(|(_, f)| f)
                .product();
            (base * factor).min(0.2)
        })
        .collect()
}

fn steady(prior: Vec<f64>, effects: Vec<Effect>) -> Mode {
    Mode {
        prior,
        effects,
        shows: None,
        likelihood: 1.0,
        past: false,
    }
}

fn matrix_causes(size: &Board, settings: usize, rng: &mut StdRng) -> Vec<Cause> {
    let n = size.matrix;
    let wide: Vec<CheckId> = (size.checks - size.wide..size.checks).collect();
    let key = |check: CheckId, fail: f64| Effect {
        check,
        intermittent: (1.0 - fail) / 2.0,
        fail,
    };
    let one = |mode: Mode| Cause {
        modes: vec![mode],
        likelihood_fine: 1.0,
    };
    let mut causes = Vec::new();
    if n == 0 {
        return causes;
    }
    for open in [0.97, 0.9] {
        // The plug, then the adapter; the adapter is also seen in the wide readings.
        let mut modes = vec![steady(
            priors(0.01, settings, rng),
            (0..n * n).map(|k| key(k, open)).collect(),
        )];
        let weak = (0..n * n)
            .filter(|k| k % n < 2)
            .map(|k| key(k, 0.6))
            .collect();
        modes.push(steady(priors(0.005, settings, rng), weak));
        if open < 0.95 {
            for mode in &mut modes {
                mode.effects.extend(wide.iter().map(|&w| key(w, 0.3)));
            }
        }
        causes.push(Cause {
            modes,
            likelihood_fine: 1.0,
        });
    }
    for line in 0..n {
        causes.push(one(steady(
            priors(0.003, settings, rng),
            (0..n).map(|k| key(line * n + k, 0.95)).collect(),
        )));
        causes.push(one(steady(
            priors(0.003, settings, rng),
            (0..n).map(|k| key(k * n + line, 0.95)).collect(),
        )));
    }
    for contact in 0..n * n {
        causes.push(one(steady(
            priors(0.002, settings, rng),
            vec![key(contact, 0.8)],
        )));
    }
    causes
}

/// A chip: up to four modes, each touching some narrow checks near each other and perhaps wide readings.
fn chip(size: &Board, narrow: &[CheckId], settings: usize, rng: &mut StdRng) -> Cause {
    let near = if narrow.is_empty() {
        0
    } else {
        rng.random_range(0..narrow.len())
    };
    let modes = rng.random_range(1..=4);
    let is_wide: Vec<bool> = (0..size.wide).map(|_| rng.random_bool(0.8)).collect();
    let one_mode = |rng: &mut StdRng| {
        let mut effects: Vec<Effect> = Vec::new();
        let reach = rng.random_range(1..=5.min(narrow.len().max(1)));
        for _ in 0..reach.min(narrow.len()) {
            let check = narrow[(near + rng.random_range(0..8)) % narrow.len()];
            if effects.iter().all(|e| e.check != check) {
                let fail = rng.random_range(0.3..0.99);
                effects.push(Effect {
                    check,
                    intermittent: (1.0 - fail) * rng.random::<f64>(),
                    fail,
                });
            }
        }
        for (w, _) in is_wide.iter().enumerate().filter(|(_, wide)| **wide) {
            let fail = rng.random_range(0.2..0.98);
            let check = size.checks - size.wide + w;
            effects.push(Effect {
                check,
                intermittent: (1.0 - fail) * 0.2,
                fail,
            });
        }
        let base = 10f64.powf(rng.random_range(-3.0..-1.5)) / modes as f64;
        steady(priors(base, settings, rng), effects)
    };
    Cause {
        modes: (0..modes).map(|_| one_mode(rng)).collect(),
        likelihood_fine: 1.0,
    }
}

/// Reads every check: those in `failing` as failed, the rest as passed.
pub fn read_all(net: &mut Network, failing: &[CheckId]) {
    for (id, check) in net.checks.iter_mut().enumerate() {
        check.seen = Some(if failing.contains(&id) {
            Outcome::Fail
        } else {
            Outcome::Pass
        });
    }
}

/// Draws readings of all checks from the network itself, with the causes in `broken` (their first mode) at fault.
pub fn draw_readings(net: &mut Network, broken: &[usize], seed: u64) {
    let mut rng = StdRng::seed_from_u64(seed);
    let mut worst = vec![Outcome::Pass; net.checks.len()];
    let mut contribute = |check: CheckId, intermittent: f64, fail: f64, rng: &mut dyn Rng| {
        let x: f64 = rng.random();
        let outcome = if x < fail {
            Outcome::Fail
        } else if x < fail + intermittent {
            Outcome::Intermittent
        } else {
            Outcome::Pass
        };
        worst[check] = worst[check].max(outcome);
    };
    for (id, check) in net.checks.iter().enumerate() {
        contribute(id, check.leak_intermittent, check.leak_fail, &mut rng);
    }
    for &cause in broken {
        for effect in &net.causes[cause].modes[0].effects {
            contribute(effect.check, effect.intermittent, effect.fail, &mut rng);
        }
    }
    for (check, outcome) in net.checks.iter_mut().zip(worst) {
        check.seen = Some(outcome);
    }
}
