//! What to do next: the cheapest allowed way from a list of hypotheses to a working machine.
//!
//! Nothing here knows of boards or sheets. A [`Problem`] lists exclusive hypotheses (sets of units at fault
//! together) with their probabilities, and steps: observations with the probability of each outcome under
//! each hypothesis, and remedies with the probability that each cures what is at fault. [`plan`] says which
//! step to do first, what each outcome would make of the hypotheses, what the whole is expected to cost, and
//! what the runners-up would.
//!
//! # What a plan costs
//!
//! A *state* is a belief (probabilities of the hypotheses and of what is left of them after partial cures),
//! the steps done, and the supply on or off. With `V` the expected minutes of the best plan from a state,
//!
//! V(state) = min( stop, min over allowed steps a of [ cost(a) + sum over outcomes o of P(o) V(state after a, o) ] )
//!
//! and `V = 0` once a remedy has made the machine work. A step is done once (an observation repeated would
//! read the same), unless a remedy reopens it. Cost is minutes + hazard + money at the user's rate.
//!
//! # How it is found
//!
//! First a glance one step ahead along every way; then turns of growing effort, alternately far ahead along
//! the few promising steps and less far along every step, with states met before looked up. Where the look
//! ahead ends, simple policies close the sum: remedies by probability per minute, stopped at the best moment,
//! perhaps after the observations that something waits for and those that separate most per minute. States
//! that cannot beat the best plan so far, by a bound that takes the fault as known, are left out.
//!
//! The expected minutes are always those of a plan that exists, never more than swapping in order of rank,
//! and more effort or time can only lower them. When nothing is cut off any more, the plan is optimal
//! ([`Plan::exact`]). Without a time limit the result depends on the problem and the effort alone.
//!
//! Ties (within a part in 10^9) go to the earlier step in [`Problem::steps`]; stopping comes last.
//!
//! # Example
//!
//! Two chips in question, one worth a quick look first:
//!
//! ```
//! use whichsocket::plan::{Goal, Hypothesis, Options, Power, Problem, Step, plan};
//! let problem = Problem {
//!     hypotheses: vec![
//!         Hypothesis { probability: 0.5, faulty: vec![0] },
//!         Hypothesis { probability: 0.5, faulty: vec![1] },
//!     ],
//!     unexplored: 0.0,
//!     steps: vec![
//!         Step::remedy(0, 10.0, 1.0, 0.0),
//!         Step::remedy(1, 10.0, 1.0, 0.0),
//!         Step::observe(1.0, vec![vec![1.0, 0.0], vec![0.0, 1.0]]),
//!     ],
//!     goal: Goal::Repair { stop: 100.0 },
//!     power: Power::Either,
//!     power_change: 0.0,
//! };
//! let plan = plan(&problem, &Options::default()).unwrap();
//! assert_eq!(plan.next().and_then(|choice| choice.step), Some(2));
//! assert!((plan.minutes - 11.0).abs() < 1e-9);
//! assert!((plan.baseline - 15.0).abs() < 1e-9);
//! ```

mod check;
mod model;
mod narrow;
mod problem;
mod report;
mod rollout;
mod search;
mod tables;

pub use model::State;
pub use problem::{
    Condition, Cost, Cure, Filter, Goal, Hypothesis, Kind, MOST_CONDITIONS, MOST_STEPS,
    MOST_UNITS_AT_FAULT, Options, Power, Problem, ProblemError, Rule, STILL_FAULTY, SUM_TOLERANCE,
    Step, StepId, UnitId, WORKS,
};
pub use report::{After, Choice, Plan, Planner, Tree, plan};
