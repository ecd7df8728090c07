//! The small rules that the others are made of: a word for a concept, numbers, lists, places, what is passed over.

use std::borrow::Cow;

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt, value};
use nom::multi::many0;
use nom::sequence::{preceded, terminated};

use crate::quantity::{self, Quantity, QuantityFault, Unit};
use crate::sheet::correct::is_position;
use crate::sheet::statement::{Place, Warmth};
use crate::sheet::token::{E, Kind, P, Toks};
use crate::sheet::vocab::Concept::{self, *};

/// Lists longer than this are slips (`U1-U999`).
const LONGEST_LIST: usize = 80;

/// How many atoms at the start may be passed over: a small word, or a mark that only divides.
fn gap_length(input: Toks) -> Option<usize> {
    let atom = input.first()?;
    if atom.kind == Kind::Mark {
        let glued_digit = input
            .nth(1)
            .is_some_and(|next| next.stuck && starts_with_digit(&next.lower));
        let passes = match &*atom.lower {
            ":" | "," | "=" | "(" | ")" | "[" | "]" | "!" | "\u{2013}" | "\u{2014}" | "'"
            | "\"" | "`" | "~" => true,
            // A minus sign belongs to its number; a point before a digit to a number or a pin.
            "-" => !glued_digit || (atom.stuck && !input.nth(1).is_some_and(|n| n.stuck)),
            "." => !glued_digit && !(atom.stuck && input.nth(1).is_some_and(|n| n.stuck)),
            _ => false,
        };
        return passes.then_some(1);
    }
    // A longer phrase that starts with a small word (`a bit`, `is not`) is not passed over piece by piece.
    let length = input.concept(Filler)?;
    let turned = input.concept(Changer).is_some_and(|l| l >= length);
    (!turned).then_some(length)
}

fn starts_with_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

/// `gap = (filler | mark)*`, then `rule`: tries `rule` first, so that a word that matters is never passed over.
pub fn after_gap<'a, T>(
    mut rule: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        let mut at = input;
        loop {
            match rule(at) {
                Err(nom::Err::Error(error)) => match gap_length(at) {
                    Some(n) => at = at.skip(n),
                    None => return Err(nom::Err::Error(error)),
                },
                done => return done,
            }
        }
    }
}

/// The end of the part; small words, marks and a final point before it are passed over.
pub fn end(input: Toks<'_>) -> P<'_, ()> {
    let mut at = input;
    while let Some(n) = gap_length(at) {
        at = at.skip(n);
    }
    if at.is_empty() {
        Ok((at, ()))
    } else {
        Err(nom::Err::Error(E::want(at, "the end of the statement")))
    }
}

/// The longest phrase for `concept`.
pub fn word<'a>(concept: Concept) -> impl FnMut(Toks<'a>) -> P<'a, ()> {
    after_gap(move |input: Toks<'a>| direct(input, concept))
}

/// The longest phrase for `concept`, exactly here.
pub fn direct(input: Toks<'_>, concept: Concept) -> P<'_, ()> {
    match input.concept(concept) {
        Some(length) => Ok((input.skip(length), ())),
        None => Err(nom::Err::Error(E::silent(input))),
    }
}

/// The longest phrase for any of the concepts of `table`; the earlier entry wins between equals.
pub fn one_of<'a, T: Clone>(table: &'static [(Concept, T)]) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    after_gap(move |input: Toks<'a>| {
        let mut best: Option<(usize, &T)> = None;
        for (concept, result) in table {
            if let Some(length) = input.concept(*concept)
                && best.is_none_or(|(longest, _)| length > longest)
            {
                best = Some((length, result));
            }
        }
        match best {
            Some((length, result)) => Ok((input.skip(length), result.clone())),
            None => Err(nom::Err::Error(E::silent(input))),
        }
    })
}

/// Gives a rule a name for messages: `what` is expected when it does not even start.
pub fn want<'a, T>(
    what: &'static str,
    mut rule: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        rule(input).map_err(|e| {
            e.map(|mut error| {
                if input.explain && error.wants.is_empty() {
                    error.wants.push(Cow::Borrowed(what));
                }
                error
            })
        })
    }
}

/// Fails at `input`, where something stands that is not what was expected.
pub fn fail<'a, T>(input: Toks<'a>, what: impl Into<Cow<'static, str>>) -> P<'a, T> {
    Err(nom::Err::Error(E {
        told: true,
        ..E::want(input, what)
    }))
}

