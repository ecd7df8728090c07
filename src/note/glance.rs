//! The first screen: what was wrong, what was done, is it proved, each in a sentence or two.

use super::model::*;
use super::story::Entry;
use crate::bench::TEST_ITS_PARTS;
use crate::faultmap::model::BoardModel;
use crate::rank::Ranking;
use crate::report::words::chance;
use crate::sheet::{Outcome, Statement};

/// A leader below this is not named alone.
const LEADS: f64 = 0.5;

/// Suspects named when none leads.
const NAMED: usize = 3;

/// The first screen of a note whose other parts are made.
pub fn glance(
    model: &BoardModel,
    ranking: &Ranking,
    entries: &[Entry],
    suspects: &[SuspectNote],
    remedies: &[RemedyNote],
    proof: &ProofNote,
) -> Glance {
    let outcome = entries.iter().rev().find_map(|e| match e.says {
        Statement::Outcome(o) => Some(*o),
        _ => None,
    });
    let stop = ranking.observed.stop.as_ref();
    let status = match outcome {
        Some(Outcome::CuredProved) if proof.proved => Status::CuredAndProved,
        Some(Outcome::CuredProved) => Status::CuredNotProved,
        Some(Outcome::CauseUnknown) => Status::CauseUnknown,
        Some(Outcome::UsedForParts) => Status::UsedForParts,
        _ if stop.is_some() => Status::SwitchedOff,
        Some(Outcome::Reopened) => Status::Reopened,
        None => Status::Open,
    };
    Glance {
        status,
        status_said: status_said(status).into(),
        wrong: wrong(model, entries, suspects, remedies),
        done: done(remedies),
        proof: proof.said.clone(),
        stop: stop.map(|s| {
            let parts = match status {
                Status::UsedForParts => format!(" {}.", capital(TEST_ITS_PARTS)),
                _ => String::new(),
            };
            format!(
                "{}; {}.{parts}",
                s.reason,
                s.remedy.trim_start_matches("switch off; ")
            )
        }),
        next: None,
    }
}

fn status_said(status: Status) -> &'static str {
    match status {
        Status::Open => "Open",
        Status::CuredAndProved => "Cured and proved",
        Status::CuredNotProved => "Closed as cured, not proved by loops",
        Status::CauseUnknown => "Sent out, cause unknown",
        Status::UsedForParts => "Used for parts",
        Status::Reopened => "Reopened",
        Status::SwitchedOff => "Switched off",
    }
}

/// What it is: `4164, data bit 3 of main memory`.
fn about(s: &SuspectNote) -> String {
    match &s.part {
        Some(part) => format!("{part}, {}", s.role),
        None => s.role.clone(),
    }
}

fn wrong(
    model: &BoardModel,
    entries: &[Entry],
    suspects: &[SuspectNote],
    remedies: &[RemedyNote],
) -> String {
    // What was taken for proved before it came back is not what was wrong.
    let reopened = |e: &Entry| matches!(e.says, Statement::Outcome(Outcome::Reopened));
    let proved = (entries.iter().rev())
        .take_while(|e| !reopened(e))
        .find_map(|e| match e.says {
            Statement::Proved(text) => Some(text),
            _ => None,
        });
    if let Some(text) = proved {
        let first = text.split_whitespace().next().unwrap_or_default();
        let role = model.position(first).map(|(_, p)| match &p.part_type {
            Some(part) => format!(" ({part}, {})", p.role),
            None => format!(" ({})", p.role),
        });
        return format!("{text}{}.", role.unwrap_or_default());
    }
    let end = |s: &SuspectNote| s.probability.last().copied().unwrap_or(0.0);
    let leaders: Vec<&SuspectNote> = suspects
        .iter()
        .filter(|s| end(s) >= LEADS)
        .take(NAMED)
        .collect();
    let fixed = remedies.iter().any(|r| r.verdict == Verdict::Fixed);
    if suspects.is_empty() {
        return "Nothing that was read accuses a part.".into();
    }
    if leaders.is_empty() {
        let all = suspects.iter().take(NAMED);
        let named: Vec<String> = all
            .map(|s| format!("{} {}", s.unit, chance(end(s))))
            .collect();
        return format!("Not found. Suspects: {}.", named.join(", "));
    }
    let was = if fixed {
        "Most probably it was"
    } else {
        "Most probably"
    };
    let named: Vec<String> = leaders
        .iter()
        .map(|s| format!("{} ({}): {}, {}", s.unit, about(s), s.fault, chance(end(s))))
        .collect();
    format!("{was} {}.", named.join("; and "))
}

fn done(remedies: &[RemedyNote]) -> String {
    if remedies.is_empty() {
        return "Nothing yet: it was only looked at and measured.".into();
    }
    let of = |v: &dyn Fn(Verdict) -> bool| -> Vec<&RemedyNote> {
        remedies.iter().filter(|r| v(r.verdict)).collect()
    };
    let idle = of(&|v| v == Verdict::NeverTheFault);
    let unclear = of(&|v| v == Verdict::Unclear);
    let telling = of(&|v| !matches!(v, Verdict::NeverTheFault | Verdict::Unclear));
    let short = |r: &&RemedyNote| {
        let verdict = r.verdict_said.split(':').next().unwrap_or_default();
        format!("{}: {verdict}.", without_roles(&r.what))
    };
    let list = |all: &[&RemedyNote]| {
        let what = all.iter().map(|r| lower(&without_roles(&r.what)));
        what.collect::<Vec<_>>().join("; ")
    };
    let mut out: Vec<String> = telling.iter().map(short).collect();
    if !idle.is_empty() {
        let also = match telling.is_empty() {
            true => "Without effect",
            false => "Also, without effect",
        };
        out.push(format!("{also}: {}.", list(&idle)));
    }
    if !unclear.is_empty() {
        out.push(format!("Not said what came of it: {}.", list(&unclear)));
    }
    out.join(" ")
}

/// A sentence about a remedy without what the part does: the line above says it.
fn without_roles(what: &str) -> String {
    match (what.find(" ("), what.rfind(')')) {
        (Some(from), Some(to)) if from < to => format!("{}{}", &what[..from], &what[to + 1..]),
        _ => what.to_string(),
    }
}

fn lower(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars
        .next()
        .map(|c| c.to_lowercase().to_string())
        .unwrap_or_default();
    // A designator at the start (`M3 bad in tester`) keeps its capital.
    match chars.clone().next() {
        Some(c) if c.is_lowercase() => first + chars.as_str(),
        _ => text.to_string(),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + chars.as_str()
}
