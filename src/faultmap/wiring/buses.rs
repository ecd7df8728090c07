//! Lines on which more than one part may drive.
//!
//! Such a line moves as long as one of its drivers moves it, rightly or not: it is lost when all of them are. A part that goes by a
//! clock or by orders (processor, video, sound, adapter) moves nothing once it lost what its function needs. Memory, ROM and gates are
//! otherwise: what comes in wrong, or is missing in part, goes out wrong. They stand still without power, when they are dead, or when
//! nothing moves at any of their inputs.

use super::super::graph::Answer;
use super::super::raw::{Class, is_ground};
use super::Wiring;
use std::collections::{BTreeMap, BTreeSet, HashSet};

/// Lines joined with one another.
type Bus = usize;

impl Wiring {
    /// Lines that several drive are lost when all of those are. A resistor between two of them parts who drives both at once, and
    /// carries the one to the other where nobody else drives it: they are one bus here.
    pub(super) fn link_buses(
        &mut self,
        mut drivers: BTreeMap<String, Vec<usize>>,
        rails: &HashSet<String>,
    ) {
        drivers.retain(|_, by| by.len() > 1);
        let (through, bridges) = self.bridges(&drivers);
        let names: Vec<String> = drivers.keys().cloned().collect();
        let mut bus: BTreeMap<&str, Bus> = names.iter().map(String::as_str).zip(0..).collect();
        for (a, b) in &bridges {
            let (one, other) = (bus[a.as_str()], bus[b.as_str()]);
            bus.values_mut()
                .filter(|k| **k == other)
                .for_each(|k| *k = one);
        }
        let mut of_bus: BTreeMap<Bus, BTreeSet<usize>> = BTreeMap::new();
        for (line, by) in &drivers {
            let all = of_bus.entry(bus[line.as_str()]).or_default();
            all.extend(by.iter().filter(|d| !through.contains(d)));
        }
        let drive: BTreeSet<usize> = of_bus.values().flatten().copied().collect();
        let mut functions: Vec<(usize, (usize, String))> = (self.part_functions.iter())
            .filter(|(_, node)| drive.contains(node))
            .map(|(function, node)| (*node, function.clone()))
            .collect();
        functions.sort_unstable();
        for (driver, (position, function)) in functions {
            self.answer(driver, position, &function, &bus, rails);
        }
        for (line, at) in &bus {
            let to = self.line(line);
            self.graph.share(of_bus[at].iter().copied().collect(), to);
        }
        self.graph.leave_out_what_never_moves();
    }

    /// Says what a function that drives a bus goes by, if its part answers to whatever comes in. What it puts on a bus comes back at its
    /// inputs, and counts for none; no more does an input that is tied to a supply.
    fn answer(
        &mut self,
        driver: usize,
        position: usize,
        function: &str,
        bus: &BTreeMap<&str, Bus>,
        rails: &HashSet<String>,
    ) {
        let wired = self.wired[position].clone();
        let Some((_, f)) = wired.functions.iter().find(|f| f.0 == function) else {
            return;
        };
        if !answers(wired.class) {
            return;
        }
        let line = |signal: &str| {
            let pin = wired.signals.iter().position(|s| s == signal)?;
            wired.lines[pin].as_deref()
        };
        let path = format!("parts.{}.{function}", wired.name);
        let own: Vec<Bus> = (self.listed(&path, &f.drives).iter())
            .filter_map(|w| bus.get(line(&w.name)?).copied())
            .collect();
        let mut answer = Answer::default();
        for text in [&f.needs, &f.carries, &f.inverts] {
            for w in self.listed(&path, text) {
                let on = line(&w.name);
                let back = on.and_then(|l| bus.get(l)).is_some_and(|b| own.contains(b));
                let tied = on.is_some_and(|l| rails.contains(l) || is_ground(l));
                if back || tied {
                    continue;
                }
                let from = self.in_part(position, &path, &w.name);
                match wired.functions.iter().any(|f| f.0 == w.name) {
                    true => answer.needs.extend(from),
                    false => {
                        let on = on.map(|l| self.line(l));
                        let pins = from.into_iter().map(|node| (node, on));
                        answer.inputs.extend(pins);
                    }
                }
            }
        }
        for w in self.listed(&path, &f.power) {
            let from = self.in_part(position, &path, &w.name);
            answer
                .power
                .extend(from.into_iter().map(|pin| (pin, w.weight)));
        }
        self.graph.answers(driver, answer);
    }

    /// Functions of passive parts that carry one of these lines to another, and the lines that each of them joins.
    fn bridges(
        &self,
        drivers: &BTreeMap<String, Vec<usize>>,
    ) -> (HashSet<usize>, Vec<(String, String)>) {
        let (mut through, mut joined) = (HashSet::new(), Vec::new());
        for (position, wired) in self.wired.iter().enumerate() {
            let passive = wired.class == Class::Passive;
            let line = |signal: &str| {
                let pin = wired.signals.iter().position(|s| s == signal)?;
                wired.lines[pin].clone().filter(|l| drivers.contains_key(l))
            };
            for (name, f) in wired.functions.iter().filter(|_| passive) {
                if let (Some(a), Some(b)) = (line(f.carries.trim()), line(f.drives.trim())) {
                    through.insert(self.part_functions[&(position, name.clone())]);
                    joined.push((a, b));
                }
            }
        }
        (through, joined)
    }
}

/// Whether a part of this class puts out something whatever comes in.
fn answers(class: Class) -> bool {
    use Class::{Driver, Logic, LogicArray, Memory, Rom, StaticMemory};
    matches!(
        class,
        Memory | StaticMemory | Rom | Logic | LogicArray | Driver
    )
}
