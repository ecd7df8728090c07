//! Memory as it is told in prose.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::header::part_number;
use super::result::{TEST_STATES, all_found, fit, found};
use super::subject::{address, bits, range};
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::toks::{P, Toks};

/// The number of a bit behind its letter: `d4`, `b3`.
fn lettered<'a>(letter: char) -> impl FnMut(Toks<'a>) -> P<'a, u8> {
    move |i| {
        // In capitals it is a designator.
        let digit = i.typed().strip_prefix(letter);
        match digit.filter(|d| d.len() == 1).and_then(|d| d.parse().ok()) {
            Some(n) if n < 8 => Ok((i.skip(1), n)),
            _ => silent(i),
        }
    }
}

/// `ram d4 stuck at 0`: a data line behind the word memory; `b3 bad` without it, where nothing else is called so.
fn short_bits(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let behind = |i| {
        let (rest, ()) = word(Memory)(i)?;
        alt((
            items(after_gap(lettered('d'))),
            items(after_gap(lettered('b'))),
        ))
        .parse(rest)
    };
    if let Ok((rest, all)) = behind(input) {
        let (after, state) = one_of(TEST_STATES)(rest)?;
        return fit(
            input,
            after,
            all.into_iter().map(Subject::MemoryBit).collect(),
            &state,
        );
    }
    let (rest, all) = items(lettered('b'))(input)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Dead, State::Dead), (Good, State::Ok)])(rest)?;
    Ok((
        rest,
        all_found(all.into_iter().map(Subject::MemoryBit).collect(), &state),
    ))
}

/// `not bit 3, its bit 4 thats bad`: what is said is said of the second.
fn not_but(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    if input.first().is_none_or(|a| a.lower != "not") {
        return silent(input);
    }
    let (rest, _) = bits(input.skip(1))?;
    if !rest
        .first()
        .is_some_and(|a| matches!(&*a.lower, "," | "but"))
    {
        return silent(rest);
    }
    let (rest, all) = bits(rest.skip(1))?;
    let (after, state) = one_of(TEST_STATES)(rest)?;
    fit(
        input,
        after,
        all.into_iter()
            .map(|n| Subject::MemoryBit(n as u8))
            .collect(),
        &state,
    )
}

/// `read 7f at 10FFh shd be ff`
fn read_at(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let byte = |i| {
        let (rest, (n, digits, _)) = hex(i)?;
        match u8::try_from(n) {
            Ok(n) if digits <= 2 => Ok((rest, n)),
            _ => silent(i),
        }
    };
    let (rest, _) = opt(word(Memory)).parse(input)?;
    let (rest, ()) = word(ReadBack)(rest)?;
    let (rest, read) = byte(rest)?;
    let (rest, ()) = word(By)(rest)?;
    let (rest, address) = after_gap(address)(rest)?;
    let (rest, ()) = alt((word(ShouldBe), word(Wrote))).parse(rest)?;
    let (rest, wrote) = byte(rest)?;
    let state = if wrote == read { State::Ok } else { State::Bad };
    let cell = Subject::MemoryCell {
        address,
        wrote,
        read,
    };
    Ok((rest, vec![found(cell, state)]))
}

/// `fails 4000 thru 7fff only`: and nowhere else; `all of 8000-BFFF bad`.
fn ranges(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let state_first = |i| -> P<'_, Subject> {
        let (rest, _) = opt(word(Memory)).parse(i)?;
        let (rest, ()) = word(Bad)(rest)?;
        let (rest, part) = range(rest)?;
        let (rest, ()) = lit(&["only"])(rest)?;
        Ok((rest, part))
    };
    if let Ok((rest, Subject::MemoryRange(first, last))) = state_first(input) {
        let mut all = vec![found(Subject::MemoryRange(first, last), State::Bad)];
        if last > 0xFFFF {
            return silent(input);
        }
        if first > 0 {
            all.push(found(Subject::MemoryRange(0, first - 1), State::Ok));
        }
        if last < 0xFFFF {
            all.push(found(Subject::MemoryRange(last + 1, 0xFFFF), State::Ok));
        }
        return Ok((rest, all));
    }
    let (rest, ()) = preceded(word(Each), opt(word(Of)))
        .map(|_| ())
        .parse(input)?;
    let (rest, part) = range(rest)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Good, State::Ok), (Dead, State::Dead)])(rest)?;
    Ok((rest, vec![found(part, state)]))
}

/// `4164 in U12 bad acc. to the screen`
fn chip_by_screen(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let typed = map((part_number, word(InPlace)), |_| ());
    let (rest, _) = opt(typed).parse(input)?;
    let (rest, places) = positions(rest)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Dead, State::Dead), (Good, State::Ok)])(rest)?;
    let (rest, ()) = word(PerTest)(rest)?;
    let all = places.into_iter().map(Subject::MemorySocket);
    Ok((rest, all_found(all.collect(), &state)))
}

/// All of them.
pub fn memory_in_prose(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((short_bits, not_but, read_at, ranges, chip_by_screen)).parse(input)
}
