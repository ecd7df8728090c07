//! What people at a bench jot down of a meter: several pins of one chip on a line, a whole bus, rails with a sign between.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt, verify};
use nom::multi::{many0, many1};
use nom::sequence::preceded;

use super::base::*;
use super::haste_hands::type_number;
use super::places::OF_A_PIN;
use super::rails::rail_name;
use super::result::{all_found, found};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::*;
use crate::sheet::concept::Concepts;
use crate::sheet::statement::{Place, State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{P, Toks};

/// Names of pins that are no words of their own elsewhere.
const SIGNALS: &[&str] = &[
    "res", "reset", "ras", "cas", "we", "oe", "cs", "ce", "irq", "nmi", "int", "ba", "rdy", "wait",
    "halt", "out", "vcc",
];

/// Everything of this file.
pub fn shorthand(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((pins_of_a_chip, pin_to_ground, bus, rails, rails_by_value)).parse(input)
}

/// A value or a level, several pins of which may follow each other: a number needs no unit where it has a point (`5.05`).
fn reading(input: Toks<'_>) -> P<'_, State> {
    let volts = |i| {
        let (rest, q) = quantity(i)?;
        let plain = q.unit.is_none() && q.decimals && !q.bare_prefix;
        match (plain, q.unit) {
            (true, _) | (_, Some(Unit::Volt)) => Ok((rest, State::Volts(q.value))),
            (_, Some(Unit::Hertz)) => Ok((rest, State::Hertz(q.value))),
            _ => silent(i),
        }
    };
    let (rest, _) = many0(lit(&[
        "only", "just", "sits", "stays", "always", "is", "at",
    ]))
    .parse(input)?;
    alt((volts, one_of(OF_A_PIN))).parse(rest)
}

/// `p14`, `pin 14`, `leg 14`.
fn pin_number(input: Toks<'_>) -> P<'_, u32> {
    let (rest, _) = opt(mark(&[","])).parse(input)?;
    let numbered = alt((short_pin, preceded(word(Pin), direct_uint)));
    verify(numbered, |n| (1..=64).contains(n)).parse(rest)
}

fn direct_lit<'a>(input: Toks<'a>, words: &[&str]) -> P<'a, ()> {
    match input.first() {
        Some(a) if words.contains(&&*a.lower) => Ok((input.skip(1), ())),
        _ => silent(input),
    }
}

/// The name of what is at a pin, which says nothing more (`ras p5`): one word that is no word of the bench.
fn signal_name(input: Toks<'_>) -> P<'_, ()> {
    let (rest, _) = opt(mark(&[","])).parse(input)?;
    let known = alt((|i| direct(i, LineName), |i| direct(i, Clock)));
    if let Ok(done) = known.or(|i| direct_lit(i, SIGNALS)).parse(rest) {
        return Ok(done);
    }
    match rest.first() {
        Some(a)
            if a.kind == Kind::Word
                && a.heads == Concepts::default()
                && !a.signs
                && a.lower.len() <= 5 =>
        {
            Ok((rest.skip(1), ()))
        }
        _ => silent(input),
    }
}

/// `pins of a chip = position [type number] [":"] ([name] pin reading){2,} | position name pin reading`: `U19 2114: p18 5.05 p8 pulsing`,
/// `U7 clk p1 pulsing`.
fn pins_of_a_chip(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, name) = direct_position(input)?;
    let (rest, fitted) = opt(type_number).parse(rest)?;
    let (rest, _) = opt(mark(&[":", "-"])).parse(rest)?;
    let named = signal_name(rest).is_ok();
    let one = |i| {
        let (rest, _) = opt(signal_name).parse(i)?;
        let (rest, pin) = pin_number(rest)?;
        let (rest, state) = reading(rest)?;
        Ok((rest, (pin, state)))
    };
    let (rest, all) = many1(one).parse(rest)?;
    if all.len() < 2 && !named && fitted.is_none() {
        return silent(input);
    }
    let at = |(pin, state): (u32, State)| {
        let place = Place {
            name: name.clone(),
            pin: Some(pin.to_string()),
        };
        found(Subject::Level(place), state)
    };
    Ok((rest, all.into_iter().map(at).collect()))
}

/// `pin to ground = pin place ("to ground" ohms | ohms "to ground")`: `U22 p14 to gnd 11r`, `U22 p14-gnd 11 ohm`.
fn pin_to_ground(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, place) = pin_place(input)?;
    let to_ground = |i| {
        let (rest, between) = opt(alt((mark(&["-", ">"]), |i| direct(i, To)))).parse(i)?;
        let (rest, _) = opt(mark(&[">"])).parse(rest)?;
        match between {
            Some(()) => direct(rest, GroundWord),
            None => direct(rest, Resistance),
        }
    };
    let first = |i| {
        let (rest, ()) = to_ground(i)?;
        let (rest, _) = opt(lit(&["only", "just", "is", "reads"])).parse(rest)?;
        ohms(rest)
    };
    let last = |i| {
        let (rest, state) = ohms(i)?;
        let (rest, ()) = to_ground(rest)?;
        Ok((rest, state))
    };
    map(alt((first, last)), |state| {
        vec![found(Subject::Level(place.clone()), state)]
    })
    .parse(rest)
}

