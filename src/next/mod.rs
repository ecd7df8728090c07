//! From a ranking to the next step: the cheapest safe way to a working machine.
//!
//! The most probable hypotheses of the ranking, the measurements and checks that the board map knows and that were not
//! read yet, and the remedies for the leading suspects become a problem for [`crate::plan`]. Safe order is a rule, not a
//! cost: a rail past its stop limit ends every powered step; with rails unread and no test run, the rails come before any
//! other powered step and before any part of another machine goes in.

pub mod costs;
mod steps;

use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome;
use crate::infer::{Hypotheses, Limits, leading_hypotheses_of};
use crate::plan::{self, Goal, Hypothesis, Options, Planner, Power, Problem, StepId, UnitId};
use crate::rank::Ranking;
use crate::report::view::{NextView, OutcomeView, ThenView};
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
    let causes = leading_causes(ranking, if many { CAUSES / 2 } else { CAUSES });
    let net = &ranking.assembled.net;
    let limits = Limits {
        max_steps: if many { PARTS_OF_MANY } else { PARTS },
        ..Limits::default()
    };
    let Ok(leading) = leading_hypotheses_of(net, &limits, &causes, COVERED, HYPOTHESES) else {
        return Vec::new();
    };
    let Some(hypotheses) = faulty_ones(ranking, &leading) else {
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

/// The causes that hypotheses for the planner are made of, likeliest first; the others are summed out.
fn leading_causes(ranking: &Ranking, most: usize) -> Vec<usize> {
    let p = |c: usize| ranking.posterior.cause(c);
    let mut causes: Vec<usize> = (0..ranking.assembled.instances.len())
        .filter(|&c| p(c) >= LEAST)
        .collect();
    causes.sort_by(|&a, &b| p(b).total_cmp(&p(a)).then(a.cmp(&b)));
    causes.truncate(most);
    causes.sort_unstable();
    causes
}

/// Number of failing readings.
fn failing(ranking: &Ranking) -> usize {
    let checks = &ranking.assembled.net.checks;
    checks
        .iter()
        .filter(|c| c.seen.is_some_and(|o| o != Outcome::Pass))
        .count()
}

/// A hypothesis for the planner, with the modes (cause, mode of the network) behind it.
pub(crate) type Supposed = (Hypothesis, Vec<(usize, usize)>);

/// The leading hypotheses in which something is at fault, probabilities made to sum to what they cover of that.
fn faulty_ones(ranking: &Ranking, leading: &Hypotheses) -> Option<Vec<Supposed>> {
    let optional = |cause: usize, mode: usize| {
        let m = ranking.assembled.modes[cause][mode];
        ranking.optional_missing.contains(&m)
    };
    let mut out: Vec<Supposed> = Vec::new();
    let mut nothing = 0.0;
    for h in &leading.list {
        // What was replaced since is out of the machine.
        let faults: Vec<(usize, usize)> = (h.active.iter().copied())
            .filter(|&(c, m)| !optional(c, m) && ranking.assembled.is_current(c))
            .collect();
        if faults.is_empty() {
            nothing += h.probability;
            continue;
        }
        let mut faulty: Vec<UnitId> = faults.iter().map(|f| f.0 as UnitId).collect();
        faulty.sort_unstable();
        if faulty.len() <= plan::MOST_UNITS_AT_FAULT {
            out.push((
                Hypothesis {
                    probability: h.probability,
                    faulty,
                },
                faults,
            ));
        }
    }
    if out.is_empty() {
        return None;
    }
    if nothing > NOTHING_LEFT {
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
