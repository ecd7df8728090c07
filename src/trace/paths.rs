//! The ways of each kind of target, step by step.

use super::signals::{Func, Hop, Signals, Thing};
use super::target::Target;
use super::view::*;
use crate::boardinfo::effect;
use crate::boardinfo::show::{expected, part_name, rail_expected};
use crate::faultmap::expand;
use crate::faultmap::model::{CheckDef, Kind};
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
        Target::Bit(n) => t.bit(*n),
        Target::Clock(check) => t.clock(check),
        Target::Voice(check) => t.voice(check),
        Target::Rail(name) => t.rail(name),
        Target::Line(name) => t.line(name, None),
        Target::Pin(position, pin) => t.pin(*position, *pin),
    };
    t.done(what, says)
}

struct Tracer<'s, 'a> {
    s: &'s Signals<'a>,
    /// Node of the spreading graph by name.
    nodes: HashMap<String, usize>,
    paths: Vec<PathView>,
    beside: Vec<BesideView>,
}

type Said = (String, String);

impl Tracer<'_, '_> {
    fn pin_view(&self, position: usize, pin: usize) -> PinView {
        let p = self.s.position(position);
        PinView {
            pin: format!("{}.{}", p.name, p.pins[pin].label),
            signal: p.pins[pin].signal.clone(),
            line: p.pins[pin].line.clone().unwrap_or_default(),
        }
    }

    fn step(&self, position: usize, does: Does, function: Option<&str>) -> StepView {
        let p = self.s.position(position);
        StepView {
            socket: p.name.clone(),
            part: part_name(p),
            role: p.role.clone(),
            does,
            function: function.map(str::to_string),
            enters: None,
            leaves: None,
            breaks: Vec::new(),
        }
    }

    /// The part that makes a signal.
    fn source(&self, func: usize, pin: usize) -> StepView {
        let f = &self.s.funcs[func];
        let node = self.s.wiring.part_functions[&(f.position, f.name.clone())];
        StepView {
            leaves: Some(self.pin_view(f.position, pin)),
            breaks: self.breaks(node),
            ..self.step(f.position, Does::Drives, Some(&f.name))
        }
    }

    /// A part that hands the signal on.
    fn hop(&self, hop: &Hop) -> StepView {
        let f: &Func = &self.s.funcs[hop.func];
        let node = self.s.wiring.part_functions[&(f.position, f.name.clone())];
        let does = match (f.ins.contains(&hop.enters), f.inverts) {
            (true, true) => Does::Inverts,
            _ => Does::Passes,
        };
        StepView {
            enters: Some(self.pin_view(f.position, hop.enters)),
            leaves: Some(self.pin_view(f.position, hop.leaves)),
            breaks: self.breaks(node),
            ..self.step(f.position, does, Some(&f.name))
        }
    }

    /// A contact through which a line runs on.
    fn contact(&self, position: usize, pin: usize) -> StepView {
        StepView {
            enters: Some(self.pin_view(position, pin)),
            leaves: Some(self.pin_view(position, pin)),
            breaks: self.breaks(self.s.wiring.pins[&(position, pin)]),
            ..self.step(position, Does::Passes, None)
        }
    }

    /// The part that takes the signal in.
    fn sink(&self, position: usize, pin: usize, function: Option<&str>) -> StepView {
        let node = match function {
            Some(f) => self.s.wiring.part_functions[&(position, f.to_string())],
            None => self.s.wiring.pins[&(position, pin)],
        };
        StepView {
            enters: Some(self.pin_view(position, pin)),
            breaks: self.breaks(node),
            ..self.step(position, Does::Reads, function)
        }
    }

    /// What is seen when this node is lost.
    fn breaks(&self, node: usize) -> Vec<String> {
        let model = self.s.model;
        let mut strength: HashMap<usize, f64> = HashMap::new();
        let mut no_report = false;
        let report = self.nodes.get("report");
        for (n, kind, how) in self.s.wiring.graph.spread(&[(node, Kind::Lost)]) {
            no_report |= Some(&n) == report && kind == Kind::Lost && how >= effect::SHOWS;
            let best = strength.entry(n).or_default();
            *best = best.max(how);
        }
        let fails = |c: &&CheckDef| {
            c.reads.iter().any(|r| {
                let name = &model.nodes[r.node as usize].name;
                let how = self.nodes.get(name).and_then(|n| strength.get(n)).copied();
                how.unwrap_or(0.0) * f64::from(r.weight) >= effect::SHOWS
            })
        };
        let failing: Vec<&CheckDef> = model.checks.iter().filter(fails).collect();
        effect::phrases(model, &failing, no_report)
    }

