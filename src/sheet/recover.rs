//! Second tries at what the grammar does not read as it stands: each reads only what can be meant in one way.

use super::concept::Concept;
use super::correct::Reading;
use super::divide::{Part, Piece, is_free, stands_alone, toks};
use super::grammar::{continued, statement};
use super::print::{hands_on_text, state_text};
use super::statement::{Effect, HandsOn, Intake, State, Statement, Subject};
use super::token::{Kind, Lexed};
use super::vocab::Vocabulary;
use crate::source::Span;

/// At most so many words around a statement are passed over.
const MOST_FREE: usize = 5;

/// Reads a text as one statement of the grammar, without corrections.
pub fn read_text(text: &str, words: &Vocabulary) -> Option<Vec<Statement>> {
    let lexed = Lexed::new(text, Span::new(0, text.len()), words, None);
    statement(toks(&lexed, 0, lexed.atoms.len()))
}

/// Tries the pieces that were not read again.
pub fn second_tries(lexed: &Lexed, pieces: Vec<Piece>) -> Vec<Piece> {
    let header = pieces.iter().any(|p| {
        matches!(&p.part, Part::Read(all) if all.iter().any(|s| matches!(s, Statement::Ticket(_) | Statement::Board(_))))
    });
    let mut out = Vec::new();
    for piece in pieces {
        if !matches!(piece.part, Part::Unread) {
            out.push(piece);
            continue;
        }
        let (from, to) = (piece.from, piece.to);
        let read = split_and_continued(lexed, from, to)
            .or_else(|| last_is_not(lexed, from, to))
            .or_else(|| {
                (header && is_only(lexed, from, to, Concept::Faulty))
                    .then(|| vec![Statement::Intake(Intake::Faulty)])
            });
        match read {
            Some(all) => out.push(Piece {
                part: Part::Read(all),
                ..piece
            }),
            None => {
                match doubted_end(lexed, from, to).or_else(|| without_free_words(lexed, from, to)) {
                    Some(parts) => out.extend(parts),
                    None => out.push(piece),
                }
            }
        }
    }
    out
}

fn is_only(lexed: &Lexed, from: usize, to: usize, concept: Concept) -> bool {
    lexed.longest(from, concept) == Some(to - from)
}

/// `timer 1a ok 1b bad`: a statement and one that goes on with it, divided in one way only.
fn split_and_continued(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Statement>> {
    let mut found: Option<Vec<Statement>> = None;
    for at in from + 2..to {
        let Some(mut first) =
            statement(toks(lexed, from, at)).filter(|all| all.iter().all(stands_alone))
        else {
            continue;
        };
        let Some(Statement::Finding(last)) = first.last() else {
            continue;
        };
        if let Some(more) = continued(toks(lexed, at, to), &last.subject) {
            if found.is_some() {
                return None;
            }
            first.extend(more);
            found = Some(first);
        }
    }
    found
}

/// `irq ok nmi not`: `not` behind a subject, last of all, after something that was said to be good.
fn last_is_not(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Statement>> {
    if to < from + 4 || lexed.typed(to - 1).to_lowercase() != "not" {
        return None;
    }
    let mut found = None;
    for at in from + 2..to - 1 {
        let first = statement(toks(lexed, from, at));
        let good = |s: &Statement| matches!(s, Statement::Finding(f) if f.state == State::Ok);
        let Some(mut first) = first.filter(|all| all.iter().all(good)) else {
            continue;
        };
        let span = lexed.span(at, to - 1);
        let rest = read_text(
            &format!("{} bad", &lexed.text[span.start..span.end]),
            lexed.words,
        )
        .or_else(|| {
            read_text(
                &format!("line {} bad", &lexed.text[span.start..span.end]),
                lexed.words,
            )
        });
        let Some(rest) = rest else { continue };
        if found.is_some() {
            return None;
        }
        first.extend(rest);
        found = Some(first);
    }
    found
}

/// `U14-3 pulsing 2.1 MHz U14-6 high ?`: the question is about what stands last; what stands before it is read.
fn doubted_end(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Piece>> {
    if to < from + 4 || lexed.typed(to - 1) != "?" {
        return None;
    }
    (from + 2..to - 1).rev().find_map(|at| {
        let read = statement(toks(lexed, from, at)).filter(|all| all.iter().all(stands_alone))?;
        let value = read.iter().all(is_value);
        let whole = statement(toks(lexed, at, to - 1)).is_some();
        let word = at + 1 == to - 1 && !lexed.found(at).is_empty();
        (whole || value && word).then(|| {
            vec![
                Piece {
                    from,
                    to: at,
                    part: Part::Read(read),
                },
                Piece {
                    from: at,
                    to,
                    part: Part::Doubted,
                },
            ]
        })
    })
}

fn is_value(statement: &Statement) -> bool {
    matches!(statement, Statement::Finding(f) if matches!(f.state, State::Volts(_) | State::Hertz(_) | State::Ohms(_)))
}

/// `R3 is a 27128 hand labelled`: words that say nothing, before or behind a statement about one place or value.
fn without_free_words(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Piece>> {
    let unknown = |i: usize| {
        let atom = &lexed.atoms[i];
        let unknown = atom.kind == Kind::Mark || lexed.found(i).is_empty();
        unknown && atom.reading == Reading::AsTyped && is_free(lexed, i, i + 1)
    };
    let ahead = (from..to)
        .take_while(|i| unknown(*i))
        .count()
        .min(MOST_FREE);
    let behind = (from..to)
        .rev()
        .take_while(|i| unknown(*i))
        .count()
        .min(MOST_FREE);
    for (cut, end) in (0..=ahead).flat_map(|a| (0..=behind).map(move |b| (a, b))) {
        let (start, stop) = (from + cut, to.saturating_sub(end));
        if cut + end == 0 || start + 2 > stop {
            continue;
        }
        let read =
            statement(toks(lexed, start, stop)).filter(|all| all.iter().all(about_one_place));
        // `5 kHz`: the word behind a number may be its unit.
        let unit = |all: &[Statement]| {
            stop < to && all.iter().any(is_value) && lexed.atoms[stop - 1].signs
        };
        if let Some(read) = read.filter(|all| !unit(all)) {
            let piece = |from, to, part| Piece { from, to, part };
            let mut out = Vec::new();
            if start > from {
                out.push(piece(from, start, Part::Free));
            }
            out.push(piece(start, stop, Part::Read(read)));
            if stop < to {
                out.push(piece(stop, to, Part::Free));
            }
            return Some(out);
        }
    }
    None
}

/// Where a word that is not known cannot limit how much is meant.
fn about_one_place(statement: &Statement) -> bool {
    match statement {
        Statement::Fitted { .. } => true,
        Statement::Finding(f) => matches!(
            f.subject,
            Subject::Rail(_)
                | Subject::Level(_)
                | Subject::MemoryBit(_)
                | Subject::MemorySocket(_)
                | Subject::MemoryCell { .. }
                | Subject::Fuse(_)
                | Subject::Voice(_)
                | Subject::Picture
        ),
        _ => false,
    }
}

/// What a line says that refers to the one above: `U3 as above`, `ditto U11`, `as above but 12v 11.2`.
pub fn as_above(lexed: &Lexed, above: &[Statement]) -> Option<Vec<Statement>> {
    let count = lexed.atoms.len();
    let (at, length) = (0..count).find_map(|i| Some((i, lexed.longest(i, Concept::AsAbove)?)))?;
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
