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
use crate::next::{LIVE, MAINS};
use crate::observe::Facts;
use crate::rank::{Ranking, rank};
use crate::report::build::intake_said;
use crate::sheet::Statement;
use crate::ticket::Ticket;
pub use model::Note;
use model::*;
use std::collections::BTreeSet;
use story::Entry;

/// The note of a ticket.
///
/// # Errors
/// Readings that no hypothesis of the model can give at all.
pub fn build(model: &BoardModel, ticket: &Ticket) -> Result<Note, InferError> {
    let ranking = rank(model, std::slice::from_ref(&ticket.sheet))?;
    let entries = story::entries(ticket);
    let results = checks::results(&ranking.observed);
    let remedies = remedies::remedies(model, ticket, &entries);
    let course = course::course(model, ticket, &entries, &ranking);
    let parts = parts::parts(model, &entries);
    let proof = proof::proof(ticket, &ranking, &results);
    let glance = glance::glance(
        model,
        &ranking,
        &entries,
        &course.suspects,
        &remedies,
        &proof,
    );
    let settled = matches!(
        glance.status,
        Status::CuredAndProved | Status::CuredNotProved | Status::UsedForParts
    );
    let facts = &ranking.observed.facts;
    let machine = machine(model, &entries, facts);
    let worked_on = worked_on(model, &entries, &parts);
    Ok(Note {
        schema: SCHEMA,
        ticket: facts.ticket.clone(),
        said: said(&entries),
        runs: seen::runs(&ticket.sheet, &entries, &results),
        doubts: doubts::doubts(model, ticket, &ranking, &results, &remedies, settled),
        advice: advice::advice(model, &parts, &course.suspects, &facts.fitted),
        cautions: cautions(model, &ranking, &course.suspects, &worked_on),
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
    }
}

/// What people said, as typed.
fn said(entries: &[Entry]) -> Vec<Said> {
    let of = |e: &Entry| {
        let (kind, text) = match e.says {
            Statement::Complaint(text) => (SaidKind::Complaint, text),
            Statement::History(text) => (SaidKind::History, text),
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

/// Cautions for the positions in question, and for every machine of its kind.
fn cautions(
    model: &BoardModel,
    ranking: &Ranking,
    suspects: &[SuspectNote],
    worked_on: &BTreeSet<String>,
) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    if let Some(stop) = &ranking.observed.stop {
        let remedy = stop.remedy.trim_start_matches("switch off; ");
        out.push(format!("SWITCH OFF: {}; {remedy}.", stop.reason));
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
