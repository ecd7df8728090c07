//! A line about a capacitor: `C88 100uF/16V/M: 71 uF, esr 2.1, loss 6 %`.
//!
//! ```text
//! entry    = [NAME] [marking] [":" measured ("," measured)*]
//! marking  = (FARADS | CODE) ["/" VOLTS] ["/" LETTER] ["class" CLASS] | "np"
//! measured = FARADS | "esr" OHMS | "loss" NUMBER "%" | "leakage" AMPERES | "bulged" | "leaking" | "old"
//! ```

use super::limits::is_letter;
use crate::quantity::{Quantity, QuantityFault, Unit, quantity, show};
pub use crate::sheet::{CapClass as Class, CapReading, Marking};

/// Why a line is not read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what}; {hint}")]
pub struct Fault {
    /// What is wrong.
    pub what: String,
    /// What to type.
    pub hint: String,
}

fn fault<T>(what: impl Into<String>, hint: impl Into<String>) -> Result<T, Fault> {
    Err(Fault {
        what: what.into(),
        hint: hint.into(),
    })
}

/// A line that is read, for messages.
pub const EXAMPLE: &str = "cap C88 100uF/16V: 71 uF, esr 2.1, loss 6 %";

/// Smallest and largest capacitance that such a board holds, farads (guess: a trimmer's share, and a big reservoir).
const FARADS: (f64, f64) = (0.1e-12, 0.05);
/// Rated volts that are made.
const VOLTS: (f64, f64) = (1.0, 1000.0);
/// More than this times its value no capacitor reads.
const MOST_OF_VALUE: f64 = 20.0;
/// Largest series resistance that a meter tells from open, ohms (guess).
const MOST_OHMS: f64 = 1e6;

/// Reads a line: the name of the capacitor, when there is one, and the rest.
///
/// # Errors
/// What is wrong and what to type: a unit that is none or absurd, a number without its unit.
pub fn parse(text: &str) -> Result<(Option<String>, CapReading), Fault> {
    let mut reader = Reader {
        words: chunks(text),
        at: 0,
        out: CapReading::default(),
        volts: None,
        letter: None,
        class: None,
        farads: None,
        measured: false,
    };
    let name = reader.name();
    while reader.at < reader.words.len() {
        reader.next()?;
    }
    let reading = reader.done()?;
    Ok((name, reading))
}

/// Words, numbers and the marks that count; `/`, `,` and brackets only divide.
fn chunks(text: &str) -> Vec<&str> {
    let mut out = Vec::new();
    let bytes = text.as_bytes();
    let mut start = None;
    for (i, c) in text.char_indices() {
        let digit_at =
            |k: Option<usize>| k.and_then(|k| bytes.get(k)).is_some_and(u8::is_ascii_digit);
        // A decimal comma stands between digits.
        let decimal = matches!(c, '.' | ',') && digit_at(i.checked_sub(1)) && digit_at(Some(i + 1));
        let part = c.is_alphanumeric()
            || decimal
            || (c == '-' && digit_at(Some(i + 1)) && start.is_none());
        if part {
            start.get_or_insert(i);
            continue;
        }
        out.extend(start.take().map(|s| &text[s..i]));
        if matches!(c, ':' | '%') {
            out.push(&text[i..i + 1]);
        }
    }
    out.extend(start.map(|s| &text[s..]));
    out
}

struct Reader<'t> {
    words: Vec<&'t str>,
    at: usize,
    out: CapReading,
    farads: Option<f64>,
    volts: Option<f64>,
    letter: Option<char>,
    class: Option<Class>,
    /// What follows was measured.
    measured: bool,
}

