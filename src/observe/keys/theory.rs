//! What the failure modes of a board do to its key matrix: taken from what each does to the lines of the matrix, and from the
//! joins that the compiler adds.

use super::matrix::{Fault, Matrix};
use crate::faultmap::expand;
use crate::faultmap::model::{BoardModel, Joins, Kind, ModeId, Touch, UnitKind};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// From this strength on a mode takes its keys together.
const SURE: f32 = 0.9;

/// The matrix of a board with what can be wrong with it.
#[derive(Debug, Clone, Default)]
pub struct Scan {
    /// Where the keys are; without keys when the board has no matrix.
    pub matrix: Matrix,
    /// Modes that join two lines.
    pub joins: Vec<(ModeId, Joins)>,
    /// Other modes with an electrical picture, and how surely they act so.
    pub others: Vec<(ModeId, Fault, f64)>,
    /// Modes that strike contacts one by one: each key with the same doubt, and independently.
    pub one_by_one: BTreeSet<ModeId>,
}

impl Scan {
    /// Works it out for a board.
    pub fn of(model: &BoardModel) -> Self {
        let Some(kb) = &model.keyboard else {
            return Self::default();
        };
        let Some(matrix) = Matrix::new(kb) else {
            return Self::default();
        };
        let joins = (model.modes.iter().enumerate())
            .filter_map(|(i, m)| Some((i as ModeId, m.joins?)))
            .collect();
        let mut s = Scan {
            matrix,
            joins,
            ..Self::default()
        };
        let mut faults: BTreeMap<ModeId, (Fault, f64)> = BTreeMap::new();
        for (columns, list) in [(true, &kb.columns), (false, &kb.rows)] {
            for (n, line) in expand::list(list).iter().enumerate().take(32) {
                let Some(node) = model.node(line) else {
                    continue;
                };
                for t in &model.nodes[node as usize].touches {
                    if t.kind == Kind::Low && model.modes[t.mode as usize].joins.is_none() {
                        let (fault, strength) = faults.entry(t.mode).or_default();
                        let lines = if columns {
                            &mut fault.low_columns
                        } else {
                            &mut fault.low_rows
                        };
                        *lines |= 1 << n;
                        *strength = strength.max(f64::from(t.strength));
                    }
                }
            }
        }
        for (mode, key) in s.stuck_contacts(model) {
            let (fault, strength) = faults.entry(mode).or_default();
            fault.closed |= 1 << key;
            *strength = 1.0;
        }
        s.one_by_one = s.of_contacts(model, &kb.unit);
        s.others = faults.into_iter().map(|(m, (f, s))| (m, f, s)).collect();
        s
    }

    /// Modes of the keyboard unit that reach every key, and none surely: worn or dirty contacts, not a line or a plug.
    fn of_contacts(&self, model: &BoardModel, unit: &str) -> BTreeSet<ModeId> {
        let own = |m: ModeId| {
            let unit_of = &model.units[model.modes[m as usize].unit as usize];
            unit_of.kind == UnitKind::Part && model.positions[unit_of.position].name == unit
        };
        let mut reached: BTreeMap<ModeId, (usize, f32)> = BTreeMap::new();
        let keys: HashSet<&str> = self.matrix.keys.iter().map(|k| k.2.as_str()).collect();
        let is_key = |name: &str| name.strip_prefix("key.").is_some_and(|k| keys.contains(k));
        for node in model.nodes.iter().filter(|n| is_key(&n.name)) {
            for t in node
                .touches
                .iter()
                .filter(|t| t.kind == Kind::Lost && own(t.mode))
            {
                let slot = reached.entry(t.mode).or_default();
                *slot = (slot.0 + 1, slot.1.max(t.strength));
            }
        }
        let all = self.matrix.keys.len();
        let spread = reached
            .into_iter()
            .filter(|&(_, (n, s))| n == all && s < SURE);
        spread.map(|(mode, _)| mode).collect()
    }

    /// Modes of single keys that close a contact for good, with the key.
    fn stuck_contacts(&self, model: &BoardModel) -> Vec<(ModeId, usize)> {
        let keys: HashMap<&str, usize> = (self.matrix.keys.iter().enumerate())
            .map(|(i, (_, _, name))| (name.as_str(), i))
            .collect();
        let mut own: HashMap<ModeId, usize> = HashMap::new();
        for unit in &model.units {
            if let UnitKind::Key { key } = &unit.kind
                && let Some(&i) = keys.get(key.as_str())
            {
                own.extend(unit.modes.clone().map(|m| (m, i)));
            }
        }
        let of_keys = (model.nodes.iter())
            .filter_map(|n| Some((n, *keys.get(n.name.strip_prefix("key.")?)?)));
        let mut out = Vec::new();
        for (node, key) in of_keys {
            let closes = |t: &Touch| t.kind == Kind::Low && own.get(&t.mode) == Some(&key);
            out.extend(node.touches.iter().filter(closes).map(|t| (t.mode, key)));
        }
        out
    }

    /// The key at the same place of the other line of a join.
    pub fn partner(&self, joins: &Joins, key: usize) -> Option<usize> {
        let (c, r, _) = &self.matrix.keys[key];
        let here = if joins.columns { *c } else { *r };
        let other = match here {
            n if n == usize::from(joins.a) => usize::from(joins.b),
            n if n == usize::from(joins.b) => usize::from(joins.a),
            _ => return None,
        };
        if joins.columns {
            self.matrix.at(other, *r)
        } else {
            self.matrix.at(*c, other)
        }
    }
}
