//! Lines that refer to the one above, and questions that carry their own answer.

use super::concept::Concept;
use super::divide::toks;
use super::grammar::{continued, statement};
use super::print::{hands_on_text, state_text};
use super::recover::{is_value, read_text};
use super::statement::{Effect, HandsOn, State, Statement, Subject};
use super::token::Lexed;
use super::vocab::Vocabulary;

/// Whether neither [`as_above`] nor [`goes_on`] makes anything of this, whatever the lines above say.
pub fn stands_alone(lexed: &Lexed) -> bool {
    let count = lexed.atoms.len();
    let Some(last) = count.checked_sub(1) else {
        return false;
    };
    let told = (0..count).any(|i| lexed.longest(i, Concept::AsAbove).is_some());
    let too = lexed.longest(last, Concept::AtLineEnd) == Some(1);
    let same = lexed.atoms[0].lower == "same";
    !(told || too || same) && lexed.longest(0, Concept::And).is_none()
}

/// `and pin 4 high` behind `pin 3 of U7 low`: what opens with `and` and is no statement goes on with the line above.
pub fn goes_on(lexed: &Lexed, above: &[Statement]) -> Option<Vec<Statement>> {
    let count = lexed.atoms.len();
    let length = lexed.longest(0, Concept::And)?;
    if lexed.atoms[0].lower == "but" || statement(toks(lexed, 0, count)).is_some() {
        return None;
    }
    // Which others, only the lines above tell; and a pin goes on with one part.
    let others = (0..count).any(|i| lexed.longest(i, Concept::OthersWord).is_some());
    let part = |s: &Statement| match s {
        Statement::Finding(f) => match &f.subject {
            Subject::Level(place) => Some(place.name.clone()),
            _ => None,
        },
        _ => None,
    };
    let several = above.iter().any(|s| part(s) != part(&above[0]));
    if others || several {
        return None;
    }
    continued(toks(lexed, length, count), above)
}

/// `is 4.71 ok on the 5v??`: the question is about a value, which is what was measured; `is pin 9 U3 meant to be low? mine's
/// high`: the answer stands behind it.
pub fn asked(lexed: &Lexed) -> Option<Vec<Statement>> {
    let count = lexed.atoms.len();
    if lexed.atoms.first()?.lower != "is" {
        return None;
    }
    let question = (0..count.min(14)).find(|i| lexed.atoms[*i].lower == "?")?;
    let text = |from: usize, to: usize| {
        let span = lexed.span(from, to);
        &lexed.text[span.start..span.end]
    };
    let words: Vec<usize> = (question..count)
        .filter(|i| lexed.atoms[*i].lower != "?")
        .collect();
    if words.is_empty() {
        let judged = |i: &usize| lexed.longest(*i, Concept::Good).is_some();
        let verdict = (1..question).find(judged)?;
        let rest = format!("{} {}", text(1, verdict), text(verdict + 1, question));
        let all = read_text(&rest, lexed.words)?;
        return (all.len() == 1 && is_value(&all[0])).then_some(all);
    }
    let own = ["mine's", "mines", "mine", "it's", "its", "here"];
    let answer = words
        .first()
        .filter(|i| own.contains(&&*lexed.atoms[**i].lower))?;
    let state = text(answer + 1, count);
    (3..=question).rev().find_map(|to| {
        let all = read_text(&format!("{} {state}", text(1, to)), lexed.words)?;
        let level = matches!(all.as_slice(), [Statement::Finding(f)]
            if matches!(&f.subject, Subject::Level(place) if place.pin.is_some()));
        level.then_some(all)
    })
}

