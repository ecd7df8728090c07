//! The ways of each kind of target, step by step.

use super::signals::{Hop, Signals, Thing};
use super::target::Target;
use super::view::*;
use crate::boardinfo::show::part_name;
use crate::faultmap::expand;
use crate::faultmap::raw::Class;
use std::collections::{BTreeSet, HashMap};

/// Puts the trace of a target together.
pub(super) fn trace(s: &Signals, target: &Target) -> TraceView {
    let mut t = Tracer {
        s,
        nodes: s
            .wiring
            .names()
            .into_iter()
            .enumerate()
            .map(|(i, n)| (n, i))
            .collect(),
        paths: Vec::new(),
        beside: Vec::new(),
    };
    let (what, says) = match target {
        Target::Key(column, row, name) => t.key(*column, *row, name),
        Target::OutsideKey(name, function) => t.function(&format!("key {name}"), function),
        Target::Function(name) => t.function(name, name),
        Target::Bit(bank, n) => t.bit(bank.as_deref(), *n),
        Target::Clock(check) => t.clock(check),
        Target::Voice(check) => t.voice(check),
        Target::Rail(name) => t.rail(name),
        Target::Line(name) => t.line(name, None),
        Target::Pin(position, pin) => t.pin(*position, *pin),
    };
    t.done(what, says)
}

pub(super) struct Tracer<'s, 'a> {
    pub(super) s: &'s Signals<'a>,
    /// Node of the spreading graph by name.
    pub(super) nodes: HashMap<String, usize>,
    pub(super) paths: Vec<PathView>,
    pub(super) beside: Vec<BesideView>,
}

type Said = (String, String);

impl Tracer<'_, '_> {
    fn key(&mut self, column: usize, row: usize, name: &str) -> Said {
        let what = format!("key {name}");
        let Some(kb) = &self.s.raw.keyboard else {
            return (what, String::new());
        };
        let lines = |text: &str| expand::list(text);
        let (Some(col), Some(row_line)) = (
            lines(&kb.columns).get(column).cloned(),
            lines(&kb.rows).get(row).cloned(),
        ) else {
            return (what, String::new());
        };
        let between = |line: &str| -> Vec<(usize, usize)> {
            let mut places = expand::list(&kb.connector);
            places.push(kb.unit.clone());
            let at = |name: &String| {
                let p = self.s.wiring.position(name)?;
                Some((p, self.pin_on(p, line)?))
            };
            places.iter().filter_map(at).collect()
        };
        let mut drive = self.back_to_source(&col);
        drive.extend(between(&col).iter().map(|&(p, pin)| self.contact(p, pin)));
        let mut read: Vec<StepView> = between(&row_line)
            .iter()
            .rev()
            .map(|&(p, pin)| self.contact(p, pin))
            .collect();
        let readers = self.s.closure(&kb.reads.replace('#', &row.to_string()));
        read.extend(self.to_reader(&row_line, &readers));
        self.path(&format!("Column {column} is driven"), drive);
        self.path(&format!("Row {row} is read"), read);
        let says = format!(
            "The key joins column {column} ({col}) and row {row} ({row_line}) while it is pressed."
        );
        (what, says)
    }

