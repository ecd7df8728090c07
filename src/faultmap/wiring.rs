//! From a map as typed to its nodes and edges: every name resolved, every slip collected.

mod buses;

use super::expand::{self, Weighted};
use super::graph::{Graph, Pass};
use super::raw::{BoardRaw, Class, Expect, FamilyRaw, FunctionRaw, PartRaw};
use std::collections::{BTreeMap, HashMap, HashSet};

/// A mistake in a map.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {path}: {message}")]
pub struct MapError {
    /// Which file.
    pub file: String,
    /// Where in it, as the keys to follow: `parts.U1.pins`.
    pub path: String,
    /// What is wrong and what to write.
    pub message: String,
}

/// A position with its pins worked out.
#[derive(Debug, Clone)]
pub struct Wired {
    /// Designator.
    pub name: String,
    /// Pin labels, in order.
    pub labels: Vec<String>,
    /// Signal names, in order.
    pub signals: Vec<String>,
    /// Lines, in order.
    pub lines: Vec<Option<String>>,
    /// Functions of the family with the running numbers filled in.
    pub functions: Vec<(String, FunctionRaw)>,
    /// Class of its family.
    pub class: Class,
}

impl Wired {
    /// Whether a pin with this signal name is on one of these rails.
    fn ties(&self, signal: &str, rails: &HashSet<String>) -> bool {
        let on = |(s, line): (&String, &Option<String>)| {
            s == signal && line.as_ref().is_some_and(|l| rails.contains(l))
        };
        self.signals.iter().zip(&self.lines).any(on)
    }
}

/// The spreading graph of a board with the names of its nodes.
pub struct Wiring {
    /// The graph.
    pub graph: Graph,
    /// Positions, in the order of the map.
    pub wired: Vec<Wired>,
    /// Line → node.
    pub lines: BTreeMap<String, usize>,
    /// Pin node of (position, pin index).
    pub pins: HashMap<(usize, usize), usize>,
    /// Function node of (position, function).
    pub part_functions: HashMap<(usize, String), usize>,
    /// Function of the board → node.
    pub functions: BTreeMap<String, usize>,
    /// The only driver of a line: line → function node.
    pub sole_driver: HashMap<String, usize>,
    /// What was wrong.
    pub errors: Vec<MapError>,
    file: String,
    positions: HashMap<String, usize>,
}

/// Fills in the running number of an expanded key.
pub fn numbered(f: &FunctionRaw, number: &str) -> FunctionRaw {
    let fill = |s: &str| s.replace('#', number);
    FunctionRaw {
        what: f.what.as_deref().map(fill),
        needs: fill(&f.needs),
        carries: fill(&f.carries),
        inverts: fill(&f.inverts),
        steadies: fill(&f.steadies),
        power: fill(&f.power),
        free: fill(&f.free),
        drives: fill(&f.drives),
    }
}

/// Functions with their running numbers filled in.
pub fn expand_functions(raw: &BTreeMap<String, FunctionRaw>) -> Vec<(String, FunctionRaw)> {
    raw.iter()
        .flat_map(|(key, f)| {
            expand::key(key)
                .into_iter()
                .map(move |(name, number)| (name, numbered(f, &number)))
        })
        .collect()
}

impl Wiring {
    /// Works out the graph of a board. Mistakes are collected in `errors`; what could be resolved is there.
    pub fn new(file: &str, board: &BoardRaw, families: &BTreeMap<String, FamilyRaw>) -> Self {
        let mut w = Wiring {
            graph: Graph::default(),
            wired: Vec::new(),
            lines: BTreeMap::new(),
            pins: HashMap::new(),
            part_functions: HashMap::new(),
            functions: BTreeMap::new(),
            sole_driver: HashMap::new(),
            errors: Vec::new(),
            file: file.to_string(),
            positions: HashMap::new(),
        };
        for (name, part) in &board.parts {
            w.add_part(name, part, families);
        }
        let rails = board.rails.values().map(|r| r.line.clone()).collect();
        let mut drivers = w.link_parts(&rails);
        // What rests is held by a pull-up, and there when nobody drives it.
        let rests = |line: &String| {
            let def = board.lines.get(line);
            def.is_some_and(|d| d.expect != Expect::Pulsing)
        };
        drivers.retain(|line, _| !rests(line));
        w.link_buses(drivers, &rails);
        w.link_rails(board);
        for (name, _) in expand_functions(&board.functions) {
            let node = w.graph.add();
            if w.functions.insert(name.clone(), node).is_some() {
                w.error(
                    &format!("functions.{name}"),
                    "this function is given twice".into(),
                );
            }
        }
        for (name, f) in expand_functions(&board.functions) {
            w.link_board_function(&name, &f);
        }
        w.add_keyboard(board);
        w
    }

