//! Lines on the other side of a series part: what pulses before a bead or a small resistor pulses behind it. The map states one
//! side; the other one can be measured as well, and tells whether the driver or a load holds the line.

use super::super::model::{BoardModel, LineDef, Position};
use super::super::raw::{Class, Expect};
use super::super::wiring::Wired;

/// Up to so many ohms a resistor in a line passes a logic signal on to its inputs as it is. Into the base of a transistor, where it
/// would not, there are a thousand and more (common practice, no source).
const SERIES: f64 = 470.0;

/// So many pins are named for such a line.
const PLACES: usize = 2;

/// Adds a line to measure for each other side of a series part in a line that should pulse.
pub(super) fn add(model: &mut BoardModel, wired: &[Wired]) {
    // A line can have a part at either end: until nothing is added.
    loop {
        let mut found: Vec<LineDef> = Vec::new();
        for w in wired {
            let part = model.position(&w.name).filter(|(_, p)| in_series(p));
            for (a, b) in part.into_iter().flat_map(|_| sides(w)) {
                for (here, there) in [(a, b), (b, a)] {
                    let known =
                        |line: &str| model.lines.iter().chain(&found).find(|l| l.line == line);
                    let is_rail = model.rails.values().any(|r| r.line == there);
                    if let (Some(def), None, false) = (known(here), known(there), is_rail)
                        && def.expect == Expect::Pulsing
                    {
                        let other = other_side(model, def, there, &w.name);
                        found.extend(other);
                    }
                }
            }
        }
        if found.is_empty() {
            return;
        }
        model.lines.extend(found);
        model.lines.sort_by(|x, y| x.line.cmp(&y.line));
    }
}

/// Whether a part passes a logic signal on as it is.
fn in_series(part: &Position) -> bool {
    let ohms = part.value.as_deref().and_then(|v| v.strip_suffix("ohm"));
    match ohms.map(|n| n.trim().parse::<f64>()) {
        Some(Ok(ohms)) => ohms <= SERIES,
        Some(Err(_)) => false,
        None => part.class == Class::Passive && part.value.is_none(),
    }
}

/// The lines at both ends of each path through a part.
fn sides(w: &Wired) -> Vec<(&str, &str)> {
    let line = |signal: &str| -> Option<&str> {
        let at = w.signals.iter().position(|s| s == signal)?;
        w.lines[at].as_deref()
    };
    let ends = w.functions.iter().filter_map(|(_, f)| {
        let (a, b) = (line(f.carries.trim())?, line(f.drives.trim())?);
        (a != b).then_some((a, b))
    });
    ends.collect()
}

/// What to expect on the other side; `None` where no pin but the part's own is on it.
fn other_side(model: &BoardModel, def: &LineDef, line: &str, part: &str) -> Option<LineDef> {
    let on = |p: &&Position| !p.outside && p.name != part;
    let pins = model.positions.iter().filter(on).flat_map(|p| {
        let here = p
            .pins
            .iter()
            .filter(|pin| pin.line.as_deref() == Some(line));
        here.map(move |pin| {
            (
                p.class == Class::Passive,
                format!("{}.{}", p.name, pin.label),
            )
        })
    });
    let mut pins: Vec<(bool, String)> = pins.collect();
    // Chips before the small parts.
    pins.sort_by_key(|p| p.0);
    let at: Vec<String> = pins.into_iter().map(|p| p.1).take(PLACES).collect();
    (!at.is_empty()).then(|| LineDef {
        line: line.to_string(),
        what: format!("{}, on the other side of {part}", def.what),
        at,
        ..def.clone()
    })
}