    fn bit(&mut self, bank: Option<&str>, n: usize) -> Said {
        let what = format!("{} bit {n}", bank.unwrap_or("memory"));
        let Some(memory) = &self.s.raw.memory else {
            return (what, String::new());
        };
        let further = bank.and_then(|b| memory.others.get(b));
        let (bits, width) = further.map_or((&memory.bits, memory.width), |b| (&b.bits, b.width));
        let width = usize::from(width.max(1));
        let chip = expand::list(bits)
            .get(n / width)
            .cloned()
            .unwrap_or_default();
        let id = format!("{}.bit.{n}", bank.unwrap_or("memory"));
        let reads = self.reads_of(&id);
        let things = self.s.closure(&reads);
        let cell = things.iter().find_map(|t| match t {
            Thing::Func(i) if self.s.position(self.s.funcs[*i].position).name == chip => Some(*i),
            _ => None,
        });
        let Some(cell) = cell else {
            return (
                what,
                format!("Data bit {n} is in {chip}; the map does not say by which pins."),
            );
        };
        let f = self.s.funcs[cell].clone();
        let own = |w: &str| format!("{w}{}", n % width);
        let data_in = f.controls.iter().copied().find(|&p| {
            let signal = &self.s.pin(f.position, p).signal;
            signal == "din" || signal == "d" || *signal == own("din")
        });
        let (out, into) = (f.outs.first().copied(), data_in.or(f.outs.first().copied()));
        let processor = self
            .s
            .model
            .positions
            .iter()
            .position(|p| p.class == Class::Processor);
        let data = processor.and_then(|p| {
            let pins = &self.s.position(p).pins;
            Some((p, pins.iter().position(|q| q.signal == format!("d{n}"))?))
        });
        if let (Some(out), Some((p, pin))) = (out, data) {
            let mut steps = vec![self.source(cell, out)];
            steps.extend(self.way((f.position, out), (p, pin)));
            steps.push(self.sink(p, pin, None));
            self.path("Read: memory to processor", steps);
        }
        if let (Some(into), Some((p, pin))) = (into, data) {
            let first = StepView {
                leaves: Some(self.pin_view(p, pin)),
                breaks: self.breaks(self.s.wiring.pins[&(p, pin)]),
                ..self.step(p, Does::Drives, None)
            };
            let mut steps = vec![first];
            steps.extend(self.way((p, pin), (f.position, into)));
            let node_pin = self.sink(f.position, into, None);
            steps.push(node_pin);
            self.path("Write: processor to memory", steps);
        }
        let rest: Vec<usize> = f
            .controls
            .iter()
            .copied()
            .filter(|p| Some(*p) != data_in)
            .collect();
        for pin in rest {
            self.beside(f.position, pin);
        }
        let says = match bank {
            None => format!("Data bit {n} of main memory is in {chip}."),
            Some(bank) => format!("Data bit {n} of the {bank} memory is in {chip}."),
        };
        (what, says)
    }

    fn clock(&mut self, check: &str) -> Said {
        let n = check.rsplit('.').next().unwrap_or_default();
        let what = format!("clock {n}");
        let things = self.s.closure(&self.reads_of(check));
        let reader = things.iter().find_map(|t| match t {
            Thing::Func(i) => {
                let f = &self.s.funcs[*i];
                let counts = f.name.contains("clock")
                    || f.name.contains("tick")
                    || f.name.contains("interrupt");
                let pin = f
                    .controls
                    .iter()
                    .chain(&f.ins)
                    .copied()
                    .find(|&p| self.tick_pin(f.position, p));
                Some((f, pin.filter(|_| counts)?))
            }
            _ => None,
        });
        let Some((f, pin)) = reader else {
            return self.function(&what, check);
        };
        let (position, name) = (f.position, f.name.clone());
        let others: Vec<usize> = f.controls.iter().copied().filter(|p| *p != pin).collect();
        let line = self.s.line(position, pin).unwrap_or_default().to_string();
        let mut steps = self.back_to_source(&line);
        steps.push(self.sink(position, pin, Some(&name)));
        self.path("The tick", steps);
        for pin in others {
            self.beside(position, pin);
        }
        let says = format!(
            "{} counts the ticks that arrive at its pin {}.",
            self.s.position(position).name,
            self.s.pin(position, pin).label
        );
        (what, says)
    }

    fn tick_pin(&self, position: usize, pin: usize) -> bool {
        let line = self.s.line(position, pin);
        line.is_some_and(|l| !self.s.supplies.contains(l))
    }

