//! Boards added between a chip and its socket: `added board in U4`, and `took the added board out of U4: no change`.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::multi::many0;

use super::base::*;
use super::handson::{EFFECT_WORDS, EFFECTS, ORDERS, by_words, opt_effect};
use super::result::found;
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{
    ADDED_BOARD, Action, Effect, HandsOn, Place, State, Statement, Subject,
};
use crate::sheet::toks::{P, Toks};

/// Words between the board and the chip that say nothing more.
const LINKS: &[&str] = &[
    "between",
    "under",
    "underneath",
    "beneath",
    "below",
    "sits",
    "sitting",
    "sat",
    "plugged",
    "mounted",
    "via",
    "through",
    "onto",
    "into",
    "inside",
    "has",
    "and",
    "for",
];

/// Whether a small word between them says that the board was taken out.
fn links(input: Toks<'_>) -> P<'_, bool> {
    let one = alt((
        map(lit(LINKS), |()| false),
        map(word(By), |()| false),
        map(word(Pull), |()| true),
    ));
    map(many0(one), |all| all.contains(&true)).parse(input)
}

/// `of-chip = added-board link* positions ["and its socket"] | positions link* added-board`, and whether it was taken out.
fn of_chip(input: Toks<'_>) -> P<'_, (Vec<Place>, bool)> {
    let board_first = |i| {
        let (rest, ()) = word(AddedBoard)(i)?;
        let (rest, out) = links(rest)?;
        let (rest, places) = want("the chip, as in added board in U4", positions)(rest)?;
        let (rest, _) = opt((word(And), word(Socket))).parse(rest)?;
        Ok((rest, (places, out)))
    };
    let chip_first = |i| {
        let (rest, places) = positions(i)?;
        let (rest, out) = links(rest)?;
        // `U4 pulled, switch board`: the chip was.
        if out {
            return silent(i);
        }
        let (rest, ()) = word(AddedBoard)(rest)?;
        Ok((rest, (places, false)))
    };
    alt((board_first, chip_first)).parse(input)
}

/// What came of it; `starts` is enough where the board is gone.
fn outcome(input: Toks<'_>) -> P<'_, Effect> {
    let (rest, _) = opt(after_gap(super::picture::arrow)).parse(input)?;
    let well = map(alt((word(StartsNow), word(Good))), |()| Effect::Cured);
    match alt((well, opt_effect)).parse(rest) {
        Ok((after, effect)) if end(after).is_ok() => Ok((after, effect)),
        _ => want(EFFECT_WORDS, opt_effect)(input),
    }
}

/// `taken-out = [effect] ["took" | "without"] of-chip ["out"] [effect] | ["put"] positions "straight into its socket" [effect]`
fn taken_out(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, first) = opt(one_of(EFFECTS)).parse(input)?;
    let (rest, ()) = by_words(rest)?;
    let away = |i| {
        let (rest, before) = opt(alt((word(Pull), word(TookAway)))).parse(i)?;
        // `pulled U4 from the switch board` is about the chip.
        if before.is_some() {
            word(AddedBoard)(rest)?;
        }
        let (rest, (places, out)) = of_chip(rest)?;
        let (rest, behind) = opt(word(Pull)).parse(rest)?;
        if before.is_none() && behind.is_none() && !out {
            return silent(i);
        }
        Ok((rest, places))
    };
    let straight = |i| {
        let (rest, _) = opt(lit(&["put"])).parse(i)?;
        let (rest, places) = positions(rest)?;
        let (rest, _) = opt(lit(&["put"])).parse(rest)?;
        let (rest, ()) = word(StraightIn)(rest)?;
        Ok((rest, places))
    };
    let (rest, places) = alt((straight, away)).parse(rest)?;
    let (rest, result) = match first {
        Some(effect) => (rest, effect),
        None => outcome(rest)?,
    };
    // `remove the added board at U4` is an order.
    let order = input.first().is_some_and(|a| ORDERS.contains(&&*a.lower));
    if order && result == Effect::Unknown {
        return fail(rest, EFFECT_WORDS);
    }
    let action = Action::Direct;
    Ok((
        rest,
        vec![Statement::HandsOn(HandsOn {
            action,
            places,
            result,
        })],
    ))
}

/// `sits-there = of-chip`
fn sits_there(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, (places, out)) = of_chip(input)?;
    if out {
        return silent(input);
    }
    let seen = |place| found(Subject::Looks(place), State::Seen(ADDED_BOARD.into()));
    Ok((rest, places.into_iter().map(seen).collect()))
}

/// Both.
pub fn added(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((taken_out, sits_there)).parse(input)
}
