//! The repair note: what is read months later by someone who was not there.
//!
//! One [`Note`] is built from a ticket ([`build`]) and drawn as JSON (as it is), text, Markdown and HTML, which share the
//! sections of a [`page`].

mod advice;
mod checks;
mod course;
mod doubts;
mod drawings;
pub mod figure_text;
mod glance;
pub mod html;
pub mod markdown;
pub mod model;
pub mod page;
mod parts;
mod proof;
mod remedies;
mod sections;
mod seen;
mod story;
pub mod text;

use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::Class;
use crate::infer::InferError;
use crate::learn::Learned;
use crate::next::{LIVE, MAINS};
use crate::observe::Facts;
use crate::rank::{Ranking, rank};
use crate::report::build::intake_said;
use crate::sheet::{Finding, Outcome, State, Statement, Subject, outcome_text};
use crate::ticket::Ticket;
pub use model::Note;
use model::*;
use std::collections::BTreeSet;
use story::Entry;

/// The note of a ticket, with the handbook's failure rates.
///
/// # Errors
/// Readings that no hypothesis of the model can give at all.
pub fn build(model: &BoardModel, ticket: &Ticket) -> Result<Note, InferError> {
    build_with(model, ticket, None)
}

/// The note of a ticket, with a bench's own failure rates where there are any. `plain` is the board with the handbook's.
///
/// # Errors
/// As [`build`].
pub fn build_with(
    plain: &BoardModel,
    ticket: &Ticket,
    learned: Option<&Learned>,
) -> Result<Note, InferError> {
    let own = learned.map(|l| l.applied(plain));
    let model = own.as_ref().unwrap_or(plain);
    let sheets = std::slice::from_ref(&ticket.sheet);
    let ranking = rank(model, sheets)?;
    let entries = story::entries(ticket);
    let results = checks::results(&ranking.observed);
    let remedies = remedies::remedies(model, ticket, &entries);
    let mut course = course::course(model, ticket, &entries, &ranking);
    course.rates = learned.map(|l| RatesNote {
        tickets: l.tickets,
        changed: crate::learn::order::changed(plain, l, sheets, &ranking),
    });
    let parts = parts::parts(model, &entries);
    let proof = proof::proof(ticket, &ranking.observed, &results);
    let mut glance = glance::glance(
        model,
        &ranking,
        &entries,
        &course.suspects,
        &remedies,
        &proof,
    );
    if matches!(
        glance.status,
        Status::Open | Status::Reopened | Status::SwitchedOff
    ) {
        glance.next = next_step(model, ticket, &ranking);
    }
    let settled = matches!(
        glance.status,
        Status::CuredAndProved | Status::CuredNotProved | Status::UsedForParts
    );
    let facts = &ranking.observed.facts;
    let machine = machine(model, &entries, facts);
    let hot = hot(&entries);
    let worked_on = worked_on(model, &entries, &parts);
    Ok(Note {
        schema: SCHEMA,
        ticket: facts.ticket.clone(),
        said: said(&entries),
        runs: seen::runs(&ticket.sheet, &entries, &results),
        doubts: doubts::doubts(model, ticket, &ranking, &results, &remedies, settled),
        advice: advice::advice(model, &parts, &course.suspects, &facts.fitted),
        cautions: cautions(model, &ranking, &course.suspects, &worked_on, &hot),
        board: drawings::board(model, &course.suspects, &worked_on, &machine.empty),
        keys: drawings::keys(model, &entries),
        memory: drawings::memory(model, &entries),
        glance,
        machine,
        course,
        remedies,
        proof,
        parts,
    })
}

fn machine(model: &BoardModel, entries: &[Entry], facts: &Facts) -> MachineNote {
    let fitted = facts.fitted.iter().map(|(&i, part)| FittedNote {
        socket: model.positions[i].name.clone(),
        part: part.clone(),
        role: model.positions[i].role.clone(),
    });
    MachineNote {
        board: model.board.clone(),
        what: model.what.clone(),
        intake: intake_said(facts.intake).into(),
        mains: facts.mains,
        cartridge: facts.cartridge.clone(),
        fitted: fitted.collect(),
        empty: facts
            .empty
            .keys()
            .map(|&i| model.positions[i].name.clone())
            .collect(),
        opened: entries.iter().find_map(Entry::when),
        closed: entries.iter().rev().find_map(Entry::when),
        ends: ends(entries),
    }
}