    fn error(&mut self, path: &str, message: String) {
        let error = MapError {
            file: self.file.clone(),
            path: path.to_string(),
            message,
        };
        if !self.errors.contains(&error) {
            self.errors.push(error);
        }
    }

    fn line(&mut self, name: &str) -> usize {
        if let Some(&node) = self.lines.get(name) {
            return node;
        }
        let node = self.graph.add();
        self.lines.insert(name.to_string(), node);
        node
    }

    fn add_part(&mut self, name: &str, part: &PartRaw, families: &BTreeMap<String, FamilyRaw>) {
        let path = format!("parts.{name}");
        let Some(family) = families.get(&part.family) else {
            let message = format!(
                "no part family '{}'{}",
                part.family,
                near(&part.family, families.keys())
            );
            self.error(&path, message);
            return;
        };
        let mut signals = expand::list(&family.pins);
        let labels = match &family.labels {
            Some(text) => expand::list(text),
            None => (1..=signals.len()).map(|n| n.to_string()).collect(),
        };
        if labels.len() != signals.len() {
            let message = format!(
                "family '{}' has {} pins but {} labels",
                family.family,
                signals.len(),
                labels.len()
            );
            self.error(&path, message);
            return;
        }
        let lines = self.part_lines(&path, part, &labels);
        match part.flow.as_deref() {
            None => {}
            Some(flow) => match flow
                .split_once('>')
                .map(|(a, b)| (index(&labels, a), index(&labels, b)))
            {
                // The family calls the pins a and b; the board says which one the signal enters.
                Some((Some(a), Some(b))) if a != b && signals.len() == 2 => {
                    signals[a] = "a".into();
                    signals[b] = "b".into();
                }
                _ => self.error(
                    &format!("{path}.flow"),
                    format!("'{flow}' is not of the form 1>2 for a two-pin part"),
                ),
            },
        }
        let functions = expand_functions(&family.functions);
        let position = self.wired.len();
        for (i, line) in lines.iter().enumerate() {
            let node = self.graph.add();
            self.pins.insert((position, i), node);
            if let Some(line) = line {
                let from = self.line(line);
                self.graph.link(from, node, Pass::Same, 1.0);
            }
        }
        for (function, _) in &functions {
            let node = self.graph.add();
            self.part_functions
                .insert((position, function.clone()), node);
        }
        self.positions.insert(name.to_string(), position);
        self.wired.push(Wired {
            name: name.to_string(),
            labels,
            signals,
            lines,
            functions,
            class: family.class,
        });
    }

    fn part_lines(&mut self, path: &str, part: &PartRaw, labels: &[String]) -> Vec<Option<String>> {
        let named = |l: &str| (l != "-").then(|| l.to_string());
        if part.wired.is_empty() {
            let listed = expand::list(&part.pins);
            if listed.len() != labels.len() {
                let hyphen = |l: &&String| {
                    let ends = l.split_once('-');
                    ends.is_some_and(|(a, b)| {
                        a.ends_with(|c: char| c.is_ascii_digit())
                            && b.ends_with(|c: char| c.is_ascii_digit())
                    })
                };
                let range = listed.iter().find(hyphen).map_or(String::new(), |l| {
                    format!("; several are written A0..7, not as {l}")
                });
                let message = format!(
                    "{} lines for the {} pins of family '{}': give one a pin, '-' where nothing is connected{range}",
                    listed.len(),
                    labels.len(),
                    part.family
                );
                self.error(&format!("{path}.pins"), message);
            }
            return (0..labels.len())
                .map(|i| listed.get(i).and_then(|l| named(l)))
                .collect();
        }
        if !part.pins.is_empty() {
            self.error(path, "give either 'pins' or 'wired', not both".into());
        }
        for label in part.wired.keys() {
            if index(labels, label).is_none() {
                let message = format!("family '{}' has no pin '{label}'", part.family);
                self.error(&format!("{path}.wired.{label}"), message);
            }
        }
        labels
            .iter()
            .map(|l| part.wired.get(l).and_then(|l| named(l)))
            .collect()
    }

