//! Numbers with units as people type them on a bench: `4.98`, `4,98 V`, `80mV`, `1.02 MHz`, `4k7`, `12 ohm`.
//!
//! Grammar (one rule a line; spaces between number and unit are free):
//! ```text
//! quantity = number [unit] | digits infix digits [unit]
//! number   = ["+" | "-"] (digits [("." | ",") digits] | "." digits)
//! infix    = "k" | "M" | "R" | "V" | "u" | "n" | "p"
//! unit     = [prefix] ("V" ["AC" | "DC"] | "A" | "ohm" | "Hz" | "F" | "s") | "k" | "M"
//! prefix   = "k" | "M" | "m" | "u" | "n" | "p"
//! ```
//! Nothing is guessed: `1,000 Hz` (one or a thousand?), `2 mohm` (milli or mega?) and `10 mF` are refused.

use nom::branch::alt;
use nom::bytes::complete::take_while1;
use nom::character::complete::{digit1, one_of, space0};
use nom::combinator::{opt, recognize};
use nom::error::{ErrorKind, ParseError};
use nom::{IResult, Parser};

/// The units that a bench uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
    /// Ohms.
    Ohm,
    /// Hertz.
    Hertz,
    /// Farads.
    Farad,
    /// Seconds.
    Second,
}

impl Unit {
    /// How the unit is written.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Volt => "V",
            Unit::Ampere => "A",
            Unit::Ohm => "ohm",
            Unit::Hertz => "Hz",
            Unit::Farad => "F",
            Unit::Second => "s",
        }
    }

    /// The spellings to offer when a unit is missing or wrong.
    pub fn spellings(self) -> &'static str {
        match self {
            Unit::Volt => "V, mV",
            Unit::Ampere => "A, mA",
            Unit::Ohm => "ohm, kohm, Mohm",
            Unit::Hertz => "Hz, kHz, MHz",
            Unit::Farad => "uF, nF, pF",
            Unit::Second => "s, ms",
        }
    }
}

/// A number with what was typed behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The value in the base unit (volts, ohms, hertz, farads, seconds), prefix applied.
    pub value: f64,
    /// The unit, when one was typed.
    pub unit: Option<Unit>,
    /// A prefix without a unit (`10k`): only where one unit alone is possible does it mean something.
    pub bare_prefix: bool,
    /// `V AC` or `V~`.
    pub ac: bool,
    /// Digits were typed behind a decimal point or comma.
    pub decimals: bool,
}

/// What is wrong with a quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityFault {
    /// There is no number here.
    #[error("a number was expected")]
    NoNumber,
    /// A comma before exactly three digits: decimal comma or thousands?
    #[error("`{0}` can be read as a decimal comma or as thousands; write it with a decimal point")]
    Thousands(String),
    /// The unit could mean two things.
    #[error("`{0}` can mean two units; {1}")]
    AmbiguousUnit(String, &'static str),
    /// Text that is not a unit is stuck to the number.
    #[error("`{0}` is not a unit known here")]
    UnknownUnit(String),
    /// A unit of another kind was expected.
    #[error("`{found}` is not what is measured here; expected {expected}")]
    WrongUnit {
        /// The symbol of the unit that was typed.
        found: &'static str,
        /// The spellings that fit.
        expected: String,
    },
    /// The number stands alone and could mean several things.
    #[error("a unit is needed: {0}")]
    MissingUnit(String),
    /// Something follows that does not belong to the quantity.
    #[error("`{0}` follows the number and is not understood")]
    Trailing(String),
}

/// A [`QuantityFault`] and where it was met.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{fault}")]
pub struct QuantityError {
    /// Bytes that were left when the fault was met; [`QuantityError::at`] turns this into a position.
    pub left: usize,
    /// What is wrong.
    pub fault: QuantityFault,
}

impl QuantityError {
    fn new(input: &str, fault: QuantityFault) -> Self {
        Self {
            left: input.len(),
            fault,
        }
    }

    /// Byte position of the fault in the `text` that was given to the parser.
    pub fn at(&self, text: &str) -> usize {
        text.len().saturating_sub(self.left)
    }
}

