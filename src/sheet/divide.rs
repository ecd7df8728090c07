//! A segment of a line divided into statements.
//!
//! A comma may divide statements or stand inside one; the division is taken that leaves the least unread, with the
//! fewest parts. Statements without a mark between them (`+5V 4.98 +12V 11.9`) are divided when there is one way only.

use std::collections::HashMap;

use super::concept::{Concept, Concepts};
use super::correct::{Reading, is_position};
use super::grammar::statement;
use super::meant::{as_meant, in_context};
use super::statement::{Effect, Statement};
use super::token::{Kind, Lexed};
use super::toks::Toks;

/// More divided parts than this in one segment are not tried in all combinations.
const MOST_PARTS: usize = 24;
/// Longer runs of atoms are not divided without marks.
const MOST_UNDIVIDED: usize = 24;

/// Words for how something was: a part that starts with one may belong to the part before.
pub const STATES: Concepts = Concepts::of(&[
    Concept::Good,
    Concept::Bad,
    Concept::Low,
    Concept::High,
    Concept::Dead,
    Concept::Missing,
    Concept::Stopped,
    Concept::Slow,
    Concept::Fast,
    Concept::Wrong,
    Concept::Garbage,
    Concept::Noisy,
    Concept::Stuck,
    Concept::Hot,
    Concept::TooHot,
    Concept::Cold,
    Concept::Warm,
    Concept::Shorted,
    Concept::Open,
    Concept::No,
    Concept::Empty,
    Concept::Cured,
    Concept::NoChange,
    Concept::Changed,
    Concept::Moved,
    Concept::Worse,
]);

/// A part of a segment after reading.
pub enum Part {
    /// Statements.
    Read(Vec<Statement>),
    /// Words that say nothing about the machine.
    Free,
    /// Nothing.
    Empty,
    /// Not understood.
    Unread,
    /// A statement with a question mark behind it: kept, not read.
    Doubted,
}

/// A run of atoms and what became of it.
pub struct Piece {
    /// First atom.
    pub from: usize,
    /// One past the last atom.
    pub to: usize,
    /// What it is.
    pub part: Part,
}

/// The atoms `from..to` as the grammar reads them.
pub fn toks<'a>(lexed: &'a Lexed<'a>, from: usize, to: usize) -> Toks<'a> {
    Toks {
        lexed,
        from,
        to,
        explain: false,
    }
}

/// Reads a segment: its pieces in order, each read or not.
pub fn read(lexed: &Lexed) -> Vec<Piece> {
    let mut pieces = divide(lexed);
    for piece in &mut pieces {
        if matches!(piece.part, Part::Unread)
            && let Some(all) = undivided(lexed, piece.from, piece.to)
        {
            piece.part = Part::Read(all);
        }
    }
    // `ok voice 2` behind something that was not read may be two halves: the state belongs to what was before.
    for k in 1..pieces.len() {
        let starts_with_state =
            pieces[k].from < pieces[k].to && STATES.meets(&lexed.atoms[pieces[k].from].heads);
        if starts_with_state && matches!(pieces[k - 1].part, Part::Unread) {
            pieces[k].part = Part::Unread;
        }
    }
    // `5v/12v 4.98/11.9`, `high/low`: what a stroke or an arrow divides is read whole or not at all.
    for k in 1..pieces.len() {
        if concludes(lexed, &pieces[k - 1], &pieces[k]) {
            pieces[k].part = Part::Free;
            continue;
        }
        let mark = &*lexed.atoms[pieces[k].from - 1].lower;
        let unread = |part: &Part| matches!(part, Part::Unread | Part::Free);
        if matches!(mark, "/" | ">" | "\u{2192}")
            && unread(&pieces[k].part) != unread(&pieces[k - 1].part)
        {
            pieces[k].part = Part::Unread;
            pieces[k - 1].part = Part::Unread;
        }
    }
    let mut before: Vec<Statement> = Vec::new();
    for k in 0..pieces.len() {
        let behind_read =
            k > 0 && matches!(&pieces[k - 1].part, Part::Read(_)) && !before.is_empty();
        if behind_read {
            pieces[k].part = in_context(lexed, &mut pieces[k], &before);
        }
        if let Part::Read(all) = &pieces[k].part {
            before.extend(all.iter().cloned());
        }
    }
    super::recover::second_tries(lexed, merged(pieces))
}

