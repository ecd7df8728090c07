//! Header words: ticket, board, mains, cartridge, where the text is from, what is fitted, which sockets are empty,
//! how the machine came in, a new run.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::{preceded, terminated};

use super::base::*;
use crate::quantity::Unit;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::correct::is_position;
use crate::sheet::statement::{Intake, Obtained, Place, Statement};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

/// An identifier: words and `-`, `_`, `.`, `/` without spaces between.
fn identifier(input: Toks<'_>) -> P<'_, &str> {
    let mut rest = input;
    while rest
        .first()
        .is_some_and(|a| matches!(&*a.lower, ":" | "=" | "#" | "-" | ".") && a.kind == Kind::Mark)
    {
        rest = rest.skip(1);
    }
    let start = rest;
    while let Some(atom) = rest.first() {
        let joins = atom.kind == Kind::Word || matches!(&*atom.lower, "-" | "." | "/" | "+");
        if !joins || (rest.from > start.from && !atom.stuck) {
            break;
        }
        rest = rest.skip(1);
    }
    if start.from == rest.from || start.first().is_none_or(|a| a.kind != Kind::Word) {
        return fail(start, "a name or number");
    }
    let span = input.lexed.span(start.from, rest.from);
    Ok((rest, &input.lexed.text[span.start..span.end]))
}

fn ticket(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = direct(input, Ticket)?;
    let (rest, id) = want("the number of the ticket, as in ticket 0412", identifier)(rest)?;
    if end(rest).is_err() {
        return fail(rest, "only the number of the ticket");
    }
    Ok((rest, vec![Statement::Ticket(id.to_string())]))
}

/// `board = "board" identifier`; words with a number among them are joined (`board dunlin 64`).
fn board(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WHAT: &str = "the name of a board map, as in board dunlin-64";
    let (rest, ()) = direct(input, Board)?;
    let (mut rest, first) = want(WHAT, identifier)(rest)?;
    let mut name = first.to_lowercase();
    while end(rest).is_err() {
        // Words of the bench belong to something else; `wide` is none of them.
        let known = !input.lexed.found(rest.from).is_empty()
            || rest.first().is_none_or(|a| a.kind != Kind::Word);
        let (after, next) = identifier(rest)?;
        if known || name.len() > 40 {
            return fail(rest, WHAT);
        }
        name = format!("{name}-{}", next.to_lowercase());
        rest = after;
    }
    let spaced = rest.from > input.from && name.len() != first.len();
    let words = input.lexed.words;
    let state_like = words.knows(&name) && !words.is(&name, BoardName);
    if state_like || (spaced && !name.bytes().any(|b| b.is_ascii_digit())) {
        return fail(input.skip(1), WHAT);
    }
    Ok((rest, vec![Statement::Board(name)]))
}

/// A board by its name alone: `dunlin 64 this time`, `dunlin-64 no 4`.
fn board_alone(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let start = after_gap(|i| direct(i, BoardName).map(|_| (i, i.from)))(input);
    let (from, length) = match start {
        Ok((at, from)) => (from, at.concept(BoardName).unwrap_or(0)),
        Err(error) => return Err(error),
    };
    let rest = input.skip(from - input.from + length);
    // `dunlin-64 no 4`: of several.
    let which = preceded(lit(&["no", "nr", "number"]), direct_uint);
    let (rest, _) = opt(which).parse(rest)?;
    if end(rest).is_err() {
        return Err(nom::Err::Error(E::silent(rest)));
    }
    let words: Vec<&str> = (from..from + length)
        .filter(|k| input.lexed.atoms[*k].kind == Kind::Word)
        .map(|k| &*input.lexed.atoms[k].lower)
        .collect();
    Ok((rest, vec![Statement::Board(words.join("-"))]))
}

/// `mains = "mains" hertz | hertz "mains"`: 40 to 70 Hz.
fn mains(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const WHAT: &str = "the mains frequency, as in mains 50 Hz";
    let hertz = |i| {
        let (rest, (f, _)) = want(WHAT, measured(&[Unit::Hertz], Some(Unit::Hertz)))(i)?;
        if (40.0..=70.0).contains(&f) {
            Ok((rest, f))
        } else {
            fail(i, WHAT)
        }
    };
    let (rest, f) =
        alt((preceded(word(Mains), hertz), terminated(hertz, word(Mains)))).parse(input)?;
    Ok((rest, vec![Statement::Mains(f)]))
}

/// `cartridge NAME`; `cartridge port ...` is a result.
fn cartridge(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = direct(input, Cartridge)?;
    let (rest, name) = want("the name of a cartridge profile", identifier)(rest)?;
    let plain_word = input.lexed.words.knows(&name.to_lowercase());
    if end(rest).is_err() || plain_word {
        return fail(rest, "only the name of the cartridge profile");
    }
    Ok((rest, vec![Statement::Cartridge(name.to_string())]))
}

fn obtained(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const HOW: &[(Concept, Obtained)] = &[(Photo, Obtained::Photo), (Typed, Obtained::Typed)];
    let (rest, from) = opt(word(From)).parse(input)?;
    let (rest, how) = want("photo or typed", one_of(HOW))(rest)?;
    // The word alone is enough only when the line holds nothing else.
    if from.is_none() && end(rest).is_err() {
        return Err(nom::Err::Error(E::silent(input)));
    }
    Ok((rest, vec![Statement::Obtained(how)]))
}

/// A type number: a run without spaces that holds a digit, three characters or more.
pub fn part_number(input: Toks<'_>) -> P<'_, String> {
    const WHAT: &str = "the type number of the part, as in fitted U18 8580";
    if let Ok((rest, ())) = after_gap(substitute)(input) {
        return Ok((rest, "SUBSTITUTE".into()));
    }
    // `fitted580` is a word for fitting and a number without the space between them.
    fn named(i: Toks<'_>) -> P<'_, &str> {
        match i.concept(Fitted) {
            Some(_) => fail(i, WHAT),
            None => identifier(i),
        }
    }
    let (rest, text) = after_gap(named)(input).map_err(|e| {
        e.map(|e: E| E {
            wants: vec![WHAT.into()],
            ..e
        })
    })?;
    let lower = text.to_lowercase();
    // What would be read as one more position when it stands behind one is no type number.
    let fits = (3..=24).contains(&text.len())
        && text.bytes().any(|b| b.is_ascii_digit())
        && (!is_position(&lower) || reads_as_type(&lower));
    if fits {
        Ok((rest, text.to_uppercase()))
    } else {
        fail(input, WHAT)
    }
}

/// Letters of positions on a board, of two or more (IEEE Std 315-1975, 22.4, from memory, and what boards bear besides).
const OF_POSITIONS: [&str; 17] = [
    "ic", "vr", "tr", "cr", "fb", "rp", "rn", "cn", "sw", "tp", "led", "ds", "bt", "xf", "jp",
    "rv", "vd",
];

/// Whether a word with the form of a position is a type number: `LM555`, `M4164`, `Z80A`. No board counts to a thousand.
fn reads_as_type(word: &str) -> bool {
    let (letters, digits) = word.split_at(
        word.find(|c: char| c.is_ascii_digit())
            .unwrap_or(word.len()),
    );
    let count = digits.bytes().take_while(u8::is_ascii_digit).count();
    count >= 4
        || (letters == "z" && digits.starts_with("80"))
        || (count == 3 && letters.len() >= 2 && !OF_POSITIONS.contains(&letters))
}

/// A position and a type number that has the form of one, `U3 LM555`; whether a word for fitting stands between them.
fn place_and_type(input: Toks<'_>) -> P<'_, ((Vec<Place>, String), bool)> {
    let (rest, name) = position(input)?;
    let (rest, told) = opt(word(Fitted)).parse(rest)?;
    let typed = rest
        .first()
        .is_some_and(|a| is_position(&a.lower) && reads_as_type(&a.lower));
    if !typed {
        return Err(nom::Err::Error(E::silent(rest)));
    }
    let (rest, part) = part_number(rest)?;
    let pair = (vec![Place { name, pin: None }], part);
    Ok((rest, (pair, told.is_some())))
}

/// `["modern"] ("substitute" | "replica")`: a part of today in place of one that is no longer made.
fn substitute(input: Toks<'_>) -> P<'_, ()> {
    let is = |i: Toks<'_>, words: &[&str]| i.first().is_some_and(|a| words.contains(&&*a.lower));
    let at = if is(input, &["modern"]) {
        input.skip(1)
    } else {
        input
    };
    if is(at, &["substitute", "replica"]) {
        Ok((at.skip(1), ()))
    } else {
        Err(nom::Err::Error(E::silent(input)))
    }
}

/// `fitted = "fitted" (positions part)* | positions ("is a" | "fitted" | "=") part`
fn fitted(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let pair = |i| {
        if let Ok((rest, (pair, _))) = place_and_type(i) {
            return Ok((rest, pair));
        }
        let (rest, places) = positions(i)?;
        let (rest, _) = opt(word(Fitted)).parse(rest)?;
        let (rest, part) = part_number(rest)?;
        Ok((rest, (places, part)))
    };
    let word_first = preceded(word(Fitted), items(pair));
    // `put 6526A in U2`, `fitted 8580 in U18`
    let put = |i| {
        let (rest, ()) = word(Fitted)(i)?;
        let (rest, part) = part_number(rest)?;
        let (rest, ()) = word(InPlace)(rest)?;
        let (rest, places) = positions(rest)?;
        Ok((rest, vec![(places, part)]))
    };
    // `U18 8580 in`
    let in_now = |i| {
        let (rest, places) = positions(i)?;
        let (rest, part) = part_number(rest)?;
        let (rest, ()) = word(InPlace)(rest)?;
        Ok((rest, vec![(places, part)]))
    };
    let place_first = |i| {
        if let Ok((rest, (pair, true))) = place_and_type(i) {
            return Ok((rest, vec![pair]));
        }
        let (rest, places) = positions(i)?;
        let (rest, told) = opt(word(Fitted)).parse(rest)?;
        if told.is_none() {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        let (rest, part) = part_number(rest)?;
        Ok((rest, vec![(places, part)]))
    };
    let part_last = |i| {
        let (rest, part) =
            part_number(i).map_err(|_: nom::Err<E>| nom::Err::Error(E::silent(i)))?;
        let (rest, ()) = word(Fitted)(rest)?;
        let (rest, places) = positions(rest)?;
        Ok((rest, vec![(places, part)]))
    };
    let (rest, pairs) = alt((put, word_first, place_first, part_last, in_now)).parse(input)?;
    let all = pairs.into_iter().flat_map(|(places, part)| {
        places.into_iter().map(move |place| Statement::Fitted {
            place,
            part: part.clone(),
        })
    });
    Ok((rest, all.collect()))
}

/// `empty = ("empty" | "no chip in") ["socket"] positions | ["socket"] positions ("empty" | "missing") | "empty" unit`
///
/// A unit outside the board goes by its name: a case without a keyboard is `empty keyboard`. (`keyboard missing` stays what
/// it was: a keyboard that does nothing.)
fn empty(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const NOT_THERE: &[(Concept, ())] = &[(Empty, ()), (Missing, ())];
    let word_first = preceded(
        (one_of(NOT_THERE), opt(word(Socket))),
        want("the position, as in empty U18", positions),
    );
    let place_first = terminated(positions, (opt(word(Socket)), one_of(NOT_THERE)));
    let no_first = preceded(word(No), positions);
    const UNITS: &[(Concept, &str)] = &[(Keyboard, "KEYBOARD"), (Supply, "SUPPLY")];
    let unit = map(preceded(word(Empty), one_of(UNITS)), |name: &str| {
        vec![Place {
            name: name.into(),
            pin: None,
        }]
    });
    let (rest, places) = alt((unit, word_first, place_first, no_first)).parse(input)?;
    // A missing fuse is a result of its own.
    let fuse =
        |p: &Place| p.name.starts_with('F') && p.name[1..].bytes().all(|b| b.is_ascii_digit());
    if places.iter().any(fuse) {
        return Err(nom::Err::Error(E::silent(input)));
    }
    Ok((rest, vec![Statement::Empty(places)]))
}

/// `intake = "came in" ("faulty" | "untested") | "works, please check" | "untested"`
fn intake<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    const HOW: &[(Concept, Intake)] = &[
        (WorksCheck, Intake::Works),
        (Untested, Intake::Untested),
        (Faulty, Intake::Faulty),
    ];
    const CAME: &[(Concept, Intake)] = &[
        (Faulty, Intake::Faulty),
        (Untested, Intake::Untested),
        (WorksCheck, Intake::Works),
        (Good, Intake::Works),
    ];
    let came = preceded(
        word(CameIn),
        terminated(
            want("faulty, untested, or works please check", one_of(CAME)),
            opt(word(WorksCheck)),
        ),
    );
    let alone = |i: Toks<'a>| {
        let (rest, how) = one_of(HOW)(i)?;
        let told = how != Intake::Faulty && end(rest).is_ok();
        if told {
            Ok((rest, how))
        } else {
            Err(nom::Err::Error(E::silent(i)))
        }
    };
    let works = |i| {
        let (rest, ()) = word(Good)(i)?;
        let (rest, ()) = word(WorksCheck)(rest)?;
        Ok((rest, Intake::Works))
    };
    map(alt((came, works, alone)), |how| {
        vec![Statement::Intake(how)]
    })
    .parse(input)
}

/// `new run = "new run" | "run" uint`
fn new_run<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    // `ok 2nd run now`: at the start of a line it says nothing of a result.
    let opens =
        input.from == 0 && matches!(input.first(), Some(a) if matches!(&*a.lower, "ok" | "right"));
    let started = input.skip(usize::from(opens));
    let rule = |i: Toks<'a>| match word(NewRun)(i) {
        Ok((rest, ())) => Ok((rest, ())),
        Err(_) => map(
            (
                word(Run),
                want("the number of the run, as in run 2", ordinal),
            ),
            |_| (),
        )
        .parse(i),
    };
    let (rest, ()) = rule(started)?;
    if end(rest).is_err() {
        return fail(rest, "`new run` on a line of its own");
    }
    Ok((rest, vec![Statement::NewRun]))
}

/// Everything that is not a result.
pub fn header(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        example("ticket 0412", ticket),
        example("board dunlin-64", board),
        board_alone,
        example("mains 50 Hz", mains),
        example("cartridge dunlin-test", cartridge),
        example("from photo", obtained),
        example("fitted U18 8580", fitted),
        example("empty U18", empty),
        example("came in faulty", intake),
        example("new run", new_run),
    ))
    .parse(input)
}
