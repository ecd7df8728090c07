//! What stands for itself on a line that as a whole is not understood.
//!
//! People in a hurry put five things on a line, and a sixth that nobody reads but they. The line is cut finer here (`!`, `so`), and
//! of each part what is a statement about one thing is read, with nothing around it but words that say nothing. A word that turns a
//! meaning around (`not`, `maybe`, `?`) keeps its whole part from being read; one that limits (`if`, `except`, `only when`) the parts on
//! both sides as well. What is not read stays on the sheet and is told.

use super::concept::{Concept, Concepts};
use super::correct::Reading;
use super::divide::{Part, Piece, STATES, contradict, divides, is_free, toks, turned_at, turning};
use super::grammar::statement;
use super::meant::as_meant;
use super::plain::speaks_of_others;
use super::recover::{about_one_place, is_value};
use super::statement::{State, Statement, Subject};
use super::token::{Kind, Lexed};

/// Longer parts are not searched.
const LONGEST: usize = 40;
/// Words for what was done.
const DEEDS: Concepts = Concepts::of(&[
    Concept::Swap,
    Concept::Replace,
    Concept::Piggyback,
    Concept::Bridge,
    Concept::LiftLeg,
    Concept::Pull,
    Concept::Press,
    Concept::Reseat,
    Concept::Cool,
    Concept::HeatUp,
    Concept::Clean,
    Concept::Resolder,
    Concept::WithNew,
    Concept::PutBack,
]);
/// What may stand before a colon.
const HEADINGS: Concepts = Concepts::of(&[
    Concept::Cartridge,
    Concept::Test,
    Concept::Ran,
    Concept::Minutes,
    Concept::Heading,
]);

/// The pieces of a segment with what stands for itself read, and nothing else; `None` when a question is among them.
pub fn islands(lexed: &Lexed, pieces: &[Piece]) -> Option<Vec<Piece>> {
    let turned = turned_at(lexed, pieces).is_some();
    let mut parts: Vec<Piece> = Vec::new();
    let mut limits: Vec<Limit> = Vec::new();
    for piece in pieces {
        match &piece.part {
            Part::Read(all) if turned && !all.iter().all(stands_for_itself) => {
                parts.push(part(piece.from, piece.to, Part::Unread));
                limits.push(Limit::None);
            }
            Part::Read(all) => {
                parts.push(part(piece.from, piece.to, Part::Read(all.clone())));
                limits.push(Limit::None);
            }
            Part::Doubted => return None,
            Part::Empty => {}
            Part::Free | Part::Unread => {
                for (from, to) in finer(lexed, piece.from, piece.to) {
                    let read = of_part(lexed, from, to, &parts);
                    limits.extend(read.iter().map(|_| limiting(lexed, from, to)));
                    parts.extend(read);
                }
            }
        }
    }
    block(lexed, &mut parts, &limits);
    Some(joined(parts, lexed.atoms.len()))
}

/// Leaves unread what something beside it may change.
fn block(lexed: &Lexed, parts: &mut [Piece], limits: &[Limit]) {
    let of = |k: usize| limits.get(k).copied().unwrap_or(Limit::None);
    let beside = |k: usize| (k > 0 && of(k - 1) != Limit::None) || of(k + 1) != Limit::None;
    let open = |p: &Piece| matches!(p.part, Part::Unread | Part::Free);
    // What comes after something was done is how it was then; what comes behind a condition goes by it.
    let act = |i: usize| DEEDS.meets(&lexed.atoms[i].heads);
    let deed = |p: &Piece| open(p) && (p.from..p.to).any(act);
    let conditional = |k: usize| of(k) == Limit::All;
    let first =
        |of: &dyn Fn(usize) -> bool| (0..parts.len()).find(|&k| of(k)).unwrap_or(parts.len());
    let (after_deed, after_condition) = (first(&|k| deed(&parts[k])), first(&conditional));
    let said = |p: &Piece| match &p.part {
        Part::Read(all) => all.clone(),
        _ => Vec::new(),
    };
    // `tod bad = test wants 60, tod ok`: which of the two holds, only a reader of the whole knows.
    let all: Vec<Statement> = parts.iter().flat_map(said).collect();
    let against = |p: &Piece| said(p).iter().any(|s| all.iter().any(|t| contradict(s, t)));
    // `bit 5 blorp, rest fine`: what the rest is depends on what was not read.
    let unread = parts.iter().position(|p| matches!(p.part, Part::Unread));
    let rest = |p: &Piece| said(p).iter().any(of_rest) || speaks_of_others(lexed, p.from, p.to);
    let blocked: Vec<bool> = (parts.iter().enumerate())
        .map(|(k, p)| {
            beside(k)
                || k > after_condition
                || k > after_deed && said(p).iter().any(is_result)
                || against(p)
                || unread.is_some_and(|u| k > u) && rest(p)
        })
        .collect();
    for (part, _) in parts.iter_mut().zip(blocked).filter(|b| b.1) {
        part.part = Part::Unread;
    }
}

