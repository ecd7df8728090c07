//! What the planner supposes: sets of units that explain what failed, with their probabilities.

use crate::infer::network::{Network, Outcome};
use crate::infer::{Explanations, Limits, leading_explanations, posterior};
use crate::observe::Evidence;
use crate::plan::{self, Hypothesis, UnitId};
use crate::rank::Ranking;
use std::collections::BTreeMap;

/// Share of the probability that the hypotheses given to the planner cover, and how many they are at most.
const COVERED: f64 = 0.95;
const HYPOTHESES: usize = 40;

/// Parts of the hypotheses that are opened at most. Each costs a sum over the board, and the sums grow with the failing
/// readings: with many of them fewer are looked at, so that a step is proposed at once.
const PARTS: usize = 60;
const MANY_FAILING: usize = 5;
const PARTS_OF_MANY: usize = 12;

/// Causes that the hypotheses are made of: the likeliest, down to this probability.
const CAUSES: usize = 24;
const LEAST: f64 = 0.004;

/// With nothing at fault any more as probably as this, the machine is to be proved rather than repaired.
const NOTHING_LEFT: f64 = 0.75;

/// What may be behind the failing readings.
pub(crate) enum Suppositions {
    /// These, each with its probability, what it covers of all in which something is at fault.
    Faults(Vec<Supposed>),
    /// Most probably nothing is at fault any more.
    NothingLeft,
    /// None can be named.
    None,
}

/// The leading explanations of a ranking.
pub(crate) fn suppositions(ranking: &Ranking) -> Suppositions {
    if cured_since(ranking) {
        return Suppositions::NothingLeft;
    }
    let many = failing(ranking) > MANY_FAILING;
    let accused = leading_causes(ranking, if many { CAUSES / 2 } else { CAUSES });
    let causes: Vec<usize> = accused.keys().copied().collect();
    let (net, left) = without_the_unlikely(ranking);
    let limits = Limits {
        max_steps: if many { PARTS_OF_MANY } else { PARTS },
        ..Limits::default()
    };
    let Ok(mut leading) = leading_explanations(&net, &limits, &causes, COVERED, HYPOTHESES) else {
        return Suppositions::None;
    };
    leading.list.iter_mut().for_each(|h| h.1 *= left);
    match faulty_ones(ranking, &accused, &leading) {
        Some(faults) => Suppositions::Faults(faults),
        None => Suppositions::NothingLeft,
    }
}

/// Whether a remedy cured the machine and nothing failed after it: what was refitted may still be called at fault, but
/// there is nothing left to put right.
fn cured_since(ranking: &Ranking) -> bool {
    let readings = &ranking.observed.readings;
    let cured = |e: &Evidence| {
        matches!(
            e,
            Evidence::Remedy {
                cured: Some(true),
                ..
            }
        )
    };
    let failed = |e: &Evidence| match e {
        Evidence::Check(c) => c.outcome != Outcome::Pass,
        Evidence::Remedy { cured, .. } => *cured == Some(false),
        Evidence::Moved { .. } => true,
        Evidence::Unit { .. } => false,
    };
    let last = readings.iter().rposition(|r| cured(&r.evidence));
    last.is_some_and(|at| !readings[at + 1..].iter().any(|r| failed(&r.evidence)))
}

/// The causes that hypotheses for the planner are made of, those that most probably explain a failing reading, each with
/// the modes that may (probabilities that add up to 1); the others are summed out.
fn leading_causes(ranking: &Ranking, most: usize) -> BTreeMap<usize, Modes> {
    let net = &ranking.assembled.net;
    let failed = failed(net);
    let mut causes: Vec<(f64, usize, Modes)> = Vec::new();
    for (c, cause) in net.causes.iter().enumerate() {
        let bears = |m: &usize| cause.modes[*m].effects.iter().any(|e| failed[e.check]);
        let p = &ranking.posterior.modes[c];
        let modes: Modes = (0..p.len()).filter(bears).map(|m| (m, p[m])).collect();
        let sum: f64 = modes.iter().map(|m| m.1).sum();
        if sum >= LEAST {
            let shares = modes.iter().map(|&(m, p)| (m, p / sum));
            causes.push((sum, c, shares.collect()));
        }
    }
    causes.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    causes.truncate(most);
    causes.into_iter().map(|(_, c, modes)| (c, modes)).collect()
}

