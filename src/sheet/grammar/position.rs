//! Places: positions of parts, pins, lines by name.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::{preceded, terminated};

use super::base::*;
use crate::sheet::concept::Concept::*;
use crate::sheet::concept::Concepts;
use crate::sheet::correct::is_position;
use crate::sheet::statement::Place;
use crate::sheet::token::{Atom, Kind};
use crate::sheet::toks::{E, P, Toks};

/// `position = letter{1,3} digit{1,4} [letter]` as one atom, `U 17` with its letters apart, another name, or any in quotes:
/// `"LOOP-SERIAL"`.
pub fn position(input: Toks<'_>) -> P<'_, String> {
    after_gap(direct_position)(input)
}

/// [`position`], exactly here.
pub fn direct_position(input: Toks<'_>) -> P<'_, String> {
    if let Some(found) = input
        .lexed
        .found(input.from)
        .iter()
        .find(|m| m.concept.is_none() && !input.is_empty())
    {
        return Ok((
            input.skip(found.len),
            input.lexed.words.name(found.name).to_string(),
        ));
    }
    if let Some(quoted) = input.first().filter(|a| a.kind == Kind::Quoted) {
        let span = quoted.span;
        let name = input.lexed.text[span.start..span.end]
            .trim_matches('"')
            .trim();
        if !name.is_empty()
            && name
                .chars()
                .all(|c| c.is_alphanumeric() || "-_".contains(c))
        {
            return Ok((input.skip(1), name.to_uppercase()));
        }
    }
    let Some(atom) = input.first().filter(|a| a.kind == Kind::Word) else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    if is_position(&atom.lower) {
        return Ok((input.skip(1), atom.lower.to_uppercase()));
    }
    let apart = matches!(&*atom.lower, "u" | "ic" | "cn");
    let number = input
        .nth(1)
        .filter(|n| !n.stuck && n.lower.len() <= 3 && n.lower.bytes().all(|b| b.is_ascii_digit()));
    match number {
        Some(number) if apart => Ok((
            input.skip(2),
            format!("{}{}", atom.lower.to_uppercase(), number.lower),
        )),
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// `positions = item (sep item)*`, `item = position [range (position | uint)]`: `U9-U12` is four of them.
pub fn positions(input: Toks<'_>) -> P<'_, Vec<Place>> {
    let plain = |name: String| Place { name, pin: None };
    let item = |i| {
        let (rest, first) = opt(word(Socket))
            .and(want("a position such as U17", position))
            .map(|(_, p)| p)
            .parse(i)?;
        let Ok((after, last)) = preceded(range_mark, direct_position).parse(rest) else {
            return Ok((rest, vec![plain(first)]));
        };
        match position_range(&first, &last) {
            Some(all) => Ok((after, all.into_iter().map(plain).collect())),
            None => fail(rest, "a range such as U9-U12"),
        }
    };
    map(items(item), |all| all.into_iter().flatten().collect()).parse(input)
}

/// `U9-U12`, `U9-12`, `D7-D0`: the names from one to the other, at least two, the lowest number first.
pub fn named_range(input: Toks<'_>) -> P<'_, Vec<String>> {
    let (rest, first) = direct_position(input)?;
    let (rest, ()) = range_mark(rest)?;
    let letters = first.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = map(direct_uint, |n| format!("{letters}{n}"));
    let (rest, last) = alt((direct_position, number)).parse(rest)?;
    match position_range(&first, &last).or_else(|| position_range(&last, &first)) {
        Some(all) => Ok((rest, all)),
        None => silent(input),
    }
}

/// `U9`, `U12`: all from the first to the last.
fn position_range(first: &str, last: &str) -> Option<Vec<String>> {
    let cut = |name: &str| {
        let at = name.find(|c: char| c.is_ascii_digit())?;
        Some((name[..at].to_string(), name[at..].parse::<u32>().ok()?))
    };
    let ((letters, from), (other, to)) = (cut(first)?, cut(last)?);
    let fits = letters == other && from < to && (to - from) < 32;
    fits.then(|| (from..=to).map(|n| format!("{letters}{n}")).collect())
}

/// `pin = digit{1,2} | letter [digit] | letter letter | "shell"`: `40` of `U7.40`, `C` of `CN6.C`, `MP` of `J7.MP`, the metal of
/// `CN8.shell`; no word of a result.
pub fn pin_name(input: Toks<'_>) -> P<'_, String> {
    let fits = |text: &str| {
        let digits = text.bytes().all(|b| b.is_ascii_digit()) && text.len() <= 3;
        let letter = text.len() <= 2
            && text.starts_with(|c: char| c.is_ascii_alphabetic())
            && text[1..].bytes().all(|b| b.is_ascii_digit());
        digits || letter
    };
    let two_letters = |a: &Atom| {
        let letters = a.lower.bytes().all(|b| b.is_ascii_alphabetic());
        a.stuck && a.lower.len() == 2 && letters && a.heads == Concepts::default()
    };
    let metal = |a: &Atom| a.stuck && a.lower == "shell";
    match input
        .first()
        .filter(|a| a.kind == Kind::Word && (fits(&a.lower) || two_letters(a) || metal(a)))
    {
        Some(atom) => Ok((input.skip(1), atom.lower.to_uppercase())),
        None => fail(input, "a pin such as 40"),
    }
}

/// `p40`: a pin by its number.
pub fn short_pin(input: Toks<'_>) -> P<'_, u32> {
    let number = input
        .first()
        .and_then(|a| a.lower.strip_prefix('p'))
        .filter(|n| (1..=2).contains(&n.len()) && n.bytes().all(|b| b.is_ascii_digit()));
    match number.and_then(|n| n.parse().ok()) {
        Some(pin) => Ok((input.skip(1), pin)),
        None => Err(nom::Err::Error(E::silent(input))),
    }
}

/// `place = position ("." | "-" | "/") pin | position "pin" pin | "pin" pin position | type "pin" pin`
pub fn pin_place(input: Toks<'_>) -> P<'_, Place> {
    let dotted = |i| {
        let (rest, name) = position(i)?;
        if !rest.first().is_some_and(|a| a.stuck && a.lower == ".")
            || !rest.nth(1).is_some_and(|a| a.stuck)
        {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        map(pin_name, |pin| Place {
            name: name.clone(),
            pin: Some(pin),
        })
        .parse(rest.skip(1))
    };
    // `U14-3`, `L10/9`: a number alone behind the mark; a range of parts names both ends.
    let dashed = |i| {
        let (rest, name) = position(i)?;
        let joined = rest
            .first()
            .is_some_and(|a| a.stuck && matches!(&*a.lower, "-" | "/"));
        let number = rest.nth(1).is_some_and(|a| {
            a.stuck && a.lower.len() <= 2 && a.lower.bytes().all(|b| b.is_ascii_digit())
        });
        if !joined || !number {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        map(pin_name, |pin| Place {
            name: name.clone(),
            pin: Some(pin),
        })
        .parse(rest.skip(1))
    };
    let worded = map(
        (position, word(Pin), after_gap(pin_name)),
        |(name, (), pin)| Place {
            name,
            pin: Some(pin),
        },
    );
    // `U7 p40`
    let short = |i| {
        let (rest, name) = position(i)?;
        // `pc1 p15` is a wire of a port, and its pin.
        let of_port = |w: &&str| name.strip_prefix(*w).is_some_and(|n| n.len() == 1);
        if ["PA", "PB", "PC"].iter().any(of_port) {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        map(short_pin, |pin| Place {
            name: name.clone(),
            pin: Some(pin.to_string()),
        })
        .parse(rest)
    };
    // `8255 pin 16`: a part by its type, where there is one of that type.
    let typed = map(
        (
            super::haste_hands::type_number,
            word(Pin),
            after_gap(pin_name),
        ),
        |(name, (), pin)| Place {
            name,
            pin: Some(pin),
        },
    );
    let pin_first = map(
        (word(Pin), after_gap(pin_name), position),
        |((), pin, name)| Place {
            name,
            pin: Some(pin),
        },
    );
    alt((dotted, dashed, worded, short, pin_first, typed)).parse(input)
}

/// `several pins = position ("pins" | "legs") numbers`
pub fn several_pins(input: Toks<'_>) -> P<'_, Vec<Place>> {
    let (rest, name) = position(input)?;
    let (rest, ()) = word(Pin)(rest)?;
    if !matches!(&*input.lexed.atoms[rest.from - 1].lower, "pins" | "legs") {
        return Err(nom::Err::Error(E::silent(rest)));
    }
    let (rest, pins) = numbers(1, 99, "pin numbers")(rest)?;
    Ok((
        rest,
        pins.into_iter()
            .map(|pin| Place {
                name: name.clone(),
                pin: Some(pin.to_string()),
            })
            .collect(),
    ))
}

/// `line = ["line"] name`: a line by its name. Without the word `line`, only a name that looks like one: with an
/// underscore or a leading slash, letters and a number (`A12`), or one of the vocabulary's line names.
pub fn line_place(input: Toks<'_>) -> P<'_, Place> {
    let told = preceded(word(Line), any_name);
    map(
        alt((told, terminated(after_gap(line_name), opt(word(Line))))),
        |name| Place { name, pin: None },
    )
    .parse(input)
}

fn any_name(input: Toks<'_>) -> P<'_, String> {
    let (rest, slash) = opt(mark(&["/", "*"])).parse(input)?;
    match rest.first().filter(|a| a.kind == Kind::Word) {
        Some(a) if !a.lower.bytes().all(|b| b.is_ascii_digit()) => {
            let name = rest.typed().to_uppercase();
            Ok((
                rest.skip(1),
                if slash.is_some() {
                    format!("/{name}")
                } else {
                    name
                },
            ))
        }
        _ => fail(rest, "the name of a line"),
    }
}

/// `C000`, `D800`: letter and three digits may be a position or an address; one word more is needed.
pub fn may_be_address(name: &str) -> bool {
    name.len() == 4
        && name.starts_with(|c: char| ('A'..='F').contains(&c))
        && name[1..].bytes().all(|b| b.is_ascii_digit())
}

/// What to say about [`may_be_address`].
pub const ADDRESS_OR_PLACE: &str =
    "`memory $C000 bad` for an address; a position may be followed by how it looks or feels only";

fn line_name(input: Toks<'_>) -> P<'_, String> {
    if let Some(length) = input.concept(LineName) {
        let span = input.lexed.span(input.from, input.from + length);
        let name = input.lexed.text[span.start..span.end]
            .to_uppercase()
            .replace([' ', '-'], "_");
        // `phase 2`, `phi 2`
        let name = name.replace("PHASE", "PHI").replace("PHI_", "PHI");
        return Ok((input.skip(length), name));
    }
    let slash = input.first().is_some_and(|a| a.lower == "/" && !a.stuck);
    let looks_so = input
        .first()
        .is_some_and(|a| a.kind == Kind::Word && a.lower.len() >= 3 && a.lower.contains('_'));
    if slash || looks_so {
        return any_name(input);
    }
    let (rest, name) = direct_position(input)?;
    let letters = name
        .trim_end_matches(|c: char| c.is_ascii_digit())
        .to_lowercase();
    if input.lexed.words.is(&letters, PartLetters) {
        return Err(nom::Err::Error(E::want(
            rest,
            "which pin: `.40` or `pin 40`",
        )));
    }
    if may_be_address(&name) {
        return fail(rest, ADDRESS_OR_PLACE);
    }
    Ok((rest, name))
}