/// `11 ohm`, `11r`, `3k2`.
fn ohms<'a>(input: Toks<'a>) -> P<'a, State> {
    let stuck_r = |i: Toks<'a>| {
        let number = i.first().and_then(|a| a.lower.strip_suffix('r'));
        match number.and_then(|n| n.parse::<u32>().ok()) {
            Some(n) => Ok((i.skip(1), f64::from(n))),
            None => silent(i),
        }
    };
    let (rest, ohms) = alt((
        stuck_r,
        map(measured(&[Unit::Ohm], Some(Unit::Ohm)), |(r, _)| r),
    ))
    .parse(input)?;
    if ohms < 0.0 {
        return fail(input, "a resistance, not below 0");
    }
    let (rest, _) = opt(lit(&["ohm", "ohms"])).parse(rest)?;
    Ok((rest, State::Ohms(ohms)))
}

/// `bus = ["address" | "data"] name number "-" [name] number ["all"] level`: `A0-A15 all pulsing`, `d0-7 low`.
fn bus(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(alt((word(Address), lit(&["data", "adr", "addr"])))).parse(input)?;
    let (rest, _) = opt(word(Line)).parse(rest)?;
    let (rest, all) = named_range(rest)?;
    // A designator of parts (`C1-C4 low`) is no line.
    let letters = all[0].trim_end_matches(|c: char| c.is_ascii_digit());
    if letters.len() > 2 || rest.lexed.words.is(&letters.to_lowercase(), PartLetters) {
        return silent(input);
    }
    let (rest, _) = opt(word(Each)).parse(rest)?;
    let (rest, _) = opt(lit(&["all"])).parse(rest)?;
    let (rest, state) = one_of(OF_A_PIN)(rest)?;
    let line = |name| Subject::Level(Place { name, pin: None });
    Ok((rest, all_found(all.into_iter().map(line).collect(), &state)))
}

/// `rails = (number ["V"] "=" volts)+`: `12v=11.9 -5=-5.1 5=4.98`. At least one has its sign or its unit: `3=4.9 5=0.1` may be pins.
fn rails(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let one = |i| {
        let (rest, _) = opt(mark(&[",", "/"])).parse(i)?;
        let (rest, q) = quantity(rest)?;
        let Some(name) = rail_name(&q, true) else {
            return silent(i);
        };
        let (rest, ()) = mark(&["="])(rest)?;
        let (rest, (volts, _)) = measured(&[Unit::Volt], Some(Unit::Volt))(rest)?;
        let sure = q.unit.is_some() || q.value < 0.0;
        Ok((
            rest,
            (found(Subject::Rail(name), State::Volts(volts)), sure),
        ))
    };
    let (rest, all) = many1(one).parse(input)?;
    match all.iter().any(|a| a.1) {
        true => Ok((rest, all.into_iter().map(|a| a.0).collect())),
        false => silent(input),
    }
}

