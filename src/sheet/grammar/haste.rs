//! Results of the test as they are told in prose: timers, clocks, sound, ports, what was not reached.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::multi::many0;
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::result::{all_found, fit, found};
use super::subject::{ADAPTERS, port, subject, subjects};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::toks::{P, Toks};

const PLAIN: &[(Concept, State)] = &[
    (Good, State::Ok),
    (Bad, State::Bad),
    (Dead, State::Dead),
    (Missing, State::Dead),
    (Stopped, State::Stopped),
];

/// How many there are of what a word for all of them stands for.
fn how_many(all: &[Subject]) -> Option<u32> {
    match all {
        [Subject::Timer(None, None)] => Some(4),
        [Subject::Clock(None) | Subject::Interrupt(None)] => Some(2),
        [Subject::Rom(name)] if name == "all" => Some(3),
        [Subject::Voice(_), _, _] => Some(3),
        _ => None,
    }
}

/// `all 4 timers ok`, `roms all three fine`: the number must be that of all of them.
fn counted_all(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const NUMBERS: &[(&str, u32)] = &[("two", 2), ("three", 3), ("four", 4)];
    let number = |i| {
        let (rest, ()) = lit(&["all"])(i)?;
        let typed = rest.first().map_or("", |a| &*a.lower);
        match NUMBERS
            .iter()
            .find(|(word, n)| *word == typed || n.to_string() == typed)
        {
            Some((_, n)) => Ok((rest.skip(1), *n)),
            None => silent(rest),
        }
    };
    let (rest, (n, which)) = alt((
        |i| (number, subjects).parse(i),
        map((subjects, number), |(all, n)| (n, all)),
    ))
    .parse(input)?;
    if how_many(&which) != Some(n) {
        return fail(input, "the number of all of them");
    }
    let (after, state) = one_of(PLAIN)(rest)?;
    fit(input, after, which, &state)
}

/// `neither tod runs`: both are bad, a clock stands.
fn neither(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Neither)(input)?;
    let (rest, which) = subject(rest)?;
    let (rest, ()) = word(Good)(rest)?;
    match which.as_slice() {
        [Subject::Clock(None)] => Ok((rest, all_found(which, &State::Stopped))),
        [Subject::Port(name)] if name == "control" => Ok((rest, all_found(which, &State::Bad))),
        _ => fail(input, "each by its name, as in timer 1a bad"),
    }
}

/// `no interrupts coming through at all`, `no sound whatsoever`
fn none_at_all(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(No)(input)?;
    let (rest, which) = subjects(rest)?;
    let (after, ()) = word(AtAll)(rest)?;
    if which.iter().any(|s| {
        matches!(
            s,
            Subject::Test | Subject::Memory | Subject::MemoryRange(..)
        )
    }) {
        return silent(input);
    }
    fit(input, after, which, &State::Dead)
}

/// `timers not got to, nor the interrupt test`
fn not_reached_nor(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (mut rest, mut all) = terminated(subjects, word(NotReached)).parse(input)?;
    while let Ok((after, more)) = preceded(
        lit(&["nor", "or", "and"]),
        terminated(subjects, opt(word(Test))),
    )
    .parse(rest)
    {
        all.extend(more);
        rest = after;
    }
    Ok((rest, vec![Statement::NotReached(all)]))
}

/// `rest fine except sound not tried`
fn rest_but_not_reached(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = (word(Rest), word(Good), word(Except)).parse(input)?;
    let (rest, which) = terminated(subjects, word(NotReached)).parse(rest)?;
    Ok((
        rest,
        vec![Statement::RestFine, Statement::NotReached(which)],
    ))
}

/// `tod 1 shows 50 sec after 60 on my watch`, `2nd clk spot on, 30s in 30,0s`
fn clock_rate(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WHICH: &[(Concept, u32)] = &[(First, 1), (Second, 2)];
    let (rest, n) = alt((
        preceded(word(Clock), ordinal),
        terminated(one_of(WHICH), word(Clock)),
    ))
    .parse(input)?;
    let (rest, _) = opt(word(Good)).parse(rest)?;
    let (rest, _) = opt(word(SecondsShown)).parse(rest)?;
    let (rest, (shown, _)) = measured(&[Unit::Second], None)(rest)?;
    let (rest, ()) = word(InTime)(rest)?;
    // Without its unit only where a watch is named behind it.
    let bare = |i| {
        let (rest, n) = uint(i)?;
        let (rest, ()) = word(InTime)(rest)?;
        Ok((rest, (f64::from(n), Unit::Second)))
    };
    let (rest, (real, _)) = alt((
        terminated(measured(&[Unit::Second], None), opt(word(InTime))),
        bare,
    ))
    .parse(rest)?;
    if !(1..=ADAPTERS).contains(&n) || real <= 0.0 || shown < 0.0 {
        return fail(input, "a clock 1 or 2 and seconds above 0");
    }
    let state = State::Rate { shown, real };
    Ok((rest, vec![found(Subject::Clock(Some(n as u8)), state)]))
}

