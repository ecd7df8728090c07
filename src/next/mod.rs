//! From a ranking to the next step: the cheapest safe way to a working machine.
//!
//! The most probable hypotheses of the ranking, the measurements and checks that the board map knows and that were not
//! read yet, and the remedies for the leading suspects become a problem for [`crate::plan`]. Safe order is a rule, not a
//! cost: a rail past its stop limit ends every powered step; with rails unread and no test run, the rails come before any
//! other powered step and before any part of another machine goes in.

mod again;
mod along;
mod ask;
mod bench;
mod by_hand;
pub mod costs;
pub(crate) mod fixed;
mod ohms;
mod pulled_down;
mod remedies;
mod results;
mod shorts;
mod steps;
mod suppose;
mod taker;
mod untold;

use crate::faultmap::model::BoardModel;
use crate::plan::{self, Goal, Options, Planner, Power, Problem, StepId, Tree, UnitId};
use crate::rank::Ranking;
use crate::report::view::{BranchView, NextView, OutcomeView, ThenView, TreeView};
pub use ask::Ask;
pub use bench::{Bench, TOOLS, Tool};
pub(crate) use steps::Candidate;
pub use steps::{LIVE, MAINS};
pub(crate) use suppose::{Suppositions, suppositions};
pub use taker::HOT;

/// Search effort: about 20 ms.
const EFFORT: u64 = 400_000;

/// Search effort when seconds were given: as much as fits into them.
const EFFORT_A_SECOND: u64 = 20_000_000;

/// What gives a machine up.
const STOP: &str = "Stop here and use the board for parts";

/// Minutes of a look that is always worth it before a machine is given up.
const CHEAP: f64 = 3.0;

/// A leader from this probability on is known; below it a machine is not given up while something can be put right.
const CERTAIN: f64 = 0.9;

/// How many times its price giving up costs when it is not to be proposed.
const UNWILLING: f64 = 100.0;

/// Runners-up that are described.
const RUNNERS_UP: usize = 2;

/// What to do next.
#[derive(Debug, Clone, Default)]
pub struct Advice {
    /// The steps, best first.
    pub steps: Vec<NextView>,
    /// The decision tree, if asked for.
    pub tree: Option<TreeView>,
    /// Expected minutes to a working machine, or to giving it up, with what may be spoilt ([`costs::hazard`]); 0 when there is no plan.
    pub minutes: f64,
}

impl Advice {
    fn only(steps: Vec<NextView>) -> Self {
        Advice {
            steps,
            ..Advice::default()
        }
    }
}

/// The next steps, best first, at a bench that has everything.
pub fn steps(model: &BoardModel, ranking: &Ranking) -> Vec<NextView> {
    advise(model, ranking, &Bench::default()).steps
}

