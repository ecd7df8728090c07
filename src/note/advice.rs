//! What may be fitted in the positions that a repair was about, and on which conditions.

use super::model::{AdviceNote, PartNote, SuspectNote, TypeNote};
use crate::faultmap::expand::list;
use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::TypeRaw;
use crate::faultmap::supply::{SUPPLY_SHARE, mismatches, volts_at};
use std::collections::BTreeMap;

/// Suspects that advice is given for when nothing was put in.
const LEADERS: usize = 2;

/// A suspect below this needs no part yet.
const LIKELY: f64 = 0.25;

/// Positions worked on, else those of the leading suspects; where the board map knows types.
pub fn advice(
    model: &BoardModel,
    parts: &[PartNote],
    suspects: &[SuspectNote],
    fitted: &BTreeMap<usize, String>,
) -> Vec<AdviceNote> {
    let mut sockets: Vec<&str> = parts.iter().map(|p| p.socket.as_str()).collect();
    if sockets.is_empty() {
        let likely = suspects
            .iter()
            .filter(|s| s.probability.last().is_some_and(|p| *p >= LIKELY));
        sockets = likely.take(LEADERS).map(|s| s.socket.as_str()).collect();
    }
    let mut out: Vec<AdviceNote> = Vec::new();
    let mut done: Vec<&str> = Vec::new();
    for socket in sockets {
        let Some((i, position)) = model.position(socket) else {
            continue;
        };
        if position.types.is_empty() || done.contains(&position.name.as_str()) {
            continue;
        }
        done.push(&position.name);
        let put_in = parts
            .iter()
            .rev()
            .find(|p| p.socket == position.name)
            .and_then(|p| p.part.clone());
        let note = one(model, position, fitted.get(&i).cloned().or(put_in));
        // The same said of two positions is said once.
        match out.iter_mut().find(|a| same(a, &note)) {
            Some(known) => {
                known.socket = format!("{}, {}", known.socket, note.socket);
                if known.role != note.role {
                    known.role = format!("{}; {}", known.role, note.role);
                }
            }
            None => out.push(note),
        }
    }
    out
}

/// Whether two positions get the same advice.
fn same(a: &AdviceNote, b: &AdviceNote) -> bool {
    let bare = |n: &AdviceNote| AdviceNote {
        socket: String::new(),
        role: String::new(),
        ..n.clone()
    };
    bare(a) == bare(b)
}

fn one(model: &BoardModel, position: &Position, fitted: Option<String>) -> AdviceNote {
    let (mut may, mut not, mut unsure) = (Vec::new(), Vec::new(), Vec::new());
    for (part, raw) in &position.types {
        let mut wrong = wrong_supply(model, position, raw);
        wrong.extend(other_voltage(position, raw));
        let high = too_high(model, position, raw);
        let mut note = TypeNote {
            part: part.clone(),
            conditions: wrong.iter().chain(&high).cloned().collect(),
            from_memory: raw.source.as_deref() == Some("memory"),
        };
        note.conditions.extend(conditions(model, position, raw));
        let unknown = raw
            .supply
            .iter()
            .filter(|(signal, _)| volts_at(model, position, signal).is_none());
        let unknown: Vec<String> = unknown
            .map(|(signal, v)| {
                format!(
                    "needs {v} V at {}: measure what this board gives it first",
                    signal.to_uppercase()
                )
            })
            .collect();
        match (wrong.is_empty() && high.is_none(), unknown.is_empty()) {
            (false, _) => not.push(note),
            (true, true) => may.push(note),
            (true, false) => {
                note.conditions.splice(0..0, unknown);
                unsure.push(note);
            }
        }
    }
    // What the board is made for comes first.
    may.sort_by_key(|t| position.part_type.as_ref() != Some(&t.part));
    AdviceNote {
        socket: position.name.clone(),
        role: position.role.clone(),
        made_for: position.part_type.clone(),
        fitted,
        in_socket: position.socket,
        may,
        unsure,
        not,
        clearance: room(model, position)
            .map(|mm| format!("{mm} mm free between the board and the keyboard above it")),
    }
}

/// Supply pins that get another voltage here than the type needs, in words.
/// What a regulator makes, if that is not what the type of this place makes.
fn other_voltage(position: &Position, raw: &TypeRaw) -> Option<String> {
    let made_for = position.part_type.as_ref()?;
    let wanted = position.types.get(made_for)?.makes?;
    raw.makes
        .filter(|makes| *makes != wanted)
        .map(|makes| format!("makes {makes} V; this place needs the {wanted} V of a {made_for}"))
}

fn wrong_supply(model: &BoardModel, position: &Position, raw: &TypeRaw) -> Vec<String> {
    let all = mismatches(model, position, &raw.supply);
    let said = all.iter().map(|m| {
        let pin = m.signal.to_uppercase();
        format!(
            "needs {} V at {pin}; this board gives it {} V",
            m.needs, m.gets
        )
    });
    said.collect()
}

/// Free height above a position, millimetres.
fn room(model: &BoardModel, position: &Position) -> Option<f64> {
    let clearance = model.clearance.as_ref()?;
    list(&clearance.under)
        .contains(&position.name)
        .then_some(clearance.mm)
}

/// Height of a stack, worded as a sum: `low socket 4.2 + adapter board 8 = 12.2 mm`.
fn sum(raw: &TypeRaw) -> (f64, String) {
    let total: f64 = raw.stack.values().sum();
    let terms: Vec<String> = raw
        .stack
        .iter()
        .map(|(what, mm)| format!("{what} {mm}"))
        .collect();
    (total, format!("{} = {total:.1} mm", terms.join(" + ")))
}

fn too_high(model: &BoardModel, position: &Position, raw: &TypeRaw) -> Option<String> {
    let free = room(model, position).filter(|_| !raw.stack.is_empty())?;
    let (total, sum) = sum(raw);
    (total > free).then(|| {
        format!(
            "too high under the keyboard: {sum}, {free} mm are free, {:.1} mm too much",
            total - free
        )
    })
}

fn conditions(model: &BoardModel, position: &Position, raw: &TypeRaw) -> Vec<String> {
    let mut out: Vec<String> = raw.note.iter().cloned().collect();
    let supply = raw.supply.iter().filter(|(signal, needs)| {
        volts_at(model, position, signal)
            .is_some_and(|v| (v - **needs).abs() <= needs.abs() * SUPPLY_SHARE)
    });
    out.extend(
        supply.map(|(signal, v)| {
            format!("{v} V at {}, as this board gives it", signal.to_uppercase())
        }),
    );
    out.extend(raw.capacitors.iter().cloned());
    out.extend(raw.speed.iter().cloned());
    if !raw.stack.is_empty() {
        let (total, sum) = sum(raw);
        match room(model, position) {
            Some(free) if total <= free => {
                out.push(format!(
                    "height: {sum}; {free} mm are free under the keyboard, {:.1} mm to spare",
                    free - total
                ));
            }
            Some(_) => {}
            None => out.push(format!(
                "height: {sum}; measure the room under the keyboard before it goes in"
            )),
        }
    }
    out
}