impl ParseError<&str> for QuantityError {
    fn from_error_kind(input: &str, _: ErrorKind) -> Self {
        Self::new(input, QuantityFault::NoNumber)
    }

    fn append(_: &str, _: ErrorKind, other: Self) -> Self {
        other
    }

    /// Keeps the error that got furthest.
    fn or(self, other: Self) -> Self {
        if other.left <= self.left { other } else { self }
    }
}

type Res<'a, T> = IResult<&'a str, T, QuantityError>;

fn fail<T>(input: &str, fault: QuantityFault) -> Res<'_, T> {
    Err(nom::Err::Error(QuantityError::new(input, fault)))
}

/// `number = ["+" | "-"] (digits [("." | ",") digits] | "." digits)`, kept as text with a decimal point.
fn number(input: &str) -> Res<'_, String> {
    let whole = recognize((digit1, opt((one_of(".,"), digit1))));
    let part = recognize((one_of("."), digit1));
    let (rest, text) = recognize((opt(one_of("+-")), alt((whole, part)))).parse(input)?;
    if text.len() > 24 {
        return fail(input, QuantityFault::NoNumber);
    }
    if let Some((whole, part)) = text.split_once(',')
        && part.len() == 3
        && whole.trim_start_matches(['+', '-']) != "0"
    {
        return fail(input, QuantityFault::Thousands(text.to_string()));
    }
    Ok((rest, text.replace(',', ".")))
}

/// `digits infix digits`: `4k7` is 4.7 k, `4R7` is 4.7 ohm, `3V3` is 3.3 volts.
fn infix(input: &str) -> Res<'_, (String, i32, Option<Unit>)> {
    let (rest, (whole, letter, part)) = (digit1, one_of("RkKMuµnpVv"), digit1).parse(input)?;
    if whole.len() + part.len() > 9 || rest.starts_with(|c: char| c.is_ascii_digit()) {
        return fail(input, QuantityFault::NoNumber);
    }
    let unit = match letter {
        'R' => Some(Unit::Ohm),
        'V' | 'v' => Some(Unit::Volt),
        _ => None,
    };
    Ok((
        rest,
        (format!("{whole}.{part}"), prefix_exponent(letter), unit),
    ))
}

fn prefix_exponent(letter: char) -> i32 {
    match letter {
        'k' | 'K' => 3,
        'M' => 6,
        'm' => -3,
        'u' | 'U' | 'µ' | 'μ' => -6,
        'n' | 'N' => -9,
        'p' | 'P' => -12,
        _ => 0,
    }
}

/// What stands behind a number: exponent of ten, unit, bare prefix, AC.
type Tail = (i32, Option<Unit>, bool, bool);

/// Which unit a word without its prefix is.
fn base_unit(word: &str) -> Option<(Unit, bool)> {
    let unit = match word.to_lowercase().as_str() {
        "v" | "volt" | "volts" | "vdc" | "vpp" => (Unit::Volt, false),
        "vac" | "ac" => (Unit::Volt, true),
        "a" | "amp" | "amps" | "ampere" => (Unit::Ampere, false),
        "ohm" | "ohms" | "ω" => (Unit::Ohm, false),
        "hz" | "hertz" => (Unit::Hertz, false),
        "f" | "farad" => (Unit::Farad, false),
        "s" | "sec" | "secs" | "second" | "seconds" => (Unit::Second, false),
        _ => return None,
    };
    Some(unit)
}