fn is_result(statement: &Statement) -> bool {
    matches!(statement, Statement::Finding(_) | Statement::RestFine)
}

fn of_rest(statement: &Statement) -> bool {
    match statement {
        Statement::RestFine => true,
        Statement::Finding(f) => f.subject == Subject::OtherKeys,
        _ => false,
    }
}

/// What a part does to those beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Limit {
    None,
    /// It limits the parts before and behind it.
    Beside,
    /// It limits the part before it, and all behind it.
    All,
}

/// What a part that was not read limits: by a word that does, or by one that turns a meaning around at its edge.
fn limiting(lexed: &Lexed, from: usize, to: usize) -> Limit {
    let word = |i: usize| match &lexed.atoms[i].reading {
        Reading::NearChanger(word) => word.clone(),
        _ => lexed.atoms[i].lower.to_string(),
    };
    let is = |i: usize, concept: Concept| lexed.words.is(&word(i), concept);
    let any = |concept: Concept| (from..to).any(|i| is(i, concept));
    let turns = |i: usize| turning(lexed, i, i + 1).is_some() && !is(i, Concept::Amount);
    // `all bits ok but 3`
    let behind = from > 0 && turns(from - 1);
    if turning(lexed, from, to).is_none() && !behind {
        return Limit::None;
    }
    if any(Concept::Condition) {
        return Limit::All;
    }
    match behind || any(Concept::Limiter) || turns(from) || turns(to - 1) {
        true => Limit::Beside,
        false => Limit::None,
    }
}

fn part(from: usize, to: usize, part: Part) -> Piece {
    Piece { from, to, part }
}

/// Parts that were not read and stand beside each other are one again, with the marks behind them: alone, a word may say more (`undo,`).
fn joined(parts: Vec<Piece>, end: usize) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::new();
    for next in parts {
        match out.last_mut() {
            Some(last) if matches!((&last.part, &next.part), (Part::Unread, Part::Unread)) => {
                last.to = next.to;
            }
            _ => out.push(next),
        }
    }
    let ends: Vec<usize> = out.iter().skip(1).map(|p| p.from).chain([end]).collect();
    for (piece, end) in out.iter_mut().zip(ends) {
        if matches!(piece.part, Part::Unread) {
            piece.to = end;
        }
    }
    out
}

/// Cut at marks and words that end a thought.
fn finer(lexed: &Lexed, from: usize, to: usize) -> Vec<(usize, usize)> {
    // `cart: mem ok`, `overnight 11 hrs: 212 loops 0 bad`: what stands before the colon is when, or by what.
    let says_when = |i: usize| {
        let atom = &lexed.atoms[i];
        let number = atom.lower.bytes().all(|b| b.is_ascii_digit());
        number || HEADINGS.meets(&atom.heads) || is_free(lexed, i, i + 1)
    };
    let heading = |start: usize, i: usize| start < i && i <= start + 4 && (start..i).all(says_when);
    let ends = |start: usize, i: usize| {
        let atom = &lexed.atoms[i];
        match (atom.kind, &*atom.lower) {
            (Kind::Mark, ":") => divides(lexed, i) && heading(start, i),
            (Kind::Mark, "," | "." | "(" | ")") => divides(lexed, i),
            (Kind::Mark, "!") => true,
            _ => lexed.words.is(&atom.lower, Concept::ClauseEnd),
        }
    };
    let mut out = Vec::new();
    let mut start = from;
    for i in from..to {
        if ends(start, i) {
            out.push((start, i));
            // `but` limits what stands before it.
            start = if lexed.atoms[i].lower == "but" {
                i
            } else {
                i + 1
            };
        }
    }
    out.push((start, to));
    out.retain(|(a, b)| a < b);
    out
}

