//! The picture, the start-up text, single memory cells.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt, peek};
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::result::{found, seen_at};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{PictureState, State, Statement, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

const SHOWN: &[(Concept, State)] = &[
    (NoPicture, State::Dead),
    (NoSignal, State::Picture(PictureState::NoSignal)),
    (Black, State::Picture(PictureState::Black)),
    (OneColour, State::Picture(PictureState::OneColour)),
    (ColourWord, State::Picture(PictureState::OneColour)),
    (Garbage, State::Picture(PictureState::Garbage)),
    (
        WrongCharacters,
        State::Picture(PictureState::WrongCharacters),
    ),
    (Unstable, State::Picture(PictureState::Unstable)),
    (NoColour, State::Picture(PictureState::WrongColours)),
    (NoText, State::Picture(PictureState::NoText)),
];

/// These need no word for the screen.
const BARE: &[(Concept, State)] = &[
    (NoPicture, State::Dead),
    (NoSignal, State::Picture(PictureState::NoSignal)),
    (
        WrongCharacters,
        State::Picture(PictureState::WrongCharacters),
    ),
    (NoColour, State::Picture(PictureState::WrongColours)),
];

/// `picture = screen shown | shown screen | "no picture" | "flickers" ...`
pub fn picture<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let blue = map(
        (
            opt(word(Picture)),
            word(Blue),
            opt(word(Picture)),
            word(NoText),
        ),
        |_| State::Picture(PictureState::NoText),
    );
    let blue_swapped = map((word(NoText), word(Blue), word(Picture)), |_| {
        State::Picture(PictureState::NoText)
    });
    let screen_first = preceded(
        word(Picture),
        want(
            "what it shows: normal, black, no signal, garbage, flickers ...",
            shown,
        ),
    );
    let screen_last = terminated(shown, (word(Picture), opt(word(Of))));
    let one_colour = preceded(peek(word(OneColour)), shown);
    let alone = alt((one_of(BARE), one_colour));
    let unstable = map(
        terminated(word(Unstable), |i: Toks<'a>| end(i).map(|_| (i, ()))),
        |()| State::Picture(PictureState::Unstable),
    );
    let core = map(
        alt((
            blue,
            blue_swapped,
            screen_first,
            screen_last,
            alone,
            unstable,
        )),
        |state| vec![found(Subject::Picture, state)],
    );
    let (rest, all) = seen_at(core)(input)?;
    let rest = said_twice(rest, &all)?.0;
    // Where and how else: nothing that changes what it is.
    let (rest, _) = nom::multi::many0(word(PictureTail)).parse(rest)?;
    Ok((rest, all))
}

/// `all white no text`, `b/w only no colour`, `colours all wrong, green where blue should be`: the same once more.
fn said_twice<'a>(input: Toks<'a>, all: &[Statement]) -> P<'a, ()> {
    let state = match all {
        [Statement::Finding(f)] => &f.state,
        _ => return Ok((input, ())),
    };
    let colour = || alt((word(ColourWord), word(Blue)));
    let (rest, _) = match state {
        State::Picture(PictureState::OneColour) => opt(word(NoText)).parse(input)?,
        State::Picture(PictureState::WrongColours) => opt(alt((
            word(NoColour),
            map(
                (colour(), lit(&["where"]), colour(), word(ShouldBe)),
                |_| (),
            ),
        )))
        .parse(input)?,
        _ => (input, None),
    };
    Ok((rest, ()))
}