/// `unit`: reads the word behind a number; `Ok(None)` when the word is no unit at all.
fn unit_word(word: &str) -> Result<Option<Tail>, QuantityFault> {
    // `180R`, as printed on resistors.
    if word == "R" {
        return Ok(Some((0, Some(Unit::Ohm), false, false)));
    }
    if let Some((unit, ac)) = base_unit(word) {
        return Ok(Some((0, Some(unit), false, ac)));
    }
    let mut rest = word.chars();
    let Some(first) = rest.next() else {
        return Ok(None);
    };
    let rest = rest.as_str();
    if !"kKMmuUµμnNpP".contains(first) {
        return Ok(None);
    }
    if rest.is_empty() {
        let bare = matches!(first, 'k' | 'K' | 'M');
        return Ok(bare.then_some((prefix_exponent(first), None, true, false)));
    }
    let Some((unit, ac)) = base_unit(rest) else {
        return Ok(None);
    };
    let ambiguous = |hint| Err(QuantityFault::AmbiguousUnit(word.to_string(), hint));
    let exponent = match (first, unit) {
        ('m' | 'M', Unit::Hertz) => 6,
        ('m', Unit::Ohm) => {
            return ambiguous("write `Mohm` for megohms, `0.2 ohm` for parts of an ohm");
        }
        ('m' | 'M', Unit::Farad) => return ambiguous("write `uF` for microfarads"),
        ('M', Unit::Volt | Unit::Ampere | Unit::Second)
            if word.chars().all(|c| !c.is_lowercase()) =>
        {
            -3
        }
        ('M', Unit::Volt | Unit::Ampere | Unit::Second) => {
            return ambiguous("write the prefix small for thousandths");
        }
        _ => prefix_exponent(first),
    };
    Ok(Some((exponent, Some(unit), false, ac)))
}

/// The unit behind a number, if there is one; a word that is no unit is left where it is when a space divides
/// it from the number, and is an error when it is stuck to the number.
fn tail(input: &str) -> Res<'_, Tail> {
    let none = (0, None, false, false);
    let (after, _) = space0(input)?;
    let mut letters = take_while1(|c: char| c.is_alphabetic() || c == 'µ' || c == 'Ω');
    let Ok((rest, word)) = letters.parse(after) as Res<'_, &str> else {
        return Ok((input, none));
    };
    let stuck = after.len() == input.len();
    let ends = !rest.starts_with(|c: char| c.is_alphanumeric() || c == '_');
    // `12 a` and `3 f` in running text are not amperes and farads.
    let doubtful = !stuck && matches!(word, "a" | "f" | "ac" | "AC");
    match unit_word(word) {
        Ok(Some(mut found)) if ends && !doubtful => {
            let mut left = rest;
            if found.1 == Some(Unit::Volt) {
                (left, found.3) = alternating(rest, found.3);
            }
            Ok((left, found))
        }
        Err(fault) if ends => fail(after, fault),
        _ if stuck => fail(after, QuantityFault::UnknownUnit(word.to_string())),
        _ => Ok((input, none)),
    }
}

/// `V~`, `V AC`, `V DC`: what follows a volt sign.
fn alternating(rest: &str, already: bool) -> (&str, bool) {
    let word: Res<'_, &str> = (space0, take_while1(char::is_alphanumeric))
        .parse(rest)
        .map(|(r, (_, w))| (r, w));
    match word {
        Ok((left, w)) if w.eq_ignore_ascii_case("ac") => (left, true),
        Ok((left, w)) if w.eq_ignore_ascii_case("dc") => (left, already),
        _ => match rest.strip_prefix('~') {
            Some(left) => (left, true),
            None => (rest, already),
        },
    }
}

/// Reads a quantity at the start of `input`; what follows is left over.
///
/// # Errors
/// A [`QuantityError`] inside `nom::Err` when there is no number, or when number or unit can be read two ways.
pub fn quantity(input: &str) -> IResult<&str, Quantity, QuantityError> {
    // `alt` would keep the error of the infix form, which always gets further.
    let (rest, (digits, exponent, told)) = match infix(input) {
        Ok(found) => found,
        Err(_) => number.map(|n| (n, 0, None)).parse(input)?,
    };
    let (rest, (more, unit, bare_prefix, ac)) = tail(rest)?;
    if bare_prefix && exponent != 0 {
        return fail(rest, QuantityFault::UnknownUnit("two prefixes".into()));
    }
    let value: f64 = match format!("{digits}e{}", exponent + more).parse() {
        Ok(v) => v,
        Err(_) => return fail(input, QuantityFault::NoNumber),
    };
    let unit = unit.or(told);
    let bare_prefix = bare_prefix || (exponent != 0 && unit.is_none());
    Ok((
        rest,
        Quantity {
            value,
            unit,
            bare_prefix,
            ac,
            decimals: digits.contains('.'),
        },
    ))
}

