//! Which type number a suspect is: that of the part that it was, not of the one that sits there now.

use crate::faultmap::model::BoardModel;
use crate::observe::board;
use crate::rank::Ranking;
use crate::sheet::{Action, RunSheet, Statement};

/// What the sheets say was in a position, part after part.
#[derive(Default)]
struct Story {
    /// Parts in order, as far as their types are said.
    parts: Vec<Option<String>>,
    /// Which of them are in, or were before the one that is in.
    sits: Vec<usize>,
    /// What came out, as written on it.
    old: Vec<String>,
}

fn story(model: &BoardModel, sheets: &[RunSheet], position: usize) -> Story {
    let here = |name: &str| board::position(model, name).is_some_and(|(i, _)| i == position);
    let mut out = Story {
        parts: vec![None],
        sits: vec![0],
        old: Vec::new(),
    };
    for s in sheets.iter().flat_map(RunSheet::statements) {
        match &s.value {
            Statement::HandsOn(h)
                if matches!(h.action, Action::Swap | Action::Replace)
                    && h.places.iter().any(|p| here(&p.name))
                    && crate::observe::exchange::alike(model, h).is_none() =>
            {
                out.sits.push(out.parts.len());
                out.parts.push(None);
            }
            Statement::HandsOn(h)
                if h.action == Action::PutBack
                    && out.sits.len() > 1
                    && h.places.iter().any(|p| here(&p.name)) =>
            {
                out.sits.pop();
            }
            Statement::Fitted { place, part } if here(&place.name) => {
                let sits = *out.sits.last().expect("a part sits there");
                out.parts[sits] = Some(part.clone());
            }
            Statement::OldPart { place, what } if here(&place.name) => out.old.push(what.clone()),
            _ => {}
        }
    }
    out
}

/// The type number of the part that a cause of the ranking is, as far as the sheets or the map say.
pub fn part_of(
    model: &BoardModel,
    sheets: &[RunSheet],
    ranking: &Ranking,
    cause: usize,
) -> Option<String> {
    let instance = ranking.assembled.instances[cause];
    let position = model.units[instance.unit].position;
    let story = story(model, sheets, position);
    let marked = || {
        // Date codes and remarks stand behind the type.
        let text = story.old.get(instance.fitted)?;
        let first = text.split([',', ' ', ';']).next()?;
        first
            .chars()
            .any(|c| c.is_ascii_digit())
            .then(|| first.to_string())
    };
    let out = !ranking.assembled.is_current(cause);
    out.then(marked)
        .flatten()
        .or_else(|| story.parts.get(instance.fitted).cloned().flatten())
        .or_else(|| model.positions[position].part_type.clone())
}
