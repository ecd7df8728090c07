//! What goes on with the statement before it and leaves out what that was about: `2 missing` behind `voice 1 ok`,
//! `others good` behind a bit, `below that fine` behind a range.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::map;
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::result::{TEST_STATES, all_found, fit, found};
use super::subject::address;
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{Action, Effect, Finding, HandsOn, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

/// Reads what goes on with the last of the statements `before`.
pub fn followed<'a>(input: Toks<'a>, before: &[Statement]) -> P<'a, Vec<Statement>> {
    match before.last() {
        Some(Statement::Finding(last)) => match numbered(input, last) {
            Ok(done) => Ok(done),
            Err(first) => others(input, before)
                .or_else(|_: nom::Err<E>| same_bits(input, last))
                .or_else(|_| beyond(input, last))
                .or_else(|_| address_too(input, last))
                .map_err(|_| first),
        },
        Some(Statement::HandsOn(done)) if done.action == Action::TestedElsewhere => in_it(input),
        _ => silent(input),
    }
}

/// `1b ok 2a bad` behind `timer 1a ok`: one after the other.
fn numbered<'a>(input: Toks<'a>, last: &Finding) -> P<'a, Vec<Statement>> {
    let (mut rest, mut all) = one(input, &last.subject)?;
    while end(rest).is_err() {
        let Some(Statement::Finding(f)) = all.last() else {
            break;
        };
        let (after, more) = one(rest, &f.subject.clone())?;
        all.extend(more);
        rest = after;
    }
    Ok((rest, all))
}

fn one<'a>(input: Toks<'a>, before: &Subject) -> P<'a, Vec<Statement>> {
    let Subject::OtherMemory(bank, Some(_)) = before else {
        return super::result::continued(input, before);
    };
    let (rest, all) = numbers(0, 7, "bit numbers 0 to 7")(input)?;
    let (after, state) = one_of(TEST_STATES)(rest)?;
    let of = |n: u32| Subject::OtherMemory(bank.clone(), Some(n as u8));
    fit(input, after, all.into_iter().map(of).collect(), &state)
}

/// `and bit 5` behind `upper memory bit 2 bad`: the same of another bit.
fn same_bits<'a>(input: Toks<'a>, last: &Finding) -> P<'a, Vec<Statement>> {
    let plain = matches!(
        last.state,
        State::Bad | State::Low | State::High | State::Dead | State::Ok
    );
    if !plain || last.loops.is_some() || last.warmth.is_some() {
        return silent(input);
    }
    let (rest, all) = preceded(word(Bit), numbers(0, 7, "bit numbers 0 to 7")).parse(input)?;
    if end(rest).is_err() {
        return silent(rest);
    }
    match like(
        &last.subject,
        &all.iter().map(|n| *n as u8).collect::<Vec<_>>(),
    ) {
        Some(subjects) => Ok((rest, all_found(subjects, &last.state))),
        None => silent(input),
    }
}

/// Bits of the same memory as `subject`.
pub fn like(subject: &Subject, bits: &[u8]) -> Option<Vec<Subject>> {
    let make = |n: &u8| match subject {
        Subject::MemoryBit(_) => Some(Subject::MemoryBit(*n)),
        Subject::ColourBit(_) if *n < 4 => Some(Subject::ColourBit(*n)),
        Subject::OtherMemory(bank, Some(_)) => Some(Subject::OtherMemory(bank.clone(), Some(*n))),
        _ => None,
    };
    bits.iter().map(make).collect()
}

/// `others good`: those of the kind before that were not named. `rest of it ok` behind a port says no more of it.
fn others<'a>(input: Toks<'a>, before: &[Statement]) -> P<'a, Vec<Statement>> {
    let (rest, ()) = word(OthersWord)(input)?;
    let of_it = matches!(&*input.lexed.atoms[rest.from - 1].lower, "it");
    let (rest, ()) = word(Good)(rest)?;
    match complement(before) {
        Some(all) => Ok((rest, all_found(all, &State::Ok))),
        None if of_it && last_is_port(before) => Ok((rest, Vec::new())),
        None => fail(
            input,
            "which others: the other bits, or `rest fine` for everything else",
        ),
    }
}

