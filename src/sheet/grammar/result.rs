//! Results of the test: a subject and how it was, in either order, with the loops and warmth it was seen at.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::subject::{ADAPTERS, memory_detail, rom, subjects, timer_names};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Finding, PictureState, State, Statement, Subject, Warmth};
use crate::sheet::toks::{E, P, Toks};

/// A finding without loops and warmth.
pub fn finding(subject: Subject, state: State) -> Finding {
    Finding {
        subject,
        state,
        loops: None,
        warmth: None,
    }
}

/// A finding as a statement.
pub fn found(subject: Subject, state: State) -> Statement {
    Statement::Finding(finding(subject, state))
}

/// Findings of one state.
pub fn all_found(subjects: Vec<Subject>, state: &State) -> Vec<Statement> {
    subjects
        .into_iter()
        .map(|s| found(s, state.clone()))
        .collect()
}

/// `result = [loops] [warmth] core [loops] [warmth]`: adds what was said about loops and warmth to every finding
/// of `core`.
pub fn seen_at<'a>(
    mut core: impl Parser<Toks<'a>, Output = Vec<Statement>, Error = E>,
) -> impl FnMut(Toks<'a>) -> P<'a, Vec<Statement>> {
    move |input| {
        let (rest, before) = opt(loops).parse(input)?;
        let (rest, early) = opt(one_of(PHRASES)).parse(rest)?;
        let (rest, mut all) = core.parse(rest)?;
        let (rest, warm_first) = opt(warmth).parse(rest)?;
        let (rest, after) = opt(loops_behind).parse(rest)?;
        let (rest, late) = if warm_first.is_some() {
            (rest, warm_first)
        } else {
            opt(warmth).parse(rest)?
        };
        let told = before.or(after);
        if (before.is_some() && after.is_some()) || (early.is_some() && late.is_some()) {
            return fail(rest, "loops and warmth once");
        }
        for statement in &mut all {
            let Statement::Finding(f) = statement else {
                continue;
            };
            f.warmth = early.or(late);
            match told {
                Some(_) if f.loops.is_some() => return fail(rest, "loops and warmth once"),
                Some(loops) => f.loops = Some(counted(f, loops, input)?.1),
                None => {}
            }
        }
        Ok((rest, all))
    }
}

/// Failing loops and loops run, where they fit how a finding was: so many failed, or all passed.
fn counted<'a>(f: &Finding, loops: Loops, input: Toks<'a>) -> P<'a, (u32, u32)> {
    match (loops, &f.state) {
        ((Some(n), m), state) if (n == 0) == is_pass(state) => Ok((input, (n, m))),
        // `x3 ok x2` is no part that passed two loops.
        ((None, m), state) if is_pass(state) && !matches!(f.subject, Subject::Part(_)) => {
            Ok((input, (0, m)))
        }
        _ => fail(
            input,
            "how many of the loops failed, as in memory bad 3 of 20 loops, or memory ok 20 loops",
        ),
    }
}

const PHRASES: &[(Concept, Warmth)] = &[(WhenCold, Warmth::Cold), (WhenWarm, Warmth::Warm)];

fn is_pass(state: &State) -> bool {
    matches!(state, State::Ok | State::Picture(PictureState::Normal))
}

/// Words for how a test went.
pub const TEST_STATES: &[(Concept, State)] = &[
    (Good, State::Ok),
    (Bad, State::Bad),
    (Low, State::Low),
    (High, State::High),
    (Dead, State::Dead),
    (Missing, State::Dead),
    (Stopped, State::Stopped),
    (Slow, State::Slow),
    (Fast, State::Fast),
    (Wrong, State::Wrong),
    (Garbage, State::Wrong),
    (Noisy, State::Noisy),
    (Stuck, State::Stuck),
    (OnlyHard, State::Noisy),
];

