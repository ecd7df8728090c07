//! Steps of a way: what stands at each, what breaks there, what lies beside it.

use super::paths::Tracer;
use super::signals::{Func, Hop, Thing};
use super::view::*;
use crate::boardinfo::effect;
use crate::boardinfo::show::{expected, part_name, rail_expected};
use crate::faultmap::expand;
use crate::faultmap::model::{CheckDef, Kind};
use crate::faultmap::raw::Class;
use std::collections::{BTreeSet, HashMap};

impl Tracer<'_, '_> {
    pub(super) fn pin_view(&self, position: usize, pin: usize) -> PinView {
        let p = self.s.position(position);
        PinView {
            pin: format!("{}.{}", p.name, p.pins[pin].label),
            signal: p.pins[pin].signal.to_string(),
            line: p.pins[pin].line.clone().unwrap_or_default().to_string(),
        }
    }

    pub(super) fn step(&self, position: usize, does: Does, function: Option<&str>) -> StepView {
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
    pub(super) fn source(&self, func: usize, pin: usize) -> StepView {
        let f = &self.s.funcs[func];
        let node = self.s.wiring.part_functions[&(f.position, f.name.clone())];
        StepView {
            leaves: Some(self.pin_view(f.position, pin)),
            breaks: self.breaks(node),
            ..self.step(f.position, Does::Drives, Some(&f.name))
        }
    }

    /// A part that hands the signal on.
    pub(super) fn hop(&self, hop: &Hop) -> StepView {
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
    pub(super) fn contact(&self, position: usize, pin: usize) -> StepView {
        StepView {
            enters: Some(self.pin_view(position, pin)),
            leaves: Some(self.pin_view(position, pin)),
            breaks: self.breaks(self.s.wiring.pins[&(position, pin)]),
            ..self.step(position, Does::Passes, None)
        }
    }

    /// The part that takes the signal in.
    pub(super) fn sink(&self, position: usize, pin: usize, function: Option<&str>) -> StepView {
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
    pub(super) fn breaks(&self, node: usize) -> Vec<String> {
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
                let how = self
                    .nodes
                    .get(name.as_str())
                    .and_then(|n| strength.get(n))
                    .copied();
                how.unwrap_or(0.0) * f64::from(r.weight) >= effect::SHOWS
            })
        };
        let failing: Vec<&CheckDef> = model.checks.iter().filter(fails).collect();
        effect::phrases(model, &failing, no_report)
    }

    pub(super) fn path(&mut self, title: &str, steps: Vec<StepView>) {
        if !steps.is_empty() {
            self.paths.push(PathView {
                title: title.to_string(),
                steps,
            });
        }
    }

    /// The way of a line's signal from where it is made, up to the line.
    pub(super) fn back_to_source(&self, line: &str) -> Vec<StepView> {
        let (source, hops) = self.s.upstream(line);
        let mut steps: Vec<StepView> = source
            .map(|(f, pin)| self.source(f, pin))
            .into_iter()
            .collect();
        steps.extend(hops.iter().map(|h| self.hop(h)));
        steps
    }

    /// The first pin of a position on a line.
    pub(super) fn pin_on(&self, position: usize, line: &str) -> Option<usize> {
        let lines = &self.s.wiring.wired[position].lines;
        lines.iter().position(|l| l.as_deref() == Some(line))
    }

    /// From a line on to the first of these functions that reads it, whatever lies between.
    pub(super) fn to_reader(&self, line: &str, readers: &[Thing]) -> Vec<StepView> {
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

    /// Parts between two pins, in the direction of the signal, or the other way round through two-way buffers.
    pub(super) fn way(&self, from: (usize, usize), to: (usize, usize)) -> Vec<StepView> {
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
    pub(super) fn beside(&mut self, position: usize, pin: usize) {
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
    pub(super) fn through_passives(&self, line: &str) -> (Vec<String>, String) {
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
    pub(super) fn reads_of(&self, id: &str) -> String {
        for (key, check) in &self.s.raw.checks {
            let numbered = expand::key(key).into_iter().find(|(name, _)| name == id);
            if let Some((_, number)) = numbered {
                return check.reads.replace('#', &number);
            }
        }
        String::new()
    }

    /// Lines on the way with what to expect, and the cautions of the parts.
    pub(super) fn done(self, what: String, says: String) -> TraceView {
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

    pub(super) fn line_view(&self, line: &str, on_way: &BTreeSet<String>) -> LineView {
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
