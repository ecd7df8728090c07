//! Second tries at what the grammar does not read as it stands: each reads only what can be meant in one way.

use super::concept::Concept;
use super::correct::Reading;
use super::divide::{Part, Piece, is_free, stands_alone, toks};
use super::grammar::{continued, statement};
use super::statement::{Intake, State, Statement, Subject};
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
        if let Some(parts) =
            told_by_now(lexed, from, to).or_else(|| intake_and_story(lexed, from, to))
        {
            out.extend(parts);
            continue;
        }
        let read = split_and_continued(lexed, from, to)
            .or_else(|| header_and_intake(lexed, from, to))
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

/// `board dunlin-64 faulty`, `ticket 0417 came in faulty`, `dunlin-64 black`: what heads a sheet, and how the machine came or what it
/// shows, with no mark between.
fn header_and_intake(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Statement>> {
    let heads = |s: &Statement| matches!(s, Statement::Ticket(_) | Statement::Board(_));
    let came = |at: usize| match is_only(lexed, at, to, Concept::Faulty) {
        true => Some(vec![Statement::Intake(Intake::Faulty)]),
        // `64k-6510-wide black`
        false => statement(toks(lexed, at, to)).filter(|all| {
            let came = |s: &Statement| matches!(s, Statement::Intake(_) | Statement::Finding(_));
            all.iter().all(came)
        }),
    };
    let mut found = (from + 2..to).filter_map(|at| {
        let mut first = statement(toks(lexed, from, at)).filter(|all| all.iter().all(heads))?;
        first.extend(came(at)?);
        Some(first)
    });
    let one = found.next()?;
    found.next().is_none().then_some(one)
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
        if let Some(more) = continued(toks(lexed, at, to), &first) {
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

/// `was black now picture fine`: how it was before is passed over, when it says no more than that.
fn told_by_now(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Piece>> {
    if !matches!(&*lexed.atoms[from].lower, "was" | "were") {
        return None;
    }
    let now = (from..to).find(|i| lexed.atoms[*i].lower == "now")?;
    let limited = (from..now).any(|i| lexed.longest(i, Concept::Changer).is_some());
    let all = statement(toks(lexed, now + 1, to)).filter(|all| all.iter().all(stands_alone))?;
    (!limited && now > from + 1).then(|| {
        vec![
            Piece {
                from,
                to: now + 1,
                part: Part::Free,
            },
            Piece {
                from: now + 1,
                to,
                part: Part::Read(all),
            },
        ]
    })
}

/// `arrived faulty wrong supply was used on it`: how it came, and a story, which is told to be passed over.
fn intake_and_story(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Piece>> {
    lexed.longest(from, Concept::CameIn)?;
    let came = |at: &usize| {
        let read = statement(toks(lexed, from, *at));
        read.is_some_and(|all| matches!(all.as_slice(), [Statement::Intake(_)]))
    };
    let at = (from + 2..to.min(from + 8)).find(came)?;
    let all = statement(toks(lexed, from, at))?;
    let told = |i: usize| matches!(&*lexed.atoms[i].lower, "was" | "were" | "been" | "had");
    let value = (at..to).any(|i| lexed.atoms[i].signs || lexed.atoms[i].lower == "?");
    let story = (at..to).any(told) && !value;
    story.then(|| {
        vec![
            Piece {
                from,
                to: at,
                part: Part::Read(all),
            },
            Piece {
                from: at,
                to,
                part: Part::Free,
            },
        ]
    })
}

pub fn is_value(statement: &Statement) -> bool {
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
pub fn about_one_place(statement: &Statement) -> bool {
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