    fn voice(&mut self, check: &str) -> Said {
        let n = check.rsplit('.').next().unwrap_or_default();
        let what = format!("voice {n}");
        let reads = self.reads_of(check);
        let things = self.s.closure(&reads);
        let voice = things.iter().find_map(|t| match t {
            Thing::Func(i) if self.s.funcs[*i].name.contains("voice") => Some(*i),
            _ => None,
        });
        let Some(voice) = voice else {
            return self.function(&what, check);
        };
        let position = self.s.funcs[voice].position;
        let same_part = |t: &Thing| match t {
            Thing::Func(i)
                if self.s.funcs[*i].position == position && !self.s.funcs[*i].outs.is_empty() =>
            {
                Some(*i)
            }
            _ => None,
        };
        let maker = match self.s.funcs[voice].outs.is_empty() {
            false => Some(voice),
            true => things.iter().find_map(same_part),
        };
        let Some((maker, out)) = maker.and_then(|m| Some((m, *self.s.funcs[m].outs.first()?)))
        else {
            return self.function(&what, check);
        };
        let line = self.s.line(position, out).unwrap_or_default();
        let mut steps = vec![self.source(maker, out)];
        let ends = self.ends();
        if let Some(hops) = self.s.route(line, &|l| ends.contains_key(l)) {
            let last = hops
                .last()
                .and_then(|h| self.s.line(self.s.funcs[h.func].position, h.leaves));
            let end = ends.get(last.unwrap_or(line)).cloned().unwrap_or_default();
            steps.extend(hops.iter().map(|h| self.hop(h)));
            for (position, pin) in end {
                let outside = self.s.position(position).outside;
                steps.push(match outside {
                    true => self.sink(position, pin, None),
                    false => self.contact(position, pin),
                });
            }
        }
        self.path("To the ear", steps);
        let says = format!("{} makes the voice.", self.s.position(position).name);
        (what, says)
    }

    /// Lines where something leaves the board: connectors first, then what is outside.
    fn ends(&self) -> HashMap<String, Vec<(usize, usize)>> {
        let mut out: HashMap<String, Vec<(usize, usize)>> = HashMap::new();
        for (line, pins) in self
            .s
            .on
            .iter()
            .filter(|(l, _)| !self.s.supplies.contains(*l))
        {
            let outside = |&&(p, _): &&(usize, usize)| {
                let p = self.s.position(p);
                p.outside && !matches!(p.class, Class::Keyboard | Class::Supply)
            };
            let connector =
                |&&(p, _): &&(usize, usize)| self.s.position(p).class == Class::Connector;
            if pins.iter().any(|p| outside(&p)) {
                let both = pins
                    .iter()
                    .filter(connector)
                    .chain(pins.iter().filter(outside));
                out.insert(line.clone(), both.copied().collect());
            }
        }
        out
    }

    fn rail(&mut self, name: &str) -> Said {
        let rail = &self.s.raw.rails[name];
        let line = rail.line.clone();
        let steps = self.back_to_source(&line);
        self.path("Where it comes from", steps);
        let fed = crate::boardcheck::meaning::downstream(&self.s.wiring.wired, &line);
        for behind in fed.iter().filter(|l| **l != line) {
            if let Some(hops) = self.s.route(&line, &|l| l == behind) {
                let steps = hops.iter().map(|h| self.hop(h)).collect();
                self.path(&format!("On to {behind}"), steps);
            }
        }
        let users: BTreeSet<&str> = fed
            .iter()
            .flat_map(|l| self.s.on.get(l).into_iter().flatten())
            .map(|&(p, _)| self.s.position(p).name.as_str())
            .collect();
        let says = format!(
            "On this supply: {}.",
            users.into_iter().collect::<Vec<_>>().join(" ")
        );
        (format!("supply {name}"), says)
    }

