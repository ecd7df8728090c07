//! Whether a network keeps its contract.

use super::network::{MOST_COMMON_CAUSES, Network};
use super::posterior::InferError;

/// Checks the contract of [`Network`]; all problems at once.
pub(crate) fn validate(net: &Network) -> Result<(), InferError> {
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
