//! The engine beside a general Bayesian-network library from PyPI on the same models in one run:
//! `cargo bench --bench ratio` prints a table.
//!
//! The library (pyagrum, compiled code) gets each model twice: in its natural form, one table for each check over all
//! causes that touch it, and folded by hand, as a chain of small tables with the passing checks put into the causes. Its
//! time is that of setting the evidence and computing all posteriors, reading the file not included; ours is the whole of
//! [`posterior`]. It gets 6 GB and a minute for each.

#[path = "../common/models.rs"]
#[allow(dead_code)]
mod models;
#[path = "../outside/python.rs"]
#[allow(dead_code)]
mod python;

use models::{Board, Shape, board, random, read_all};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;
use whichsocket::export::tables::{Form, tables};
use whichsocket::export::{Names, bif};
use whichsocket::infer::network::{CheckId, Network};
use whichsocket::infer::{Limits, posterior};

/// A network with its name.
fn cases() -> Vec<(String, Network)> {
    let mut cases = Vec::new();
    for (causes, checks) in [(8, 8), (12, 10), (16, 12)] {
        let net = random(
            &Shape {
                causes,
                most_modes: 1,
                checks,
                runs: 1,
                common: 2,
                density: 0.5,
                flaky: 0.0,
                extreme: 0.0,
                read: (1.0, 0.5),
                leak: 0.05,
            },
            1,
        );
        cases.push((format!("{causes}x{checks}, one mode each"), net));
    }
    for (causes, checks, wide, failing) in [
        (12, 10, 2, 4),
        (40, 40, 3, 4),
        (40, 40, 3, 8),
        (150, 120, 4, 8),
    ] {
        let size = Board {
            causes,
            checks,
            matrix: 0,
            wide,
            common: 4,
        };
        let mut net = board(&size, 1);
        let failed: Vec<CheckId> = (checks - failing..checks).collect();
        read_all(&mut net, &failed);
        cases.push((format!("{causes}x{checks}, {failing} failing"), net));
    }
    cases
}

/// Median seconds of one inference.
fn ours(net: &Network) -> f64 {
    let mut times: Vec<f64> = (0..51)
        .map(|_| {
            let start = Instant::now();
            black_box(posterior(black_box(net), &Limits::default())).expect("possible");
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Seconds the library takes, or why it did not come to an end.
fn theirs(net: &Network, form: Form, folder: &Path) -> Result<f64, &'static str> {
    let names = Names::numbered(net);
    let Ok(tables) = tables(net, &names, form) else {
        return Err("a table beyond 2^20 numbers");
    };
    let file = folder.join("model.bif");
    std::fs::write(&file, bif::write(&tables, "model")).expect("can be written");
    let out = Command::new("timeout")
        .arg("60")
        .arg(python::python())
        .arg("tests/outside/bn.py")
        .arg(&file)
        .output()
        .expect("timeout can be run");
    match out.status.code() {
        Some(0) => {
            let text = String::from_utf8(out.stdout).expect("text");
            let found: python::Found = serde_json::from_str(&text).expect("a result");
            Ok(found.seconds)
        }
        Some(124) => Err("over a minute"),
        _ if String::from_utf8_lossy(&out.stderr).contains("alloc") => Err("over 6 GB"),
        _ => Err("failed"),
    }
}

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    println!(
        "{:<26} {:>10}  {:>30}  {:>30}",
        "model", "ours", "library, natural form", "library, folded by hand"
    );
    for (name, net) in cases() {
        let mine = ours(&net);
        let cell = |form| match theirs(&net, form, folder) {
            Ok(seconds) => format!("{:.2} ms = {:.0} times", seconds * 1e3, seconds / mine),
            Err(why) => why.to_string(),
        };
        println!(
            "{name:<26} {:>7.3} ms  {:>30}  {:>30}",
            mine * 1e3,
            cell(Form::Whole),
            cell(Form::Chained)
        );
    }
}
