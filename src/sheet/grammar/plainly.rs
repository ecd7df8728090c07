//! Lines as people type them who were told 'plain words, one thing a line': what was done and how hot it was with the type of the chip
//! beside its position, what the test said with the test named first, a bank of memory by half its name.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt, verify};
use nom::multi::{many0, many1};
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::handson::{ACTIONS, Donor, ORDERS, settle};
use super::haste_hands::{done, outcome, type_number};
use super::result::{TEST_STATES, all_found, fit, found};
use super::subject::bits;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Action, Effect, PictureState, Place, State, Statement, Subject};
use crate::sheet::toks::{P, Toks};

/// Everything of this file.
pub fn plainly(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        screen_as_before,
        typed_deed,
        out_and_new,
        bits_of_bank,
        bank,
        both_chips,
        reset_rises,
        passes,
        heat,
        by_test,
        closing,
    ))
    .parse(input)
}

/// `still black`, `test cart also black`, `black, no border`: the screen needs no word where nothing else is black.
fn screen_as_before<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let (rest, cartridge) = opt(|i| direct(i, Cartridge)).parse(input)?;
    let (rest, still) = opt(many1(lit(&["still", "also", "again"]))).parse(rest)?;
    let said = rest
        .first()
        .is_some_and(|a| matches!(&*a.lower, "black" | "blk" | "blck"));
    let black = |i: Toks<'a>| direct(i, Black);
    let (rest, state) = match still.is_some() {
        true => alt((
            map(black, |()| PictureState::Black),
            map(
                |i: Toks<'a>| direct(i, ColourWord),
                |()| PictureState::OneColour,
            ),
        ))
        .parse(rest)?,
        false if said => (black(rest)?.0, PictureState::Black),
        false => return silent(input),
    };
    let (rest, _) = opt(preceded(many0(mark(&[","])), word(Picture))).parse(rest)?;
    let (rest, _) = many0(preceded(many0(mark(&[","])), word(PictureTail))).parse(rest)?;
    // `test rom red` may be its name.
    if cartridge.is_some() && state == PictureState::OneColour {
        return silent(input);
    }
    Ok((rest, vec![found(Subject::Picture, State::Picture(state))]))
}

