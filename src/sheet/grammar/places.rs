//! Results at a place: levels at pins and on lines, heat, looks, a part that is bad.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found, seen_at};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Place, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

const LEVELS: &[(Concept, State)] = &[
    (Low, State::Low),
    (High, State::High),
    (Pulsing, State::Pulsing),
    (Floating, State::Floating),
    (Dead, State::Dead),
    (Good, State::Ok),
    (Bad, State::Bad),
    (Noisy, State::Noisy),
    (Shorted, State::Shorted),
    (Missing, State::Dead),
];

/// What only a pin or a line can be.
pub const OF_A_PIN: &[(Concept, State)] = &[
    (Low, State::Low),
    (High, State::High),
    (Pulsing, State::Pulsing),
    (Floating, State::Floating),
];

const LEVEL_WORDS: &str = "low, high, pulsing, floating, dead, ok, a voltage or a frequency";

/// `level = place (state | volts | hertz)`, `level = state place`
fn level(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let place = |i| alt((pin_place, line_place)).parse(i);
    let place_first = |i| {
        let (rest, places) = alt((several_pins, items(place))).parse(i)?;
        let (rest, state) = want(
            LEVEL_WORDS,
            alt_fn(alt((pulsing_at, value)), one_of(LEVELS)),
        )(rest)?;
        let (rest, _) = opt(word(LevelTail)).parse(rest)?;
        let rest = everywhere(rest, &places);
        // `D16 bad` is a diode rather than a line; `D3 low` is a level in any case.
        let plain_position = |p: &Place| {
            p.pin.is_none() && crate::sheet::correct::is_position(&p.name.to_lowercase())
        };
        let of_part = matches!(
            state,
            State::Ok | State::Bad | State::Dead | State::Noisy | State::Shorted
        );
        // `U12-14 ok` may be three parts; `U12-14 low` is a pin.
        let dash = (i.from..rest.from).any(|k| matches!(&*i.lexed.atoms[k].lower, "-" | "/"));
        if of_part && dash && places.iter().all(|p| p.pin.is_some()) {
            return fail(i.skip(1), "`.` between part and pin, as in U12.14 ok");
        }
        // So is `crystal dead`, a part by its name.
        let by_name = |k: usize| i.lexed.found(k).iter().any(|m| m.concept.is_none());
        let named = places.iter().all(|p| p.pin.is_none()) && (i.from..rest.from).any(by_name);
        if of_part && word(Line)(i).is_err() && (named || places.iter().any(plain_position)) {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        // A value belongs to one place.
        if places.len() > 1 && matches!(state, State::Volts(_) | State::Hertz(_) | State::Ohms(_)) {
            return fail(i, "one place for a value");
        }
        Ok((rest, (places, state)))
    };
    // `U7 39 1.1 MHz`, `U7 11 low`: a bare number is a pin where a value with its unit follows, or what only a pin can be.
    let bare_pin = |i| {
        let (rest, name) = position(i)?;
        let (rest, pin) = direct_uint(rest)?;
        let (rest, state) = alt((value, one_of(OF_A_PIN))).parse(rest)?;
        let (rest, _) = opt(one_of(LEVELS)).parse(rest)?;
        let (rest, _) = opt(word(LevelTail)).parse(rest)?;
        let place = Place {
            name,
            pin: Some(pin.to_string()),
        };
        if (1..=64).contains(&pin) {
            Ok((rest, (vec![place], state)))
        } else {
            Err(nom::Err::Error(E::silent(i)))
        }
    };
    let state_first = |i| {
        let (rest, state) = alt((value, one_of(LEVELS))).parse(i)?;
        let (rest, place) = place(rest)?;
        Ok((rest, (vec![place], state)))
    };
    let absent = |i| {
        let (rest, ()) = word(No)(i)?;
        let (rest, place) = place(rest)?;
        Ok((rest, (vec![place], State::Dead)))
    };
    let (rest, (places, state)) = match place_first(input) {
        Ok(done) => done,
        Err(first) => bare_pin(input)
            .or_else(|_: nom::Err<E>| state_first(input))
            .or_else(|_: nom::Err<E>| absent(input))
            .map_err(|_: nom::Err<E>| first)?,
    };
    Ok((
        rest,
        all_found(places.into_iter().map(Subject::Level).collect(), &state),
    ))
}

/// Volts, hertz or ohms.
fn value(input: Toks<'_>) -> P<'_, State> {
    map(
        measured(&[Unit::Volt, Unit::Hertz, Unit::Ohm], None),
        |(v, unit)| match unit {
            Unit::Hertz => State::Hertz(v),
            Unit::Ohm => State::Ohms(v),
            _ => State::Volts(v),
        },
    )
    .parse(input)
}

/// `pulsing 2.1 MHz`: the frequency says more than the word.
fn pulsing_at(input: Toks<'_>) -> P<'_, State> {
    let (rest, ()) = word(Pulsing)(input)?;
    map(measured(&[Unit::Hertz], None), |(f, _)| State::Hertz(f)).parse(rest)
}

/// `CAS missing at M0-M7`: at eight places or more it is missing as a line; at fewer it may be there elsewhere.
fn everywhere<'a>(rest: Toks<'a>, places: &[Place]) -> Toks<'a> {
    let line = places.iter().all(|p| p.pin.is_none());
    match (opt(word(By)), positions).parse(rest) {
        Ok((after, (_, at))) if line && at.len() >= 8 => after,
        _ => rest,
    }
}

/// `/8 low` behind `L10/9 high`: another pin of the same part.
pub fn other_pin<'a>(input: Toks<'a>, before: &Place) -> P<'a, Vec<Statement>> {
    let (rest, _) = opt(alt((mark(&["/", ".", "-"]), |i| word(Pin)(i)))).parse(input)?;
    // `U10 p16 low, p5 high`: as the first was numbered.
    let digits = |p: &String| p.bytes().all(|b| b.is_ascii_digit());
    let (rest, pin) = match short_pin(rest) {
        Ok((rest, pin)) if before.pin.as_ref().is_some_and(digits) => (rest, pin.to_string()),
        _ => pin_name(rest)?,
    };
    let (rest, state) = one_of(LEVELS)(rest)?;
    let place = Place {
        name: before.name.clone(),
        pin: Some(pin),
    };
    Ok((rest, vec![found(Subject::Level(place), state)]))
}