/// Checks a quantity against the units that make sense where it stands.
///
/// A quantity without a unit takes `default` when there is one.
///
/// # Errors
/// [`QuantityFault::WrongUnit`] or [`QuantityFault::MissingUnit`], both naming the units that are expected.
pub fn expect_unit(
    q: Quantity,
    expected: &[Unit],
    default: Option<Unit>,
) -> Result<(f64, Unit), QuantityFault> {
    let names = || {
        expected
            .iter()
            .map(|u| u.spellings())
            .collect::<Vec<_>>()
            .join(", ")
    };
    match (q.unit, default) {
        (Some(unit), _) if expected.contains(&unit) => Ok((q.value, unit)),
        (Some(unit), _) => Err(QuantityFault::WrongUnit {
            found: unit.symbol(),
            expected: names(),
        }),
        (None, Some(unit)) if !q.bare_prefix || unit == Unit::Ohm => Ok((q.value, unit)),
        (None, _) if q.bare_prefix && expected == [Unit::Ohm] => Ok((q.value, Unit::Ohm)),
        (None, _) => Err(QuantityFault::MissingUnit(names())),
    }
}

/// Reads a whole text as one quantity of one of the `expected` units.
///
/// ```
/// use whichsocket::quantity::{Unit, parse};
/// assert!((parse("4,98 V", &[Unit::Volt], None).unwrap() - 4.98).abs() < 1e-12);
/// assert!(parse("4.98", &[Unit::Volt], None).is_err());
/// ```
///
/// # Errors
/// [`QuantityError`] with the fault and its place.
pub fn parse(text: &str, expected: &[Unit], default: Option<Unit>) -> Result<f64, QuantityError> {
    let text = text.trim();
    let (rest, q) = quantity(text).map_err(|e| match e {
        nom::Err::Error(e) | nom::Err::Failure(e) => e,
        nom::Err::Incomplete(_) => QuantityError::new("", QuantityFault::NoNumber),
    })?;
    if !rest.trim().is_empty() {
        return Err(QuantityError::new(
            rest,
            QuantityFault::Trailing(rest.trim().to_string()),
        ));
    }
    expect_unit(q, expected, default)
        .map(|(v, _)| v)
        .map_err(|fault| QuantityError::new("", fault))
}

/// Writes a value so that [`parse`] gives exactly the same number back: with the prefix that keeps it short
/// where that is exact, else in the base unit.
pub fn show(value: f64, unit: Unit) -> String {
    let plain = format!("{value} {}", unit.symbol());
    let prefixes: &[(i32, &str)] = match unit {
        Unit::Volt | Unit::Ampere | Unit::Second => &[(-3, "m")],
        Unit::Ohm => &[(6, "M"), (3, "k")],
        Unit::Hertz => &[(6, "M"), (3, "k")],
        Unit::Farad => &[(-6, "u"), (-9, "n"), (-12, "p")],
    };
    for &(exponent, prefix) in prefixes {
        let scaled = value / 10f64.powi(exponent);
        let fits = if exponent < 0 {
            value.abs() < 1.0 || unit == Unit::Farad
        } else {
            value.abs() >= 10f64.powi(exponent)
        };
        if !fits || scaled.abs() < 1.0 {
            continue;
        }
        let text = format!("{} {prefix}{}", round_for_show(scaled), unit.symbol());
        if parse(&text, &[unit], None).is_ok_and(|back| back.to_bits() == value.to_bits()) {
            return text;
        }
    }
    plain
}

