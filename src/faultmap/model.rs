//! The board as the ranking sees it: units that can be at fault, what each fault does, what can be seen.
//!
//! Made by `compile` from a checked map. What each failure mode does to every line and function is worked
//! out there once; at run time a sheet only looks things up.

use super::memo::Memo;
pub use super::packed::Touches;
use super::raw::{
    Across, Class, ClearanceRaw, Expect, KeyboardRaw, LayoutRaw, MemoryRaw, RailRaw, Refit,
    TypeRaw, Warmth,
};
pub use super::text::Text;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Index into [`BoardModel::modes`].
pub type ModeId = u32;

/// What a fault does to a line or a function.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Kind {
    /// No signal, does not work, open.
    Lost,
    /// Stuck or too low.
    Low,
    /// Stuck or too high.
    High,
    /// Works, with wrong contents.
    Wrong,
    /// Too slow.
    Slow,
    /// Too fast.
    Fast,
    /// Noisy, weak, distorted, rippling.
    Noisy,
}

/// All kinds, in order.
pub const KINDS: [Kind; 7] = [
    Kind::Lost,
    Kind::Low,
    Kind::High,
    Kind::Wrong,
    Kind::Slow,
    Kind::Fast,
    Kind::Noisy,
];

/// A position of the board, or a thing outside it.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(bound(deserialize = "'de: 'static"))]
pub struct Position {
    /// Designator.
    pub name: String,
    /// Family identifier.
    pub family: String,
    /// What kind of part.
    pub class: Class,
    /// Type number normally fitted.
    pub part_type: Option<String>,
    /// One line: what it does here.
    pub role: String,
    /// In a socket.
    pub socket: bool,
    /// Whether the machine needs it.
    pub required: bool,
    /// Not on the board.
    pub outside: bool,
    /// Label, signal name and line of each pin.
    pub pins: Vec<Pin>,
    /// Value, for passives.
    pub value: Option<String>,
    /// Place of its middle on the drawing, x to the right, y down.
    pub at: Option<(f64, f64)>,
    /// Lies on its side in the drawing.
    pub turned: bool,
    /// Width and height in the drawing before turning, in the unit of `at`.
    pub size: (f64, f64),
    /// Normal warmth.
    pub warmth: Option<Warmth>,
    /// Caution when handled.
    pub caution: Option<String>,
    /// Types that may be fitted, with conditions.
    pub types: BTreeMap<String, TypeRaw>,
}

/// One pin of a position.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(bound(deserialize = "'de: 'static"))]
pub struct Pin {
    /// Pin number or letter.
    pub label: Text,
    /// What the pin is on the part.
    pub signal: Text,
    /// The line it is on; `None` when not connected.
    pub line: Option<Text>,
}

/// What a unit is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum UnitKind {
    /// The part in a position.
    Part,
    /// The contacts between a socketed part and its socket.
    Contacts,
    /// The solder joints (and traces at them) of a soldered part.
    Joints,
    /// One contact of a connector.
    Contact {
        /// Label of the pin.
        pin: String,
    },
    /// A key of the keyboard unit: its contact.
    Key {
        /// Name of the key.
        key: String,
    },
}

/// A thing that can be at fault and be put right by one remedy: one variable of the network.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Unit {
    /// Name in reports: `U7`, `U7 contacts`, `CN1 pin 13`, `key Q`.
    pub name: String,
    /// What it is.
    pub kind: UnitKind,
    /// Index of the position it belongs to.
    pub position: usize,
    /// Class for common causes.
    pub class: Class,
    /// Its modes: a range of [`BoardModel::modes`].
    pub modes: std::ops::Range<ModeId>,
}

/// A failure mode of a unit. Modes of one unit exclude each other.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(bound(deserialize = "'de: 'static"))]
pub struct FaultMode {
    /// Index of the unit.
    pub unit: u32,
    /// One line: what is wrong.
    pub what: Text,
    /// Failures per million hours, field factors included. 0 for an empty position.
    pub rate: f64,
    /// Probability that an owner notices it.
    pub notice: f64,
    /// Probability that it shows in a run, for one that comes and goes.
    pub flaky: Option<f64>,
    /// The position is empty.
    pub missing: bool,
    /// Two lines of the key matrix touch, or changed places.
    pub joins: Option<Joins>,
    /// The type that is fitted when the part is only of the wrong type for this board.
    pub of_type: Option<String>,
    /// Pins one of which is open, of contacts and joints: places among the pins of the position.
    pub opens: Vec<u16>,
    /// How the part is from leg to leg, of a part of two legs.
    pub across: Option<Across>,
    /// What puts it right with the same part left in.
    pub refit: Option<Refit>,
    /// Pins whose output gives way under a load: places among the pins of the position.
    pub gives_way: Vec<u16>,
}

/// Two lines of the key matrix that a fault joins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Joins {
    /// Both are columns; else both are rows.
    pub columns: bool,
    /// They changed places rather than touch.
    pub crossed: bool,
    /// The lower number.
    pub a: u8,
    /// The higher number.
    pub b: u8,
}