fn alt_fn<'a, T>(
    mut one: impl Parser<Toks<'a>, Output = T, Error = E>,
    mut other: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |i| match one.parse(i) {
        Err(nom::Err::Error(first)) => {
            other(i).map_err(|e| e.map(|second| nom::error::ParseError::or(first.clone(), second)))
        }
        done => done,
    }
}

/// How a part or a joint was.
#[derive(Debug, Clone)]
enum How {
    Heat(State),
    State(State),
    Looks(&'static str),
}

/// Printed for a part that was looked at and is fine.
const LOOKS_OK: &str = "looks ok";

const HOW: &[(Concept, How)] = &[
    (Hot, How::Heat(State::Hot)),
    (TooHot, How::Heat(State::TooHot)),
    (Cold, How::Heat(State::Cold)),
    (Warm, How::Heat(State::Warm)),
    (Good, How::State(State::Ok)),
    (Bad, How::State(State::Bad)),
    (Dead, How::State(State::Dead)),
    (Shorted, How::State(State::Shorted)),
    (Open, How::State(State::Dead)),
    (LookBulged, How::Looks("bulged")),
    (LookLeaking, How::Looks("leaking")),
    (LookBurnt, How::Looks("burnt")),
    (LookCorroded, How::Looks("corroded")),
    (LookCracked, How::Looks("cracked")),
    (LookDry, How::Looks("dry joint")),
    (LookReworked, How::Looks("reworked")),
    (LookModified, How::Looks("modified")),
    (LookBent, How::Looks("bent pin")),
    (LookDirty, How::Looks("dirty")),
    (LookLoose, How::Looks("loose")),
    (LookReversed, How::Looks("reversed")),
    (LookTorn, How::Looks("torn track")),
    (LookFine, How::Looks(LOOKS_OK)),
];

fn told(place: Place, how: &How, joint: bool) -> Statement {
    match how {
        How::Heat(state) => found(Subject::Heat(place), state.clone()),
        How::State(state) if joint => found(
            Subject::Looks(place),
            State::Seen(format!("joint {}", state_word(state))),
        ),
        How::State(state) => found(Subject::Part(place), state.clone()),
        How::Looks(LOOKS_OK) => found(Subject::Looks(place), State::Ok),
        How::Looks(what) if joint && *what != "dry joint" => {
            found(Subject::Looks(place), State::Seen(format!("joint {what}")))
        }
        How::Looks(what) => found(Subject::Looks(place), State::Seen(what.to_string())),
    }
}

fn state_word(state: &State) -> &'static str {
    match state {
        State::Ok => "ok",
        _ => "bad",
    }
}