    fn line(&mut self, name: &str, pin: Option<(usize, usize)>) -> Said {
        let mut steps = self.back_to_source(name);
        let (made_by, read_by) = self.on_line(name);
        steps.extend(
            pin.filter(|p| {
                !self
                    .s
                    .drivers(name)
                    .iter()
                    .any(|d| self.s.funcs[d.0].position == p.0)
            })
            .map(|(p, n)| self.sink(p, n, None)),
        );
        self.path("Where it comes from", steps);
        if pin.is_none() {
            let far = self.on_from(name);
            self.path("Where it goes on", far);
        }
        let list = |pins: &BTreeSet<PinView>| {
            let all: Vec<String> = pins
                .iter()
                .map(|p| format!("{} ({})", p.pin, p.signal))
                .collect();
            if all.is_empty() {
                "nothing in the map".to_string()
            } else {
                all.join(", ")
            }
        };
        let says = format!("Driven by {}. Read by {}.", list(&made_by), list(&read_by));
        (format!("line {name}"), says)
    }

    /// Pins that drive a line, and all the others on it.
    fn on_line(&self, line: &str) -> (BTreeSet<PinView>, BTreeSet<PinView>) {
        let drivers: BTreeSet<PinView> = (self.s.drivers(line).iter())
            .map(|&(f, pin)| self.pin_view(self.s.funcs[f].position, pin))
            .collect();
        let all = self.s.on.get(line).into_iter().flatten();
        let readers = all
            .map(|&(p, n)| self.pin_view(p, n))
            .filter(|v| !drivers.contains(v))
            .collect();
        (drivers, readers)
    }

    /// Parts that take a line's signal on to another line at once.
    fn on_from(&self, line: &str) -> Vec<StepView> {
        let mut out = Vec::new();
        for (func, f) in self.s.funcs.iter().enumerate() {
            for &enters in f
                .ins
                .iter()
                .filter(|&&p| self.s.line(f.position, p) == Some(line))
            {
                let Some(&leaves) = f.outs.first() else {
                    continue;
                };
                out.push(self.hop(&Hop {
                    func,
                    enters,
                    leaves,
                }));
            }
        }
        out
    }

    fn pin(&mut self, position: usize, pin: usize) -> Said {
        let view = self.pin_view(position, pin);
        let what = format!("pin {}", view.pin);
        let p = self.s.position(position);
        let about = format!(
            "{} is pin {} ({}) of {}, {}.",
            view.pin,
            self.s.pin(position, pin).label,
            view.signal,
            part_name(p),
            p.role
        );
        if view.line.is_empty() {
            return (what, format!("{about} Nothing is connected to it."));
        }
        let (_, says) = self.line(&view.line, Some((position, pin)));
        (what, format!("{about} It is on line {}. {says}", view.line))
    }

    /// A function of the board: what it needs, in the order of the map.
    fn function(&mut self, what: &str, name: &str) -> Said {
        let reads = match self.s.functions.contains_key(name) {
            true => name.to_string(),
            false => self.reads_of(name),
        };
        let mut steps = Vec::new();
        for thing in self.s.closure(&reads) {
            match thing {
                Thing::Func(i) => {
                    let f = self.s.funcs[i].clone();
                    let enters = f
                        .ins
                        .iter()
                        .chain(&f.controls)
                        .copied()
                        .find(|&p| self.tick_pin(f.position, p));
                    let leaves = f
                        .outs
                        .iter()
                        .copied()
                        .find(|&p| self.s.line(f.position, p).is_some());
                    let node = self.s.wiring.part_functions[&(f.position, f.name.clone())];
                    let does = match (enters, leaves) {
                        (_, None) => Does::Reads,
                        (None, _) => Does::Drives,
                        _ if f.inverts => Does::Inverts,
                        _ => Does::Passes,
                    };
                    steps.push(StepView {
                        enters: enters.map(|p| self.pin_view(f.position, p)),
                        leaves: leaves.map(|p| self.pin_view(f.position, p)),
                        breaks: self.breaks(node),
                        ..self.step(f.position, does, Some(&f.name))
                    });
                }
                Thing::Pin(p, n) => steps.push(self.contact(p, n)),
                Thing::Line(_) | Thing::Board(_) => {}
            }
        }
        self.path("What it needs, in the order of the map", steps);
        let said = self.s.functions.get(name).and_then(|f| f.what.clone());
        (
            what.to_string(),
            said.map(|s| format!("{s}.")).unwrap_or_default(),
        )
    }
}
