//! Mistakes of meaning that a map can compile with: limits out of order, measuring points on other lines, words and
//! checks that name nothing.

use super::{Finding, Read, code};
use crate::diag::Severity;
use crate::faultmap::expand;
use crate::faultmap::model::BoardModel;
use crate::faultmap::raw::{BoardRaw, CartridgeRaw, Class, FamilyRaw, KeyboardRaw};
use crate::faultmap::wiring::{Wired, Wiring, index, near};
use std::collections::{BTreeMap, BTreeSet};

struct Checker<'a> {
    file: &'a Read<'a>,
    board: &'a BoardRaw,
    families: &'a BTreeMap<String, FamilyRaw>,
    wiring: &'a Wiring,
    out: Vec<Finding>,
}

/// Everything that is wrong with what a board says.
pub(super) fn board(
    file: &Read,
    board: &BoardRaw,
    families: &BTreeMap<String, FamilyRaw>,
    wiring: &Wiring,
) -> Vec<Finding> {
    let mut c = Checker {
        file,
        board,
        families,
        wiring,
        out: Vec::new(),
    };
    c.rails();
    c.lines();
    c.parts();
    c.memory();
    c.keyboard();
    c.words();
    c.about();
    c.out
}

impl Checker<'_> {
    fn bad(&mut self, code: &'static str, path: &str, message: String, help: &str) {
        let help = (!help.is_empty()).then(|| help.to_string());
        let mut finding = self.file.at(code, path, message, help);
        if code == code::SOURCE {
            finding.diag.severity = Severity::Warning;
        }
        self.out.push(finding);
    }

    fn rails(&mut self) {
        let mut orders: BTreeMap<u32, &str> = BTreeMap::new();
        for (name, rail) in &self.board.rails {
            let path = format!("rails.{name}");
            let [low, nominal, high, stop] =
                [rail.low, rail.nominal, rail.high, rail.stop].map(f64::abs);
            if !(low <= nominal && nominal <= high && high < stop) {
                let message = format!(
                    "limits of rail {name} are out of order: low {low} nominal {nominal} high {high} stop {stop}"
                );
                let key = match () {
                    () if low > nominal => "low",
                    () if nominal > high => "high",
                    () => "stop",
                };
                self.bad(
                    code::MEANING,
                    &format!("{path}.{key}"),
                    message,
                    "low <= nominal <= high < stop, by magnitude",
                );
            }
            if rail
                .unloaded
                .is_some_and(|u| u.abs() < high || u.abs() > stop)
            {
                let message =
                    format!("the unloaded limit of rail {name} is not between high and stop");
                self.bad(
                    code::MEANING,
                    &format!("{path}.unloaded"),
                    message,
                    "high <= unloaded <= stop",
                );
            }
            if let Some(other) = orders.insert(rail.order, name) {
                let message = format!(
                    "rails {other} and {name} have the same place in the order of measuring"
                );
                self.bad(
                    code::MEANING,
                    &format!("{path}.order"),
                    message,
                    "number the rails, lowest first",
                );
            }
            if expand::list(&rail.measure).is_empty() {
                let message = format!("rail {name} does not say where to measure it");
                self.bad(
                    code::MEANING,
                    &format!("{path}.measure"),
                    message,
                    "give pins, best first: 'measure: U7.6 C1.1'",
                );
            }
            self.points(&format!("{path}.measure"), &rail.measure, &rail.line);
        }
    }

    fn lines(&mut self) {
        for (name, line) in &self.board.lines {
            self.points(&format!("lines.{name}.at"), &line.at, name);
            if line.hz.is_some_and(|hz| hz.is_nan() || hz <= 0.0) {
                let message = format!("the frequency of line {name} is a number above 0, in hertz");
                self.bad(code::MEANING, &format!("lines.{name}.hz"), message, "");
            }
        }
    }

    /// Measuring points lie on their line, or behind beads, chokes and resistors that carry it on.
    fn points(&mut self, path: &str, points: &str, line: &str) {
        if !self.wiring.lines.contains_key(line) {
            return;
        }
        let same = downstream(&self.wiring.wired, line);
        for point in expand::list(points) {
            match self.pin(&point) {
                Ok(Some(on)) if same.contains(&on) => {}
                Ok(on) => {
                    let on = on.map_or("nothing".to_string(), |l| format!("line {l}"));
                    let message = format!("'{point}' is on {on}, not on {line}");
                    self.bad(code::MEANING, path, message, "give a pin of the line");
                }
                Err(message) => {
                    let help = self.pins_of(&point);
                    self.bad(code::NAME, path, message, &help);
                }
            }
        }
    }

    /// How to write a pin: which pins there are, when the position is there.
    fn pins_of(&self, point: &str) -> String {
        let at = point.split_once('.').map(|(name, _)| name);
        let wired = at
            .and_then(|name| Some((name, &self.wiring.wired[self.wiring.position(name)?])))
            .and_then(|(name, w)| Some((name, w.labels.first()?, w.labels.last()?)));
        match wired {
            Some((name, first, last)) => format!("the pins of {name} are {first} to {last}"),
            None => "write it as U7.40".to_string(),
        }
    }

    /// The line at `U7.40` or `U7.reset`.
    fn pin(&self, point: &str) -> Result<Option<String>, String> {
        let (name, pin) = point
            .split_once('.')
            .ok_or_else(|| format!("'{point}' is no pin"))?;
        let position = self.wiring.position(name).ok_or_else(|| {
            let near = near(name, self.board.parts.keys());
            format!("'{point}': there is no position {name}{near}")
        })?;
        let wired = &self.wiring.wired[position];
        let found = index(&wired.labels, pin).or_else(|| index(&wired.signals, pin));
        let i = found.ok_or_else(|| format!("'{point}': {name} has no such pin"))?;
        Ok(wired.lines[i].clone())
    }

    fn parts(&mut self) {
        let placed = self.board.parts.values().any(|p| p.at.is_some());
        match (&self.board.layout, placed) {
            (None, true) => self.bad(
                code::SOURCE,
                "parts",
                "places are given, but not whether they are those of the real board".into(),
                "add 'layout: {kind: schematic, remark: …}' or 'kind: real'",
            ),
            (Some(_), false) => self.bad(
                code::SOURCE,
                "layout",
                "a layout is described, but no part has a place".into(),
                "give parts an 'at: [x, y]'",
            ),
            _ => {}
        }
        for (name, part) in &self.board.parts {
            let Some(family) = self.families.get(&part.family) else {
                continue;
            };
            let known = family
                .types
                .keys()
                .any(|t| Some(t) == part.part_type.as_ref());
            if let Some(t) = part
                .part_type
                .as_ref()
                .filter(|_| !known && !family.types.is_empty())
            {
                let near = near(t, family.types.keys());
                let help = match near.strip_prefix("; ") {
                    Some(near) => near.to_string(),
                    None => format!("add it to the types of {}", part.family),
                };
                let message = format!("type '{t}' is not among those of family {}", part.family);
                self.bad(code::NAME, &format!("parts.{name}.type"), message, &help);
            }
            if part.size.is_some_and(|(w, h)| !(w > 0.0 && h > 0.0)) {
                let message = format!("the size of {name} is two numbers above 0");
                self.bad(code::MEANING, &format!("parts.{name}.size"), message, "");
            }
        }
    }

    fn memory(&mut self) {
        let Some(memory) = &self.board.memory else {
            return;
        };
        self.bank(
            "memory",
            &memory.bits,
            memory.width,
            (memory.from, memory.to),
        );
        for (name, bank) in &memory.others {
            let path = format!("memory.others.{name}");
            self.bank(&path, &bank.bits, bank.width, (bank.from, bank.to));
        }
    }

    fn bank(&mut self, path: &str, bits: &str, width: u8, (from, to): (u32, u32)) {
        let at_bits = format!("{path}.bits");
        let bits = expand::list(bits);
        for bit in &bits {
            let class = self
                .board
                .parts
                .get(bit)
                .and_then(|p| self.families.get(&p.family));
            match class.map(|f| f.class) {
                Some(Class::Memory | Class::StaticMemory) => {}
                Some(_) => {
                    let message = format!("'{bit}' is no memory chip");
                    self.bad(code::MEANING, &at_bits, message, "");
                }
                None => {
                    let near = near(bit, self.board.parts.keys());
                    let message = format!("no position '{bit}'");
                    self.bad(code::NAME, &at_bits, message, near.trim_start_matches("; "));
                }
            }
        }
        if ![1, 4, 8].contains(&width) || bits.len() * usize::from(width) != 8 {
            let message = format!(
                "{} positions of {} bits are no 8 bits of main memory",
                bits.len(),
                width
            );
            self.bad(
                code::MEANING,
                &at_bits,
                message,
                "name the chips from data bit 0 up; width: 1 or 4",
            );
        }
        if from > to {
            let message = "the first address tested is above the last".to_string();
            self.bad(code::MEANING, &format!("{path}.from"), message, "");
        }
    }

    fn keyboard(&mut self) {
        let Some(kb) = &self.board.keyboard else {
            return;
        };
        self.matrix(kb);
        let keys: Vec<&String> = kb
            .matrix
            .iter()
            .flatten()
            .chain(kb.outside.keys())
            .collect();
        for (alias, key) in &kb.aliases {
            if !keys.contains(&key) {
                let near = near(key, keys.iter().copied());
                let message = format!("'{key}' is no key");
                let path = format!("keyboard.aliases.{alias}");
                self.bad(code::NAME, &path, message, near.trim_start_matches("; "));
            }
        }
    }

    /// One list a column, as long as there are rows, every key once.
    fn matrix(&mut self, kb: &KeyboardRaw) {
        let (columns, rows) = (expand::list(&kb.columns), expand::list(&kb.rows));
        if kb.matrix.len() != columns.len() {
            let message = format!(
                "{} lists of keys for {} columns",
                kb.matrix.len(),
                columns.len()
            );
            self.bad(
                code::MEANING,
                "keyboard.matrix",
                message,
                "one list a column",
            );
        }
        let mut seen = BTreeSet::new();
        for (c, keys) in kb.matrix.iter().enumerate() {
            let path = format!("keyboard.matrix.{c}");
            if keys.len() != rows.len() {
                let message = format!("column {c} has {} keys for {} rows", keys.len(), rows.len());
                self.bad(
                    code::MEANING,
                    &path,
                    message,
                    "one key a row, - where there is none",
                );
            }
            for key in keys.iter().filter(|k| *k != "-") {
                if !seen.insert(key) {
                    let message = format!("key '{key}' stands twice in the matrix");
                    self.bad(code::MEANING, &path, message, "each key has one place");
                }
            }
        }
    }

    fn words(&mut self) {
        for (word, means) in &self.board.words {
            let known = self.board.parts.contains_key(means)
                || self.wiring.lines.contains_key(means)
                || means.parse::<u64>().is_ok();
            if !known {
                let names = self.board.parts.keys().chain(self.wiring.lines.keys());
                let near = near(means, names);
                let message = format!("'{means}' is no position, line or number");
                let path = format!("words.{word}");
                self.bad(code::NAME, &path, message, near.trim_start_matches("; "));
            }
        }
    }

    /// What the board says about itself.
    fn about(&mut self) {
        if self.board.board.trim().is_empty() || self.board.board.contains(char::is_whitespace) {
            let message = format!("the name '{}' is not one word", self.board.board);
            self.bad(
                code::MEANING,
                "board",
                message,
                "a sheet names it in one word: join the parts with hyphens",
            );
        }
        let mut types: BTreeSet<&String> = BTreeSet::new();
        for part in self.board.parts.values() {
            types.extend(part.part_type.as_ref());
            types.extend(
                self.families
                    .get(&part.family)
                    .into_iter()
                    .flat_map(|f| f.types.keys()),
            );
        }
        for t in expand::list(&self.board.known_by) {
            if !types.contains(&t) {
                let near = near(&t, types.iter().copied());
                let message = format!("'{t}' is no type of a part of this board");
                self.bad(
                    code::NAME,
                    "known_by",
                    message,
                    near.trim_start_matches("; "),
                );
            }
        }
        if self.board.sources.is_empty() {
            let message = "the map does not say where its wiring is from".to_string();
            self.bad(
                code::SOURCE,
                "sources",
                message,
                "'from memory' is a source too",
            );
        }
        if self
            .board
            .mains
            .iter()
            .any(|hz| !(40.0..=70.0).contains(hz))
        {
            let message = "a mains frequency is 50 or 60".to_string();
            self.bad(code::MEANING, "mains", message, "");
        }
    }
}

