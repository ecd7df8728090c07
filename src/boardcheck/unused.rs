//! Lines, functions and positions whose trouble no check and no measuring point would ever show.

use super::{Finding, Read, code};
use crate::faultmap::expand;
use crate::faultmap::raw::BoardRaw;
use crate::faultmap::wiring::Wiring;
use std::collections::BTreeSet;

/// What nothing uses.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Unused {
    /// Lines.
    pub lines: BTreeSet<String>,
    /// Functions of the board.
    pub functions: BTreeSet<String>,
    /// Positions: nothing on any of their lines and none of their functions is used.
    pub positions: BTreeSet<String>,
}

/// The program itself asks for these.
const ASKED_FOR: [&str; 2] = ["report", "run"];

/// Finds what trouble cannot come from: nodes from which no edge leads on to a check, a rail or a measuring point.
pub fn unused(board: &BoardRaw, wiring: &mut Wiring) -> Unused {
    let mut front: Vec<usize> = Vec::new();
    for (key, check) in &board.checks {
        for (_, number) in expand::key(key) {
            let reads = expand::weighted(&check.reads.replace('#', &number)).unwrap_or_default();
            front.extend(reads.iter().filter_map(|r| wiring.resolve("", &r.name)));
        }
    }
    let measured = (board.lines.keys()).chain(board.rails.values().map(|r| &r.line));
    front.extend(measured.filter_map(|l| wiring.lines.get(l)));
    let keys = wiring
        .functions
        .iter()
        .filter(|(n, _)| n.starts_with("key."));
    front.extend(keys.map(|(_, &n)| n));
    let asked = ASKED_FOR.iter().filter_map(|n| wiring.functions.get(*n));
    front.extend(asked);
    let seen = behind(wiring, front);
    let dead = |(name, &node): (&String, &usize)| (!seen[node]).then(|| name.clone());
    let lines: BTreeSet<String> = wiring.lines.iter().filter_map(dead).collect();
    let functions = wiring.functions.iter().filter_map(dead).collect();
    let positions = (0..wiring.wired.len()).filter(|&p| {
        let wired = &wiring.wired[p];
        let line_used = wired.lines.iter().flatten().any(|l| !lines.contains(l));
        let at = |(q, _): &(usize, String)| *q == p;
        let function_used = (wiring.part_functions.iter()).any(|(k, &n)| at(k) && seen[n]);
        !line_used && !function_used
    });
    let positions = positions.map(|p| wiring.wired[p].name.clone()).collect();
    Unused {
        lines,
        functions,
        positions,
    }
}

/// Nodes whose trouble reaches one of these nodes, by number.
pub(super) fn behind(wiring: &Wiring, mut front: Vec<usize>) -> Vec<bool> {
    let mut seen = vec![false; wiring.graph.len()];
    let mut causes: Vec<Vec<usize>> = vec![Vec::new(); wiring.graph.len()];
    for from in 0..wiring.graph.len() {
        for edge in wiring.graph.edges(from).iter().filter(|e| e.weight > 0.0) {
            causes[edge.to].push(from);
        }
    }
    while let Some(node) = front.pop() {
        if !std::mem::replace(&mut seen[node], true) {
            front.extend(&causes[node]);
        }
    }
    seen
}

/// Warnings: what nothing uses and has no reason, and reasons for what is used.
pub(super) fn findings(
    file: &Read,
    board: &BoardRaw,
    wiring: &Wiring,
    unused: &Unused,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let given: BTreeSet<String> = (board.unused_because.keys())
        .flat_map(|k| expand::range(k))
        .collect();
    let help = "use it in a check or a function, or say why not: 'unused_because: {NAME: reason}'";
    for line in unused.lines.difference(&given) {
        let (socket, pin) = wiring
            .wired
            .iter()
            .find_map(|w| {
                let pin = w.lines.iter().position(|l| l.as_ref() == Some(line))?;
                Some((w.name.clone(), w.labels[pin].clone()))
            })
            .unwrap_or_default();
        let message =
            format!("no check or measuring point depends on line '{line}' ({socket} pin {pin})");
        out.push(file.warn(code::UNUSED, &format!("parts.{socket}"), message, help));
    }
    for name in unused.functions.difference(&given) {
        let message = format!("no check depends on function '{name}'");
        out.push(file.warn(code::UNUSED, &format!("functions.{name}"), message, help));
    }
    for name in unused.positions.difference(&given) {
        let all_lines_told = wiring
            .wired
            .iter()
            .any(|w| &w.name == name && w.lines.iter().flatten().next().is_some());
        if !all_lines_told {
            let message = format!("no check depends on anything of '{name}'");
            out.push(file.warn(code::UNUSED, &format!("parts.{name}"), message, help));
        }
    }
    let really = |name: &String| {
        unused.lines.contains(name)
            || unused.functions.contains(name)
            || unused.positions.contains(name)
    };
    for (key, reason) in &board.unused_because {
        let path = format!("unused_because.{key}");
        if let Some(name) = expand::range(key).iter().find(|n| !really(n)) {
            let message =
                format!("'{name}' is used, or is nothing of this board: it needs no reason");
            out.push(file.warn(code::REASON, &path, message, "take it out"));
        }
        if reason.trim().is_empty() {
            let message = format!("no reason is given for '{key}'");
            out.push(file.warn(code::REASON, &path, message, "say why nothing uses it"));
        }
    }
    out
}
