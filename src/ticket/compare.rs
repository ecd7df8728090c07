//! What changed between the run before a remedy and the run after it, and what that says.

use super::Ticket;
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::infer::network::Outcome;
use crate::observe::{CheckReading, Evidence, Observed, board, observe};
use crate::sheet::{Action, Effect, HandsOn, Place};
use std::collections::BTreeMap;

/// What a remedy did, as the runs around it show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// All that failed before passes now, and nothing else fails.
    Fixed,
    /// What failed before passes now, and the same trouble shows where the part went.
    Moved,
    /// What failed before passes now, and something that passed before fails.
    NewFault,
    /// All that failed before fails still: what was renewed never was the (whole) fault.
    NeverWasTheFault,
    /// Some of what failed passes now.
    PartlyFixed,
    /// The run after does not tell of what failed before.
    NotComparable,
}

/// A remedy, or several between the same two runs, with what it changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Lines of the remedies.
    pub lines: Vec<usize>,
    /// What was done.
    pub done: Vec<HandsOn>,
    /// The run before, from 1.
    pub before: usize,
    /// The run after; the same as `before` when the line of the remedy itself says what it did.
    pub after: usize,
    /// Failed before, pass now (in words).
    pub gone: Vec<String>,
    /// Failed before, fail still.
    pub still: Vec<String>,
    /// Fail now, did not before.
    pub new: Vec<String>,
    /// Failed before, not read since.
    pub unread: Vec<String>,
    /// What it says.
    pub verdict: Verdict,
}

impl Verdict {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Fixed => "fixed",
            Self::Moved => "the fault moved with the part",
            Self::NewFault => "fixed, and a new fault shows",
            Self::NeverWasTheFault => "no change: that never was the fault",
            Self::PartlyFixed => "partly fixed: more is at fault",
            Self::NotComparable => {
                "not comparable: the run after does not tell of what failed before"
            }
        }
    }
}

