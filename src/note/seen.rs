//! What was seen and measured, run by run.

use super::checks::Result;
use super::model::{RunNote, SeenNote, SeenResult};
use super::story::{self, Entry};
use crate::infer::network::Outcome;
use crate::sheet::{Finding, PictureState, RunSheet, State, Statement, Subject};

/// Listed cells that are shown of a run; the drawing of the memory shows more.
const CELLS: usize = 3;

/// Failing readings named in a summary.
const NAMED: usize = 6;

/// The runs in which something was read, done or photographed.
pub fn runs(sheet: &RunSheet, entries: &[Entry], results: &[Result]) -> Vec<RunNote> {
    let last = entries.iter().map(|e| e.run).max().unwrap_or(0);
    let all = (1..=last).map(|run| {
        let here: Vec<&Entry> = entries.iter().filter(|e| e.run == run).collect();
        one_run(sheet, run, &here, results)
    });
    all.filter(|r| !r.lines.is_empty() || !r.photos.is_empty())
        .collect()
}

fn one_run(sheet: &RunSheet, run: usize, here: &[&Entry], results: &[Result]) -> RunNote {
    let mut lines: Vec<SeenNote> = Vec::new();
    let mut cells = 0;
    let mut told = 0;
    for e in here.iter().filter(|e| story::tells(e.says)) {
        let alike = || {
            here.iter()
                .filter(|o| o.line == e.line && story::tells(o.says))
                .map(|o| result(o, results))
        };
        // A line that says one thing of many (`keys dead Q A Z`) stays one line.
        if told == e.line {
            continue;
        }
        if alike().count() > 2 && alike().all(|r| r == result(e, results)) {
            told = e.line;
            let text = story::typed(sheet, e.line).to_string();
            lines.push(SeenNote {
                line: e.line,
                text,
                result: result(e, results).0,
                more: None,
            });
            continue;
        }
        if is_cell(e.says) {
            cells += 1;
            if cells > CELLS {
                continue;
            }
        }
        let (result, more) = result(e, results);
        lines.push(SeenNote {
            line: e.line,
            text: e.text(),
            result,
            more,
        });
    }
    if cells > CELLS {
        let after = lines.iter().rposition(|l| l.text.contains(" wrote "));
        let note = SeenNote {
            line: lines[after.unwrap_or(0)].line,
            text: match cells - CELLS {
                1 => "1 more cell listed".into(),
                n => format!("{n} more cells listed"),
            },
            result: SeenResult::Bad,
            more: None,
        };
        lines.insert(after.map_or(0, |i| i + 1), note);
    }
    let photos = here.iter().filter_map(|e| match e.says {
        Statement::Photo { file, caption } if caption.is_empty() => Some(file.clone()),
        Statement::Photo { file, caption } => Some(format!("{file} ({caption})")),
        _ => None,
    });
    RunNote {
        run,
        at: here
            .iter()
            .filter(|e| story::tells(e.says))
            .find_map(|e| e.when()),
        summary: summary(here, results, &lines),
        photos: photos.collect(),
        lines,
    }
}

fn is_cell(s: &Statement) -> bool {
    matches!(
        s,
        Statement::Finding(Finding {
            subject: Subject::MemoryCell { .. },
            ..
        })
    )
}

fn summary(here: &[&Entry], results: &[Result], lines: &[SeenNote]) -> String {
    let (from, to) = match (here.first(), here.last()) {
        (Some(a), Some(b)) => (a.line, b.line),
        _ => return String::new(),
    };
    let failing = results
        .iter()
        .filter(|r| (from..=to).contains(&r.line) && r.outcome != Outcome::Pass);
    let mut named: Vec<String> = Vec::new();
    for r in failing {
        if !named.contains(&r.text) {
            named.push(r.text.clone());
        }
    }
    let rest = if here.iter().any(|e| *e.says == Statement::RestFine) {
        " The rest of the test was fine."
    } else {
        ""
    };
    let read = lines.iter().any(|l| l.result != SeenResult::Neutral);
    match (named.is_empty(), read) {
        (true, true) => "Everything read was good.".into(),
        (true, false) => "Nothing was read of the test.".into(),
        (false, _) => {
            let more = named.len().saturating_sub(NAMED);
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            named.truncate(NAMED);
            format!("Failed: {}{more}.{rest}", named.join("; "))
        }
    }
}

/// How a line was, and what the limits make of it.
fn result(e: &Entry, results: &[Result]) -> (SeenResult, Option<String>) {
    let finding = match e.says {
        Statement::Finding(f) => f,
        Statement::RestFine => return (SeenResult::Good, None),
        _ => return (SeenResult::Neutral, None),
    };
    if let Some((failed, of)) = finding.loops.filter(|l| l.1 > 0) {
        return match failed {
            0 => (SeenResult::Good, None),
            k if k < of => (SeenResult::Intermittent, None),
            _ => (SeenResult::Bad, None),
        };
    }
    let here: Vec<&Result> = results.iter().filter(|r| r.line == e.line).collect();
    let worst = here
        .iter()
        .map(|r| r.outcome)
        .max_by_key(|o| *o != Outcome::Pass);
    match &finding.state {
        State::Ok | State::Picture(PictureState::Normal) => (SeenResult::Good, None),
        state if measured(state) => {
            let text = here
                .iter()
                .find(|r| Some(r.outcome) == worst)
                .map(|r| r.text.clone());
            let more = text.filter(|t| !e.text().to_lowercase().contains(&t.to_lowercase()));
            match worst {
                Some(Outcome::Pass) => (SeenResult::Good, None),
                Some(_) => (SeenResult::Bad, more),
                None => (SeenResult::Neutral, None),
            }
        }
        _ => (SeenResult::Bad, None),
    }
}

/// States that are good or bad only against a limit or what the board map expects.
fn measured(state: &State) -> bool {
    matches!(
        state,
        State::Volts(_)
            | State::Ohms(_)
            | State::Hertz(_)
            | State::Rate { .. }
            | State::OffBy(_)
            | State::Pitch { .. }
            | State::Cents(_)
            | State::Capacitor(_)
            | State::Value(_)
            | State::BytesFree(_)
            | State::Low
            | State::High
            | State::Pulsing
            | State::Floating
            | State::Cold
            | State::Warm
            | State::Hot
            | State::More(_)
    )
}