/// `noise missing on v3, saw tri pulse ok`: one wave of a voice is missing, so the voice is bad.
fn waves(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = word(Wave)(input)?;
    let (rest, ()) = one_of(&[(Missing, ()), (Dead, ()), (Bad, ())])(rest)?;
    let (rest, _) = opt(word(By)).parse(rest)?;
    let (rest, voice) = voice(rest)?;
    let good = (
        list_sep,
        word(Wave),
        many0(preceded(list_sep, word(Wave))),
        word(Good),
    );
    let (rest, _) = opt(good).parse(rest)?;
    Ok((rest, vec![found(Subject::Voice(voice), State::Bad)]))
}

/// `v3`, `voice 3`
fn voice<'a>(input: Toks<'a>) -> P<'a, u8> {
    let short = after_gap(short_voice);
    let long = map(preceded(word(Voice), uint), |n| n.min(9) as u8);
    let (rest, n) = alt((short, long)).parse(input)?;
    if (1..=3).contains(&n) {
        Ok((rest, n))
    } else {
        fail(input, "voice 1, 2 or 3")
    }
}

fn short_voice(input: Toks<'_>) -> P<'_, u8> {
    let number = input.first().and_then(|a| a.lower.strip_prefix('v'));
    match number.and_then(|n| n.parse().ok()) {
        Some(n) if (1..=3).contains(&n) => Ok((input.skip(1), n)),
        _ => silent(input),
    }
}

/// `v1 ok v3 ok v2 nothing`: all three are voices; one alone is the part of that name.
fn short_voices(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let one = |i| {
        let (rest, n) = short_voice(i)?;
        let (rest, state) = one_of(PLAIN)(rest)?;
        Ok((rest, (n, state)))
    };
    let (rest, all) = items(one)(input)?;
    let mut named: Vec<u8> = all.iter().map(|(n, _)| *n).collect();
    named.sort_unstable();
    if named != [1, 2, 3] || all.iter().any(|(_, s)| *s == State::Stopped) {
        return silent(input);
    }
    let told = all.into_iter().map(|(n, s)| found(Subject::Voice(n), s));
    Ok((rest, told.collect()))
}

/// `voices all there`, `all voices there`
fn voices_there(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Voice)(input)?;
    if !matches!(
        &*input.lexed.atoms[rest.from - 1].lower,
        "voices" | "channels"
    ) {
        return silent(input);
    }
    let (rest, ()) = word(AllThere)(rest)?;
    Ok((
        rest,
        all_found((1..=3).map(Subject::Voice).collect(), &State::Ok),
    ))
}

/// `431hz when it should be 440`: a tone, so both are far above the mains.
fn tone_should(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Sound)).parse(input)?;
    let (rest, (got, _)) = measured(&[Unit::Hertz], None)(rest)?;
    let (rest, _) = opt(alt((word(By), word(InsteadOf)))).parse(rest)?;
    let (rest, ()) = word(ShouldBe)(rest)?;
    let (rest, (wanted, _)) = measured(&[Unit::Hertz], Some(Unit::Hertz))(rest)?;
    if !(120.0..20_000.0).contains(&wanted) || !(20.0..20_000.0).contains(&got) {
        return fail(input, "where it was measured, as in U7.39 985 kHz");
    }
    // As for `440 plays as 420`.
    let state = if (got / wanted - 1.0).abs() <= 0.015 {
        State::Ok
    } else {
        State::Wrong
    };
    Ok((rest, vec![found(Subject::Sound, state)]))
}

/// `only hum from the speaker`
fn from_speaker(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const HEARD: &[(Concept, State)] = &[
        (Noisy, State::Noisy),
        (Dead, State::Dead),
        (Silent, State::Dead),
    ];
    let (rest, _) = opt(lit(&["only", "just"])).parse(input)?;
    let (rest, state) = one_of(HEARD)(rest)?;
    let (rest, ()) = word(FromSpeaker)(rest)?;
    Ok((rest, vec![found(Subject::Sound, state)]))
}

const BROKEN: &[(Concept, ())] = &[
    (Bad, ()),
    (Dead, ()),
    (Stopped, ()),
    (Missing, ()),
    (Stuck, ()),
];

/// `cass motor wont run but read and write ok`, `user port pa2 fails`: a part of a port is bad, so the port is.
fn part_of_port<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let (rest, which) = port(input)?;
    let [Subject::Port(name)] = which.as_slice() else {
        return silent(input);
    };
    let wire = |i: Toks<'a>| {
        let named = i.first().is_some_and(|a| {
            let (letters, digit) = a.lower.split_at(a.lower.len().min(2));
            matches!(letters, "pa" | "pb" | "pc") && matches!(digit.as_bytes(), [b'0'..=b'7'])
        });
        if named {
            Ok((i.skip(1), ()))
        } else {
            silent(i)
        }
    };
    let rest = match &**name {
        "cassette" => {
            let (rest, _) = (word(TapePart), one_of(BROKEN)).parse(rest)?;
            let good = (list_sep, word(TapePart), word(Good));
            opt(good).parse(rest)?.0
        }
        "user" => (items(after_gap(wire)), one_of(BROKEN)).parse(rest)?.0,
        _ => return silent(input),
    };
    Ok((rest, all_found(which, &State::Bad)))
}

/// All of them.
pub fn in_prose(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        counted_all,
        neither,
        none_at_all,
        not_reached_nor,
        rest_but_not_reached,
        clock_rate,
        waves,
        short_voices,
        voices_there,
        tone_should,
        from_speaker,
        part_of_port,
    ))
    .parse(input)
}
