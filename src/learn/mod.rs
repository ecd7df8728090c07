//! What a bench's own closed tickets say about how often each family of parts fails.
//!
//! For a family f the bench's rate is θ times the handbook's. Before any ticket θ ~ Gamma(s, s): mean 1, and s says how
//! firmly, as so many failures already counted ([`STRENGTH`]). In the tickets k units of the family were proved faulty, where
//! the handbook expects e: the sum over the tickets of P(unit at fault | how the machine came in), all units of the family.
//! With k ~ Poisson(θ e) the posterior is θ ~ Gamma(s + k, s + e) and its mean (s + k)/(s + e) multiplies the rates: the
//! conjugate pair of any textbook of Bayesian statistics.
//!
//! A ticket counts when it was closed as cured and proved, names what was proved, and its clean loops prove the cure
//! ([`crate::bench::proof::is_proved`]). It is taken to name all that was at
//! fault, and k to be spread over many units, each of them rarely at fault.

pub mod order;
pub mod tickets;

use crate::faultmap::model::{BoardModel, Unit, UnitKind};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Failures that the handbook's rate counts for (guess: after three of its own a bench believes itself as much).
pub const STRENGTH: f64 = 3.0;

/// Form of the exported file.
pub const SCHEMA: u32 = 1;

/// A bench's own failure rates by family, as counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Learned {
    /// 1.
    pub schema: u32,
    /// Failures that the handbook's rate counts for.
    pub strength: f64,
    /// Tickets counted.
    pub tickets: usize,
    /// Counts by family.
    pub families: BTreeMap<String, Tally>,
}

/// Counts of one family.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tally {
    /// Units proved faulty.
    pub failed: u32,
    /// Units that the handbook expects faulty in these machines.
    pub expected: f64,
}

/// Why a file of rates is refused.
#[derive(Debug, thiserror::Error)]
pub enum LearnError {
    /// Not readable.
    #[error("{0}")]
    Read(String),
    /// Not in the form that `rates --export` writes.
    #[error("{name}: not a file that 'rates --export' writes: {why}")]
    Form {
        /// File.
        name: String,
        /// What is wrong.
        why: String,
    },
}

impl Default for Learned {
    fn default() -> Self {
        Self {
            schema: SCHEMA,
            strength: STRENGTH,
            tickets: 0,
            families: BTreeMap::new(),
        }
    }
}

impl Tally {
    /// How many times the handbook's rate the bench's own is: (s + k)/(s + e).
    pub fn factor(&self, strength: f64) -> f64 {
        (strength + f64::from(self.failed)) / (strength + self.expected)
    }
}

impl Learned {
    /// The factor on the rates of a family; 1 for one that no ticket says anything about.
    pub fn factor(&self, family: &str) -> f64 {
        self.families
            .get(family)
            .map_or(1.0, |t| t.factor(self.strength))
    }

    /// Counts a machine: what was to be expected of each unit (in the order of the model), and which failed.
    pub fn count(&mut self, model: &BoardModel, expected: &[f64], failed: &[usize]) {
        self.tickets += 1;
        for (unit, p) in model.units.iter().zip(expected) {
            self.families
                .entry(family(model, unit))
                .or_default()
                .expected += p;
        }
        for &unit in failed {
            let family = family(model, &model.units[unit]);
            self.families.entry(family).or_default().failed += 1;
        }
    }

    /// The board with these rates.
    pub fn apply(&self, model: &mut BoardModel) {
        let factors: Vec<f64> = model
            .units
            .iter()
            .map(|u| self.factor(&family(model, u)))
            .collect();
        for mode in &mut model.modes {
            mode.rate *= factors[mode.unit as usize];
        }
    }

    /// [`Learned::apply`] to a copy.
    pub fn applied(&self, model: &BoardModel) -> BoardModel {
        let mut own = model.clone();
        self.apply(&mut own);
        own
    }

    /// The file that keeps the counts.
    ///
    /// # Errors
    /// None that such plain values could give.
    pub fn export(&self) -> Result<String, LearnError> {
        let yaml = serde_yaml::to_string(self).map_err(|e| LearnError::Read(e.to_string()))?;
        Ok(format!(
            "# A bench's own failure rates, written by 'whichsocket rates --export'. Deleting this file resets them.\n{yaml}"
        ))
    }

    /// Reads what [`Learned::export`] wrote.
    ///
    /// # Errors
    /// Another form, or counts that are none.
    pub fn import(name: &str, text: &str) -> Result<Self, LearnError> {
        let bad = |why: String| LearnError::Form {
            name: name.to_string(),
            why,
        };
        let found: Self = serde_yaml::from_str(text).map_err(|e| bad(e.to_string()))?;
        if found.schema != SCHEMA {
            return Err(bad(format!("schema {} is not known", found.schema)));
        }
        let counts = |t: &Tally| t.expected.is_finite() && t.expected >= 0.0;
        let fits = found.strength.is_finite() && found.strength > 0.0;
        if !fits || !found.families.values().all(counts) {
            return Err(bad("strength and expected must be numbers above 0".into()));
        }
        Ok(found)
    }
}

/// The family that a unit is counted in: that of its part, or one for all contacts, joints and keys of its kind.
pub fn family(model: &BoardModel, unit: &Unit) -> String {
    match unit.kind {
        UnitKind::Part => model.positions[unit.position].family.clone(),
        UnitKind::Contacts => "socket contacts".into(),
        UnitKind::Joints => "solder joints".into(),
        UnitKind::Contact { .. } => "connector contacts".into(),
        UnitKind::Key { .. } => "key contacts".into(),
    }
}
