//! What changed between the run before a remedy and the run after it, and what that says.

use super::Ticket;
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::infer::network::Outcome;
use crate::observe::{CheckReading, Evidence, Observed, board, observe};
use crate::sheet::{Action, Effect, HandsOn, Place};
use crate::soak;
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
    /// What failed before came and went, and passes now: too few clean loops since to say anything.
    TooEarly,
    /// The run after does not tell of what failed before, or what was done is not to be found on the board.
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
    /// Fail now, passed before.
    pub new: Vec<String>,
    /// Fail now, were not read before.
    pub first: Vec<String>,
    /// Came and went before, pass now: with the clean loops so far and those needed.
    pub early: Vec<String>,
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
            Self::TooEarly => "too early to say: it came and went before",
            Self::NotComparable => "not comparable: nothing read since tells of what failed before",
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
            list("fails, not read before:", &self.first),
            list("passes so far:", &self.early),
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
        Swap | Replace | Reseat | Press | Clean | Resolder | Pull | Direct
    )
}

/// Whether the machine is another one afterwards: a remedy, or one that was taken back.
pub fn alters(action: Action) -> bool {
    is_remedy(action) || action == Action::PutBack
}

/// A check of a run.
#[derive(Debug, Clone)]
struct Seen {
    reading: CheckReading,
    /// Failing loops and loops, when it came and went.
    some_of: Option<(u32, u32)>,
    /// Loops in which it passed.
    passes: u64,
}

impl Seen {
    fn fails(&self) -> bool {
        self.reading.outcome != Outcome::Pass
    }
}

/// The checks of one run, or of several, by identifier.
type Run = BTreeMap<String, Seen>;

/// The whole test as one check.
const TEST: &str = "test";

/// The check of the board that a reading is about: a list of cells is about the bit that they fail in.
fn id_of(check: &str) -> &str {
    check
        .strip_prefix(crate::observe::memory::CELLS)
        .unwrap_or(check)
}

/// Checks of each run, from 0.
fn runs(ticket: &Ticket, observed: &Observed) -> BTreeMap<usize, Run> {
    let loops: BTreeMap<usize, (u32, u32)> = ticket
        .findings()
        .into_iter()
        .filter_map(|(e, f)| Some((e.line, f.loops.filter(|l| l.1 > 0)?)))
        .collect();
    let mut out: BTreeMap<usize, Run> = BTreeMap::new();
    for reading in &observed.readings {
        let Evidence::Check(c) = &reading.evidence else {
            continue;
        };
        if c.check == "complaint" || c.check == "report" {
            continue;
        }
        let here = loops.get(&reading.line).copied();
        let passed = c.outcome == Outcome::Pass;
        let seen = Seen {
            some_of: here.filter(|(k, m)| *k > 0 && k < m),
            passes: if passed {
                here.map_or(1, |l| u64::from(l.1))
            } else {
                0
            },
            reading: c.clone(),
        };
        join(out.entry(c.run).or_default(), id_of(&c.check), seen);
    }
    out
}

/// Of two readings of a check the worse counts; clean loops add up.
fn join(run: &mut Run, id: &str, seen: Seen) {
    match run.get_mut(id) {
        None => {
            run.insert(id.to_string(), seen);
        }
        Some(old) => {
            let passes = old.passes + seen.passes;
            let some_of = old.some_of.or(seen.some_of);
            if seen.reading.outcome >= old.reading.outcome {
                *old = seen;
            }
            (old.passes, old.some_of) = (passes, some_of);
        }
    }
}

/// Several runs as one.
fn joined(runs: &BTreeMap<usize, Run>, range: std::ops::Range<usize>) -> Option<Run> {
    let mut all = runs.range(range).map(|(_, run)| run);
    let mut out = all.next()?.clone();
    for run in all {
        for (id, seen) in run {
            join(&mut out, id, seen.clone());
        }
    }
    Some(out)
}

