//! From a ranking to the next step: the cheapest safe way to a working machine.
//!
//! The most probable hypotheses of the ranking, the measurements and checks that the board map knows and that were not
//! read yet, and the remedies for the leading suspects become a problem for [`crate::plan`]. Safe order is a rule, not a
//! cost: a rail past its stop limit ends every powered step; with rails unread and no test run, the rails come before any
//! other powered step and before any part of another machine goes in.

pub mod costs;
mod steps;

use crate::faultmap::model::BoardModel;
use crate::infer::network::{Network, Outcome};
use crate::infer::{Explanations, Limits, leading_explanations, posterior};
use crate::plan::{self, Goal, Hypothesis, Options, Planner, Power, Problem, StepId, UnitId};
use crate::rank::Ranking;
use crate::report::view::{NextView, OutcomeView, ThenView};
use std::collections::BTreeMap;
use steps::Candidate;

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

/// Search effort: about 20 ms.
const EFFORT: u64 = 400_000;

/// Runners-up that are described.
const RUNNERS_UP: usize = 2;

/// The next steps, best first.
pub fn steps(model: &BoardModel, ranking: &Ranking) -> Vec<NextView> {
    if ranking.observed.stop.is_some() {
        return steps::after_stop(model, ranking);
    }
    let accused = ranking.suspects.iter().any(|s| s.probability >= 0.01);
    if !accused {
        return vec![steps::nothing_accused()];
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
        return Vec::new();
    };
    leading.list.iter_mut().for_each(|h| h.1 *= left);
    let Some(hypotheses) = faulty_ones(ranking, &accused, &leading) else {
        return vec![steps::nothing_left()];
    };
    let candidates = steps::candidates(model, ranking, &hypotheses);
    let problem = Problem {
        steps: candidates.iter().map(|c| c.step.clone()).collect(),
        unexplored: (1.0 - hypotheses.iter().map(|h| h.0.probability).sum::<f64>()).max(0.0),
        hypotheses: hypotheses.into_iter().map(|h| h.0).collect(),
        goal: Goal::Repair {
            stop: costs::GIVE_UP,
        },
        power: Power::Either,
        power_change: costs::POWER_CHANGE,
    };
    let options = Options {
        effort: EFFORT,
        runners_up: RUNNERS_UP,
        ..Options::default()
    };
    let Ok(planner) = Planner::new(&problem, &options) else {
        return Vec::new();
    };
    let plan = planner.plan(&planner.start());
    let stop_first = plan.choices.first().is_some_and(|c| c.step.is_none());
    plan.choices
        .iter()
        .filter(|c| c.step.is_some() || stop_first)
        .map(|c| describe(model, ranking, &problem, &planner, &candidates, c))
        .collect()
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

fn describe(
    model: &BoardModel,
    ranking: &Ranking,
    problem: &Problem,
    planner: &Planner,
    candidates: &[Candidate],
    choice: &plan::Choice,
) -> NextView {
    let Some(step) = choice.step else {
        return NextView {
            step:
                "Stop here and use the board for parts: every way on costs more than it is worth."
                    .into(),
            r#where: "the board".into(),
            expect: String::new(),
            minutes: 0.0,
            hazard: None,
            saves_minutes: choice.saves,
            outcomes: Vec::new(),
        };
    };
    let c = &candidates[step];
    let outcomes = choice.outcomes.iter().map(|after| OutcomeView {
        outcome: c.outcomes[after.outcome].clone(),
        probability: after.probability,
        then: after
            .state
            .as_ref()
            .map(|s| leaders(model, ranking, planner, s))
            .unwrap_or_default(),
    });
    NextView {
        step: c.say.clone(),
        r#where: c.place.clone(),
        expect: c.expect.clone(),
        minutes: minutes_of(problem, step),
        hazard: c.hazard.clone(),
        saves_minutes: choice.saves,
        outcomes: outcomes.collect(),
    }
}

fn minutes_of(problem: &Problem, step: StepId) -> f64 {
    let verify = match &problem.steps[step].kind {
        plan::Kind::Remedy { verify, .. } => *verify,
        plan::Kind::Observe { .. } => 0.0,
    };
    problem.steps[step].cost.minutes + verify
}

/// The units most probably at fault in a state of the plan.
fn leaders(
    model: &BoardModel,
    ranking: &Ranking,
    planner: &Planner,
    state: &plan::State,
) -> Vec<ThenView> {
    let name = |unit: UnitId| {
        model.units[ranking.assembled.instances[unit as usize].unit]
            .name
            .clone()
    };
    let units = planner.units(state).into_iter().take(3);
    units
        .map(|(unit, probability)| ThenView {
            unit: name(unit),
            probability,
        })
        .collect()
}
