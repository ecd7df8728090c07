//! The page of the language (`whichsocket guide`): its examples are read, and it names everything that can be said.

use std::collections::BTreeSet;

use whichsocket::commands::guide::GUIDE;
use whichsocket::sheet::*;

/// The examples of the table of kinds.
fn examples() -> Vec<&'static str> {
    let rows = GUIDE
        .lines()
        .filter(|l| l.starts_with("| ") && !l.starts_with("| about") && !l.starts_with("| ---"));
    let cells = rows.filter_map(|r| r.trim_end_matches(" |").rsplit(" | ").next());
    cells
        .flat_map(|c| c.split('·'))
        .map(|e| e.trim().trim_start_matches("| ").trim_matches('`'))
        .collect()
}

fn read(line: &str) -> RunSheet {
    // `more` stands behind a cell.
    parse("guide", line.as_bytes()).expect("a text")
}

#[test]
fn every_example_is_read_whole_and_as_typed() {
    let all = examples();
    assert!(all.len() > 90, "{}", all.len());
    for line in all {
        let sheet = read(line);
        let lost = sheet.lines.iter().find_map(|l| l.not_understood.as_ref());
        assert!(lost.is_none(), "{line}: {lost:?}");
        assert!(
            sheet.corrections.is_empty() && !sheet.lines[0].statements.is_empty(),
            "{line}"
        );
    }
}

fn name(text: String) -> String {
    text.split(['(', ' ', '{']).next().unwrap_or("").to_string()
}

/// Every kind of statement, subject, state and deed has an example. The lists are what the program can say, taken from the
/// types: a new one that no example gives fails here when it is added to the list, and the list is held against the source.
#[test]
fn everything_that_can_be_said_has_an_example() {
    let mut given: BTreeSet<String> = BTreeSet::new();
    let extra = ["U3 hot\nU4 as above", "4000 wrote 55 read 5D"];
    for line in examples().into_iter().chain(extra) {
        for s in read(line).statements() {
            given.insert(name(format!("{:?}", s.value)));
            match &s.value {
                Statement::Finding(f) => {
                    given.insert(format!("Subject {}", name(format!("{:?}", f.subject))));
                    given.insert(format!("State {}", name(format!("{:?}", f.state))));
                    if let State::Picture(p) = f.state {
                        given.insert(format!("PictureState {p:?}"));
                    }
                }
                Statement::HandsOn(h) => {
                    given.insert(format!("Action {:?}", h.action));
                    given.insert(format!("Effect {:?}", h.result));
                }
                Statement::Intake(i) => {
                    given.insert(format!("Intake {i:?}"));
                }
                _ => {}
            }
        }
    }
    let source = include_str!("../src/sheet/statement.rs");
    let mut missing = Vec::new();
    for (list, prefix) in [
        ("Subject", "Subject "),
        ("State", "State "),
        ("PictureState", "PictureState "),
        ("Action", "Action "),
        ("Effect", "Effect "),
        ("Intake", "Intake "),
    ] {
        let start = source
            .find(&format!("pub enum {list} {{"))
            .expect("the type is in the source");
        let body = &source[start..start + source[start..].find("\n}").expect("it ends")];
        for line in body.lines().skip(1) {
            let line = line.trim();
            if line.starts_with(|c: char| c.is_ascii_uppercase()) {
                let variant = name(line.trim_end_matches(',').to_string());
                let variant = variant.trim_end_matches(',');
                if !given.contains(&format!("{prefix}{variant}")) {
                    missing.push(format!("{prefix}{variant}"));
                }
            }
        }
    }
    assert!(missing.is_empty(), "no example on the page for {missing:?}");
}

/// Words in quotes in the grammar are words of the bench.
#[test]
fn words_of_the_grammar_are_known() {
    let start = GUIDE.find("```text").expect("a grammar");
    let grammar = &GUIDE[start..start + GUIDE[start..].find("\n```\n").expect("its end")];
    let words = Vocabulary::english();
    for quoted in grammar
        .lines()
        .skip(1)
        .flat_map(|l| l.split('"').skip(1).step_by(2))
    {
        for word in quoted
            .split([' ', ',', ':', '-', ';'])
            .filter(|w| w.chars().all(char::is_alphabetic) && w.len() > 1)
        {
            assert!(words.knows(&word.to_lowercase()), "{word} of \"{quoted}\"");
        }
    }
}

#[test]
fn the_page_is_one_page() {
    assert!(GUIDE.lines().count() <= 100, "{}", GUIDE.lines().count());
}
