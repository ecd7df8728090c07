//! The posterior of every cause, and what an exact sum may cost.

use super::enumerate::enumerate;
use super::fold::{Folded, Seen, fold};
use super::network::{Network, Posterior};
use super::order::{Order, Rule, Vars, order, order_below};
use super::plan::{Allowance, Plan};
use super::run::Problem;
use super::sample::{sample, without_improbable};
use super::solve::{Solved, solve, total};
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
            max_work: 4e8,
            max_entries: 3e6,
            max_unexplored: 1e-3,
            max_steps: 60,
            strategy: Strategy::Auto,
        }
    }
}

/// Ways to sum; all give the same numbers, draws about the same.
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
    /// Draws: an estimate.
    Draws,
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
    if limits.strategy == Strategy::Draws {
        return sample(net, &folded).ok_or(InferError::Impossible);
    }
    let vars = Vars::new(&folded);
    match make_plan(&vars, limits, net.settings()) {
        Ok(plan) => exact(net, &folded, &vars, &plan).ok_or(InferError::Impossible),
        Err(_) if matches!(limits.strategy, Strategy::Auto | Strategy::Enumeration) => {
            let found = enumerate(net, &folded, limits).ok_or(InferError::Impossible)?;
            if limits.strategy == Strategy::Auto && found.missed > TOO_MUCH {
                return estimate(net, &folded, limits).ok_or(InferError::Impossible);
            }
            let mut posterior = found.solved.into_posterior();
            posterior.unexplored_mass = found.missed;
            Ok(posterior)
        }
        Err(error) => Err(error),
    }
}

/// P(readings) alone: as [`posterior`] for a third of the work where the sum is exact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// ln P(readings).
    pub log: f64,
    /// As [`Posterior::unexplored_mass`].
    pub unexplored_mass: f64,
}

/// P(readings) in `net`.
///
/// # Errors
/// As [`posterior`].
pub fn evidence(net: &Network, limits: &Limits) -> Result<Evidence, InferError> {
    validate(net)?;
    let seen: Vec<Seen> = net.checks.iter().map(Seen::of).collect();
    let folded = fold(net, &seen);
    let vars = Vars::new(&folded);
    let Ok(plan) = make_plan(&vars, limits, net.settings()) else {
        return posterior(net, limits).map(|p| Evidence {
            log: p.log_evidence,
            unexplored_mass: p.unexplored_mass,
        });
    };
    let problem = Problem::whole(net, &folded, &vars, &plan);
    let total = total(problem).ok_or(InferError::Impossible)?;
    Ok(Evidence {
        log: total.ln(),
        unexplored_mass: 0.0,
    })
}

/// A search that may have missed more than this share is no basis for a ranking: draws are.
const TOO_MUCH: f64 = 0.02;

/// Modes at most as probable as this, by draws, are ruled out for an exact sum of the rest: the first that makes it cheap
/// enough, as long as all that is ruled out together is at most [`MOST_RULED_OUT`].
const IMPROBABLE: [f64; 4] = [1e-4, 5e-4, 2e-3, 5e-3];
/// See [`IMPROBABLE`].
const MOST_RULED_OUT: f64 = 0.1;

fn exact(net: &Network, folded: &Folded, vars: &Vars, plan: &Plan) -> Option<Posterior> {
    let solved = solve(Problem::whole(net, folded, vars, plan));
    solved.map(Solved::into_posterior)
}

/// The posterior by draws; where the rest is cheap enough after the improbable modes are ruled out, an exact sum over it.
/// Nothing of it is certified: [`Posterior::unexplored_mass`] is 1.
fn estimate(net: &Network, folded: &Folded, limits: &Limits) -> Option<Posterior> {
    let drawn = sample(net, folded)?;
    for least in IMPROBABLE {
        let (rest, ruled_out) = without_improbable(folded, &drawn, least);
        if ruled_out > MOST_RULED_OUT {
            break;
        }
        let vars = Vars::new(&rest);
        let Ok(plan) = make_plan(&vars, limits, net.settings()) else {
            continue;
        };
        let Some(mut summed) = exact(net, &rest, &vars, &plan) else {
            continue;
        };
        for (modes, drawn) in summed.modes.iter_mut().zip(&drawn.modes) {
            for (p, &by_draws) in modes.iter_mut().zip(drawn) {
                if *p == 0.0 {
                    *p = by_draws;
                }
            }
        }
        summed.unexplored_mass = 1.0;
        return Some(summed);
    }
    Some(drawn)
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
        Strategy::Enumeration | Strategy::Draws => vec![],
        Strategy::Auto => {
            let greedy = order(vars, Rule::Greedy);
            let mut orders = vec![greedy];
            if orders[0].cost > CHEAP_ORDER {
                let widest = [1, 2, 3, 4, 6, 8].map(Rule::KeepWidest);
                for rule in std::iter::once(Rule::CausesFirst).chain(widest) {
                    // Each is cheaper than all before it.
                    orders.extend(order_below(vars, rule, orders[orders.len() - 1].cost));
                }
            }
            orders.reverse();
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
