//! Supply: rails, ripple, resistance to ground, the supply by itself.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::fuse::fuse;
use super::result::{finding, found, seen_at};
use crate::quantity::{Quantity, Unit};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Finding, Place, State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

/// Nominal voltages are whole numbers of volts up to this; `4.98 V` is a reading, never a name.
const HIGHEST_NOMINAL: f64 = 60.0;

/// `rail = ["rail"] ["+" | "-"] digits ["V" ["AC"]] ["rail"] | "rail" name`: the name as a map has it.
pub fn rail(input: Toks<'_>) -> P<'_, String> {
    let numbered = |i| {
        let (rest, before) = opt(preceded(word(Rail), opt(word(Of)))).parse(i)?;
        let (rest, q) = quantity(rest)?;
        let (rest, raw) = opt(word(Unregulated)).parse(rest)?;
        let (rest, behind) = opt(alt((|i| direct(i, Rail), |i| direct(i, Line)))).parse(rest)?;
        // `+5 = 5.11`: the sign makes it a rail.
        let signed = i.first().is_some_and(|a| matches!(&*a.lower, "+" | "-"))
            && (like_a_rail(&q) && q.unit.is_none());
        let told = before.is_some() || behind.is_some() || raw.is_some() || signed;
        match rail_name(&q, told) {
            Some(name) => Ok((rest, name)),
            None => Err(nom::Err::Error(E::silent(i))),
        }
    };
    let named = |i| {
        let (rest, ()) = word(Rail)(i)?;
        let (after, place) = line_place(rest).or_else(|_| told_name(rest))?;
        Ok((after, place.name))
    };
    alt((written, numbered, named)).parse(input)
}

/// `+5V_VIDEO`, `+12VA`: a rail as the map writes it, known by its volts and the underscore or the letter behind them; `5v video` and
/// `video 5v` before what was read of it.
fn written(input: Toks<'_>) -> P<'_, String> {
    let (rest, _) = opt(word(Rail)).parse(input)?;
    let signed = rest.first().is_some_and(|a| matches!(&*a.lower, "+" | "-"));
    let at = rest.skip(usize::from(signed));
    let Some(atom) = at.first().filter(|a| !signed || a.stuck) else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    let sign = if signed { rest.typed() } else { "" };
    let behind_volts = |text: &str| -> Option<String> {
        let after = text.trim_start_matches(|c: char| c.is_ascii_digit());
        (after.len() < text.len() && after.starts_with('v')).then(|| after.to_string())
    };
    let after = behind_volts(&atom.lower);
    if after.as_ref().is_some_and(|a| a.contains('_') || a == "va") {
        return Ok((at.skip(1), format!("{sign}{}", at.typed().to_uppercase())));
    }
    let next = at.skip(1);
    let (volts, part) = match next.first() {
        Some(_) if after.as_deref() == Some("v") && direct(next, RailPart).is_ok() => (at, next),
        Some(a)
            if behind_volts(&a.lower).as_deref() == Some("v") && direct(at, RailPart).is_ok() =>
        {
            (next, at)
        }
        _ => return Err(nom::Err::Error(E::silent(input))),
    };
    let turned = part.from < volts.from;
    let (rest, told) = opt(|i| direct(i, Rail)).parse(next.skip(1))?;
    let value = measured(&[Unit::Volt], Some(Unit::Volt))(rest).is_ok();
    // `5v video dead` may be two things.
    let state = (turned || told.is_some()) && one_of(RAIL_STATES)(rest).is_ok();
    if !value && !state {
        return Err(nom::Err::Error(E::silent(input)));
    }
    // As `5v` alone means +5V.
    let sign = if sign.is_empty() { "+" } else { sign };
    let name = format!("{sign}{}_{}", volts.typed(), part.typed()).to_uppercase();
    // `vid` stands for the whole word.
    let name = name.replace("_VID", "_VIDEO").replace("_VIDEOEO", "_VIDEO");
    Ok((rest, name))
}

/// A name in capitals behind the word `rail` (`rail VCC`).
fn told_name(input: Toks<'_>) -> P<'_, Place> {
    let typed = input.typed();
    let fits = (2..=12).contains(&typed.len())
        && typed
            .chars()
            .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_');
    if fits && typed.starts_with(|c: char| c.is_ascii_uppercase()) {
        Ok((
            input.skip(1),
            Place {
                name: typed.to_string(),
                pin: None,
            },
        ))
    } else {
        fail(input, "the rail, as in rail +5V")
    }
}

/// `+5V`, `-12V`, `9VAC`; a number without a unit needs the word `rail`.
pub fn rail_name(q: &Quantity, told: bool) -> Option<String> {
    let unit_fits = q.unit == Some(Unit::Volt) || (q.unit.is_none() && told && !q.bare_prefix);
    let whole = q.value.fract() == 0.0 || told && q.unit.is_some();
    if !unit_fits || !whole || q.value == 0.0 || q.value.abs() > HIGHEST_NOMINAL {
        return None;
    }
    let size = q.value.abs();
    if q.ac {
        return Some(format!("{size}VAC"));
    }
    Some(format!("{}{size}V", if q.value < 0.0 { '-' } else { '+' }))
}

const RAIL_STATES: &[(Concept, State)] = &[
    (Good, State::Ok),
    (Bad, State::Bad),
    (Low, State::Low),
    (High, State::High),
    (Dead, State::Dead),
    (Missing, State::Dead),
    (Noisy, State::Noisy),
    (Shorted, State::Shorted),
];

const READING: &str = "a voltage, or ok, low, high, missing";

/// `rail reading = rail (volts | state | "ripple" volts | ohms)`
fn rail_reading(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, name) = rail(input)?;
    let (rest, subject_word) = opt(one_of(SUBJECTS)).parse(rest)?;
    // `9v for U9 = 0.1`, `12v only 4.6`
    let (rest, before) = opt(at_a_part).parse(rest)?;
    let (rest, _) = opt(lit(&["only", "just"])).parse(rest)?;
    // `5v rail ok 5.02`, `-5v missing 0.02`: the verdict first, then the value that it repeats.
    let value = |i| match reading(i, &name, subject_word) {
        Err(nom::Err::Error(first)) => {
            // `ok in 0 of 20 loops` tells loops.
            let counted = |after| quantity(after).is_ok_and(|(_, q)| q.value == 0.0 && !q.decimals);
            let whole = |after| quantity(after).is_ok_and(|(_, q)| !q.decimals && q.unit.is_none());
            let judged = one_of(RAIL_STATES)(i).and_then(|(after, verdict)| match verdict {
                State::Ok if !counted(after) => reading(after, &name, subject_word),
                // `dead in 6 of 20 loops`
                State::Dead if whole(after) => silent(after),
                State::Dead => reading(after, &name, subject_word).and_then(|read| {
                    match gone(&read.1, &name) {
                        true => Ok(read),
                        false => silent(after),
                    }
                }),
                _ => silent(after),
            });
            judged.map_err(|_: nom::Err<E>| nom::Err::Error(first))
        }
        done => done,
    };
    let state = |i| {
        let (rest, state) = want(READING, one_of(RAIL_STATES))(i)?;
        named_state(i, rest, &name, subject_word, state)
    };
    // `5v at U7 missing` may be there elsewhere.
    if before.is_some() {
        return map(value, |all| measured_at(all, before.as_ref())).parse(rest);
    }
    let with_place = |i| {
        let (rest, all) = value(i)?;
        let (rest, place) = opt(at_a_part).parse(rest)?;
        let (rest, _) = opt(word(PowerOff)).parse(rest)?;
        Ok((rest, measured_at(all, place.as_ref())))
    };
    alt((with_place, state)).parse(rest)
}

/// `at U7`, `for U9`, `on U7 p6`: where a rail was measured.
fn at_a_part(input: Toks<'_>) -> P<'_, Place> {
    let (rest, ()) = lit(&["at", "for", "on"])(input)?;
    let part = map(direct_position, |name| Place { name, pin: None });
    preceded(opt(lit(&["the"])), alt((pin_place, part))).parse(rest)
}

/// Volts of a rail that were read at a pin are the pin's; at a part, they are what is known of the rail.
fn measured_at(mut all: Vec<Statement>, place: Option<&Place>) -> Vec<Statement> {
    if let ([Statement::Finding(f)], Some(place)) = (&mut all[..], place)
        && let (Subject::Rail(_), State::Volts(_), Some(_)) = (&f.subject, &f.state, &place.pin)
    {
        f.subject = Subject::Level(place.clone());
    }
    all
}

/// Whether so little was read of a rail that it is missing.
fn gone(read: &[Statement], name: &str) -> bool {
    /// Of what the rail is called by (guess: what a meter picks up on a line without a supply).
    const NEXT_TO_NOTHING: f64 = 0.2;
    matches!(read, [Statement::Finding(Finding { subject: Subject::Rail(_), state: State::Volts(v), .. })]
        if nominal(name).is_none_or(|n| (v / n).abs() < NEXT_TO_NOTHING))
}

/// What of a rail was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Ripple,
    Resistance,
}

const SUBJECTS: &[(Concept, What)] = &[(Ripple, What::Ripple), (Resistance, What::Resistance)];

/// The value behind a rail, with a verdict that only repeats it passed over.
fn reading<'a>(input: Toks<'a>, name: &str, what: Option<What>) -> P<'a, Vec<Statement>> {
    let (rest, one) = match what {
        Some(What::Ripple) => map(measured(&[Unit::Volt], None), |(v, _)| {
            finding(Subject::Ripple(name.into()), State::Volts(v))
        })
        .parse(input)?,
        Some(What::Resistance) => ohms(input, name, Some(Unit::Ohm))?,
        None => alt((
            |i| volts(i, name),
            |i| trailing_ripple(i, name),
            |i| ohms(i, name, None),
        ))
        .parse(input)?,
    };
    let (rest, verdict) = opt(one_of(RAIL_STATES)).parse(rest)?;
    let (rest, _) = opt(word(PowerOff)).parse(rest)?;
    // `12V rail is 0.3 V too low` tells a difference, not a reading.
    if let (Some(State::Low | State::High), Subject::Rail(_), State::Volts(v)) =
        (&verdict, &one.subject, &one.state)
        && !nominal(name).is_some_and(|n| (0.5..2.0).contains(&(v / n)))
    {
        return fail(input, "the voltage itself, as in +5V 4.98");
    }
    Ok((rest, vec![Statement::Finding(one)]))
}

