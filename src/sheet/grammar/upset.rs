//! Keys that stop the machine when they are pressed: `key Q resets the machine`, `machine hangs when Q is pressed`.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};

use super::base::*;
use super::keys::keys;
use super::result::{all_found, seen_at};
use super::subject::keyboard;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject, Upset};
use crate::sheet::toks::{P, Toks};

const VERBS: &[(Concept, Upset)] = &[
    (KeyResets, Upset::Resets),
    (KeyCrashes, Upset::Crashes),
    (KeyHangs, Upset::Hangs),
];

/// Words between what the machine does and the keys.
const WHEN: &[&str] = &[
    "when", "whenever", "if", "on", "at", "with", "after", "upon", "by", "as", "once",
];

/// `named = keys ("or" keys)*`
fn named(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let (mut rest, mut all) = keys(input)?;
    while let Ok((after, ())) = direct(rest, OrWord) {
        let (after, mut more) = keys(after)?;
        all.append(&mut more);
        rest = after;
    }
    Ok((rest, all.into_iter().map(Subject::Key).collect()))
}

/// `any key`, `all keys`, `the keyboard`, `row 2`
fn whole(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let any = map(
        (
            lit(&["any", "all", "every", "each"]),
            opt(word(Of)),
            word(Key),
        ),
        |_| vec![Subject::AllKeys],
    );
    alt((any, keyboard)).parse(input)
}

/// `which = whole | ["key"] named ["key"]`, and whether it is said that these are keys.
fn which(input: Toks<'_>) -> P<'_, (Vec<Subject>, bool)> {
    if let Ok((rest, all)) = whole(input) {
        return Ok((rest, (all, true)));
    }
    let the = input.first().is_some_and(|a| a.lower == "the");
    let (rest, before) = opt(word(Key)).parse(input.skip(usize::from(the)))?;
    // `a` is a key only where that is said.
    if before.is_none() && rest.typed() == "a" {
        return silent(input);
    }
    let (rest, all) = named(rest)?;
    let (rest, behind) = opt(word(Key)).parse(rest)?;
    Ok((rest, (all, before.is_some() || behind.is_some())))
}

/// Whether without the word `key` these may be no keys: `3 crashes`, `I reset the machine`.
fn may_be_else(all: &[Subject]) -> bool {
    let number = |k: &String| k.bytes().all(|b| b.is_ascii_digit());
    all.iter()
        .any(|s| matches!(s, Subject::Key(k) if number(k) || k == "I"))
}

/// `keys-first = ["pressing"] which ["pressed"] verb ["the machine"]`
fn keys_first(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, pressing) = opt(word(Press)).parse(input)?;
    let (rest, (all, told)) = which(rest)?;
    let (rest, pressed) = opt(word(Press)).parse(rest)?;
    let (rest, upset) = one_of(VERBS)(rest)?;
    let (rest, _) = opt(word(TheMachine)).parse(rest)?;
    if !told && pressing.is_none() && pressed.is_none() && may_be_else(&all) {
        return silent(input);
    }
    Ok((rest, all_found(all, &State::Upsets(upset))))
}

/// `machine-first = ["machine"] verb "when" ["pressing"] which ["is pressed"]`
fn machine_first(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, machine) = opt(word(TheMachine)).parse(input)?;
    // `reset` alone is the line of that name, or what somebody did.
    let plain = machine.is_none() && rest.first().is_some_and(|a| !a.lower.ends_with('s'));
    let (rest, upset) = one_of(VERBS)(rest)?;
    if plain {
        return silent(input);
    }
    let (rest, ()) = lit(WHEN)(rest)?;
    let (rest, pressing) = opt(word(Press)).parse(rest)?;
    let (rest, (all, told)) = which(rest)?;
    let (rest, pressed) = opt(word(Press)).parse(rest)?;
    if !told && pressing.is_none() && pressed.is_none() && may_be_else(&all) {
        return silent(input);
    }
    Ok((rest, all_found(all, &State::Upsets(upset))))
}

/// Either order.
pub fn upset(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(alt((machine_first, keys_first)))(input)
}
