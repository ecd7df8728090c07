//! The keyboard as a matrix: keys that act as others, keys that depend on others being held, contact resistances, and the lines
//! of the control ports.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::keys::{key_after_marks, keys};
use super::result::{all_found, found, seen_at};
use super::subject::{keyboard, port};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Direction, State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{P, Toks};

const OTHERS: &str = "the other keys, as in key Q also presses W";

/// `["key"] KEY`: a single small letter `a` needs the word before it.
fn one_key(input: Toks<'_>) -> P<'_, String> {
    let (rest, told) = opt(word(Key)).parse(input)?;
    if told.is_none() && rest.typed() == "a" {
        return silent(input);
    }
    key_after_marks(rest)
}

/// `also = one ("also presses" | "gives") keys`: the key does more than it should, or something else.
fn also_or_gives(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const VERBS: &[(Concept, bool)] = &[(AlsoPresses, false), (Gives, true)];
    let (rest, key) = one_key(input)?;
    let (rest, gives) = one_of(VERBS)(rest)?;
    let (rest, _) = opt(word(Key)).parse(rest)?;
    let (rest, others) = want(OTHERS, keys)(rest)?;
    if others.contains(&key) {
        return fail(rest, "another key than the one that was pressed");
    }
    let state = if gives {
        State::Gives(others)
    } else {
        State::Also(others)
    };
    Ok((rest, vec![found(Subject::Key(key), state)]))
}

/// `together = "keys" keys ("act together" | "swapped")`: each acts as all the others.
fn together(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const VERBS: &[(Concept, bool)] = &[(ActTogether, false), (Swap, true)];
    let (rest, ()) = word(Key)(input)?;
    let (rest, all) = keys(rest)?;
    let (rest, swapped) = one_of(VERBS)(rest)?;
    if all.len() < 2 || (swapped && all.len() != 2) {
        return fail(input, "two keys, as in keys Q W act together");
    }
    let others = |key: &String| all.iter().filter(|k| *k != key).cloned().collect();
    let state = |key| match swapped {
        true => State::Gives(others(key)),
        false => State::Also(others(key)),
    };
    let each = all
        .iter()
        .map(|k| found(Subject::Key(k.clone()), state(k)))
        .collect();
    Ok((rest, each))
}

/// `until = (keys | "row" N | "column" N) ("dead" | "stuck") "until" keys ["held"]`
fn until(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STATES: &[(Concept, bool)] = &[(Dead, false), (Stuck, true)];
    let singles = preceded(
        word(Key),
        map(keys, |all| all.into_iter().map(Subject::Key).collect()),
    );
    let (rest, subjects) = alt((keyboard, singles)).parse(input)?;
    let (rest, stuck) = one_of(STATES)(rest)?;
    let (rest, ()) = word(UntilHeld)(rest)?;
    let (rest, _) = opt(word(Key)).parse(rest)?;
    let (rest, held) = want("the keys that are held, as in until E held", keys)(rest)?;
    let (rest, _) = opt(alt((word(Stuck), word(Press)))).parse(rest)?;
    let state = if stuck {
        State::StuckUntil(held)
    } else {
        State::DeadUntil(held)
    };
    Ok((rest, all_found(subjects, &state)))
}

/// `contact = "key" KEY "contact" (OHMS | "open")`
fn contact(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Key)(input)?;
    let (rest, key) = key_after_marks(rest)?;
    let (rest, ()) = word(ContactOf)(rest)?;
    let (rest, _) = opt(word(Resistance)).parse(rest)?;
    let value = |i| {
        let open = map(word(Open), |()| f64::INFINITY);
        let ohms = map(measured(&[Unit::Ohm], None), |(r, _)| r);
        alt((ohms, open)).parse(i)
    };
    let (rest, ohms) = want("its resistance, as in 800 ohm, or open", value)(rest)?;
    Ok((rest, vec![found(Subject::Key(key), State::Ohms(ohms))]))
}

/// `stick = control port N direction state`
fn stick(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STATES: &[(Concept, State)] = &[
        (Good, State::Ok),
        (Bad, State::Bad),
        (Dead, State::Dead),
        (Missing, State::Dead),
        (Stuck, State::Stuck),
    ];
    let (rest, ports) = port(input)?;
    let number = |s: &Subject| match s {
        Subject::Port(name) => name.strip_prefix("control ").and_then(|n| n.parse().ok()),
        _ => None,
    };
    let Some(ports) = ports.iter().map(number).collect::<Option<Vec<u8>>>() else {
        return silent(input);
    };
    let (rest, directions) = items(after_gap(direction))(rest)?;
    let (rest, state) = one_of(STATES)(rest)?;
    let all = ports
        .iter()
        .flat_map(|p| directions.iter().map(|d| Subject::Stick(*p, *d)));
    Ok((rest, all_found(all.collect(), &state)))
}

/// `serial port bad with loop plug`: the plug was in, which the map knows of every port that is tested with one.
fn with_plug(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STATES: &[(Concept, State)] =
        &[(Good, State::Ok), (Bad, State::Bad), (Dead, State::Dead)];
    let (rest, ports) = port(input)?;
    let (rest, early) = opt(word(Loopback)).parse(rest)?;
    let (rest, state) = one_of(STATES)(rest)?;
    let (rest, late) = opt(word(Loopback)).parse(rest)?;
    if early.is_none() && late.is_none() {
        return silent(input);
    }
    Ok((rest, all_found(ports, &state)))
}

/// A direction or the button, exactly here.
fn direction(input: Toks<'_>) -> P<'_, Direction> {
    let Some(length) = input.concept(StickPart) else {
        return silent(input);
    };
    let first = input.first().map_or("", |a| &*a.lower);
    let named = Direction::ALL.into_iter().find(|d| d.word() == first);
    Ok((input.skip(length), named.unwrap_or(Direction::Fire)))
}

/// Whether the statement begins with a key, so that it may be about one.
fn may_begin(input: Toks) -> bool {
    input.first().is_some_and(|a| a.kind != Kind::Mark)
}

/// All of them.
pub fn matrix(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    if !may_begin(input) {
        return silent(input);
    }
    seen_at(alt((
        until,
        example("key Q contact 800 ohm", contact),
        together,
        example("key Q also presses W", also_or_gives),
        example("control port 1 up stuck", stick),
        with_plug,
    )))(input)
}