/// A position and the type of what sits there.
fn typed_place(input: Toks<'_>) -> P<'_, Place> {
    let plain = |name| Place { name, pin: None };
    let position_first = terminated(direct_position, type_number);
    let type_first = preceded(type_number, position);
    map(alt((position_first, type_first)), plain).parse(input)
}

/// `typed deed = place type action [effect] | places "changed" [effect] | "changed" places [type] [effect]`: `U17 4116 replaced: no change`,
/// `2114 U6 swapped, fixed`, `U21 changed`. Without a position `changed` is an effect.
fn typed_deed(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let changed = |i| map(word(ChangedPart), |()| Action::Replace).parse(i);
    let one = map(typed_place, |place| vec![place]);
    let (rest, (places, action)) = alt((
        (one, alt((one_of(ACTIONS), changed))),
        (positions, changed),
        map(
            (changed, positions, opt(type_number)),
            |(action, places, _)| (places, action),
        ),
    ))
    .parse(input)?;
    let words = &input.lexed.atoms[input.from..rest.from];
    let (rest, result) = came_of_it(rest)?;
    // `2114 U6 swap` without more may be what is still to be done.
    if result == Effect::Unknown && words.iter().any(|a| ORDERS.contains(&&*a.lower)) {
        return silent(input);
    }
    Ok((rest, vec![done(action, places, result)]))
}

/// What came of it, or nothing said of that.
fn came_of_it(input: Toks<'_>) -> P<'_, Effect> {
    match end(input) {
        Ok(_) => Ok((input, Effect::Unknown)),
        Err(_) => outcome(input),
    }
}

/// `w socket`, `in a new socket`, `+ socket`: said of the part that was put in.
pub fn with_socket(input: Toks<'_>) -> P<'_, ()> {
    let small = alt((
        mark(&["+", "&"]),
        lit(&["w", "w/", "with", "in", "on", "and", "plus"]),
    ));
    let (rest, _) = many1(alt((small, mark(&["/"])))).parse(input)?;
    let (rest, _) = many0(lit(&["a", "new", "its", "turned", "pin"])).parse(rest)?;
    direct(rest, Socket)
}

/// `out and new = place "out" ["socket"] "new" type`: `U10 out, socket + new 4164`. It is out no longer.
fn out_and_new(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, name) = direct_position(input)?;
    let (rest, ()) = lit(&["out", "off", "cut"])(rest)?;
    let (rest, _) = opt(lit(&["out"])).parse(rest)?;
    let (rest, _) = many0(alt((
        mark(&[",", "+", "&"]),
        lit(&["and", "w", "with", "in", "a", "fitted"]),
        |i| direct(i, Socket),
    )))
    .parse(rest)?;
    let (rest, ()) = lit(&["new"])(rest)?;
    let (rest, part) = type_number(rest)?;
    let (rest, _) = opt(alt((lit(&["in"]), with_socket))).parse(rest)?;
    let (rest, result) = came_of_it(rest)?;
    let place = Place { name, pin: None };
    let action = settle(Action::Replace, Some(Donor::New));
    Ok((
        rest,
        vec![
            done(action, vec![place.clone()], result),
            Statement::Fitted { place, part },
        ],
    ))
}

/// A bank of memory by its name, or by half of it: `upper`.
fn bank_name(input: Toks<'_>) -> P<'_, Option<&'static str>> {
    const BANKS: &[(Concept, &str)] = &[
        (LowerMemory, "lower"),
        (UpperMemory, "upper"),
        (VideoMemory, "video"),
    ];
    let colour = map(word(ColourMemory), |()| None);
    alt((map(alt((one_of(BANKS), half)), Some), colour)).parse(input)
}

/// `upper`, `lower`: a bank by half its name.
fn half(input: Toks<'_>) -> P<'_, &'static str> {
    let upper = map(lit(&["upper"]), |()| "upper");
    alt((upper, map(lit(&["lower"]), |()| "lower"))).parse(input)
}

/// `bits of a bank = bank ("bad" | "fail") bits`: `lower ram bad bit 5`, `upper fail all bits`, `vram bad bits 2 and 3`.
fn bits_of_bank(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, bank) = bank_name(input)?;
    let (rest, _) = opt(lit(&["test"])).parse(rest)?;
    let (rest, state) = one_of(&[(Bad, State::Bad), (Dead, State::Dead)])(rest)?;
    let (rest, _) = many0(lit(&["only", "just", "in", "at", "on"])).parse(rest)?;
    let (rest, named) = bits(rest)?;
    let subject = |bit: u32| match bank {
        None => Subject::ColourBit(bit as u8),
        // The bits of the first bank are those of the memory.
        Some("lower") => Subject::MemoryBit(bit as u8),
        Some(bank) => Subject::OtherMemory(bank.into(), Some(bit as u8)),
    };
    // Colour memory is four bits wide: `all bits` are those.
    let named: Vec<u32> = match (bank, named.len()) {
        (None, 8) => (0..4).collect(),
        _ => named,
    };
    if bank.is_none() && named.iter().any(|b| *b > 3) {
        return fail(input, "colour memory bits 0 to 3");
    }
    fit(
        input,
        rest,
        named.into_iter().map(subject).collect(),
        &state,
    )
}

/// `upper ok`, where the line speaks of memory or of the other bank.
fn bank(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, bank) = half(input)?;
    let other = if bank == "upper" { "lower" } else { "upper" };
    let lexed = input.lexed;
    let told = (0..lexed.atoms.len()).any(|i| {
        lexed.atoms[i].lower == other
            || [Memory, LowerMemory, UpperMemory]
                .iter()
                .any(|c| lexed.longest(i, *c).is_some())
    });
    if !told {
        return silent(input);
    }
    let (after, state) =
        one_of(&[(Good, State::Ok), (Bad, State::Bad), (Dead, State::Dead)])(rest)?;
    let subject = Subject::OtherMemory(bank.into(), None);
    fit(input, after, vec![subject], &state)
}

