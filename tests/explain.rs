//! The reasons are what they say: differences between rankings of the sheet cut short, and of the sheet without a line.

use std::path::Path;
use whichsocket::commands::input::board_of;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::prior::exposure::FAULTS_CAME_IN_FAULTY;
use whichsocket::rank::explain::explain;
use whichsocket::rank::network::Instance;
use whichsocket::rank::{Ranking, rank, suspects};
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

fn probability(model: &BoardModel, r: &Ranking, instance: Instance) -> f64 {
    let all = suspects(model, &r.assembled, &r.posterior, 0.0);
    all.iter()
        .find(|s| s.instance == instance)
        .map_or(0.0, |s| s.probability)
}

fn decibans(p: f64) -> f64 {
    (10.0 * (p / (1.0 - p)).log10()).clamp(-300.0, 300.0)
}

/// Ranks text that may have lost all its lines but the board's.
fn of_text(model: &BoardModel, text: &str) -> Ranking {
    let sheet: RunSheet = parse("cut", text.as_bytes()).unwrap();
    rank(model, &[sheet]).unwrap()
}

/// All sheets and tickets of a folder and the folders in it.
fn samples(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            out.extend(samples(&path));
        } else if path
            .extension()
            .is_some_and(|e| e == "run" || e == "ticket")
        {
            out.push(path);
        }
    }
    out
}

#[test]
fn weights_are_differences_between_rankings() {
    let mut compared = 0;
    for path in samples(&Path::new(env!("CARGO_MANIFEST_DIR")).join("samples")) {
        let text = std::fs::read_to_string(&path).unwrap();
        let sheet = parse("sample", text.as_bytes()).unwrap();
        let board = board_of(&sheet).unwrap().to_string();
        let model = Library::default().board(&board).unwrap();
        let full = rank(&model, std::slice::from_ref(&sheet)).unwrap();
        let of: Vec<_> = full.suspects.iter().take(3).cloned().collect();
        let why = explain(&model, std::slice::from_ref(&sheet), &full, &of);
        let lines: Vec<&str> = text.lines().collect();
        // The board's own line stays, since without it there is nothing to rank on.
        let cut = |keep: &dyn Fn(usize) -> bool| {
            let kept =
                |(i, l): (usize, &&str)| (keep(i + 1) || l.contains(&board)).then(|| l.to_string());
            lines
                .iter()
                .enumerate()
                .filter_map(kept)
                .collect::<Vec<_>>()
                .join("\n")
        };
        for (suspect, (before, weights)) in of.iter().zip(&why.suspects) {
            let mut steps = vec![decibans(*before)];
            for (k, w) in weights.iter().enumerate() {
                let upto = weights.get(k + 1).map_or(usize::MAX, |next| next.line.line);
                let prefix = of_text(&model, &cut(&|n| n < upto));
                steps.push(decibans(probability(&model, &prefix, suspect.instance)));
                let step = steps[k + 1] - steps[k];
                assert!(
                    (w.decibans - step).abs() < 1e-6,
                    "{path:?} line {}: {} {step}",
                    w.line.line,
                    w.decibans
                );
                let less = of_text(&model, &cut(&|n| n != w.line.line));
                let without = probability(&model, &less, suspect.instance);
                assert!(
                    (w.without - without).abs() < 1e-9,
                    "{path:?} line {}",
                    w.line.line
                );
                compared += 2;
            }
            let sum: f64 = decibans(*before) + weights.iter().map(|w| w.decibans).sum::<f64>();
            assert!(
                (sum - decibans(suspect.probability)).abs() < 1e-6,
                "{path:?} {}",
                suspect.name
            );
        }
    }
    println!("{compared} weights compared");
    assert!(compared > 200);
}

#[test]
fn without_a_reading_the_stated_number_of_faults_is_expected() {
    for board in ["64k-6510-wide", "dunlin-64"] {
        let model = Library::default().board(board).unwrap();
        let r = of_text(&model, "came in faulty");
        let expected: f64 = (0..r.assembled.instances.len())
            .map(|c| r.posterior.cause(c))
            .sum();
        assert!(
            (expected - FAULTS_CAME_IN_FAULTY).abs() < 1e-6,
            "{board}: {expected}"
        );
    }
}

/// Counted repairs (8 wide boards with a black screen, 4 boards of one owner): logic array on 6 of 12, memory on 5, the
/// processor on none.
#[test]
fn the_wide_board_expects_logic_array_and_memory_before_the_processor() {
    let model = Library::default().board("64k-6510-wide").unwrap();
    let r = of_text(&model, "came in faulty");
    let p = |name: &str| {
        r.suspects
            .iter()
            .find(|s| s.name == name)
            .map_or(0.0, |s| s.probability)
    };
    let memory = 1.0
        - ["U9", "U10", "U11", "U12", "U21", "U22", "U23", "U24"]
            .iter()
            .map(|u| 1.0 - p(u))
            .product::<f64>();
    println!(
        "logic array {:.3}, any memory chip {memory:.3}, processor {:.3}",
        p("U17"),
        p("U7")
    );
    assert!(p("U17") > 2.0 * p("U7") && memory > 2.0 * p("U7"));
    assert!(
        p("U17") > p("U9"),
        "the logic array before any single memory chip"
    );
}

/// Readings that nothing gives, with the slip that was made: the line as it was meant must be the one proposed.
#[test]
fn the_likeliest_slip_is_the_one_that_was_made() {
    let library = whichsocket::shipped::Library::open(None).expect("shipped maps");
    let model = library.board("dunlin-64").expect("shipped");
    for (typed, meant) in [
        ("rail 5V 3.98", "rail 5V 4.98"),
        ("rail 5V 0.501", "rail 5V 05.01"),
    ] {
        let text =
            format!("board dunlin-64\ncame in faulty\n{typed}\nmemory bit 3 bad\nrest fine\n");
        let sheet = whichsocket::sheet::parse("slip", text.as_bytes()).expect("a sheet");
        let sheets = [sheet];
        let ranking = whichsocket::rank::rank(&model, &sheets).expect("possible");
        let found =
            whichsocket::rank::slip::likeliest(&model, &sheets, &ranking, (0, 3)).expect("a slip");
        assert_eq!(found.instead, meant, "{typed}");
        assert!(found.times > 10.0);
        // A line that fits is no slip.
        assert_eq!(
            whichsocket::rank::slip::likeliest(&model, &sheets, &ranking, (0, 4)),
            None
        );
    }
}
