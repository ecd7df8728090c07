//! What is said of keys by way of other keys: one also presses another, gives another, appears when others are pressed, works
//! or rests only while another is held; and the resistance of a contact.

use super::likelihood::{self, Does};
use super::matrix::{Fault, Keys};
use super::{LEAST, Line, Said, contact};
use crate::diag::code;
use crate::faultmap::model::{Joins, ModeId, UnitKind};
use crate::faultmap::raw::Class;
use crate::observe::aspect::Aspect;
use crate::observe::{Evidence, Hint, Observer, board};
use std::collections::BTreeMap;

/// P(a ghost is noticed and typed | the fault makes it) (guess).
const GHOST_SEEN: f64 = 0.9;
/// P(a held key lifts a line | what pulls it is weak): a leaking pin is far weaker than a column that is driven (guess).
const LIFTS_WEAK: f64 = 0.6;
/// The same when it is pulled hard: low wins against high (see `matrix`), so hardly ever (guess).
const LIFTS_HARD: f64 = 0.05;
/// P(holding a key makes a line come back | a contact, joint or track outside the chips is open): the board or foil bends
/// (guess); and when the chip itself is at fault.
const BENDS: f64 = 0.3;
const BENDS_CHIP: f64 = 0.03;

impl Observer<'_> {
    /// Keys that also press or give others: joined lines and columns that act everywhere as one reading, the rest singly.
    pub(super) fn keys_by_others(&mut self, said: &[(String, Said, Line)]) {
        let mut named: BTreeMap<usize, (bool, Keys, Line)> = BTreeMap::new();
        for (id, said, line) in said.iter().rev() {
            let (gives, others) = match said {
                Said::Also(others) => (false, others),
                Said::Gives(others) => (true, others),
                _ => continue,
            };
            if let Some(key) = self.known.scan.matrix.key(id.trim_start_matches("key.")) {
                let others = self.key_set(others);
                named.insert(key, (gives, others, *line));
            }
        }
        let mut groups = self.joined_groups(&named);
        groups.extend(self.column_groups(&named));
        for (text, keys) in groups {
            if !keys.iter().any(|k| named.contains_key(k)) {
                continue;
            }
            (self.sheet, self.line) = named[&keys[0]].2;
            let ids: Vec<String> = keys.iter().map(|&k| self.key_id(k)).collect();
            let told = named.clone();
            let effects = self.least(&ids, |o, id| {
                let key = o.known.scan.matrix.key(id.trim_start_matches("key."));
                key.map_or(Vec::new(), |k| {
                    o.effects_of_named(k, told[&k].0, told[&k].1)
                })
            });
            self.line_of_keys(&ids, format!("keys {text}"), text, effects);
            keys.iter().for_each(|k| {
                named.remove(k);
            });
        }
        for (key, (gives, others, line)) in named {
            (self.sheet, self.line) = line;
            let id = self.key_id(key);
            let effects = self.effects_of_named(key, gives, others);
            let verb = if gives { "gives" } else { "also presses" };
            let text = format!("{} {verb} {}", id.replace('.', " "), self.names(others));
            self.line_of_keys(std::slice::from_ref(&id), id.clone(), text, effects);
        }
    }

    /// Pairs of lines all of whose keys act as the key at the same place of the other.
    fn joined_groups(
        &self,
        named: &BTreeMap<usize, (bool, Keys, Line)>,
    ) -> Vec<(String, Vec<usize>)> {
        let mut seen: Vec<Joins> = self.known.scan.joins.iter().map(|j| j.1).collect();
        seen.sort_by_key(|j| (j.crossed, !j.columns, j.a, j.b));
        seen.dedup();
        let as_joined = |j: &Joins, key: usize| {
            let other = self.known.scan.partner(j, key).map(|k| 1 << k);
            (named.get(&key)).is_some_and(|n| n.0 == j.crossed && Some(n.1) == other)
        };
        let mut out = Vec::new();
        for j in seen {
            let keys: Vec<usize> = (0..self.known.scan.matrix.keys.len())
                .filter(|&k| self.known.scan.partner(&j, k).is_some())
                .collect();
            if keys.len() >= LEAST && keys.iter().all(|&k| as_joined(&j, k)) {
                let lines = if j.columns { "columns" } else { "rows" };
                let does = if j.crossed {
                    "changed places"
                } else {
                    "act together"
                };
                out.push((format!("key {lines} {} and {} {does}", j.a, j.b), keys));
            }
        }
        out
    }

    /// Columns whose keys each act in every column.
    fn column_groups(
        &self,
        named: &BTreeMap<usize, (bool, Keys, Line)>,
    ) -> Vec<(String, Vec<usize>)> {
        let m = &self.known.scan.matrix;
        let mut out = Vec::new();
        for column in 0..m.columns {
            let fault = Fault {
                low_columns: 1 << column,
                ..Fault::default()
            };
            let keys: Vec<usize> = (0..m.keys.len())
                .filter(|&k| m.keys[k].0 == column)
                .collect();
            let everywhere = |k: usize| {
                named
                    .get(&k)
                    .is_some_and(|n| !n.0 && n.1 == m.alone(&fault, k) & !(1 << k))
            };
            if keys.len() >= LEAST && keys.iter().all(|&k| everywhere(k)) {
                out.push((format!("key column {column} acts in every column"), keys));
            }
        }
        out
    }

    /// How surely each mode makes a key also press, or give, these.
    fn effects_of_named(&self, key: usize, gives: bool, others: Keys) -> Vec<(ModeId, f64)> {
        let strength = |does: Does| {
            let outcome = match gives {
                true => likelihood::gives(others, does),
                false => likelihood::also(others, does),
            };
            likelihood::probability(outcome, does)
        };
        let mut effects = Vec::new();
        for (mode, fault, s) in &self.known.scan.others {
            // A single contact that is closed for good changes nothing about another key pressed alone.
            if fault.low_columns == 0 {
                continue;
            }
            match likelihood::does(key, self.known.scan.matrix.alone(fault, key)) {
                Does::Right | Does::Nothing => {}
                does => effects.push((*mode, s * strength(does))),
            }
        }
        self.with_joins(&self.key_id(key), strength, &mut effects);
        effects
    }

    /// A key that appears when others are pressed.
    pub(in crate::observe) fn ghost(&mut self, name: &str, with: &[String]) {
        let key = board::key(self.model, name).and_then(|k| self.known.scan.matrix.key(&k));
        let Some(key) = key else {
            let message = format!("board {} has no such key in its matrix", self.model.board);
            return self.warn(code::NO_SUCH_CHECK, message, String::new());
        };
        self.test_ran(self.run);
        let pressed = self.key_set(with);
        let shows = |fault: &Fault| self.known.scan.matrix.reported(fault, pressed) >> key & 1 == 1;
        if shows(&Fault::default()) {
            let text = format!(
                "key {name} appears with {} on every matrix without diodes: three of them are corners of a rectangle. No fault",
                with.join(" ")
            );
            let (sheet, line) = (self.sheet, self.line);
            let pattern = None;
            return self.out.hints.push(Hint {
                sheet,
                line,
                text,
                pattern,
            });
        }
        let joins = self.known.scan.joins.iter().map(|(mode, j)| {
            let joins = Some(*j);
            let fault = Fault {
                joins,
                ..Fault::default()
            };
            (*mode, fault, 1.0)
        });
        let all = joins.chain(self.known.scan.others.iter().cloned());
        let mut effects: Vec<(ModeId, f64)> = all
            .filter(|(_, fault, _)| shows(fault))
            .map(|(mode, _, s)| (mode, s * GHOST_SEEN))
            .collect();
        effects.sort_by_key(|e| e.0);
        let id = self.key_id(key);
        let text = format!("key {name} appears with {}", with.join(" "));
        self.line_of_keys(&[], format!("ghost {id}"), text, effects);
    }

    /// These keys are dead, or stuck, until others are held.
    pub(in crate::observe) fn keys_until(&mut self, ids: &[String], stuck: bool, held: &[String]) {
        self.test_ran(self.run);
        let hard = if stuck { Aspect::Pressed } else { Aspect::Dead };
        let pulled = self.least(ids, |o, id| o.effects_on_key(id, hard));
        let weak = self.least(ids, |o, id| o.effects_on_key(id, Aspect::Noisy));
        let mut effects: BTreeMap<ModeId, f64> = BTreeMap::new();
        for (mode, s) in pulled {
            let unit = &self.model.units[self.model.modes[mode as usize].unit as usize];
            let bends = !matches!(unit.kind, UnitKind::Part)
                || matches!(unit.class, Class::Keyboard | Class::Connector);
            let factor = match (stuck, bends) {
                (true, _) => LIFTS_HARD,
                (false, true) => BENDS,
                (false, false) => BENDS_CHIP,
            };
            effects.insert(mode, s * factor);
        }
        for (mode, s) in weak {
            let slot = effects.entry(mode).or_insert(0.0);
            *slot = slot.max(s * LIFTS_WEAK);
        }
        let word = if stuck { "stuck" } else { "dead" };
        let what = match ids {
            [one] => one.replace('.', " "),
            several => self.line_name(several),
        };
        let text = format!("{what} {word} until {} held", held.join(" "));
        let effects: Vec<(ModeId, f64)> = effects.into_iter().collect();
        self.line_of_keys(ids, format!("keys {what} until"), text, effects);
    }

    pub(super) fn line_name(&self, ids: &[String]) -> String {
        let same =
            |keys: &Vec<String>| keys.len() == ids.len() && keys.iter().all(|k| ids.contains(k));
        let found = self.known.lines.iter().find(|(_, keys)| same(keys));
        found.map_or_else(|| ids.join(" "), |(what, _)| what.clone())
    }

    /// The resistance of a key's contact, measured while it is pressed.
    pub(in crate::observe) fn contact(&mut self, name: &str, ohms: f64) {
        let key = board::key(self.model, name);
        let unit = key.and_then(|k| {
            let units = &self.model.units;
            units
                .iter()
                .position(|u| matches!(&u.kind, UnitKind::Key { key } if *key == k))
        });
        let Some(unit) = unit else {
            let message = format!("board {} has no such key", self.model.board);
            return self.warn(code::NO_SUCH_CHECK, message, String::new());
        };
        let class = contact::class(ohms);
        let (fine, faulty) = contact::CLASSES[class];
        let shown = crate::quantity::show(ohms, crate::quantity::Unit::Ohm);
        let shown = if ohms.is_infinite() {
            "open".to_string()
        } else {
            shown
        };
        let text = format!("contact of key {name} {shown}: {}", contact::WORDS[class]);
        self.push(text, Evidence::Unit { unit, fine, faulty });
    }

    /// The keys of the matrix with these names; others are told.
    fn key_set(&mut self, names: &[String]) -> Keys {
        let mut set = 0;
        for name in names {
            match board::key(self.model, name).and_then(|k| self.known.scan.matrix.key(&k)) {
                Some(k) => set |= 1 << k,
                None => {
                    let message =
                        format!("board {} has no key {name} in its matrix", self.model.board);
                    self.warn(code::NO_SUCH_CHECK, message, String::new());
                }
            }
        }
        set
    }

    fn key_id(&self, key: usize) -> String {
        format!("key.{}", self.known.scan.matrix.keys[key].2)
    }

    fn names(&self, keys: Keys) -> String {
        let all = self.known.scan.matrix.keys.iter().enumerate();
        let some = all.filter(|(k, _)| keys >> k & 1 == 1);
        some.map(|(_, (_, _, name))| name.clone())
            .collect::<Vec<_>>()
            .join(" ")
    }
}
