//! Mistakes of a part family on its own: found by putting one such part on a board of its own.

use super::{Finding, Read, code};
use crate::faultmap::compile::compile;
use crate::faultmap::expand;
use crate::faultmap::raw::{BoardRaw, FamilyRaw, PartRaw};
use crate::faultmap::wiring::{MapError, near};
use crate::prior::rates::Handbook;
use std::collections::BTreeMap;

const ALONE: &str = "X";

/// Everything wrong with a family.
pub(super) fn check(file: &Read, family: &FamilyRaw) -> Vec<Finding> {
    let families = BTreeMap::from([(family.family.clone(), family.clone())]);
    let errors = compile("", &alone(family), &families, &Handbook)
        .err()
        .unwrap_or_default();
    let mut out: Vec<Finding> = errors
        .iter()
        .filter_map(|e| Some(file.told(&own(e)?)))
        .collect();
    out.extend(figures(file, family));
    out.extend(names(file, family));
    out
}

/// A board that holds nothing but one part of the family, each pin on a line of its own.
fn alone(family: &FamilyRaw) -> BoardRaw {
    let pins = expand::list(&family.pins).len();
    let lines: Vec<String> = (0..pins).map(|n| format!("line-{n}-")).collect();
    let part = PartRaw {
        family: family.family.clone(),
        part_type: None,
        role: String::new(),
        socket: true,
        required: true,
        outside: false,
        pins: lines.join(" "),
        wired: BTreeMap::new(),
        flow: None,
        at: None,
        turned: false,
        size: None,
        value: None,
        field: None,
    };
    BoardRaw {
        clearance: None,
        board: "alone".into(),
        what: String::new(),
        known_by: String::new(),
        sources: Vec::new(),
        mains: Vec::new(),
        layout: None,
        parts: BTreeMap::from([(ALONE.to_string(), part)]),
        rails: BTreeMap::new(),
        lines: BTreeMap::new(),
        functions: BTreeMap::new(),
        checks: BTreeMap::new(),
        keyboard: None,
        memory: None,
        words: BTreeMap::new(),
        unused_because: BTreeMap::new(),
    }
}

/// The mistake with its place in the family's file; `None` for what a lonely part cannot have right.
fn own(e: &MapError) -> Option<MapError> {
    let rest = e.path.strip_prefix(&format!("parts.{ALONE}"))?;
    let path = match (rest.strip_prefix(" mode "), rest.strip_prefix('.')) {
        (Some(mode), _) => format!("modes.{mode}"),
        (_, Some("pins")) => "pins".to_string(),
        (_, Some(function)) => format!("functions.{function}"),
        _ if e.message.contains("labels") => "labels".to_string(),
        _ => "rate".to_string(),
    };
    Some(MapError { path, ..e.clone() })
}

/// Shares, probabilities and factors that cannot be.
fn figures(file: &Read, family: &FamilyRaw) -> Vec<Finding> {
    let mut out = Vec::new();
    let mut bad = |path: String, message: String, help: &str| {
        out.push(file.at(code::MEANING, &path, message, Some(help.to_string())));
    };
    for (key, mode) in &family.modes {
        if !(mode.share > 0.0 && mode.share.is_finite()) {
            let message = format!(
                "the share of a mode is a number above 0, not {}",
                mode.share
            );
            bad(
                format!("modes.{key}.share"),
                message,
                "leave a mode out that never happens",
            );
        }
        for (name, value) in [("flaky", mode.flaky), ("notice", mode.notice)] {
            if value.is_some_and(|v| !(0.0..=1.0).contains(&v)) {
                let message = format!("'{name}' is a probability from 0 to 1");
                bad(
                    format!("modes.{key}.{name}"),
                    message,
                    "write 0.4 for 40 in 100",
                );
            }
        }
    }
    if family.modes.is_empty() {
        let message = "a part without failure modes can never be suspected".to_string();
        bad("modes".into(), message, "give at least one mode");
    }
    if family
        .field
        .as_ref()
        .is_some_and(|f| f.factor.is_nan() || f.factor <= 0.0)
    {
        let message = "the field factor is a number above 0".to_string();
        bad(
            "field.factor".into(),
            message,
            "1 leaves the handbook's rate as it is",
        );
    }
    for (key, mode) in &family.modes {
        if mode.source.as_deref().is_none_or(|s| s.trim().is_empty()) {
            let message = format!("mode '{key}' does not say where its share is from");
            let help = "add 'source: guess', or better one";
            out.push(file.warn(code::SOURCE, &format!("modes.{key}"), message, help));
        }
    }
    out
}

/// Supply pins of a type, and names that stand for a pin and a function at once.
fn names(file: &Read, family: &FamilyRaw) -> Vec<Finding> {
    let pins = expand::list(&family.pins);
    let mut out = Vec::new();
    for (name, t) in &family.types {
        for pin in t.supply.keys().filter(|p| !pins.contains(p)) {
            let message = format!("'{pin}' is no pin of the part{}", near(pin, pins.iter()));
            out.push(file.told(&MapError {
                file: String::new(),
                path: format!("types.{name}.supply"),
                message,
            }));
        }
    }
    let functions = family.functions.keys().flat_map(|k| expand::key(k));
    for (name, _) in functions.filter(|(f, _)| pins.contains(f)) {
        let message =
            format!("'{name}' is a pin and a function: it would always be read as the function");
        let help = Some("give the function another name".to_string());
        out.push(file.at(code::MEANING, &format!("functions.{name}"), message, help));
    }
    out
}
