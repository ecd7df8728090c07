//! What a meter shows beside voltages and levels: currents, capacitors, temperatures, and rails said in a hurry.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::rails::rail;
use super::result::{all_found, found};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{Action, Effect, HandsOn, Place, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

/// `current = [rail] "current" [rail] amperes ["high" | "low" | "ok"] ["without" positions]`
fn current(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, before) = opt(rail).parse(input)?;
    let (rest, ()) = word(Current)(rest)?;
    let (rest, behind) = opt(rail).parse(rest)?;
    let (rest, (amperes, _)) = want(
        "the current, as in current 850 mA",
        measured(&[Unit::Ampere], None),
    )(rest)?;
    let verdict = |i| one_of(&[(High, ()), (Low, ()), (Good, ()), (Bad, ())])(i);
    let (rest, _) = opt(verdict).parse(rest)?;
    let (rest, without) = opt(preceded(word(Without), positions)).parse(rest)?;
    let mut all = Vec::new();
    if let Some(places) = without {
        all.push(Statement::HandsOn(HandsOn {
            action: Action::Pull,
            places,
            result: Effect::Unknown,
        }));
    }
    all.push(found(
        Subject::Current(before.or(behind)),
        State::Amperes(amperes),
    ));
    Ok((rest, all))
}

/// A number of farads: `470u`, `10uF`, `9.8` (then in the prefix of the other number).
pub fn farads(input: Toks<'_>) -> P<'_, (f64, bool)> {
    after_gap(|i: Toks<'_>| {
        let Some(atom) = i.first() else {
            return Err(nom::Err::Error(E::silent(i)));
        };
        // `470u`: the F is left out on the part, too.
        let bare = atom.lower.strip_suffix(['u', 'n', 'p', 'µ']);
        if bare.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())) {
            let text = format!("{}F", i.typed());
            return match crate::quantity::parse(&text, &[Unit::Farad], None) {
                Ok(v) => Ok((i.skip(1), (v, true))),
                Err(_) => Err(nom::Err::Error(E::silent(i))),
            };
        }
        let (rest, q) = direct_quantity(i)?;
        match q.unit {
            Some(Unit::Farad) => Ok((rest, (q.value, true))),
            None if !q.bare_prefix => Ok((rest, (q.value, false))),
            _ => Err(nom::Err::Error(E::silent(i))),
        }
    })(input)
}

/// The prefix that a value in farads is written with.
pub fn scale(nominal: f64) -> f64 {
    [1e-6, 1e-9]
        .into_iter()
        .find(|s| nominal >= *s)
        .unwrap_or(1e-12)
}

/// A capacitor by its designator.
pub fn capacitor(input: Toks<'_>) -> P<'_, Place> {
    let (rest, name) = position(input)?;
    let digits = name
        .strip_prefix('C')
        .is_some_and(|n| n.bytes().all(|b| b.is_ascii_digit()));
    if digits {
        Ok((rest, Place { name, pin: None }))
    } else {
        Err(nom::Err::Error(E::silent(input)))
    }
}

/// `capacitor = C ["nom"] farads ["meas"] farads | C farads "of" farads | C "esr" ohms`
fn capacitance(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, place) = capacitor(input)?;
    if let Ok((after, ())) = word(SeriesResistance)(rest) {
        let (after, (ohms, _)) = want(
            "ohms, as in C12 esr 0.2 ohm",
            measured(&[Unit::Ohm], Some(Unit::Ohm)),
        )(after)?;
        let (after, _) = opt(one_of(VERDICTS)).parse(after)?;
        return Ok((
            after,
            vec![found(Subject::SeriesResistance(place), State::Ohms(ohms))],
        ));
    }
    let (rest, told) = opt(word(Nominal)).parse(rest)?;
    let (rest, (first, unit)) = farads(rest)?;
    if !unit {
        return fail(
            input.skip(1),
            "a capacitance with its unit, as in C5 9.8 uF",
        );
    }
    let (rest, of) = opt(|i| direct(i, Of)).parse(rest)?;
    let (rest, worded) = opt(word(MeasuredAs)).parse(rest)?;
    let (rest, second) = opt(farads).parse(rest)?;
    let (rest, _) = opt(one_of(VERDICTS)).parse(rest)?;
    let value = |(v, told): (f64, bool)| if told { v } else { rounded(v, scale(first)) };
    let state = match second.map(value) {
        // `210 uF of 470 uF`: the measured one first.
        Some(nominal) if of.is_some() && told.is_none() => State::Farads(first, Some(nominal)),
        Some(measured) if told.is_some() || worded.is_some() => {
            State::Farads(measured, Some(first))
        }
        None if told.is_none() => State::Farads(first, None),
        _ => return fail(rest, "what was measured, as in C5 9.8 uF of 10 uF"),
    };
    Ok((rest, vec![found(Subject::Capacitance(place), state)]))
}

