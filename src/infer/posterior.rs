//! The posterior of every cause, and what an exact sum may cost.

use super::fold::{Folded, Seen, fold, prior};
use super::network::{MOST_COMMON_CAUSES, Network, Posterior};
use super::order::{Order, Rule, Vars, order};
use super::plan::{Allowance, Plan};
use super::run::{Lane, Problem, Tables};
use super::wide::{Num, Wide};

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
            max_steps: 20_000,
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
    let plan = make_plan(&vars, limits, net.settings())?;
    solve(Problem {
        net,
        folded: &folded,
        vars: &vars,
        plan: &plan,
    })
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

/// Runs a plan with as many lanes as there are settings.
pub(crate) fn solve(problem: Problem<'_>) -> Result<Posterior, InferError> {
    match problem.net.settings() {
        1 => solve_lanes::<1>(problem),
        2 => solve_lanes::<2>(problem),
        4 => solve_lanes::<4>(problem),
        8 => solve_lanes::<8>(problem),
        _ => solve_lanes::<16>(problem),
    }
}

/// Plain numbers first; wide ones when those may have lost something to underflow.
fn solve_lanes<const L: usize>(problem: Problem<'_>) -> Result<Posterior, InferError> {
    if let Some(result) = solve_in::<f64, L>(problem) {
        return result;
    }
    solve_in::<Wide, L>(problem).unwrap_or(Err(InferError::Impossible))
}

/// Below this a plain number may have lost digits to underflow (see [`super::wide`]): `2^-1074` times any number
/// of operations that ends is far smaller than its rounding.
const SAFE: f64 = 1e-250;

/// What the settings of the common causes come to.
struct Settings<const L: usize> {
    /// P(readings), apart from the scale.
    total: Wide,
    /// P(setting | readings).
    share: [f64; L],
}

/// The share of each setting from the parts that multiply. `None` when a setting that is too small to be sure of
/// might matter.
fn settings<N: Num, const L: usize>(
    net: &Network,
    parts: &[Lane<N, L>],
    checked: bool,
) -> Option<Settings<L>> {
    let safe = Wide::new(SAFE);
    let mut values = [Wide::ZERO; L];
    let mut total = Wide::ZERO;
    let mut doubtful = Wide::ZERO;
    for (s, value) in values.iter_mut().enumerate() {
        let prior = Wide::new(net.setting_prior(s));
        let (mut exact, mut most, mut weak) = (prior, prior, false);
        for part in parts {
            let part = part[s].wide();
            exact = exact.times(part);
            most = most.times(part.max(safe));
            weak |= part.less(safe);
        }
        if checked && weak {
            doubtful = doubtful.plus(most);
        } else {
            total = total.plus(exact);
            *value = exact;
        }
    }
    if checked && !doubtful.less(total.times(Wide::new(1e-25))) && !doubtful.is_zero() {
        return None;
    }
    let share = values.map(|v| {
        if total.is_zero() {
            0.0
        } else {
            v.over(total).to_f64()
        }
    });
    Some(Settings { total, share })
}

/// Runs the plan in one kind of number. `None` when underflow may have cost something.
fn solve_in<N: Num, const L: usize>(problem: Problem<'_>) -> Option<Result<Posterior, InferError>> {
    let checked = N::from_wide(Wide::exp(-2000.0)) == N::ZERO;
    let Problem {
        net, folded, plan, ..
    } = problem;
    let tables: Tables<N, L> = problem.forward();
    let mut parts: Vec<Lane<N, L>> = plan.roots.iter().map(|&root| tables.root(root)).collect();
    let idle: Vec<usize> = (0..net.causes.len())
        .filter(|&c| problem.vars.of_cause[c].is_none())
        .collect();
    parts.extend(idle.iter().map(|&cause| problem.weights::<N, L>(cause)[0]));
    let settings = settings(net, &parts, checked)?;
    if settings.total.is_zero() {
        return Some(Err(InferError::Impossible));
    }
    let seeds: Vec<Lane<N, L>> = parts
        .iter()
        .map(|part| seed(part, &settings.share))
        .collect();
    let worth = tables.backward(plan, &seeds[..plan.roots.len()]);
    let mut modes: Vec<Vec<f64>> = net
        .causes
        .iter()
        .map(|cause| vec![0.0; cause.modes.len()])
        .collect();
    for (&cause, seed) in idle.iter().zip(&seeds[plan.roots.len()..]) {
        collect(
            net,
            folded,
            cause,
            std::slice::from_ref(seed),
            &mut modes[cause],
        );
    }
    for (cause, slot) in plan.weights() {
        collect(
            net,
            folded,
            cause,
            &worth[slot.start..slot.start + slot.len],
            &mut modes[cause],
        );
    }
    let common = (0..net.common.len())
        .map(|b| {
            (0..L)
                .filter(|s| s >> b & 1 == 1)
                .map(|s| settings.share[s])
                .sum::<f64>()
                .min(1.0)
        })
        .collect();
    Some(Ok(Posterior {
        log_evidence: settings.total.ln() + folded.scale.ln(),
        modes,
        common,
        unexplored_mass: 0.0,
    }))
}

