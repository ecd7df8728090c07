//! Keys as they are said in a hurry: without the word `key`, and what a key does instead of its own character.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::opt;

use super::base::*;
use super::result::{all_found, found};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{P, Toks};

/// `a s d f dead rest of kb ok`: letters are keys where the rest of the keyboard is told of.
fn letters_and_rest(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STATES: &[(Concept, State)] = &[
        (Dead, State::Dead),
        (Stuck, State::Stuck),
        (Bad, State::Bad),
    ];
    let mut rest = input.concept(Key).map_or(input, |n| input.skip(n));
    let mut keys = Vec::new();
    while let Some(atom) = rest.first() {
        if atom.kind == Kind::Word && atom.lower.len() == 1 {
            keys.push(Subject::Key(atom.lower.to_uppercase()));
        } else if atom.lower != "," {
            break;
        }
        rest = rest.skip(1);
    }
    if keys.is_empty() {
        return silent(input);
    }
    let (rest, state) = one_of(STATES)(rest)?;
    let (rest, mut others) = other_keys(rest)?;
    let mut all = all_found(keys, &state);
    all.append(&mut others);
    Ok((rest, all))
}

/// `other keys ok`
fn other_keys(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STATES: &[(Concept, State)] =
        &[(Good, State::Ok), (Bad, State::Bad), (Dead, State::Dead)];
    let (rest, ()) = word(RestKeys)(input)?;
    let (rest, state) = one_of(STATES)(rest)?;
    Ok((rest, vec![found(Subject::OtherKeys, state)]))
}

/// A key whose name needs no word `key` beside it.
fn plain_key(input: Toks<'_>) -> P<'_, String> {
    after_gap(|i: Toks<'_>| match i.concept(PlainKey) {
        Some(length) => {
            let span = i.lexed.span(i.from, i.from + length);
            let name = i.lexed.text[span.start..span.end].to_uppercase();
            Ok((i.skip(length), name))
        }
        None => silent(i),
    })(input)
}

/// `stuck: shift lock`, `space doubles`, `return only if pressed hard`
fn plain_keys(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const BEFORE: &[(Concept, State)] = &[(Stuck, State::Stuck), (Dead, State::Dead)];
    const BEHIND: &[(Concept, State)] = &[
        (Stuck, State::Stuck),
        (Dead, State::Dead),
        (Doubles, State::Bad),
        (OnlyHard, State::Noisy),
    ];
    let before = |i| {
        let (rest, state) = one_of(BEFORE)(i)?;
        let (rest, key) = plain_key(rest)?;
        Ok((rest, vec![found(Subject::Key(key), state)]))
    };
    let behind = |i| {
        let (rest, _) = opt(word(Key)).parse(i)?;
        let (rest, key) = plain_key(rest)?;
        let (rest, _) = opt(word(Key)).parse(rest)?;
        let (rest, state) = one_of(BEHIND)(rest)?;
        Ok((rest, vec![found(Subject::Key(key), state)]))
    };
    alt((before, behind)).parse(input)
}

/// All of them.
pub fn keys_in_a_hurry(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        letters_and_rest,
        example("other keys ok", other_keys),
        plain_keys,
    ))
    .parse(input)
}