impl Change {
    /// One sentence.
    pub fn sentence(&self) -> String {
        let done: Vec<String> = self.done.iter().map(short).collect();
        let list = |what: &str, names: &[String]| {
            let shown = names.iter().take(4).cloned().collect::<Vec<_>>().join(", ");
            let more = match names.len().saturating_sub(4) {
                0 => String::new(),
                n => format!(" and {n} more"),
            };
            (!names.is_empty()).then(|| format!("{what} {shown}{more}"))
        };
        let parts = [
            list("passes now:", &self.gone),
            list("fails still:", &self.still),
            list("fails now:", &self.new),
            list("not read since:", &self.unread),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        let told = if parts.is_empty() {
            String::new()
        } else {
            format!(" ({})", parts.join("; "))
        };
        format!("{}: {}{told}.", done.join(", "), self.verdict.words())
    }
}

/// `M3 swapped`.
fn short(done: &HandsOn) -> String {
    let plain = HandsOn {
        result: Effect::Unknown,
        ..done.clone()
    };
    crate::sheet::print_statement(&crate::sheet::Statement::HandsOn(plain))
}

/// Whether this changes something on the board for good: a test run after it is of another machine.
pub fn is_remedy(action: Action) -> bool {
    use Action::*;
    matches!(
        action,
        Swap | Replace | Reseat | Press | Clean | Resolder | Pull
    )
}

/// Outcomes of the checks of each run, from 0, with their words and effects.
type Runs = BTreeMap<usize, BTreeMap<String, CheckReading>>;

fn runs(observed: &Observed) -> Runs {
    let mut out = Runs::new();
    for reading in &observed.readings {
        if let Evidence::Check(c) = &reading.evidence
            && c.check != "complaint"
            && c.check != "report"
        {
            let of_run = out.entry(c.run).or_default();
            let worst = of_run
                .get(&c.check)
                .is_none_or(|old| c.outcome >= old.outcome);
            if worst {
                of_run.insert(c.check.clone(), c.clone());
            }
        }
    }
    out
}

/// What each remedy of a ticket did, in order: by the runs around it, or by what its own line says.
pub fn compare(model: &BoardModel, ticket: &Ticket) -> Vec<Change> {
    let observed = observe(model, std::slice::from_ref(&ticket.sheet));
    let seen = runs(&observed);
    let mut groups: Vec<(usize, Vec<(usize, HandsOn)>)> = Vec::new();
    for (entry, done) in ticket.hands_on() {
        if !is_remedy(done.action) {
            continue;
        }
        let item = (entry.line, done.clone());
        match groups.last_mut() {
            Some((run, all)) if *run == entry.run => all.push(item),
            _ => groups.push((entry.run, vec![item])),
        }
    }
    let mut out = Vec::new();
    for (run, done) in groups {
        // Runs are numbered from 0 in readings.
        let (before, after) = (seen.get(&(run - 1)), seen.get(&run));
        match (before, after) {
            (Some(before), Some(after)) => out.push(change(model, run, done, before, after)),
            _ => out.extend(
                done.into_iter()
                    .filter_map(|(line, h)| by_its_word(run, line, h)),
            ),
        }
    }
    out
}

/// The line of a remedy says itself what it did, and no run after it tells more.
fn by_its_word(run: usize, line: usize, done: HandsOn) -> Option<Change> {
    let verdict = match done.result {
        Effect::Cured => Verdict::Fixed,
        Effect::NoChange => Verdict::NeverWasTheFault,
        Effect::Moved => Verdict::Moved,
        Effect::Changed | Effect::Worse => Verdict::NotComparable,
        _ => return None,
    };
    Some(Change {
        lines: vec![line],
        done: vec![done],
        before: run,
        after: run,
        gone: Vec::new(),
        still: Vec::new(),
        new: Vec::new(),
        unread: Vec::new(),
        verdict,
    })
}

fn change(
    model: &BoardModel,
    run: usize,
    done: Vec<(usize, HandsOn)>,
    before: &BTreeMap<String, CheckReading>,
    after: &BTreeMap<String, CheckReading>,
) -> Change {
    let words = |id: &str| {
        model
            .check(id)
            .map_or_else(|| id.replace('.', " "), |c| c.what.clone())
    };
    let failing = |of: &BTreeMap<String, CheckReading>, id: &str| {
        of.get(id).map(|c| c.outcome != Outcome::Pass)
    };
    let (mut gone, mut still, mut unread) = (Vec::new(), Vec::new(), Vec::new());
    for id in before.keys().filter(|id| failing(before, id) == Some(true)) {
        match failing(after, id) {
            Some(true) => still.push(words(id)),
            Some(false) => gone.push(words(id)),
            None => unread.push(words(id)),
        }
    }
    let new: Vec<&CheckReading> = after
        .values()
        .filter(|c| c.outcome != Outcome::Pass && failing(before, &c.check) != Some(true))
        .collect();
    let places: Vec<Place> = done.iter().flat_map(|(_, h)| h.places.clone()).collect();
    let cured = done.iter().any(|(_, h)| h.result == Effect::Cured);
    let told = done.iter().any(|(_, h)| h.result == Effect::Moved);
    let moved = told || new.iter().any(|c| points_at(model, c, &places));
    let verdict = match (gone.is_empty(), still.is_empty(), new.is_empty()) {
        _ if moved && !gone.is_empty() => Verdict::Moved,
        // Whoever did it saw the machine work, and nothing read since says otherwise.
        (_, true, true) if cured => Verdict::Fixed,
        (false, true, true) if unread.is_empty() => Verdict::Fixed,
        (false, true, false) if unread.is_empty() => Verdict::NewFault,
        (true, false, _) => Verdict::NeverWasTheFault,
        (false, _, _) => Verdict::PartlyFixed,
        (true, true, _) => Verdict::NotComparable,
    };
    let (lines, done) = done.into_iter().unzip();
    Change {
        lines,
        done,
        before: run,
        after: run + 1,
        gone,
        still,
        new: new.iter().map(|c| words(&c.check)).collect(),
        unread,
        verdict,
    }
}

/// How surely a part must show in a check for the check to point at it.
const POINTS: f64 = 0.8;

/// Whether a check that fails now is one that the part in a handled position shows in: two chips changed places, and the
/// fault is where the bad one went. One position alone says nothing of the kind.
fn points_at(model: &BoardModel, check: &CheckReading, places: &[Place]) -> bool {
    places.len() > 1
        && places.iter().any(|place| {
            let Some((position, _)) = board::position(model, &place.name) else {
                return false;
            };
            let part = |m: u32| {
                let unit = &model.units[model.modes[m as usize].unit as usize];
                unit.position == position
                    && unit.kind == UnitKind::Part
                    && !model.modes[m as usize].missing
            };
            check.effects.iter().any(|&(m, s)| s >= POINTS && part(m))
        })
}