/// What to do next with what the bench has.
pub fn advise(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Advice {
    advise_but(model, ranking, bench, &|_, _| false)
}

/// [`advise`] without the steps that `skipped` names by their sentence and what they ask for.
pub fn advise_but(
    model: &BoardModel,
    ranking: &Ranking,
    bench: &Bench,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Advice {
    if ranking.observed.stop.is_some() {
        return Advice::only(fixed::after_stop(model, ranking, bench, skipped));
    }
    if ranking.suspects.iter().all(|s| s.probability < 0.01) {
        let again = fixed::low_rail_again(model, ranking, bench)
            .or_else(|| fixed::fill_the_socket(model, ranking));
        return Advice::only(vec![again.unwrap_or_else(fixed::nothing_accused)]);
    }
    let fuse = fixed::blown_fuse(model, ranking)
        .filter(|v| !v.ask.as_ref().is_some_and(|ask| skipped(&v.step, ask)));
    if let Some(fuse) = fuse {
        return Advice::only(vec![fuse]);
    }
    let stale = fixed::changed_since(model, ranking, bench)
        .filter(|v| !v.ask.as_ref().is_some_and(|ask| skipped(&v.step, ask)));
    if let Some(again) = stale {
        return Advice::only(vec![again]);
    }
    let mut hypotheses = match suppositions(ranking) {
        Suppositions::Faults(faults) => faults,
        Suppositions::NothingLeft => {
            let again = fixed::low_rail_again(model, ranking, bench)
                .or_else(|| fixed::fill_the_socket(model, ranking));
            return Advice::only(vec![again.unwrap_or_else(|| fixed::nothing_left(ranking))]);
        }
        Suppositions::None => return Advice::default(),
    };
    untold::with_untold(model, ranking, &mut hypotheses);
    planned(model, ranking, bench, skipped, hypotheses)
}

/// The plan for what may be behind the failing readings.
fn planned(
    model: &BoardModel,
    ranking: &Ranking,
    bench: &Bench,
    skipped: &dyn Fn(&str, &Ask) -> bool,
    hypotheses: Vec<suppose::Supposed>,
) -> Advice {
    let candidates = steps::candidates(model, ranking, &hypotheses, bench, skipped);
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
    let options = options(bench);
    // Taking a machine apart cannot be undone: not while a cheap look is left, nor when the technician has said no; nor while a rail is
    // out of its limits and something may still be done about it: what was read meanwhile accuses the wrong parts.
    let rail_first = !fixed::rails_out(ranking).is_empty() && !candidates.is_empty();
    let may_stop = !cheap_left(&problem, ranking) && !rail_first && !skipped(STOP, &Ask::Loops);
    let Ok(planner) = Planner::new(&problem, &options) else {
        return Advice::default();
    };
    let plan = planner.plan(&planner.start());
    let stops_at_once = plan.choices.first().is_some_and(|c| c.step.is_none());
    let unwilling;
    let (problem, planner, plan) = if stops_at_once && !may_stop && !candidates.is_empty() {
        let goal = Goal::Repair {
            stop: costs::GIVE_UP * UNWILLING,
        };
        unwilling = Problem {
            goal,
            ..problem.clone()
        };
        let Ok(planner) = Planner::new(&unwilling, &options) else {
            return Advice::default();
        };
        let plan = planner.plan(&planner.start());
        (&unwilling, planner, plan)
    } else {
        (&problem, planner, plan)
    };
    let stop_first = may_stop && plan.choices.first().is_some_and(|c| c.step.is_none());
    let steps = plan
        .choices
        .iter()
        .filter(|c| c.step.is_some() || stop_first)
        .map(|c| describe(model, ranking, problem, &planner, &candidates, c));
    let mut steps: Vec<NextView> = steps.collect();
    if let Some(get) = fixed::part_to_get(model, ranking, bench) {
        steps.insert(0, get);
    }
    Advice {
        steps,
        tree: plan.tree.as_ref().map(|t| tree(&candidates, t)),
        minutes: plan.minutes,
    }
}

/// How far the plan is looked into.
fn options(bench: &Bench) -> Options<'static> {
    let more = bench
        .seconds
        .map(|s| (s.max(0.0) * EFFORT_A_SECOND as f64) as u64);
    Options {
        effort: more.map_or(EFFORT, |m| m.max(EFFORT)),
        time: bench
            .seconds
            .map(|s| std::time::Duration::from_secs_f64(s.clamp(0.1, 600.0))),
        runners_up: RUNNERS_UP,
        tree: bench.tree,
        ..Options::default()
    }
}

/// Whether a look of a few minutes is left, or a remedy for a suspect that does not lead for certain yet.
fn cheap_left(problem: &Problem, ranking: &Ranking) -> bool {
    let mut steps = problem.steps.iter();
    let cheap = |s: &plan::Step| !s.is_remedy() && s.cost.minutes <= CHEAP;
    let leads = ranking.suspects.first().map_or(0.0, |s| s.probability);
    steps.any(|s| cheap(s) || (s.is_remedy() && leads < CERTAIN))
}

/// A decision tree in words.
fn tree(candidates: &[Candidate], t: &Tree) -> TreeView {
    let (step, r#where) = match t.step {
        Some(step) => (candidates[step].say.clone(), candidates[step].place.clone()),
        None => (format!("{STOP}."), "the board".into()),
    };
    let branches = t
        .branches
        .iter()
        .map(|(outcome, probability, then)| BranchView {
            outcome: t
                .step
                .map_or(String::new(), |s| candidates[s].outcomes[*outcome].clone()),
            probability: *probability,
            works: then.is_none()
                && *outcome == plan::WORKS
                && t.step.is_some_and(|s| candidates[s].step.is_remedy()),
            then: then.as_ref().map(|t| tree(candidates, t)),
        });
    TreeView {
        step,
        r#where,
        minutes: t.minutes,
        power: t
            .step
            .is_some_and(|s| candidates[s].step.power == Power::On),
        needs: t.step.and_then(|s| candidates[s].needs.clone()),
        branches: branches.collect(),
    }
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
            step: format!("{STOP}."),
            r#where: "the board".into(),
            expect: format!(
                "every way on costs more than it is worth: a board is given up at {:.0} minutes of work",
                costs::GIVE_UP
            ),
            minutes: 0.0,
            hazard: None,
            saves_minutes: choice.saves,
            power: false,
            needs: None,
            outcomes: Vec::new(),
            ask: None,
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
        power: problem.steps[step].power == Power::On,
        needs: c.needs.clone(),
        outcomes: outcomes.collect(),
        ask: Some(c.ask.clone()),
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
        model.units[ranking.assembled.place[unit as usize]]
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

/// All that can be done next, for tests.
#[cfg(test)]
pub(crate) fn offered_of(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Vec<Candidate> {
    let Suppositions::Faults(supposed) = suppositions(ranking) else {
        panic!("something is at fault");
    };
    steps::candidates(model, ranking, &supposed, bench, &|_, _| false)
}
