//! What was read of a machine as it changed under the hands: every reading as it counts in the end, with what was fitted then.
//!
//! The same as the network makes of it (`network::Builder`), without the network: after a remedy without a change what failed
//! before is said again of the machine with the new part in.

use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::Outcome;
use crate::observe::{Became, CheckReading, Evidence, Observed, Redone};
use crate::prior::common::CommonTable;
use crate::rank::network::Priors;

/// A reading of a check, or what a remedy made of one.
pub(super) struct Item<'a> {
    /// What it says of each mode.
    pub(super) reading: &'a CheckReading,
    /// What was seen.
    pub(super) outcome: Outcome,
    /// It counts: it was not said again since.
    pub(super) seen: bool,
    /// How many remedies came before it.
    pub(super) stage: usize,
    /// Factors on what the modes of some units do to it.
    pub(super) scale: Vec<(usize, f64)>,
}

/// A unit that was renewed or refitted.
pub(super) struct Change {
    pub(super) unit: usize,
    /// Of all its modes.
    pub(super) became: Became,
    /// The first stage in which it is as it became.
    pub(super) stage: usize,
    /// What readings about it alone said of the one that came out.
    pub(super) alone: (f64, f64),
}

/// All readings in order.
pub(super) struct Course<'a> {
    pub(super) items: Vec<Item<'a>>,
    pub(super) changes: Vec<Change>,
    /// Items by reading.
    pub(super) checks: Vec<Vec<usize>>,
    /// P(readings about a unit alone | fine) and (| at fault), by unit as it is now.
    pub(super) alone: Vec<(f64, f64)>,
}

/// A failing reading that a remedy may say something of: which reading, and its item.
type Open = (usize, usize);

/// What is needed to know how probably a part was the reason before it came out.
struct Before<'p> {
    model: &'p BoardModel,
    common: &'p CommonTable,
    priors: &'p Priors,
}

impl<'a> Course<'a> {
    /// `None` for what only the network can take: moved parts, parts that went back in, anything changed twice.
    pub(super) fn of(
        model: &BoardModel,
        observed: &'a Observed,
        common: &CommonTable,
        priors: &Priors,
    ) -> Option<Self> {
        let mut course = Self {
            items: Vec::with_capacity(observed.readings.len()),
            changes: Vec::new(),
            checks: vec![Vec::new(); observed.readings.len()],
            alone: vec![(1.0, 1.0); model.units.len()],
        };
        let before = Before {
            model,
            common,
            priors,
        };
        let (mut stage, mut open) = (0, Vec::new());
        for (at, reading) in observed.readings.iter().enumerate() {
            match &reading.evidence {
                Evidence::Check(c) => {
                    let item = Item {
                        reading: c,
                        outcome: c.outcome,
                        seen: true,
                        stage,
                        scale: Vec::new(),
                    };
                    let id = course.add(at, item);
                    if c.outcome != Outcome::Pass {
                        open.push((at, id));
                    }
                }
                Evidence::Unit { unit, fine, faulty } => {
                    let alone = &mut course.alone[*unit];
                    *alone = (alone.0 * fine, alone.1 * faulty);
                }
                Evidence::Remedy { units, cured } => {
                    stage += 1;
                    let doubts = course.change(&before, units, stage)?;
                    open = match cured {
                        // Not said: what failed speaks of what was fitted then.
                        None => Vec::new(),
                        Some(cured) => course.after(at, (*cured, stage), &open, &doubts, model),
                    };
                }
                _ => return None,
            }
        }
        Some(course)
    }

    fn add(&mut self, reading: usize, item: Item<'a>) -> usize {
        let id = self.items.len();
        self.items.push(item);
        self.checks[reading].push(id);
        id
    }

    /// Units are renewed or refitted: the new ones with the modes of the old, mode by mode its probability.
    fn change(&mut self, before: &Before, units: &[Redone], stage: usize) -> Option<Vec<Doubt>> {
        let mut doubts = Vec::new();
        for Redone { unit, became } in units {
            let unit = *unit;
            if self.changes.iter().any(|c| c.unit == unit) {
                return None;
            }
            let alone = self.alone[unit];
            // Some of its modes only: that is rare, and the network does it.
            if matches!(became, Became::Refitted { only: Some(_), .. }) {
                return None;
            }
            if matches!(became, Became::Renewed(_)) {
                doubts.push(before.doubt(unit, alone));
                self.alone[unit] = (1.0, 1.0);
            }
            self.changes.push(Change {
                unit,
                became: became.clone(),
                stage,
                alone,
            });
        }
        Some(doubts)
    }

    /// What failed before is gone, or there still. Gives what is open from then on.
    fn after(
        &mut self,
        at: usize,
        (cured, stage): (bool, usize),
        open: &[Open],
        doubts: &[Doubt],
        model: &BoardModel,
    ) -> Vec<Open> {
        let mut still = Vec::new();
        for &(reading, id) in open {
            let old = &self.items[id];
            let mut again = Item {
                reading: old.reading,
                outcome: old.outcome,
                seen: true,
                stage,
                scale: old.scale.clone(),
            };
            if cured {
                again.outcome = Outcome::Pass;
                self.add(at, again);
                continue;
            }
            // A new part can be the reason now only if the old one was before (see the network).
            let of = |d: &Doubt| (d.unit, d.reason(model, again.reading).min(1.0));
            let more: Vec<(usize, f64)> = doubts.iter().map(of).collect();
            again.scale.extend(more);
            self.items[id].seen = false;
            let new = self.add(reading, again);
            still.push((reading, new));
        }
        still
    }

    /// What a unit does to an item is this much less.
    pub(super) fn scale(item: &Item, unit: usize) -> f64 {
        let of_unit = item.scale.iter().filter(|s| s.0 == unit);
        of_unit.map(|s| s.1).product()
    }
}

/// A part that came out: the probability of each of its modes.
struct Doubt {
    unit: usize,
    first: ModeId,
    modes: Vec<f64>,
}

impl Doubt {
    /// P(a reading failed because of it).
    fn reason(&self, model: &BoardModel, c: &CheckReading) -> f64 {
        let own = model.units[self.unit].modes.clone();
        let hits = c.effects.iter().filter(|e| own.contains(&e.0));
        hits.map(|e| self.modes[(e.0 - self.first) as usize] * e.1)
            .sum()
    }
}

impl Before<'_> {
    /// How probably each mode of a part is there, by its prior and what was said of it alone.
    fn doubt(&self, unit: usize, (fine, faulty): (f64, f64)) -> Doubt {
        let range = self.model.units[unit].modes.clone();
        let prior = |m: ModeId| -> f64 {
            let row = self.priors.of(m);
            let settings = self.common.settings().zip(row);
            faulty
                * settings
                    .map(|(s, p)| self.common.probability(s) * p)
                    .sum::<f64>()
        };
        let mut modes: Vec<f64> = range.clone().map(prior).collect();
        let bad: f64 = modes.iter().sum();
        let whole = (bad + fine * (1.0 - bad).max(0.0)).max(f64::MIN_POSITIVE);
        modes.iter_mut().for_each(|p| *p /= whole);
        Doubt {
            unit,
            first: range.start,
            modes,
        }
    }
}
