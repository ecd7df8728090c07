//! Results of the test as they are said in a hurry: short forms that need a rule of their own.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::multi::many1;
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::result::{all_found, found};
use super::subject::{ADAPTERS, address, bits, port, range, rom};
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{PictureState, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

const BIT_STATES: &[(Concept, State)] = &[
    (Bad, State::Bad),
    (Low, State::Low),
    (High, State::High),
    (Dead, State::Dead),
];

/// `bits and rest = bits state "rest ok"` without a mark between: the other bits, not everything else.
fn bits_and_rest(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Memory)).parse(input)?;
    let (rest, named) = bits(rest)?;
    let (rest, state) = one_of(BIT_STATES)(rest)?;
    let (rest, ()) = direct(rest, Rest)?;
    let (rest, ()) = word(Good)(rest)?;
    let others = (0..8).filter(|b| !named.contains(b));
    let bit = |b: &u32| Subject::MemoryBit(*b as u8);
    let mut all = all_found(named.iter().map(bit).collect(), &state);
    all.extend(all_found(others.map(|b| bit(&b)).collect(), &State::Ok));
    Ok((rest, all))
}

/// `b2 stk lo`: a bit by its letter, where it is said to be stuck.
fn short_bit(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const STUCK: &[(Concept, State)] = &[(Low, State::Low), (High, State::High)];
    let bit = input
        .first()
        .and_then(|a| a.lower.strip_prefix('b'))
        .and_then(|n| n.parse::<u8>().ok())
        .filter(|n| *n < 8);
    let Some(bit) = bit else {
        return silent(input);
    };
    let (rest, state) = one_of(STUCK)(input.skip(1))?;
    let told = matches!(
        &*input.skip(1).first().map_or("".into(), |a| a.lower.clone()),
        "stk" | "stuck" | "stuk"
    );
    if told {
        Ok((rest, vec![found(Subject::MemoryBit(bit), state)]))
    } else {
        silent(input)
    }
}

/// `2000-2fff bits 2+6`: bits of a part of memory.
fn bits_of_range(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, part) = range(input)?;
    let (rest, named) = bits(rest)?;
    let (rest, _) = opt(word(Bad)).parse(rest)?;
    let all = std::iter::once(part).chain(named.into_iter().map(|b| Subject::MemoryBit(b as u8)));
    Ok((rest, all_found(all.collect(), &State::Bad)))
}

/// `fails from 8000 up`: to the end of the addresses.
fn bad_from(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Memory)).parse(input)?;
    let (rest, ()) = word(Bad)(rest)?;
    let (rest, ()) = word(By)(rest)?;
    let (rest, first) = address(rest)?;
    let (rest, ()) = word(Upward)(rest)?;
    if first > 0xFFFF {
        return fail(input, "an address up to FFFF");
    }
    Ok((
        rest,
        vec![found(Subject::MemoryRange(first, 0xFFFF), State::Bad)],
    ))
}

/// `mem loses bits after 2s, bit 6`
fn forgets(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Memory)).parse(input)?;
    let (rest, ()) = word(Forgets)(rest)?;
    let (rest, _) = opt(preceded(word(By), measured(&[Unit::Second], None))).parse(rest)?;
    let (rest, named) = bits(rest)?;
    let named = named.into_iter().map(|b| Subject::MemoryBit(b as u8));
    Ok((rest, all_found(named.collect(), &State::Bad)))
}

/// `row 5 col 12 bad in M2`: a cell inside a memory chip.
fn cell_of_chip(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = (word(Row), uint, word(Column), uint).parse(input)?;
    let (rest, ()) = word(Bad)(rest)?;
    let (rest, _) = opt(|i| direct(i, InTime)).parse(rest)?;
    let (rest, places) = positions(rest)?;
    let chips = places.into_iter().map(Subject::MemorySocket);
    Ok((rest, all_found(chips.collect(), &State::Bad)))
}