/// Ends and openings of a ticket that was opened again.
fn ends(entries: &[Entry]) -> Vec<String> {
    let of = |e: &Entry| match e.says {
        Statement::Outcome(o) => {
            let at = e.when().map(|t| format!(", {t}")).unwrap_or_default();
            Some((*o, format!("{}{at}", outcome_text(*o))))
        }
        _ => None,
    };
    let all: Vec<_> = entries.iter().filter_map(of).collect();
    match all.iter().any(|(o, _)| *o == Outcome::Reopened) {
        true => all.into_iter().map(|(_, text)| text).collect(),
        false => Vec::new(),
    }
}

/// What comes next, in one sentence.
fn next_step(model: &BoardModel, ticket: &Ticket, ranking: &Ranking) -> Option<String> {
    let skipped =
        |say: &str, ask: &crate::next::Ask| crate::bench::out_of_question(model, ticket, say, ask);
    let bench = crate::next::Bench::default();
    let advice = crate::next::advise_but(model, ranking, &bench, &skipped);
    advice.steps.first().map(|s| s.step.clone())
}

/// Parts that were found hot.
fn hot(entries: &[Entry]) -> Vec<String> {
    let of = |e: &Entry| match e.says {
        Statement::Finding(Finding {
            subject: Subject::Heat(place),
            state,
            ..
        }) => {
            let hot = match state {
                State::Hot | State::TooHot => true,
                // 45 degrees as `observe` has it.
                State::Celsius(t) => *t >= 45.0,
                _ => false,
            };
            hot.then(|| place.name.clone())
        }
        _ => None,
    };
    let mut out: Vec<String> = entries.iter().filter_map(of).collect();
    out.dedup();
    out
}

/// What people said, as typed.
fn said(entries: &[Entry]) -> Vec<Said> {
    let of = |e: &Entry| {
        let (kind, text) = match e.says {
            Statement::Complaint(text) => (SaidKind::Complaint, text),
            Statement::History(text) => (SaidKind::History, text),
            // What only says that a question was answered with nothing is no remark of anyone's.
            Statement::Note(text) if crate::bench::intake::is_mark(text) => return None,
            Statement::Note(text) => (SaidKind::Remark, text),
            _ => return None,
        };
        Some(Said {
            kind,
            text: text.clone(),
            line: e.line,
        })
    };
    entries.iter().filter_map(of).collect()
}

/// Positions that were renewed, refitted or handled.
fn worked_on(model: &BoardModel, entries: &[Entry], parts: &[PartNote]) -> BTreeSet<String> {
    let handled = entries.iter().filter_map(|e| match e.says {
        Statement::HandsOn(h) => Some(&h.places),
        _ => None,
    });
    let named = handled
        .flatten()
        .filter_map(|p| crate::observe::board::position(model, &p.name));
    named
        .map(|(_, p)| p.name.clone())
        .chain(parts.iter().map(|p| p.socket.clone()))
        .collect()
}

/// What a rail past its limit leaves behind.
const SAW_IT: &str = "Every chip on that rail saw it too: test each before it is trusted again.";

/// Cautions for the positions in question, and for every machine of its kind.
fn cautions(
    model: &BoardModel,
    ranking: &Ranking,
    suspects: &[SuspectNote],
    worked_on: &BTreeSet<String>,
    hot: &[String],
) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    if let Some(stop) = &ranking.observed.stop {
        let remedy = stop.remedy.trim_start_matches("switch off; ");
        out.push(format!("SWITCH OFF: {}; {remedy}.", stop.reason));
        out.push(SAW_IT.to_string());
    } else if !ranking.observed.stops.is_empty() {
        out.push(format!(
            "It stood on a supply past its limit: {}.",
            ranking.observed.stops.join("; ")
        ));
        out.push(SAW_IT.to_string());
    }
    if !hot.is_empty() {
        out.push(format!(
            "{} got hot: a part that does burns fingers. Switch off and let it cool before it is touched.",
            hot.join(", ")
        ));
    }
    let asked =
        |p: &&Position| worked_on.contains(&p.name) || suspects.iter().any(|s| s.socket == p.name);
    for p in model.positions.iter().filter(asked) {
        if let Some(caution) = &p.caution {
            let text = format!(
                "{} ({}): {}.",
                p.name,
                p.role,
                caution.trim_end_matches('.')
            );
            if !out.contains(&text) {
                out.push(text);
            }
        }
    }
    out.push(format!("When it is measured again: {LIVE}."));
    if model.positions.iter().any(|p| p.class == Class::Supply) {
        out.push(format!("Around the supply: {MAINS}."));
    }
    out
}