/// `upper fails bit 6 -> IC21`: a part alone behind a result and an arrow is what somebody made of it, and no result.
fn concludes(lexed: &Lexed, before: &Piece, piece: &Piece) -> bool {
    let arrow = matches!(&*lexed.atoms[piece.from - 1].lower, ">" | "\u{2192}");
    let result = matches!(&before.part, Part::Read(all) if all.iter().all(|s| matches!(s, Statement::Finding(_))));
    let alone = piece.to == piece.from + 1 && is_position(&lexed.atoms[piece.from].lower);
    arrow && result && alone && piece.to == lexed.atoms.len()
}

/// What was not read and what says nothing beside it are one piece: only together do they mean what they mean.
fn merged(pieces: Vec<Piece>) -> Vec<Piece> {
    let mut all: Vec<Piece> = Vec::new();
    for piece in pieces {
        let read = |part: &Part| matches!(part, Part::Read(_));
        match all.last_mut() {
            Some(last) if !read(&last.part) && !read(&piece.part) => {
                last.to = last.to.max(piece.to);
                if matches!(last.part, Part::Empty) || matches!(piece.part, Part::Unread) {
                    last.part = piece.part;
                }
            }
            _ => all.push(piece),
        }
    }
    all
}

/// Reads a segment as one statement or not at all.
pub fn read_whole(lexed: &Lexed) -> Vec<Piece> {
    let to = lexed.atoms.len();
    let part = match statement(toks(lexed, 0, to)) {
        Some(all) => Part::Read(all),
        None if to == 0 => Part::Empty,
        None => Part::Unread,
    };
    vec![Piece { from: 0, to, part }]
}

/// The first word in what was not read that may turn the meaning around. `but` before an unread part limits what stands
/// before it, so it counts with that part.
pub fn turned_at(lexed: &Lexed, pieces: &[Piece]) -> Option<usize> {
    pieces
        .iter()
        .filter(|p| matches!(p.part, Part::Unread))
        .find_map(|p| {
            let before = p.from.saturating_sub(1);
            let limited = before < p.from && divides(lexed, before);
            turning(lexed, if limited { before } else { p.from }, p.to)
        })
}

/// Whether atom `i` may divide two statements.
pub fn divides(lexed: &Lexed, i: usize) -> bool {
    let atom = &lexed.atoms[i];
    if lexed.longest(i, Concept::And) == Some(1) {
        return true;
    }
    let next_stuck = lexed.atoms.get(i + 1).is_some_and(|a| a.stuck);
    let digit = |k: usize| {
        lexed
            .atoms
            .get(k)
            .is_some_and(|a| a.lower.bytes().all(|b| b.is_ascii_digit()))
    };
    atom.kind == Kind::Mark
        && match &*atom.lower {
            "," => !(atom.stuck && next_stuck && i > 0 && digit(i - 1) && digit(i + 1)),
            // A hyphen stuck to a word is a range that breaks off.
            "-" => !atom.stuck && !next_stuck,
            "." | "\u{2013}" | "\u{2014}" | ":" => !next_stuck,
            "+" | "&" => !next_stuck && i + 1 < lexed.atoms.len(),
            "(" | ")" | "/" => true,
            // `U13 replaced -> memory ok`
            ">" => i > 0 && matches!(&*lexed.atoms[i - 1].lower, "-" | "=") && atom.stuck,
            "\u{2192}" => true,
            _ => false,
        }
}

