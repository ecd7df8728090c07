//! Keys by name: lists and ranges of dead, stuck, good and ghost keys.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found, seen_at};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

const KEY_NAMES: &str = "key names: Q W E, A-F, space, \"left shift\"";

const KEY_STATES: &[(Concept, State)] = &[
    (Good, State::Ok),
    (Bad, State::Bad),
    (Dead, State::Dead),
    (Missing, State::Dead),
    (Stuck, State::Stuck),
    (OnlyHard, State::Noisy),
];

/// A key by its name: one letter or digit, a function key, a name of the vocabulary, or anything in quotes.
fn key(input: Toks<'_>) -> P<'_, String> {
    let Some(atom) = input.first() else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    if atom.kind == Kind::Quoted {
        let text = input
            .typed()
            .trim_matches(['"', '\u{201c}', '\u{201d}'])
            .trim();
        return if text.is_empty() {
            fail(input, KEY_NAMES)
        } else {
            Ok((input.skip(1), text.to_uppercase()))
        };
    }
    if let Some(length) = input.concept(KeyName) {
        let words: Vec<&str> = (0..length)
            .map(|k| input.lexed.typed(input.from + k))
            .collect();
        let name = words
            .join(" ")
            .to_uppercase()
            .replace(" / ", "/")
            .replace(" - ", " ");
        return Ok((input.skip(length), name));
    }
    let single =
        atom.kind == Kind::Word && atom.lower.chars().count() == 1 && atom.lower.is_ascii();
    let function = atom
        .lower
        .strip_prefix('f')
        .is_some_and(|n| n.parse::<u8>().is_ok_and(|n| (1..=12).contains(&n)));
    if single || function {
        return Ok((input.skip(1), atom.lower.to_uppercase()));
    }
    Err(nom::Err::Error(E::silent(input)))
}

/// `keys = item (sep item)*`, `item = key [range key]`: a range of letters or of digits.
pub fn keys(input: Toks<'_>) -> P<'_, Vec<String>> {
    let item = |i| {
        if let Ok(run) = run_of_keys(past_marks(i)) {
            return Ok(run);
        }
        let (rest, first) = key_after_marks(i)?;
        let Ok((after, last)) = preceded(range_mark, key).parse(rest) else {
            return if breaks_off(rest) {
                fail(rest, "the end of the range, as in A-F")
            } else {
                Ok((rest, vec![first]))
            };
        };
        match key_range(&first, &last) {
            Some(all) => Ok((after, all)),
            None => fail(rest, "a range of letters or of digits, as in A-F"),
        }
    };
    map(items(item), |all| all.into_iter().flatten().collect()).parse(input)
}

/// A key after marks that only divide; words are not passed over, `a` is a key here.
pub fn key_after_marks(input: Toks<'_>) -> P<'_, String> {
    let at = past_marks(input);
    key(at).map_err(|e| e.map(|_| E::want(at, KEY_NAMES)))
}

fn past_marks(input: Toks<'_>) -> Toks<'_> {
    let mut at = input;
    while at.first().is_some_and(|a| {
        a.kind == Kind::Mark && matches!(&*a.lower, ":" | "=" | "(" | ")" | "'" | "-")
    }) {
        at = at.skip(1);
    }
    at
}

/// Rows of letters of the usual keyboard of English (arrangement: common practice, no source).
const ROWS: [&str; 3] = ["qwertyuiop", "asdfghjkl", "zxcvbnm"];

/// `QWE`, `lkj`: three or more neighbours of a row typed without spaces. Nothing else is split into letters: `RTN` is a key.
fn run_of_keys(input: Toks<'_>) -> P<'_, Vec<String>> {
    let neighbours = |word: &str| {
        let back: String = word.chars().rev().collect();
        word.len() >= 3 && (ROWS.iter()).any(|row| row.contains(word) || row.contains(&*back))
    };
    match input.first() {
        Some(a) if a.kind == Kind::Word && neighbours(&a.lower) => {
            let letters = a.lower.chars().map(|c| c.to_ascii_uppercase().to_string());
            Ok((input.skip(1), letters.collect()))
        }
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

fn key_range(first: &str, last: &str) -> Option<Vec<String>> {
    let one = |name: &str| (name.len() == 1).then(|| name.chars().next()).flatten();
    let (from, to) = (one(first)?, one(last)?);
    let same_kind = (from.is_ascii_alphabetic() && to.is_ascii_alphabetic())
        || (from.is_ascii_digit() && to.is_ascii_digit());
    (same_kind && from < to).then(|| (from..=to).map(String::from).collect())
}

fn named(keys: Vec<String>) -> Vec<Subject> {
    keys.into_iter().map(Subject::Key).collect()
}

/// The word `key` or `keys` where names follow.
fn key_word(input: Toks<'_>) -> P<'_, ()> {
    word(Key)(input)
}

/// `key ; dead` would be two statements; other marks that keys bear may stand between `key` and the state: `key @ dead`.
fn mark_key(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const MARKS: &[&str] = &[
        "@", "*", "+", "-", "=", "/", "[", "]", "^", "\\", "<", ">", "\u{a3}", "%", "$", "_", ".",
        ",", ":",
    ];
    let (rest, ()) = direct(input, Key)?;
    let Some(name) = rest.first().filter(|a| MARKS.contains(&&*a.lower)) else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    let key = Subject::Key(name.lower.to_uppercase());
    // A mark that only divides stands before a name: `key: Q dead`.
    let at = rest.skip(1);
    let (rest, state) = KEY_STATES
        .iter()
        .find_map(|(c, s)| at.concept(*c).map(|n| (at.skip(n), s)))
        .ok_or_else(|| nom::Err::Error(E::silent(at)))?;
    if end(rest).is_err() || names_follow(rest) {
        return Err(nom::Err::Error(E::silent(rest)));
    }
    Ok((rest, vec![found(key, state.clone())]))
}

/// `dead keys = ["the"] "key" [state] keys [state] | state "keys" keys`
fn key_results(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let between = map(
        (key_word, one_of(KEY_STATES), keys),
        |((), state, names)| (names, state),
    );
    let behind = map(
        (
            key_word,
            keys,
            want("how: dead, stuck, ok", one_of(KEY_STATES)),
        ),
        |((), names, state)| (names, state),
    );
    let before = map(
        (one_of(KEY_STATES), key_word, keys),
        |(state, (), names)| (names, state),
    );
    let (rest, (names, state)) = alt((between, before, behind, names_then_keys)).parse(input)?;
    Ok((rest, all_found(named(names), &state)))
}

/// `Q, W and E keys dead`, `space key stuck`
fn names_then_keys(input: Toks<'_>) -> P<'_, (Vec<String>, State)> {
    map(
        (keys, key_word, one_of(KEY_STATES)),
        |(names, (), state)| (names, state),
    )
    .parse(input)
}

/// `ghost = "ghost" key "when" keys | key "ghosts" "when" keys`
fn ghost(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let ghost_first = preceded((word(Ghost), opt(key_word)), key_after_marks);
    let key_first = |i| {
        let (rest, _) = opt(key_word).parse(i)?;
        let (rest, name) = key_after_marks(rest)?;
        let (rest, ()) = word(Ghost)(rest)?;
        Ok((rest, name))
    };
    let (rest, name) = alt((ghost_first, key_first)).parse(input)?;
    let (rest, ()) = want(
        "`when` and the keys that are pressed, as in ghost T when R Y",
        word(By),
    )(rest)?;
    let (rest, _) = opt(word(Press)).parse(rest)?;
    let (rest, with) = keys(rest)?;
    let (rest, _) = opt(word(Press)).parse(rest)?;
    Ok((rest, vec![found(Subject::Key(name), State::Ghost(with))]))
}

/// `all keys = "keys" state`: all of them when none is named.
fn whole(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, state) = alt((
        map((key_word, one_of(KEY_STATES)), |((), s)| s),
        map((one_of(KEY_STATES), key_word), |(s, ())| s),
    ))
    .parse(input)?;
    let many = (input.from..rest.from).any(|k| input.lexed.atoms[k].lower == "keys");
    match state {
        State::Ok | State::Dead | State::Bad if many && !names_follow(rest) => {
            Ok((rest, vec![found(Subject::AllKeys, state)]))
        }
        _ => fail(rest, KEY_NAMES),
    }
}

/// Whether a word follows: a small word (`a`) would be passed over elsewhere, here it may be a key.
fn names_follow(input: Toks) -> bool {
    (0..input.to - input.from)
        .filter_map(|n| input.nth(n))
        .any(|a| a.kind != Kind::Mark || a.lower == "-")
}

/// Everything about keys by name.
pub fn key_line(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, found) = seen_at(alt((
        example("ghost T when R Y", ghost),
        mark_key,
        key_results,
        whole,
    )))(input)?;
    if keys_run_together(input, rest) {
        return Err(nom::Err::Error(E::want(rest, KEY_NAMES)));
    }
    Ok((rest, found))
}

/// `keys dead Q WE`: a small word in capitals behind a key is more keys with the space between them left out.
fn keys_run_together(input: Toks<'_>, rest: Toks<'_>) -> bool {
    let capitals = |i: usize| {
        let typed = input.lexed.typed(i);
        typed
            .bytes()
            .all(|b| b.is_ascii_uppercase())
            .then_some(typed.len())
    };
    rest.from > input.from
        && rest.from < input.to
        && capitals(rest.from - 1) == Some(1)
        && capitals(rest.from).is_some_and(|letters| (2..=4).contains(&letters))
}