/// What a part is worth: P(setting | readings) over its value.
fn seed<N: Num, const L: usize>(part: &Lane<N, L>, share: &[f64; L]) -> Lane<N, L> {
    let mut seed = [N::ZERO; L];
    for s in 0..L {
        let value = part[s].wide();
        if share[s] > 0.0 && !value.is_zero() {
            seed[s] = N::from_wide(Wide::new(share[s]).over(value));
        }
    }
    seed
}

/// Posterior of each mode of a cause: its weight times what its state is worth, over all settings.
fn collect<N: Num, const L: usize>(
    net: &Network,
    folded: &Folded,
    cause: usize,
    worth: &[Lane<N, L>],
    to: &mut [f64],
) {
    for member in &folded.causes[cause].members {
        let Some(mode) = member.mode else { continue };
        let left = N::from_wide(member.left);
        let mut sum = N::ZERO;
        for (setting, &worth) in worth[member.state].iter().enumerate() {
            let prior = N::from_f64(prior(net, cause, member.mode, setting));
            sum = sum.plus(prior.times(left).times(worth));
        }
        to[mode] = sum.wide().to_f64().min(1.0);
    }
}

/// Checks the contract of [`Network`]; all problems at once.
fn validate(net: &Network) -> Result<(), InferError> {
    let mut problems = Vec::new();
    let is_probability = |p: f64| (0.0..=1.0).contains(&p);
    let is_split =
        |a: f64, b: f64| is_probability(a) && is_probability(b) && a + b <= 1.0 + ROUNDING;
    if net.common.len() > MOST_COMMON_CAUSES {
        problems.push(format!(
            "{} common causes, at most {MOST_COMMON_CAUSES} are allowed",
            net.common.len()
        ));
        return Err(InferError::Invalid(problems));
    }
    for (b, &p) in net
        .common
        .iter()
        .enumerate()
        .filter(|(_, p)| !is_probability(**p))
    {
        problems.push(format!("common cause {b} has probability {p}"));
    }
    for (j, check) in net.checks.iter().enumerate() {
        if !is_split(check.leak_intermittent, check.leak_fail) {
            problems.push(format!(
                "check {j} leaks {} + {}",
                check.leak_intermittent, check.leak_fail
            ));
        }
    }
    for (i, cause) in net.causes.iter().enumerate() {
        if !(cause.likelihood_fine.is_finite() && cause.likelihood_fine >= 0.0) {
            problems.push(format!(
                "cause {i} has likelihood {} when fine",
                cause.likelihood_fine
            ));
        }
        for (m, mode) in cause.modes.iter().enumerate() {
            let at = format!("mode {m} of cause {i}");
            if mode.prior.len() != net.settings() {
                problems.push(format!(
                    "{at} has {} priors for {} settings",
                    mode.prior.len(),
                    net.settings()
                ));
            }
            for &p in mode.prior.iter().filter(|p| !is_probability(**p)) {
                problems.push(format!("{at} has prior {p}"));
            }
            if !(mode.likelihood.is_finite() && mode.likelihood >= 0.0) {
                problems.push(format!("{at} has likelihood {}", mode.likelihood));
            }
            if let Some(shows) = mode.shows.filter(|s| !is_probability(*s)) {
                problems.push(format!("{at} shows with probability {shows}"));
            }
            let mut checks: Vec<usize> = mode.effects.iter().map(|e| e.check).collect();
            checks.sort_unstable();
            if checks.windows(2).any(|w| w[0] == w[1]) {
                problems.push(format!("{at} has two effects on the same check"));
            }
            for effect in &mode.effects {
                if effect.check >= net.checks.len() {
                    problems.push(format!(
                        "{at} has an effect on check {}, which is not there",
                        effect.check
                    ));
                }
                if !is_split(effect.intermittent, effect.fail) {
                    problems.push(format!(
                        "{at} shows with {} + {}",
                        effect.intermittent, effect.fail
                    ));
                }
            }
        }
        let excess = |s: usize| {
            cause
                .modes
                .iter()
                .filter_map(|m| m.prior.get(s))
                .sum::<f64>()
                > 1.0 + ROUNDING
        };
        if (0..net.settings()).any(excess) {
            problems.push(format!("the priors of cause {i} add up to more than 1"));
        }
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(InferError::Invalid(problems))
    }
}

/// How far sums of probabilities may exceed 1.
const ROUNDING: f64 = 1e-9;
