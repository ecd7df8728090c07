//! A checked map to the model: units, their modes, and what each mode does to everything that can be read.

use super::expand;
use super::model::*;
use super::raw::*;
use super::wiring::{MapError, Wired, Wiring, near};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Failure rates, in failures per million hours, that the compiler asks for.
pub trait Rates {
    /// Rate of a part with this many pins.
    fn part(&self, raw: &RateRaw, pins: usize) -> Result<f64, String>;
    /// All contacts of a socket with this many pins.
    fn socket(&self, pins: usize) -> f64;
    /// All solder joints of a part with this many pins.
    fn joints(&self, pins: usize) -> f64;
    /// One contact of a connector.
    fn contact(&self) -> f64;
    /// One key.
    fn key(&self) -> f64;
    /// Exposure in million hours for a machine that came in faulty, is untested, works; from all units, each with its
    /// class and its modes as (rate, notice).
    fn exposures(&self, units: &[(Class, Vec<(f64, f64)>)]) -> Result<[f64; 3], String>;
}

/// The name of a key's stuck mode and open mode, with their shares (guess: worn contacts are by far the commoner).
const KEY_MODES: [(&str, f64, Kind); 2] = [
    ("contact worn or dirty", 0.9, Kind::Lost),
    ("contact stuck", 0.1, Kind::Low),
];

/// Probability that an owner notices a fault when the map does not say (guess).
const NOTICE: f64 = 0.8;

/// In YAML a blank and `#` begin a comment, which would silently cut the text.
const UNNUMBERED: &str =
    "the text of a range says which one with '#': write it in quotes, what: \"bit # dead\"";

/// Compiles one board.
///
/// # Errors
/// Every mistake found in the map.
pub fn compile(
    file: &str,
    board: &BoardRaw,
    families: &BTreeMap<String, FamilyRaw>,
    rates: &dyn Rates,
) -> Result<BoardModel, Vec<MapError>> {
    let wiring = Wiring::new(file, board, families);
    let mut c = Compiler {
        file,
        board,
        families,
        rates,
        wiring,
        errors: Vec::new(),
    };
    let checks = c.checks();
    let drafts = c.units();
    let (stored, names) = c.stored_nodes(&checks);
    let model = c.model(&checks, drafts, &stored, names);
    let mut errors = std::mem::take(&mut c.wiring.errors);
    errors.append(&mut c.errors);
    if errors.is_empty() {
        Ok(model)
    } else {
        Err(errors)
    }
}

struct Compiler<'a> {
    file: &'a str,
    board: &'a BoardRaw,
    families: &'a BTreeMap<String, FamilyRaw>,
    rates: &'a dyn Rates,
    wiring: Wiring,
    errors: Vec<MapError>,
}

/// A check before its nodes are numbered as stored.
struct DraftCheck {
    id: String,
    what: String,
    test: bool,
    minutes: f64,
    reads: Vec<(usize, f64)>,
}

struct DraftMode {
    what: String,
    rate: f64,
    notice: f64,
    flaky: Option<f64>,
    missing: bool,
    start: Vec<(usize, Kind)>,
}

struct DraftUnit {
    name: String,
    kind: UnitKind,
    position: usize,
    class: Class,
    modes: Vec<DraftMode>,
    /// Modes that show alike are one.
    merge: bool,
}

