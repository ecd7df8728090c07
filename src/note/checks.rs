//! What each check read, line by line.

use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome;
use crate::observe::{Evidence, Observed};
use std::collections::BTreeMap;

/// A check with an outcome at a line.
#[derive(Debug, Clone)]
pub struct Result {
    /// Line of the ticket.
    pub line: usize,
    /// Identifier.
    pub check: String,
    /// How it was.
    pub outcome: Outcome,
    /// What it says, in our words.
    pub text: String,
}

/// All results, in order of lines.
pub fn results(observed: &Observed) -> Vec<Result> {
    let mut out: Vec<Result> = Vec::new();
    for r in &observed.readings {
        let Evidence::Check(c) = &r.evidence else {
            continue;
        };
        // What the ranking adds of its own is no reading of the technician's.
        if c.check == "complaint" || c.check == "report" || r.line == 0 {
            continue;
        }
        out.push(Result {
            line: r.line,
            check: c.check.clone(),
            outcome: c.outcome,
            text: tidy(&r.text),
        });
    }
    out.sort_by_key(|r| r.line);
    out
}

/// `KR0 (KR0) low`, of a line that was measured by its own name, says it once.
fn tidy(text: &str) -> String {
    match text
        .split_once(" (")
        .and_then(|(name, rest)| Some((name, rest.split_once(')')?)))
    {
        Some((name, (line, rest))) if name == line => format!("{name}{rest}"),
        _ => text.to_string(),
    }
}

/// The last result of each check among these.
pub fn latest<'r>(results: impl Iterator<Item = &'r Result>) -> BTreeMap<&'r str, &'r Result> {
    results.map(|r| (r.check.as_str(), r)).collect()
}

/// What a person calls a check.
pub fn called(model: &BoardModel, r: &Result) -> String {
    if let Some(keys) = r.check.strip_prefix("keys ") {
        return keys.to_string();
    }
    match model.check(&r.check) {
        Some(check) => check.what.clone(),
        // Measured lines are no checks of the map: the reading's own words name them.
        None => r.text.clone(),
    }
}
