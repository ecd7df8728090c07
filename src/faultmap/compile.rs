//! A checked map to the model: units, their modes, and what each mode does to everything that can be read.

mod beside;
mod joins;
mod units;

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

/// Where a meter cannot be held across a part.
const NO_ACROSS: &str = "`across` is how a part of two legs is from one to the other, or a transistor or a switch from leg to leg; \
                         this one is none";

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
        moved: BTreeMap::new(),
    };
    let checks = c.checks();
    c.moved = c.moved_lines();
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
    /// What makes a line move, where the map says so: nodes with weights.
    moved: BTreeMap<String, Vec<(usize, f64)>>,
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
    joins: Option<Joins>,
    of_type: Option<String>,
    opens: Vec<u16>,
    across: Option<Across>,
    refit: Option<Refit>,
    gives_way: Vec<u16>,
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

    /// Names with weights as nodes of the graph.
    fn weighted(&mut self, path: &str, text: &str) -> Vec<(usize, f64)> {
        let names = expand::weighted(text).unwrap_or_else(|token| {
            self.error(
                path,
                format!("'{token}': the weight after @ is a number from 0 to 1"),
            );
            Vec::new()
        });
        let resolve = |r: &expand::Weighted| Some((self.wiring.resolve(path, &r.name)?, r.weight));
        names.iter().filter_map(resolve).collect()
    }

    /// What makes each line move, where the map says so.
    fn moved_lines(&mut self) -> BTreeMap<String, Vec<(usize, f64)>> {
        let board = self.board;
        let stated = board.lines.iter().filter(|l| !l.1.r#while.is_empty());
        stated
            .map(|(name, raw)| {
                let path = format!("lines.{name}.while");
                (name.clone(), self.weighted(&path, &raw.r#while))
            })
            .collect()
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
                let reads = self.weighted(&path, &raw.reads.replace('#', &number));
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
            let path = format!("rails.{name}");
            let Some(&node) = self.wiring.lines.get(&rail.line) else {
                self.error(&path, format!("no pin is on line '{}'", rail.line));
                continue;
            };
            let mut reads = vec![(node, 1.0)];
            if let Some(pin) = &rail.against {
                match self.wiring.line_of(pin) {
                    Some(other) => reads.push((other, 1.0)),
                    None => self.error(
                        &format!("{path}.against"),
                        format!("'{pin}' is no pin with a line: write it as CN2.10"),
                    ),
                }
            }
            out.push(DraftCheck {
                id: format!("rail.{name}"),
                what: format!("rail {name}"),
                test: false,
                minutes: 1.0,
                reads,
            });
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
            .flat_map(|c| &c.reads)
            .chain(self.moved.values().flatten())
            .map(|r| r.0)
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
        let mut touches: Vec<Vec<Touch>> = vec![Vec::new(); names.len()];
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
                    modes[same].opens.extend(mode.opens);
                    modes[same].what = merged(&modes[same].what, &mode.what).into();
                    continue;
                }
                let id = modes.len();
                let touching = !reach.is_empty();
                seen.insert(signature, id);
                for (node, kind, strength) in reach {
                    touches[node as usize].push(Touch {
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
                    joins,
                    of_type,
                    opens,
                    across,
                    refit,
                    gives_way,
                    ..
                } = mode;
                // What nothing shows no owner notices.
                let shows = touching || !gives_way.is_empty();
                let notice = if shows { mode.notice } else { 0.0 };
                modes.push(FaultMode {
                    unit: units.len() as u32,
                    what: what.into(),
                    rate,
                    notice,
                    flaky,
                    missing,
                    joins,
                    of_type,
                    opens,
                    across,
                    refit,
                    gives_way,
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
        let moved = self.moved.iter();
        let moved: BTreeMap<String, Vec<Read>> = moved
            .map(|(line, reads)| (line.clone(), reads.iter().map(read).collect()))
            .collect();
        let nodes = (names.into_iter().zip(touches)).map(|((name, line), touches)| Node {
            name: name.into(),
            line,
            touches: touches.into_iter().collect(),
        });
        let mut model = self.assemble(checks, units, modes, nodes.collect(), exposures);
        for def in &mut model.lines {
            def.moved_by = moved.get(&def.line).cloned().unwrap_or_default();
        }
        beside::add(&mut model, &self.wiring.wired);
        model
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
        let under = b.clearance.iter().flat_map(|c| expand::list(&c.under));
        for name in under.filter(|name| !b.parts.contains_key(name)) {
            self.errors.push(MapError {
                file: self.file.into(),
                path: "clearance.under".into(),
                message: format!("no part '{name}'{}", near(&name, b.parts.keys())),
            });
        }
        let line = |(name, raw): (&String, &LineRaw)| LineDef {
            line: name.clone(),
            expect: raw.expect,
            hz: raw.hz,
            what: raw.what.clone(),
            at: expand::list(&raw.at),
            caution: raw.caution.clone(),
            moved_by: Vec::new(),
        };
        BoardModel {
            board: b.board.clone(),
            what: b.what.clone(),
            known_by: expand::list(&b.known_by),
            sources: b.sources.clone(),
            mains: b.mains.clone(),
            layout: b.layout.clone(),
            positions,
            units,
            modes,
            nodes,
            checks,
            rails: b.rails.clone(),
            lines: b.lines.iter().map(line).collect(),
            keyboard: b.keyboard.clone(),
            memory: b.memory.clone(),
            clearance: b.clearance.clone(),
            words: b.words.clone(),
            exposures,
            memo: Default::default(),
        }
    }

    fn position(&self, wired: Wired) -> Position {
        let part = &self.board.parts[&wired.name];
        let family = &self.families[&part.family];
        let pin_count = wired.labels.len();
        let pins = wired
            .labels
            .iter()
            .zip(&wired.signals)
            .zip(&wired.lines)
            .map(|((label, signal), line)| Pin {
                label: label.clone().into(),
                signal: signal.clone().into(),
                line: line.clone().map(Into::into),
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
            value: part.value.clone(),
            at: part.at,
            turned: part.turned,
            size: part
                .size
                .unwrap_or_else(|| drawn_size(family.class, pin_count)),
            warmth: family.warmth,
            caution: family.caution.clone(),
            types: family.types.clone(),
        }
    }
}

/// Width and height of a part in a drawing, upright: two rows of pins 0.8 apart, wide packages from 24 pins on;
/// two-terminal parts 3 by 1.2. The board map may say otherwise.
fn drawn_size(class: Class, pins: usize) -> (f64, f64) {
    match (class, pins) {
        (_, 0..=3) => (3.0, 1.2),
        (Class::Connector, _) => (3.0, 0.4 * pins.max(8) as f64),
        (_, 4..24) => (3.0, 0.4 * pins.max(8) as f64),
        _ => (6.0, 0.4 * pins as f64),
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
mod tests;
