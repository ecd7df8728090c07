//! Sound with values: the pitch of a voice in hertz, cents or as a note; waveform, envelope, noise and level.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found, seen_at};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};
use crate::tones::{note, note_hertz};

const EXAMPLE: &str = "voice 1 423.8 Hz expected 440";

/// One voice by its number, or all of them.
fn voices(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let one = |i| {
        let (rest, n) = preceded(word(Voice), ordinal).parse(i)?;
        if (1..=3).contains(&n) {
            Ok((rest, vec![Subject::Voice(n as u8)]))
        } else {
            fail(i, "voice 1, 2 or 3")
        }
    };
    let all = map(preceded(alt((word(Each), word(Both))), word(Voice)), |()| {
        (1..=3).map(Subject::Voice).collect()
    });
    alt((one, all, super::subject::sound)).parse(input)
}

/// A note: `A4`, `A-4`, `C#4`, `Bb3`, in hertz.
fn note_name(input: Toks<'_>) -> P<'_, f64> {
    after_gap(|i: Toks<'_>| {
        // The longest run of atoms without a space that is one: `C`, `#`, `4`.
        for n in (1..=3).rev() {
            let stuck = (1..n).all(|k| i.nth(k).is_some_and(|a| a.stuck));
            if i.to - i.from < n || !stuck {
                continue;
            }
            let span = i.lexed.span(i.from, i.from + n);
            if let Some(number) = note(&i.lexed.text[span.start..span.end]) {
                return Ok((i.skip(n), note_hertz(number)));
            }
        }
        Err(nom::Err::Error(E::silent(i)))
    })(input)
}

/// A tone: hertz or a note.
fn tone(input: Toks<'_>) -> P<'_, f64> {
    alt((
        note_name,
        map(measured(&[Unit::Hertz], Some(Unit::Hertz)), |(f, _)| f),
    ))
    .parse(input)
}

/// `pitch = voice tone "expected" tone`
fn pitch(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, all) = voices(input)?;
    let (rest, _) = opt(plays).parse(rest)?;
    let (rest, heard) = tone(rest)?;
    let (rest, ()) = want(
        "`expected` and the tone that it should be, as in voice 1 423.8 Hz expected 440",
        |i| alt((word(ShouldBe), word(Wrote), word(InsteadOf))).parse(i),
    )(rest)?;
    let (rest, expected) = want("the tone that it should be: 440, or A4", tone)(rest)?;
    if !(10.0..20_000.0).contains(&expected) || !(1.0..40_000.0).contains(&heard) {
        return fail(input, "two tones in hertz, 10 to 20000");
    }
    Ok((rest, all_found(all, &State::Pitch { heard, expected })))
}

/// `plays`, `sounds`: no word of the bench.
fn plays(input: Toks<'_>) -> P<'_, ()> {
    after_gap(|i: Toks<'_>| match i.first() {
        Some(a) if matches!(&*a.lower, "plays" | "play" | "sounds" | "sound" | "gives") => {
            Ok((i.skip(1), ()))
        }
        _ => Err(nom::Err::Error(E::silent(i))),
    })(input)
}

/// `cents = voice NUMBER "cents" ("low" | "high")`
fn in_cents(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WAYS: &[(Concept, f64)] = &[(Low, -1.0), (Flat, -1.0), (High, 1.0), (Sharp, 1.0)];
    let (rest, all) = voices(input)?;
    let (rest, _) = opt(word(By)).parse(rest)?;
    let (rest, q) = quantity(rest)?;
    let (rest, ()) = word(Cents)(rest)?;
    let (rest, way) = want("low or high, as in voice 1 65 cents low", one_of(WAYS))(rest)?;
    if q.unit.is_some() || q.bare_prefix || !(0.0..=4800.0).contains(&q.value) {
        return fail(input, "cents from 0 to 4800, as in voice 1 65 cents low");
    }
    let off = if q.value == 0.0 { 0.0 } else { way * q.value };
    Ok((rest, all_found(all, &State::Cents(off))))
}

/// `voice 1 plays A4 flat`, `voice 1 sharp`
fn by_ear(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WAYS: &[(Concept, State)] = &[(Flat, State::Flat), (Sharp, State::Sharp)];
    let (rest, all) = voices(input)?;
    let (rest, _) = opt(plays).parse(rest)?;
    let (rest, _) = opt(note_name).parse(rest)?;
    let (rest, state) = one_of(WAYS)(rest)?;
    Ok((rest, all_found(all, &state)))
}

const PART_STATES: &[(Concept, State)] = &[
    (Good, State::Ok),
    (Bad, State::Bad),
    (Wrong, State::Wrong),
    (Dead, State::Dead),
    (Missing, State::Dead),
    (Low, State::Low),
];

/// `voice 1 waveform wrong`, `voice 2 envelope bad`, `noise generator dead`, `loudness low`
fn parts(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let of_voice = |i| {
        let (rest, all) = voices(i)?;
        let (rest, envelope) = one_of(&[(Waveform, false), (Envelope, true)])(rest)?;
        let part = |s: Subject| match s {
            Subject::Voice(n) if envelope => Some(Subject::Envelope(n)),
            Subject::Voice(n) => Some(Subject::Waveform(n)),
            _ => None,
        };
        let all: Option<Vec<Subject>> = all.into_iter().map(part).collect();
        match all {
            Some(all) => Ok((rest, all)),
            None => fail(i, "which voice, as in voice 1 waveform wrong"),
        }
    };
    let whole = alt((
        map(word(NoiseSource), |()| vec![Subject::NoiseSource]),
        map(word(Loudness), |()| vec![Subject::Loudness]),
    ));
    let (rest, all) = alt((of_voice, whole)).parse(input)?;
    let (rest, state) = want("how it was: ok, bad, wrong, dead, low", one_of(PART_STATES))(rest)?;
    Ok((
        rest,
        all.into_iter().map(|s| found(s, state.clone())).collect(),
    ))
}

/// All of the above.
pub fn tones(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(alt((example(EXAMPLE, pitch), in_cents, by_ear, parts)))(input)
}
