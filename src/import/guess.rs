//! Which part family a part of a drawing is: by its type number, else by the letters of its designator and its pins.

use super::kicad::{Component, Label};
use crate::boardinfo::typenumber::is_type;
use crate::faultmap::expand;
use crate::faultmap::raw::{Class, FamilyRaw};
use std::collections::{BTreeMap, BTreeSet};

/// A guess.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guess {
    /// Family.
    pub family: String,
    /// Type number, when that was the reason.
    pub part_type: Option<String>,
}

/// Why there is no guess.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoGuess {
    /// The type is known, but its pins are others.
    OtherPins(String),
    /// Nothing fits.
    Unknown,
}

/// Pin labels of a family in order.
pub fn labels(family: &FamilyRaw) -> Vec<String> {
    match &family.labels {
        Some(text) => expand::list(text),
        None => (1..=expand::list(&family.pins).len())
            .map(|n| n.to_string())
            .collect(),
    }
}

/// Families of two-terminal parts by the letters of the designator (letters as in IEC 81346-2's predecessors; common
/// practice, no source).
const BY_LETTERS: [(&str, &str); 8] = [
    ("R", "resistor"),
    ("FB", "bead"),
    ("L", "choke"),
    ("D", "diode"),
    ("CR", "diode"),
    ("F", "fuse"),
    ("LS", "loudspeaker"),
    ("SP", "loudspeaker"),
];

/// Guesses the family of a part.
///
/// # Errors
/// Nothing fits, or the type fits and the pins do not.
pub fn guess(c: &Component, families: &BTreeMap<String, FamilyRaw>) -> Result<Guess, NoGuess> {
    let mut typed: Vec<(&String, &String, bool)> = Vec::new();
    for (name, family) in families {
        for t in family.types.keys().filter(|t| is_type(&c.value, t)) {
            typed.push((name, t, fits(c, family)));
        }
    }
    typed.sort_by_key(|(_, t, fits)| (!fits, std::cmp::Reverse(t.len())));
    match typed.first() {
        Some((family, t, true)) => {
            return Ok(Guess {
                family: family.to_string(),
                part_type: Some(t.to_string()),
            });
        }
        Some((family, ..)) => return Err(NoGuess::OtherPins(family.to_string())),
        None => {}
    }
    let family = by_letters(c, families).ok_or(NoGuess::Unknown)?;
    Ok(Guess {
        family,
        part_type: None,
    })
}

/// Every pin of the part is one of the family.
fn fits(c: &Component, family: &FamilyRaw) -> bool {
    let known: BTreeSet<String> = labels(family).into_iter().collect();
    !c.pins.is_empty() && c.pins.keys().all(|l| known.contains(&l.to_string()))
}

fn by_letters(c: &Component, families: &BTreeMap<String, FamilyRaw>) -> Option<String> {
    let letters = c
        .reference
        .trim_end_matches(|ch: char| !ch.is_ascii_alphabetic());
    let two = c.pins.len() == 2
        && c.pins
            .keys()
            .eq([Label::Number(1), Label::Number(2)].iter());
    let there = |name: &str| families.contains_key(name).then(|| name.to_string());
    if two && letters == "C" {
        let large = microfarads(&c.value).is_some_and(|uf| uf >= 1.0);
        return there(if large {
            "capacitor-electrolytic"
        } else {
            "capacitor"
        });
    }
    if two && let Some((_, family)) = BY_LETTERS.iter().find(|(l, _)| *l == letters) {
        return there(family);
    }
    if ["J", "CN", "P", "X"].contains(&letters) {
        let same = |f: &&String| {
            let family = &families[*f];
            let used: BTreeSet<String> = c.pins.keys().map(Label::to_string).collect();
            let own: BTreeSet<String> = labels(family).into_iter().collect();
            family.class == Class::Connector && used == own
        };
        return families.keys().find(same).cloned();
    }
    None
}

/// `10uF/25V`, `100n`, `4u7` in microfarads.
fn microfarads(value: &str) -> Option<f64> {
    let digits = |c: char| c.is_ascii_digit() || c == '.';
    let end = value.find(|c: char| !digits(c)).unwrap_or(value.len());
    let number: f64 = value[..end].parse().ok()?;
    let mut rest = value[end..].trim_start().chars();
    let scale = match rest.next()? {
        'u' | 'U' | 'µ' | 'μ' => 1.0,
        'n' | 'N' => 1e-3,
        'p' | 'P' => 1e-6,
        'm' => 1e3,
        _ => return None,
    };
    Some(number * scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn capacitors_by_value() {
        assert_eq!(microfarads("10uF/25V"), Some(10.0));
        assert_eq!(microfarads("100n"), Some(0.1));
        assert_eq!(microfarads("4u7"), Some(4.0));
        assert_eq!(microfarads("?"), None);
    }
}
