//! Parts that were put in, and where they came from.

use super::model::PartNote;
use super::story::{self, Entry};
use crate::faultmap::model::BoardModel;
use crate::observe::exchange::alike;
use crate::sheet::{Action, Effect, HandsOn, Statement, origin_text};

/// Of a part that changed nothing.
const STAYED: &str = "; tried, not said whether it stayed";

/// Whether a part was put in at the position that a word means.
fn is_at(model: &BoardModel, part: &PartNote, word: &str) -> bool {
    let position = crate::observe::board::position(model, word);
    position.is_some_and(|(_, p)| p.name == part.socket)
}

/// Every part put in after the first reading, in order.
pub fn parts(model: &BoardModel, entries: &[Entry]) -> Vec<PartNote> {
    let first = entries
        .iter()
        .find(|e| story::reads(e.says))
        .map_or(usize::MAX, |e| e.line);
    let mut out: Vec<PartNote> = Vec::new();
    for e in entries {
        match e.says {
            // Two parts that changed places: none was used.
            Statement::HandsOn(h) if h.result == Effect::Moved && alike(model, h).is_some() => {}
            Statement::HandsOn(HandsOn {
                action: action @ (Action::Swap | Action::Replace),
                places,
                result,
            }) => {
                for place in places
                    .iter()
                    .filter(|p| crate::observe::board::position(model, &p.name).is_some())
                {
                    let mut part = put_in(model, e.line, &place.name, *action);
                    if *result == Effect::NoChange {
                        part.origin += STAYED;
                    }
                    out.push(part);
                }
            }
            Statement::HandsOn(h) if h.action == Action::PutBack => {
                let tried = |p: &&mut PartNote| h.places.iter().any(|w| is_at(model, p, &w.name));
                if let Some(part) = out.iter_mut().rev().find(tried) {
                    part.origin = part.origin.replace(STAYED, "");
                    part.origin += "; tried, the old part went back";
                }
            }
            Statement::Fitted { place, part } if e.line > first => {
                let note = at(&mut out, model, e.line, &place.name);
                note.part = Some(part.clone());
            }
            Statement::Origin { places, from } => {
                for place in places {
                    let note = at(&mut out, model, e.line, &place.name);
                    note.origin = origin(&origin_text(from));
                }
            }
            Statement::OldPart { place, what } => {
                let note = at(&mut out, model, e.line, &place.name);
                note.old = Some(what.clone());
            }
            _ => {}
        }
    }
    out
}

fn origin(said: &str) -> String {
    match said {
        "shelf" => "from the shelf".into(),
        "new" => "new".into(),
        donor => format!("out of {donor}"),
    }
}

/// The last part put in at this position, or a new entry.
fn at<'n>(
    out: &'n mut Vec<PartNote>,
    model: &BoardModel,
    line: usize,
    socket: &str,
) -> &'n mut PartNote {
    let found = out
        .iter()
        .rposition(|p| p.socket.eq_ignore_ascii_case(socket));
    let i = found.unwrap_or_else(|| {
        out.push(put_in(model, line, socket, Action::Replace));
        out.len() - 1
    });
    &mut out[i]
}

fn put_in(model: &BoardModel, line: usize, word: &str, action: Action) -> PartNote {
    let position = crate::observe::board::position(model, word).map(|(_, p)| p);
    let origin = match action {
        Action::Swap => "known to be good; not said where from",
        _ => "not said",
    };
    PartNote {
        line,
        socket: position.map_or(word.to_string(), |p| p.name.clone()),
        part: position.and_then(|p| p.part_type.clone()),
        origin: origin.into(),
        old: None,
    }
}
