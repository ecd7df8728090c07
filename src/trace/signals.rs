//! The board as a signal sees it: lines, and the parts that take it from one line to the next.

use crate::faultmap::expand;
use crate::faultmap::model::{BoardModel, Pin, Position};
use crate::faultmap::raw::{BoardRaw, Class, FunctionRaw, is_ground};
use crate::faultmap::wiring::{Wiring, expand_functions};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap, HashMap, HashSet};

/// A function of a part with its pins.
#[derive(Debug, Clone)]
pub struct Func {
    /// Index of the position.
    pub position: usize,
    /// Name.
    pub name: String,
    /// Pins whose signal it hands on.
    pub ins: Vec<usize>,
    /// Pins it needs beside them.
    pub controls: Vec<usize>,
    /// Pins it drives.
    pub outs: Vec<usize>,
    /// Hands the signal on inverted.
    pub inverts: bool,
    /// Other functions of the part that it needs.
    pub of: Vec<String>,
}

/// A way through a part, from pin to pin.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hop {
    /// Index into [`Signals::funcs`].
    pub func: usize,
    /// Pin where the signal enters.
    pub enters: usize,
    /// Pin where it leaves.
    pub leaves: usize,
}

/// What a name of the map stands for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Thing {
    /// A line.
    Line(String),
    /// A function of the board.
    Board(String),
    /// A function of a part: index into [`Signals::funcs`].
    Func(usize),
    /// A pin.
    Pin(usize, usize),
}

/// The board.
pub struct Signals<'a> {
    /// The map as typed.
    pub raw: &'a BoardRaw,
    /// Its nodes and edges.
    pub wiring: &'a Wiring,
    /// The compiled model; its positions are in the same order.
    pub model: &'a BoardModel,
    /// Functions of all parts.
    pub funcs: Vec<Func>,
    /// Functions of the board with their numbers filled in.
    pub functions: BTreeMap<String, FunctionRaw>,
    /// Pins of every line.
    pub on: BTreeMap<String, Vec<(usize, usize)>>,
    /// Lines that feed supply pins, and rails.
    pub supplies: HashSet<String>,
}

/// A processor, memory or adapter between two lines is no signal path: its output is a deed of its own.
const THROUGH_A_PROGRAM: u32 = 60;