/// What the screen shows; of one colour, which one is passed over.
pub fn shown(input: Toks<'_>) -> P<'_, State> {
    let (rest, _) = opt(word(Each)).parse(input)?;
    let (rest, state) = one_of(SHOWN)(rest)?;
    if state == State::Picture(PictureState::OneColour) {
        let (rest, _) = opt(alt((word(ColourWord), word(Blue)))).parse(rest)?;
        let (rest, _) = opt(one_of(SHOWN_COLOUR)).parse(rest)?;
        return Ok((rest, state));
    }
    Ok((rest, state))
}

const SHOWN_COLOUR: &[(Concept, ())] = &[(OneColour, ())];

/// `38911 bytes free`
fn bytes_free(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let number_first = terminated(uint, word(BytesFree));
    let number_last = preceded(word(BytesFree), uint);
    let free = map(
        preceded(opt(word(StartText)), alt((number_first, number_last))),
        |n| vec![found(Subject::StartText, State::BytesFree(n))],
    );
    // `30719 bytes free on top`
    terminated(free, opt(word(PictureTail))).parse(input)
}

/// `shows ! for space`, `B instead of A`: the character seen and the one expected.
fn wrong_character(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(alt((word(Picture), word(StartText)))).parse(input)?;
    let (rest, told) = opt(word(Shows)).parse(rest)?;
    let (rest, seen) = character(rest)?;
    let (rest, ()) = word(InsteadOf)(rest)?;
    let certain = told.is_some() || input.lexed.typed(rest.from - 1).eq_ignore_ascii_case("of");
    if !certain {
        return fail(input, "`shows ! for space`");
    }
    let (rest, expected) = want("the character that should be there", character)(rest)?;
    // The two cases of a letter are different codes; which one the screen showed must be plain.
    if seen == expected
        || seen.is_ascii_lowercase() != expected.is_ascii_lowercase()
            && both_letters(seen, expected)
    {
        return fail(rest, "two different characters, both capital or both small");
    }
    let code = |c: u8| c.to_ascii_uppercase();
    Ok((
        rest,
        vec![found(
            Subject::StartText,
            State::WrongCharacter(code(expected), code(seen)),
        )],
    ))
}

fn both_letters(a: u8, b: u8) -> bool {
    a.is_ascii_alphabetic() && b.is_ascii_alphabetic()
}

/// One printable character, bare or in quotes, or the word `space`.
fn character(input: Toks<'_>) -> P<'_, u8> {
    if let Some(length) = input.concept(SpaceWord) {
        return Ok((input.skip(length), b' '));
    }
    if let Some(length) = input.concept(QuoteWord) {
        return Ok((input.skip(length), b'"'));
    }
    let Some(atom) = input.first() else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    let typed = input.typed();
    let text = if atom.kind == Kind::Quoted {
        typed.trim_matches('"')
    } else {
        typed
    };
    match text.as_bytes() {
        [c] if (0x20..0x7f).contains(c) => Ok((input.skip(1), *c)),
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// `cell = ["memory" "at"] address ":" ["wrote"] byte ("read" | "->") byte`, all hex.
fn cell(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Memory)).parse(input)?;
    let (rest, _) = opt(word(Address)).parse(rest)?;
    let (rest, address) = super::subject::address(rest)?;
    let (rest, told) = opt(word(Wrote)).parse(rest)?;
    let (rest, wrote) = byte(rest)?;
    let (rest, arrow) = opt(alt((map(word(ReadBack), |()| ()), after_gap(arrow)))).parse(rest)?;
    if arrow.is_none() {
        return fail(
            rest,
            if told.is_some() {
                "`read` and the byte that came back"
            } else {
                "`read` or `->`, as in 4000 wrote 55 read 5D"
            },
        );
    }
    let (rest, read) = byte(rest)?;
    let state = if wrote == read { State::Ok } else { State::Bad };
    let mut all = vec![found(
        Subject::MemoryCell {
            address,
            wrote,
            read,
        },
        state,
    )];
    // `4000 wrote 55 read 5D, 17 more`
    let (rest, more) = opt(terminated(preceded(list_sep, uint), word(More))).parse(rest)?;
    all.extend(more.map(|n| found(Subject::Memory, State::More(n))));
    Ok((rest, all))
}

pub fn arrow(input: Toks<'_>) -> P<'_, ()> {
    map((opt(mark(&["-", "="])), |i| direct(i, Arrow)), |_| ()).parse(input)
}

/// A byte in hex, one or two digits.
fn byte(input: Toks<'_>) -> P<'_, u8> {
    const WHAT: &str = "a byte in hex, two digits such as 5D";
    let (rest, (n, digits, _)) = want(WHAT, hex)(input)?;
    match u8::try_from(n) {
        Ok(n) if digits <= 2 => Ok((rest, n)),
        _ => fail(input, WHAT),
    }
}

/// `17 more addresses`; `17 more` alone only makes sense behind a failing cell, which the caller knows.
fn more(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = list_sep(input)?;
    let (rest, n) = uint(rest)?;
    let (rest, ()) = alt((word(More), preceded(word(Address), word(More)))).parse(rest)?;
    let (rest, _) = opt(word(Bad)).parse(rest)?;
    let (rest, told) = opt(word(Address)).parse(rest)?;
    let phrase = input.lexed.atoms[input.from..rest.from]
        .iter()
        .any(|a| a.lower.starts_with("addr") || a.lower.starts_with("cell"));
    let (rest, _) = opt(word(Bad)).parse(rest)?;
    let state = State::More(n);
    if told.is_some() || phrase || input.lexed.after_cell {
        Ok((rest, vec![found(Subject::Memory, state)]))
    } else {
        fail(
            rest,
            "of what: `17 more addresses`, or the line behind a failing address",
        )
    }
}

/// Start-up text and memory cells.
pub fn texts(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    seen_at(alt((
        bytes_free,
        example("shows ! for space", wrong_character),
        cell,
        example("17 more addresses", more),
    )))(input)
}
