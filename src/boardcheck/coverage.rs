//! What the checks of a board see of its faults, and what one more measuring point would gain.

use super::testability::{Fault, Figures, figures, groups};
use crate::faultmap::model::{BoardModel, FaultMode, Kind};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};

/// A check counts as failing from this strength on.
pub const SHOWS: f32 = 0.5;

/// How many ambiguity groups and proposals are listed.
const LISTED: usize = 5;

/// Figures of one board.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Coverage {
    /// Failure modes that have a rate.
    pub faults: usize,
    /// Sockets, connectors, cables and other things that can be at fault.
    pub units: usize,
    /// All failures per million hours.
    pub rate: f64,
    /// The checks of a test run alone.
    pub test_run: Figures,
    /// With what the eye sees and the rails.
    pub with_eye: Figures,
    /// With every measuring point of the map read as well.
    pub with_measuring: Figures,
    /// Faults that neither test run nor eye can see, largest rate first.
    pub unseen: Vec<Unseen>,
    /// The largest groups that all of these checks together cannot tell apart.
    pub groups: Vec<Group>,
    /// Lines that are no measuring point yet, and what reading them would gain, best first.
    pub gains: Vec<Gain>,
}

/// A fault that no check shows.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Unseen {
    /// The unit.
    pub unit: String,
    /// What is wrong with it.
    pub faults: Vec<String>,
    /// Failures per million hours.
    pub rate: f64,
    /// Whether a measuring point of the map shows it.
    pub measurable: bool,
}

/// Positions that cannot be told apart.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Group {
    /// Designators.
    pub sockets: Vec<String>,
    /// Failures per million hours.
    pub rate: f64,
}

/// What one more measuring point would gain.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Gain {
    /// The line.
    pub line: String,
    /// A pin of it.
    pub at: String,
    /// Change of the fraction detected.
    pub detected: f64,
    /// Change of the fraction isolated to one socket.
    pub isolated: f64,
    /// Change of the mean group (below 0 is better).
    pub mean_group: f64,
}

/// What a mode makes of checks: which fail, by index, and what happens on lines.
struct Seen {
    tests: Vec<u32>,
    eyes: Vec<u32>,
    lines: BTreeMap<u32, Kind>,
    no_report: bool,
}

/// Works out the figures of a board. Sockets count as units: a chip and its contacts are at the same place.
pub fn coverage(model: &BoardModel) -> Coverage {
    let seen = seen(model);
    let live: Vec<usize> = (0..model.modes.len())
        .filter(|&m| !model.modes[m].missing && model.modes[m].rate > 0.0)
        .collect();
    let known = known_lines(model);
    let faults = |code: &dyn Fn(usize) -> Option<u64>| -> Vec<Fault> {
        let fault = |&m: &usize| Fault {
            rate: model.modes[m].rate,
            unit: model.units[model.modes[m].unit as usize].position,
            signature: code(m),
        };
        live.iter().map(fault).collect()
    };
    let test = |m: usize| signature(&seen[m], false, &|_| false);
    let eye = |m: usize| signature(&seen[m], true, &|_| false);
    let all = |m: usize| signature(&seen[m], true, &|line| known.contains_key(&line));
    let all_faults = faults(&all);
    Coverage {
        faults: live.len(),
        units: model.positions.len(),
        rate: live.iter().map(|&m| model.modes[m].rate).sum(),
        test_run: figures(&faults(&test)),
        with_eye: figures(&faults(&eye)),
        with_measuring: figures(&all_faults),
        unseen: unseen(model, &live, &eye, &all),
        groups: largest(model, &all_faults),
        gains: gains(model, &seen, &live, &all_faults, &known),
    }
}

/// Nodes that are measuring points of the map: lines with an expected value, and rails.
fn known_lines(model: &BoardModel) -> HashMap<u32, ()> {
    let names = (model.lines.iter().map(|l| &l.line)).chain(model.rails.values().map(|r| &r.line));
    names.filter_map(|n| Some((model.node(n)?, ()))).collect()
}

fn seen(model: &BoardModel) -> Vec<Seen> {
    let mut out: Vec<Seen> = (0..model.modes.len())
        .map(|_| Seen {
            tests: Vec::new(),
            eyes: Vec::new(),
            lines: BTreeMap::new(),
            no_report: false,
        })
        .collect();
    let report = model.node("report");
    for (i, node) in model.nodes.iter().enumerate() {
        for touch in node.touches.iter().filter(|t| t.strength >= SHOWS) {
            let seen = &mut out[touch.mode as usize];
            if node.line {
                seen.lines.entry(i as u32).or_insert(touch.kind);
            }
            seen.no_report |= Some(i as u32) == report && touch.kind == Kind::Lost;
        }
    }
    for (i, check) in model.checks.iter().enumerate() {
        for read in &check.reads {
            for touch in &model.nodes[read.node as usize].touches {
                if touch.strength * read.weight < SHOWS {
                    continue;
                }
                let seen = &mut out[touch.mode as usize];
                let list = if check.test {
                    &mut seen.tests
                } else {
                    &mut seen.eyes
                };
                if list.last() != Some(&(i as u32)) && !list.contains(&(i as u32)) {
                    list.push(i as u32);
                }
            }
        }
    }
    out
}

