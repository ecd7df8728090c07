//! How long the inference takes: `cargo bench --bench infer`.
//!
//! `posterior`: all posteriors, boards of three sizes, 1 to 16 failing readings (the wide ones first, so that readings
//! with more than half of the causes are among them) and 64 dead keys. `predict`: outcome probabilities and expected
//! gains of all unread checks. `growth`: with the number of checks, of edges, and of failing readings that no structure
//! makes easier. `hypotheses`: the leading joint states.

#[path = "../common/models.rs"]
#[allow(dead_code)]
mod models;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use models::{Board, Shape, board, draw_readings, random, read_all};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand::seq::SliceRandom;
use std::hint::black_box;
use whichsocket::infer::network::{CheckId, Network};
use whichsocket::infer::{Limits, leading_hypotheses, posterior, predict};

const SMALL: Board = Board {
    causes: 12,
    checks: 10,
    matrix: 0,
    wide: 2,
    common: 2,
};
const MIDDLE: Board = Board {
    causes: 40,
    checks: 40,
    matrix: 0,
    wide: 3,
    common: 3,
};
const LARGE: Board = Board {
    causes: 150,
    checks: 120,
    matrix: 8,
    wide: 4,
    common: 4,
};
/// As large, without a keyboard: all causes are chips with up to four modes.
const CHIPS: Board = Board { matrix: 0, ..LARGE };
const SIZES: [(&str, Board); 4] = [
    ("12x10", SMALL),
    ("40x40", MIDDLE),
    ("150x120 keys", LARGE),
    ("150x120 chips", CHIPS),
];

/// A board with `failing` failing checks, the wide ones first, then any; the others passed.
fn with_failing(size: &Board, failing: usize) -> (Network, Vec<CheckId>) {
    let mut net = board(size, 1);
    let mut others: Vec<CheckId> = (0..size.checks - size.wide).collect();
    others.shuffle(&mut StdRng::seed_from_u64(2));
    let wide = size.checks - size.wide..size.checks;
    let chosen: Vec<CheckId> = wide.chain(others).take(failing).collect();
    read_all(&mut net, &chosen);
    (net, chosen)
}

fn posteriors(c: &mut Criterion) {
    let mut group = c.benchmark_group("posterior");
    for (name, size) in SIZES {
        for failing in [1, 2, 4, 8, 12, 16]
            .into_iter()
            .filter(|&f| f <= size.checks)
        {
            let (net, _) = with_failing(&size, failing);
            group.bench_with_input(BenchmarkId::new(name, failing), &net, |b, net| {
                b.iter(|| black_box(posterior(net, &Limits::default())).expect("possible"));
            });
        }
    }
    let mut net = board(&LARGE, 1);
    let keys: Vec<CheckId> = (0..64).collect();
    read_all(&mut net, &keys);
    let found = posterior(&net, &Limits::default()).expect("possible");
    let leader = (0..net.causes.len()).max_by(|&a, &b| found.cause(a).total_cmp(&found.cause(b)));
    assert_eq!(leader, Some(0), "64 dead keys are the plug");
    group.bench_function("64 dead keys", |b| {
        b.iter(|| black_box(posterior(&net, &Limits::default())).expect("possible"));
    });
    group.finish();
}

fn predictions(c: &mut Criterion) {
    let mut group = c.benchmark_group("predict");
    group.sample_size(10);
    for (name, size) in SIZES {
        for failing in [4, 8, 12].into_iter().filter(|&f| f < size.checks) {
            let (mut net, chosen) = with_failing(&size, failing);
            // Every twentieth check passed, all others are open.
            for (id, check) in net.checks.iter_mut().enumerate() {
                if !chosen.contains(&id) && id % 20 != 3 {
                    check.seen = None;
                }
            }
            let open: Vec<CheckId> = (0..net.checks.len())
                .filter(|&id| net.checks[id].seen.is_none())
                .collect();
            let label = format!("{name}, {} open", open.len());
            group.bench_with_input(BenchmarkId::new(label, failing), &net, |b, net| {
                b.iter(|| black_box(predict(net, &open, &Limits::default())).expect("possible"));
            });
        }
    }
    group.finish();
}

fn growth(c: &mut Criterion) {
    let mut group = c.benchmark_group("growth");
    group.sample_size(10);
    for checks in [60, 120, 240, 480] {
        let (net, _) = with_failing(
            &Board {
                causes: checks,
                checks,
                ..CHIPS
            },
            8,
        );
        group.bench_with_input(
            BenchmarkId::new("checks and causes", checks),
            &net,
            |b, net| {
                b.iter(|| black_box(posterior(net, &Limits::default())).expect("possible"));
            },
        );
    }
    for failing in [6, 8, 10, 12, 14] {
        let mut net = random(
            &Shape {
                causes: 40,
                most_modes: 2,
                checks: failing,
                runs: 1,
                common: 2,
                density: 0.3,
                flaky: 0.0,
                extreme: 0.0,
                read: (1.0, 1.0),
                leak: 0.02,
            },
            3,
        );
        net.causes
            .iter_mut()
            .flat_map(|c| &mut c.modes)
            .flat_map(|m| &mut m.prior)
            .for_each(|p| *p *= 0.05);
        group.bench_with_input(
            BenchmarkId::new("failing, no structure", failing),
            &net,
            |b, net| {
                b.iter(|| black_box(posterior(net, &Limits::default())).expect("possible"));
            },
        );
    }
    group.finish();
}

fn hypotheses(c: &mut Criterion) {
    let mut group = c.benchmark_group("hypotheses");
    group.sample_size(10);
    for (name, size) in SIZES {
        for broken in [
            vec![size.causes * 2 / 3],
            vec![size.causes * 2 / 3, size.causes - 3],
        ] {
            let mut net = board(&size, 1);
            draw_readings(&mut net, &broken, 3);
            group.bench_with_input(BenchmarkId::new(name, broken.len()), &net, |b, net| {
                b.iter(|| {
                    black_box(leading_hypotheses(net, &Limits::default(), 0.9, 20))
                        .expect("possible")
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, posteriors, predictions, growth, hypotheses);
criterion_main!(benches);
