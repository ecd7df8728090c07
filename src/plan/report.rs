//! The plan as it is handed out, and the planner that works it out.

use super::model::{Act, Branch, Model, State};
use super::problem::{Goal, Options, Problem, ProblemError, StepId, UnitId};
use super::rollout::{Order, entropy};
use super::search::{Decision, Search, Way};

/// What one outcome of a step would make of the state.
#[derive(Debug, Clone, PartialEq)]
pub struct After {
    /// The outcome's number in its row; for a remedy [`super::WORKS`] or [`super::STILL_FAULTY`].
    pub outcome: usize,
    /// How probable it is.
    pub probability: f64,
    /// The state then; `None`: the machine works.
    pub state: Option<State>,
}

/// One way to go on.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The step; `None`: stop here.
    pub step: Option<StepId>,
    /// Expected minutes of the best plan found that begins so.
    pub minutes: f64,
    /// Minutes that this saves against [`Plan::baseline`]; negative when it costs more.
    pub saves: f64,
    /// Expected information about the hypotheses, in bits.
    pub gain: f64,
    /// Its possible outcomes; none for stopping.
    pub outcomes: Vec<After>,
}

/// A decision tree: what to do, and what then.
#[derive(Debug, Clone, PartialEq)]
pub struct Tree {
    /// The step; `None`: stop here.
    pub step: Option<StepId>,
    /// Expected minutes from here on.
    pub minutes: f64,
    /// By outcome: its number, its probability here, and what then. `None`: the machine works, the
    /// hypothesis is identified, or the tree is cut off here.
    pub branches: Vec<(usize, f64, Option<Tree>)>,
}

/// What to do next, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Expected minutes of the plan.
    pub minutes: f64,
    /// Whether no plan is better; else the search was cut off.
    pub exact: bool,
    /// How many steps were looked ahead along every way (along promising ones it may be more).
    pub depth: u8,
    /// What any plan costs at least.
    pub at_least: f64,
    /// Expected minutes of trying remedies in order of rank (always the one most likely to cure something) until none
    /// is left, then stopping. For an identification: of observing by greatest gain per minute.
    pub baseline: f64,
    /// Entropy of the hypotheses now, in bits.
    pub entropy: f64,
    /// The chosen way first, then the runners-up. Empty when nothing is to be done (identified).
    pub choices: Vec<Choice>,
    /// The decision tree, if asked for.
    pub tree: Option<Tree>,
    /// Different states looked at.
    pub states: u64,
}

impl Plan {
    /// The chosen way to go on.
    pub fn next(&self) -> Option<&Choice> {
        self.choices.first()
    }

    /// Minutes saved against the baseline.
    pub fn saves(&self) -> f64 {
        self.baseline - self.minutes
    }
}

/// Plans from any state of one problem.
pub struct Planner<'a> {
    model: Model<'a>,
    options: Options<'a>,
}

impl<'a> Planner<'a> {
    /// Checks the problem and makes its tables.
    ///
    /// # Errors
    /// Everything that is wrong with the problem.
    pub fn new(problem: &'a Problem, options: &Options<'a>) -> Result<Self, Vec<ProblemError>> {
        problem.check()?;
        Ok(Self {
            model: Model::new(problem, options),
            options: *options,
        })
    }

    /// The state before anything is done.
    pub fn start(&self) -> State {
        self.model.start()
    }

    /// Does a step: what it costs in expectation and the possible outcomes. `None` when it is not allowed.
    pub fn act(&self, state: &State, step: StepId) -> Option<(f64, Vec<After>)> {
        self.allowed(state, step).then(|| {
            let Act { minutes, branches } = self.model.act(state, step);
            let after = |b: Branch| After {
                outcome: b.outcome,
                probability: b.probability,
                state: b.state,
            };
            (minutes, branches.into_iter().map(after).collect())
        })
    }

    /// Whether the rules allow a step in this state.
    pub fn allowed(&self, state: &State, step: StepId) -> bool {
        step < self.model.steps.len() && self.model.may(state, step)
    }