/// Which checks fail, and what is measured on the lines that `measured` picks. A run that cannot be read tells that and
/// no more.
fn signature(seen: &Seen, eye: bool, measured: &dyn Fn(u32) -> bool) -> Option<u64> {
    let tests: &[u32] = if seen.no_report { &[] } else { &seen.tests };
    let eyes: &[u32] = if eye { &seen.eyes } else { &[] };
    let lines: Vec<(u32, Kind)> = (seen.lines.iter())
        .filter(|(line, _)| measured(**line))
        .map(|(l, k)| (*l, *k))
        .collect();
    if !seen.no_report && tests.is_empty() && eyes.is_empty() && lines.is_empty() {
        return None;
    }
    let mut hash = DefaultHasher::new();
    (seen.no_report, tests, eyes, lines).hash(&mut hash);
    Some(hash.finish())
}

fn unseen(
    model: &BoardModel,
    live: &[usize],
    eye: &dyn Fn(usize) -> Option<u64>,
    all: &dyn Fn(usize) -> Option<u64>,
) -> Vec<Unseen> {
    let mut by_unit: BTreeMap<(u32, bool), Vec<&FaultMode>> = BTreeMap::new();
    for &m in live.iter().filter(|&&m| eye(m).is_none()) {
        let mode = &model.modes[m];
        let key = (mode.unit, all(m).is_some());
        by_unit.entry(key).or_default().push(mode);
    }
    let mut out: Vec<Unseen> = by_unit
        .into_iter()
        .map(|((unit, measurable), modes)| Unseen {
            unit: model.units[unit as usize].name.clone(),
            faults: modes.iter().map(|m| m.what.to_string()).collect(),
            rate: modes.iter().map(|m| m.rate).sum(),
            measurable,
        })
        .collect();
    out.sort_by(|a, b| b.rate.total_cmp(&a.rate).then(a.unit.cmp(&b.unit)));
    out
}

fn largest(model: &BoardModel, faults: &[Fault]) -> Vec<Group> {
    let mut out: Vec<Group> = groups(faults)
        .into_values()
        .filter(|(units, _)| units.len() > 1)
        .map(|(units, rate)| Group {
            sockets: (units.iter())
                .map(|&u| model.positions[u].name.clone())
                .collect(),
            rate,
        })
        .collect();
    out.sort_by(|a, b| {
        let weight = |g: &Group| g.rate * g.sockets.len() as f64;
        (weight(b).total_cmp(&weight(a))).then(a.sockets.cmp(&b.sockets))
    });
    out.truncate(LISTED);
    out
}

fn gains(
    model: &BoardModel,
    seen: &[Seen],
    live: &[usize],
    base: &[Fault],
    known: &HashMap<u32, ()>,
) -> Vec<Gain> {
    let before = figures(base);
    let mut touching: BTreeMap<u32, Vec<(usize, Kind)>> = BTreeMap::new();
    for (i, &m) in live.iter().enumerate() {
        for (&line, &kind) in &seen[m].lines {
            if !known.contains_key(&line) {
                touching.entry(line).or_default().push((i, kind));
            }
        }
    }
    let mut out = Vec::new();
    for (line, modes) in touching {
        let mut faults = base.to_vec();
        for (i, kind) in modes {
            let mut hash = DefaultHasher::new();
            (faults[i].signature, kind).hash(&mut hash);
            faults[i].signature = Some(hash.finish());
        }
        let after = figures(&faults);
        let gain = Gain {
            line: model.nodes[line as usize].name.to_string(),
            at: pin_of(model, &model.nodes[line as usize].name),
            detected: after.detected - before.detected,
            isolated: after.isolated[0] - before.isolated[0],
            mean_group: after.mean_group - before.mean_group,
        };
        if gain.detected > 1e-6 || gain.isolated > 1e-6 || gain.mean_group < -1e-6 {
            out.push(gain);
        }
    }
    let worth = |g: &Gain| g.detected + g.isolated - 0.01 * g.mean_group;
    out.sort_by(|a, b| {
        worth(b)
            .total_cmp(&worth(a))
            .then_with(|| a.line.cmp(&b.line))
    });
    out.truncate(LISTED);
    out
}

/// A pin on the line, of a part with many pins if there is one: it is the easiest to find.
fn pin_of(model: &BoardModel, line: &str) -> String {
    let on = model.positions.iter().filter(|p| !p.outside).flat_map(|p| {
        let pin = p
            .pins
            .iter()
            .find(|pin| pin.line.as_deref() == Some(line))?;
        Some((p.pins.len(), format!("{}.{}", p.name, pin.label)))
    });
    on.max_by_key(|(n, _)| *n).map_or_else(String::new, |p| p.1)
}
