//! Rails, levels, pins and parts as they are told in prose.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::meter::{capacitor, farads, rounded, scale};
use super::rails::{rail, rail_name};
use super::result::{all_found, found};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Place, State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{P, Toks};

/// `nothing on the 12`: a whole number that rails are called by is the rail.
fn nothing_on<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let bare = |i: Toks<'a>| {
        let the = i
            .from
            .checked_sub(1)
            .is_some_and(|k| i.lexed.atoms[k].lower == "the")
            || i.first().is_some_and(|a| a.lower == "the");
        let (rest, q) = quantity(i)?;
        if !the {
            return silent(i);
        }
        match rail_name(&q, true).filter(|_| [5.0, 12.0].contains(&q.value)) {
            Some(name) => Ok((rest, name)),
            None => silent(i),
        }
    };
    let (rest, ()) = word(NoVoltsOn)(input)?;
    let (rest, names) = items(|i: Toks<'a>| alt((rail, bare)).parse(i))(rest)?;
    Ok((
        rest,
        all_found(names.into_iter().map(Subject::Rail).collect(), &State::Dead),
    ))
}

/// `12V rail-ground 2k2 unplugged`: ohms must be told by their unit or prefix.
fn rail_to_ground(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, name) = rail(input)?;
    let (rest, ()) = word(GroundWord)(rest)?;
    let (rest, q) = quantity(rest)?;
    let told = q.unit == Some(Unit::Ohm) || q.unit.is_none() && q.bare_prefix;
    if !told || q.value < 0.0 {
        return fail(rest, "ohms, as in 5v to ground 2.1 ohm");
    }
    let (rest, _) = opt(alt((word(PowerOff), word(OffBoard)))).parse(rest)?;
    Ok((
        rest,
        vec![found(Subject::Resistance(name), State::Ohms(q.value))],
    ))
}

/// `vcc at U8 pin 40 only 4v61`
fn supply_pin(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = (word(SupplyPin), opt(word(By))).parse(input)?;
    let (rest, place) = pin_place(rest)?;
    let (rest, _) = opt(lit(&["only"])).parse(rest)?;
    let (rest, (v, _)) = measured(&[Unit::Volt], Some(Unit::Volt))(rest)?;
    Ok((rest, vec![found(Subject::Level(place), State::Volts(v))]))
}

/// `U14 pin 6 floating ~1,9v`: the word, and what the meter showed.
fn floating_at(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, place) = pin_place(input)?;
    let (rest, ()) = word(Floating)(rest)?;
    let (rest, (v, _)) = measured(&[Unit::Volt], None)(rest)?;
    let level = Subject::Level(place);
    Ok((
        rest,
        vec![
            found(level.clone(), State::Floating),
            found(level, State::Volts(v)),
        ],
    ))
}

/// `U13 8-11 all high`, `U13 pin 8-11 all high`: several numbers behind a part are its pins where only a pin can be so.
fn bare_pins(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const OF_PINS: &[(Concept, State)] = &[
        (Low, State::Low),
        (High, State::High),
        (Pulsing, State::Pulsing),
        (Floating, State::Floating),
    ];
    let (rest, name) = position(input)?;
    let (rest, _) = opt(word(Pin)).parse(rest)?;
    if rest.first().is_none_or(|a| a.kind == Kind::Mark) {
        return silent(rest);
    }
    let (rest, pins) = numbers(1, 64, "pin numbers")(rest)?;
    let (rest, _) = opt(word(Each)).parse(rest)?;
    let (rest, state) = one_of(OF_PINS)(rest)?;
    // `U7 3,5 low` may be three and a half volts.
    let comma = |k: usize| {
        let stuck = |k: usize| input.lexed.atoms.get(k).is_some_and(|a| a.stuck);
        input.lexed.atoms[k].lower == "," && stuck(k) && stuck(k + 1)
    };
    if pins.len() < 2 || (input.from..rest.from).any(comma) {
        return silent(input);
    }
    let place = |pin: u32| {
        Subject::Level(Place {
            name: name.clone(),
            pin: Some(pin.to_string()),
        })
    };
    Ok((
        rest,
        all_found(pins.into_iter().map(place).collect(), &state),
    ))
}

/// `phase2 985 khz at pin 39 U7`: the line by name, measured at a pin.
fn line_at_pin(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const TOLD: &[(Concept, State)] = &[
        (Low, State::Low),
        (High, State::High),
        (Pulsing, State::Pulsing),
    ];
    let (rest, _) = word(LineName)(input)?;
    let value = map(
        measured(&[Unit::Volt, Unit::Hertz], None),
        |(v, unit)| match unit {
            Unit::Hertz => State::Hertz(v),
            _ => State::Volts(v),
        },
    );
    let (rest, state) = alt((value, one_of(TOLD))).parse(rest)?;
    let (rest, ()) = word(By)(rest)?;
    let (rest, place) = pin_place(rest)?;
    Ok((rest, vec![found(Subject::Level(place), state)]))
}

/// `J3 pin 5 green with rot`, `U1.14 bent pin`: how one pin looks.
fn pin_looks(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const LOOKS: &[(Concept, &str)] = &[
        (LookCorroded, "corroded"),
        (LookBent, "bent pin"),
        (LookCracked, "cracked"),
        (LookDry, "dry joint"),
        (LookBurnt, "burnt"),
        (LookTorn, "torn track"),
    ];
    let (rest, place) = pin_place(input)?;
    let (rest, looks) = one_of(LOOKS)(rest)?;
    Ok((
        rest,
        vec![found(Subject::Looks(place), State::Seen(looks.into()))],
    ))
}

/// `C4 measures 12uf marked 100`
fn measures_marked(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, place) = capacitor(input)?;
    let (rest, _) = opt(word(MeasuredAs)).parse(rest)?;
    let (rest, (value, unit)) = farads(rest)?;
    let (rest, ()) = word(Nominal)(rest)?;
    let (rest, (marked, told)) = farads(rest)?;
    if !unit {
        return fail(input, "a capacitance with its unit, as in C5 9.8 uF");
    }
    let marked = if told {
        marked
    } else {
        rounded(marked, scale(value))
    };
    let state = State::Farads(value, Some(marked));
    Ok((rest, vec![found(Subject::Capacitance(place), state)]))
}

/// `the other 7 warm` behind a part: its neighbours run as they should.
pub fn others_warm(input: Toks<'_>) -> P<'_, ()> {
    let (rest, ()) = lit(&["other"])(input)?;
    let (rest, _) = opt(uint).parse(rest)?;
    one_of(&[(Warm, ()), (Cold, ())])(rest)
}

/// `U12 cold, the other 7 warm`
fn one_of_a_row(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const HEAT: &[(Concept, State)] = &[
        (Cold, State::Cold),
        (Hot, State::Hot),
        (TooHot, State::TooHot),
    ];
    let (rest, places) = positions(input)?;
    let (rest, state) = one_of(HEAT)(rest)?;
    let (rest, ()) = preceded(list_sep, others_warm).parse(rest)?;
    Ok((
        rest,
        all_found(places.into_iter().map(Subject::Heat).collect(), &state),
    ))
}

/// All of them.
pub fn measured_in_prose(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        nothing_on,
        rail_to_ground,
        supply_pin,
        floating_at,
        bare_pins,
        line_at_pin,
        pin_looks,
        one_of_a_row,
        measures_marked,
    ))
    .parse(input)
}
