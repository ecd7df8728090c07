//! Priors of the modes of a machine: by exposure, common causes, and what is not fitted.

use crate::faultmap::model::{BoardModel, ModeId, UnitKind};
use crate::infer::lattice::SETTINGS;
use crate::infer::network::MOST_COMMON_CAUSES;
use crate::observe::Observed;
use crate::prior::common::CommonTable;
use crate::sheet::Intake;
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// A number for each setting of the common causes; those that there are not are zero.
type Row = [f64; SETTINGS];

const _: () = assert!(SETTINGS == 1 << MOST_COMMON_CAUSES);

/// Prior of each mode under each setting of the common causes, exclusive within a unit: that of the unit, shared by its modes as
/// their rates. A board has thousands of modes and hundreds of units, so the products are worked out when asked for.
#[derive(Debug, Clone)]
pub struct Priors {
    settings: usize,
    /// P(unit at fault), and the sum of the rates of its modes.
    units: Vec<(Row, f64)>,
    /// Unit and rate of each mode.
    modes: Vec<(u32, f64)>,
    /// Modes that do not go by the rates: of positions that are, or may be, empty.
    own: BTreeMap<ModeId, Row>,
}

/// Prior of each mode under each setting of the common causes, exclusive within a unit.
///
/// p(unit) = 1 − exp(−x Σ r f), shared by the modes as their rates.
pub fn priors(model: &BoardModel, observed: &Observed, common: &CommonTable) -> Priors {
    let mut out = fitted(model, intake(observed), common);
    out.empty(model, observed);
    out
}

/// The priors with every position fitted that were worked out of a board so far, by intake.
#[derive(Default)]
struct Fitted([OnceLock<Arc<Priors>>; 3]);

/// [`priors`] with the shipped common causes; those of a board without empty positions are worked out once.
pub(super) fn shipped_priors(
    model: &BoardModel,
    observed: &Observed,
    common: &CommonTable,
) -> Arc<Priors> {
    let intake = intake(observed);
    let memo = model.memo.of::<Fitted>();
    let all = memo.0[intake].get_or_init(|| Arc::new(fitted(model, intake, common)));
    let mut out = Arc::clone(all);
    if !observed.facts.came_whole() {
        Arc::make_mut(&mut out).empty(model, observed);
    }
    out
}

/// Index of the exposure of this machine.
fn intake(observed: &Observed) -> usize {
    match observed.facts.intake.unwrap_or(Intake::Untested) {
        Intake::Faulty => 0,
        Intake::Untested => 1,
        Intake::Works => 2,
    }
}

/// Priors when every position is fitted.
fn fitted(model: &BoardModel, intake: usize, common: &CommonTable) -> Priors {
    let exposure = model.exposures[intake];
    let of_unit = |unit: &crate::faultmap::model::Unit| {
        let range = unit.modes.start as usize..unit.modes.end as usize;
        let total: f64 = model.modes[range].iter().map(|m| m.rate).sum();
        let mut at = [0.0; SETTINGS];
        for s in common.settings() {
            at[s] = -(-exposure * total * common.factor(s, unit.class)).exp_m1();
        }
        (at, total)
    };
    Priors {
        settings: common.settings().len(),
        units: model.units.iter().map(of_unit).collect(),
        modes: model.modes.iter().map(|m| (m.unit, m.rate)).collect(),
        own: BTreeMap::new(),
    }
}

impl Priors {
    /// The prior of a mode under each setting.
    pub fn of(&self, mode: ModeId) -> Vec<f64> {
        if let Some(own) = self.own.get(&mode) {
            return own[..self.settings].to_vec();
        }
        let (unit, rate) = self.modes[mode as usize];
        let (at, total) = &self.units[unit as usize];
        let of = |p: &f64| {
            if *total > 0.0 { p * rate / total } else { 0.0 }
        };
        at[..self.settings].iter().map(of).collect()
    }

    /// Whether a mode is possible at all.
    pub(super) fn possible(&self, mode: ModeId) -> bool {
        match self.own.get(&mode) {
            Some(own) => own.iter().any(|&p| p > 0.0),
            None => self.share(mode) > 0.0,
        }
    }

    /// P(a unit at fault) under each setting; zero beyond the settings that there are.
    pub(super) fn of_unit(&self, unit: usize) -> &Row {
        &self.units[unit].0
    }

    /// The share that a mode has of its unit; 1 of one with [a row of its own](Self::own).
    pub(super) fn share(&self, mode: ModeId) -> f64 {
        if !self.own.is_empty() && self.own.contains_key(&mode) {
            return 1.0;
        }
        let (unit, rate) = self.modes[mode as usize];
        let total = self.units[unit as usize].1;
        if total > 0.0 { rate / total } else { 0.0 }
    }

    /// The row of a mode that does not go by the rates.
    pub(super) fn own(&self, mode: ModeId) -> Option<&Row> {
        match self.own.is_empty() {
            true => None,
            false => self.own.get(&mode),
        }
    }

    /// Of an empty position, nothing there is all that can be wrong with it.
    fn empty(&mut self, model: &BoardModel, observed: &Observed) {
        let units = model.units.iter().filter(|unit| {
            observed.facts.came_empty(unit.position) && !matches!(unit.kind, UnitKind::Key { .. })
        });
        for m in units.flat_map(|unit| unit.modes.clone()) {
            let p = f64::from(u8::from(model.modes[m as usize].missing));
            self.set(m, |_| p);
        }
        // What is uncertain is one of two machines.
        for (position, doubt) in &observed.facts.perhaps_empty {
            for m in model
                .units_of(*position)
                .flat_map(|(_, unit)| unit.modes.clone())
            {
                let there = f64::from(u8::from(model.modes[m as usize].missing)) * (1.0 - doubt);
                self.set(m, |p| p * doubt + there);
            }
        }
    }

    fn set(&mut self, mode: ModeId, to: impl Fn(f64) -> f64) {
        let mut row = [0.0; SETTINGS];
        for (to_row, p) in row.iter_mut().zip(self.of(mode)) {
            *to_row = to(p);
        }
        self.own.insert(mode, row);
    }
}
