//! Dead keys: many results, a few states of the board.
//!
//! A loose plug is 64 dead keys and one fault. So the dead keys of a run become lines first: all keys at once, else every
//! column and every row that is dead as a whole, each one reading; what is left are single keys. A line counts as dead
//! through a fault as surely as the fault kills the least of its keys. (That several worn contacts happen to make up a
//! whole line is left out; it is less probable than a false reading.)

use super::aspect::Aspect;
use super::{CheckReading, Evidence, Observer};
use crate::faultmap::model::ModeId;
use crate::infer::network::Outcome;
use std::collections::{BTreeMap, BTreeSet};

/// Keys that a line must have to be worth a reading of its own.
const LEAST: usize = 3;

impl Observer<'_> {
    /// The dead keys of the run that ends, as readings.
    pub(super) fn keys(&mut self) {
        let listed = std::mem::take(&mut self.dead_keys);
        if listed.is_empty() {
            return;
        }
        let keep = (self.sheet, self.line);
        let dead: BTreeMap<String, (usize, usize)> = listed.into_iter().rev().collect();
        let mut open: BTreeSet<&String> = dead.keys().collect();
        for (what, keys) in self.lines_of_keys() {
            let whole = keys.len() >= LEAST && keys.iter().all(|k| dead.contains_key(k));
            if !whole || !keys.iter().any(|k| open.contains(k)) {
                continue;
            }
            (self.sheet, self.line) = dead[&keys[0]];
            keys.iter().for_each(|k| {
                open.remove(k);
                self.mark(k);
            });
            let effects = self.least_effects(&keys);
            let reading = CheckReading {
                looped: false,
                check: format!("keys {what}"),
                outcome: Outcome::Fail,
                run: self.run,
                leak: self.trust.false_fail,
                effects: effects.into(),
            };
            self.push(format!("{what} dead"), Evidence::Check(reading));
        }
        for id in open {
            (self.sheet, self.line) = dead[id];
            let Some(reads) = self.model.check(id).map(|c| c.reads.clone()) else {
                continue;
            };
            let text = format!("key {} dead", &id["key.".len()..]);
            self.check(id, &reads, Aspect::Dead, Outcome::Fail, text);
        }
        (self.sheet, self.line) = keep;
    }

    /// 'Other keys ok': every key that the run did not name.
    pub(super) fn rest_of_keys(&mut self) {
        let keep = (self.sheet, self.line);
        for (sheet, line, state) in std::mem::take(&mut self.other_keys) {
            (self.sheet, self.line) = (sheet, line);
            let ids = super::board::keys(self.model)
                .into_iter()
                .map(|k| format!("key.{k}"));
            let open: Vec<String> = ids
                .filter(|id| !self.out.read.contains(&format!("{}/{id}", self.run)))
                .collect();
            for id in open {
                let Some(reads) = self.model.check(&id).map(|c| c.reads.clone()) else {
                    continue;
                };
                let (aspect, outcome) = match state {
                    crate::sheet::State::Ok => (super::whole(&id), Outcome::Pass),
                    _ => (Aspect::Dead, Outcome::Fail),
                };
                self.check(&id, &reads, aspect, outcome, "the other keys".into());
            }
        }
        (self.sheet, self.line) = keep;
    }

    /// All keys, then columns, then rows: what to call them, and their checks.
    fn lines_of_keys(&self) -> Vec<(String, Vec<String>)> {
        let Some(kb) = &self.model.keyboard else {
            return Vec::new();
        };
        let id = |k: &String| format!("key.{k}");
        let all: Vec<String> = kb
            .matrix
            .iter()
            .flatten()
            .filter(|k| *k != "-")
            .map(id)
            .collect();
        let column = |(c, keys): (usize, &Vec<String>)| {
            (
                format!("key column {c}"),
                keys.iter()
                    .filter(|k| *k != "-")
                    .map(id)
                    .collect::<Vec<_>>(),
            )
        };
        let rows = kb.matrix.first().map_or(0, Vec::len);
        let row = |r: usize| {
            let keys = kb.matrix.iter().filter_map(|column| column.get(r));
            (
                format!("key row {r}"),
                keys.filter(|k| *k != "-").map(id).collect(),
            )
        };
        let mut out = vec![("all keys".to_string(), all)];
        out.extend(kb.matrix.iter().enumerate().map(column));
        out.extend((0..rows).map(row));
        out
    }

    /// How surely each mode kills all of these keys: as surely as the one it kills least.
    fn least_effects(&mut self, keys: &[String]) -> Vec<(ModeId, f64)> {
        let mut least: Option<BTreeMap<ModeId, f64>> = None;
        for key in keys {
            let Some(reads) = self.model.check(key).map(|c| c.reads.clone()) else {
                continue;
            };
            let now: BTreeMap<ModeId, f64> =
                self.effects(&reads, Aspect::Dead).into_iter().collect();
            least = Some(match least {
                None => now,
                Some(before) => before
                    .into_iter()
                    .filter_map(|(m, s)| Some((m, s.min(*now.get(&m)?))))
                    .collect(),
            });
        }
        least.unwrap_or_default().into_iter().collect()
    }
}
