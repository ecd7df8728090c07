//! The small rules that the others are made of: a word for a concept, lists, what is passed over.

use std::borrow::Cow;

use nom::Parser;
use nom::branch::alt;
use nom::combinator::value;
use nom::multi::many0;

pub use super::number::*;
pub use super::position::*;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

/// Lists longer than this are slips (`U1-U999`).
pub const LONGEST_LIST: usize = 80;

/// At most so many small words and rows of marks are passed over before a word: rules look for words behind words, and each would
/// try every one of them.
const LONGEST_GAP: usize = 16;
/// Of a longer row of one mark only the last may begin something.
const LONGEST_ROW: usize = 3;

/// How many atoms at the start may be passed over: a small word, or a mark that only divides.
fn gap_length(input: Toks) -> Option<usize> {
    let atom = input.first()?;
    if atom.kind == Kind::Mark {
        let glued_digit = input
            .nth(1)
            .is_some_and(|next| next.stuck && starts_with_digit(&next.lower));
        let passes = match &*atom.lower {
            ":" | "," | "=" | "(" | ")" | "[" | "]" | "!" | "\u{2013}" | "\u{2014}" | "'"
            | "\"" | "`" | "~" => true,
            // A minus sign belongs to its number; a point before a digit to a number or a pin.
            "-" => !glued_digit || (atom.stuck && !input.nth(1).is_some_and(|n| n.stuck)),
            "." => !input.nth(1).is_some_and(|n| n.stuck),
            _ => false,
        };
        let same = |k: &usize| input.nth(*k).is_some_and(|next| next.lower == atom.lower);
        let row = (1..).take_while(same).count();
        return passes.then_some(if row > LONGEST_ROW { row } else { 1 });
    }
    // A longer phrase that starts with a small word (`a bit`, `is not`) is not passed over piece by piece.
    let length = input.concept(Filler)?;
    let turned = input.concept(Changer).is_some_and(|l| l >= length);
    (!turned).then_some(length)
}

/// Whether a text starts with a digit.
pub fn starts_with_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

/// `gap = (filler | mark)*`, then `rule`: tries `rule` first, so that a word that matters is never passed over.
pub fn after_gap<'a, T>(
    mut rule: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        let (mut at, mut left) = (input, LONGEST_GAP);
        loop {
            match rule(at) {
                Err(nom::Err::Error(error)) => match gap_length(at).filter(|_| left > 0) {
                    Some(n) => (at, left) = (at.skip(n), left - 1),
                    None => return Err(nom::Err::Error(error)),
                },
                done => return done,
            }
        }
    }
}

/// The end of the part; small words, marks and a final point before it are passed over.
pub fn end(input: Toks<'_>) -> P<'_, ()> {
    let mut at = input;
    while let Some(n) = gap_length(at) {
        at = at.skip(n);
    }
    if at.is_empty() {
        Ok((at, ()))
    } else {
        Err(nom::Err::Error(E::want(at, "the end of the statement")))
    }
}

/// The longest phrase for `concept`.
pub fn word<'a>(concept: Concept) -> impl FnMut(Toks<'a>) -> P<'a, ()> {
    after_gap(move |input: Toks<'a>| direct(input, concept))
}

/// The longest phrase for `concept`, exactly here.
pub fn direct(input: Toks<'_>, concept: Concept) -> P<'_, ()> {
    match input.concept(concept) {
        Some(length) => Ok((input.skip(length), ())),
        None => Err(nom::Err::Error(E::silent(input))),
    }
}

/// The longest phrase for any of the concepts of `table`; the earlier entry wins between equals.
pub fn one_of<'a, T: Clone>(table: &'static [(Concept, T)]) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    after_gap(move |input: Toks<'a>| {
        let mut best: Option<(usize, &T)> = None;
        for (concept, result) in table {
            if let Some(length) = input.concept(*concept)
                && best.is_none_or(|(longest, _)| length > longest)
            {
                best = Some((length, result));
            }
        }
        match best {
            Some((length, result)) => Ok((input.skip(length), result.clone())),
            None => Err(nom::Err::Error(E::silent(input))),
        }
    })
}

/// One of these words as typed, where a word has no concept of its own.
pub fn lit<'a>(words: &'static [&'static str]) -> impl FnMut(Toks<'a>) -> P<'a, ()> {
    after_gap(move |input: Toks<'a>| match input.first() {
        Some(atom) if words.contains(&&*atom.lower) => Ok((input.skip(1), ())),
        _ => Err(nom::Err::Error(E::silent(input))),
    })
}

