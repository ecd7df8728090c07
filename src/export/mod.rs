//! The model behind a ranking, written down for general tools.
//!
//! [`tables`] turns a network into ordinary conditional tables, [`bif`] writes those in the Bayesian-network interchange
//! format, [`two_level`] gives the network as it is, as plain JSON, for models whose tables would be too large.

pub mod bif;
pub mod merge;
pub mod tables;
pub mod two_level;

use crate::faultmap::model::BoardModel;
use crate::infer::network::{CauseId, Network};
use crate::observe::Evidence;
use crate::rank::Ranking;
use crate::rank::network::Instance;

/// The part of a network that has only these causes (all others taken to be fine), in this order. Checks keep their numbers.
pub fn restrict(net: &Network, causes: &[CauseId]) -> Network {
    Network {
        common: net.common.clone(),
        causes: causes.iter().map(|&c| net.causes[c].clone()).collect(),
        checks: net.checks.clone(),
    }
}

/// Names of the parts of a network.
#[derive(Debug, Clone, PartialEq)]
pub struct Names {
    /// Each common cause.
    pub common: Vec<String>,
    /// Each cause, with its modes.
    pub causes: Vec<(String, Vec<String>)>,
    /// Each check.
    pub checks: Vec<String>,
}

impl Names {
    /// Numbers for names.
    pub fn numbered(net: &Network) -> Self {
        Names {
            common: (0..net.common.len())
                .map(|b| format!("common {b}"))
                .collect(),
            causes: (0..net.causes.len())
                .map(|i| {
                    let modes = 0..net.causes[i].modes.len();
                    (
                        format!("cause {i}"),
                        modes.map(|m| format!("mode {m}")).collect(),
                    )
                })
                .collect(),
            checks: (0..net.checks.len())
                .map(|j| format!("check {j}"))
                .collect(),
        }
    }

    /// The names that [`restrict`] keeps.
    pub fn restrict(&self, causes: &[CauseId]) -> Self {
        Names {
            common: self.common.clone(),
            causes: causes.iter().map(|&c| self.causes[c].clone()).collect(),
            checks: self.checks.clone(),
        }
    }
}

impl Names {
    /// The names of a ranking's network.
    pub fn of(model: &BoardModel, ranking: &Ranking) -> Self {
        let a = &ranking.assembled;
        let of_cause = |(i, instance): (usize, &Instance)| {
            let unit = &model.units[instance.unit];
            let name = match instance.fitted {
                0 => unit.name.clone(),
                n => format!("{} new part {n}", unit.name),
            };
            let modes = a.modes[i].iter();
            (
                name,
                modes
                    .map(|&m| model.modes[m as usize].what.to_string())
                    .collect(),
            )
        };
        let mut checks: Vec<String> = (0..a.net.checks.len())
            .map(|j| format!("check {j}"))
            .collect();
        for (reading, ids) in ranking.observed.readings.iter().zip(&a.checks) {
            if let Evidence::Check(c) = &reading.evidence {
                for &id in ids {
                    checks[id] = format!("{} run {}", c.check, c.run + 1);
                }
            }
        }
        Names {
            common: ranking.common.iter().map(|c| c.0.clone()).collect(),
            causes: a.instances.iter().enumerate().map(of_cause).collect(),
            checks,
        }
    }
}
