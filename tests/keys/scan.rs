//! A little keyboard bench that shares nothing with the program but the wiring of the map: which pins and lines there are, and
//! which key joins which column and row. Faults are put into a graph of *points* (port pin, plug pin, key pad); a press or a
//! short is an edge; a scan is a walk over that graph. There are no resistors in it.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use whichsocket::faultmap::expand;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::faultmap::raw::Class;

/// Something that is broken.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Broken {
    /// The pin of this position does not touch the line.
    Open(String, String),
    /// The pin of a port is held low, or high.
    Held(String, String, bool),
    /// Two lines touch.
    Bridge(String, String),
    /// Nothing is in this connector, or the unit is not plugged in.
    Unplugged(String),
    /// A key's contact never closes, or never opens.
    Contact(String, bool),
}

/// The wiring as the map has it.
pub struct Bench {
    pub columns: Vec<String>,
    pub rows: Vec<String>,
    /// Key, column, row.
    pub keys: Vec<(String, usize, usize)>,
    pub unit: String,
    pub plugs: Vec<String>,
    /// For each line the position whose port scans or reads it.
    pub ports: HashMap<String, String>,
    /// Keys beside the matrix.
    pub outside: Vec<String>,
}

impl Bench {
    pub fn of(board: &BoardModel) -> Self {
        let kb = board.keyboard.as_ref().expect("a keyboard");
        let (columns, rows) = (expand::list(&kb.columns), expand::list(&kb.rows));
        let mut keys = Vec::new();
        for (c, column) in kb.matrix.iter().enumerate() {
            for (r, key) in column.iter().enumerate().filter(|(_, k)| *k != "-") {
                keys.push((key.clone(), c, r));
            }
        }
        let plugs = expand::list(&kb.connector);
        let mut ports = HashMap::new();
        for line in columns.iter().chain(&rows) {
            let mut best: Option<(usize, &str)> = None;
            for p in &board.positions {
                let pins = |l: &String| {
                    p.pins
                        .iter()
                        .any(|pin| pin.line.as_deref() == Some(l.as_str()))
                };
                let outsider = p.outside || p.class == Class::Connector;
                if outsider || p.role.contains("pull-up") || !pins(line) {
                    continue;
                }
                // The scanning chip has the most of the lines.
                let n = columns.iter().chain(&rows).filter(|l| pins(l)).count();
                // Where a diode stands in the line, that is what the line goes through.
                let diode = p.family.starts_with("diode");
                if (p.pins.len() >= 14 || diode) && best.is_none_or(|(most, _)| n > most) {
                    best = Some((n, &p.name));
                }
            }
            if let Some((_, name)) = best {
                ports.insert(line.clone(), name.to_string());
            }
        }
        Bench {
            columns,
            rows,
            keys,
            unit: kb.unit.clone(),
            plugs,
            ports,
            outside: kb.outside.keys().cloned().collect(),
        }
    }

    pub fn lines(&self) -> impl Iterator<Item = &String> {
        self.columns.iter().chain(&self.rows)
    }

    /// The connector that a line goes through.
    pub fn plug_of(&self, board: &BoardModel, line: &str) -> String {
        let on = |name: &&String| {
            let position = board.position(name).expect("a connector").1;
            position
                .pins
                .iter()
                .any(|p| p.line.as_deref() == Some(line))
        };
        self.plugs.iter().find(on).expect("its connector").clone()
    }

    /// The keys that the scan reports while these are pressed.
    pub fn scan(
        &self,
        board: &BoardModel,
        broken: &[Broken],
        pressed: &[&str],
    ) -> BTreeSet<String> {
        // Points: "port LINE", "board LINE" (copper), "pad LINE" (in the keyboard).
        let mut joined: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut join = |a: String, b: String| {
            joined.entry(a.clone()).or_default().push(b.clone());
            joined.entry(b).or_default().push(a);
        };
        let open = |position: &str, line: &str| {
            broken.iter().any(|b| match b {
                Broken::Open(p, l) => p == position && l == line,
                Broken::Unplugged(p) => p == position,
                _ => false,
            })
        };
        for line in self.lines() {
            let port = self.ports.get(line).map_or("", String::as_str);
            let held_high = broken
                .iter()
                .any(|b| *b == Broken::Held(port.into(), line.clone(), true));
            if !open(port, line) && !held_high {
                join(format!("port {line}"), format!("board {line}"));
            }
            if !open(&self.plug_of(board, line), line) && !open(&self.unit, line) {
                join(format!("board {line}"), format!("pad {line}"));
            }
        }
        for b in broken {
            if let Broken::Bridge(one, other) = b {
                join(format!("board {one}"), format!("board {other}"));
            }
        }
        for (key, c, r) in &self.keys {
            let closed = pressed.contains(&key.as_str())
                && !broken.contains(&Broken::Contact(key.clone(), false))
                || broken.contains(&Broken::Contact(key.clone(), true));
            if closed {
                let (c, r) = (&self.columns[*c], &self.rows[*r]);
                join(format!("pad {c}"), format!("pad {r}"));
            }
        }
        let mut seen = BTreeSet::new();
        for (c, column) in self.columns.iter().enumerate() {
            let mut low: Vec<String> = vec![format!("port {column}")];
            for b in broken {
                if let Broken::Held(_, line, false) = b {
                    low.push(format!("board {line}"));
                }
            }
            let mut reached: BTreeSet<String> = BTreeSet::new();
            while let Some(point) = low.pop() {
                if reached.insert(point.clone()) {
                    low.extend(joined.get(&point).into_iter().flatten().cloned());
                }
            }
            for (key, kc, r) in &self.keys {
                if *kc == c && reached.contains(&format!("port {}", self.rows[*r])) {
                    seen.insert(key.clone());
                }
            }
        }
        seen
    }

    /// What a technician who presses every key types of it: key and the words behind it, in the order of the matrix.
    pub fn typed(&self, board: &BoardModel, broken: &[Broken]) -> Vec<(String, String)> {
        let idle = self.scan(board, broken, &[]);
        let quoted = |k: &String| format!("\"{k}\"");
        let mut out = Vec::new();
        for (key, ..) in &self.keys {
            if idle.contains(key) {
                out.push((key.clone(), "stuck".into()));
                continue;
            }
            let now: Vec<String> = self
                .scan(board, broken, &[key])
                .difference(&idle)
                .cloned()
                .collect();
            let others: Vec<String> = now.iter().filter(|k| *k != key).map(quoted).collect();
            let says = match (now.contains(key), others.is_empty()) {
                (true, true) => "ok".to_string(),
                (true, false) => format!("also presses {}", others.join(" ")),
                (false, true) => "dead".to_string(),
                (false, false) => format!("gives {}", others.join(" ")),
            };
            out.push((key.clone(), says));
        }
        out
    }
}
