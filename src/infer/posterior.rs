//! The posterior of every cause, and what an exact sum may cost.

use super::enumerate::enumerate;
use super::fold::{Seen, fold};
use super::network::{Network, Posterior};
use super::order::{Order, Rule, Vars, order};
use super::plan::{Allowance, Plan};
use super::run::Problem;
use super::solve::{Solved, solve};
use super::validate::validate;

/// What an inference may cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Multiplications of an exact sum, over all settings of the common causes, forward only.
    pub max_work: f64,
    /// Numbers held at once by an exact sum (8 bytes each, and as many again for the marginals).
    pub max_entries: f64,
    /// Beyond that: stop the search when at most this share of the probability was not looked at.
    pub max_unexplored: f64,
    /// Beyond that: give up improving after this many steps of the search; what is left is still certified.
    pub max_steps: usize,
    /// How to sum; anything but [`Strategy::Auto`] is for tests that compare the ways.
    pub strategy: Strategy,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            max_work: 4e9,
            max_entries: 3e7,
            max_unexplored: 1e-3,
            max_steps: 300,
            strategy: Strategy::Auto,
        }
    }
}

/// Ways to sum; all give the same numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Strategy {
    /// The cheapest exact order, or the search when none is within the limits.
    Auto,
    /// All causes first: the lattice over sets of explained readings.
    Lattice,
    /// All readings first: conditioning on the causes.
    Conditioning,
    /// The search over hypotheses.
    Enumeration,
}

/// Why there is no posterior.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InferError {
    /// The network breaks its contract; each problem in words.
    #[error("the network is not valid: {}", .0.join("; "))]
    Invalid(Vec<String>),
    /// No state of the causes could give these readings.
    #[error("nothing in the network can give these readings together")]
    Impossible,
    /// No exact order is within the limits, and a strategy was asked for that is exact.
    #[error("the exact sum would cost more than the limits allow")]
    TooCostly,
}

/// The posterior of every mode of every cause under the readings in `net`.
///
/// # Errors
/// [`InferError::Invalid`] when the network breaks its contract, [`InferError::Impossible`] when the readings have
/// probability 0, [`InferError::TooCostly`] when a forced exact strategy is beyond the limits.
pub fn posterior(net: &Network, limits: &Limits) -> Result<Posterior, InferError> {
    validate(net)?;
    let seen: Vec<Seen> = net.checks.iter().map(Seen::of).collect();
    let folded = fold(net, &seen);
    let vars = Vars::new(&folded);
    match make_plan(&vars, limits, net.settings()) {
        Ok(plan) => {
            let (folded, vars, plan) = (&folded, &vars, &plan);
            let solved = solve(Problem {
                net,
                folded,
                vars,
                plan,
                keep: &[],
                again: None,
            });
            solved
                .map(Solved::into_posterior)
                .ok_or(InferError::Impossible)
        }
        Err(_) if matches!(limits.strategy, Strategy::Auto | Strategy::Enumeration) => {
            let found = enumerate(net, &folded, limits).ok_or(InferError::Impossible)?;
            let mut posterior = found.solved.into_posterior();
            posterior.unexplored_mass = found.missed;
            Ok(posterior)
        }
        Err(error) => Err(error),
    }
}

/// Expected number of causes at fault, given the readings in `net`.
///
/// # Errors
/// As [`posterior`].
pub fn expected_faults(net: &Network, limits: &Limits) -> Result<f64, InferError> {
    posterior(net, limits).map(|p| p.expected_faults())
}

/// The cheapest plan found, within the limits.
pub(crate) fn make_plan(vars: &Vars, limits: &Limits, lanes: usize) -> Result<Plan, InferError> {
    let allowance = Allowance {
        work: limits.max_work,
        entries: limits.max_entries,
        lanes,
    };
    let orders: Vec<Order> = match limits.strategy {
        Strategy::Lattice => vec![order(vars, Rule::CausesFirst)],
        Strategy::Conditioning => vec![order(vars, Rule::ReadingsFirst)],
        Strategy::Enumeration => vec![],
        Strategy::Auto => {
            let greedy = order(vars, Rule::Greedy);
            let mut orders = vec![];
            if greedy.cost > CHEAP_ORDER {
                orders.push(order(vars, Rule::CausesFirst));
                orders.extend([1, 2, 3, 4, 6, 8].map(|k| order(vars, Rule::KeepWidest(k))));
            }
            orders.push(greedy);
            orders.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            orders
        }
    };
    orders
        .iter()
        .find_map(|o| Plan::new(vars, o, allowance).ok())
        .ok_or(InferError::TooCostly)
}

/// Below this cost (entries of tables) no other order is tried: looking would cost more than it saves.
const CHEAP_ORDER: f64 = 2e4;