/// A cartridge runs on boards that are there, and its stages are checks of those boards.
pub(super) fn cartridge(
    file: &Read,
    cartridge: &CartridgeRaw,
    models: &BTreeMap<String, BoardModel>,
) -> Vec<Finding> {
    let mut out = Vec::new();
    for name in &cartridge.boards {
        let Some(model) = models.get(name) else {
            let near = near(name, models.keys());
            let help = near.strip_prefix("; ").map(str::to_string);
            let message = format!("no board '{name}' among these maps");
            out.push(file.at(code::NAME, "boards", message, help));
            continue;
        };
        let ids: Vec<String> = model.checks.iter().map(|c| c.id.clone()).collect();
        for stage in &cartridge.stages {
            for check in expand::list(&stage.checks)
                .iter()
                .filter(|c| !ids.contains(c))
            {
                let near = near(check, ids.iter());
                let help = near.strip_prefix("; ").map(str::to_string);
                let message = format!("stage {}: '{check}' is no check of {name}", stage.stage);
                out.push(file.at(code::NAME, "stages", message, help));
            }
        }
    }
    out
}

/// Lines that a line reaches through two-pin parts that pass it on, itself included.
pub fn downstream(wired: &[Wired], from: &str) -> BTreeSet<String> {
    let mut reached = BTreeSet::from([from.to_string()]);
    loop {
        let before = reached.len();
        for part in wired.iter().filter(|p| p.signals.len() == 2) {
            let pin = |s: &str| {
                let i = part.signals.iter().position(|x| x == s)?;
                part.lines[i].clone()
            };
            if let (Some(a), Some(b)) = (pin("a"), pin("b"))
                && part.functions.iter().any(|(name, _)| name == "path")
                && reached.contains(&a)
            {
                reached.insert(b);
            }
        }
        if reached.len() == before {
            return reached;
        }
    }
}
