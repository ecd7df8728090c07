//! The ranking's numbers against a general Bayesian-network library from PyPI (pyagrum), live, through the interchange
//! format: random networks in both forms, and sub-models of the shipped boards under every sample.

#[path = "common/models.rs"]
#[allow(dead_code)]
mod models;
#[path = "outside/python.rs"]
mod python;

use models::{Shape, random};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use whichsocket::export::merge::merge_modes;
use whichsocket::export::tables::{Form, Tables, tables};
use whichsocket::export::{Names, bif, restrict};
use whichsocket::infer::network::{Network, Posterior};
use whichsocket::infer::{InferError, Limits, posterior};
use whichsocket::rank::rank;
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

/// Agreement asked for with the library.
const TOLERANCE: f64 = 1e-6;

/// Joint states of the suspects of a sub-model: beyond ten times this the library needs more than 6 GB.
const MOST_STATES: f64 = 3e5;

/// A network written down for the library, and what the engine says of it.
struct Case {
    file: PathBuf,
    tables: Tables,
    ours: Posterior,
}

fn write(folder: &Path, name: &str, net: &Network, names: &Names, form: Form) -> Option<Case> {
    let ours = match posterior(net, &Limits::default()) {
        Ok(ours) => ours,
        // Readings that nothing can give have no posterior for anybody.
        Err(InferError::Impossible) => return None,
        Err(error) => panic!("{name}: {error}"),
    };
    assert_eq!(ours.unexplored_mass, 0.0, "{name}: not an exact sum");
    let tables = tables(net, names, form).expect("small enough for tables");
    let file = folder.join(format!("{name}.bif"));
    std::fs::write(&file, bif::write(&tables, name)).expect("can be written");
    Some(Case { file, tables, ours })
}

/// The largest difference between the library's posteriors and ours.
fn largest_difference(cases: &[Case]) -> f64 {
    let files: Vec<&Path> = cases.iter().map(|c| c.file.as_path()).collect();
    let found = python::posteriors(&files);
    let mut largest: f64 = 0.0;
    for case in cases {
        let theirs: &BTreeMap<String, Vec<f64>> = &found[&case.file].values;
        let order = bif::names(&case.tables);
        for (variable, modes) in case.tables.causes.iter().zip(&case.ours.modes) {
            let theirs = &theirs[&order[*variable]];
            assert_eq!(theirs.len(), modes.len() + 1);
            for (p, q) in modes.iter().zip(&theirs[1..]) {
                largest = largest.max((p - q).abs());
            }
        }
        for (variable, p) in case.tables.common.iter().zip(&case.ours.common) {
            largest = largest.max((p - theirs[&order[*variable]][1]).abs());
        }
    }
    largest
}

/// As many of the leading suspects as the library holds in its tables: it ends up with a table over the states of all
/// causes of one reading.
fn leading(net: &Network, order: &[usize]) -> Vec<usize> {
    let mut states = 1.0;
    let fits = |&&c: &&usize| {
        states *= (net.causes[c].modes.len() + 1) as f64;
        states <= MOST_STATES
    };
    order.iter().take_while(fits).copied().collect()
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::create_dir_all(&folder).expect("can be made");
    folder
}

#[test]
fn random_networks_agree_with_the_library_in_both_forms() {
    let folder = folder("outside-random");
    let mut cases = Vec::new();
    for seed in 0..40 {
        let net = random(
            &Shape {
                causes: 3 + seed as usize % 6,
                most_modes: 3,
                checks: 3 + seed as usize % 5,
                runs: 1 + seed as usize % 2,
                common: seed as usize % 4,
                density: 0.4,
                flaky: 0.3,
                extreme: 0.05,
                read: (0.9, 0.5),
                leak: 0.2,
            },
            seed,
        );
        let names = Names::numbered(&net);
        for (form, label) in [(Form::Whole, "whole"), (Form::Chained, "chained")] {
            cases.extend(write(
                &folder,
                &format!("{label}_{seed}"),
                &net,
                &names,
                form,
            ));
        }
    }
    assert!(cases.len() > 60, "most random readings are possible");
    let largest = largest_difference(&cases);
    println!(
        "{} random networks: largest difference {largest:.1e}",
        cases.len()
    );
    assert!(largest < TOLERANCE, "{largest:e}");
}

#[test]
fn shipped_boards_agree_with_the_library() {
    let folder = folder("outside-boards");
    let library = Library::open(None).expect("shipped maps");
    let mut cases = Vec::new();
    let mut samples: Vec<PathBuf> = std::fs::read_dir("samples")
        .expect("samples")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "run"))
        .collect();
    samples.sort();
    for path in &samples {
        let name = path
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .replace('-', "_");
        let text = std::fs::read(path).expect("readable");
        let sheet = parse(&name, &text).expect("a sheet");
        let board = whichsocket::commands::input::board_of(&sheet).expect("names its board");
        let model = library.board(board).expect("shipped");
        let ranking = rank(&model, std::slice::from_ref(&sheet)).expect("possible");
        let a = &ranking.assembled;
        // The leading suspects: all others taken to be fine.
        let mut order: Vec<usize> = (0..a.instances.len()).collect();
        order.sort_by(|&x, &y| {
            ranking
                .posterior
                .cause(y)
                .total_cmp(&ranking.posterior.cause(x))
        });
        let (net, names) = merge_modes(&a.net, &Names::of(&model, &ranking));
        let mut kept = leading(&net, &order);
        assert!(kept.len() >= 3, "{name}: only {} suspects fit", kept.len());
        kept.sort_unstable();
        let (net, names) = (restrict(&net, &kept), names.restrict(&kept));
        cases.extend(write(&folder, &name, &net, &names, Form::Chained));
    }
    assert_eq!(cases.len(), samples.len());
    let largest = largest_difference(&cases);
    println!(
        "{} sub-models of boards: largest difference {largest:.1e}",
        cases.len()
    );
    assert!(largest < TOLERANCE, "{largest:e}");
}
