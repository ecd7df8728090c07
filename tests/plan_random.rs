//! The planner against an exhaustive search of its own, on seeded random small models. To see the figures:
//! `cargo test --release --test plan_random -- --nocapture`

#[allow(dead_code)]
mod plan_support;

use plan_support::oracle::Oracle;
use plan_support::{Random, Shape, random_identification, random_repair};
use whichsocket::plan::{Options, Planner, Problem, plan};

/// The whole campaign; without optimisation a sample of it, since the exhaustive search takes its time.
const MODELS: u64 = if cfg!(debug_assertions) { 40 } else { 500 };
const SEED: u64 = 0x0005_0c4e_7001;

/// Up to 8 suspects and 10 steps, every other model involved, every third sharp.
fn model(number: u64) -> Problem {
    let mut random = Random(SEED + number * 7919);
    let suspects = 2 + random.below(7);
    let shape = Shape {
        suspects,
        steps: 3 + random.below(8),
        involved: number % 2 == 1,
        sharp: number.is_multiple_of(3),
    };
    random_repair(&mut random, shape)
}

fn identification(number: u64) -> Problem {
    let mut random = Random(SEED ^ (number * 104_729));
    let shape = Shape {
        suspects: 3 + random.below(6),
        steps: 4 + random.below(7),
        involved: false,
        sharp: false,
    };
    random_identification(&mut random, shape)
}

/// Cost of following the planner at every turn, as a multiple of the optimum.
#[derive(Clone, Copy, Default)]
struct Ratios {
    sum: f64,
    worst: f64,
    worst_model: u64,
    exact: u64,
    models: u64,
}

impl Ratios {
    fn mean(&self) -> f64 {
        self.sum / self.models as f64
    }

    fn add(&mut self, other: &Ratios) {
        if other.worst > self.worst {
            (self.worst, self.worst_model) = (other.worst, other.worst_model);
        }
        self.sum += other.sum;
        self.exact += other.exact;
        self.models += other.models;
    }
}

/// Plans one model in one way and follows the plan to its ends.
fn ratio(number: u64, problem: &Problem, options: &Options, oracle: &Oracle, best: f64) -> Ratios {
    let position = oracle.start();
    let planner =
        Planner::new(problem, options).unwrap_or_else(|e| panic!("model {number}: {e:?}"));
    let start = planner.start();
    let plan = planner.plan(&start);
    let followed = oracle.follow(&planner, &start, &position);
    let (low, high) = (1.0 - 1e-9, 1.0 + 1e-9);
    assert!(
        followed <= plan.minutes * high + 1e-9,
        "model {number}: costs {followed}, promised {}",
        plan.minutes
    );
    assert!(
        followed >= best * low - 1e-9,
        "model {number}: costs {followed}, below the optimum {best}"
    );
    assert!(
        plan.at_least <= best * high + 1e-9,
        "model {number}: bound {} above {best}",
        plan.at_least
    );
    if plan.exact {
        let off = (plan.minutes - best).abs();
        assert!(
            off <= 1e-7 * best.max(1.0),
            "model {number}: 'exact' {}, optimum {best}",
            plan.minutes
        );
    }
    let worst = if best > 0.0 { followed / best } else { 1.0 };
    Ratios {
        sum: worst,
        worst,
        worst_model: number,
        exact: u64::from(plan.exact),
        models: 1,
    }
}

/// All models, each planned in all these ways; two threads share the work.
fn campaign(name: &str, of: fn(u64) -> Problem, ways: &[(&str, Options<'static>)]) -> Vec<Ratios> {
    let part = |remainder: u64| {
        let mut found = vec![Ratios::default(); ways.len()];
        let mut baseline = (0.0, 0.0);
        for number in (0..MODELS).filter(|n| n / 2 % 2 == remainder) {
            let problem = of(number);
            let mut oracle = Oracle::new(&problem);
            let best = oracle.best(&oracle.start());
            let full = plan(&problem, &effort(u64::MAX)).expect("as random as it is");
            assert!(full.exact, "model {number}: searched to the end");
            assert!(
                (full.minutes - best).abs() <= 1e-7 * best.max(1.0),
                "model {number}: {} by full search, optimum {best}",
                full.minutes
            );
            baseline.0 += if best > 0.0 {
                full.baseline / best
            } else {
                1.0
            };
            baseline.1 += 1.0;
            for ((_, options), all) in ways.iter().zip(&mut found) {
                all.add(&ratio(number, &problem, options, &oracle, best));
            }
        }
        (found, baseline)
    };
    let ((mut found, here), (other, there)) = std::thread::scope(|scope| {
        let other = scope.spawn(|| part(1));
        (part(0), other.join().expect("the other half"))
    });
    let mean = (here.0 + there.0) / (here.1 + there.1);
    println!("{name}: full search is the optimum in all {MODELS}; baseline {mean:.4} x optimum");
    for (((way, _), all), half) in ways.iter().zip(&mut found).zip(&other) {
        all.add(half);
        let Ratios {
            worst,
            worst_model,
            exact,
            ..
        } = *all;
        println!(
            "{name}, {way}: mean {:.4} x optimum, worst {worst:.4} x (model {worst_model}), proven {exact} of {MODELS}",
            all.mean()
        );
    }
    found
}

fn depth(depth: u8) -> Options<'static> {
    Options {
        depth,
        ..Options::default()
    }
}

fn effort(effort: u64) -> Options<'static> {
    Options {
        effort,
        ..Options::default()
    }
}

#[test]
fn repair() {
    let ways = [
        ("usual effort", Options::default()),
        ("1 step ahead", depth(1)),
        ("2 steps ahead", depth(2)),
        ("3 steps ahead", depth(3)),
        ("effort 200", effort(200)),
        ("effort 2000", effort(2000)),
    ];
    let found = campaign("repair", model, &ways);
    assert!(found[0].worst <= 1.01);
    for r in &found {
        assert!(
            r.mean() <= 1.03 && r.worst <= 1.25,
            "mean {}, worst {}",
            r.mean(),
            r.worst
        );
    }
}

#[test]
fn identification_by_sure_tests() {
    let ways = [
        ("usual effort", Options::default()),
        ("1 step ahead", depth(1)),
        ("2 steps ahead", depth(2)),
    ];
    let found = campaign("identification", identification, &ways);
    assert!(found[0].worst <= 1.01);
    for r in &found {
        assert!(
            r.mean() <= 1.03 && r.worst <= 1.25,
            "mean {}, worst {}",
            r.mean(),
            r.worst
        );
    }
}