/// Divides a segment at its marks so that the least is left unread, then so that the parts are fewest.
fn divide(lexed: &Lexed) -> Vec<Piece> {
    let count = lexed.atoms.len();
    if count == 0 {
        return Vec::new();
    }
    let whole = toks(lexed, 0, count);
    if let Some(all) = statement(whole) {
        return vec![Piece {
            from: 0,
            to: count,
            part: Part::Read(all),
        }];
    }
    let cuts: Vec<usize> = (0..count).filter(|i| divides(lexed, *i)).collect();
    if cuts.is_empty() || cuts.len() >= MOST_PARTS {
        return vec![Piece {
            from: 0,
            to: count,
            part: Part::Unread,
        }];
    }
    // Bounds of the smallest parts: part k runs from starts[k] to ends[k].
    let starts: Vec<usize> = std::iter::once(0)
        .chain(cuts.iter().map(|c| c + 1))
        .collect();
    let ends: Vec<usize> = cuts.iter().copied().chain(std::iter::once(count)).collect();
    let parts = starts.len();
    // A colon or dash belongs to both its sides (`voice 1: ok`): it only divides off free words before it.
    let weak = |k: usize| {
        k > 0
            && matches!(
                &*lexed.atoms[starts[k] - 1].lower,
                ":" | "-" | "\u{2013}" | "\u{2014}"
            )
    };
    let mut best: Vec<(usize, Option<(usize, Part)>)> =
        (0..=parts).map(|_| (usize::MAX, None)).collect();
    best[0].0 = 0;
    for j in 1..=parts {
        for i in 0..j {
            if i == 0 && j == parts {
                continue;
            }
            let smallest = j - i == 1;
            let (from, to) = (starts[i], ends[j - 1]);
            let Some((mut cost, mut part)) = one_part(lexed, from, to, smallest) else {
                continue;
            };
            let free_before = matches!(best[i].1, Some((_, Part::Free | Part::Empty)));
            if matches!(part, Part::Read(_)) && (weak(i) && !free_before || j < parts && weak(j)) {
                if !smallest {
                    continue;
                }
                (cost, part) = (unread_cost(from, to), Part::Unread);
            }
            let total = best[i].0.saturating_add(cost);
            if total < best[j].0 {
                best[j] = (total, Some((i, part)));
            }
        }
    }
    collect_pieces(best, &starts, &ends)
}

fn collect_pieces(
    mut best: Vec<(usize, Option<(usize, Part)>)>,
    starts: &[usize],
    ends: &[usize],
) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut j = best.len() - 1;
    while j > 0 {
        let Some((i, part)) = best[j].1.take() else {
            break;
        };
        let mut piece = Piece {
            from: starts[i],
            to: ends[j - 1],
            part,
        };
        // Neighbours that were not read are one piece again.
        if let (
            Part::Unread,
            Some(Piece {
                part: Part::Unread,
                to,
                ..
            }),
        ) = (&piece.part, pieces.last())
        {
            piece.to = *to;
            pieces.pop();
        }
        pieces.push(piece);
        j = i;
    }
    pieces.reverse();
    pieces
}

/// Reads one part; parts of several elements only count when they are read. Returns its cost.
fn one_part(lexed: &Lexed, from: usize, to: usize, smallest: bool) -> Option<(usize, Part)> {
    if from >= to {
        return smallest.then_some((0, Part::Empty));
    }
    match statement(toks(lexed, from, to)) {
        Some(all) => Some((1, Part::Read(all))),
        None if !smallest => None,
        None if is_free(lexed, from, to) => Some((2, Part::Free)),
        None => Some((unread_cost(from, to), Part::Unread)),
    }
}

/// Leaving something unread costs more than any number of parts.
fn unread_cost(from: usize, to: usize) -> usize {
    100 + 10 * (to - from)
}

/// Free words: plain words that say nothing about the machine.
pub fn is_free(lexed: &Lexed, from: usize, to: usize) -> bool {
    (from..to).all(|i| {
        let atom = &lexed.atoms[i];
        let plain_marks = atom.kind == Kind::Mark && matches!(&*atom.lower, "!" | "'" | "." | "-");
        let word = atom.kind == Kind::Word
            && atom.reading == Reading::AsTyped
            && !atom.lower.bytes().any(|b| b.is_ascii_digit())
            && atom.lower.len() > 1
            && lexed
                .found(i)
                .iter()
                .all(|m| m.concept == Some(Concept::Filler));
        let small = lexed.longest(i, Concept::Filler).is_some()
            && lexed.longest(i, Concept::Changer).is_none();
        plain_marks || word || small
    })
}