/// [`fail`] with what is wrong with a number.
pub fn fail_number<'a, T>(input: Toks<'a>, fault: &QuantityFault) -> P<'a, T> {
    if !input.explain {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let what = match fault {
        QuantityFault::NoNumber => "a number".into(),
        QuantityFault::Thousands(text) => {
            format!("a decimal point in `{text}`, which can be read two ways")
        }
        QuantityFault::AmbiguousUnit(text, hint) => {
            format!("a unit that means one thing, not `{text}`: {hint}")
        }
        QuantityFault::UnknownUnit(text) | QuantityFault::Trailing(text) => {
            format!("a unit, not `{text}`")
        }
        QuantityFault::WrongUnit { expected, .. } => format!("a value in {expected}"),
        QuantityFault::MissingUnit(units) => format!("a unit behind the number: {units}"),
    };
    fail(input, what)
}

/// Names a line that a rule accepts, for messages about what it does not accept.
pub fn example<'a, T>(
    line: &'static str,
    mut rule: impl Parser<Toks<'a>, Output = T, Error = E>,
) -> impl FnMut(Toks<'a>) -> P<'a, T> {
    move |input| {
        rule.parse(input).map_err(|e| {
            e.map(|error| {
                let fits = !error.wants.is_empty() && (error.told || error.at > input.from);
                E {
                    example: error.example.or(fits.then_some(line)),
                    ..error
                }
            })
        })
    }
}

/// A mark, exactly here.
pub fn mark<'a>(marks: &'static [&'static str]) -> impl FnMut(Toks<'a>) -> P<'a, ()> {
    move |input: Toks<'a>| match input.first() {
        Some(atom) if atom.kind == Kind::Mark && marks.contains(&&*atom.lower) => {
            Ok((input.skip(1), ()))
        }
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// `uint = digit+` as one atom, up to nine digits.
pub fn uint(input: Toks<'_>) -> P<'_, u32> {
    after_gap(direct_uint)(input)
}

/// [`uint`], exactly here.
pub fn direct_uint(input: Toks<'_>) -> P<'_, u32> {
    let parsed = input
        .first()
        .filter(|a| {
            a.kind == Kind::Word
                && a.lower.len() <= 9
                && a.lower.bytes().all(|b| b.is_ascii_digit())
        })
        .and_then(|a| a.lower.parse().ok());
    match parsed {
        // `1.5` is no whole number, `1,5` in a list is two of them.
        Some(n) if !fraction_follows(input) => Ok((input.skip(1), n)),
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

fn fraction_follows(input: Toks) -> bool {
    let point = input.nth(1).is_some_and(|a| a.stuck && a.lower == ".");
    point
        && input
            .nth(2)
            .is_some_and(|a| a.stuck && starts_with_digit(&a.lower))
}

/// `ordinal = uint | "one" | "two" | "three" | "first" | "second" | "third"`
pub fn ordinal(input: Toks<'_>) -> P<'_, u32> {
    const WORDS: &[(Concept, u32)] = &[
        (OneWord, 1),
        (TwoWord, 2),
        (ThreeWord, 3),
        (First, 1),
        (Second, 2),
        (Third, 3),
    ];
    alt((uint, one_of(WORDS))).parse(input)
}

/// What may stand between the items of a list: nothing, `,`, `/`, `&`, `+`, `and`.
pub fn list_sep(input: Toks<'_>) -> P<'_, ()> {
    let marks = mark(&[",", "/", "&", "+", ";"]);
    value((), many0(alt((marks, |i| direct(i, And))))).parse(input)
}

/// `range = "-" | "to" | ".." | "–"`
pub fn range_mark(input: Toks<'_>) -> P<'_, ()> {
    let dots = value((), (mark(&["."]), mark(&["."])));
    alt((mark(&["-", "\u{2013}", "\u{2014}", "~"]), dots, |i| {
        direct(i, To)
    }))
    .parse(input)
}

/// `numbers = item (sep item)*`, `item = uint [range uint]`, each at most `highest`.
pub fn numbers<'a>(
    lowest: u32,
    highest: u32,
    what: &'static str,
) -> impl FnMut(Toks<'a>) -> P<'a, Vec<u32>> {
    move |input| {
        let (mut rest, mut all) = number_item(input, lowest, highest, what)?;
        while let Ok((after, more)) =
            preceded(list_sep, |i| number_item(i, lowest, highest, what)).parse(rest)
        {
            all.extend(more);
            rest = after;
            if all.len() > LONGEST_LIST {
                return fail(rest, what);
            }
        }
        Ok((rest, all))
    }
}

fn number_item<'a>(
    input: Toks<'a>,
    lowest: u32,
    highest: u32,
    what: &'static str,
) -> P<'a, Vec<u32>> {
    const WORDS: &[(Concept, u32)] = &[(OneWord, 1), (TwoWord, 2), (ThreeWord, 3)];
    let (rest, first) = want(what, |i| alt((uint, one_of(WORDS))).parse(i))(input)?;
    let (rest, last) = opt(preceded(range_mark, direct_uint)).parse(rest)?;
    if last.is_none() && breaks_off(rest) {
        return fail(rest, "the end of the range");
    }
    let last = last.unwrap_or(first);
    if first < lowest || last > highest || first > last {
        return fail(input, what);
    }
    Ok((rest, (first..=last).collect()))
}

/// Whether a hyphen stands here that is stuck to what was before and to nothing behind: `A-`, `0- bad`.
pub fn breaks_off(input: Toks) -> bool {
    input.first().is_some_and(|a| a.lower == "-" && a.stuck)
        && !input.nth(1).is_some_and(|a| a.stuck)
}

/// `items = item (sep item)*` of any rule.
pub fn items<'a, T>(
    mut item: impl FnMut(Toks<'a>) -> P<'a, T>,
) -> impl FnMut(Toks<'a>) -> P<'a, Vec<T>> {
    move |input| {
        let (mut rest, first) = item(input)?;
        let mut all = vec![first];
        loop {
            let (after, ()) = list_sep(rest)?;
            match item(after) {
                Ok((after, next)) if after.from > rest.from && all.len() < LONGEST_LIST => {
                    all.push(next);
                    rest = after;
                }
                Err(nom::Err::Error(_)) => return Ok((rest, all)),
                Ok((after, _)) => return fail(after, "a shorter list"),
                Err(other) => return Err(other),
            }
        }
    }
}

/// `hex = ["$" | "0x"] hexdigit+`: digits (upper case kept out) and whether a prefix was typed.
pub fn hex(input: Toks<'_>) -> P<'_, (u32, usize, bool)> {
    after_gap(direct_hex)(input)
}

fn direct_hex(input: Toks<'_>) -> P<'_, (u32, usize, bool)> {
    let (rest, dollar) = opt(mark(&["$"])).parse(input)?;
    let Some(atom) = rest
        .first()
        .filter(|a| a.kind == Kind::Word && (dollar.is_none() || a.stuck))
    else {
        return Err(nom::Err::Error(E::silent(input)));
    };
    let (digits, prefixed) = match atom.lower.strip_prefix("0x") {
        Some(digits) => (digits, true),
        // The h behind a hex number is as common as the sign before it.
        None => match atom.lower.strip_suffix('h') {
            Some(digits) if starts_with_digit(digits) => (digits, true),
            _ => (&*atom.lower, dollar.is_some()),
        },
    };
    // `dead` and `bad` are words before they are hex.
    let is_word = !prefixed
        && digits.len() > 2
        && digits.bytes().all(|b| b.is_ascii_alphabetic())
        && input.lexed.words.knows(digits);
    let fits = (1..=6).contains(&digits.len())
        && digits.bytes().all(|b| b.is_ascii_hexdigit())
        && !is_word;
    match u32::from_str_radix(digits, 16) {
        Ok(n) if fits && !fraction_follows(rest) => Ok((rest.skip(1), (n, digits.len(), prefixed))),
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// A number with its unit at the start of the rest; what is wrong with it is said at its place.
pub fn quantity(input: Toks<'_>) -> P<'_, Quantity> {
    after_gap(direct_quantity)(input)
}

/// [`quantity`], exactly here.
pub fn direct_quantity(input: Toks<'_>) -> P<'_, Quantity> {
    let signed = input
        .first()
        .is_some_and(|a| matches!(&*a.lower, "+" | "-"));
    let digit = input
        .nth(usize::from(signed))
        .is_some_and(|a| starts_with_digit(&a.lower));
    if !digit || (signed && !input.nth(1).is_some_and(|a| a.stuck)) {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let text = input.rest_text();
    let (left, found) = match quantity::quantity(text) {
        Ok(found) => found,
        Err(nom::Err::Error(e) | nom::Err::Failure(e)) => {
            return fail_number(input, &e.fault);
        }
        Err(_) => return Err(nom::Err::Error(E::silent(input))),
    };
    let stop = input.first().map_or(0, |a| a.span.start) + text.len() - left.len();
    let mut rest = input;
    while rest.first().is_some_and(|a| a.span.end <= stop) {
        rest = rest.skip(1);
    }
    // The number must end where an atom ends.
    if rest.first().is_some_and(|a| a.span.start < stop) {
        return fail(input, "a number with its unit");
    }
    Ok((rest, found))
}

/// A quantity in one of the `expected` units; without a unit it is in `default`, if there is one.
pub fn measured<'a>(
    expected: &'static [Unit],
    default: Option<Unit>,
) -> impl FnMut(Toks<'a>) -> P<'a, (f64, Unit)> {
    move |input| {
        let (rest, q) = quantity(input)?;
        match quantity::expect_unit(q, expected, default) {
            Ok(found) => Ok((rest, found)),
            Err(fault) => fail_number(input, &fault),
        }
    }
}

/// `position = letter{1,3} digit{1,4} [letter]` as one atom, `U 17` with its letters apart, or another name.
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

fn position_range(first: &str, last: &str) -> Option<Vec<String>> {
    let cut = |name: &str| {
        let at = name.find(|c: char| c.is_ascii_digit())?;
        Some((name[..at].to_string(), name[at..].parse::<u32>().ok()?))
    };
    let ((letters, from), (other, to)) = (cut(first)?, cut(last)?);
    let fits = letters == other && from < to && (to - from) < 32;
    fits.then(|| (from..=to).map(|n| format!("{letters}{n}")).collect())
}

/// `pin = digit{1,2} | letter [digit]`: `40` of `U7.40`, `C` of `CN6.C`.
fn pin_name(input: Toks<'_>) -> P<'_, String> {
    let fits = |text: &str| {
        let digits = text.bytes().all(|b| b.is_ascii_digit()) && text.len() <= 3;
        let letter = text.len() <= 2
            && text.starts_with(|c: char| c.is_ascii_alphabetic())
            && text[1..].bytes().all(|b| b.is_ascii_digit());
        digits || letter
    };
    match input
        .first()
        .filter(|a| a.kind == Kind::Word && fits(&a.lower))
    {
        Some(atom) => Ok((input.skip(1), atom.lower.to_uppercase())),
        None => fail(input, "a pin such as 40"),
    }
}

/// `place = position "." pin | position "pin" pin | "pin" pin position`
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
        let pin = rest
            .first()
            .and_then(|a| a.lower.strip_prefix('p'))
            .filter(|p| p.len() <= 2 && p.bytes().all(|b| b.is_ascii_digit()));
        match pin {
            Some(pin) if !pin.is_empty() => Ok((
                rest.skip(1),
                Place {
                    name,
                    pin: Some(pin.to_string()),
                },
            )),
            _ => Err(nom::Err::Error(E::silent(rest))),
        }
    };
    let pin_first = map(
        (word(Pin), after_gap(pin_name), position),
        |((), pin, name)| Place {
            name,
            pin: Some(pin),
        },
    );
    alt((dotted, worded, short, pin_first)).parse(input)
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
        Some(_) => {
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
        None => fail(rest, "the name of a line"),
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

/// `warmth = "cold" | "when cold" | "warm" | "after warm-up" ...`
pub fn warmth(input: Toks<'_>) -> P<'_, Warmth> {
    const TABLE: &[(Concept, Warmth)] = &[
        (WhenCold, Warmth::Cold),
        (WhenWarm, Warmth::Warm),
        (Cold, Warmth::Cold),
        (Warm, Warmth::Warm),
    ];
    one_of(TABLE)(input)
}

/// Failing loops and loops run; `None` for the first when only the number of loops was said.
pub type Loops = (Option<u32>, u32);

/// `loops = uint ("of" | "/") uint "loops" | uint "loops"`
pub fn loops(input: Toks<'_>) -> P<'_, Loops> {
    let slash = after_gap(mark(&["/"]));
    let both = (uint, alt((slash, word(Of))), uint, word(Loop));
    let (rest, found) = alt((
        map(both, |(n, (), m, ())| (Some(n), m)),
        map((uint, word(Loop)), |(m, ())| (None, m)),
    ))
    .parse(input)?;
    match found {
        (Some(n), m) if n > m => fail(input, "failing loops of loops run, as in 3 of 20 loops"),
        (_, 0) => fail(input, "how many loops were run, as in 3 of 20 loops"),
        fine => Ok((rest, fine)),
    }
}