    /// Probability of each hypothesis in this state, and of the unexplored rest last. What is left of a
    /// hypothesis after a partial cure counts as the hypothesis of what is left, if there is one.
    pub fn hypotheses(&self, state: &State) -> Vec<f64> {
        let mut found = vec![0.0; self.model.problem.hypotheses.len() + 1];
        state
            .belief
            .iter()
            .for_each(|&(w, p)| found[self.model.worlds.hypothesis(w)] += p);
        found
    }

    /// Probability of each unit to be (still) at fault in this state, the greatest first, then by number.
    pub fn units(&self, state: &State) -> Vec<(UnitId, f64)> {
        let mut found = std::collections::BTreeMap::new();
        for &(w, p) in &state.belief {
            self.model
                .units(w)
                .for_each(|unit| *found.entry(unit).or_insert(0.0) += p);
        }
        let mut found: Vec<_> = found.into_iter().collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        found
    }

    /// The step to do in this state (`None` inside: stop); `None` when it is identified.
    pub fn next(&self, state: &State) -> Option<Option<StepId>> {
        let mut search = Search::new(&self.model);
        let decision = search.decide(state, &self.options, self.options.effort);
        decision.ways.first().map(|way| way.step)
    }

    /// The plan from a state.
    pub fn plan(&self, state: &State) -> Plan {
        let mut search = Search::new(&self.model);
        let decision = search.decide(state, &self.options, self.options.effort);
        let baseline = self.baseline(state);
        let minutes = decision.ways.first().map_or(0.0, |way| way.minutes);
        let choices = decision.ways.iter().take(1 + self.options.runners_up);
        let choices: Vec<Choice> = choices
            .map(|way| self.choice(state, way, baseline))
            .collect();
        let states = search.states;
        let grown = self.options.tree > 0 && !choices.is_empty();
        Plan {
            minutes,
            exact: decision.exact,
            depth: decision.depth,
            at_least: self.model.lower(&state.belief),
            baseline,
            entropy: entropy(&state.belief),
            choices,
            tree: grown.then(|| self.grow(&mut search, state, &decision, self.options.tree)),
            states,
        }
    }

    fn baseline(&self, state: &State) -> f64 {
        let mut effort = 0;
        match self.model.problem.goal {
            Goal::Repair { stop } => {
                self.model
                    .sequence(state, Order::Rank, (stop, None), &mut effort)
                    .to_the_end
            }
            Goal::Identify { .. } => self.model.simple(state, false, &mut effort).minutes,
        }
    }

    fn choice(&self, state: &State, way: &Way, baseline: f64) -> Choice {
        let outcomes = way
            .step
            .and_then(|step| self.act(state, step))
            .map_or(Vec::new(), |(_, outcomes)| outcomes);
        Choice {
            step: way.step,
            minutes: way.minutes,
            saves: baseline - way.minutes,
            gain: way.step.map_or(0.0, |step| self.model.gain(state, step)),
            outcomes,
        }
    }

    fn grow(&self, search: &mut Search, state: &State, decision: &Decision, depth: u8) -> Tree {
        let Some(way) = decision.ways.first() else {
            return Tree {
                step: None,
                minutes: 0.0,
                branches: Vec::new(),
            };
        };
        let outcomes = way
            .step
            .and_then(|step| self.act(state, step))
            .map_or(Vec::new(), |(_, outcomes)| outcomes);
        let mut branch = |after: After| {
            let deeper = after.state.filter(|_| depth > 1).and_then(|next| {
                let decision =
                    search.decide(&next, &self.options, self.options.effort / TREE_SHARE);
                (!decision.ways.is_empty()).then(|| self.grow(search, &next, &decision, depth - 1))
            });
            (after.outcome, after.probability, deeper)
        };
        let branches = outcomes.into_iter().map(&mut branch).collect();
        Tree {
            step: way.step,
            minutes: way.minutes,
            branches,
        }
    }
}

/// Every further node of a tree is worked out with this part of the effort.
const TREE_SHARE: u64 = 16;

/// Plans the problem from its start.
///
/// # Errors
/// Everything that is wrong with the problem.
pub fn plan(problem: &Problem, options: &Options) -> Result<Plan, Vec<ProblemError>> {
    let planner = Planner::new(problem, options)?;
    Ok(planner.plan(&planner.start()))
}
