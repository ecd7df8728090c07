//! Timers and clocks with values: how much too fast, against a watch, jumping, drifting; interrupts that come or do not.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found, seen_at};
use super::subject::{ADAPTERS, clock, interrupt, timer, timer_name};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

/// One timer or clock (a number behind it is none of a list), or all of them.
fn one_or_all(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let one_clock = |i| {
        let (rest, n) = preceded(word(Clock), ordinal).parse(i)?;
        if (1..=ADAPTERS).contains(&n) {
            Ok((rest, vec![Subject::Clock(Some(n as u8))]))
        } else {
            fail(i, "a clock 1 or 2")
        }
    };
    let one_timer = map(
        preceded(word(Timer), after_gap(timer_name)),
        |(n, letter)| vec![Subject::Timer(Some(n as u8), letter)],
    );
    alt((one_clock, one_timer, clock, timer)).parse(input)
}

/// The same, when a list of them is meant first: `clocks 1 and 2 jump`.
fn some(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    alt((clock, timer)).parse(input)
}

/// `3.8 %`
fn percentage(input: Toks<'_>) -> P<'_, f64> {
    let (rest, q) = quantity(input)?;
    let (rest, ()) = word(Percent)(rest)?;
    if q.unit.is_some() || q.bare_prefix {
        return Err(nom::Err::Error(E::silent(input)));
    }
    Ok((rest, q.value))
}

/// `speed = (clock | timer) NUMBER "%" ("fast" | "slow")`
fn percent(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((|i| percent_of(i, one_or_all(i)), |i| percent_of(i, some(i)))).parse(input)
}

fn percent_of<'a>(input: Toks<'a>, subjects: P<'a, Vec<Subject>>) -> P<'a, Vec<Statement>> {
    const WAYS: &[(Concept, f64)] = &[(Fast, 1.0), (High, 1.0), (Slow, -1.0), (Low, -1.0)];
    let (rest, all) = subjects?;
    let (rest, before) = opt(one_of(WAYS)).parse(rest)?;
    let (rest, _) = opt(word(By)).parse(rest)?;
    let (rest, value) = percentage(rest)?;
    let (rest, way) = match before {
        Some(way) => (rest, way),
        None => want("fast or slow, as in clock 1 3.8 % fast", one_of(WAYS))(rest)?,
    };
    if value < 0.0 || (way < 0.0 && value > 100.0) {
        return fail(input, "a percentage from 0, as in clock 1 3.8 % fast");
    }
    let off = if value == 0.0 { 0.0 } else { way * value };
    Ok((rest, all_found(all, &State::OffBy(off))))
}

/// `timer 1a 10.4 s in 10.0 s`, `both clocks 12.0 s in 10.0 s`
fn seconds(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let value = || measured(&[Unit::Second], None);
    let (rest, all) = one_or_all(input)?;
    let (rest, _) = opt(word(SecondsShown)).parse(rest)?;
    let (rest, (shown, _)) = value()(rest)?;
    let (rest, _) = opt(word(SecondsShown)).parse(rest)?;
    let (rest, ()) = word(InTime)(rest)?;
    let (rest, (real, _)) = value()(rest)?;
    let (rest, _) = opt(word(InTime)).parse(rest)?;
    if shown < 0.0 || real <= 0.0 {
        return fail(input, "seconds above 0, as in clock 1 10.0 s in 12.0 s");
    }
    Ok((rest, all_found(all, &State::Rate { shown, real })))
}

/// `clock 1 jumps`, `both clocks drift`
fn uneven(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WORDS: &[(Concept, State)] = &[
        (Jumps, State::Jumps),
        (Drifts, State::Drifts),
        (Floating, State::Drifts),
    ];
    let (rest, all) = alt((some, one_or_all)).parse(input)?;
    let (rest, state) = one_of(WORDS)(rest)?;
    Ok((rest, all_found(all, &state)))
}

/// `interrupts seen`, `interrupt 2 never seen`
fn seen(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WORDS: &[(Concept, State)] = &[(Comes, State::Ok), (NeverComes, State::Dead)];
    let (rest, all) = interrupt(input)?;
    let (rest, state) = one_of(WORDS)(rest)?;
    Ok((rest, all_found(all, &state)))
}

/// All of the above.
pub fn speeds(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(alt((
        example("clock 1 3.8 % fast", percent),
        seconds,
        uneven,
        seen,
    )))(input)
}

/// `clock 1 10.0 s in 12.0 s`, `clock 1 shows 10 s after 12 s`
pub fn rate(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let seconds = || want("seconds, as in 10.0 s", measured(&[Unit::Second], None));
    let (rest, ()) = word(Clock)(input)?;
    let (rest, n) = want("which clock, as in clock 1", ordinal)(rest)?;
    let (rest, _) = opt(word(SecondsShown)).parse(rest)?;
    let (rest, (shown, _)) = seconds()(rest)?;
    let (rest, _) = opt(word(SecondsShown)).parse(rest)?;
    let (rest, ()) = want(
        "`in` and the seconds by a watch, as in 10.0 s in 12.0 s",
        |i| word(InTime)(i).or_else(|_| equals_on_watch(i)),
    )(rest)?;
    let (rest, (real, _)) = seconds()(rest)?;
    let (rest, _) = opt(word(InTime)).parse(rest)?;
    if !(1..=ADAPTERS).contains(&n) || shown < 0.0 || real <= 0.0 {
        return fail(input, "a clock 1 or 2 and seconds above 0");
    }
    Ok((
        rest,
        vec![found(
            Subject::Clock(Some(n as u8)),
            State::Rate { shown, real },
        )],
    ))
}

/// `60s = 50 s on watch`: the sign stands for `in` where a watch is told of.
fn equals_on_watch(input: Toks<'_>) -> P<'_, ()> {
    let (rest, ()) = mark(&["="])(input)?;
    let told = (rest.from..rest.to).any(|i| rest.lexed.longest(i, InTime).is_some());
    if told {
        Ok((rest, ()))
    } else {
        Err(nom::Err::Error(E::silent(input)))
    }
}
