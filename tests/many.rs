//! Many sheets: the short way gives the same ranking, whatever was kept of earlier sheets, on any number of threads.

#[path = "common/sheets.rs"]
mod sheets;

use sheets::random_sheet;
use whichsocket::commands::input;
use whichsocket::many::rank_each;
use whichsocket::rank::{Ranking, brief, rank};
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

const SHEETS: u64 = 150;

/// A dark board probed at many pins: what a fault does to lines hangs together, passing or not.
const DARK: &str = "board 64k-6510-wide\ncame in faulty\nblack screen\nU7.40 high\nU7.39 low\nU7.7 pulsing\nU7.8 low\nU7.9 low\n\
                    U7.10 pulsing\nU7.11 pulsing\nU7.12 low\nU7.13 low\nU7.14 pulsing\nU19.18 high\nU17.18 high\n";

fn read(seed: u64) -> Vec<RunSheet> {
    if seed == SHEETS {
        return vec![parse("a dark board", DARK.as_bytes()).unwrap()];
    }
    vec![parse("a sheet", random_sheet(seed).as_bytes()).unwrap()]
}

/// Names with probabilities and those of their modes; groups; common causes; ln P(readings).
type Told = (
    Vec<(String, f64, Vec<(u32, f64)>)>,
    Vec<Vec<String>>,
    Vec<f64>,
    f64,
);

fn told(r: &Ranking) -> Told {
    let suspects = r
        .suspects
        .iter()
        .map(|s| (s.name.clone(), s.probability, s.modes.clone()));
    let common = r.common.iter().map(|c| c.1).collect();
    let ln = r.posterior.log_evidence;
    (suspects.collect(), r.groups.clone(), common, ln)
}

fn close(a: &Told, b: &Told, what: &str) {
    assert_eq!(a.1, b.1, "{what}: groups");
    assert_eq!(a.0.len(), b.0.len(), "{what}");
    for ((name, p, modes), (other, q, others)) in a.0.iter().zip(&b.0) {
        assert_eq!(name, other, "{what}");
        assert!((p - q).abs() < 1e-9, "{what}: {name} {p} {q}");
        assert_eq!(modes.len(), others.len(), "{what}: {name}");
        for ((m, p), (n, q)) in modes.iter().zip(others) {
            assert_eq!(m, n, "{what}: {name}");
            assert!((p - q).abs() < 1e-9 * p.max(1e-6), "{what}: {name} {p} {q}");
        }
    }
    for (x, y) in a.2.iter().zip(&b.2) {
        assert!((x - y).abs() < 1e-9, "{what}: common causes {x} {y}");
    }
    assert!(
        (a.3 - b.3).abs() < 1e-9 * a.3.abs(),
        "{what}: {} {}",
        a.3,
        b.3
    );
}

/// How many effects the network of a ranking lists.
fn listed(r: &Ranking) -> usize {
    let modes = r.assembled.net.causes.iter().flat_map(|c| &c.modes);
    modes.map(|m| m.effects.len()).sum()
}

#[test]
fn the_short_ways_rank_as_the_long_one_and_on_fresh_boards() {
    let library = Library::open(None).unwrap();
    let (mut without, mut shorter) = (0, 0);
    for seed in 0..=SHEETS {
        let sheets = read(seed);
        let board = input::board(&library, None, &sheets).unwrap();
        // A copy of the board has kept nothing of earlier sheets.
        let fresh = rank(&board.as_ref().clone(), &sheets).unwrap();
        let kept = told(&rank(&board, &sheets).unwrap());
        assert_eq!(told(&fresh), kept, "{seed}");
        let brief = brief(&board, &sheets).unwrap();
        close(&kept, &told(&brief), &format!("sheet {seed}"));
        match listed(&brief) {
            0 => without += 1,
            n => shorter += u64::from(n < listed(&fresh)),
        }
    }
    assert!(
        without > SHEETS / 2 && shorter > SHEETS / 10 && without + shorter > SHEETS,
        "the short ways were hardly taken: {without} and {shorter} of {SHEETS}"
    );
}

#[test]
fn the_short_ways_rank_every_sample_as_the_long_one() {
    let library = Library::open(None).unwrap();
    let mut ranked = 0;
    for entry in std::fs::read_dir("samples").unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "run") {
            continue;
        }
        let what = path.display().to_string();
        let sheets = [parse(&what, &std::fs::read(&path).unwrap()).unwrap()];
        let Ok(board) = input::board(&library, None, &sheets) else {
            continue;
        };
        let long = told(&rank(&board, &sheets).unwrap());
        close(&long, &told(&brief(&board, &sheets).unwrap()), &what);
        ranked += 1;
    }
    assert!(ranked >= 10, "only {ranked} samples");
}

#[test]
fn any_number_of_threads_gives_the_same_in_order() {
    let library = Library::open(None).unwrap();
    let on = |threads| {
        let mut out = Vec::new();
        rank_each(
            &library,
            (0..SHEETS).map(read),
            threads,
            |sheets, ranked| {
                let ranked = ranked?;
                out.push((
                    sheets[0].text.clone(),
                    ranked.board.board.clone(),
                    told(&ranked.ranking),
                ));
                Ok::<(), String>(())
            },
        )
        .unwrap();
        out
    };
    let one = on(1);
    assert_eq!(one.len(), SHEETS as usize);
    assert_eq!(one, on(3));
    for (seed, (text, ..)) in one.iter().enumerate() {
        assert_eq!(*text, random_sheet(seed as u64));
    }
}

#[test]
fn a_sheet_without_a_board_is_told_in_its_place() {
    let library = Library::open(None).unwrap();
    let texts = [
        "board dunlin-64; memory bit 3 bad",
        "memory bit 3 bad",
        "board no-such; rest fine",
    ];
    let machines = texts
        .iter()
        .map(|t| vec![parse("a sheet", t.as_bytes()).unwrap()]);
    let mut went_well = Vec::new();
    let done = rank_each(&library, machines, 2, |_, ranked| {
        went_well.push(ranked.is_ok());
        Ok::<(), ()>(())
    });
    assert_eq!((done, went_well), (Ok(()), vec![true, false, false]));
}
