//! The keyboard: many results, a few states of the board.
//!
//! A loose plug is 64 dead keys and one fault. So what a run says of its keys becomes lines first: all keys at once, else every
//! column and every row that is so as a whole, two lines that act together, a column that acts in every other, each one
//! reading; what is left are single keys. A line counts as so through a fault as surely as the fault does it to the least
//! of its keys; through worn contacts as surely as through all of them one by one. (That several worn contacts happen to make up a whole line is left out; it is less probable than a false
//! reading.)
//!
//! `matrix` has the physics of a scanned matrix, `theory` what the modes of the board do to it, `likelihood` how what a key
//! does is typed, `lines` what is said of keys by way of others (act together, ghosts, held keys), `upset` keys that stop the machine, `contact` contact
//! resistances, `stick` the control ports, which on some boards hang on the same lines.

pub mod contact;
mod known;
pub mod likelihood;
mod lines;
pub mod matrix;
mod stick;
pub mod theory;
mod upset;

use super::aspect::Aspect;
use super::{CheckReading, Evidence, Observer};
use crate::faultmap::model::{Joins, ModeId};
use crate::infer::network::Outcome;
use crate::sheet::{Finding, State, Upset};
pub(super) use known::Known;
use likelihood::Typed;
use std::collections::{BTreeMap, BTreeSet};

/// Keys that a line must have to be worth a reading of its own.
const LEAST: usize = 3;

/// How much rarer a slip takes a whole line of keys than one key (guess).
const LINE_SLIP: f64 = 0.01;

/// P(a list of bad keys names another one | the fault struck that one too) (guess: few break off a list they began).
const NAMED_ALL: f64 = 0.98;

/// A line of a sheet: which sheet, which line.
type Line = (usize, usize);

/// What a run says of a key.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Said {
    Dead,
    Stuck,
    /// Only when pressed hard, or now and then.
    Weak,
    /// Its own and these.
    Also(Vec<String>),
    /// These and not its own.
    Gives(Vec<String>),
    /// The machine stops when it is pressed.
    Upsets(Upset),
}

