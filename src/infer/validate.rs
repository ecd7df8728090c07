//! Whether a network keeps its contract.

use super::network::{Effect, MOST_COMMON_CAUSES, Mode, Network};
use super::posterior::InferError;

/// Checks the contract of [`Network`]; all problems at once.
pub(crate) fn validate(net: &Network) -> Result<(), InferError> {
    let mut problems = Vec::new();
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
    // The last mode that had an effect on each check.
    let mut touched_by = vec![usize::MAX; net.checks.len()];
    let (mut count, mut sums) = (0, Vec::new());
    for (i, cause) in net.causes.iter().enumerate() {
        if !(cause.likelihood_fine.is_finite() && cause.likelihood_fine >= 0.0) {
            let likelihood = cause.likelihood_fine;
            problems.push(format!("cause {i} has likelihood {likelihood} when fine"));
        }
        for (m, mode) in cause.modes.iter().enumerate() {
            let at = At(m, i);
            validate_mode(net, mode, &at, &mut problems);
            validate_effects(mode, &at, (&mut touched_by, count), &mut problems);
            count += 1;
        }
        sums.clear();
        sums.resize(net.settings(), 0.0);
        for mode in &cause.modes {
            sums.iter_mut()
                .zip(&mode.prior)
                .for_each(|(sum, p)| *sum += p);
        }
        if sums.iter().any(|&sum| sum > 1.0 + ROUNDING) {
            problems.push(format!("the priors of cause {i} add up to more than 1"));
        }
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(InferError::Invalid(problems))
    }
}

/// Where a problem is: a mode of a cause.
struct At(usize, usize);

impl std::fmt::Display for At {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "mode {} of cause {}", self.0, self.1)
    }
}

/// Prior, likelihood and flakiness of a mode.
fn validate_mode(net: &Network, mode: &Mode, at: &At, problems: &mut Vec<String>) {
    if mode.prior.len() != net.settings() {
        let (found, wanted) = (mode.prior.len(), net.settings());
        problems.push(format!("{at} has {found} priors for {wanted} settings"));
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
}

/// The effects of a mode, the `id`-th of the network.
fn validate_effects(
    mode: &Mode,
    at: &At,
    (touched_by, id): (&mut [usize], usize),
    problems: &mut Vec<String>,
) {
    for effect in &mode.effects {
        let Effect {
            check,
            intermittent,
            fail,
        } = *effect;
        match touched_by.get_mut(check) {
            None => problems.push(format!(
                "{at} has an effect on check {check}, which is not there"
            )),
            Some(last) if *last == id => {
                problems.push(format!("{at} has two effects on check {check}"));
            }
            Some(last) => *last = id,
        }
        if !is_split(intermittent, fail) {
            problems.push(format!("{at} shows with {intermittent} + {fail}"));
        }
    }
}

fn is_probability(p: f64) -> bool {
    (0.0..=1.0).contains(&p)
}

/// Whether two probabilities leave something, or nothing, for the rest.
fn is_split(a: f64, b: f64) -> bool {
    is_probability(a) && is_probability(b) && a + b <= 1.0 + ROUNDING
}

/// How far sums of probabilities may exceed 1.
const ROUNDING: f64 = 1e-9;