/// The state as it applies to the subject, or `None` where the word makes no sense.
fn fitting(subject: &Subject, state: &State) -> Option<State> {
    use State as S;
    let basic = matches!(state, S::Ok | S::Bad);
    let fits = match subject {
        Subject::Memory => basic || matches!(state, S::Dead | S::Wrong),
        Subject::MemoryBit(_) | Subject::ColourBit(_) | Subject::OtherMemory(_, Some(_)) => {
            if *state == S::Stuck {
                return Some(S::Bad);
            }
            basic || matches!(state, S::Dead | S::Low | S::High | S::Wrong)
        }
        Subject::MemorySocket(_)
        | Subject::MemoryRange(..)
        | Subject::ColourMemory
        | Subject::OtherMemory(_, None)
        | Subject::Rom(_) => basic || matches!(state, S::Dead | S::Wrong),
        Subject::Timer(..) | Subject::Clock(_) => {
            if *state == S::Stuck {
                return Some(S::Stopped);
            }
            basic || matches!(state, S::Dead | S::Stopped | S::Slow | S::Fast | S::Wrong)
        }
        Subject::Sound | Subject::Voice(_) | Subject::Filter => {
            basic || matches!(state, S::Dead | S::Noisy | S::Wrong)
        }
        Subject::KeyRow(_) | Subject::KeyColumn(_) => {
            basic || matches!(state, S::Dead | S::Stuck | S::Noisy)
        }
        Subject::AllKeys
        | Subject::Interrupt(_)
        | Subject::Port(_)
        | Subject::Paddles(_)
        | Subject::BlindTyping => basic || matches!(state, S::Dead),
        Subject::StartText => basic || matches!(state, S::Dead | S::Wrong),
        Subject::Own(_) => basic || matches!(state, S::Dead | S::Wrong | S::Noisy),
        Subject::Picture if *state == S::Ok => return Some(S::Picture(PictureState::Normal)),
        Subject::Picture => matches!(state, S::Bad | S::Dead),
        Subject::Test => basic || matches!(state, S::Dead | S::Stopped),
        _ => false,
    };
    fits.then(|| state.clone())
}

/// One finding for each subject, if the state makes sense for all of them.
pub fn fit<'a>(
    input: Toks<'a>,
    rest: Toks<'a>,
    subjects: Vec<Subject>,
    state: &State,
) -> P<'a, Vec<Statement>> {
    let mut all = Vec::with_capacity(subjects.len());
    for subject in subjects {
        match fitting(&subject, state) {
            Some(state) => all.push(found(subject, state)),
            None => return fail(input, "a state that fits, such as ok or bad"),
        }
    }
    Ok((rest, all))
}

fn is_memory(subject: &Subject) -> bool {
    matches!(
        subject,
        Subject::Memory
            | Subject::MemoryBit(_)
            | Subject::MemoryRange(..)
            | Subject::OtherMemory(..)
            | Subject::ColourMemory
            | Subject::ColourBit(_)
    )
}

const STATE_WORDS: &str = "how it was: ok, bad, dead, wrong ...";

