//! Numbers: whole, hex, with units; lists and ranges of them; loops.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use crate::quantity::{self, Quantity, QuantityFault, Unit};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::Warmth;
use crate::sheet::token::{Atom, Kind};
use crate::sheet::toks::{E, P, Toks};

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
            // `bit 3: 3 of 20 loops`: the second 3 counts loops.
            if list_sep(rest).is_ok_and(|(i, ())| loops(i).is_ok()) {
                break;
            }
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

/// `hex = ["$" | "0x"] hexdigit+`: digits (upper case kept out) and whether a prefix was typed.
pub fn hex(input: Toks<'_>) -> P<'_, (u32, usize, bool)> {
    after_gap(direct_hex)(input)
}

fn direct_hex(input: Toks<'_>) -> P<'_, (u32, usize, bool)> {
    let (rest, dollar) = opt(mark(&["$", "&"])).parse(input)?;
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
            // `FFh`, `c000h`: letters first, so it must be as long as a byte or an address.
            Some(digits)
                if starts_with_digit(digits)
                    || (matches!(digits.len(), 2 | 4) && !input.lexed.words.knows(&atom.lower)) =>
            {
                (digits, true)
            }
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

/// [`quantity()`], exactly here.
pub fn direct_quantity(input: Toks<'_>) -> P<'_, Quantity> {
    let signed = input
        .first()
        .is_some_and(|a| matches!(&*a.lower, "+" | "-"));
    let first = usize::from(signed);
    // `.5 ohm`; `U7.5` is a pin.
    let point = |a: &Atom| a.lower == "." && (signed || !a.stuck);
    let at = first + usize::from(input.nth(first).is_some_and(point));
    let digit = input
        .nth(at)
        .is_some_and(|a| (at == first || a.stuck) && starts_with_digit(&a.lower));
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

/// `times = "x" uint` as one atom: `pass x5`.
pub fn times(input: Toks<'_>) -> P<'_, u32> {
    let count = input
        .first()
        .and_then(|a| a.lower.strip_prefix('x'))
        .and_then(|n| n.parse().ok());
    match count {
        Some(n) => Ok((input.skip(1), n)),
        None => Err(nom::Err::Error(E::silent(input))),
    }
}

/// Failing loops and loops run; `None` for the first when only the number of loops was said.
pub type Loops = (Option<u32>, u32);

/// [`loops`] or `"x" uint`, behind a result.
pub fn loops_behind(input: Toks<'_>) -> P<'_, Loops> {
    alt((loops, after_gap(|i| map(times, |m| (None, m)).parse(i)))).parse(input)
}

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