/// The pieces of a part, read where something in it stands for itself. `before`: what was made of the parts before it.
fn of_part(lexed: &Lexed, from: usize, to: usize, before: &[Piece]) -> Vec<Piece> {
    let count = to - from;
    let unread = || vec![part(from, to, Part::Unread)];
    // `voice 1: ok voice 2: ok`: a state at the start may be of what stands before.
    let of_before = from > 0 && STATES.meets(&lexed.atoms[from].heads);
    if turning(lexed, from, to).is_some() || !(2..=LONGEST).contains(&count) || of_before {
        return unread();
    }
    let said: Vec<Statement> = (before.iter())
        .flat_map(|p| match &p.part {
            Part::Read(all) => all.clone(),
            _ => Vec::new(),
        })
        .collect();
    let island = |i: usize, j: usize| {
        let all = island(lexed, (i, j), (from, to))?;
        as_meant(lexed, (i, j), all, &said)
    };
    // For each end: the most words that are read, and how the last piece begins and whether it is read.
    let mut best: Vec<Option<(usize, usize, bool)>> = vec![None; count + 1];
    best[0] = Some((0, 0, false));
    for j in 1..=count {
        if let Some((read, ..)) = best[j - 1]
            && is_free(lexed, from + j - 1, from + j)
        {
            best[j] = Some((read, j - 1, false));
        }
        for i in 0..j.saturating_sub(1) {
            let Some((read, ..)) = best[i] else { continue };
            let more = read + j - i;
            if best[j].is_none_or(|b| more > b.0) && island(from + i, from + j).is_some() {
                best[j] = Some((more, i, true));
            }
        }
    }
    if best[count].is_none_or(|b| b.0 == 0) {
        return unread();
    }
    let (mut out, mut j) = (Vec::new(), count);
    while let Some((_, i, is_read)) = best[j].filter(|_| j > 0) {
        let what = match island(from + i, from + j).filter(|_| is_read) {
            Some(all) => Part::Read(all),
            None => Part::Free,
        };
        out.push(part(from + i, from + j, what));
        j = i;
    }
    out.reverse();
    out
}

/// What these atoms say, if words around them that are not known cannot change it. `part`: the part that they stand in.
fn island(
    lexed: &Lexed,
    (from, to): (usize, usize),
    part: (usize, usize),
) -> Option<Vec<Statement>> {
    let torn = to < part.1 && lexed.atoms[to].stuck || from > part.0 && lexed.atoms[from].stuck;
    if torn {
        return None;
    }
    let all = statement(toks(lexed, from, to))?;
    // `5 kilohertz`: the word behind a number may be its unit; `keys dead RTN`: or name what is meant.
    let open_ended = |s: &Statement| is_value(s) || !about_one_place(s);
    let more = to < part.1 && !(lexed.atoms[to].signs || next_begins(lexed, to, part.1));
    let fits = all.iter().all(stands_for_itself) && !(more && all.iter().any(open_ended));
    fits.then_some(all)
}

/// Whether another statement begins here.
fn next_begins(lexed: &Lexed, at: usize, end: usize) -> bool {
    (at + 2..=end.min(at + 8)).any(|j| statement(toks(lexed, at, j)).is_some())
}

/// A reading of one thing, which says itself what was read of what.
fn stands_for_itself(statement: &Statement) -> bool {
    match statement {
        Statement::Finding(f) => match &f.subject {
            Subject::Part(_)
            | Subject::Looks(_)
            | Subject::Capacitor(_)
            | Subject::Capacitance(_) => false,
            Subject::Heat(_) => matches!(f.state, State::Hot | State::TooHot),
            _ => true,
        },
        Statement::Board(_) => true,
        _ => false,
    }
}