/// `plain = subjects [loops] state | state subjects | "no" subject | subjects "not reached"`
fn plain(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let subject_first = |i| {
        let (rest, all) = subjects(i)?;
        // `memory bit 3: 3 of 20 loops bad`
        let (rest, between) = opt(loops).parse(rest)?;
        let (after, state) = want(STATE_WORDS, one_of(TEST_STATES))(rest)?;
        // `U20 swapped, bit 0 gone`: a fault is.
        let gone = (rest.from..after.from).any(|k| rest.lexed.atoms[k].lower == "gone");
        if gone && all.iter().any(is_memory) {
            return silent(rest);
        }
        let (after, mut found) = fit(rest, after, all, &state)?;
        if let Some(loops) = between {
            for statement in &mut found {
                if let Statement::Finding(f) = statement {
                    f.loops = Some(counted(f, loops, i)?.1);
                }
            }
        }
        Ok((after, found))
    };
    // `sound y`, `os: n`, `voice 2 no`: a letter or a word for yes or no, last.
    let answered = |i| {
        let (rest, all) = subjects(i)?;
        let (after, state) = alt((answer, map(word(No), |()| State::Dead))).parse(rest)?;
        if end(after).is_err() {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        let fits = |s: &Subject| state != State::Dead || fitting(s, &state).is_some();
        let state = if all.iter().all(fits) {
            state.clone()
        } else {
            State::Bad
        };
        fit(i, after, all, &state)
    };
    let state_first = |i| {
        let (rest, state) = one_of(TEST_STATES)(i)?;
        let (after, all) = want("what was so: memory, os, timer 1a, sound ...", subjects)(rest)?;
        fit(i, after, all, &state)
    };
    let absent = |i| {
        let (rest, ()) = word(No)(i)?;
        let (after, all) = want("what is missing: sound, picture, voice 2 ...", subjects)(rest)?;
        let fits = |s: &Subject| {
            !matches!(
                s,
                Subject::Test | Subject::MemorySocket(_) | Subject::MemoryRange(..)
            )
        };
        if all.iter().all(fits) {
            fit(i, after, all, &State::Dead)
        } else {
            fail(i, "what is missing")
        }
    };
    let memory = |i| {
        let (rest, ()) = word(Memory)(i)?;
        let (rest, state) = one_of(TEST_STATES)(rest)?;
        // `ram test pass x5` tells loops, not a chip X5.
        if after_gap(times)(rest).is_ok() {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        let (after, all) = memory_detail(rest)?;
        fit(rest, after, all, &state)
    };
    // Never in a list: `all interrupts ok` says nothing about the rest, `test memory ok` neither.
    let whole = |i| {
        // `sprites fine on the test` is no verdict on all of it.
        let test = |i| direct(i, Test);
        let state_first = map((one_of(TEST_STATES), test), |(state, ())| state);
        let (rest, state) =
            alt((preceded(word(Test), one_of(TEST_STATES)), state_first)).parse(i)?;
        // `now the test runs`: how it goes is not told.
        let runs = i.lexed.atoms[i.from..rest.from]
            .iter()
            .any(|a| a.lower == "runs");
        if runs && state == State::Ok {
            return silent(i);
        }
        fit(i, rest, vec![Subject::Test], &state)
    };
    alt((memory, subject_first, answered, whole, state_first, absent)).parse(input)
}

/// `power lamp on`, `caps lamp off`: what shines is fine, whatever its colour.
pub fn lamp(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(|i| {
        let (rest, lamp) = super::subject::lamp(i)?;
        let (after, state) = after_gap(shine)(rest)?;
        fit(rest, after, vec![lamp], &state)
    })(input)
}

/// `on` or `off`, exactly here.
fn shine(input: Toks<'_>) -> P<'_, State> {
    let state = match input.first().map(|a| &*a.lower) {
        Some(
            "on" | "lit" | "lights" | "glows" | "shines" | "red" | "green" | "yellow" | "orange",
        ) => State::Ok,
        Some("off" | "out" | "dark" | "unlit") => State::Dead,
        _ => return fail(input, "how it was: on or off"),
    };
    Ok((input.skip(1), state))
}

/// `y` or `n`, exactly here or behind a mark.
fn answer(input: Toks<'_>) -> P<'_, State> {
    after_gap(|i: Toks<'_>| match i.concept(YesNo).and(i.first()) {
        // `n/t` and `y/n` are no answers.
        _ if i.lexed.atoms.get(i.from + 1).is_some_and(|next| next.stuck) => {
            Err(nom::Err::Error(E::silent(i)))
        }
        Some(a) if a.lower == "y" => Ok((i.skip(1), State::Ok)),
        Some(_) => Ok((i.skip(1), State::Bad)),
        None => Err(nom::Err::Error(E::silent(i))),
    })(input)
}

/// `sound alone = "silent" | "hum" | ...`: a noise needs no word for the subject.
fn bare<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let hum = |i: Toks<'a>| {
        let (rest, ()) = word(Noisy)(i)?;
        let audible = input.lexed.atoms[rest.from - 1]
            .lower
            .starts_with(['h', 'b', 'c', 'w']);
        if audible {
            Ok((rest, vec![found(Subject::Sound, State::Noisy)]))
        } else {
            Err(nom::Err::Error(E::silent(i)))
        }
    };
    let keys = map(preceded(opt(word(Test)), word(NoKeys)), |()| {
        vec![found(Subject::AllKeys, State::Dead)]
    });
    alt((keys, hum)).parse(input)
}

/// `rom checksum = rom ["checksum"] hex | "checksum" rom hex`: the value as typed.
fn checksum<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let value = |i: Toks<'a>| {
        let (rest, (_, digits, _)) = want("the checksum, as in E1A3", hex)(i)?;
        let text = input.lexed.typed(rest.from - 1).to_uppercase();
        let text = text.trim_start_matches("0X").to_string();
        let last = rest.first().is_none_or(|a| !a.stuck || a.lower != ".");
        if digits >= 2 && last {
            Ok((rest, text))
        } else {
            fail(i, "the checksum, two or more digits")
        }
    };
    let (rest, subjects, text) = {
        let rom_first = (terminated(rom, word(Checksum)), value);
        let sum_first = (preceded(word(Checksum), rom), value);
        let (rest, (subjects, text)) = alt((rom_first, sum_first)).parse(input)?;
        (rest, subjects, text)
    };
    let (rest, _) = opt(one_of(TEST_STATES)).parse(rest)?;
    if subjects.len() != 1 {
        return fail(input, "one ROM and its checksum");
    }
    Ok((rest, all_found(subjects, &State::Value(text))))
}

/// `os checksum bad`
fn checksum_state(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let roms = alt((
        terminated(rom, word(Checksum)),
        preceded(word(Checksum), rom),
    ));
    let (rest, (all, state)) = (roms, one_of(TEST_STATES)).parse(input)?;
    let state = if state == State::Bad {
        State::Wrong
    } else {
        state
    };
    fit(input, rest, all, &state)
}