/// Gives a rule a name for messages: `what` is expected when it does not even start.
pub fn want<'a, T>(
    what: &'static str,
    mut rule: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        rule(input).map_err(|e| {
            e.map(|mut error| {
                if input.explain && error.wants.is_empty() {
                    error.wants.push(Cow::Borrowed(what));
                }
                error
            })
        })
    }
}

/// Fails at `input`, where something stands that is not what was expected.
pub fn fail<'a, T>(input: Toks<'a>, what: impl Into<Cow<'static, str>>) -> P<'a, T> {
    Err(nom::Err::Error(E {
        told: true,
        ..E::want(input, what)
    }))
}

/// Names a line that a rule accepts, for messages about what it does not accept.
pub fn example<'a, T>(
    line: &'static str,
    mut rule: impl Parser<Toks<'a>, Output = T, Error = E>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        rule.parse(input).map_err(|e| {
            e.map(|error| {
                let fits = !error.wants.is_empty() && (error.told || error.at > input.from);
                E {
                    example: error.example.or(fits.then_some(line)),
                    ..error
                }
            })
        })
    }
}

/// A mark, exactly here.
pub fn mark<'a>(marks: &'static [&'static str]) -> impl FnMut(Toks<'a>) -> P<'a, ()> {
    move |input: Toks<'a>| match input.first() {
        Some(atom) if atom.kind == Kind::Mark && marks.contains(&&*atom.lower) => {
            Ok((input.skip(1), ()))
        }
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// What may stand between the items of a list: nothing, `,`, `/`, `&`, `+`, `and`.
pub fn list_sep(input: Toks<'_>) -> P<'_, ()> {
    let marks = mark(&[",", "/", "&", "+", ";"]);
    value((), many0(alt((marks, |i| direct(i, And))))).parse(input)
}

/// `range = "-" | "to" | ".." | "–"`
pub fn range_mark(input: Toks<'_>) -> P<'_, ()> {
    let dots = value((), (mark(&["."]), mark(&["."])));
    alt((mark(&["-", "\u{2013}", "\u{2014}", "~"]), dots, |i| {
        direct(i, To)
    }))
    .parse(input)
}

/// `items = item (sep item)*` of any rule.
pub fn items<'a, T>(
    mut item: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, Vec<T>> {
    move |input| {
        let (mut rest, first) = item(input)?;
        let mut all = vec![first];
        loop {
            let (after, ()) = list_sep(rest)?;
            // `bit 2. main ram pass`: a list ends with the sentence.
            let point = after.first().is_some_and(|a| a.lower == "." && a.stuck);
            if point && after.nth(1).is_some_and(|a| !a.stuck) {
                return Ok((rest, all));
            }
            match item(after) {
                Ok((after, next)) if after.from > rest.from && all.len() < LONGEST_LIST => {
                    all.push(next);
                    rest = after;
                }
                Err(nom::Err::Error(_)) => return Ok((rest, all)),
                Ok((after, _)) => return fail(after, "a shorter list"),
                Err(other) => return Err(other),
            }
        }
    }
}

/// This rule does not fit, and has nothing to say of what would.
pub fn silent<'a, T>(input: Toks<'a>) -> P<'a, T> {
    Err(nom::Err::Error(E::silent(input)))
}

#[cfg(test)]
mod tests {
    use crate::sheet::{parse, print_statement};

    fn says(line: &str) -> Vec<String> {
        let sheet = parse("t", line.as_bytes()).expect("a text");
        sheet
            .statements()
            .map(|s| print_statement(&s.value))
            .collect()
    }

    #[test]
    fn rows_of_a_mark_are_passed_over_and_long_mixtures_are_not() {
        let between = |marks: &str| says(&format!("voice 2 {marks} dead"));
        for marks in [
            ":",
            ":::",
            &":".repeat(200),
            "= : ",
            &"-".repeat(40),
            ",,,,,,:",
        ] {
            assert_eq!(between(marks), ["voice 2 dead"], "{marks}");
        }
        assert_eq!(says("+5V: ----- 4.98"), says("+5V: - - - - - 4.98"));
        assert!(between(&"=:".repeat(20)).is_empty());
    }

    /// Found by fuzzing: 77 colons before words that many rules begin with took a second.
    #[test]
    fn a_row_of_marks_before_many_words_is_kept_unread() {
        let line = format!(
            "{}ery 256th addr wrong memory: every 256syncddress is wrong",
            ":".repeat(77)
        );
        let sheet = parse("t", line.as_bytes()).expect("a text");
        assert!(sheet.lines[0].not_understood.is_some());
    }
}