fn last_is_port(before: &[Statement]) -> bool {
    matches!(before.last(), Some(Statement::Finding(f)) if matches!(f.subject, Subject::Port(_)))
}

/// Those of the kind of the last subject that none of `before` names.
fn complement(before: &[Statement]) -> Option<Vec<Subject>> {
    let findings = || {
        before.iter().filter_map(|s| match s {
            Statement::Finding(f) => Some(&f.subject),
            _ => None,
        })
    };
    let every: Vec<Subject> = match findings().next_back()? {
        Subject::MemoryBit(_) => (0..8).map(Subject::MemoryBit).collect(),
        Subject::ColourBit(_) => (0..4).map(Subject::ColourBit).collect(),
        Subject::OtherMemory(bank, Some(_)) => (0..8)
            .map(|n| Subject::OtherMemory(bank.clone(), Some(n)))
            .collect(),
        Subject::Voice(_) => (1..=3).map(Subject::Voice).collect(),
        Subject::Clock(Some(_)) => (1..=2).map(|n| Subject::Clock(Some(n))).collect(),
        Subject::Timer(Some(_), Some(_)) => [(1, 'a'), (1, 'b'), (2, 'a'), (2, 'b')]
            .map(|(n, l)| Subject::Timer(Some(n), Some(l)))
            .into(),
        Subject::Key(_) => vec![Subject::OtherKeys],
        _ => return None,
    };
    let named: Vec<&Subject> = findings().collect();
    let open: Vec<Subject> = every.into_iter().filter(|s| !named.contains(&s)).collect();
    (!open.is_empty()).then_some(open)
}

/// `below that fine` behind a range of addresses.
fn beyond<'a>(input: Toks<'a>, last: &Finding) -> P<'a, Vec<Statement>> {
    let Subject::MemoryRange(first, last) = last.subject else {
        return silent(input);
    };
    let (rest, below) = one_of(&[(BelowThat, true), (AboveThat, false)])(input)?;
    let (rest, state) = one_of(&[(Good, State::Ok), (Bad, State::Bad)])(rest)?;
    let range = match below {
        true if first > 0 => (0, first - 1),
        false if last < 0xFFFF => (last + 1, 0xFFFF),
        _ => return fail(input, "the addresses, as in 4000-4FFF ok"),
    };
    Ok((
        rest,
        vec![found(Subject::MemoryRange(range.0, range.1), state)],
    ))
}

/// `5002 ok` behind a failing cell.
fn address_too<'a>(input: Toks<'a>, last: &Finding) -> P<'a, Vec<Statement>> {
    if !matches!(last.subject, Subject::MemoryCell { .. }) {
        return silent(input);
    }
    let (rest, at) = after_gap(address)(input)?;
    let (behind, state) = one_of(&[(Good, State::Ok), (Bad, State::Bad)])(rest)?;
    // `1234 bad` may be so many more.
    let digits = input.lexed.atoms[rest.from - 1]
        .lower
        .bytes()
        .all(|b| b.is_ascii_digit());
    let prefixed = rest.from > input.from + 1;
    if state == State::Bad && digits && !prefixed {
        return fail(input, "`$1234 bad`, or `1234 more addresses`");
    }
    Ok((behind, vec![found(Subject::MemoryRange(at, at), state)]))
}

/// `U12 passes in it`: in the tester that was named before.
fn in_it(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let verdict = alt((
        map(word(Good), |()| Effect::TestedGood),
        map(word(Bad), |()| Effect::TestedBad),
        map(word(Dead), |()| Effect::TestedBad),
    ));
    let (rest, (places, result)) = terminated((positions, verdict), word(InIt)).parse(input)?;
    let done = HandsOn {
        action: Action::TestedElsewhere,
        places,
        result,
    };
    Ok((rest, vec![Statement::HandsOn(done)]))
}
