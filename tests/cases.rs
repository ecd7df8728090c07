//! Documented repairs of real machines (`tests/cases/*.run`, one a sheet, written before any was ranked): in which
//! place is the part that was then proved faulty?
//!
//! A sheet holds what was seen before the step that decided the case. Comments behind it:
//! - `# deciding step: …` which step that was;
//! - `# decided by: …` its result as a line of a sheet, if it was a reading and not a swap of the culprit;
//! - `# proved: U5` or `# proved: U9, U10` what was proved faulty, in the order of the case; with several names it is
//!   not told which, or all were. `-`: not on the map. A pin of a connector counts as the connector; the contacts or
//!   joints of a chip do not count as the chip;
//! - `# missing: …` what the program lacked where the first proved part is not among the first three.
//!
//! Every third sheet in the order of names was kept aside: its place was looked at only when all sheets and this test
//! stood (since then the figures are known). Field factors of some part families were counted on repairs like these, so
//! neither share is one for repairs that nobody knew.
//! Print all places: `cargo test --test cases -- --nocapture`.

use whichsocket::faultmap::model::BoardModel;
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

/// What the issue asks of all cases: shares with the first proved part among the first three and the first five.
const GOALS: [f64; 2] = [0.60, 0.75];

/// What was reached of all cases, out of [`CASES`]: the test fails when it gets worse. Below the goals: see the
/// `# missing:` lines of the sheets.
const REACHED: [usize; 2] = [19, 19];

const CASES: usize = 27;

struct Case {
    id: String,
    board: BoardModel,
    /// The sheet up to the deciding step.
    before: String,
    decided_by: Option<String>,
    /// Names that count, for each proved part in the order of the case. Empty: not on the map.
    proved: Vec<Vec<String>>,
    missing: Option<String>,
    kept_aside: bool,
}

/// Contents of the comment lines that begin with this word.
fn marked(text: &str, word: &str) -> Vec<String> {
    let mark = format!("# {word}: ");
    text.lines()
        .filter_map(|l| l.strip_prefix(&mark))
        .map(|l| l.trim().to_string())
        .collect()
}

fn sheet(id: &str, text: &str) -> RunSheet {
    let sheet = parse(id, text.as_bytes()).unwrap();
    for line in &sheet.lines {
        assert!(
            line.not_understood.is_none(),
            "{id}: line {} is not understood",
            line.number
        );
    }
    sheet
}

fn cases() -> Vec<Case> {
    let library = Library::default();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "run"))
        .collect();
    paths.sort();
    let read = |(place, path): (usize, &std::path::PathBuf)| {
        let id = path.file_stem().unwrap().to_string_lossy().to_string();
        let text = std::fs::read_to_string(path).unwrap();
        let (before, behind) = text
            .split_once("# deciding step: ")
            .unwrap_or_else(|| panic!("{id}: no '# deciding step: '"));
        let mut later = behind.lines().skip(1);
        assert!(
            later.all(|l| l.starts_with("# ")),
            "{id}: a statement behind the deciding step"
        );
        let name = whichsocket::commands::input::board_of(&sheet(&id, before))
            .unwrap_or_else(|| panic!("{id}: no board"))
            .to_string();
        let board = library.board(&name).unwrap();
        let proved: Vec<Vec<String>> = marked(behind, "proved")
            .iter()
            .map(|l| l.split(", ").filter(|n| *n != "-"))
            .map(|names| names.map(str::to_string).collect())
            .collect();
        assert!(!proved.is_empty(), "{id}: nothing proved");
        for name in proved.iter().flatten() {
            let known = board.units.iter().any(|u| u.name == *name);
            assert!(known, "{id}: {name} is no unit of its board");
        }
        Case {
            board,
            before: before.to_string(),
            decided_by: marked(behind, "decided by").pop(),
            proved,
            missing: marked(behind, "missing").pop(),
            kept_aside: place % 3 == 2,
            id,
        }
    };
    paths.iter().enumerate().map(read).collect()
}

/// Place of the first suspect, from 1, that is one of these.
fn place(ranking: &Ranking, names: &[String]) -> Option<usize> {
    let is = |suspect: &str, name: &str| {
        suspect == name
            || suspect
                .strip_prefix(name)
                .is_some_and(|rest| rest.starts_with(" pin "))
    };
    let found = |suspect: &str| names.iter().any(|name| is(suspect, name));
    ranking
        .suspects
        .iter()
        .position(|s| found(&s.name))
        .map(|i| i + 1)
}

