//! What was done, and what each remedy changed: what its line says, and what the runs around it show.

use super::model::{RemedyNote, Verdict};
use super::story::Entry;
use crate::faultmap::model::BoardModel;
use crate::observe::exchange::alike;
use crate::sheet::{Action, Effect, HandsOn, Statement};
use crate::ticket::Ticket;
use crate::ticket::compare::{self, Change, compare, is_remedy, on_board};

/// Every remedy and hands-on test, in order.
pub fn remedies(model: &BoardModel, ticket: &Ticket, entries: &[Entry]) -> Vec<RemedyNote> {
    let changes = compare(model, ticket);
    let of = |e: &Entry| {
        let Statement::HandsOn(h) = e.says else {
            return None;
        };
        let change = changes
            .iter()
            .find(|c| c.lines.contains(&e.line) && is_remedy(h.action));
        Some(remedy(model, e, h, change))
    };
    entries.iter().filter_map(of).collect()
}

fn remedy(model: &BoardModel, e: &Entry, h: &HandsOn, change: Option<&Change>) -> RemedyNote {
    let verdict = verdict(h, change);
    // Of several remedies between two runs, one that changed nothing has no part in what the runs show.
    let shared = change.is_some_and(|c| c.lines.len() > 1);
    let shown = change.filter(|_| !(shared && verdict == Verdict::NeverTheFault));
    let list = |pick: fn(&Change) -> &Vec<String>| shown.map(pick).cloned().unwrap_or_default();
    let verdict = match on_board(model, h) {
        true => verdict,
        false => Verdict::Unclear,
    };
    RemedyNote {
        line: e.line,
        at: e.when(),
        what: sentence(model, e, h),
        verdict,
        verdict_said: match on_board(model, h) {
            true => said(verdict, h),
            false => "this board has no such position: it counted for nothing".into(),
        },
        gone: list(|c| &c.gone),
        still: list(|c| &c.still),
        new: list(|c| &c.new),
        first: list(|c| &c.first),
        early: list(|c| &c.early),
        unread: list(|c| &c.unread),
    }
}

fn verdict(h: &HandsOn, change: Option<&Change>) -> Verdict {
    match h.result {
        // Whoever stood there saw no change; what went away later went away by itself or by something else.
        Effect::NoChange | Effect::TestedGood => return Verdict::NeverTheFault,
        Effect::Moved => return Verdict::Moved,
        _ => {}
    }
    let early = change.is_some_and(|c| c.verdict == compare::Verdict::TooEarly);
    let fails =
        change.is_some_and(|c| !(c.still.is_empty() && c.new.is_empty() && c.first.is_empty()));
    // 'Cured' stands unless a reading says otherwise; what was not read again says nothing.
    if h.result == Effect::Cured && !early && !fails {
        return Verdict::Fixed;
    }
    match change.map(|c| c.verdict) {
        Some(compare::Verdict::Fixed) => Verdict::Fixed,
        Some(compare::Verdict::Moved) => Verdict::Moved,
        Some(compare::Verdict::NewFault) => Verdict::NewFault,
        Some(compare::Verdict::NeverWasTheFault) => Verdict::NeverTheFault,
        Some(compare::Verdict::PartlyFixed) => Verdict::PartlyFixed,
        Some(compare::Verdict::TooEarly) => Verdict::TooEarly,
        Some(compare::Verdict::NotComparable) | None => match h.result {
            Effect::Cured => Verdict::Fixed,
            Effect::Changed => Verdict::PartlyFixed,
            Effect::Worse => Verdict::NewFault,
            Effect::NoChange => Verdict::NeverTheFault,
            _ => Verdict::Unclear,
        },
    }
}

/// Whether two like parts changed places: the fault can only have gone with one of them. Without a word about it, each may
/// have been swapped for another.
fn exchanged(h: &HandsOn) -> bool {
    h.result == Effect::Moved
}

fn said(v: Verdict, h: &HandsOn) -> String {
    let lasting = is_remedy(h.action) && h.action != Action::Pull;
    match (v, h.result) {
        (_, Effect::TestedGood) => "tested good: it is not the fault".into(),
        (_, Effect::TestedBad) => "tested bad: it is at fault".into(),
        (Verdict::Fixed, _) if !lasting => {
            "the fault went away while it was done: it points here, and cures nothing".into()
        }
        (Verdict::TooEarly, _) => {
            "too early to say: it came and went before, and too few loops ran clean since".into()
        }
        (Verdict::Fixed, _) => "fixed: what failed before is good now".into(),
        (Verdict::PartlyFixed, Effect::Changed) => "changed the fault: it has a hand in it".into(),
        (Verdict::PartlyFixed, _) => "fixed in part: more is at fault".into(),
        (Verdict::Moved, _) => "moved: the fault went with it".into(),
        (Verdict::NewFault, _) => "a new fault: something that was good fails since".into(),
        (Verdict::NeverTheFault, _) if !lasting => {
            "no change: it says little about this part".into()
        }
        (Verdict::NeverTheFault, _) => "never was the fault: nothing changed".into(),
        (Verdict::Unclear, _) if h.action == Action::PutBack => "as it was before".into(),
        (Verdict::Unclear, _) => "not said, and no run after it tells".into(),
    }
}

/// `Swapped M3 with a part known to be good (4164, data bit 3 of main memory)`.
fn sentence(model: &BoardModel, e: &Entry, h: &HandsOn) -> String {
    let places: Vec<String> = h
        .places
        .iter()
        .map(crate::observe::board::written)
        .collect();
    let which = if places.is_empty() {
        "all parts in sockets".to_string()
    } else {
        places.join(", ")
    };
    let role = match h.places.as_slice() {
        [one] => crate::observe::board::position(model, &one.name)
            .map(|(_, p)| format!(" ({})", p.role))
            .unwrap_or_default(),
        _ => String::new(),
    };
    match h.action {
        Action::Swap if alike(model, h).is_some() && exchanged(h) => {
            format!("Exchanged {} with each other", places.join(" and "))
        }
        Action::Swap => format!("Swapped {which}{role} with a part known to be good"),
        Action::Replace => format!("Replaced {which}{role}"),
        Action::Piggyback => format!("Pressed a good part on top of {which}{role}"),
        Action::Bridge => format!("Held a good part across {which}{role}"),
        Action::Lift => format!("Soldered out one leg for a look: {which}{role}"),
        Action::Pull => format!("Took out {which}{role}"),
        Action::Press => format!("Pressed down {which}{role}"),
        Action::Reseat => format!("Took out and put back {which}{role}"),
        Action::Cool => format!("Cooled {which}{role}"),
        Action::WarmUp => format!("Warmed {which}{role}"),
        Action::Clean => format!("Cleaned the contacts of {which}{role}"),
        Action::Resolder => format!("Resoldered {which}{role}"),
        Action::TestedElsewhere => format!("{}{role}", e.text()),
        Action::PutBack => format!("Put the old part back into {which}{role}"),
        Action::Direct => {
            format!("Took out the added board, and put straight into its socket: {which}{role}")
        }
    }
}