    /// Who drives each line. An input tied to a supply rail passes a bad rail on as a supply pin does, not as a stuck signal would.
    fn link_parts(&mut self, rails: &HashSet<String>) -> BTreeMap<String, Vec<usize>> {
        let mut drivers: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for position in 0..self.wired.len() {
            let wired = self.wired[position].clone();
            for (function, f) in &wired.functions {
                let to = self.part_functions[&(position, function.clone())];
                let path = format!("parts.{}.{function}", wired.name);
                for (text, pass) in [
                    (&f.needs, Pass::Needs),
                    (&f.carries, Pass::Same),
                    (&f.inverts, Pass::Inverts),
                    (&f.steadies, Pass::Steadies),
                    (&f.power, Pass::Power),
                    (&f.free, Pass::Free),
                ] {
                    for Weighted { name, weight } in self.listed(&path, text) {
                        let tied = pass == Pass::Needs && wired.ties(&name, rails);
                        let pass = if tied { Pass::Power } else { pass };
                        for from in self.in_part(position, &path, &name) {
                            self.graph.link(from, to, pass, weight);
                        }
                    }
                }
                for Weighted { name, .. } in self.listed(&path, &f.drives) {
                    let pins: Vec<usize> = (0..wired.signals.len())
                        .filter(|&i| wired.signals[i] == name)
                        .collect();
                    if pins.is_empty() {
                        self.error(
                            &path,
                            format!("drives '{name}', which is not a pin of the part"),
                        );
                    }
                    for line in pins.into_iter().filter_map(|i| wired.lines[i].clone()) {
                        let by = drivers.entry(line).or_default();
                        if !by.contains(&to) {
                            by.push(to);
                        }
                    }
                }
            }
        }
        for (line, by) in &drivers {
            if let [only] = by[..] {
                let to = self.line(line);
                self.graph.link(only, to, Pass::Same, 1.0);
                self.sole_driver.insert(line.clone(), only);
            }
        }
        drivers
    }

    fn listed(&mut self, path: &str, text: &str) -> Vec<Weighted> {
        expand::weighted(text).unwrap_or_else(|token| {
            self.error(
                path,
                format!("'{token}': the weight after @ is a number from 0 to 1"),
            );
            Vec::new()
        })
    }

    /// Pins by signal name, or a function, of one part.
    pub fn in_part(&mut self, position: usize, path: &str, name: &str) -> Vec<usize> {
        if let Some(&node) = self.part_functions.get(&(position, name.to_string())) {
            return vec![node];
        }
        let signals = &self.wired[position].signals;
        let found: Vec<usize> = (0..signals.len())
            .filter(|&i| signals[i] == name)
            .map(|i| self.pins[&(position, i)])
            .collect();
        if found.is_empty() {
            let known: Vec<String> = signals
                .iter()
                .cloned()
                .chain(self.wired[position].functions.iter().map(|f| f.0.clone()))
                .collect();
            let message = format!(
                "'{name}' is neither a pin nor a function of the part{}",
                near(name, known.iter())
            );
            self.error(path, message);
        }
        found
    }

    /// A name as the board uses it: a function of the board, a line, `U1.clock`, `U7.40` or `U7.reset`.
    pub fn resolve(&mut self, path: &str, name: &str) -> Option<usize> {
        if let Some(&node) = self.functions.get(name).or_else(|| self.lines.get(name)) {
            return Some(node);
        }
        let split = name
            .split_once('.')
            .and_then(|(r, rest)| Some((*self.positions.get(r)?, rest)));
        let Some((position, rest)) = split else {
            let known: Vec<&String> = self
                .functions
                .keys()
                .chain(self.lines.keys())
                .chain(self.positions.keys())
                .collect();
            let message = format!(
                "'{name}' is no function of the board, no line and no position{}",
                near(name, known.into_iter())
            );
            self.error(path, message);
            return None;
        };
        if let Some(i) = index(&self.wired[position].labels, rest) {
            return Some(self.pins[&(position, i)]);
        }
        self.in_part(position, path, rest).first().copied()
    }

    /// Rails that one converter makes: what pulls the one down leaves nothing of the other.
    fn link_rails(&mut self, board: &BoardRaw) {
        /// How surely (guess: a converter that is held down hardly swings).
        const TAKES_ALONG: f64 = 0.95;
        for (name, rail) in &board.rails {
            let Some(with) = &rail.falls_with else {
                continue;
            };
            match board.rails.get(with) {
                Some(other) => {
                    let (from, to) = (self.line(&other.line), self.line(&rail.line));
                    self.graph.link(from, to, Pass::Overload, TAKES_ALONG);
                }
                None => self.error(
                    &format!("rails.{name}.falls_with"),
                    format!("no rail '{with}'"),
                ),
            }
        }
    }

