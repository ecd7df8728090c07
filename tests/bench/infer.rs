//! How long the inference takes: `cargo bench --bench infer`.

#[path = "../common/models.rs"]
#[allow(dead_code)]
mod models;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use models::{Board, board, read_all};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand::seq::SliceRandom;
use std::hint::black_box;
use whichsocket::infer::network::{CheckId, Network};
use whichsocket::infer::{Limits, posterior};

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
const CHIPS: Board = Board {
    causes: 150,
    checks: 120,
    matrix: 0,
    wide: 4,
    common: 4,
};

/// A board with `failing` failing checks, the wide ones first, then any.
fn with_failing(size: &Board, failing: usize) -> Network {
    let mut net = board(size, 1);
    let mut others: Vec<CheckId> = (0..size.checks - size.wide).collect();
    others.shuffle(&mut StdRng::seed_from_u64(2));
    let wide = size.checks - size.wide..size.checks;
    let chosen: Vec<CheckId> = wide.chain(others).take(failing).collect();
    read_all(&mut net, &chosen);
    net
}

fn posteriors(c: &mut Criterion) {
    let mut group = c.benchmark_group("posterior");
    for (name, size) in [
        ("12x10", SMALL),
        ("40x40", MIDDLE),
        ("150x120 keys", LARGE),
        ("150x120 chips", CHIPS),
    ] {
        for failing in [1, 4, 8, 12, 16] {
            if failing > size.checks {
                continue;
            }
            let net = with_failing(&size, failing);
            group.bench_with_input(BenchmarkId::new(name, failing), &net, |b, net| {
                b.iter(|| black_box(posterior(net, &Limits::default()).unwrap()));
            });
        }
    }
    let mut net = board(&LARGE, 1);
    let keys: Vec<CheckId> = (0..64).collect();
    read_all(&mut net, &keys);
    group.bench_function("150x120 64 dead keys", |b| {
        b.iter(|| black_box(posterior(&net, &Limits::default()).unwrap()))
    });
    group.finish();
}

criterion_group!(benches, posteriors);
criterion_main!(benches);