/// Modes of a cause with how probable each is if the cause is behind a failing reading.
pub(crate) type Modes = Vec<(usize, f64)>;

/// Whether each check failed.
fn failed(net: &Network) -> Vec<bool> {
    (net.checks.iter())
        .map(|c| c.seen.is_some_and(|o| o != Outcome::Pass))
        .collect()
}

/// A mode below this that bears on a failing reading is left out of the hypotheses: each such mode makes every sum of the
/// search dearer, and all of them together are a few percent.
const UNLIKELY: f64 = 5e-4;

/// The network without its unlikely explanations, and how much of the probability it still has.
fn without_the_unlikely(ranking: &Ranking) -> (Network, f64) {
    let mut net = ranking.assembled.net.clone();
    let failed = failed(&net);
    for (cause, p) in net.causes.iter_mut().zip(&ranking.posterior.modes) {
        for (mode, &p) in cause.modes.iter_mut().zip(p) {
            if p < UNLIKELY && mode.effects.iter().any(|e| failed[e.check]) {
                // Ruled out rather than taken away: what is fine stays as probable as it was.
                mode.likelihood = 0.0;
                mode.effects.clear();
            }
        }
    }
    match posterior(&net, &Limits::default()) {
        Ok(p) => {
            let left = (p.log_evidence - ranking.posterior.log_evidence).exp();
            (net, left.min(1.0))
        }
        Err(_) => (ranking.assembled.net.clone(), 1.0),
    }
}

/// Number of failing readings.
fn failing(ranking: &Ranking) -> usize {
    let failed = failed(&ranking.assembled.net);
    failed.into_iter().filter(|f| *f).count()
}

/// A hypothesis for the planner, with what is at fault in it (cause of the network, and its modes).
pub(crate) type Supposed = (Hypothesis, Vec<(usize, Modes)>);

/// The leading explanations in which something is at fault, probabilities made to sum to what they cover of that.
fn faulty_ones(
    ranking: &Ranking,
    accused: &BTreeMap<usize, Modes>,
    leading: &Explanations,
) -> Option<Vec<Supposed>> {
    let optional = |cause: usize, modes: &Modes| {
        let is = |m: &(usize, f64)| {
            let mode = ranking.assembled.modes[cause][m.0];
            ranking.optional_missing.contains(&mode)
        };
        modes.iter().filter(|m| is(m)).map(|m| m.1).sum::<f64>() > 0.5
    };
    let mut out: Vec<Supposed> = Vec::new();
    let mut nothing = 0.0;
    for (causes, probability) in &leading.list {
        // What was replaced since is out of the machine, and what need not be fitted is no fault.
        let faults: Vec<(usize, Modes)> = (causes.iter())
            .filter(|&&c| ranking.assembled.is_current(c) && !optional(c, &accused[&c]))
            .map(|&c| (c, accused[&c].clone()))
            .collect();
        if faults.is_empty() {
            nothing += probability;
            continue;
        }
        let faulty: Vec<UnitId> = faults.iter().map(|f| f.0 as UnitId).collect();
        if faulty.len() <= plan::MOST_UNITS_AT_FAULT {
            out.push((
                Hypothesis {
                    probability: *probability,
                    faulty,
                },
                faults,
            ));
        }
    }
    if out.is_empty() || nothing > NOTHING_LEFT {
        return None;
    }
    let total = 1.0 - nothing;
    out.iter_mut().for_each(|h| h.0.probability /= total);
    Some(out)
}