/// `timers ok both 6526`, `tods bad both chips`
fn both_chips(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let all = alt((
        map(word(Timer), |()| Subject::Timer(None, None)),
        map(lit(&["clocks", "tods"]), |()| Subject::Clock(None)),
    ));
    let (rest, subject) = preceded(opt(word(Both)), all).parse(input)?;
    let (rest, state) = one_of(TEST_STATES)(rest)?;
    let chips = alt((map(type_number, |_| ()), lit(&["chips", "adapters"])));
    let (after, _) = (opt(lit(&["on", "in", "of"])), word(Both), chips).parse(rest)?;
    fit(rest, after, vec![subject], &state)
}

const HEAT: &[(Concept, State)] = &[
    (Hot, State::Hot),
    (TooHot, State::TooHot),
    (Warm, State::Warm),
    (Cold, State::Cold),
];

/// `heat = (range ["all"] | place type | type) heat`: `IC15-22 all cool` (of pins nobody says how warm they are), `U17 82S100 hot`, `9918 hot`.
fn heat(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let plain = |name| Place { name, pin: None };
    let (rest, places) = alt((
        map(named_range, |all| all.into_iter().map(plain).collect()),
        map(typed_place, |place| vec![place]),
        map(type_number, |name| vec![plain(name)]),
    ))
    .parse(input)?;
    let (rest, _) = many0(lit(&["all", "just", "only"])).parse(rest)?;
    let (rest, state) = one_of(HEAT)(rest)?;
    Ok((
        rest,
        all_found(places.into_iter().map(Subject::Heat).collect(), &state),
    ))
}

/// `reset rises = "reset" [["on" | "at"] pin] ["goes"] "low then high"`: as it should when the machine is switched on.
fn reset_rises(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, place) = line_place(input)?;
    if place.name != "RESET" {
        return silent(input);
    }
    let at = preceded(opt(lit(&["on", "at"])), pin_place);
    let (rest, _) = opt(at).parse(rest)?;
    let (rest, _) = opt(lit(&["goes", "comes", "is", "starts", "pulses", "does"])).parse(rest)?;
    let (rest, _) = (
        lit(&["low", "lo"]),
        opt(mark(&[",", "-"])),
        opt(mark(&[">"])),
        opt(lit(&["then", "and", "to"])),
        lit(&["high", "hi"]),
    )
        .parse(rest)?;
    let (rest, _) = opt(lit(&["after"])).parse(rest)?;
    let (rest, _) = opt(word(Good)).parse(rest)?;
    Ok((rest, vec![found(Subject::Level(place), State::Ok)]))
}

/// `passes = number "passes" ("no errors" | "ok")`: of the whole test, and none of them failed.
fn passes(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Ran)).parse(input)?;
    let (rest, run) = verify(uint, |n| *n > 0).parse(rest)?;
    let (rest, ()) = lit(&["passes", "pass"])(rest)?;
    let (rest, ()) = alt((word(NoFails), word(Good))).parse(rest)?;
    let mut whole = super::result::finding(Subject::Test, State::Ok);
    whole.loops = Some((0, run));
    Ok((rest, vec![Statement::Finding(whole)]))
}

/// `by test = "test cart" ["says"] results`: `cart says colour ram bad`, `test rom lower ok`.
fn by_test(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = direct(input, Cartridge)?;
    let (rest, _) = many0(lit(&["reports", "test"])).parse(rest)?;
    // `test rom all pass`
    let all_pass = (word(Each), opt(lit(&["tests"])), word(Good));
    if let Ok((after, _)) = all_pass.map(|_| ()).parse(rest)
        && end(after).is_ok()
    {
        return Ok((after, vec![found(Subject::Test, State::Ok)]));
    }
    let of_test = |s: &Statement| match s {
        Statement::Finding(f) if f.subject == Subject::Test => f.loops.is_some(),
        Statement::Finding(f) => matches!(
            f.subject,
            Subject::Memory
                | Subject::MemoryBit(_)
                | Subject::MemorySocket(_)
                | Subject::MemoryRange(..)
                | Subject::OtherMemory(..)
                | Subject::ColourMemory
                | Subject::ColourBit(_)
                | Subject::Rom(_)
                | Subject::Timer(..)
                | Subject::Clock(_)
                | Subject::AllKeys
                | Subject::Sound
                | Subject::Voice(_)
                | Subject::Port(_)
        ),
        _ => false,
    };
    // `cartridge port bad` is no result of the port's.
    if direct(rest, Port).is_ok() {
        return silent(input);
    }
    match super::statement(rest).filter(|all| all.iter().all(of_test)) {
        Some(all) => Ok((rest.skip(rest.to - rest.from), all)),
        None => silent(input),
    }
}