/// What each remedy of a ticket did, in order: by the runs around it, or by what its own line says.
pub fn compare(model: &BoardModel, ticket: &Ticket) -> Vec<Change> {
    let observed = observe(model, std::slice::from_ref(&ticket.sheet));
    let seen = runs(ticket, &observed);
    let mut groups: Vec<(usize, Vec<(usize, HandsOn)>)> = Vec::new();
    let all = ticket.hands_on();
    let back: Vec<_> = all
        .iter()
        .filter(|(_, h)| h.action == Action::PutBack)
        .collect();
    for (entry, done) in &all {
        // Taken back before anything was read: no run tells of it.
        let taken_back = back
            .iter()
            .any(|(e, h)| e.run == entry.run && e.line > entry.line && h.places == done.places);
        let silent = taken_back && done.result == Effect::Unknown;
        if !is_remedy(done.action) || silent {
            continue;
        }
        let item = (entry.line, done.clone().into_owned());
        match groups.last_mut() {
            Some((run, all)) if *run == entry.run => all.push(item),
            _ => groups.push((entry.run, vec![item])),
        }
    }
    // What runs after the old part went in again says nothing of the new one.
    let ends: Vec<usize> = groups
        .iter()
        .map(|g| g.0)
        .chain(back.iter().map(|(e, _)| e.run))
        .collect();
    let mut out = Vec::new();
    for (run, done) in groups {
        let next = ends.iter().copied().filter(|&end| end > run).min();
        let next = next.unwrap_or(usize::MAX);
        // Runs are numbered from 0 in readings.
        let before = seen.get(&(run - 1));
        let after = joined(&seen, run..next);
        let (Some(before), Some(after)) = (before, after) else {
            out.extend(
                done.into_iter()
                    .filter_map(|(line, h)| by_its_word(model, before, run, line, h)),
            );
            continue;
        };
        // Whoever stood there saw no change: of what changed since, others of the group had a part in it.
        let (idle, others): (Vec<_>, Vec<_>) = done
            .into_iter()
            .partition(|(_, h)| h.result == Effect::NoChange || !on_board(model, h));
        if others.is_empty() {
            out.push(change(model, run, idle, before, &after));
            continue;
        }
        out.extend(
            idle.into_iter()
                .filter_map(|(line, h)| by_its_word(model, Some(before), run, line, h)),
        );
        out.push(change(model, run, others, before, &after));
    }
    out
}

/// Whether what was handled is on this board; 'all' is.
pub fn on_board(model: &BoardModel, h: &HandsOn) -> bool {
    let there = |p: &Place| board::position(model, &p.name).is_some();
    h.places.is_empty() || h.places.iter().any(there)
}

/// The line of a remedy says itself what it did, and no run after it tells more.
fn by_its_word(
    model: &BoardModel,
    before: Option<&Run>,
    run: usize,
    line: usize,
    done: HandsOn,
) -> Option<Change> {
    let came_and_went = before.is_some_and(|b| b.values().any(|s| s.some_of.is_some()));
    let verdict = match done.result {
        Effect::Cured | Effect::NoChange | Effect::Moved if !on_board(model, &done) => {
            Verdict::NotComparable
        }
        // A look at a machine that failed now and then says little.
        Effect::Cured if came_and_went => Verdict::TooEarly,
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
        first: Vec::new(),
        early: Vec::new(),
        unread: Vec::new(),
        verdict,
    })
}

/// What a check is called.
fn words(model: &BoardModel, id: &str) -> String {
    match id.strip_prefix("keys ") {
        Some(line) => format!("{line} dead"),
        None => model
            .check(id)
            .map_or_else(|| id.replace('.', " "), |c| c.what.clone()),
    }
}

/// How the test as a whole went in a run in which nobody said so: bad when anything of it failed, good when all of it passed.
fn whole_test(model: &BoardModel, run: &Run) -> Option<bool> {
    let mut of_test = run
        .iter()
        .filter(|(id, _)| *id == TEST || model.check(id).is_some_and(|c| c.test));
    if of_test.clone().any(|(_, s)| s.fails()) {
        return Some(true);
    }
    let all = model.checks.iter().filter(|c| c.test).count();
    (of_test.by_ref().count() * 2 > all).then_some(false)
}