impl<'t> Reader<'t> {
    fn peek(&self, ahead: usize) -> Option<&'t str> {
        self.words.get(self.at + ahead).copied()
    }

    /// The designator: letters and digits, neither a number nor a word with a meaning.
    fn name(&mut self) -> Option<String> {
        if self
            .peek(0)
            .is_some_and(|w| matches!(&*w.to_lowercase(), "cap" | "capacitor"))
        {
            self.at += 1;
        }
        let word = self.peek(0)?;
        let digits = word.trim_start_matches(|c: char| c.is_ascii_alphabetic());
        let letters = word.len() - digits.len();
        let is = (1..=3).contains(&letters)
            && !digits.is_empty()
            && digits.bytes().all(|b| b.is_ascii_digit());
        if is {
            self.at += 1;
        }
        is.then(|| word.to_uppercase())
    }

    fn next(&mut self) -> Result<(), Fault> {
        let Some(word) = self.peek(0) else {
            return Ok(());
        };
        if word.starts_with(|c: char| c.is_ascii_digit() || c == '-') {
            return self.number();
        }
        self.at += 1;
        let lower = word.to_lowercase();
        match &*lower {
            ":" | "is" | "measured" | "meas" | "reads" | "now" => self.measured = true,
            "esr" => self.out.esr = Some(self.value(Unit::Ohm, "ohms, as in esr 2.1")?),
            "loss" | "vloss" | "loses" => self.out.loss = Some(self.percent()?),
            "leakage" => {
                self.out.leakage =
                    Some(self.value(Unit::Ampere, "the current, as in leakage 12 uA")?)
            }
            "bulged" | "bulging" | "swollen" => self.out.looks = Some("bulged".into()),
            "leaking" | "leaked" | "leaks" => self.out.looks = Some("leaking".into()),
            "old" | "original" | "aged" => self.out.old = true,
            "np" | "bp" | "nonpolar" | "bipolar" => self.class = Some(Class::C),
            "film" | "ceramic" | "foil" => self.class = Some(Class::Film),
            "class" | "series" => self.class = Some(self.class_letter()?),
            "ok" | "good" | "bad" | "and" | "looks" | "years" | "c" => {}
            _ if word.len() == 1
                && is_letter(word.chars().next().unwrap_or(' ').to_ascii_uppercase())
                && !self.measured =>
            {
                self.letter = word.chars().next().map(|c| c.to_ascii_uppercase());
            }
            _ => {
                return fault(
                    format!("`{word}` is not known of a capacitor"),
                    format!("write as in {EXAMPLE}"),
                );
            }
        }
        Ok(())
    }

    fn class_letter(&mut self) -> Result<Class, Fault> {
        let word = self.peek(0).unwrap_or("").to_lowercase();
        self.at += 1;
        Ok(match &*word {
            "a" => Class::A,
            "b" => Class::B,
            "c" => Class::C,
            "d" => Class::D,
            _ => {
                return fault(
                    format!("class `{word}` is not known"),
                    "the classes are A (105 °C), B (85 °C), C (non-polar), D (low leakage)",
                );
            }
        })
    }

    /// A number with its unit, which may be the next word.
    fn quantity(&mut self) -> Result<Quantity, Fault> {
        let Some(word) = self.peek(0) else {
            return fault("a number is missing", format!("write as in {EXAMPLE}"));
        };
        let joined = self
            .peek(1)
            .filter(|w| w.chars().all(char::is_alphabetic))
            .map(|unit| format!("{word} {unit}"));
        let whole = |text: &str| match quantity(text) {
            Ok(("", q)) => Ok(q),
            Ok((rest, _)) => Err(QuantityFault::Trailing(rest.trim().to_string())),
            Err(nom::Err::Error(e) | nom::Err::Failure(e)) => Err(e.fault),
            Err(nom::Err::Incomplete(_)) => Err(QuantityFault::NoNumber),
        };
        let (taken, found) = match joined.as_deref().map(&whole) {
            Some(Ok(q)) => (2, Ok(q)),
            // `100 mF`: what is wrong is the unit, not the number.
            Some(Err(e @ QuantityFault::AmbiguousUnit(..))) => (2, Err(e)),
            _ => (1, whole(word)),
        };
        self.at += taken;
        match found {
            Ok(q) => Ok(q),
            Err(QuantityFault::AmbiguousUnit(unit, hint)) => {
                fault(format!("`{unit}` can mean two units"), hint)
            }
            Err(e) => fault(format!("`{word}`: {e}"), format!("write as in {EXAMPLE}")),
        }
    }

    /// A number in this unit, which may be left out.
    fn value(&mut self, unit: Unit, what: &str) -> Result<f64, Fault> {
        let q = self.quantity()?;
        let wrong = q.unit.is_some_and(|u| u != unit) || q.bare_prefix && unit != Unit::Ohm;
        let most = if unit == Unit::Ohm { MOST_OHMS } else { 1.0 };
        if wrong || (q.unit.is_none() && unit != Unit::Ohm) || !(0.0..=most).contains(&q.value) {
            return fault(
                format!("{} is not what is measured here", shown(&q)),
                format!("type {what}"),
            );
        }
        Ok(q.value)
    }

    fn percent(&mut self) -> Result<f64, Fault> {
        let q = self.quantity()?;
        if self.peek(0) == Some("%") {
            self.at += 1;
        }
        if q.unit.is_some() || q.bare_prefix || !(0.0..=100.0).contains(&q.value) {
            return fault(
                format!("a loss of {} cannot be", shown(&q)),
                "type per cent, as in loss 6 %",
            );
        }
        Ok(q.value)
    }

    /// A number that no word stands before: its unit says what it is.
    fn number(&mut self) -> Result<(), Fault> {
        let word = self.peek(0).unwrap_or("");
        // `40 years`, `105 C`: age and temperature decide nothing.
        if let Some("years" | "C") = self
            .peek(1)
            .filter(|_| word.bytes().all(|b| b.is_ascii_digit()))
        {
            self.out.old |= self.peek(1) == Some("years");
            self.at += 2;
            return Ok(());
        }
        if let Some((value, letter)) = farads_as_printed(word) {
            self.at += 1;
            self.letter = letter.or(self.letter);
            return self.capacitance(value);
        }
        let q = self.quantity()?;
        match q.unit {
            Some(Unit::Farad) => self.capacitance(q.value),
            Some(Unit::Volt) if !self.measured => {
                if !(VOLTS.0..=VOLTS.1).contains(&q.value) {
                    return fault(
                        format!("rated {} cannot be", shown(&q)),
                        "type the volts printed on it, as in 100uF/16V",
                    );
                }
                self.volts = Some(q.value);
                Ok(())
            }
            Some(Unit::Ohm) if self.measured => {
                self.out.esr = Some(q.value);
                Ok(())
            }
            Some(Unit::Ampere) if self.measured => {
                self.out.leakage = Some(q.value);
                Ok(())
            }
            None if self.peek(0) == Some("%") && self.measured => {
                self.at -= 1;
                self.out.loss = Some(self.percent()?);
                Ok(())
            }
            None => fault(
                format!("`{word}` has no unit"),
                format!("type the unit: uF, nF, pF, V, ohm, % (as in {EXAMPLE})"),
            ),
            Some(_) => fault(
                format!("{} says nothing of a capacitor here", shown(&q)),
                format!("write as in {EXAMPLE}"),
            ),
        }
    }

    fn capacitance(&mut self, farads: f64) -> Result<(), Fault> {
        let zero = self.measured && farads == 0.0;
        if !zero && !(FARADS.0..=FARADS.1).contains(&farads) {
            let hint = format!(
                "did you mean {}? Electrolytics are in uF, small ones in nF and pF",
                show(farads * 1e-6, Unit::Farad)
            );
            return fault(
                format!("{} cannot be on such a board", show(farads, Unit::Farad)),
                hint,
            );
        }
        if self.measured {
            self.out.farads = Some(farads);
        } else if self.farads.replace(farads).is_some() {
            return fault(
                "two values before the colon",
                format!("put what was measured behind it: {EXAMPLE}"),
            );
        }
        Ok(())
    }

    fn done(self) -> Result<CapReading, Fault> {
        let mut out = self.out;
        out.marking = self.farads.map(|farads| Marking {
            farads,
            volts: self.volts,
            letter: self.letter,
            class: self.class,
        });
        if out.marking.is_none()
            && (self.volts.is_some() || self.letter.is_some() || self.class.is_some())
        {
            return fault(
                "its value is missing",
                format!("type what is printed on it: {EXAMPLE}"),
            );
        }
        if let (Some(m), Some(v)) = (out.marking, out.farads)
            && v > MOST_OF_VALUE * m.farads
        {
            let (v, m) = (show(v, Unit::Farad), show(m.farads, Unit::Farad));
            return fault(
                format!("{v} measured of {m} cannot be"),
                "look at the units of both",
            );
        }
        if out == CapReading::default() {
            return fault("nothing is said of it", format!("write as in {EXAMPLE}"));
        }
        Ok(out)
    }
}