/// `+5V 80 mV ripple`
fn trailing_ripple<'a>(input: Toks<'a>, name: &str) -> P<'a, Finding> {
    let (rest, (v, _)) = measured(&[Unit::Volt], None)(input)?;
    let (rest, ()) = word(Ripple)(rest)?;
    Ok((rest, finding(Subject::Ripple(name.into()), State::Volts(v))))
}

fn volts<'a>(input: Toks<'a>, name: &str) -> P<'a, Finding> {
    let (rest, q) = want(READING, quantity)(input)?;
    if q.unit == Some(Unit::Ohm) || word(Ripple)(rest).is_ok() || word(Resistance)(rest).is_ok() {
        return Err(nom::Err::Error(E::silent(input)));
    }
    if like_a_rail(&q)
        && !name
            .trim_start_matches(['+', '-'])
            .starts_with(&q.value.abs().to_string())
    {
        return fail(
            input,
            "a reading with a decimal (`12.0 V`), so that it is not taken for another rail",
        );
    }
    if q.ac && !name.ends_with("AC") {
        return fail(
            input,
            "volts of a direct rail, or the alternating rail, as in 9VAC 9.4",
        );
    }
    // `5v 50`, `12v 4`: a bare whole number far from the rail may be anything.
    let near = nominal(name).is_none_or(|n| (0.7..1.5).contains(&(q.value / n)));
    if q.unit.is_none() && !q.decimals && q.value != 0.0 && !near {
        return fail(input, "volts with a decimal or a unit, as in +5V 4.98");
    }
    match crate::quantity::expect_unit(q, &[Unit::Volt], Some(Unit::Volt)) {
        Ok((v, _)) => Ok((rest, finding(Subject::Rail(name.into()), State::Volts(v)))),
        Err(fault) => fail_number(input, &fault),
    }
}