/// The first atom that would turn a meaning around. Inside a longer phrase of the bench (`no change`) it does not.
pub fn turning(lexed: &Lexed, from: usize, to: usize) -> Option<usize> {
    let mut i = from;
    while i < to {
        let atom = &lexed.atoms[i];
        let changer = lexed.longest(i, Concept::Changer);
        let told = lexed
            .found(i)
            .iter()
            .filter(|m| m.concept != Some(Concept::Changer))
            .map(|m| m.len)
            .max();
        match (changer, told) {
            (Some(own), Some(phrase)) if phrase > own => i += phrase,
            (Some(_), _) => return Some(i),
            _ if atom.lower == "?" || matches!(atom.reading, Reading::NearChanger(_)) => {
                return Some(i);
            }
            _ => i += 1,
        }
    }
    None
}

/// Statements one after the other without marks, when there is only one way to divide them.
fn undivided(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Statement>> {
    let count = to - from;
    if !(4..=MOST_UNDIVIDED).contains(&count) {
        return None;
    }
    let mut memo: HashMap<(usize, usize), Option<Vec<Statement>>> = HashMap::new();
    // For each end: least number of parts, ways to get there with that many, start of the last part.
    let mut table: Vec<Option<(usize, usize, usize)>> = vec![None; count + 1];
    table[0] = Some((0, 1, 0));
    // Never between what is stuck together (`0.3V`).
    let apart = |i: usize| i == count || !lexed.atoms[from + i].stuck;
    for j in (2..=count).filter(|j| apart(*j)) {
        for i in 0..=j - 2 {
            let Some((parts, ways, _)) = table[i] else {
                continue;
            };
            let read = memo.entry((i, j)).or_insert_with(|| {
                statement(toks(lexed, from + i, from + j))
                    .filter(|all| all.iter().all(stands_alone))
            });
            if read.is_none() {
                continue;
            }
            table[j] = match table[j] {
                Some((least, known, _)) if least == parts + 1 => Some((least, known + ways, i)),
                Some(fewer) if fewer.0 < parts + 1 => Some(fewer),
                _ => Some((parts + 1, ways, i)),
            };
        }
    }
    let (_, ways, _) = table[count]?;
    if ways != 1 {
        return None;
    }
    let (mut parts, mut j) = (Vec::new(), count);
    while j > 0 {
        let i = table[j]?.2;
        parts.push((from + i, from + j, memo.remove(&(i, j)).flatten()?));
        j = i;
    }
    let mut all: Vec<Statement> = Vec::new();
    for (from, to, part) in parts.into_iter().rev() {
        let part = as_meant(lexed, (from, to), part, &all)?;
        // `b/w tv ok`: what contradicts itself is divided wrong.
        if part.iter().any(|s| all.iter().any(|t| contradict(s, t))) {
            return None;
        }
        all.extend(part);
    }
    Some(all)
}

/// Whether two findings say different things of the same, seen at the same.
pub fn contradict(one: &Statement, other: &Statement) -> bool {
    match (one, other) {
        (Statement::Finding(a), Statement::Finding(b)) => {
            a.subject == b.subject
                && a.warmth == b.warmth
                && a.loops == b.loops
                && a.state != b.state
        }
        _ => false,
    }
}

/// Only results may follow each other without a mark: header words and half-told deeds may belong to what follows.
pub fn stands_alone(statement: &Statement) -> bool {
    match statement {
        Statement::Finding(_) | Statement::RestFine => true,
        // Their names end where they end.
        Statement::Ticket(_) | Statement::Board(_) | Statement::Mains(_) => true,
        Statement::HandsOn(done) => done.result != Effect::Unknown,
        _ => false,
    }
}
