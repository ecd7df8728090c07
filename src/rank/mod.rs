//! From the sheets of one machine to a ranking with its reasons.

pub mod explain;
pub mod network;
pub mod slip;
pub mod together;

use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::{Outcome, Posterior};
use crate::infer::{InferError, Limits, posterior};
use crate::observe::{Evidence, Observed, observe};
use crate::prior::common::CommonTable;
use crate::sheet::RunSheet;
use network::{Assembled, Instance, assemble, priors};

/// Suspects below this are not listed: no one would touch them, and their order means nothing.
pub const LISTED: f64 = 0.001;

/// A strength from which on a reading counts as explained by a fact such as an empty socket.
const EXPLAINS: f64 = 0.99;

/// A unit with the probability that it is at fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// Which unit, and whether as it came or as fitted later.
    pub instance: Instance,
    /// Name in reports.
    pub name: String,
    /// P(at fault | readings).
    pub probability: f64,
    /// Failure modes with their probabilities, likeliest first.
    pub modes: Vec<(ModeId, f64)>,
}

/// The ranking of one machine.
pub struct Ranking {
    /// All that was read.
    pub observed: Observed,
    /// Priors of the modes by setting of the common causes.
    pub priors: Vec<Vec<f64>>,
    /// The network.
    pub assembled: Assembled,
    /// Its posterior.
    pub posterior: Posterior,
    /// Suspects, likeliest first.
    pub suspects: Vec<Suspect>,
    /// Names of suspects that no reading so far separates.
    pub groups: Vec<Vec<String>>,
    /// Failing readings explained by a fact: index of the reading, and the fact.
    pub explained_by: Vec<(usize, String)>,
    /// Common causes with their probabilities.
    pub common: Vec<(String, f64)>,
    /// Modes 'not fitted' of positions that the machine does not need: facts, not suspects.
    pub optional_missing: Vec<ModeId>,
}

/// Ranks one machine from the sheets of its runs, in order.
///
/// # Errors
/// Readings that no hypothesis of the model can give at all.
pub fn rank(model: &BoardModel, sheets: &[RunSheet]) -> Result<Ranking, InferError> {
    let common = CommonTable::shipped();
    let observed = observe(model, sheets);
    let priors = priors(model, &observed, &common);
    let assembled = assemble(model, &observed, &common, &priors, |_| true);
    let posterior = posterior(&assembled.net, &Limits::default())?;
    let suspects = suspects(model, &assembled, &posterior, LISTED);
    let groups = groups(&assembled, &suspects);
    let explained_by = explained_by(model, &observed);
    let names = common.causes().iter().map(|c| c.what.to_string());
    let common = names.zip(posterior.common.iter().copied()).collect();
    let optional_missing = (0..model.modes.len() as ModeId)
        .filter(|&m| optional_missing(model, m))
        .collect();
    Ok(Ranking {
        optional_missing,
        observed,
        priors,
        assembled,
        posterior,
        suspects,
        groups,
        explained_by,
        common,
    })
}

/// The units at fault with at least this probability, likeliest first, ties by name. An optional position that is
/// empty is a fact, not a suspect.
pub fn suspects(model: &BoardModel, a: &Assembled, p: &Posterior, least: f64) -> Vec<Suspect> {
    let mut out = Vec::new();
    for (cause, instance) in a.instances.iter().enumerate() {
        let unit = &model.units[instance.unit];
        let mut modes: Vec<(ModeId, f64)> = Vec::new();
        for (&mode, &probability) in a.modes[cause].iter().zip(&p.modes[cause]) {
            match modes.last_mut() {
                Some((same, sum)) if *same == mode => *sum += probability,
                _ => modes.push((mode, probability)),
            }
        }
        modes.retain(|m| m.1 > 0.0);
        modes.retain(|(m, _)| !optional_missing(model, *m));
        let probability = modes.iter().map(|m| m.1).sum::<f64>();
        if probability < least {
            continue;
        }
        modes.sort_by(|x, y| y.1.total_cmp(&x.1).then(x.0.cmp(&y.0)));
        let name = match instance.fitted {
            0 => unit.name.clone(),
            1 => format!("{} (new part)", unit.name),
            n => format!("{} (new part {n})", unit.name),
        };
        out.push(Suspect {
            instance: *instance,
            name,
            probability: probability.min(1.0),
            modes,
        });
    }
    out.sort_by(|x, y| {
        y.probability
            .total_cmp(&x.probability)
            .then_with(|| x.name.cmp(&y.name))
    });
    out
}

/// Whether a mode is 'not fitted' of a position that the machine does not need.
fn optional_missing(model: &BoardModel, mode: ModeId) -> bool {
    let m = &model.modes[mode as usize];
    m.missing && !model.positions[model.units[m.unit as usize].position].required
}

/// What a mode does to the checks that were read: check, and strength in ten-thousandths.
type Column = Vec<(usize, i64)>;

/// Suspects (above 2 %) whose leading modes act alike on every reading: only their priors tell them apart.
fn groups(a: &Assembled, suspects: &[Suspect]) -> Vec<Vec<String>> {
    let mut found: Vec<(Column, Vec<String>)> = Vec::new();
    for s in suspects.iter().filter(|s| s.probability > 0.02) {
        let cause = a
            .instances
            .iter()
            .position(|i| *i == s.instance)
            .expect("a suspect is a cause");
        let k = a.modes[cause]
            .iter()
            .position(|m| *m == s.modes[0].0)
            .expect("its mode is one of its modes");
        let effects = &a.net.causes[cause].modes[k].effects;
        // Equal to within what rounding along the path can do.
        let column = effects
            .iter()
            .filter(|e| a.net.checks[e.check].seen.is_some())
            .map(|e| (e.check, (e.fail * 1e4).round() as i64))
            .filter(|c| c.1 > 0)
            .collect();
        match found.iter_mut().find(|(c, _)| *c == column) {
            Some((_, names)) => names.push(s.name.clone()),
            None => found.push((column, vec![s.name.clone()])),
        }
    }
    found
        .into_iter()
        .map(|(_, names)| names)
        .filter(|names| names.len() > 1)
        .collect()
}

/// Failing readings that an empty position explains.
fn explained_by(model: &BoardModel, observed: &Observed) -> Vec<(usize, String)> {
    let mut out = Vec::new();
    for (i, reading) in observed.readings.iter().enumerate() {
        let Evidence::Check(c) = &reading.evidence else {
            continue;
        };
        if c.outcome == Outcome::Pass || c.check == "complaint" {
            continue;
        }
        for &(mode, strength) in &c.effects {
            let m = &model.modes[mode as usize];
            let position = model.units[m.unit as usize].position;
            if m.missing && strength >= EXPLAINS && observed.facts.empty.contains_key(&position) {
                let fact = format!("{} is empty", model.positions[position].name);
                if !out.contains(&(i, fact.clone())) {
                    out.push((i, fact));
                }
            }
        }
    }
    out
}