/// `colram d800 w 5 r 7`: four bits wide, so every bit that differs is told.
fn colour_cell(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(ColourMemory)(input)?;
    let (rest, _) = address(rest)?;
    let (rest, _) = opt(word(Wrote)).parse(rest)?;
    let (rest, (wrote, ..)) = hex(rest)?;
    let (rest, ()) = word(ReadBack)(rest)?;
    let (rest, (read, ..)) = hex(rest)?;
    if wrote > 15 || read > 15 {
        return fail(input, "hex digits: colour memory is four bits wide");
    }
    let bit = |b: &u8| (wrote ^ read) >> b & 1 == 1;
    let state = |b: u8| {
        if read >> b & 1 == 1 {
            State::High
        } else {
            State::Low
        }
    };
    let all = (0..4)
        .filter(bit)
        .map(|b| found(Subject::ColourBit(b), state(b)));
    let all: Vec<Statement> = all.collect();
    if all.is_empty() {
        return fail(input, "two different digits, or `colour memory ok`");
    }
    Ok((rest, all))
}

/// `all 8 4164 bad`
fn all_chips(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Each)(input)?;
    let (rest, ()) = word(MemoryType)(rest)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Good, State::Ok)])(rest)?;
    Ok((
        rest,
        all_found((0..8).map(Subject::MemoryBit).collect(), &state),
    ))
}

const ROM_STATES: &[(Concept, State)] =
    &[(Good, State::Ok), (Bad, State::Bad), (Wrong, State::Wrong)];

fn sum(input: Toks<'_>) -> P<'_, String> {
    let (rest, (n, digits, _)) = hex(input)?;
    Ok((rest, format!("{n:0digits$X}")))
}

/// `os rom bad sum 4A3F`, `char rom cs 0xE1 shd be 0xEC`
fn rom_sum(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, which) = rom(input)?;
    let (rest, state) = opt(one_of(ROM_STATES)).parse(rest)?;
    let (rest, ()) = word(Checksum)(rest)?;
    let (rest, value) = sum(rest)?;
    let (rest, right) = opt(preceded(word(ShouldBe), sum)).parse(rest)?;
    if which.len() != 1 || (state.is_none() && right.is_none()) {
        return silent(input);
    }
    if right.as_ref() == Some(&value) {
        return Ok((rest, all_found(which, &State::Ok)));
    }
    let mut all = Vec::new();
    if let Some(state) = state {
        all.extend(all_found(which.clone(), &state));
    }
    all.extend(all_found(which, &State::Value(value)));
    Ok((rest, all))
}

/// `rom chk basic ok os ok char bad`
fn rom_sums(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let one = |i| {
        let (rest, which) = rom(i)?;
        let (rest, state) = one_of(ROM_STATES)(rest)?;
        Ok((rest, all_found(which, &state)))
    };
    let (rest, all) = preceded(word(Checksum), items(one)).parse(input)?;
    if all.len() < 2 {
        return silent(input);
    }
    Ok((rest, all.into_iter().flatten().collect()))
}

/// `R1 reads all FF`: a ROM that gives nothing.
fn rom_gives_nothing(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let placed = map(position, |p| vec![Subject::Rom(p)]);
    let (rest, which) = alt((rom, placed)).parse(input)?;
    let (rest, ()) = word(AllOnes)(rest)?;
    Ok((rest, all_found(which, &State::Dead)))
}

/// `tmr 2 a+b dead`
fn both_timers(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Timer)(input)?;
    let (rest, n) = ordinal(rest)?;
    let letters: String = (0..3)
        .filter_map(|k| rest.nth(k))
        .map(|a| &*a.lower)
        .collect();
    if !matches!(&*letters, "a+b" | "a&b" | "aandb" | "a/b") || !(1..=ADAPTERS).contains(&n) {
        return silent(input);
    }
    let (rest, state) = one_of(&[
        (Good, State::Ok),
        (Bad, State::Bad),
        (Dead, State::Dead),
        (Stopped, State::Stopped),
    ])(rest.skip(3))?;
    let both = ['a', 'b'].map(|l| Subject::Timer(Some(n as u8), Some(l)));
    Ok((rest, all_found(both.into(), &state)))
}

/// `tod 2 loses 5 s/min`: what it shows in a minute.
fn drift(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, n) = preceded(word(Clock), ordinal).parse(input)?;
    let (rest, slow) = one_of(&[(Slow, true), (Fast, false)])(rest)?;
    let (rest, (s, _)) = measured(&[Unit::Second], None)(rest)?;
    let (rest, _) = alt((mark(&["/"]), |i| direct(i, InTime))).parse(rest)?;
    let (rest, ()) = word(Minutes)(rest)?;
    if !(1..=ADAPTERS).contains(&n) || !(0.0..60.0).contains(&s) {
        return fail(input, "a clock 1 or 2 and seconds in a minute");
    }
    let shown = if slow { 60.0 - s } else { 60.0 + s };
    let state = State::Rate { shown, real: 60.0 };
    Ok((rest, vec![found(Subject::Clock(Some(n as u8)), state)]))
}