fn shown(q: &Quantity) -> String {
    q.unit
        .map_or_else(|| q.value.to_string(), |u| show(q.value, u))
}

/// `100u`, `4n7J`, `104K`: a value as it is printed, with its letter. Three digits and a letter are two digits and a number of zeros,
/// in picofarads.
fn farads_as_printed(word: &str) -> Option<(f64, Option<char>)> {
    let farads = |text: &str| match quantity(text) {
        Ok(("", q)) => match q.unit {
            Some(Unit::Farad) => Some(q.value),
            None if q.bare_prefix => Some(q.value).filter(|v| *v < 1.0),
            _ => None,
        },
        _ => None,
    };
    // `100u` is no quantity by itself, `100uF` is.
    let small = |text: &str| {
        farads(text).or_else(|| {
            text.ends_with(['u', 'n', 'p', 'µ'])
                .then(|| farads(&format!("{text}F")))
                .flatten()
        })
    };
    if let Some(v) = small(word) {
        return Some((v, None));
    }
    let letter = word.chars().next_back().filter(|c| is_letter(*c))?;
    let digits = &word[..word.len() - letter.len_utf8()];
    if digits.len() == 3
        && digits.bytes().all(|b| b.is_ascii_digit())
        && matches!(letter, 'J' | 'K' | 'M' | 'Z')
    {
        let number: f64 = digits[..2].parse().ok()?;
        let zeros: i32 = digits[2..].parse().ok()?;
        return Some((
            format!("{number}e{}", zeros - 12).parse().ok()?,
            Some(letter),
        ));
    }
    small(digits).map(|v| (v, Some(letter)))
}

