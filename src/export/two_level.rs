//! The network itself as plain JSON: causes with modes, priors and strengths; checks with leaks and outcomes.
//!
//! For models whose tables no general tool could hold. The semantics are those of [`crate::infer::network`].

use super::Names;
use crate::infer::network::{Network, Outcome};
use schemars::JsonSchema;
use serde::Serialize;

/// A two-level network.
#[derive(Debug, Serialize, JsonSchema)]
pub struct TwoLevel {
    /// Version of this format.
    pub schema: u32,
    /// Common causes with their priors.
    pub common_causes: Vec<CommonCause>,
    /// Causes, each fine or in one mode.
    pub causes: Vec<CauseEntry>,
    /// Checks that were read.
    pub checks: Vec<CheckEntry>,
}

/// A common cause.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CommonCause {
    /// Name.
    pub name: String,
    /// P(present).
    pub prior: f64,
}

/// A cause.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CauseEntry {
    /// Name.
    pub name: String,
    /// Likelihood, given that it is fine, of readings about it alone.
    pub likelihood_fine: f64,
    /// Its modes.
    pub modes: Vec<ModeEntry>,
}

/// A mode.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ModeEntry {
    /// Name.
    pub name: String,
    /// P(mode | setting) for each setting of the common causes; bit b of the index is common cause b.
    pub prior: Vec<f64>,
    /// P(acts in a run), for a mode that comes and goes.
    pub shows: Option<f64>,
    /// Likelihood, given this mode, of readings about its cause alone.
    pub likelihood: f64,
    /// How it shows.
    pub effects: Vec<EffectEntry>,
}

/// How a mode shows in a check.
#[derive(Debug, Serialize, JsonSchema)]
pub struct EffectEntry {
    /// Index in `checks`.
    pub check: usize,
    /// P(contribution is intermittent).
    pub intermittent: f64,
    /// P(contribution is fail).
    pub fail: f64,
}

/// A check.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CheckEntry {
    /// Name.
    pub name: String,
    /// Run, from 1.
    pub run: usize,
    /// P(intermittent) when nothing acts on it.
    pub leak_intermittent: f64,
    /// P(fail) when nothing acts on it.
    pub leak_fail: f64,
    /// What was read: pass, intermittent or fail.
    pub seen: &'static str,
}

/// The network with its names.
pub fn two_level(net: &Network, names: &Names) -> TwoLevel {
    let read: Vec<usize> = (0..net.checks.len())
        .filter(|&j| net.checks[j].seen.is_some())
        .collect();
    let common = net.common.iter().zip(&names.common);
    TwoLevel {
        schema: 1,
        common_causes: common
            .map(|(&prior, name)| CommonCause {
                name: name.clone(),
                prior,
            })
            .collect(),
        causes: (0..net.causes.len())
            .map(|i| cause(net, names, &read, i))
            .collect(),
        checks: read.iter().map(|&j| check(net, names, j)).collect(),
    }
}

fn cause(net: &Network, names: &Names, read: &[usize], i: usize) -> CauseEntry {
    let modes = net.causes[i].modes.iter().zip(&names.causes[i].1);
    CauseEntry {
        name: names.causes[i].0.clone(),
        likelihood_fine: net.causes[i].likelihood_fine,
        modes: modes
            .map(|(m, name)| ModeEntry {
                name: name.clone(),
                prior: m.prior.clone(),
                shows: m.shows,
                likelihood: m.likelihood,
                effects: m
                    .effects
                    .iter()
                    .filter_map(|e| {
                        Some(EffectEntry {
                            check: read.binary_search(&e.check).ok()?,
                            intermittent: e.intermittent,
                            fail: e.fail,
                        })
                    })
                    .collect(),
            })
            .collect(),
    }
}

fn check(net: &Network, names: &Names, j: usize) -> CheckEntry {
    let c = &net.checks[j];
    CheckEntry {
        name: names.checks[j].clone(),
        run: c.run + 1,
        leak_intermittent: c.leak_intermittent,
        leak_fail: c.leak_fail,
        seen: match c.seen {
            Some(Outcome::Fail) => "fail",
            Some(Outcome::Intermittent) => "intermittent",
            _ => "pass",
        },
    }
}
