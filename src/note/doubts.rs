//! What is not settled, so that whoever reads the note later does not take it for settled.

use super::checks::{self, Result};
use super::model::{DoubtKind, DoubtNote, RemedyNote, Verdict};
use super::sections::percent;
use super::story;
use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome;
use crate::rank::Ranking;
use crate::rank::explain::{Odd, odd};
use crate::report::build::{corrections, not_understood, remarks};
use crate::sheet::{RunSheet, Statement, Subject};
use crate::ticket::Ticket;

/// Members of a group that are named.
const NAMED: usize = 6;

/// All doubts, the gravest first.
pub fn doubts(
    model: &BoardModel,
    ticket: &Ticket,
    ranking: &Ranking,
    results: &[Result],
    remedies: &[RemedyNote],
    settled: bool,
) -> Vec<DoubtNote> {
    let sheet = &ticket.sheet;
    let mut out = still_failing(model, results, remedies);
    out.extend(unexplained(model, sheet, ranking));
    if !settled {
        out.extend(ambiguous(ranking));
    }
    let sheets = std::slice::from_ref(sheet);
    let note = |kind, line, text: &str, doubt: String| DoubtNote {
        kind,
        line,
        text: text.into(),
        doubt,
    };
    out.extend(not_understood(sheets).into_iter().map(|n| {
        note(
            DoubtKind::NotUnderstood,
            n.line,
            &n.text,
            "not understood, so it counted for nothing".into(),
        )
    }));
    out.extend(corrections(sheets).into_iter().map(|c| {
        note(
            DoubtKind::Corrected,
            c.line,
            &c.typed,
            format!("read as “{}”", c.read_as),
        )
    }));
    out.extend(
        remarks(sheets, ranking)
            .into_iter()
            .map(|r| note(DoubtKind::Remark, r.line, &r.text, r.hint)),
    );
    for (e, s) in ticket.statements() {
        let doubt = match s {
            Statement::Skip(step) if !done_since(ticket, e.line, step) => {
                format!("skipped: {step}")
            }
            Statement::Note(n)
                if crate::bench::intake::is_no_supply(n) && !supply_since(ticket, e.line) =>
            {
                "the supply was not measured by itself".into()
            }
            _ => continue,
        };
        out.push(note(DoubtKind::LeftOut, e.line, "", doubt));
    }
    let torn = ticket.torn_before.iter().map(|(line, text)| (*line, text));
    for (line, text) in torn.chain(ticket.torn.iter().map(|text| (0, text))) {
        out.push(note(
            DoubtKind::CutOff,
            line,
            text,
            "it has no line end and may be cut off, so it counted for nothing; if it is whole, end it with a line end".into(),
        ));
    }
    let share = ranking.posterior.unexplored_mass;
    if share > 1e-4 {
        out.push(note(
            DoubtKind::NotLookedAt,
            0,
            "",
            crate::report::words::not_looked_at(share),
        ));
    }
    out
}

/// Whether what a skipped step is about was handled or measured in a later line.
fn done_since(ticket: &Ticket, skipped: usize, step: &str) -> bool {
    let words: Vec<&str> = step
        .split([' ', ',', '.', '(', ')', ':', ';'])
        .filter(|w| !w.is_empty())
        .collect();
    let says = |name: &str| words.iter().any(|w| w.eq_ignore_ascii_case(name));
    ticket.statements().any(|(e, s)| {
        e.line > skipped
            && match s {
                Statement::HandsOn(h) => h.places.iter().any(|p| says(&p.name)),
                Statement::Finding(f) => match &f.subject {
                    Subject::Rail(rail) => says(rail),
                    Subject::Level(place) => says(&place.name),
                    _ => false,
                },
                _ => false,
            }
    })
}

/// Whether the supply was measured by itself in a later line.
fn supply_since(ticket: &Ticket, line: usize) -> bool {
    let is = |s: &Statement| matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Supply(_)));
    ticket.statements().any(|(e, s)| e.line > line && is(s))
}

/// What failed when it was last read, unless a remedy cured it since.
fn still_failing(
    model: &BoardModel,
    results: &[Result],
    remedies: &[RemedyNote],
) -> Vec<DoubtNote> {
    let cured = |r: &Result| {
        let name = checks::called(model, r);
        remedies
            .iter()
            .any(|d| d.line >= r.line && (d.verdict == Verdict::Fixed || d.gone.contains(&name)))
    };
    let latest = checks::latest(results.iter());
    let bad = latest
        .values()
        .filter(|r| r.outcome != Outcome::Pass && !cured(r));
    let mut names: Vec<String> = bad.map(|r| checks::called(model, r)).collect();
    names.dedup();
    if names.is_empty() {
        return Vec::new();
    }
    let more = names.len().saturating_sub(NAMED);
    let more = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    names.truncate(NAMED);
    vec![DoubtNote {
        kind: DoubtKind::StillFailing,
        line: 0,
        text: String::new(),
        doubt: format!("failed when it was last read: {}{more}", names.join(", ")),
    }]
}

fn unexplained(model: &BoardModel, sheet: &RunSheet, ranking: &Ranking) -> Vec<DoubtNote> {
    let of = |odd: Odd| {
        let reading = &ranking.observed.readings[odd.reading];
        let slip = odd
            .slip
            .map(|s| format!(". Was it “{}”? That would fit", s.instead))
            .unwrap_or_default();
        DoubtNote {
            kind: DoubtKind::NothingExplains,
            line: reading.line,
            text: story::typed(sheet, reading.line).to_string(),
            doubt: format!(
                "nothing on this board explains it well ({}): check it again{slip}",
                percent(odd.explained)
            ),
        }
    };
    odd(model, std::slice::from_ref(sheet), ranking)
        .into_iter()
        .map(of)
        .collect()
}

fn ambiguous(ranking: &Ranking) -> Vec<DoubtNote> {
    let leaders: Vec<&str> = ranking
        .suspects
        .iter()
        .take(3)
        .map(|s| s.name.as_str())
        .collect();
    let of = |g: &Vec<String>| {
        let more = g.len().saturating_sub(NAMED);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        DoubtNote {
            kind: DoubtKind::Ambiguous,
            line: 0,
            text: String::new(),
            doubt: format!(
                "no reading so far tells these apart: {}{more}",
                g[..g.len().min(NAMED)].join(", ")
            ),
        }
    };
    ranking
        .groups
        .iter()
        .filter(|g| g.iter().any(|n| leaders.contains(&n.as_str())))
        .map(of)
        .collect()
}
