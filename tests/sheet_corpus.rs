//! Lines typed in haste by two people who knew the tour of the README only (`tests/corpus`), with the values that they
//! must be read to, which were written down before the reader was run on them.

use std::collections::BTreeSet;

use whichsocket::observe::observe;
use whichsocket::sheet::{RunSheet, Statement, parse, print_statement};
use whichsocket::shipped::Library;

/// What became of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    /// The right value, or rightly asked.
    Right,
    /// Nothing wrong was read, but not all of it, and that is told.
    Flagged,
    /// Something else was read, or something was lost, unseen.
    Wrong,
}

struct Case<'a> {
    typed: &'a str,
    /// What stands above it, for `as above`.
    above: &'a str,
    expected: &'a str,
}

fn cases(text: &str) -> Vec<Case<'_>> {
    let rows: Vec<Vec<&str>> = text
        .lines()
        .filter(|l| !l.starts_with("# "))
        .map(|l| l.split('\t').collect())
        .collect();
    let above = |i: usize| if i == 0 { "" } else { rows[i - 1][0] };
    let all = rows.iter().enumerate();
    all.map(|(i, row)| Case {
        typed: row[0],
        above: above(i),
        expected: row[1],
    })
    .collect()
}

/// The statements of the last line, printed; notes and complaints only where `texts` asks for them.
fn said(sheet: &RunSheet, number: usize) -> BTreeSet<String> {
    let line = sheet.lines.iter().find(|l| l.number == number);
    line.iter()
        .flat_map(|l| &l.statements)
        .map(|s| print_statement(&s.value))
        .collect()
}

fn is_remark(text: &str) -> bool {
    ["note ", "complaint ", "history "]
        .iter()
        .any(|word| text.starts_with(word))
}

/// Whether a board of the shipped ones has something to ask about the line, and takes nothing from it.
fn asked_by_a_board(typed: &str) -> bool {
    let sheet = parse("corpus", typed.as_bytes()).expect("a text");
    let boards = ["64k-6510-wide", "dunlin-64"];
    boards.iter().all(|board| {
        let model = Library::default().board(board).expect("a shipped board");
        let observed = observe(&model, std::slice::from_ref(&sheet));
        observed.readings.is_empty() && !observed.diags.is_empty()
    })
}

fn fate(case: &Case) -> (Fate, BTreeSet<String>) {
    let text = format!("{}\n{}", case.above, case.typed);
    let sheet = parse("corpus", text.as_bytes()).expect("a text");
    let got = said(&sheet, 2);
    let line = sheet.lines.iter().find(|l| l.number == 2);
    let told = line.is_some_and(|l| l.not_understood.is_some())
        || sheet.diags.iter().any(|d| {
            let (span, _) = d.label.as_ref().expect("a place");
            d.code == "ignored-words" && span.start > case.above.len()
        });
    // A board is known by its map, however its hyphens were typed.
    let got: BTreeSet<String> = got
        .into_iter()
        .map(|s| {
            match s
                .strip_prefix("board ")
                .map(|b| Library::default().board(b))
            {
                Some(Ok(model)) => format!("board {}", model.board),
                _ => s,
            }
        })
        .collect();
    let results: BTreeSet<String> = got.iter().filter(|s| !is_remark(s)).cloned().collect();
    let fate = match case.expected {
        "ASK" if results.is_empty() && told => Fate::Right,
        "ASK" if asked_by_a_board(case.typed) => Fate::Right,
        "ASK" => Fate::Wrong,
        "REMARK" if results.is_empty() => Fate::Right,
        "REMARK" => Fate::Wrong,
        "UNSAID" if results.is_empty() && told => Fate::Flagged,
        "UNSAID" => Fate::Wrong,
        expected => match expected.strip_prefix("UNSAID ") {
            Some(part) if told && results.iter().all(|r| r == part) => Fate::Flagged,
            Some(_) => Fate::Wrong,
            None => judged(expected, &got, &results, told),
        },
    };
    (fate, got)
}

fn judged(expected: &str, got: &BTreeSet<String>, results: &BTreeSet<String>, told: bool) -> Fate {
    let (expected, remark) = match expected.strip_suffix(" ~") {
        Some(rest) => (rest, true),
        None => (expected, false),
    };
    let right: Vec<BTreeSet<String>> = expected
        .split(" || ")
        .map(|way| way.split(" | ").map(String::from).collect())
        .collect();
    if right
        .iter()
        .any(|way| way == got || remark && way == results)
        && (remark || !told)
    {
        Fate::Right
    } else if told && right.iter().any(|way| results.is_subset(way)) {
        Fate::Flagged
    } else {
        Fate::Wrong
    }
}