/// Removes the rounding noise of a division (`80.00000000000001`).
fn round_for_show(scaled: f64) -> f64 {
    format!("{scaled:.9}").parse().unwrap_or(scaled)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn value(text: &str) -> (f64, Option<Unit>) {
        let (rest, q) = quantity(text).expect(text);
        assert_eq!(rest, "", "{text}");
        (q.value, q.unit)
    }

    #[test]
    fn units_and_prefixes_as_typed() {
        for (text, expected, unit) in [
            ("4.98", 4.98, None),
            ("4,98V", 4.98, Some(Unit::Volt)),
            ("80mV", 0.08, Some(Unit::Volt)),
            ("80 MV", 0.08, Some(Unit::Volt)),
            ("1.02 mhz", 1.02e6, Some(Unit::Hertz)),
            ("1.02 MHz", 1.02e6, Some(Unit::Hertz)),
            ("985 KHZ", 985e3, Some(Unit::Hertz)),
            ("-4.9 volts", -4.9, Some(Unit::Volt)),
            ("12 Ω", 12.0, Some(Unit::Ohm)),
            ("3.3kohm", 3300.0, Some(Unit::Ohm)),
            ("2 MΩ", 2e6, Some(Unit::Ohm)),
            ("4k7", 4700.0, None),
            ("4R7", 4.7, Some(Unit::Ohm)),
            ("2u2F", 2.2e-6, Some(Unit::Farad)),
            ("470 µF", 470e-6, Some(Unit::Farad)),
            ("22pF", 22e-12, Some(Unit::Farad)),
            ("0,125 s", 0.125, Some(Unit::Second)),
            ("150 mA", 0.15, Some(Unit::Ampere)),
        ] {
            let (v, u) = value(text);
            assert_eq!(v.to_bits(), f64::to_bits(expected), "{text}: {v}");
            assert_eq!(u, unit, "{text}");
        }
        assert!(quantity("9.4 V AC").unwrap().1.ac);
        assert!(quantity("9vac").unwrap().1.ac);
    }

    #[test]
    fn what_can_be_read_two_ways_is_refused_with_its_place() {
        let fault = |text: &str| {
            parse(text, &[Unit::Volt, Unit::Ohm, Unit::Farad], None)
                .map_err(|e| (e.at(text), e.fault))
        };
        assert!(matches!(
            fault("1,000 V"),
            Err((0, QuantityFault::Thousands(_)))
        ));
        assert!(matches!(
            fault("2 mohm"),
            Err((2, QuantityFault::AmbiguousUnit(..)))
        ));
        assert!(matches!(
            fault("10 mF"),
            Err((3, QuantityFault::AmbiguousUnit(..)))
        ));
        assert!(matches!(
            fault("5xy"),
            Err((1, QuantityFault::UnknownUnit(_)))
        ));
        assert!(matches!(
            fault("5 V 3"),
            Err((3, QuantityFault::Trailing(_)))
        ));
        assert!(matches!(
            fault("3 MHz"),
            Err((_, QuantityFault::WrongUnit { .. }))
        ));
        assert!(matches!(
            fault("3"),
            Err((_, QuantityFault::MissingUnit(_)))
        ));
        assert!(matches!(fault("V"), Err((0, QuantityFault::NoNumber))));
        let message = fault("3").unwrap_err().1.to_string();
        assert_eq!(
            message,
            "a unit is needed: V, mV, ohm, kohm, Mohm, uF, nF, pF"
        );
    }

    #[test]
    fn a_word_after_a_space_is_left_alone() {
        let (rest, q) = quantity("4.98 ok").unwrap();
        assert_eq!((rest, q.unit), (" ok", None));
        let (rest, q) = quantity("3 a bit low").unwrap();
        assert_eq!((rest, q.unit), (" a bit low", None));
    }

    proptest! {
        #![proptest_config(crate::sampled::properties())]

        #[test]
        fn shown_values_read_the_same(mantissa in -999_999i64..999_999, exponent in -9i32..5) {
            let v: f64 = format!("{mantissa}e{exponent}").parse().unwrap();
            for unit in [Unit::Volt, Unit::Ampere, Unit::Ohm, Unit::Hertz, Unit::Second] {
                let text = show(v, unit);
                let back = parse(&text, &[unit], None).unwrap();
                prop_assert_eq!(back.to_bits(), v.to_bits(), "{}", text);
            }
        }

        #[test]
        fn never_panics(text in "\\PC{0,30}") {
            let _ = parse(&text, &[Unit::Volt], None);
        }
    }
}
