//! From the sheets of one machine to a ranking with its reasons.

pub mod explain;
mod lean;
pub mod network;
pub mod priors;
pub mod settle;
pub mod slip;
pub mod together;

use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::{Outcome, Posterior};
use crate::infer::{InferError, Limits, posterior};
use crate::observe::{Evidence, Observed, observe};
use crate::prior::common::CommonTable;
use crate::sheet::RunSheet;
use network::{Assembled, Instance, Priors, assemble, assemble_brief};
use priors::shipped_priors;
use std::sync::{Arc, LazyLock, OnceLock};

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
    pub priors: Arc<Priors>,
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
    pub optional_missing: Arc<[ModeId]>,
}

impl Ranking {
    /// P(a cause is at fault now | readings), see [`Assembled::still`].
    pub fn still(&self, cause: usize) -> f64 {
        self.assembled.still(&self.posterior, cause)
    }
}

/// Ranks one machine from the sheets of its runs, in order.
///
/// # Errors
/// Readings that no hypothesis of the model can give at all.
pub fn rank(model: &BoardModel, sheets: &[RunSheet]) -> Result<Ranking, InferError> {
    ranked(model, sheets, false)
}

/// [`rank`] for a list of suspects and nothing else: the network of the ranking then lacks what the passing readings do (it is in
/// the likelihoods of the modes), so that neither reasons nor next steps may be worked out of it. For many machines, where the
/// time counts.
///
/// # Errors
/// As [`rank`].
pub fn brief(model: &BoardModel, sheets: &[RunSheet]) -> Result<Ranking, InferError> {
    ranked(model, sheets, true)
}