/// Writes a reading so that [`parse`] reads it back.
pub fn write(name: Option<&str>, reading: &CapReading) -> String {
    let mut out = name.unwrap_or_default().to_string();
    if let Some(m) = &reading.marking {
        out.push_str(&format!(" {}", show(m.farads, Unit::Farad)));
        out.extend(m.volts.map(|v| format!("/{}", show(v, Unit::Volt))));
        out.extend(m.letter.map(|l| format!("/{l}")));
        out.push_str(match m.class {
            Some(Class::A) => " class A",
            Some(Class::B) => " class B",
            Some(Class::C) => " np",
            Some(Class::D) => " class D",
            Some(Class::Film) => " film",
            None => "",
        });
    }
    let mut all: Vec<String> = Vec::new();
    all.extend(reading.farads.map(|v| show(v, Unit::Farad)));
    all.extend(reading.esr.map(|r| format!("esr {}", show(r, Unit::Ohm))));
    all.extend(reading.loss.map(|l| format!("loss {l} %")));
    all.extend(
        reading
            .leakage
            .map(|i| format!("leakage {}", show(i, Unit::Ampere))),
    );
    all.extend(reading.looks.clone());
    all.extend(reading.old.then(|| "old".to_string()));
    if !all.is_empty() {
        out.push_str(": ");
        out.push_str(&all.join(", "));
    }
    out.trim().to_string()
}