/// `part = ["joint of"] positions (heat | looks | state) | (heat | looks | state) ["joint"] positions`
fn part(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WANT: &str = "how it was: hot, cold, bad, ok, corroded, swapped ...";
    let place_first = |i| {
        let (rest, joint) = opt(word(Joint)).parse(i)?;
        let (rest, _) = opt(word(PinsOf)).parse(rest)?;
        let (rest, places) = positions(rest)?;
        let (rest, behind) = opt(word(Joint)).parse(rest)?;
        let (rest, how) = want(WANT, one_of(HOW))(rest)?;
        Ok((rest, (places, how, joint.is_some() || behind.is_some())))
    };
    let how_first = |i| {
        let (rest, how) = one_of(HOW)(i)?;
        let (rest, joint) = opt(word(Joint)).parse(rest)?;
        let (rest, places) = positions(rest)?;
        Ok((rest, (places, how, joint.is_some())))
    };
    let (rest, (places, how, joint)) = match place_first(input) {
        Ok(done) => done,
        Err(first) => how_first(input).map_err(|_: nom::Err<E>| first)?,
    };
    // `F1 dead` may be a key: the fuse rule knows which words are plain.
    let key_or_fuse =
        |p: &Place| p.name.starts_with('F') && p.name[1..].bytes().all(|b| b.is_ascii_digit());
    if matches!(how, How::State(_)) && places.iter().any(key_or_fuse) {
        return fail(input.skip(1), "`fuse F1 blown` or `key F1 dead`");
    }
    if matches!(how, How::State(_)) && places.iter().any(|p| may_be_address(&p.name)) {
        return fail(input.skip(1), ADDRESS_OR_PLACE);
    }
    // `v2 dead` may be a voice; a designator is written in capitals where that matters.
    let voice = |p: &Place| matches!(&*p.name, "V1" | "V2" | "V3");
    let small = (input.from..rest.from).any(|k| input.lexed.typed(k).starts_with('v'));
    if matches!(how, How::State(_)) && small && places.iter().any(voice) {
        return fail(
            input.skip(1),
            "`voice 2 dead`, or the part in capitals: `V2 dead`",
        );
    }
    let (rest, _) = opt(word(OthersSo)).parse(rest)?;
    if joint && matches!(how, How::Heat(_)) {
        return fail(input, "how the joint looks: cracked, dry, corroded");
    }
    Ok((
        rest,
        places.into_iter().map(|p| told(p, &how, joint)).collect(),
    ))
}

/// `keyboard dirty`, `supply hot`, `cable loose`: what is outside the board goes by its name.
pub fn unit_line(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const UNITS: &[(Concept, &str)] = &[
        (Keyboard, "KEYBOARD"),
        (Supply, "SUPPLY"),
        (Cartridge, "CARTRIDGE"),
        (Cable, "CABLE"),
    ];
    let (rest, name) = one_of(UNITS)(input)?;
    let (rest, how) = one_of(HOW)(rest)?;
    if matches!(how, How::State(_)) {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let place = Place {
        name: name.into(),
        pin: None,
    };
    Ok((rest, vec![told(place, &how, false)]))
}

/// Everything at a place.
pub fn place_line(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let resistance = preceded(word(Resistance), |i| {
        let (rest, place) = pin_place(i)?;
        map(measured(&[Unit::Ohm], Some(Unit::Ohm)), move |(r, _)| {
            vec![found(Subject::Level(place.clone()), State::Ohms(r))]
        })
        .parse(rest)
    });
    seen_at(alt((level, resistance, part)))(input)
}