/// Least cost to each line, and the hop that reached it from which line.
type Best<'l> = HashMap<&'l str, (u32, Option<(Hop, &'l str)>)>;

impl<'a> Signals<'a> {
    /// Prepares a board for tracing.
    pub fn new(raw: &'a BoardRaw, wiring: &'a Wiring, model: &'a BoardModel) -> Self {
        let mut s = Signals {
            raw,
            wiring,
            model,
            funcs: Vec::new(),
            functions: expand_functions(&raw.functions).into_iter().collect(),
            on: BTreeMap::new(),
            supplies: raw.rails.values().map(|r| r.line.clone()).collect(),
        };
        for (position, wired) in wiring.wired.iter().enumerate() {
            for (pin, line) in wired.lines.iter().enumerate() {
                if let Some(line) = line {
                    s.on.entry(line.clone()).or_default().push((position, pin));
                }
            }
            for (name, f) in &wired.functions {
                let func = s.func(position, name, f);
                s.funcs.push(func);
            }
        }
        s
    }

    fn func(&mut self, position: usize, name: &str, f: &FunctionRaw) -> Func {
        let wired = &self.wiring.wired[position];
        let names = |text: &str| -> Vec<String> {
            let listed = expand::weighted(text).unwrap_or_default();
            listed.into_iter().map(|w| w.name).collect()
        };
        let pins = |text: &str| -> Vec<usize> {
            let mut out = Vec::new();
            for name in names(text) {
                out.extend((0..wired.signals.len()).filter(|&i| wired.signals[i] == name));
            }
            out
        };
        let outs = pins(&f.drives);
        let without = |list: Vec<usize>| -> Vec<usize> {
            list.into_iter().filter(|p| !outs.contains(p)).collect()
        };
        let inverts = without(pins(&f.inverts));
        let mut ins = without(pins(&f.carries));
        ins.extend(without(pins(&f.steadies)));
        let turned = ins.is_empty() && !inverts.is_empty();
        ins.extend(inverts);
        for pin in pins(&f.power) {
            self.supplies.extend(wired.lines[pin].clone());
        }
        let own: HashSet<&String> = wired.functions.iter().map(|(n, _)| n).collect();
        let of = [&f.needs, &f.carries, &f.steadies, &f.inverts]
            .iter()
            .flat_map(|t| names(t))
            .filter(|n| own.contains(n))
            .collect();
        Func {
            position,
            name: name.to_string(),
            ins,
            controls: without(pins(&f.needs)),
            outs,
            inverts: turned,
            of,
        }
    }

    /// The position.
    pub fn position(&self, index: usize) -> &Position {
        &self.model.positions[index]
    }

    /// A pin of a position.
    pub fn pin(&self, position: usize, pin: usize) -> &Pin {
        &self.model.positions[position].pins[pin]
    }

    /// The line at a pin.
    pub fn line(&self, position: usize, pin: usize) -> Option<&str> {
        self.wiring.wired[position].lines[pin].as_deref()
    }

    /// Functions that drive a line.
    pub fn drivers(&self, line: &str) -> Vec<(usize, usize)> {
        let mut out = Vec::new();
        for (i, f) in self.funcs.iter().enumerate() {
            for &pin in &f.outs {
                if self.line(f.position, pin) == Some(line) {
                    out.push((i, pin));
                    break;
                }
            }
        }
        out
    }

    /// What a name of the map stands for.
    pub fn thing(&self, name: &str) -> Option<Thing> {
        if self.functions.contains_key(name) {
            return Some(Thing::Board(name.into()));
        }
        if self.wiring.lines.contains_key(name) {
            return Some(Thing::Line(name.into()));
        }
        let (socket, rest) = name.split_once('.')?;
        let position = self.wiring.position(socket)?;
        let wired = &self.wiring.wired[position];
        let label = wired.labels.iter().position(|l| l == rest);
        let signal = || wired.signals.iter().position(|s| s == rest);
        let func = || (self.funcs.iter()).position(|f| f.position == position && f.name == rest);
        label
            .map(|p| Thing::Pin(position, p))
            .or_else(|| func().map(Thing::Func))
            .or_else(|| signal().map(|p| Thing::Pin(position, p)))
    }

    /// What a list of names comes down to, board functions followed, in the order of the map.
    pub fn closure(&self, text: &str) -> Vec<Thing> {
        let (mut out, mut seen) = (Vec::new(), BTreeSet::new());
        self.follow(text, &mut out, &mut seen);
        out
    }

    fn follow(&self, text: &str, out: &mut Vec<Thing>, seen: &mut BTreeSet<Thing>) {
        for name in expand::weighted(text).unwrap_or_default() {
            let Some(thing) = self.thing(&name.name) else {
                continue;
            };
            if !seen.insert(thing.clone()) {
                continue;
            }
            match &thing {
                Thing::Board(name) => {
                    let f = &self.functions[name];
                    for list in [&f.carries, &f.steadies, &f.inverts, &f.needs] {
                        self.follow(list, out, seen);
                    }
                }
                _ => out.push(thing),
            }
        }
    }

    fn cost(&self, func: &Func, enters: usize) -> u32 {
        let handed_on = func.ins.contains(&enters);
        match (self.position(func.position).class, handed_on) {
            (_, true) if self.wiring.wired[func.position].signals.len() <= 3 => 1,
            (_, true) => 2,
            (
                Class::Logic | Class::Driver | Class::LogicArray | Class::Timer | Class::Passive,
                _,
            ) => 3 + func.controls.len() as u32,
            _ => THROUGH_A_PROGRAM,
        }
    }

    /// The cheapest way from a line to one of these lines, along the direction of the signal. Supply lines are no way.
    pub fn route(&self, from: &str, to: &dyn Fn(&str) -> bool) -> Option<Vec<Hop>> {
        let mut best: Best = HashMap::new();
        let mut front = BinaryHeap::new();
        let (from, _) = self.on.get_key_value(from)?;
        best.insert(from, (0, None));
        front.push(Reverse((0u32, from.as_str())));
        while let Some(Reverse((cost, line))) = front.pop() {
            if best[line].0 < cost {
                continue;
            }
            if to(line) {
                return Some(self.unroll(line, &best));
            }
            for (i, f) in self.funcs.iter().enumerate() {
                let enters = f.ins.iter().chain(&f.controls);
                for &enters in enters.filter(|&&p| self.line(f.position, p) == Some(line)) {
                    let next = cost + self.cost(f, enters);
                    for &leaves in &f.outs {
                        let Some(out) = self.line(f.position, leaves) else {
                            continue;
                        };
                        let better = best.get(out).is_none_or(|b| next < b.0);
                        if better && (!self.supplies.contains(out) || to(out)) {
                            let hop = Hop {
                                func: i,
                                enters,
                                leaves,
                            };
                            best.insert(out, (next, Some((hop, line))));
                            front.push(Reverse((next, out)));
                        }
                    }
                }
            }
        }
        None
    }

    fn unroll<'l>(&self, mut line: &'l str, best: &Best<'l>) -> Vec<Hop> {
        let mut out = Vec::new();
        while let Some((_, Some((hop, before)))) = best.get(line) {
            out.push(hop.clone());
            line = before;
        }
        out.reverse();
        out
    }

    /// Where a line's signal comes from: the part that makes it, and the ways from there to the line. Goes back as long as
    /// one part alone drives the line and it is clear which of its inputs is the signal.
    pub fn upstream(&self, line: &str) -> (Option<(usize, usize)>, Vec<Hop>) {
        let (mut hops, mut at, mut source) = (Vec::new(), line.to_string(), None);
        let mut been = HashSet::from([at.clone()]);
        loop {
            let drivers = self.drivers(&at);
            let one_part = drivers
                .iter()
                .map(|d| self.funcs[d.0].position)
                .collect::<BTreeSet<_>>();
            if one_part.len() != 1 {
                break;
            }
            let fed = drivers
                .iter()
                .find_map(|&(f, out)| Some((f, out, self.input(f, &been)?)));
            match fed {
                Some((func, leaves, enters)) => {
                    let hop = Hop {
                        func,
                        enters,
                        leaves,
                    };
                    let next = self
                        .line(self.funcs[func].position, enters)
                        .unwrap_or_default();
                    at = next.to_string();
                    been.insert(at.clone());
                    hops.push(hop);
                    source = None;
                }
                None => {
                    source = Some(drivers[0]);
                    break;
                }
            }
        }
        hops.reverse();
        (source, hops)
    }

    /// The pin through which the signal of a function comes in: what it hands on, else its clock, else its only signal.
    fn input(&self, func: usize, been: &HashSet<String>) -> Option<usize> {
        let f = &self.funcs[func];
        let usable = |p: &usize| {
            self.line(f.position, *p)
                .is_some_and(|l| !been.contains(l) && !self.is_ground(l))
        };
        if let Some(&pin) = f.ins.iter().find(|p| usable(p)) {
            return Some(pin);
        }
        let class = self.position(f.position).class;
        let makes_its_own = !matches!(
            class,
            Class::Logic
                | Class::Driver
                | Class::Timer
                | Class::Semiconductor
                | Class::Passive
                | Class::Clock
        );
        if makes_its_own {
            return None;
        }
        let rectifies = class == Class::Semiconductor;
        let rest = |p: &usize| {
            usable(p)
                && (rectifies
                    || !self
                        .supplies
                        .contains(self.line(f.position, *p).unwrap_or_default()))
        };
        let controls: Vec<usize> = f.controls.iter().copied().filter(rest).collect();
        let signal = |p: &usize| self.pin(f.position, *p).signal.to_lowercase();
        let clock = controls.iter().find(|p| {
            let s = signal(p);
            s.starts_with("clk")
                || s.starts_with("clock")
                || s.starts_with("phi")
                || s.starts_with("up")
        });
        match (clock, rectifies, &controls[..]) {
            (Some(&pin), ..) => Some(pin),
            (_, true, [first, ..]) => Some(*first),
            (_, _, [only]) => Some(*only),
            _ => None,
        }
    }

    /// A line that feeds supply pins and is no rail.
    pub fn is_ground(&self, line: &str) -> bool {
        self.supplies.contains(line)
            && !self.raw.rails.values().any(|r| r.line == line)
            && is_ground(line)
    }
}

/// The board as a graph in the DOT language: boxes are parts, the rest lines. Supplies are left out, they reach all.
pub fn dot(s: &Signals) -> String {
    use std::fmt::Write as _;
    let quoted = |text: &str| format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""));
    let mut out = String::new();
    let _ = writeln!(out, "digraph {} {{", quoted(&s.model.board));
    out += "  rankdir=LR;\n  node [fontname=\"sans-serif\"];\n";
    for p in &s.model.positions {
        let label = format!("{}\n{}", p.name, crate::boardinfo::show::part_name(p));
        let label = quoted(&label).replace('\n', "\\n");
        let _ = writeln!(
            out,
            "  {} [shape=box, label={label}, tooltip={}];",
            quoted(&p.name),
            quoted(&p.role)
        );
    }
    for (line, pins) in s.on.iter().filter(|(l, _)| !s.supplies.contains(*l)) {
        let node = quoted(&format!("line {line}"));
        let _ = writeln!(out, "  {node} [shape=plaintext, label={}];", quoted(line));
        for &(position, pin) in pins {
            let part = quoted(&s.position(position).name);
            let label = quoted(&s.pin(position, pin).label);
            let drives = |f: &Func| f.position == position && f.outs.contains(&pin);
            let (from, to) = match s.funcs.iter().any(drives) {
                true => (&part, &node),
                false => (&node, &part),
            };
            let _ = writeln!(out, "  {from} -> {to} [label={label}];");
        }
    }
    out += "}\n";
    out
}