/// `done`, `finished`: kept as a remark; whether the repair holds is told otherwise.
fn closing(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = direct(input, Closing)?;
    let whole = input.from == 0 && input.to == input.lexed.atoms.len();
    if !whole || end(rest).is_err() {
        return silent(input);
    }
    let note = input.rest_text().trim_end_matches([' ', '.', '!']);
    Ok((rest, vec![Statement::Note(note.into())]))
}

#[cfg(test)]
mod tests {
    use crate::sheet::grammar::read_as as read;

    #[test]
    fn plain_lines_are_read() {
        for (line, wants) in [
            ("still black", "picture black"),
            ("test cart also black", "picture black"),
            ("black, no border", "picture black"),
            ("still green", "picture one colour"),
            ("64k-6510-wide black", "board 64k-6510-wide | picture black"),
            (
                "u17 4116 replaced, vram ok",
                "replaced U17 | video memory ok",
            ),
            ("2114 u6 swapped, fixed", "swapped U6: cured"),
            ("ic21 changed, sound ok", "replaced IC21 | sound ok"),
            (
                "u10 out, socket + new 4164",
                "replaced U10 | fitted U10 4164",
            ),
            ("new 4116 in ic9 w socket", "replaced IC9 | fitted IC9 4116"),
            (
                "u11 swapped for new 41464 in socket. same error",
                "replaced U11: no change | fitted U11 41464",
            ),
            (
                "lower ram bad bit 5, upper ok",
                "memory bit 5 bad | upper memory ok",
            ),
            (
                "vram bad bits 2 and 3",
                "video memory bit 2 bad | video memory bit 3 bad",
            ),
            ("colour ram bad bit 1", "colour bit 1 bad"),
            ("upper fail only bit 6 -> IC21", "upper memory bit 6 bad"),
            ("u13 replaced -> ram all ok", "replaced U13 | memory ok"),
            ("timers ok both 6526", "timers ok"),
            ("ic15-17 all cool", "IC15 cold | IC16 cold | IC17 cold"),
            ("reset on u7 pin 40 goes low then high", "line RESET ok"),
            ("3 passes no errors", "test ok in 0 of 3 loops"),
            ("cart says colour ram bad", "colour memory bad"),
            ("test rom all pass", "test ok"),
            ("9918 hot", "9918 hot"),
            ("8255 pin 16 always low", "8255 pin 16 low"),
            ("9v for u9 = 0.1", "rail +9V 100 mV"),
            ("12v only 4.6", "rail +12V 4.6 V"),
            (
                "5v 5.03 at u7, 12v 11.9",
                "rail +5V 5.03 V | rail +12V 11.9 V",
            ),
            ("5v 5.02 on u7 p6", "U7.6 5.02 V"),
            (
                "colour ram bad all bits",
                "colour bit 0 bad | colour bit 1 bad | colour bit 2 bad | colour bit 3 bad",
            ),
            ("5v to gnd 38 ohm pwr off", "resistance rail +5V 38 ohm"),
            ("all keys work", "keyboard ok"),
            ("u17 82s100 hot", "U17 hot"),
            ("changed u10: no change", "replaced U10: no change"),
            ("chngd u10", "replaced U10"),
            ("done", "note done"),
        ] {
            assert_eq!(read(line), wants, "{line}");
        }
    }

    #[test]
    fn what_may_be_something_else_is_not_read() {
        for line in [
            "dark",
            "not black",
            "black or grey",
            "test rom green",
            "upper ok",
            "2114 u6",
            "upper bad",
            "ic15-17 ok",
            "reset goes low then high then low",
            "3 passes",
            "3 passes 1 fail",
            "now the test runs",
            "cart port",
            "timers ok both",
            "done with U7?",
            "5v 4.2 -> better",
            "swapped U21 -> U22",
            "5v at u7 missing",
            "colour ram bad bits 2 6",
            "2114 u6 swap",
            "3 times ok",
            "dunlin-64 no 4 or 5",
            "dunlin-64 4",
            "changed",
        ] {
            assert_eq!(read(line), "?", "{line}");
        }
    }
}