/// 95 % score interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209):
/// (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n).
fn interval(hits: usize, of: usize) -> (f64, f64) {
    let (n, z) = (of as f64, 1.959_964_f64);
    let p = hits as f64 / n;
    let middle = p + z * z / (2.0 * n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    ((middle - half) / scale, (middle + half) / scale)
}

/// Published: 81 of 263 gives 0.2553 to 0.3662, 1 of 29 gives 0.0061 to 0.1718 (Newcombe 1998, Stat. Med. 17:857,
/// table I, method 3; figures from memory).
#[test]
fn the_interval_is_the_published_one() {
    for (hits, of, low, high) in [(81, 263, 0.2553, 0.3662), (1, 29, 0.0061, 0.1718)] {
        let (l, h) = interval(hits, of);
        assert!(
            (l - low).abs() < 1e-4 && (h - high).abs() < 1e-4,
            "{hits} of {of}: {l} to {h}"
        );
    }
}

fn show(place: Option<usize>) -> String {
    place.map_or("none".to_string(), |p| p.to_string())
}

/// Counts of places among the first three and the first five, printed with their intervals.
fn count(what: &str, places: &[Option<usize>]) -> [usize; 2] {
    [3, 5].map(|first| {
        let hits = places
            .iter()
            .filter(|p| p.is_some_and(|p| p <= first))
            .count();
        let (low, high) = interval(hits, places.len());
        println!(
            "{what}, in the first {first}: {hits} of {} ({:.0} %, 95 % interval {:.0} to {:.0} %)",
            places.len(),
            100.0 * hits as f64 / places.len() as f64,
            100.0 * low,
            100.0 * high
        );
        hits
    })
}

#[test]
fn the_first_proved_part_is_among_the_first_suspects() {
    let cases = cases();
    assert_eq!(cases.len(), CASES);
    println!("case  place  any proved part  with the deciding reading");
    let (mut all, mut any, mut with) = (Vec::new(), Vec::new(), Vec::new());
    for case in &cases {
        let ranked = |text: &str| rank(&case.board, &[sheet(&case.id, text)]).unwrap();
        let before = ranked(&case.before);
        let first = place(&before, &case.proved[0]);
        let best = case.proved.iter().filter_map(|p| place(&before, p)).min();
        let decided = case.decided_by.as_ref().map_or(first, |line| {
            place(
                &ranked(&format!("{}{line}\n", case.before)),
                &case.proved[0],
            )
        });
        println!(
            "{}  {:>5}  {:>15}  {:>25}{}",
            case.id,
            show(first),
            show(best),
            case.decided_by.as_ref().map_or("", |_| "*").to_string() + &show(decided),
            if case.kept_aside { "  kept aside" } else { "" }
        );
        all.push(first);
        any.push(best);
        with.push(decided);
    }
    let part = |aside: bool| -> Vec<Option<usize>> {
        let of = cases.iter().zip(&all);
        of.filter(|(c, _)| c.kept_aside == aside)
            .map(|(_, p)| *p)
            .collect()
    };
    let reached = count("all", &all);
    count("looked at", &part(false));
    count("kept aside", &part(true));
    count("any proved part", &any);
    count("with the deciding reading (*)", &with);
    for (case, place) in cases.iter().zip(&all) {
        if place.is_none_or(|p| p > 3) {
            let missing = case.missing.as_deref();
            println!("{}: {}", case.id, missing.unwrap_or("?"));
            assert!(
                missing.is_some(),
                "{}: a miss without '# missing: '",
                case.id
            );
        }
    }
    for ((hits, goal), (least, first)) in reached.iter().zip(GOALS).zip(REACHED.iter().zip([3, 5]))
    {
        let short = *hits as f64 / (CASES as f64) < goal;
        println!(
            "first {first}: goal {:.0} % {}",
            100.0 * goal,
            if short { "missed" } else { "met" }
        );
        assert!(
            hits >= least,
            "first {first}: {hits} of {CASES}, reached before: {least}"
        );
    }
}