impl Compiler<'_> {
    fn error(&mut self, path: &str, message: String) {
        self.errors.push(MapError {
            file: self.file.into(),
            path: path.into(),
            message,
        });
    }

    fn checks(&mut self) -> Vec<DraftCheck> {
        let mut out = Vec::new();
        for (key, raw) in &self.board.checks {
            let expanded = expand::key(key);
            if expanded.len() > 1 && !raw.what.contains('#') {
                self.error(&format!("checks.{key}"), UNNUMBERED.into());
            }
            for (id, number) in expanded {
                let path = format!("checks.{id}");
                let reads =
                    expand::weighted(&raw.reads.replace('#', &number)).unwrap_or_else(|token| {
                        self.error(
                            &path,
                            format!("'{token}': the weight after @ is a number from 0 to 1"),
                        );
                        Vec::new()
                    });
                let reads: Vec<(usize, f64)> = reads
                    .iter()
                    .filter_map(|r| Some((self.wiring.resolve(&path, &r.name)?, r.weight)))
                    .collect();
                if reads.is_empty() {
                    self.error(&path, "this check reads nothing".into());
                }
                let what = raw.what.replace('#', &number);
                out.push(DraftCheck {
                    id,
                    what,
                    test: raw.test,
                    minutes: raw.minutes.unwrap_or(1.0),
                    reads,
                });
            }
        }
        for (name, rail) in &self.board.rails {
            match self.wiring.lines.get(&rail.line) {
                Some(&node) => out.push(DraftCheck {
                    id: format!("rail.{name}"),
                    what: format!("rail {name}"),
                    test: false,
                    minutes: 1.0,
                    reads: vec![(node, 1.0)],
                }),
                None => self.error(
                    &format!("rails.{name}"),
                    format!("no pin is on line '{}'", rail.line),
                ),
            }
        }
        for (key, &node) in self
            .wiring
            .functions
            .iter()
            .filter(|(n, _)| n.starts_with("key."))
        {
            let what = format!("key {}", &key[4..]);
            out.push(DraftCheck {
                id: key.clone(),
                what,
                test: true,
                minutes: 0.1,
                reads: vec![(node, 1.0)],
            });
        }
        out.sort_by(|a, b| a.id.cmp(&b.id));
        let twice: Vec<String> = out
            .windows(2)
            .filter(|w| w[0].id == w[1].id)
            .map(|w| w[0].id.clone())
            .collect();
        for id in twice {
            self.error(&format!("checks.{id}"), "this check is given twice".into());
        }
        out
    }

    fn units(&mut self) -> Vec<DraftUnit> {
        let mut out = Vec::new();
        for position in 0..self.wiring.wired.len() {
            let wired = self.wiring.wired[position].clone();
            let part = &self.board.parts[&wired.name];
            let family = &self.families[&part.family];
            out.push(self.part_unit(position, &wired, part, family));
            self.contact_units(position, &wired, part, family, &mut out);
        }
        self.key_units(&mut out);
        out
    }

    fn part_unit(
        &mut self,
        position: usize,
        wired: &Wired,
        part: &PartRaw,
        family: &FamilyRaw,
    ) -> DraftUnit {
        let path = format!("parts.{}", wired.name);
        let used = wired.signals.iter().filter(|s| *s != "-").count();
        let base = self.rates.part(&family.rate, used).unwrap_or_else(|e| {
            self.error(&path, e);
            0.0
        });
        let factor = [&family.field, &part.field]
            .into_iter()
            .flatten()
            .map(|f| f.factor)
            .product::<f64>();
        let total: f64 = family.modes.values().map(|m| m.share).sum();
        let mut modes = Vec::new();
        for (key, raw) in &family.modes {
            let expanded = expand::key(key);
            if expanded.len() > 1 && !raw.what.contains('#') {
                self.error(&format!("{path} mode {key}"), UNNUMBERED.into());
            }
            let share = raw.share / total / expanded.len() as f64;
            for (_, number) in expanded {
                modes.push(DraftMode {
                    what: raw.what.replace('#', &number),
                    rate: base * factor * share,
                    notice: raw.notice.unwrap_or(NOTICE),
                    flaky: raw.flaky,
                    missing: false,
                    start: self.conditions(position, &format!("{path} mode {key}"), raw, &number),
                });
            }
        }
        let start = self
            .wiring
            .part_functions
            .iter()
            .filter(|((p, _), _)| *p == position);
        let start: Vec<_> = start.map(|(_, &node)| (node, Kind::Lost)).collect();
        if !start.is_empty() {
            let what = "not fitted".to_string();
            modes.push(DraftMode {
                what,
                rate: 0.0,
                notice: 1.0,
                flaky: None,
                missing: true,
                start,
            });
        }
        let (name, class) = (wired.name.clone(), family.class);
        DraftUnit {
            name,
            kind: UnitKind::Part,
            position,
            class,
            modes,
            merge: false,
        }
    }

    /// What a mode does at its own part.
    fn conditions(
        &mut self,
        position: usize,
        path: &str,
        raw: &ModeRaw,
        number: &str,
    ) -> Vec<(usize, Kind)> {
        let mut start = Vec::new();
        let lists = [
            (&raw.loses, Kind::Lost),
            (&raw.low, Kind::Low),
            (&raw.high, Kind::High),
            (&raw.wrong, Kind::Wrong),
            (&raw.slow, Kind::Slow),
            (&raw.fast, Kind::Fast),
            (&raw.noisy, Kind::Noisy),
        ];
        for (text, kind) in lists {
            for name in expand::list(&text.replace('#', number)) {
                if let Some(&node) = self.wiring.part_functions.get(&(position, name.clone())) {
                    start.push((node, kind));
                    continue;
                }
                for node in self.wiring.in_part(position, path, &name) {
                    let pin = self.pin_index(position, node);
                    match (kind, pin) {
                        (Kind::Lost, Some(pin)) => self.open(position, pin, &mut start),
                        // A pin that pulls or shakes does so to its line, and so to everything on it.
                        (_, Some(pin)) => match &self.wiring.wired[position].lines[pin] {
                            Some(line) => start.push((self.wiring.lines[line], kind)),
                            None => start.push((node, kind)),
                        },
                        (_, None) => start.push((node, kind)),
                    }
                }
            }
        }
        if start.is_empty() {
            self.error(
                path,
                "a mode loses, pulls low or high, or makes wrong, slow, fast or noisy something"
                    .into(),
            );
        }
        start
    }

    fn pin_index(&self, position: usize, node: usize) -> Option<usize> {
        (0..self.wiring.wired[position].signals.len())
            .find(|&i| self.wiring.pins[&(position, i)] == node)
    }

    /// An open pin: the part does not see its line, nor the line the part, if this was its only driver's only pin there.
    fn open(&self, position: usize, pin: usize, start: &mut Vec<(usize, Kind)>) {
        start.push((self.wiring.pins[&(position, pin)], Kind::Lost));
        let wired = &self.wiring.wired[position];
        let Some(line) = &wired.lines[pin] else {
            return;
        };
        let driven_here = wired.functions.iter().any(|(name, f)| {
            let node = self.wiring.part_functions[&(position, name.clone())];
            let drives = expand::list(&f.drives);
            let on_line = |i: &usize| {
                wired.lines[*i].as_ref() == Some(line) && drives.contains(&wired.signals[*i])
            };
            // Two pins of one driver on one line (the two 5 V contacts of a plug, say) stand in for each other.
            self.wiring.sole_driver.get(line) == Some(&node)
                && drives.contains(&wired.signals[pin])
                && (0..wired.lines.len()).filter(on_line).count() == 1
        });
        if driven_here {
            start.push((self.wiring.lines[line], Kind::Lost));
        }
    }

    fn contact_units(
        &mut self,
        position: usize,
        wired: &Wired,
        part: &PartRaw,
        family: &FamilyRaw,
        out: &mut Vec<DraftUnit>,
    ) {
        let used: Vec<usize> = (0..wired.signals.len())
            .filter(|&i| wired.lines[i].is_some())
            .collect();
        let open = |pin: usize| {
            let mut start = Vec::new();
            self.open(position, pin, &mut start);
            start
        };
        let mode = |pin: usize, rate: f64| DraftMode {
            what: format!("pin {} open", wired.labels[pin]),
            rate,
            notice: NOTICE,
            flaky: None,
            missing: false,
            start: open(pin),
        };
        if family.separate_contacts {
            for &pin in &used {
                out.push(DraftUnit {
                    name: format!("{} pin {}", wired.name, wired.labels[pin]),
                    kind: UnitKind::Contact {
                        pin: wired.labels[pin].clone(),
                    },
                    position,
                    class: Class::Contact,
                    modes: vec![mode(pin, self.rates.contact())],
                    merge: false,
                });
            }
            return;
        }
        // Two-pin parts: an open joint shows as the open part does, and is put right by the same work.
        if part.outside || wired.signals.len() < 3 || used.is_empty() {
            return;
        }
        let (kind, word, total) = match part.socket {
            true => (
                UnitKind::Contacts,
                "contacts",
                self.rates.socket(used.len()),
            ),
            false => (UnitKind::Joints, "joints", self.rates.joints(used.len())),
        };
        let modes = used
            .iter()
            .map(|&pin| mode(pin, total / used.len() as f64))
            .collect();
        let name = format!("{} {word}", wired.name);
        out.push(DraftUnit {
            name,
            kind,
            position,
            class: Class::Contact,
            modes,
            merge: true,
        });
    }

    fn key_units(&mut self, out: &mut Vec<DraftUnit>) {
        let Some(kb) = &self.board.keyboard else {
            return;
        };
        let Some(position) = self.wiring.position(&kb.unit) else {
            return self.error("keyboard.unit", format!("no position '{}'", kb.unit));
        };
        let rate = self.rates.key();
        for (name, &node) in self
            .wiring
            .functions
            .iter()
            .filter(|(n, _)| n.starts_with("key."))
        {
            let key = name[4..].to_string();
            let modes = KEY_MODES.map(|(what, share, kind)| DraftMode {
                what: what.into(),
                rate: rate * share,
                notice: NOTICE,
                flaky: None,
                missing: false,
                start: vec![(node, kind)],
            });
            let (name, kind) = (format!("key {key}"), UnitKind::Key { key });
            out.push(DraftUnit {
                name,
                kind,
                position,
                class: Class::Keyboard,
                modes: modes.into(),
                merge: false,
            });
        }
    }

    /// Which nodes a sheet can read: lines, and whatever the checks read. Graph node → stored index, and names.
    fn stored_nodes(&self, checks: &[DraftCheck]) -> (HashMap<usize, u32>, Vec<(String, bool)>) {
        let mut stored = HashMap::new();
        let mut names = Vec::new();
        let mut keep = |node: usize, name: String, line: bool| {
            stored.entry(node).or_insert_with(|| {
                names.push((name, line));
                names.len() as u32 - 1
            });
        };
        for (name, &node) in &self.wiring.lines {
            keep(node, name.clone(), true);
        }
        let read: HashSet<usize> = checks
            .iter()
            .flat_map(|c| c.reads.iter().map(|r| r.0))
            .collect();
        for (name, &node) in self
            .wiring
            .functions
            .iter()
            .filter(|(n, node)| read.contains(node) || ["report", "run"].contains(&n.as_str()))
        {
            keep(node, name.clone(), false);
        }
        let mut parts: Vec<_> = self
            .wiring
            .part_functions
            .iter()
            .filter(|(_, node)| read.contains(node))
            .collect();
        parts.sort();
        for ((position, function), &node) in parts {
            keep(
                node,
                format!("{}.{function}", self.wiring.wired[*position].name),
                false,
            );
        }
        let mut pins: Vec<_> = self
            .wiring
            .pins
            .iter()
            .filter(|(_, node)| read.contains(node))
            .collect();
        pins.sort();
        for (&(position, pin), &node) in pins {
            let wired = &self.wiring.wired[position];
            keep(node, format!("{}.{}", wired.name, wired.labels[pin]), false);
        }
        (stored, names)
    }

    fn model(
        &mut self,
        checks: &[DraftCheck],
        drafts: Vec<DraftUnit>,
        stored: &HashMap<usize, u32>,
        names: Vec<(String, bool)>,
    ) -> BoardModel {
        let mut nodes: Vec<Node> = names
            .into_iter()
            .map(|(name, line)| Node {
                name,
                line,
                touches: Vec::new(),
            })
            .collect();
        let (mut units, mut modes) = (Vec::new(), Vec::<FaultMode>::new());
        for draft in drafts {
            let first = modes.len() as ModeId;
            let mut seen: HashMap<Vec<(u32, Kind, u32)>, usize> = HashMap::new();
            for mode in draft.modes {
                let reach: Vec<(u32, Kind, f32)> = self
                    .wiring
                    .graph
                    .spread(&mode.start)
                    .into_iter()
                    .filter_map(|(n, kind, s)| Some((*stored.get(&n)?, kind, s as f32)))
                    .collect();
                let signature = reach
                    .iter()
                    .map(|&(n, kind, s)| (n, kind, s.to_bits()))
                    .collect();
                if let Some(&same) = draft.merge.then(|| seen.get(&signature)).flatten() {
                    modes[same].rate += mode.rate;
                    modes[same].what = merged(&modes[same].what, &mode.what);
                    continue;
                }
                let id = modes.len();
                let touching = !reach.is_empty();
                seen.insert(signature, id);
                for (node, kind, strength) in reach {
                    nodes[node as usize].touches.push(Touch {
                        mode: id as ModeId,
                        kind,
                        strength,
                    });
                }
                let DraftMode {
                    what,
                    rate,
                    flaky,
                    missing,
                    ..
                } = mode;
                // What nothing shows no owner notices.
                let notice = if touching { mode.notice } else { 0.0 };
                modes.push(FaultMode {
                    unit: units.len() as u32,
                    what,
                    rate,
                    notice,
                    flaky,
                    missing,
                });
            }
            let DraftUnit {
                name,
                kind,
                position,
                class,
                ..
            } = draft;
            units.push(Unit {
                name,
                kind,
                position,
                class,
                modes: first..modes.len() as ModeId,
            });
        }
        let exposures = self.exposures(&units, &modes);
        let read = |&(node, weight): &(usize, f64)| Read {
            node: stored[&node],
            weight: weight as f32,
        };
        let checks = checks.iter().map(|c| CheckDef {
            id: c.id.clone(),
            what: c.what.clone(),
            test: c.test,
            minutes: c.minutes,
            reads: c.reads.iter().map(read).collect(),
        });
        let checks = checks.collect();
        self.assemble(checks, units, modes, nodes, exposures)
    }

    fn exposures(&mut self, units: &[Unit], modes: &[FaultMode]) -> [f64; 3] {
        let of = |u: &Unit| {
            let range = u.modes.start as usize..u.modes.end as usize;
            (
                u.class,
                modes[range].iter().map(|m| (m.rate, m.notice)).collect(),
            )
        };
        let list: Vec<(Class, Vec<(f64, f64)>)> = units.iter().map(of).collect();
        self.rates.exposures(&list).unwrap_or_else(|e| {
            self.error("parts", e);
            [0.0; 3]
        })
    }

    fn assemble(
        &mut self,
        checks: Vec<CheckDef>,
        units: Vec<Unit>,
        modes: Vec<FaultMode>,
        nodes: Vec<Node>,
        exposures: [f64; 3],
    ) -> BoardModel {
        let b = self.board;
        let positions = self
            .wiring
            .wired
            .clone()
            .into_iter()
            .map(|w| self.position(w))
            .collect();
        for name in b
            .lines
            .keys()
            .filter(|name| !self.wiring.lines.contains_key(*name))
        {
            let message = format!(
                "no pin is on line '{name}'{}",
                near(name, self.wiring.lines.keys())
            );
            self.errors.push(MapError {
                file: self.file.into(),
                path: format!("lines.{name}"),
                message,
            });
        }
        let line = |(name, raw): (&String, &LineRaw)| LineDef {
            line: name.clone(),
            expect: raw.expect,
            hz: raw.hz,
            what: raw.what.clone(),
            at: expand::list(&raw.at),
            caution: raw.caution.clone(),
        };
        BoardModel {
            board: b.board.clone(),
            what: b.what.clone(),
            known_by: expand::list(&b.known_by),
            sources: b.sources.clone(),
            mains: b.mains.clone(),
            positions,
            units,
            modes,
            nodes,
            checks,
            rails: b.rails.clone(),
            lines: b.lines.iter().map(line).collect(),
            keyboard: b.keyboard.clone(),
            memory: b.memory.clone(),
            words: b.words.clone(),
            exposures,
        }
    }

    fn position(&self, wired: Wired) -> Position {
        let part = &self.board.parts[&wired.name];
        let family = &self.families[&part.family];
        let pins = wired
            .labels
            .iter()
            .zip(&wired.signals)
            .zip(&wired.lines)
            .map(|((label, signal), line)| Pin {
                label: label.clone(),
                signal: signal.clone(),
                line: line.clone(),
            });
        Position {
            pins: pins.collect(),
            name: wired.name,
            family: part.family.clone(),
            class: family.class,
            part_type: part.part_type.clone(),
            role: part.role.clone(),
            socket: part.socket,
            required: part.required,
            outside: part.outside,
            at: part.at,
            warmth: family.warmth,
            caution: family.caution.clone(),
            types: family.types.clone(),
        }
    }
}