/// A line or function, and which modes do what to it.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(bound(deserialize = "'de: 'static"))]
pub struct Node {
    /// Name: a line, `U1.clock`, or a function of the board.
    pub name: Text,
    /// Whether it is a line (can be measured).
    pub line: bool,
    /// Who does what to it, by mode.
    pub touches: Touches,
}

/// One mode doing one thing to a node.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Touch {
    /// The mode.
    pub mode: ModeId,
    /// What it does.
    pub kind: Kind,
    /// How surely, 0..1.
    pub strength: f32,
}

/// What a check reads.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Read {
    /// Index of the node.
    pub node: u32,
    /// How surely trouble there shows in the check.
    pub weight: f32,
}

/// A check that a test run, an eye or a hand can make.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CheckDef {
    /// Identifier: `memory.bit.3`, `clock.1`, `key.Q`, `rail.+5V`.
    pub id: String,
    /// How to say it.
    pub what: String,
    /// Part of the test run.
    pub test: bool,
    /// Minutes, when proposed.
    pub minutes: f64,
    /// What it reads.
    pub reads: Vec<Read>,
}

/// What to expect on a line when it is measured.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LineDef {
    /// The line.
    pub line: String,
    /// Logic-probe state.
    pub expect: Expect,
    /// Frequency, hertz.
    pub hz: Option<f64>,
    /// One line for a person.
    pub what: String,
    /// Best pins, best first.
    pub at: Vec<String>,
    /// Caution.
    pub caution: Option<String>,
    /// Functions without which the signal stands still.
    pub moved_by: Vec<Read>,
}

/// The compiled board.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(bound(deserialize = "'de: 'static"))]
pub struct BoardModel {
    /// Identifier.
    pub board: String,
    /// One line.
    pub what: String,
    /// Type numbers that tell it from others.
    pub known_by: Vec<String>,
    /// Where its wiring is from.
    pub sources: Vec<String>,
    /// Mains frequencies.
    pub mains: Vec<f64>,
    /// What the places of its parts are worth; `None` when there are none.
    pub layout: Option<LayoutRaw>,
    /// Positions, sorted by name.
    pub positions: Vec<Position>,
    /// Units that can be at fault.
    pub units: Vec<Unit>,
    /// Failure modes, by unit.
    pub modes: Vec<FaultMode>,
    /// Lines and functions that something reads.
    pub nodes: Vec<Node>,
    /// Checks, sorted by identifier.
    pub checks: Vec<CheckDef>,
    /// Rails.
    pub rails: BTreeMap<String, RailRaw>,
    /// Lines with expected values.
    pub lines: Vec<LineDef>,
    /// The key matrix.
    pub keyboard: Option<KeyboardRaw>,
    /// Main memory.
    pub memory: Option<MemoryRaw>,
    /// Free height under the keyboard.
    pub clearance: Option<ClearanceRaw>,
    /// Words of the sheet.
    pub words: BTreeMap<String, String>,
    /// Exposure in million hours for a machine that came in faulty, is untested, works.
    pub exposures: [f64; 3],
    /// What was worked out of it so far.
    #[serde(skip)]
    pub memo: Memo,
}

impl BoardModel {
    /// The check with this identifier.
    pub fn check(&self, id: &str) -> Option<&CheckDef> {
        self.checks
            .binary_search_by(|c| c.id.as_str().cmp(id))
            .ok()
            .map(|i| &self.checks[i])
    }

    /// The node with this name, with its index.
    pub fn node(&self, name: &str) -> Option<u32> {
        self.nodes
            .iter()
            .position(|n| n.name == name)
            .map(|i| i as u32)
    }

    /// What a measurement on a line reads: the line, and what makes it move.
    pub fn reads_of_line(&self, line: &str) -> Option<Vec<Read>> {
        let node = self.node(line)?;
        let mut reads = vec![Read { node, weight: 1.0 }];
        if let Some(def) = self.lines.iter().find(|l| l.line == line) {
            reads.extend(&def.moved_by);
        }
        Some(reads)
    }

    /// The position with this designator.
    pub fn position(&self, name: &str) -> Option<(usize, &Position)> {
        self.positions
            .iter()
            .enumerate()
            .find(|(_, p)| p.name.eq_ignore_ascii_case(name))
    }

    /// The units of a position, with their indices.
    pub fn units_of(&self, position: usize) -> impl Iterator<Item = (usize, &Unit)> {
        self.units
            .iter()
            .enumerate()
            .filter(move |(_, u)| u.position == position)
    }
}

impl Position {
    /// The place of a pin among its pins, by label.
    pub fn pin(&self, label: &str) -> Option<usize> {
        (self.pins.iter()).position(|p| p.label.eq_ignore_ascii_case(label))
    }

    /// The line that a pin (by label or by signal name) is on.
    pub fn line_at(&self, pin: &str) -> Option<&str> {
        let is = |p: &&Pin| p.label.eq_ignore_ascii_case(pin) || p.signal.eq_ignore_ascii_case(pin);
        self.pins.iter().find(is).and_then(|p| p.line.as_deref())
    }
}