/// `rails by value = "volts" value{2,}`: `volts 5.01 12.2 -11.8`, each within a tenth of a rail that boards have. Behind `psu` they may
/// have been measured off the board.
fn rails_by_value(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const USUAL: [f64; 4] = [5.0, 12.0, -5.0, -12.0];
    let (rest, ()) = lit(&["volts", "voltages"])(input)?;
    let one = |i| {
        let (rest, _) = opt(mark(&[",", "/", ":"])).parse(i)?;
        let (rest, q) = quantity(rest)?;
        let near = |n: &&f64| (q.value - **n).abs() <= 0.1 * n.abs();
        let nominal = USUAL.iter().find(near);
        match nominal.filter(|_| q.decimals && !q.ac && matches!(q.unit, None | Some(Unit::Volt))) {
            Some(n) => Ok((rest, (*n, q.value))),
            None => silent(i),
        }
    };
    let (rest, all) = many1(one).parse(rest)?;
    let twice = (1..all.len()).any(|k| all[..k].iter().any(|a| a.0 == all[k].0));
    if all.len() < 2 || twice {
        return silent(input);
    }
    let (rest, _) = opt(word(Good)).parse(rest)?;
    let rail = |(n, volts): (f64, f64)| {
        let name = if n > 0.0 {
            format!("+{n}V")
        } else {
            format!("{n}V")
        };
        found(Subject::Rail(name), State::Volts(volts))
    };
    Ok((rest, all.into_iter().map(rail).collect()))
}

#[cfg(test)]
mod tests {
    use crate::sheet::grammar::read_as as read;

    #[test]
    fn jottings_are_read() {
        for (line, wants) in [
            (
                "u19 2114: p18 5.05 p8 pulsing p10 low",
                "U19.18 5.05 V | U19.8 pulsing | U19.10 low",
            ),
            (
                "u19: p8 pulsing, p10 pulsing",
                "U19.8 pulsing | U19.10 pulsing",
            ),
            ("u7 clk p1 pulsing", "U7.1 pulsing"),
            (
                "u10 cas p16 pulsing, ras p5 low",
                "U10.16 pulsing | U10.5 low",
            ),
            ("u22 p14 to gnd 11r", "U22.14 11 ohm"),
            ("u22 p14-gnd 11 ohm", "U22.14 11 ohm"),
            ("u22 pin 14 3k2 to ground", "U22.14 3.2 kohm"),
            (
                "addr a0-a3 all pulsing",
                "line A0 pulsing | line A1 pulsing | line A2 pulsing | line A3 pulsing",
            ),
            ("d2-d0 low", "line D0 low | line D1 low | line D2 low"),
            ("d0-2 low", "line D0 low | line D1 low | line D2 low"),
            (
                "12v=11.9 -5=-5.1 5=4.98",
                "rail +12V 11.9 V | rail -5V -5.1 V | rail +5V 4.98 V",
            ),
            (
                "volts 5.01 12.2 -11.8",
                "rail +5V 5.01 V | rail +12V 12.2 V | rail -12V -11.8 V",
            ),
            (
                "volts 5.1/12.3/-5.0 OK",
                "rail +5V 5.1 V | rail +12V 12.3 V | rail -5V -5.0 V",
            ),
            ("piggyback 4164 on u22 no diff", "piggyback U22: no change"),
        ] {
            assert_eq!(read(line), wants, "{line}");
        }
    }

    #[test]
    fn what_may_be_something_else_is_not_read() {
        for line in [
            "c1-c4 low",
            "5=4.98 maybe",
            "psu 5.01 12.2",
            "volts 5.08 9.1",
            "volts 5.01 5.02",
            "3=4.9 5=0.1",
            "u19 p8 p10 pulsing or low",
        ] {
            assert_eq!(read(line), "?", "{line}");
        }
    }
}