/// `not reached = "not reached" subjects | subjects "not reached"`
pub fn not_reached(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let first = preceded(
        word(NotReached),
        want("what was not reached: sound, ports ...", subjects),
    );
    let last = terminated(subjects, word(NotReached));
    let whole = alt((
        terminated(word(Test), word(NotReached)),
        preceded(word(NotReached), word(Test)),
    ));
    let whole = map(whole, |()| vec![Subject::Test]);
    map(alt((whole, first, last)), |all| {
        vec![Statement::NotReached(all)]
    })
    .parse(input)
}

/// `rest = "rest" "fine"`
pub fn rest_fine(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    // `rest of it`: of what was named before, not of the test.
    let of_it = |k: usize| input.lexed.longest(k, OthersWord) > input.lexed.longest(k, Rest);
    if (input.from..input.to).any(of_it) {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let order = alt((
        terminated(word(Rest), word(Good)),
        preceded(word(Good), word(Rest)),
    ));
    map(order, |()| vec![Statement::RestFine]).parse(input)
}

/// `loops test = uint ["of" uint] "loops" state`: `20 loops ok`, `3 of 20 loops failed`
fn loops_test(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ((n, m), state)) = alt((
        (loops, one_of(TEST_STATES)),
        map((one_of(TEST_STATES), loops), |(state, loops)| {
            (loops, state)
        }),
    ))
    .parse(input)?;
    // `x3 ok` does not say of what.
    if !(input.from..rest.from).any(|i| input.lexed.longest(i, Loop).is_some()) {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let (state, counts) = match (n, state) {
        (None, State::Ok) | (Some(0), State::Ok | State::Bad) => (State::Ok, (0, m)),
        (Some(n), State::Bad) => (State::Bad, (n, m)),
        _ => {
            return fail(
                input,
                "how many of the loops failed, as in 3 of 20 loops failed",
            );
        }
    };
    let mut whole = finding(Subject::Test, state);
    whole.loops = Some(counts);
    Ok((rest, vec![Statement::Finding(whole)]))
}

/// `continued = numbers state`: behind a result of a numbered thing (`voice 1 ok, 2 missing`) the number is enough.
pub fn continued<'a>(input: Toks<'a>, before: &Subject) -> P<'a, Vec<Statement>> {
    let (highest, make): (u32, fn(u8) -> Subject) = match before {
        Subject::Voice(_) => (3, Subject::Voice),
        Subject::MemoryBit(_) => (7, Subject::MemoryBit),
        Subject::ColourBit(_) => (3, Subject::ColourBit),
        Subject::Clock(Some(_)) => (ADAPTERS, |n| Subject::Clock(Some(n))),
        Subject::Interrupt(Some(_)) => (ADAPTERS, |n| Subject::Interrupt(Some(n))),
        Subject::KeyRow(_) => (15, Subject::KeyRow),
        Subject::KeyColumn(_) => (15, Subject::KeyColumn),
        Subject::Level(place) if place.pin.is_some() => {
            return super::places::other_pin(input, place);
        }
        Subject::Rail(name) => return super::rails::went_to(input, name),
        Subject::Timer(Some(_), _) => {
            let (rest, all) = timer_names(input)?;
            let (rest, state) = one_of(TEST_STATES)(rest)?;
            return fit(input, rest, all, &state);
        }
        _ => return Err(nom::Err::Error(E::silent(input))),
    };
    let (rest, all) = numbers(0, highest, "a number as before")(input)?;
    let (rest, state) = one_of(TEST_STATES)(rest)?;
    fit(
        input,
        rest,
        all.into_iter().map(|n| make(n as u8)).collect(),
        &state,
    )
}

/// `inside = subjects loops state [warmth]`: `memory 3 of 20 loops bad`
fn loops_inside(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, all) = subjects(input)?;
    let (rest, (failed, of)) = loops(rest)?;
    let (rest, state) = one_of(TEST_STATES)(rest)?;
    let (rest, late) = opt(warmth).parse(rest)?;
    let failed = match (failed, is_pass(&state)) {
        (None | Some(0), true) => 0,
        (Some(n), false) if n > 0 => n,
        _ => {
            return fail(
                input,
                "how many of the loops failed, as in memory 3 of 20 loops bad",
            );
        }
    };
    let (rest, mut found) = fit(input, rest, all, &state)?;
    for statement in &mut found {
        if let Statement::Finding(f) = statement {
            (f.loops, f.warmth) = (Some((failed, of)), late);
        }
    }
    Ok((rest, found))
}

/// All results of the test program that are a subject and a state.
pub fn result(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        seen_at(alt((
            example("clock 1 10.0 s in 12.0 s", super::clocks::rate),
            example("os checksum E1A3", checksum),
            checksum_state,
            plain,
            bare,
        ))),
        example("3 of 20 loops failed", loops_test),
        loops_inside,
    ))
    .parse(input)
}