/// `pin 3 open` and `pin 4 open` → `pin 3 or 4 open`; long lists are cut.
fn merged(a: &str, b: &str) -> String {
    let pin = |s: &str| {
        s.trim_start_matches("pin ")
            .trim_end_matches(" open")
            .to_string()
    };
    let a = pin(a);
    if a.ends_with('…') {
        return format!("pin {a} open");
    }
    if a.matches(" or ").count() >= 4 {
        format!("pin {a} or … open")
    } else {
        format!("pin {a} or {} open", pin(b))
    }
}

#[cfg(test)]
mod tests {
    use super::super::load::parse;
    use super::*;

    struct Flat;
    impl Rates for Flat {
        fn part(&self, _: &RateRaw, _: usize) -> Result<f64, String> {
            Ok(1.0)
        }
        fn socket(&self, _: usize) -> f64 {
            0.1
        }
        fn joints(&self, _: usize) -> f64 {
            0.01
        }
        fn contact(&self) -> f64 {
            0.02
        }
        fn key(&self) -> f64 {
            0.03
        }
        fn exposures(&self, _: &[(Class, Vec<(f64, f64)>)]) -> Result<[f64; 3], String> {
            Ok([1.0, 0.5, 0.1])
        }
    }

    const CHIP: &str = r#"
family: chip
what: two gates
class: logic
pins: vcc in0..1 out0..1
rate: {fixed: {per_million_hours: 1.0, source: test}}
functions:
  gate.0..1: {needs: in#, power: vcc, drives: out#}
modes:
  dead: {what: dead, share: 2, loses: gate.0..1}
  gate.0..1: {what: "gate # dead", share: 1, loses: gate.#}
  short: {what: input 0 shorted, share: 1, low: in0}
"#;
    const BOARD: &str = "
board: tiny
what: two chips in a row
sources: [test]
parts:
  U1: {family: chip, role: first, socket: true, pins: +5V A - B -}
  U2: {family: chip, role: second, pins: +5V B - C -}
rails:
  +5V: {line: +5V, nominal: 5, low: 4.75, high: 5.25, stop: 5.5, measure: U1.1, order: 1, source: test}
functions:
  report: {needs: C}
checks:
  out: {reads: C, test: true, what: output}
";

    const PLUG: &str = "
family: plug
what: two contacts side by side
class: connector
pins: from to0..1
rate: {fixed: {per_million_hours: 1.0, source: test}}
functions:
  pass: {carries: from, needs: to0..1@0.3, drives: to0..1}
modes:
  dead: {what: dead, share: 1, loses: pass}
";

    fn tiny(board: &str) -> Result<BoardModel, Vec<MapError>> {
        let family: FamilyRaw = parse("chip.yaml", CHIP).unwrap();
        let plug: FamilyRaw = parse("plug.yaml", PLUG).unwrap();
        let families = BTreeMap::from([("chip".to_string(), family), ("plug".into(), plug)]);
        compile(
            "tiny.yaml",
            &parse("tiny.yaml", board).unwrap(),
            &families,
            &Flat,
        )
    }

    fn strength(m: &BoardModel, node: &str, unit: &str, what: &str, kind: Kind) -> Option<f32> {
        let node = &m.nodes[m.node(node)? as usize];
        node.touches.iter().find_map(|t| {
            let mode = &m.modes[t.mode as usize];
            let fits =
                m.units[mode.unit as usize].name == unit && mode.what == what && t.kind == kind;
            fits.then_some(t.strength)
        })
    }

    #[test]
    fn trouble_runs_down_the_line() {
        let m = tiny(BOARD).unwrap();
        assert_eq!(
            strength(&m, "C", "U1", "gate 0 dead", Kind::Lost),
            Some(1.0)
        );
        assert_eq!(strength(&m, "C", "U1", "gate 1 dead", Kind::Lost), None);
        // U2's shorted input pulls B low, so C is lost; A is not touched.
        assert_eq!(
            strength(&m, "B", "U2", "input 0 shorted", Kind::Low),
            Some(1.0)
        );
        assert_eq!(
            strength(&m, "C", "U2", "input 0 shorted", Kind::Lost),
            Some(1.0)
        );
        assert_eq!(strength(&m, "A", "U2", "input 0 shorted", Kind::Low), None);
        // An open output pin takes its line with it; the supply pin takes everything.
        let joints = m.units.iter().find(|u| u.name == "U2 joints").unwrap();
        let modes = &m.modes[joints.modes.start as usize..joints.modes.end as usize];
        assert_eq!(
            modes.len(),
            1,
            "all three pins of U2 show alike at C: {modes:?}"
        );
        assert!((modes[0].rate - 0.01).abs() < 1e-12);
        assert!(m.units.iter().any(|u| u.name == "U1 contacts"));
    }

    #[test]
    fn an_input_tied_to_a_rail_minds_the_rail_as_a_supply_pin_does() {
        let board = BOARD
            .replace("pins: +5V A - B -", "pins: +5V +5V - B -")
            .replace(
                "rails:",
                "  U3: {family: chip, role: third, pins: \"- +5V - - -\"}\nrails:",
            );
        let m = tiny(&board).unwrap();
        let lost = strength(&m, "C", "U3", "input 0 shorted", Kind::Lost);
        assert_eq!(lost, Some(0.7));
    }

    #[test]
    fn two_contacts_of_one_driver_stand_in_for_each_other() {
        let board = BOARD.replace(
            "rails:",
            "  J1: {family: plug, role: plug, pins: IN A A}\nrails:",
        );
        let m = tiny(&board).unwrap();
        assert_eq!(strength(&m, "A", "J1", "dead", Kind::Lost), Some(1.0));
        assert_eq!(
            strength(&m, "A", "J1 joints", "pin 2 or 3 open", Kind::Lost),
            Some(0.3)
        );
        assert_eq!(
            strength(&m, "A", "J1 joints", "pin 1 open", Kind::Lost),
            Some(1.0)
        );
    }

    #[test]
    fn shares_are_split_over_ranges() {
        let m = tiny(BOARD).unwrap();
        let rate = |what: &str| {
            m.modes
                .iter()
                .find(|f| f.unit == 0 && f.what == what)
                .unwrap()
                .rate
        };
        assert!((rate("dead") - 0.5).abs() < 1e-12);
        assert!((rate("gate 1 dead") - 0.125).abs() < 1e-12);
        assert_eq!(rate("not fitted"), 0.0);
    }

    #[test]
    fn every_mistake_is_told() {
        let bad = BOARD
            .replace("family: chip, role: second", "family: chop, role: second")
            .replace("needs: C", "needs: CC")
            .replace("pins: +5V A - B -", "pins: +5V A - B")
            .replace("line: +5V", "line: +6V");
        let errors = tiny(&bad).unwrap_err();
        let told = errors
            .iter()
            .map(|e| e.to_string())
            .collect::<Vec<_>>()
            .join("\n");
        for part in [
            "did you mean 'chip'?",
            "'CC' is no function",
            "4 lines for the 5 pins",
            "no pin is on line '+6V'",
        ] {
            assert!(told.contains(part), "{part} not in:\n{told}");
        }
    }
}
