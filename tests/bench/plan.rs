//! How long a plan takes: `cargo bench --bench plan`. Before the timings, the figures of each plan.

#[path = "../plan_support/mod.rs"]
#[allow(dead_code)]
mod plan_support;

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use plan_support::{Random, bench_sized};
use whichsocket::plan::{Options, plan};

fn sizes(criterion: &mut Criterion) {
    for (suspects, steps, hypotheses) in [(4, 10, 6), (8, 24, 20), (12, 40, 60), (20, 80, 150)] {
        let problem = bench_sized(&mut Random(1), suspects, steps, hypotheses);
        let name = format!("{suspects} suspects, {steps} steps, {hypotheses} hypotheses");
        for times in [1, 10, 100] {
            let effort = times * Options::default().effort;
            let options = Options {
                effort,
                ..Options::default()
            };
            let found = plan(&problem, &options).expect("well formed");
            println!(
                "{name}, {times} x the usual effort: {:.2} minutes, baseline {:.2}, at least {:.2}, \
                 exact {}, {} steps ahead, {} states",
                found.minutes,
                found.baseline,
                found.at_least,
                found.exact,
                found.depth,
                found.states
            );
        }
        criterion.bench_function(&name, |b| {
            b.iter(|| plan(black_box(&problem), &Options::default()));
        });
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = sizes
}
criterion_main!(benches);