/// `v2 silent`: only a voice is silent.
fn short_voice(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let n = input
        .first()
        .and_then(|a| a.lower.strip_prefix('v'))
        .and_then(|n| n.parse::<u8>().ok())
        .filter(|n| (1..=3).contains(n));
    let (rest, ()) = word(Silent)(input.skip(1))?;
    match n {
        Some(n) => Ok((rest, vec![found(Subject::Voice(n), State::Dead)])),
        None => silent(input),
    }
}

/// `pitch low abt half tone`, `440 plays as 420 hz`, `noise only on voice 3`, `sound buzzing/distorted volume 8 up`
fn tone(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const OFF: &[(Concept, ())] = &[
        (Low, ()),
        (High, ()),
        (Slow, ()),
        (Fast, ()),
        (Wrong, ()),
        (Bad, ()),
    ];
    let pitch = map((word(Pitch), one_of(OFF), opt(word(ToneStep))), |_| {
        vec![found(Subject::Sound, State::Wrong)]
    });
    let plays = |i| {
        let number = || measured(&[Unit::Hertz], Some(Unit::Hertz));
        let (rest, (wanted, _)) = number()(i)?;
        let (rest, ()) = word(PlaysAs)(rest)?;
        let (rest, (got, _)) = number()(rest)?;
        if !(20.0..20_000.0).contains(&wanted) || !(0.0..20_000.0).contains(&got) {
            return fail(i, "two tones in hertz");
        }
        // A quarter of a half tone is heard by few: 2^(1/48) is 1.5 %.
        let state = if (got / wanted - 1.0).abs() <= 0.015 {
            State::Ok
        } else {
            State::Wrong
        };
        Ok((rest, vec![found(Subject::Sound, state)]))
    };
    let only_noise = map(
        preceded(
            word(NoiseOnly),
            preceded(word(Voice), numbers(1, 3, "voice 1, 2 or 3")),
        ),
        |all| {
            let voices = all.into_iter().map(|n| Subject::Voice(n as u8));
            all_found(voices.collect(), &State::Bad)
        },
    );
    let louder = |i| {
        let (rest, ()) = word(Sound)(i)?;
        let (rest, ()) = word(Noisy)(rest)?;
        let (rest, _) = list_sep(rest)?;
        let (rest, more) = opt(word(Noisy)).parse(rest)?;
        let (rest, at) = opt((word(Volume), uint, opt(word(Upward)))).parse(rest)?;
        if more.is_none() && at.is_none() {
            return silent(i);
        }
        Ok((rest, vec![found(Subject::Sound, State::Noisy)]))
    };
    alt((pitch, plays, only_noise, louder)).parse(input)
}

/// `joy2 up dead`, `loopback plug user: pb3 bad`, `serial data lo clk ok`: a part of a port is bad, so the port is.
fn part_of_port<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    const BROKEN: &[(Concept, ())] = &[
        (Bad, ()),
        (Dead, ()),
        (Stuck, ()),
        (Low, ()),
        (High, ()),
        (Missing, ()),
    ];
    let stick = |i| {
        let (rest, which) = port(i)?;
        let (rest, ()) = word(StickPart)(rest)?;
        let (rest, ()) = one_of(BROKEN)(rest)?;
        Ok((rest, all_found(which, &State::Bad)))
    };
    let plug = |i: Toks<'a>| {
        let (rest, ()) = word(Loopback)(i)?;
        let (rest, which) = port(rest)?;
        let (rest, ()) = word_passed(rest)?;
        let (rest, ()) = one_of(BROKEN)(rest)?;
        Ok((rest, all_found(which, &State::Bad)))
    };
    let lines = |i| {
        let (rest, which) = port(i)?;
        let broken = map(one_of(BROKEN), |()| false);
        let good = map(word(Good), |()| true);
        let (rest, all) = many1(preceded(word(SerialLine), alt((broken, good)))).parse(rest)?;
        let state = if all.iter().all(|ok| *ok) {
            State::Ok
        } else {
            State::Bad
        };
        Ok((rest, all_found(which, &state)))
    };
    alt((stick, plug, lines)).parse(input)
}