fn ranked(model: &BoardModel, sheets: &[RunSheet], brief: bool) -> Result<Ranking, InferError> {
    let common = &*COMMON;
    let observed = observe(model, sheets);
    let priors = shipped_priors(model, &observed, common);
    let lean = brief.then(|| lean::lean(model, &observed, common, &priors));
    let (leaned, columns_of) = lean.flatten().map(lean::Lean::parts).unzip();
    let (assembled, posterior) = match leaned {
        Some(found) => found,
        None => {
            let assembled = match brief {
                true => assemble_brief(model, &observed, common, &priors),
                false => assemble(model, &observed, common, &priors, |_| true),
            };
            let posterior = posterior(&assembled.net, &Limits::default())?;
            (assembled, posterior)
        }
    };
    let suspects = suspects(model, &assembled, &posterior, LISTED);
    let leaders: Vec<&Suspect> = suspects.iter().filter(|s| s.probability > 0.02).collect();
    let columns = match &columns_of {
        Some(course) => course.columns(model, &leaders),
        None => listed(&assembled, &leaders),
    };
    let groups = groups(&leaders, columns);
    let explained_by = explained_by(model, &observed);
    let names = common.causes().iter().map(|c| c.what.to_string());
    let common = names.zip(posterior.common.iter().copied()).collect();
    let optional_missing = all_optional_missing(model);
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

static COMMON: LazyLock<CommonTable> = LazyLock::new(CommonTable::shipped);

/// The units at fault with at least this probability, likeliest first, ties by name. An optional position that is
/// empty is a fact, not a suspect.
pub fn suspects(model: &BoardModel, a: &Assembled, p: &Posterior, least: f64) -> Vec<Suspect> {
    let mut out = Vec::new();
    for (cause, instance) in a.instances.iter().enumerate() {
        let unit = &model.units[instance.unit];
        let mut modes: Vec<(ModeId, f64)> = Vec::new();
        let mut highest = None;
        for (&mode, &probability) in a.modes[cause].iter().zip(&p.modes[cause]) {
            // Most stand in order: what is higher than all before it is not among them.
            let earlier = match highest < Some(mode) {
                true => None,
                false => modes.iter_mut().rev().find(|m| m.0 == mode),
            };
            match earlier {
                Some((_, sum)) => *sum += probability,
                None => modes.push((mode, probability)),
            }
            highest = highest.max(Some(mode));
        }
        modes.retain(|m| m.1 > 0.0 && !optional_missing(model, m.0));
        let probability = modes.iter().map(|m| m.1).sum::<f64>();
        if probability < least {
            continue;
        }
        modes.sort_unstable_by(|x, y| parted(y.1).cmp(&parted(x.1)).then(x.0.cmp(&y.0)));
        let name = match instance.fitted {
            0 => unit.name.clone(),
            1 => format!("{} (new part)", unit.name),
            n => format!("{} (new part {n})", unit.name),
        };
        let name = match &model.units[a.place[cause]] {
            there if a.place[cause] != instance.unit => {
                format!("{name}, now in {}", model.positions[there.position].name)
            }
            _ => name,
        };
        out.push(Suspect {
            instance: *instance,
            name,
            probability: probability.min(1.0),
            modes,
        });
    }
    // What differs by rounding only is equal, whichever way it was summed.
    let rounded = |s: &Suspect| (s.probability * 1e10).round() as u64;
    out.sort_by(|x, y| {
        rounded(y)
            .cmp(&rounded(x))
            .then_with(|| x.name.cmp(&y.name))
    });
    out
}

/// A number that is greater for the greater probability, and the same for two that differ by rounding only (a ten-thousand-millionth
/// of them), whichever way they were summed; but for those at the edge of a step.
fn parted(probability: f64) -> u64 {
    (probability.to_bits() + (1 << 18)) >> 19
}

/// Whether a mode is 'not fitted' of a position that the machine does not need.
fn optional_missing(model: &BoardModel, mode: ModeId) -> bool {
    let m = &model.modes[mode as usize];
    m.missing && !model.positions[model.units[m.unit as usize].position].required
}

/// All of them on a board, looked for once.
fn all_optional_missing(model: &BoardModel) -> Arc<[ModeId]> {
    #[derive(Default)]
    struct All(OnceLock<Arc<[ModeId]>>);
    let memo = model.memo.of::<All>();
    let find = || {
        let modes = 0..model.modes.len() as ModeId;
        modes.filter(|&m| optional_missing(model, m)).collect()
    };
    Arc::clone(memo.0.get_or_init(find))
}

/// What a mode does to the checks that were read: check, and strength in ten-thousandths.
type Column = Vec<(usize, i64)>;

/// Suspects whose leading modes act alike on every reading, by their columns: only their priors tell them apart.
fn groups(suspects: &[&Suspect], columns: Vec<Column>) -> Vec<Vec<String>> {
    let mut found: Vec<(Column, Vec<String>)> = Vec::new();
    for (mut column, s) in columns.into_iter().zip(suspects) {
        column.retain(|c| c.1 > 0);
        match found.iter_mut().find(|(c, _)| *c == column) {
            Some((_, names)) => names.push(s.name.clone()),
            None => found.push((column, vec![s.name.clone()])),
        }
    }
    let names = found.into_iter().map(|(_, names)| names);
    names.filter(|names| names.len() > 1).collect()
}

/// Equal to within what rounding along the path can do.
fn rounded(fail: f64) -> i64 {
    (fail * 1e4).round() as i64
}

/// What the leading modes of suspects do, by the network and what was folded.
fn listed(a: &Assembled, suspects: &[&Suspect]) -> Vec<Column> {
    let mut of_cause: Vec<Option<usize>> = vec![None; a.instances.len()];
    let mut columns = Vec::with_capacity(suspects.len());
    for (at, s) in suspects.iter().enumerate() {
        let cause = a.cause_of(s.instance).expect("a suspect is a cause");
        of_cause[cause] = Some(at);
        let mut modes = a.modes[cause].iter();
        let mode = modes.position(|m| *m == s.modes[0].0);
        let mode = mode.expect("its mode is one of its modes");
        let effects = &a.net.causes[cause].modes[mode].effects;
        let read = effects
            .iter()
            .filter(|e| a.net.checks[e.check].seen.is_some());
        columns.push(read.map(|e| (e.check, rounded(e.fail))).collect::<Column>());
    }
    for f in &a.folded {
        let leads = of_cause[f.cause].filter(|&at| suspects[at].modes[0].0 == f.mode);
        if let Some(at) = leads {
            columns[at].push((f.effect.check, rounded(f.effect.fail)));
        }
    }
    columns.iter_mut().for_each(|c| {
        c.sort_unstable();
        c.dedup();
    });
    columns
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
        for &(mode, _) in c.effects.iter().filter(|e| e.1 >= EXPLAINS) {
            let m = &model.modes[mode as usize];
            let position = model.units[m.unit as usize].position;
            if m.missing && (observed.facts).empty_at(position, reading.sheet, reading.line) {
                let fact = format!("{} is empty", model.positions[position].name);
                if !out.contains(&(i, fact.clone())) {
                    out.push((i, fact));
                }
            }
        }
    }
    out
}