/// The voltage that a rail is called by; `None` for a rail with another name.
fn nominal(name: &str) -> Option<f64> {
    name.trim_end_matches("AC").strip_suffix('V')?.parse().ok()
}

/// `4.98 V on 5V`: the reading first, then `on` or `at` and the rail.
fn value_first(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, (v, _)) = measured(&[Unit::Volt], Some(Unit::Volt))(input)?;
    let (rest, ()) = direct(rest, By)?;
    let (rest, name) = rail(rest)?;
    if nominal(&name).is_some_and(|n| (0.5..2.0).contains(&(v / n))) {
        Ok((rest, vec![found(Subject::Rail(name), State::Volts(v))]))
    } else {
        fail(input, "the rail first, as in +5V 4.98")
    }
}

/// A whole number that rails are called by: `5V 12V` may be a reading or two rails.
fn like_a_rail(q: &Quantity) -> bool {
    const NAMES: [f64; 8] = [3.0, 5.0, 9.0, 10.0, 12.0, 15.0, 18.0, 24.0];
    !q.decimals && !q.bare_prefix && NAMES.contains(&q.value.abs())
}

fn ohms<'a>(input: Toks<'a>, name: &str, default: Option<Unit>) -> P<'a, Finding> {
    let (rest, (r, _)) = measured(&[Unit::Ohm], default)(input)?;
    let (rest, _) = opt(word(Resistance)).parse(rest)?;
    if r < 0.0 {
        return fail(input, "a resistance, not below 0");
    }
    Ok((
        rest,
        finding(Subject::Resistance(name.into()), State::Ohms(r)),
    ))
}

