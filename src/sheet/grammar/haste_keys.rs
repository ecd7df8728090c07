//! Keys as they are told in prose.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found};
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{P, Toks};

/// One letter or digit, a function key or a key by its name.
fn key(input: Toks<'_>) -> P<'_, String> {
    if let Some(length) = input.concept(KeyName) {
        let span = input.lexed.span(input.from, input.from + length);
        let name = input.lexed.text[span.start..span.end].to_uppercase();
        return Ok((input.skip(length), name.replace('-', " ")));
    }
    let Some(atom) = input.first().filter(|a| a.kind == Kind::Word) else {
        return silent(input);
    };
    let function = atom
        .lower
        .strip_prefix('f')
        .and_then(|n| n.parse::<u8>().ok());
    let fits = single(&atom.lower) || function.is_some_and(|n| (1..=12).contains(&n));
    if fits {
        Ok((input.skip(1), atom.lower.to_uppercase()))
    } else {
        silent(input)
    }
}

fn single(word: &str) -> bool {
    word.len() == 1 && word.bytes().all(|b| b.is_ascii_alphanumeric())
}

/// `q w e dead`: three letters or more in a row are keys, unless they may be anything else.
fn letters(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (mut rest, mut keys) = (input, Vec::new());
    while let Some(atom) = rest.first().filter(|a| !a.stuck || a.lower == ",") {
        if atom.kind == Kind::Word && single(&atom.lower) {
            keys.push(atom.lower.to_uppercase());
        } else if atom.lower != "," {
            break;
        }
        rest = rest.skip(1);
    }
    let letter =
        |k: &String| !matches!(&**k, "A" | "B") && k.bytes().all(|b| b.is_ascii_alphabetic());
    // `r g b dead` are colours.
    if keys.len() < 3 || !keys.iter().any(letter) || keys == ["R", "G", "B"] {
        return silent(input);
    }
    let (rest, state) = one_of(&[
        (Dead, State::Dead),
        (Stuck, State::Stuck),
        (Bad, State::Bad),
    ])(rest)?;
    Ok((
        rest,
        all_found(keys.into_iter().map(Subject::Key).collect(), &state),
    ))
}

/// `7 is on all the time even w/ nobody touching it`; without the last words or `key` it may be anything.
fn always_on(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, told) = opt(word(Key)).parse(input)?;
    let (rest, name) = key(rest)?;
    let (rest, ()) = word(AlwaysOn)(rest)?;
    let (rest, untouched) = opt(word(Untouched)).parse(rest)?;
    if told.is_none() && untouched.is_none() {
        return fail(input, "`key 7 stuck`");
    }
    Ok((rest, vec![found(Subject::Key(name), State::Stuck)]))
}

/// `keyboard all good except F1`
fn all_but(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = alt((word(Keyboard), word(Key))).parse(input)?;
    let (rest, _) = (word(Good), word(Except)).parse(rest)?;
    let (rest, keys) = preceded(opt(word(Key)), items(key)).parse(rest)?;
    let mut all = all_found(keys.into_iter().map(Subject::Key).collect(), &State::Bad);
    all.push(found(Subject::OtherKeys, State::Ok));
    Ok((rest, all))
}

/// `no stuck keys, no dead ones either`: only both together say that the keyboard is good.
fn none_stuck_none_dead(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let ones = || alt((word(Key), lit(&["ones"])));
    let of = |state| (word(No), word(state), ones());
    let dots = || opt(mark(&[".", ","]));
    let (rest, _) = alt((
        map((of(Stuck), dots(), of(Dead)), |_| ()),
        map((of(Dead), dots(), of(Stuck)), |_| ()),
    ))
    .parse(input)?;
    let (rest, _) = opt(lit(&["either"])).parse(rest)?;
    Ok((rest, vec![found(Subject::AllKeys, State::Ok)]))
}

/// All of them.
pub fn keys_in_prose(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((letters, always_on, all_but, none_stuck_none_dead)).parse(input)
}