/// One name of a line, whatever it is.
fn word_passed<'a>(input: Toks<'a>) -> P<'a, ()> {
    let named = |i: Toks<'a>| match i.first() {
        Some(a) if a.lower.bytes().any(|b| b.is_ascii_digit()) => Ok((i.skip(1), ())),
        _ => Err(nom::Err::Error(E::silent(i))),
    };
    match after_gap(named)(input) {
        Ok(done) => Ok(done),
        Err(_) => Ok((input, ())),
    }
}

/// `stripes 8 px apart in text`, `border ok middle blank`, `1st 4 loops ok after that black`
fn screens(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let stripes = map(
        (
            opt(word(Picture)),
            word(Stripes),
            opt((uint, word(PixelsApart))),
        ),
        |_| {
            vec![found(
                Subject::Picture,
                State::Picture(PictureState::Garbage),
            )]
        },
    );
    let border = map((opt(word(Picture)), word(BorderOnly)), |_| {
        vec![found(
            Subject::Picture,
            State::Picture(PictureState::NoText),
        )]
    });
    let loops = |i| {
        let (rest, ()) = word(First)(i)?;
        let (rest, n) = uint(rest)?;
        let (rest, ()) = word(Loop)(rest)?;
        let (rest, ()) = word(Good)(rest)?;
        let (rest, ()) = word(AfterThat)(rest)?;
        let (rest, mut after) =
            map(super::picture::shown, |s| vec![found(Subject::Picture, s)]).parse(rest)?;
        let mut whole = super::result::finding(Subject::Test, State::Ok);
        whole.loops = Some((0, n));
        after.insert(0, Statement::Finding(whole));
        Ok((rest, after))
    };
    let free = |i| {
        let (rest, ()) = word(StartText)(i)?;
        let (rest, _) = opt((word(By), measured(&[Unit::Second], None))).parse(rest)?;
        let (rest, n) = uint(rest)?;
        let (rest, ()) = word(FreeWord)(rest)?;
        Ok((rest, vec![found(Subject::StartText, State::BytesFree(n))]))
    };
    let (rest, all) = alt((stripes, border, loops, free)).parse(input)?;
    let (rest, _) = nom::multi::many0(word(PictureTail)).parse(rest)?;
    Ok((rest, all))
}

/// `everything else passes except sound`
fn rest_except(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = (word(Rest), word(Good), word(Except)).parse(input)?;
    let (rest, which) = super::subject::subjects(rest)?;
    let mut all = vec![Statement::RestFine];
    all.extend(all_found(which, &State::Bad));
    Ok((rest, all))
}

/// `3 of 20 bad`: loops, said with `of`.
fn of_loops(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, (n, (), m, ())) = (uint, word(Of), uint, word(Bad)).parse(input)?;
    if n == 0 || n > m || m < 5 {
        return fail(
            input,
            "failing loops of loops run, as in 3 of 20 loops failed",
        );
    }
    let mut whole = super::result::finding(Subject::Test, State::Bad);
    whole.loops = Some((n, m));
    Ok((rest, vec![Statement::Finding(whole)]))
}

/// `M3 bad per ram test`
fn named_by_test(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, places) = positions(input)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Dead, State::Dead), (Good, State::Ok)])(rest)?;
    let (rest, ()) = word(PerTest)(rest)?;
    let all = places.into_iter().map(Subject::MemorySocket);
    Ok((rest, all_found(all.collect(), &state)))
}

/// What needs none of the concepts of [`spoken`].
pub fn short(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        bits_and_rest,
        after_gap(short_bit),
        bits_of_range,
        cell_of_chip,
        colour_cell,
        rom_sum,
        rom_sums,
        both_timers,
        of_loops,
    ))
    .parse(input)
}

/// What is known by a word of its own.
pub fn spoken(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        bad_from,
        forgets,
        all_chips,
        rom_gives_nothing,
        drift,
        terminated(after_gap(short_voice), opt(word(Filler))),
        tone,
        part_of_port,
        screens,
        rest_except,
        named_by_test,
    ))
    .parse(input)
}