/// Name of a corpus, its text, the lines it has at least.
const CORPORA: [(&str, &str, usize); 2] = [
    ("first", include_str!("corpus/haste.tsv"), 150),
    ("second", include_str!("corpus/haste2.tsv"), 150),
];

#[test]
fn hasty_lines_are_read_right_or_flagged() {
    for (name, text, least) in CORPORA {
        let cases = cases(text);
        assert!(cases.len() >= least, "{name}: {}", cases.len());
        let mut counts = [0usize; 3];
        let mut report = String::new();
        for case in &cases {
            let (fate, got) = fate(case);
            counts[fate as usize] += 1;
            if fate != Fate::Right {
                let got: Vec<&str> = got.iter().map(String::as_str).collect();
                report += &format!(
                    "{fate:?}: {:?}\n   got  {}\n   want {}\n",
                    case.typed,
                    got.join(" | "),
                    case.expected
                );
            }
        }
        let share = 100.0 * counts[0] as f64 / cases.len() as f64;
        println!(
            "{name} person: {} lines: {} right ({share:.1} %), {} flagged, {} wrong unseen",
            cases.len(),
            counts[0],
            counts[1],
            counts[2]
        );
        println!("{report}");
        assert_eq!(counts[2], 0, "{name}: wrong unseen:\n{report}");
        assert!(share >= 97.0, "{name}: {share:.1} % right:\n{report}");
    }
}

/// Every value that a corpus expects and the language has is one that prints and reads the same.
#[test]
fn expected_values_are_canonical() {
    for case in CORPORA.iter().flat_map(|(_, text, _)| cases(text)) {
        if matches!(case.expected, "ASK" | "REMARK") || case.expected.starts_with("UNSAID") {
            continue;
        }
        for statement in case
            .expected
            .trim_end_matches(" ~")
            .split(" || ")
            .flat_map(|w| w.split(" | "))
        {
            let sheet = parse("corpus", statement.as_bytes()).expect("a text");
            let again: Vec<&Statement> = sheet.statements().map(|s| &s.value).collect();
            assert!(
                again.len() == 1 && print_statement(again[0]) == statement,
                "{statement}: {again:?}"
            );
        }
    }
}

/// Snapshot of what is read of sheets that nobody wrote for the reader, beside what they meant: what is read must be what was meant, which
/// a reader of the snapshot sees.
fn as_meant(text: &str, sheets: usize) -> String {
    let blocks: Vec<Vec<(&str, &str)>> = (text.trim_end().split("\n\n"))
        .map(|sheet| {
            let lines = sheet.lines().filter(|l| !l.starts_with("# "));
            lines.filter_map(|l| l.split_once('\t')).collect()
        })
        .collect();
    let (mut out, mut some, mut all) = (String::new(), 0, 0);
    for lines in &blocks {
        let typed: Vec<&str> = lines.iter().map(|l| l.0).collect();
        let sheet = parse("jotted", typed.join("\n").as_bytes()).expect("a text");
        for (number, (typed, meant)) in (1..).zip(lines) {
            let said = said(&sheet, number);
            let told = sheet
                .lines
                .iter()
                .any(|l| l.number == number && l.not_understood.is_some());
            assert!(told || !said.is_empty(), "{typed}: lost without a word");
            all += 1;
            if !said.is_empty() {
                some += 1;
                let said: Vec<String> = said.into_iter().collect();
                out += &format!("{typed}\n  meant {meant}\n  read  {}\n", said.join(" | "));
            }
        }
    }
    assert_eq!(blocks.len(), sheets);
    format!("something is read of {some} of {all} lines\n\n{out}")
}

/// By two people who knew of no form at all; most of it is not read.
#[test]
fn jotted_sheets() {
    insta::assert_snapshot!(as_meant(include_str!("corpus/jotted.tsv"), 20));
}

/// By somebody who was told 'one thing a line, plain words': the rules of `grammar::plainly` were made with these before the eyes.
#[test]
fn plain_sheets() {
    insta::assert_snapshot!(as_meant(include_str!("corpus/plain.tsv"), 10));
}

/// By an old hand in haste. No rule was made for these: they show how far the rules carry.
#[test]
fn hasty_sheets() {
    insta::assert_snapshot!(as_meant(include_str!("corpus/hasty.tsv"), 10));
}