/// A number in the prefix of another, without the noise of the multiplication.
pub fn rounded(value: f64, scale: f64) -> f64 {
    format!("{value}e{}", scale.log10().round())
        .parse()
        .unwrap_or(value * scale)
}

const VERDICTS: &[(crate::sheet::concept::Concept, ())] =
    &[(Good, ()), (Bad, ()), (Low, ()), (High, ())];

/// `V1 55C after 5 mins`
fn temperature<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let (rest, places) = positions(input)?;
    let short = |i: Toks<'a>| {
        let number = i
            .first()
            .and_then(|a| a.lower.strip_suffix('c')?.parse::<u16>().ok());
        match number {
            Some(t) => Ok((i.skip(1), f64::from(t))),
            None => Err(nom::Err::Error(E::silent(i))),
        }
    };
    let worded = |i| {
        let (rest, q) = quantity(i)?;
        let (rest, ()) = word(Degrees)(rest)?;
        match q.unit {
            None if !q.bare_prefix => Ok((rest, q.value)),
            _ => Err(nom::Err::Error(E::silent(i))),
        }
    };
    let (rest, t) = alt((after_gap(short), worded)).parse(rest)?;
    let (rest, _) = opt(after_minutes).parse(rest)?;
    if !(-20.0..=200.0).contains(&t) {
        return fail(input.skip(1), "degrees Celsius, as in V1 55 degrees");
    }
    let all = places.into_iter().map(Subject::Heat);
    Ok((rest, all_found(all.collect(), &State::Celsius(t))))
}

/// `after 5 min`, `in 1min`
pub fn after_minutes(input: Toks<'_>) -> P<'_, ()> {
    let start = alt((word(By), word(InTime)));
    map((opt(start), uint, word(Minutes)), |_| ()).parse(input)
}

/// `5v on u19 pin 40 4.61 but 5.03 at plug`, `hum on 5v 300 mVpp 100hz`, `12V sags to 9.1 w/ T1 in`
fn rail_elsewhere(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let volts = || measured(&[Unit::Volt], Some(Unit::Volt));
    let at_pin = |i| {
        let (rest, name) = rail(i)?;
        let (rest, ()) = direct(rest, By)?;
        let (rest, place) = pin_place(rest)?;
        let (rest, (v, _)) = volts()(rest)?;
        let mut all = vec![found(Subject::Level(place), State::Volts(v))];
        let at_plug = |i| {
            let (rest, (v, _)) = preceded(word(And), volts()).parse(i)?;
            let (rest, _) = (word(By), word(Plug)).parse(rest)?;
            Ok((rest, v))
        };
        let (rest, v) = opt(at_plug).parse(rest)?;
        all.extend(v.map(|v| found(Subject::Rail(name), State::Volts(v))));
        Ok((rest, all))
    };
    let hum = |i| {
        let (rest, ()) = word(Ripple)(i)?;
        let (rest, name) = rail(rest)?;
        let (rest, (v, _)) = measured(&[Unit::Volt], None)(rest)?;
        let (rest, _) = measured(&[Unit::Hertz], None)(rest)?;
        Ok((rest, vec![found(Subject::Ripple(name), State::Volts(v))]))
    };
    let sags = |i| {
        let (rest, name) = rail(i)?;
        let (rest, ()) = word(SagsTo)(rest)?;
        let (rest, (v, _)) = volts()(rest)?;
        let (rest, _) = opt((word(By), positions, word(InPlace))).parse(rest)?;
        let (rest, warmth) = opt(warmth).parse(rest)?;
        let mut one = super::result::finding(Subject::Rail(name), State::Volts(v));
        one.warmth = warmth;
        Ok((rest, vec![Statement::Finding(one)]))
    };
    let no_short = |i| {
        let (rest, _) = (word(No), word(Shorted)).parse(i)?;
        let (rest, _) = opt(word(By)).parse(rest)?;
        let (mut rest, first) = items(rail)(rest)?;
        let mut names = first;
        while let Ok((after, more)) = preceded(word(OrWord), rail).parse(rest) {
            names.push(more);
            rest = after;
        }
        let all = names.into_iter().map(Subject::Resistance);
        Ok((rest, all_found(all.collect(), &State::Ok)))
    };
    alt((at_pin, hum, sags, no_short)).parse(input)
}

/// `8mhz xtal not osc`
fn oscillator(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let told: P<'_, (f64, Unit)> = measured(&[Unit::Hertz], None)(input);
    let Ok((rest, _)) = told else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    let (rest, name) = position(rest)?;
    let (rest, state) = one_of(&[(Dead, State::Dead), (Good, State::Ok), (Bad, State::Bad)])(rest)?;
    Ok((
        rest,
        vec![found(Subject::Part(Place { name, pin: None }), state)],
    ))
}

/// All that a meter shows and no other rule reads.
pub fn meter(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        example("current 850 mA", current),
        example("C5 9.8 uF of 10 uF", capacitance),
        example("V1 55 degrees", temperature),
        rail_elsewhere,
        oscillator,
    ))
    .parse(input)
}