fn named_state<'a>(
    input: Toks<'a>,
    rest: Toks<'a>,
    name: &str,
    what: Option<What>,
    state: State,
) -> P<'a, Vec<Statement>> {
    let subject = match what {
        None if state == State::Shorted => Subject::Resistance(name.into()),
        None => Subject::Rail(name.into()),
        Some(What::Ripple) => Subject::Ripple(name.into()),
        Some(What::Resistance) => Subject::Resistance(name.into()),
    };
    let fits = match (&subject, &state) {
        (Subject::Resistance(_), s) => matches!(
            s,
            State::Ok | State::Bad | State::Low | State::High | State::Shorted
        ),
        (Subject::Ripple(_), s) => matches!(s, State::Ok | State::Bad | State::High),
        _ => true,
    };
    if fits {
        Ok((rest, vec![found(subject, state)]))
    } else {
        fail(input, READING)
    }
}

/// [`rail`], or a name with an underscore in it, which is no part: `resistance SOUND_REG_IN 318 ohm`.
fn measured_rail(input: Toks<'_>) -> P<'_, String> {
    rail(input).or_else(|e| match input.first() {
        Some(a) if a.kind == Kind::Word && a.lower.trim_matches('_').contains('_') => {
            Ok((input.skip(1), a.lower.to_uppercase()))
        }
        _ => Err(e),
    })
}

/// `resistance = "resistance" rail (ohms | "open" | "shorted" | state)`
fn resistance(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Resistance)(input)?;
    let (rest, _) = opt(word(Of)).parse(rest)?;
    let (rest, name) = want("the rail, as in resistance +5V 12 ohm", measured_rail)(rest)?;
    let (rest, _) = opt(word(Resistance)).parse(rest)?;
    let open = map(word(Open), |()| State::Ohms(f64::INFINITY));
    if let Ok((rest, state)) = alt((open,)).parse(rest) {
        return Ok((rest, vec![found(Subject::Resistance(name), state)]));
    }
    alt((
        |i| reading(i, &name, Some(What::Resistance)),
        |i| {
            let (after, state) = want("ohms, open or shorted", one_of(RAIL_STATES))(i)?;
            named_state(i, after, &name, Some(What::Resistance), state)
        },
    ))
    .parse(rest)
}

/// `ripple = "ripple" ["on"] rail volts`
fn ripple(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Ripple)(input)?;
    let (rest, _) = opt(word(Of)).parse(rest)?;
    let (rest, name) = want("the rail, as in ripple +5V 80 mV", measured_rail)(rest)?;
    alt((
        |i| reading(i, &name, Some(What::Ripple)),
        |i| {
            let (after, state) = want("a voltage, or ok, high", one_of(RAIL_STATES))(i)?;
            named_state(i, after, &name, Some(What::Ripple), state)
        },
    ))
    .parse(rest)
}

