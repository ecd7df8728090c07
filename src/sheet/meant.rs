//! What a part of a segment means behind the parts before it: bits of the memory that was named, others of a kind.

use super::concept::Concept;
use super::divide::{Part, Piece, divides, toks};
use super::grammar::{continued, inherited};
use super::statement::{Action, Effect, HandsOn, State, Statement, Subject};
use super::token::Lexed;

/// A part as it is meant behind the statements `before` it.
pub fn in_context(lexed: &Lexed, piece: &mut Piece, before: &[Statement]) -> Part {
    let (from, to) = (piece.from, piece.to);
    match std::mem::replace(&mut piece.part, Part::Unread) {
        Part::Unread => match continued_all(lexed, from, to, before) {
            Some(all) => Part::Read(all),
            None => Part::Unread,
        },
        // `all others ok` behind a bit: the other bits.
        Part::Read(all) if all == [Statement::RestFine] => {
            match continued(toks(lexed, from, to), before) {
                Some(others) => Part::Read(others),
                None => match as_meant(lexed, (from, to), all, before) {
                    Some(all) => Part::Read(all),
                    None => Part::Unread,
                },
            }
        }
        Part::Read(all) => match as_meant(lexed, (from, to), all, before) {
            Some(all) => Part::Read(all),
            None => Part::Unread,
        },
        part => part,
    }
}

/// A statement as it is meant behind others: `bit 5 bad` behind `upper memory bit 2 bad` is of the memory that was named.
/// `None` when that cannot be told.
pub fn as_meant(
    lexed: &Lexed,
    (from, to): (usize, usize),
    all: Vec<Statement>,
    before: &[Statement],
) -> Option<Vec<Statement>> {
    let subject = |s: &Statement| match s {
        Statement::Finding(f) => Some(f.subject.clone()),
        _ => None,
    };
    // `user port pa2 fails, rest ok`: of the port, or of the test.
    let of_port = matches!(before.last(), Some(Statement::Finding(f)) if matches!(f.subject, Subject::Port(_)));
    if all == [Statement::RestFine] && of_port && names_part_of_port(lexed, from) {
        return None;
    }
    // `U11 fails in tester, U12 ok`: in the tester, or in its place.
    let tested = matches!(before.last(), Some(Statement::HandsOn(done)) if done.action == Action::TestedElsewhere);
    let part =
        |s: &Statement| matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Part(_)));
    if tested && all.iter().any(part) {
        return None;
    }
    // `freezer on U10: cured. U11 nothing`: the same done there, and nothing came of it.
    if let (Some(Statement::HandsOn(done)), [Statement::Finding(f)]) = (before.last(), &all[..])
        && let (Subject::Part(place) | Subject::Level(place), State::Dead) = (&f.subject, &f.state)
        && place.pin.is_none()
        && (from..to).any(|i| lexed.longest(i, Concept::NoChange).is_some())
    {
        let again = HandsOn {
            action: done.action,
            places: vec![place.clone()],
            result: Effect::NoChange,
        };
        return Some(vec![Statement::HandsOn(again)]);
    }
    let named = (from..to).any(|i| lexed.longest(i, Concept::Memory).is_some());
    let subjects: Option<Vec<Subject>> = all.iter().map(subject).collect();
    let (Some(subjects), false) = (subjects, named) else {
        return Some(all);
    };
    let last = before.last().and_then(subject);
    let meant = inherited(last.as_ref(), &subjects)?;
    let mut all = all;
    for (statement, subject) in all.iter_mut().zip(meant) {
        if let Statement::Finding(f) = statement {
            f.subject = subject;
        }
    }
    Some(all)
}

/// Whether a part of a port is named before atom `to`: a stick's direction, a motor, a wire.
fn names_part_of_port(lexed: &Lexed, to: usize) -> bool {
    (0..to).any(|i| {
        let wire = ["pa", "pb", "pc"].iter().any(|w| {
            let digit = lexed.atoms[i].lower.strip_prefix(w);
            digit.is_some_and(|d| d.len() == 1 && d.bytes().all(|b| b.is_ascii_digit()))
        });
        wire || lexed.longest(i, Concept::StickPart).is_some()
            || lexed.longest(i, Concept::TapePart).is_some()
    })
}

/// `2 missing, 3 ok` behind `voice 1 ok`: every part goes on with what was before, or none is read.
fn continued_all(
    lexed: &Lexed,
    start: usize,
    end: usize,
    before: &[Statement],
) -> Option<Vec<Statement>> {
    let known = before.len();
    let mut all = before.to_vec();
    let mut from = start;
    for to in (start..end)
        .filter(|i| divides(lexed, *i))
        .chain(std::iter::once(end))
    {
        let more = continued(toks(lexed, from, to), &all)?;
        all.extend(more);
        from = to + 1;
    }
    Some(all.split_off(known))
}
