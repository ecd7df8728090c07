//! Faults that short a rail to ground: what a meter finds on a board without power, and a finger after some seconds with it.
//!
//! What makes a voltage low is of two kinds. The one gives too little: supply, switch, fuse, regulator. The other takes too
//! much: a part on the board that shorts its supply. Only the second kind is low in resistance with the power off, and only it
//! gets hot.

use super::{Evidence, Hint, Observer, odds};
use crate::faultmap::model::{BoardModel, Kind, ModeId, UnitKind};
use crate::faultmap::raw::{Class, Warmth, is_ground};
use crate::infer::network::Outcome;
use crate::sheet::{Place, State};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// A mode that pulls a rail low at least this surely sits on it as a short.
const PULLS: f64 = 0.5;

/// P(below the few ohms that count as a short | a part shorts the rail): some only break down with voltage on them (a guess).
const LOW_IN_OHMS: f64 = 0.9;

/// A strength from which on a mode counts as able to make a rail as it was read.
pub const MAKES_IT: f64 = 0.05;

/// Modes that short a rail, each with the names of the rails that it sits on.
pub type Shorts = BTreeMap<ModeId, Vec<String>>;

/// The modes of a board that short a rail to ground; worked out once.
pub fn shorts(model: &BoardModel) -> Arc<Shorts> {
    #[derive(Default)]
    struct Known(OnceLock<Arc<Shorts>>);
    let memo = model.memo.of::<Known>();
    Arc::clone(memo.0.get_or_init(|| Arc::new(work_out(model))))
}

fn work_out(model: &BoardModel) -> Shorts {
    let mut out = Shorts::new();
    for (name, rail) in &model.rails {
        let Some(node) = model.node(&rail.line) else {
            continue;
        };
        for t in &model.nodes[node as usize].touches {
            let pulls = t.kind == Kind::Low && f64::from(t.strength) >= PULLS;
            if pulls && can_short(model, t.mode) {
                out.entry(t.mode).or_default().push(name.clone());
            }
        }
    }
    // What a regulator makes of a shorted input is low as well, but not low in ohms: a part shorts the rails at its own pins.
    for (mode, rails) in &mut out {
        let own = |rail: &String| {
            let line = Some(model.rails[rail].line.as_str());
            let unit = &model.units[model.modes[*mode as usize].unit as usize];
            let pins = &model.positions[unit.position].pins;
            pins.iter().any(|p| p.line.as_deref() == line)
        };
        if rails.iter().any(own) {
            rails.retain(own);
        }
    }
    out
}

/// Whether a mode can be a short to ground: one of a part on the board with a pin at ground, that does not make the rail itself.
fn can_short(model: &BoardModel, mode: ModeId) -> bool {
    let m = &model.modes[mode as usize];
    let unit = &model.units[m.unit as usize];
    let position = &model.positions[unit.position];
    let gives = matches!(
        position.class,
        Class::Regulator | Class::Fuse | Class::Switch | Class::Connector | Class::Supply
    );
    let at_ground = || position.pins.iter().filter_map(|p| p.line.as_deref());
    unit.kind == UnitKind::Part
        && !m.missing
        && !position.outside
        && !gives
        && at_ground().any(is_ground)
}

/// The check that the resistance from a rail to ground is.
pub fn resistance_id(rail: &str) -> String {
    format!("resistance.{rail}")
}

/// How surely each mode shows in the resistance from a rail to ground, before anything is missed by a reader.
pub fn resistance_effects(model: &BoardModel, rail: &str) -> Vec<(ModeId, f64)> {
    let all = shorts(model);
    let of = all.iter().filter(|(_, on)| on.iter().any(|r| r == rail));
    of.map(|(&mode, _)| (mode, super::stepped(LOW_IN_OHMS)))
        .collect()
}

/// A part that was felt, or held against others along its rail: where its reading is, and P(reading) when it does not short the
/// rail, and when it does.
pub(super) struct Felt {
    reading: usize,
    /// [`HEAT`] or [`DROP`].
    how: &'static str,
    odds: (f64, f64),
}

/// A part was felt on a rail that reads low: the beginning of the identifier, then its name.
pub const HEAT: &str = "heat.";
/// The same, by the millivolts at it.
pub const DROP: &str = "drop.";