/// `rails ok`, `+5V and +12V ok`, `no +12V`
fn rail_states<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let every = |i: Toks<'a>| {
        let (rest, _) = opt(word(Each)).parse(i)?;
        let (rest, ()) = word(Rail)(rest)?;
        let many = (i.from..rest.from).any(|k| matches!(&*i.lexed.atoms[k].lower, "rails" | "all"));
        if many {
            Ok((rest, vec!["all".to_string()]))
        } else {
            fail(rest, "which rail, as in rail +5V 4.98")
        }
    };
    let names = |i| alt((items(rail), every)).parse(i);
    let subject_first = (names, want(READING, one_of(RAIL_STATES)));
    let state_first = map((one_of(RAIL_STATES), names), |(s, n)| (n, s));
    let at_place = || opt((word(By), positions));
    let absent = map((word(No), items(rail), at_place()), |((), n, _)| {
        (n, State::Dead)
    });
    let (rest, (names, state)) = alt((subject_first, state_first, absent)).parse(input)?;
    let mut all = Vec::new();
    for name in names {
        all.extend(named_state(input, rest, &name, None, state.clone())?.1);
    }
    Ok((rest, all))
}

/// `supply = "supply" [rail] (volts "off the board" | state)`: a value counts only when it is said that the
/// supply was measured by itself.
fn supply(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, before) = opt(word(OffBoard)).parse(input)?;
    let (rest, ()) = word(Supply)(rest)?;
    let (rest, early) = opt(word(OffBoard)).parse(rest)?;
    let off_before = before.is_some() || early.is_some();
    let body = |i, name: Option<String>| supply_reading(i, name, off_before);
    let with_rail = |i| {
        let (rest, name) = rail(i)?;
        body(rest, Some(name))
    };
    alt((with_rail, |i| body(i, None))).parse(rest)
}

fn supply_reading<'a>(
    input: Toks<'a>,
    name: Option<String>,
    off_before: bool,
) -> P<'a, Vec<Statement>> {
    let (rest, state) = alt((
        map(measured(&[Unit::Volt], Some(Unit::Volt)), |(v, _)| {
            State::Volts(v)
        }),
        want(READING, one_of(RAIL_STATES)),
    ))
    .parse(input)?;
    let (rest, _) = if matches!(state, State::Volts(_)) {
        opt(one_of(RAIL_STATES)).parse(rest)?
    } else {
        (rest, None)
    };
    let (rest, alternating) = opt(second_output).parse(rest)?;
    let (rest, behind) = opt(word(OffBoard)).parse(rest)?;
    if matches!(state, State::Volts(_)) && !off_before && behind.is_none() {
        return fail(
            rest,
            "`off the board` when the supply was measured by itself, or the rail, as in +5V 5.1",
        );
    }
    let mut all = vec![found(Subject::Supply(name), state)];
    all.extend(alternating.map(|v| found(Subject::Supply(Some("9VAC".into())), State::Volts(v))));
    Ok((rest, all))
}

/// `and 9.6 V AC`: the other output of the supply.
fn second_output(input: Toks<'_>) -> P<'_, f64> {
    let (rest, q) = preceded(list_sep, direct_quantity).parse(input)?;
    if q.ac && (7.0..=13.0).contains(&q.value) {
        Ok((rest, q.value))
    } else {
        fail(input, "the alternating output, as in 9.6 V AC")
    }
}

/// `4.4 low, gets 4.3 after 5min`: the same rail later, on a warm machine.
pub fn went_to<'a>(input: Toks<'a>, name: &str) -> P<'a, Vec<Statement>> {
    let (rest, mut one) = volts(input, name)?;
    let (rest, ()) = super::meter::after_minutes(rest)?;
    one.warmth = Some(crate::sheet::statement::Warmth::Warm);
    Ok((rest, vec![Statement::Finding(one)]))
}

/// Everything about the supply.
pub fn supplies(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(alt((
        value_first,
        rail_reading,
        rail_states,
        example("resistance +5V 120 ohm", resistance),
        example("ripple +5V 80 mV", ripple),
        example("supply 5.1 off the board", supply),
        example("fuse F1 blown", fuse),
    )))(input)
}