/// Whether a check fails in a run; `None` when the run does not tell.
fn fails(model: &BoardModel, run: &Run, id: &str) -> Option<bool> {
    match run.get(id) {
        Some(seen) => Some(seen.fails()),
        None if id == TEST => whole_test(model, run),
        None => None,
    }
}

/// Clean loops of a check in these runs.
fn clean(run: &Run, id: &str) -> u64 {
    match run.get(id) {
        Some(seen) => seen.passes,
        // The whole test ran as often as the check that was seen to pass most often.
        None => run.values().map(|s| s.passes).max().unwrap_or(0),
    }
}

fn change(
    model: &BoardModel,
    run: usize,
    done: Vec<(usize, HandsOn)>,
    before: &Run,
    after: &Run,
) -> Change {
    let (mut gone, mut still, mut unread, mut early) = (vec![], vec![], vec![], vec![]);
    for (id, seen) in before.iter().filter(|(_, s)| s.fails()) {
        let needed = seen
            .some_of
            .and_then(|(k, m)| soak::loops_after(k.into(), m.into(), soak::CONFIDENCE));
        match (fails(model, after, id), needed) {
            (Some(true), _) => still.push(words(model, id)),
            (Some(false), Some(n)) if clean(after, id) < n => early.push(format!(
                "{} ({} clean of {n} needed)",
                words(model, id),
                clean(after, id)
            )),
            (Some(false), _) => gone.push(words(model, id)),
            (None, _) => unread.push(words(model, id)),
        }
    }
    let failing_now = after.iter().filter(|(id, s)| {
        let known = *id == TEST && whole_test(model, before) == Some(true);
        s.fails() && !known && fails(model, before, id) != Some(true)
    });
    let (new, first): (Vec<_>, Vec<_>) =
        failing_now.partition(|(id, _)| fails(model, before, id) == Some(false));
    let places: Vec<Place> = done.iter().flat_map(|(_, h)| h.places.clone()).collect();
    let all = |is: fn(&HandsOn) -> bool| done.iter().all(|(_, h)| is(h));
    let cured = done.iter().any(|(_, h)| h.result == Effect::Cured);
    let told = done.iter().any(|(_, h)| h.result == Effect::Moved);
    let mut fresh = new.iter().chain(&first);
    let moved = told || fresh.any(|(_, s)| points_at(model, &s.reading, &places));
    let known = done.iter().any(|(_, h)| on_board(model, h));
    let other = !new.is_empty() || !first.is_empty();
    let verdict = match (gone.is_empty(), still.is_empty()) {
        _ if !known => Verdict::NotComparable,
        // What went away since went away by itself.
        _ if all(|h| h.result == Effect::NoChange) => Verdict::NeverWasTheFault,
        _ if moved && !gone.is_empty() => Verdict::Moved,
        (_, true) if !early.is_empty() => Verdict::TooEarly,
        // Whoever did it saw the machine work, and nothing read since says otherwise.
        (_, true) if cured && !other => Verdict::Fixed,
        (false, true) if unread.is_empty() && !other => Verdict::Fixed,
        (false, true) if unread.is_empty() && !new.is_empty() => Verdict::NewFault,
        (true, false) => Verdict::NeverWasTheFault,
        (false, _) => Verdict::PartlyFixed,
        (true, true) => Verdict::NotComparable,
    };
    let names = |of: Vec<(&String, &Seen)>| of.iter().map(|(id, _)| words(model, id)).collect();
    let (new, first) = (names(new), names(first));
    let (lines, done) = done.into_iter().unzip();
    Change {
        lines,
        done,
        before: run,
        after: run + 1,
        gone,
        still,
        new,
        first,
        early,
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