    fn link_board_function(&mut self, name: &str, f: &FunctionRaw) {
        let to = self.functions[name];
        let path = format!("functions.{name}");
        for (text, pass) in [
            (&f.needs, Pass::Needs),
            (&f.carries, Pass::Same),
            (&f.inverts, Pass::Inverts),
            (&f.steadies, Pass::Steadies),
            (&f.power, Pass::Power),
            (&f.free, Pass::Free),
        ] {
            for Weighted { name, weight } in self.listed(&path, text) {
                if let Some(from) = self.resolve(&path, &name) {
                    self.graph.link(from, to, pass, weight);
                }
            }
        }
        if !f.drives.is_empty() {
            self.error(
                &path,
                "a function of the board drives nothing: say it at the part".into(),
            );
        }
    }

    fn add_keyboard(&mut self, board: &BoardRaw) {
        let Some(kb) = &board.keyboard else { return };
        let (columns, rows) = (expand::list(&kb.columns), expand::list(&kb.rows));
        let connectors = expand::list(&kb.connector);
        if kb.matrix.len() != columns.len() || kb.matrix.iter().any(|c| c.len() != rows.len()) {
            let message = format!(
                "the matrix has {} columns of {} rows: one list a column",
                columns.len(),
                rows.len()
            );
            self.error("keyboard.matrix", message);
        }
        for (c, keys) in kb.matrix.iter().enumerate().take(columns.len()) {
            for (r, key) in keys
                .iter()
                .enumerate()
                .take(rows.len())
                .filter(|(_, k)| *k != "-")
            {
                let node = self.graph.add();
                if self.functions.insert(format!("key.{key}"), node).is_some() {
                    self.error(
                        "keyboard.matrix",
                        format!("key '{key}' stands twice in the matrix"),
                    );
                }
                for (line, pass) in [(&columns[c], Pass::Column), (&rows[r], Pass::Row)] {
                    let pin = connectors.iter().find_map(|c| self.pin_on(c, line));
                    match pin {
                        Some(pin) => self.graph.link(pin, node, pass, 1.0),
                        None => self.error(
                            "keyboard",
                            format!("connector {} has no pin on line {line}", kb.connector),
                        ),
                    }
                }
                for (scan, n) in [(&kb.drives, c), (&kb.reads, r)] {
                    if let Some(from) = self.resolve("keyboard", &scan.replace('#', &n.to_string()))
                    {
                        self.graph.link(from, node, Pass::Needs, 1.0);
                    }
                }
            }
        }
        for (key, function) in &kb.outside {
            let node = self.graph.add();
            self.functions.insert(format!("key.{key}"), node);
            if let Some(from) = self.resolve("keyboard.outside", function) {
                self.graph.link(from, node, Pass::Same, 1.0);
            }
        }
    }

    /// The pin node of the first pin of a position on this line.
    fn pin_on(&self, position: &str, line: &str) -> Option<usize> {
        let position = *self.positions.get(position)?;
        let i = self.wired[position]
            .lines
            .iter()
            .position(|l| l.as_deref() == Some(line))?;
        Some(self.pins[&(position, i)])
    }

    /// The node of the line at a pin, `CN2.10`.
    pub fn line_of(&self, pin: &str) -> Option<usize> {
        let (name, label) = pin.split_once('.')?;
        let wired = &self.wired[*self.positions.get(name)?];
        let line = wired.lines[index(&wired.labels, label)?].as_ref()?;
        self.lines.get(line).copied()
    }

    /// What each node is called: `RESET_N`, `U7.40`, `U7.core`, `memory.bit.3`.
    pub fn names(&self) -> Vec<String> {
        let mut out = vec![String::new(); self.graph.len()];
        let plain = self.lines.iter().chain(&self.functions);
        for (name, &node) in plain {
            out[node] = name.clone();
        }
        for (&(position, pin), &node) in &self.pins {
            let wired = &self.wired[position];
            out[node] = format!("{}.{}", wired.name, wired.labels[pin]);
        }
        for ((position, function), &node) in &self.part_functions {
            out[node] = format!("{}.{function}", self.wired[*position].name);
        }
        out
    }

    /// Index of a position by designator.
    pub fn position(&self, name: &str) -> Option<usize> {
        self.positions.get(name).copied()
    }
}

/// Index of a label in a list.
pub fn index(labels: &[String], label: &str) -> Option<usize> {
    labels.iter().position(|l| l == label.trim())
}

/// `; did you mean 'x'?` when one known name is close.
pub fn near<'a>(name: &str, known: impl Iterator<Item = &'a String>) -> String {
    known
        .map(|k| {
            (
                strsim::damerau_levenshtein(&name.to_lowercase(), &k.to_lowercase()),
                k,
            )
        })
        // Two slips in a short name leave nothing of it.
        .filter(|(d, _)| *d <= if name.chars().count() <= 4 { 1 } else { 2 })
        .min()
        .map(|(_, k)| format!("; did you mean '{k}'?"))
        .unwrap_or_default()
}