    fn path(&mut self, title: &str, steps: Vec<StepView>) {
        if !steps.is_empty() {
            self.paths.push(PathView {
                title: title.to_string(),
                steps,
            });
        }
    }

    /// The way of a line's signal from where it is made, up to the line.
    fn from_source(&self, line: &str) -> Vec<StepView> {
        let (source, hops) = self.s.upstream(line);
        let mut steps: Vec<StepView> = source
            .map(|(f, pin)| self.source(f, pin))
            .into_iter()
            .collect();
        steps.extend(hops.iter().map(|h| self.hop(h)));
        steps
    }

    /// The first pin of a position on a line.
    fn pin_on(&self, position: usize, line: &str) -> Option<usize> {
        let lines = &self.s.wiring.wired[position].lines;
        lines.iter().position(|l| l.as_deref() == Some(line))
    }

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
            let places = [&kb.connector, &kb.unit];
            let at = |name: &&String| {
                let p = self.s.wiring.position(name)?;
                Some((p, self.pin_on(p, line)?))
            };
            places.iter().filter_map(at).collect()
        };
        let mut drive = self.from_source(&col);
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

    /// From a line on to the first of these functions that reads it, whatever lies between.
    fn to_reader(&self, line: &str, readers: &[Thing]) -> Vec<StepView> {
        let mut found: Option<(Vec<Hop>, usize, usize, String)> = None;
        for thing in readers {
            let Thing::Func(i) = thing else { continue };
            let f = &self.s.funcs[*i];
            let class = self.s.position(f.position).class;
            if matches!(
                class,
                Class::Keyboard | Class::Passive | Class::Connector | Class::Cable
            ) {
                continue;
            }
            for &pin in f.ins.iter().chain(&f.controls).chain(&f.outs) {
                let Some(at) = self.s.line(f.position, pin) else {
                    continue;
                };
                let Some(hops) = self.s.route(line, &|l| l == at) else {
                    continue;
                };
                if found.as_ref().is_none_or(|best| hops.len() < best.0.len()) {
                    found = Some((hops, f.position, pin, f.name.clone()));
                }
            }
        }
        let Some((hops, position, pin, function)) = found else {
            return Vec::new();
        };
        let mut out: Vec<StepView> = hops.iter().map(|h| self.hop(h)).collect();
        out.push(self.sink(position, pin, Some(&function)));
        out
    }

    fn bit(&mut self, n: usize) -> Said {
        let what = format!("memory bit {n}");
        let Some(memory) = &self.s.raw.memory else {
            return (what, String::new());
        };
        let chip = expand::list(&memory.bits)
            .get(n / usize::from(memory.width.max(1)))
            .cloned()
            .unwrap_or_default();
        let id = format!("memory.bit.{n}");
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
        let own = |w: &str| format!("{w}{}", n % usize::from(memory.width.max(1)));
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
        let says = format!("Data bit {n} of main memory is in {chip}.");
        (what, says)
    }

    /// Parts between two pins, in the direction of the signal, or the other way round through two-way buffers.
    fn way(&self, from: (usize, usize), to: (usize, usize)) -> Vec<StepView> {
        let (Some(a), Some(b)) = (self.s.line(from.0, from.1), self.s.line(to.0, to.1)) else {
            return Vec::new();
        };
        let cheap = |hops: &Vec<Hop>| {
            let program = |h: &Hop| {
                let class = self.s.position(self.s.funcs[h.func].position).class;
                matches!(
                    class,
                    Class::Processor
                        | Class::Memory
                        | Class::Rom
                        | Class::Video
                        | Class::InterfaceAdapter
                        | Class::Sound
                        | Class::StaticMemory
                )
            };
            !hops.iter().any(program)
        };
        if let Some(hops) = self.s.route(a, &|l| l == b).filter(cheap) {
            return hops.iter().map(|h| self.hop(h)).collect();
        }
        let Some(back) = self.s.route(b, &|l| l == a).filter(cheap) else {
            return Vec::new();
        };
        let turned = |h: &Hop| {
            let mut step = self.hop(h);
            std::mem::swap(&mut step.enters, &mut step.leaves);
            step
        };
        back.iter().rev().map(turned).collect()
    }

    /// A pin beside the way, and what feeds it.
    fn beside(&mut self, position: usize, pin: usize) {
        let Some(line) = self.s.line(position, pin).map(str::to_string) else {
            return;
        };
        if self.s.supplies.contains(&line) {
            return;
        }
        let (hops, at) = self.through_passives(&line);
        let mut from: Vec<String> = hops;
        for (func, out) in self.s.drivers(&at) {
            let f = &self.s.funcs[func];
            let inputs: Vec<String> = (f.ins.iter().chain(&f.controls))
                .filter_map(|&p| {
                    let line = self.s.line(f.position, p)?;
                    (!self.s.supplies.contains(line))
                        .then(|| format!("{} {line}", self.s.pin(f.position, p).label))
                })
                .take(6)
                .collect();
            let pin = self.pin_view(f.position, out);
            from.push(match inputs.is_empty() {
                true => pin.pin,
                false => format!("{} (in: {})", pin.pin, inputs.join(", ")),
            });
        }
        self.beside.push(BesideView {
            pin: self.pin_view(position, pin),
            from,
        });
    }

    /// Back through resistors and beads.
    fn through_passives(&self, line: &str) -> (Vec<String>, String) {
        let (mut out, mut at) = (Vec::new(), line.to_string());
        for _ in 0..4 {
            let drivers = self.s.drivers(&at);
            let [(func, leaves)] = drivers[..] else { break };
            let f = &self.s.funcs[func];
            let Some(&enters) = f
                .ins
                .first()
                .filter(|_| self.s.position(f.position).class == Class::Passive)
            else {
                break;
            };
            let p = self.s.position(f.position);
            out.push(format!(
                "{} {}-{}",
                p.name, p.pins[enters].label, p.pins[leaves].label
            ));
            at = self
                .s
                .line(f.position, enters)
                .unwrap_or_default()
                .to_string();
        }
        (out, at)
    }

    /// What a check reads, as typed in the map.
    fn reads_of(&self, id: &str) -> String {
        for (key, check) in &self.s.raw.checks {
            let numbered = expand::key(key).into_iter().find(|(name, _)| name == id);
            if let Some((_, number)) = numbered {
                return check.reads.replace('#', &number);
            }
        }
        String::new()
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
        let mut steps = self.from_source(&line);
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
        let steps = self.from_source(&line);
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
        let mut steps = self.from_source(name);
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

    /// Lines on the way with what to expect, and the cautions of the parts.
    fn done(self, what: String, says: String) -> TraceView {
        let mut lines: Vec<String> = Vec::new();
        let mut on_way = BTreeSet::new();
        let mut cautions: Vec<String> = Vec::new();
        for step in self.paths.iter().flat_map(|p| &p.steps) {
            for pin in step.enters.iter().chain(&step.leaves) {
                on_way.insert(pin.pin.clone());
                if !pin.line.is_empty()
                    && !lines.contains(&pin.line)
                    && !self.s.is_ground(&pin.line)
                {
                    lines.push(pin.line.clone());
                }
            }
            let caution = self
                .s
                .model
                .position(&step.socket)
                .and_then(|(_, p)| p.caution.clone());
            if let Some(c) = caution.filter(|c| !cautions.contains(c)) {
                cautions.push(c);
            }
        }
        let lines = lines.iter().map(|l| self.line_view(l, &on_way)).collect();
        TraceView {
            schema: 1,
            board: self.s.model.board.clone(),
            what,
            says,
            paths: self.paths,
            beside: self.beside,
            lines,
            cautions,
        }
    }

    fn line_view(&self, line: &str, on_way: &BTreeSet<String>) -> LineView {
        let pins: Vec<String> = (self.s.on.get(line).into_iter().flatten())
            .map(|&(p, n)| self.pin_view(p, n).pin)
            .collect();
        let (mine, others): (Vec<String>, Vec<String>) =
            pins.into_iter().partition(|p| on_way.contains(p));
        let def = self.s.model.lines.iter().find(|l| l.line == line);
        let rail = self.s.raw.rails.iter().find(|(_, r)| r.line == line);
        let (expect, at, what, caution) = match (def, rail) {
            (Some(d), _) => (
                Some(expected(d)),
                d.at.clone(),
                Some(d.what.clone()),
                d.caution.clone(),
            ),
            (_, Some((name, r))) => (
                Some(rail_expected(r)),
                expand::list(&r.measure),
                Some(format!("rail {name}; switch off at {} V", r.stop)),
                None,
            ),
            _ => (None, Vec::new(), None, None),
        };
        LineView {
            line: line.to_string(),
            expect,
            at: if at.is_empty() { mine } else { at },
            what,
            others,
            caution,
        }
    }
}