impl Observer<'_> {
    /// Keeps what is said of a key until the run ends; false when it is a result like any other.
    pub(super) fn key_said(&mut self, id: &str, finding: &Finding) -> bool {
        let upsets = matches!(finding.state, State::Upsets(_));
        if !id.starts_with("key.") || finding.loops.is_some() && !upsets {
            return false;
        }
        let said = match &finding.state {
            State::Bad | State::Dead => Said::Dead,
            State::Stuck => Said::Stuck,
            State::Noisy => Said::Weak,
            State::Also(others) => Said::Also(others.clone()),
            State::Gives(others) => Said::Gives(others.clone()),
            State::Upsets(upset) => Said::Upsets(*upset),
            _ => return false,
        };
        self.keys_said
            .push((id.to_string(), said, (self.sheet, self.line)));
        true
    }

    /// What the run that ends said of its keys, as readings.
    pub(super) fn keys(&mut self) {
        let said = std::mem::take(&mut self.keys_said);
        if said.is_empty() {
            return;
        }
        let keep = (self.sheet, self.line);
        for (wanted, aspect, word) in [
            (Said::Dead, Aspect::Dead, "dead"),
            (Said::Stuck, Aspect::Pressed, "stuck"),
            (Said::Weak, Aspect::Noisy, "only if pressed hard"),
        ] {
            let of_kind = said.iter().rev().filter(|s| s.1 == wanted);
            let keys = of_kind.map(|(id, _, line)| (id.clone(), *line)).collect();
            self.keys_alike(&keys, aspect, word);
        }
        self.keys_by_others(&said);
        self.keys_upset(&said);
        self.keys_not_named(&said);
        (self.sheet, self.line) = keep;
    }

    /// Who lists keys one by one has tried the others: a fault that would have struck those too is the less likely. One
    /// reading, as it is one person's care. Where the sheet speaks of the others itself, that is used instead.
    fn keys_not_named(&mut self, said: &[(String, Said, Line)]) {
        let all = self.known.scan.matrix.keys.len();
        if !self.rest_fine.is_empty() || !self.other_keys.is_empty() || said.len() >= all {
            return;
        }
        // P(no other key is struck) by mode, each by its own chance; unread where no key is touched.
        let known = std::sync::Arc::clone(&self.known);
        let mut spared = vec![f64::NAN; self.model.modes.len()];
        let troubles = known.troubles(self.model);
        for (id, troubled) in known.ids.iter().zip(&troubles.each) {
            if self.here.contains(id) {
                continue;
            }
            for &(mode, s) in troubled {
                let spared = &mut spared[mode as usize];
                let here = 1.0 - self.noticed(mode, s);
                *spared = if spared.is_nan() {
                    here
                } else {
                    *spared * here
                };
            }
        }
        let modes = (0..).zip(&spared).filter(|(_, none)| !none.is_nan());
        let own = |m: ModeId| self.model.modes[m as usize].joins.is_none();
        let mut effects: Vec<(ModeId, f64)> = modes
            .filter(|&(mode, _)| own(mode))
            .map(|(mode, none)| (mode, (1.0 - none).min(NAMED_ALL)))
            .collect();
        if effects.is_empty() {
            return;
        }
        (self.sheet, self.line) = said[said.len() - 1].2;
        for (mode, s) in &mut effects {
            // Of many worn contacts at least one more would be on the list.
            if self.known.scan.one_by_one.contains(mode) {
                *s = NAMED_ALL;
            }
        }
        let reading = CheckReading {
            looped: false,
            check: "keys not named".into(),
            outcome: Outcome::Pass,
            run: self.run,
            leak: self.trust.false_fail,
            effects: effects.into(),
        };
        let text = "the keys that are not named".to_string();
        self.push(text, Evidence::Check(reading));
    }

    /// Keys of which the same was said: whole lines first, then what is left.
    fn keys_alike(&mut self, keys: &BTreeMap<String, Line>, aspect: Aspect, word: &str) {
        if keys.is_empty() {
            return;
        }
        let mut open: BTreeSet<&String> = keys.keys().collect();
        let known = std::sync::Arc::clone(&self.known);
        let shown = std::sync::Arc::clone(&self.shown);
        let everywhere = &known.troubles(self.model).everywhere;
        for (what, of_line) in &known.lines {
            let whole = of_line.len() >= LEAST && of_line.iter().all(|k| keys.contains_key(k));
            if !whole || !of_line.iter().any(|k| open.contains(k)) {
                continue;
            }
            (self.sheet, self.line) = keys[&of_line[0]];
            if what == "all keys" {
                // Those outside the matrix are keys too: 'rest fine' does not speak of them.
                let all = self.model.checks.iter().map(|c| &c.id);
                let all: Vec<String> = all.filter(|id| id.starts_with("key.")).cloned().collect();
                all.iter().for_each(|id| self.mark(id));
            }
            of_line.iter().for_each(|k| {
                open.remove(k);
            });
            let check = match aspect {
                Aspect::Dead => format!("keys {what}"),
                _ => format!("keys {what} {word}"),
            };
            let effects = shown.keys(&check, aspect, self.trust.missed, || {
                let mut effects = self.least(of_line, |o, key| o.effects_on_key(key, aspect));
                if what != "all keys" {
                    effects.retain(|(m, _)| !everywhere.contains(m));
                }
                effects
            });
            self.line_of_keys(of_line, check, format!("{what} {word}"), effects);
        }
        for id in open {
            (self.sheet, self.line) = keys[id];
            let effects = shown.keys(id, aspect, self.trust.missed, || {
                let mut effects = self.effects_on_key(id, aspect);
                // One outside the matrix goes with the others when all are struck.
                if known.scan.matrix.key(&id["key.".len()..]).is_some() {
                    effects.retain(|(m, _)| !everywhere.contains(m));
                }
                effects
            });
            let text = format!("key {} {word}", &id["key.".len()..]);
            self.line_of_keys(std::slice::from_ref(id), id.clone(), text, effects);
        }
    }

    /// One failing reading of these keys together.
    fn line_of_keys(
        &mut self,
        keys: &[String],
        check: String,
        text: String,
        effects: impl Into<super::Effects>,
    ) {
        keys.iter().for_each(|k| self.mark(k));
        let slip = if keys.len() >= LEAST { LINE_SLIP } else { 1.0 };
        let reading = CheckReading {
            looped: false,
            check,
            outcome: Outcome::Fail,
            run: self.run,
            leak: self.trust.false_fail * slip,
            effects: effects.into(),
        };
        self.push(text, Evidence::Check(reading));
    }

    /// 'Other keys ok': every key that the run did not name.
    pub(super) fn rest_of_keys(&mut self) {
        let keep = (self.sheet, self.line);
        for (sheet, line, state) in std::mem::take(&mut self.other_keys) {
            (self.sheet, self.line) = (sheet, line);
            let ids = super::board::keys(self.model)
                .into_iter()
                .map(|k| format!("key.{k}"));
            let open: Vec<String> = ids.filter(|id| !self.here.contains(id)).collect();
            for id in open {
                let Some(reads) = self.model.check(&id).map(|c| c.reads.clone()) else {
                    continue;
                };
                let (aspect, outcome) = match state {
                    State::Ok => (super::whole(&id), Outcome::Pass),
                    _ => (Aspect::Dead, Outcome::Fail),
                };
                self.check(&id, &reads, aspect, outcome, "the other keys".into());
            }
        }
        (self.sheet, self.line) = keep;
    }

    /// How surely each mode does this to a key, with the joins of lines as the physics has them.
    fn effects_on_key(&mut self, id: &str, aspect: Aspect) -> Vec<(ModeId, f64)> {
        let Some(reads) = self.model.check(id).map(|c| c.reads.clone()) else {
            return Vec::new();
        };
        let mut effects = self.effects(&reads, aspect);
        let typed = match aspect {
            Aspect::Dead => Some(Typed::Dead),
            Aspect::Pressed => Some(Typed::Stuck),
            _ => None,
        };
        self.with_joins(
            id,
            |does| typed.map_or(0.0, |t| likelihood::probability(t, does)),
            &mut effects,
        );
        effects
    }

    /// A key that works speaks against whatever would have made it act otherwise.
    pub(super) fn key_works(&self, id: &str, effects: &mut Vec<(ModeId, f64)>) {
        let not_ok = |does| 1.0 - likelihood::probability(Typed::Ok, does);
        self.with_joins(id, not_ok, effects);
        if let Some(key) = self.known.scan.matrix.key(id.trim_start_matches("key.")) {
            // These do nothing else to a key.
            effects.extend(self.known.upsets(self.model).of_outputs(key));
            effects.sort_by_key(|e| e.0);
        }
    }

    /// Puts what joined lines do to a key in the place of what their strengths on the lines alone would say.
    fn with_joins(
        &self,
        id: &str,
        strength: impl Fn(likelihood::Does) -> f64,
        effects: &mut Vec<(ModeId, f64)>,
    ) {
        if self.known.scan.joins.is_empty() {
            return;
        }
        effects.retain(|(m, _)| self.model.modes[*m as usize].joins.is_none());
        let Some(key) = self.known.scan.matrix.key(id.trim_start_matches("key.")) else {
            return;
        };
        for (mode, joins) in &self.known.scan.joins {
            if let Some(does) = self.joined(joins, key) {
                effects.push((*mode, strength(does)));
            }
        }
        effects.retain(|e| e.1 > 0.0);
        effects.sort_by_key(|e| e.0);
    }

    /// What a key does when two lines are joined; `None` for a key that is not on them or has none in its place on the other.
    fn joined(&self, joins: &Joins, key: usize) -> Option<likelihood::Does> {
        let other = 1 << self.known.scan.partner(joins, key)?;
        Some(if joins.crossed {
            likelihood::Does::Instead(other)
        } else {
            likelihood::Does::More(other)
        })
    }

    /// How surely each mode does all of this to these keys: as surely as to the one it does it least.
    fn least(
        &mut self,
        keys: &[String],
        mut of: impl FnMut(&mut Self, &str) -> Vec<(ModeId, f64)>,
    ) -> Vec<(ModeId, f64)> {
        let mut least: Option<BTreeMap<ModeId, f64>> = None;
        for key in keys {
            if self.model.check(key).is_none() {
                continue;
            }
            let now: BTreeMap<ModeId, f64> = of(self, key).into_iter().collect();
            least = Some(match least {
                None => now,
                Some(before) => before
                    .into_iter()
                    .filter_map(|(m, s)| {
                        let here = *now.get(&m)?;
                        let one_by_one = self.known.scan.one_by_one.contains(&m);
                        Some((m, if one_by_one { s * here } else { s.min(here) }))
                    })
                    .collect(),
            });
        }
        least.unwrap_or_default().into_iter().collect()
    }
}