impl Observer<'_> {
    /// Remembers that the last reading is of heat at a part with this normal warmth.
    pub(super) fn felt(&mut self, felt: usize, normal: Warmth) {
        if let Some(reading) = self.out.readings.len().checked_sub(1) {
            let hotter = usize::from(felt >= odds::HOTTER);
            let odds = odds::felt_on_a_low_rail(Some(normal))[hotter];
            self.felt.push(Felt {
                reading,
                how: HEAT,
                odds,
            });
        }
    }

    /// Millivolts of a rail that is pulled down, at one of its parts: the fewest of all, or not. They say something only where a
    /// rail was read low, which may stand below.
    pub(super) fn drop_at(&mut self, place: &Place, state: &State) {
        let Some((index, position)) = self.find_position(place) else {
            return;
        };
        let (lowest, word) = match state {
            State::Low => (true, "lowest"),
            State::High => (false, "higher"),
            _ => return,
        };
        let part = (self.model.units_of(index)).find(|(_, u)| u.kind == UnitKind::Part);
        let Some((unit, _)) = part else { return };
        let text = format!("drop at {}: {word}", position.name);
        let (fine, faulty) = (1.0, 1.0);
        self.push(text, Evidence::Unit { unit, fine, faulty });
        if let Some(reading) = self.out.readings.len().checked_sub(1) {
            let odds = odds::DROP[usize::from(lowest)];
            self.felt.push(Felt {
                reading,
                how: DROP,
                odds,
            });
        }
    }

    /// At the end of a run: with a rail low in it, the parts on it stay cold but for the one that takes the current, and what a
    /// finger found counts by that, whatever was typed first.
    pub(super) fn felt_with_a_rail_low(&mut self) {
        let felt = std::mem::take(&mut self.felt);
        if felt.is_empty() {
            return;
        }
        let low = self.pulled_low();
        for f in felt {
            let evidence = &mut self.out.readings[f.reading].evidence;
            let Evidence::Unit { unit, .. } = evidence else {
                continue;
            };
            let u = &self.model.units[*unit];
            let modes: Vec<ModeId> = u.modes.clone().filter(|m| low.contains(m)).collect();
            if modes.is_empty() {
                if f.how == DROP && low.is_empty() {
                    self.out.hints.push(Hint {
                        sheet: self.out.readings[f.reading].sheet,
                        line: self.out.readings[f.reading].line,
                        text: "where a rail is lowest says something only when it was read low or shorted in the same run".into(),
                        pattern: None,
                    });
                }
                continue;
            }
            let name = &self.model.positions[u.position].name;
            self.out.read.insert(format!("{}{name}", f.how));
            let (without, with) = f.odds;
            *evidence = Evidence::Modes {
                unit: *unit,
                modes,
                without,
                with,
            };
        }
    }

    /// Modes that short a rail which was read low in this run.
    fn pulled_low(&self) -> Vec<ModeId> {
        let all = shorts(self.model);
        let mut modes = Vec::new();
        for reading in &self.out.readings {
            let Evidence::Check(c) = &reading.evidence else {
                continue;
            };
            // Low in volts, or in ohms to ground with the power off.
            let rail = (c.check.strip_prefix("rail.")).or(c.check.strip_prefix("resistance."));
            let Some(rail) = rail else { continue };
            if c.run == self.run && c.outcome != Outcome::Pass {
                modes.extend(able(&all, rail, &c.effects));
            }
        }
        modes.sort_unstable();
        modes.dedup();
        modes
    }
}

/// The modes that short this rail, of those that can make it as it was read.
pub fn able<'a>(
    shorts: &'a Shorts,
    rail: &'a str,
    effects: &'a [(ModeId, f64)],
) -> impl Iterator<Item = ModeId> + 'a {
    let on = move |mode: &ModeId| {
        shorts
            .get(mode)
            .is_some_and(|on| on.iter().any(|r| r == rail))
    };
    let can = effects.iter().filter(|e| e.1 >= MAKES_IT).map(|e| e.0);
    can.filter(on)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shipped::Library;

    fn names(board: &str, rail: &str) -> Vec<String> {
        let model = Library::default().board(board).expect("a shipped board");
        let all = shorts(&model);
        let of = all.iter().filter(|(_, on)| on.iter().any(|r| r == rail));
        of.map(|(m, _)| {
            let mode = &model.modes[*m as usize];
            format!("{}: {}", model.units[mode.unit as usize].name, mode.what)
        })
        .collect()
    }

    /// What takes too much is a short, what gives too little is none.
    #[test]
    fn parts_at_ground_short_a_rail_and_what_makes_it_does_not() {
        let of =
            |list: &[String], unit: &str| list.iter().any(|n| n.starts_with(&format!("{unit}:")));
        let five = names("64k-6510-wide", "+5V");
        assert!(of(&five, "U10") && of(&five, "U1"), "{five:?}");
        for gives in ["SW1", "ADAPTER", "CN7", "VR2", "F1"] {
            assert!(!of(&five, gives), "{gives}: {five:?}");
        }
        // The reservoir in front of the regulators pulls down what they make, and is not low in ohms behind them.
        let (before, behind) = (
            names("64k-6510-wide", "9V_UNREG"),
            names("64k-6510-wide", "+12V"),
        );
        let reservoirs: Vec<&str> = (before.iter())
            .filter_map(|n| n.split_once(':'))
            .map(|(unit, _)| unit)
            .collect();
        assert!(!reservoirs.is_empty());
        for unit in reservoirs {
            assert!(!of(&behind, unit), "{unit}: {behind:?}");
        }
    }
}