/// What a line says that refers to the one above: `U3 as above`, `ditto U11`, `as above but 12v 11.2`.
pub fn as_above(lexed: &Lexed, above: &[Statement]) -> Option<Vec<Statement>> {
    let count = lexed.atoms.len();
    let told = (0..count).find_map(|i| Some((i, lexed.longest(i, Concept::AsAbove)?)));
    let last = count.checked_sub(1)?;
    // `U22 too`, `same U19`
    let too = (lexed.longest(last, Concept::AtLineEnd) == Some(1)).then_some((last, 1));
    let same = (lexed.atoms[0].lower == "same").then_some((0, 1));
    let (at, length) = told.or(too).or(same)?;
    let (before, behind) = ((0, at), (at + length, count));
    let text = |(from, to): (usize, usize)| {
        let span = lexed.span(from, to);
        let text = if from < to {
            &lexed.text[span.start..span.end]
        } else {
            ""
        };
        text.trim_matches(|c: char| c.is_whitespace() || ":,=-".contains(c))
    };
    let (before, behind) = (text(before), text(behind));
    let lower = behind.to_lowercase();
    if let (true, Some(change)) = (
        before.is_empty(),
        lower
            .strip_prefix("but ")
            .or_else(|| lower.strip_prefix("except ")),
    ) {
        return changed(above, &read_text(change, lexed.words)?);
    }
    match (before.is_empty(), behind.is_empty()) {
        (false, true) => same_of(before, above, lexed.words),
        (true, false) => same_of(behind, above, lexed.words),
        _ => None,
    }
}

/// The statements above, those about the same things replaced.
fn changed(above: &[Statement], new: &[Statement]) -> Option<Vec<Statement>> {
    let subject = |s: &Statement| match s {
        Statement::Finding(f) => Some(f.subject.clone()),
        _ => None,
    };
    let mut all = above.to_vec();
    for statement in new {
        let about = subject(statement)?;
        let slot = all
            .iter_mut()
            .find(|s| subject(s).as_ref() == Some(&about))?;
        *slot = statement.clone();
    }
    Some(all)
}

/// The same said of something else. What stands above must say one thing only.
fn same_of(what: &str, above: &[Statement], words: &Vocabulary) -> Option<Vec<Statement>> {
    let first = above.first()?;
    match first {
        Statement::HandsOn(done) if above.len() == 1 => {
            let Some(Statement::Empty(places)) = read_text(&format!("empty {what}"), words)?.pop()
            else {
                return None;
            };
            let again = HandsOn {
                places,
                ..done.clone()
            };
            let text = hands_on_text(&again);
            if again.result == Effect::Unknown {
                return None;
            }
            read_text(&text, words)
        }
        // `same at 11FF`: another address, the same bytes.
        Statement::Finding(f) if matches!(f.subject, Subject::MemoryCell { .. }) => {
            same_cell(what, &f.subject, &f.state, words)
        }
        Statement::Finding(f) => {
            let same = |s: &Statement| matches!(s, Statement::Finding(g) if g.state == f.state && g.loops == f.loops && g.warmth == f.warmth);
            let plain = f.loops.is_none() && f.warmth.is_none() && !has_value(&f.state);
            if !plain || !above.iter().all(same) {
                return None;
            }
            let read = read_text(&format!("{what} {}", state_text(&f.state)), words)?;
            read.iter().all(same).then_some(read)
        }
        _ => None,
    }
}

fn same_cell(
    what: &str,
    cell: &Subject,
    state: &State,
    words: &Vocabulary,
) -> Option<Vec<Statement>> {
    let Subject::MemoryCell { wrote, read, .. } = cell else {
        return None;
    };
    let what = what.trim_start_matches("at ");
    let all = read_text(&format!("{what} wrote {wrote:02X} read {read:02X}"), words)?;
    let same = |s: &Statement| matches!(s, Statement::Finding(f) if f.state == *state && matches!(f.subject, Subject::MemoryCell { .. }));
    all.iter().all(same).then_some(all)
}

/// A value is never carried over to something else.
fn has_value(state: &State) -> bool {
    !matches!(
        state,
        State::Ok
            | State::Bad
            | State::Low
            | State::High
            | State::Dead
            | State::Stuck
            | State::Upsets(_)
            | State::Stopped
            | State::Slow
            | State::Fast
            | State::Wrong
            | State::Noisy
            | State::Pulsing
            | State::Floating
            | State::Cold
            | State::Warm
            | State::Hot
            | State::TooHot
            | State::Shorted
            | State::Seen(_)
    )
}
