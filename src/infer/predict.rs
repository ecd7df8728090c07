//! What a check that was not read yet would give, and what each outcome would teach.
//!
//! For an unread check `j`, P(outcome ≤ k and the readings) is the same sum as P(readings) with one more factor
//! `F(k)` per mode: it folds like a passing reading, and the plan for the readings serves for all checks. Two runs
//! (pass; pass or intermittent) give all three outcomes; the posterior after an outcome is a difference of two
//! joint probabilities over its probability,
//!
//! P(mode | outcome = k) = (P(mode, ≤ k) − P(mode, ≤ k − 1)) / P(outcome = k)
//!
//! whose error is the rounding of the terms over P(outcome = k). Where that probability is small
//! (below one in a million) the outcome is entered as a reading and summed anew instead, without any difference.
//!
//! The gain of a check is the expected decrease of the sum of the entropies of the causes, in bits.

use super::fold::{Folded, Seen, fold};
use super::network::{CheckId, Network, Outcome, Posterior};
use super::order::Vars;
use super::plan::Plan;
use super::posterior::{InferError, Limits, make_plan, posterior};
use super::run::Problem;
use super::solve::{Solved, solve};
use super::validate::validate;
use super::wide::{Num, Wide};

/// The three outcomes, in order.
pub const OUTCOMES: [Outcome; 3] = [Outcome::Pass, Outcome::Intermittent, Outcome::Fail];

/// What a check would give.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// The check.
    pub check: CheckId,
    /// P(outcome | readings) of pass, intermittent, fail.
    pub outcomes: [f64; 3],
    /// P(cause i in mode m | readings, outcome) for each outcome; `None` when the outcome is impossible.
    pub after: [Option<Vec<Vec<f64>>>; 3],
    /// Expected decrease of the sum over the causes of the entropy of (fine, modes ...), in bits. It may be
    /// slightly negative: a check can make the causes depend on each other.
    pub gain_bits: f64,
    /// As [`Posterior::unexplored_mass`], the largest of the sums behind this; 0 when they were exact.
    pub unexplored_mass: f64,
}

/// Below this probability an outcome is summed anew.
const RARE: f64 = 1e-6;

/// Predicts the outcome of each of `checks` and the posterior after each outcome.
///
/// The work is shared between the processor's threads; the result does not depend on their number.
///
/// # Errors
/// As [`posterior`]; [`InferError::Invalid`] also when a check does not exist or has been read already.
pub fn predict(
    net: &Network,
    checks: &[CheckId],
    limits: &Limits,
) -> Result<Vec<Prediction>, InferError> {
    validate(net)?;
    let wrong: Vec<String> = checks
        .iter()
        .filter(|&&c| net.checks.get(c).is_none_or(|c| c.seen.is_some()))
        .map(|c| format!("check {c} does not exist or has been read already"))
        .collect();
    if !wrong.is_empty() {
        return Err(InferError::Invalid(wrong));
    }
    let seen: Vec<Seen> = net.checks.iter().map(Seen::of).collect();
    let folded = fold(net, &seen);
    let vars = Vars::new(&folded);
    let Ok(plan) = make_plan(&vars, limits, net.settings()) else {
        let now = posterior(net, limits)?;
        return checks
            .iter()
            .map(|&check| predict_anew(net, limits, &now, check))
            .collect();
    };
    let now = solve(Problem::whole(net, &folded, &vars, &plan));
    let now = now.ok_or(InferError::Impossible)?;
    let touching = touching(net);
    let common = Common {
        net,
        limits,
        plan: &plan,
        vars: &vars,
        now: &now,
        touching: &touching,
    };
    let threads = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(checks.len().div_ceil(8));
    let chunk = checks.len().div_ceil(threads.max(1)).max(1);
    let mut found = Vec::with_capacity(checks.len());
    std::thread::scope(|scope| {
        let mut handles = Vec::new();
        let mut chunks = checks.chunks(chunk);
        let mine = chunks.next().unwrap_or_default();
        for part in chunks {
            let (mut seen, mut folded) = (seen.clone(), folded.clone());
            let common = &common;
            handles.push(scope.spawn(move || common.predict_all(part, &mut seen, &mut folded)));
        }
        let (mut seen, mut folded) = (seen.clone(), folded.clone());
        found.extend(common.predict_all(mine, &mut seen, &mut folded));
        for handle in handles {
            match handle.join() {
                Ok(part) => found.extend(part),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    found.into_iter().collect()
}

/// The causes that touch each check.
fn touching(net: &Network) -> Vec<Vec<usize>> {
    let mut touching = vec![Vec::new(); net.checks.len()];
    for (id, cause) in net.causes.iter().enumerate() {
        for effect in cause.modes.iter().flat_map(|m| &m.effects) {
            let list: &mut Vec<usize> = &mut touching[effect.check];
            if list.last() != Some(&id) {
                list.push(id);
            }
        }
    }
    touching
}

/// What the predictions of all checks share.
struct Common<'p> {
    net: &'p Network,
    limits: &'p Limits,
    plan: &'p Plan,
    vars: &'p Vars,
    now: &'p Solved,
    touching: &'p [Vec<usize>],
}

impl Common<'_> {
    fn predict_all(
        &self,
        checks: &[CheckId],
        seen: &mut [Seen],
        folded: &mut Folded,
    ) -> Vec<Result<Prediction, InferError>> {
        checks
            .iter()
            .map(|&check| self.predict_one(check, seen, folded))
            .collect()
    }

    /// All outcomes of one check from two runs of the plan.
    fn predict_one(
        &self,
        check: CheckId,
        seen: &mut [Seen],
        folded: &mut Folded,
    ) -> Result<Prediction, InferError> {
        let leak = &self.net.checks[check];
        let effects = self.touching[check]
            .iter()
            .flat_map(|&c| &self.net.causes[c].modes)
            .flat_map(|m| &m.effects);
        let three = leak.leak_intermittent > 0.0
            || effects
                .clone()
                .any(|e| e.check == check && e.intermittent > 0.0);
        let pass = self.at_most(check, Seen::Exactly(Outcome::Pass), seen, folded);
        let not_fail = if three {
            self.at_most(check, Seen::NotFail, seen, folded)
        } else {
            pass.clone()
        };
        let joint = |s: &Option<Solved>| {
            s.as_ref().map_or(0.0, |s| {
                s.evidence.over(self.now.evidence).to_f64().min(1.0)
            })
        };
        let (p, q) = (joint(&pass), joint(&not_fail).max(joint(&pass)));
        let mut outcomes = [p, q - p, 1.0 - q];
        let mut after = [None, None, None];
        let mut unexplored_mass: f64 = 0.0;
        let none: Vec<Vec<f64>> = self.now.modes.iter().map(|m| vec![0.0; m.len()]).collect();
        let modes =
            |s: &Option<Solved>| s.as_ref().map_or_else(|| none.clone(), |s| s.modes.clone());
        let (pass_modes, not_fail_modes) = (modes(&pass), modes(&not_fail));
        for (k, outcome) in OUTCOMES.into_iter().enumerate() {
            if outcome == Outcome::Pass {
                after[k] = pass.as_ref().map(|s| s.modes.clone());
            } else if outcome == Outcome::Intermittent && !three {
                outcomes[k] = 0.0;
            } else if outcomes[k] >= RARE {
                let (low, high, worst) = match outcome {
                    Outcome::Intermittent => (p, q, [&pass_modes, &not_fail_modes]),
                    _ => (q, 1.0, [&not_fail_modes, &self.now.modes]),
                };
                after[k] = Some(difference(worst[1], high, worst[0], low));
            } else {
                (outcomes[k], after[k], unexplored_mass) =
                    self.anew(check, outcome, unexplored_mass)?;
            }
        }
        let gain_bits = gain(&self.now.modes, &outcomes, &after);
        Ok(Prediction {
            check,
            outcomes,
            after,
            gain_bits,
            unexplored_mass,
        })
    }

    /// The readings and one more that needs no explanation: only the causes it touches are folded again.
    fn at_most(
        &self,
        check: CheckId,
        what: Seen,
        seen: &mut [Seen],
        folded: &mut Folded,
    ) -> Option<Solved> {
        let before = std::mem::replace(&mut seen[check], what);
        let scale = folded.scale;
        let leak = &self.net.checks[check];
        let left = match what {
            Seen::NotFail => 1.0 - leak.leak_fail,
            _ => super::fold::rest(leak.leak_intermittent, leak.leak_fail),
        };
        folded.scale = scale.times(Wide::new(left));
        let causes = &self.touching[check];
        let old: Vec<_> = causes
            .iter()
            .map(|&cause| {
                let new = folded.refold(self.net, seen, cause);
                std::mem::replace(&mut folded.causes[cause], new)
            })
            .collect();
        let problem = Problem {
            net: self.net,
            folded,
            vars: self.vars,
            plan: self.plan,
            keep: &[],
            again: None,
        };
        let solved = solve(problem);
        for (&cause, old) in causes.iter().zip(old) {
            folded.causes[cause] = old;
        }
        folded.scale = scale;
        seen[check] = before;
        solved
    }

    /// An outcome as one more reading: its probability, the posterior after it, and what was not looked at.
    #[allow(clippy::type_complexity)]
    fn anew(
        &self,
        check: CheckId,
        outcome: Outcome,
        unexplored: f64,
    ) -> Result<(f64, Option<Vec<Vec<f64>>>, f64), InferError> {
        let mut net = self.net.clone();
        net.checks[check].seen = Some(outcome);
        match posterior(&net, self.limits) {
            Ok(after) => {
                let p = Wide::exp(after.log_evidence - self.now.evidence.ln())
                    .to_f64()
                    .min(1.0);
                Ok((p, Some(after.modes), unexplored.max(after.unexplored_mass)))
            }
            Err(InferError::Impossible) => Ok((0.0, None, unexplored)),
            Err(error) => Err(error),
        }
    }
}

/// `(high·p − low·q) / (high − low)` for every mode, within 0 and 1.
fn difference(p: &[Vec<f64>], high: f64, q: &[Vec<f64>], low: f64) -> Vec<Vec<f64>> {
    let of_mode = |(p, q): (&f64, &f64)| ((high * p - low * q) / (high - low)).clamp(0.0, 1.0);
    p.iter()
        .zip(q)
        .map(|(p, q)| p.iter().zip(q).map(of_mode).collect())
        .collect()
}

/// Beyond the reach of an exact sum: each outcome as one more reading.
fn predict_anew(
    net: &Network,
    limits: &Limits,
    now: &Posterior,
    check: CheckId,
) -> Result<Prediction, InferError> {
    let mut net = net.clone();
    let mut logs = [f64::NEG_INFINITY; 3];
    let mut after = [None, None, None];
    let mut unexplored_mass = now.unexplored_mass;
    for (k, outcome) in OUTCOMES.into_iter().enumerate() {
        net.checks[check].seen = Some(outcome);
        match posterior(&net, limits) {
            Ok(found) => {
                logs[k] = found.log_evidence;
                unexplored_mass = unexplored_mass.max(found.unexplored_mass);
                after[k] = Some(found.modes);
            }
            Err(InferError::Impossible) => {}
            Err(error) => return Err(error),
        }
    }
    let most = logs.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let shares = logs.map(|l| (l - most).exp());
    let outcomes = shares.map(|s| s / shares.iter().sum::<f64>());
    let gain_bits = gain(&now.modes, &outcomes, &after);
    Ok(Prediction {
        check,
        outcomes,
        after,
        gain_bits,
        unexplored_mass,
    })
}

/// Expected decrease of the sum of the entropies of the causes, in bits.
fn gain(now: &[Vec<f64>], outcomes: &[f64; 3], after: &[Option<Vec<Vec<f64>>>; 3]) -> f64 {
    let parts = outcomes
        .iter()
        .zip(after)
        .filter_map(|(p, modes)| modes.as_ref().map(|m| p * entropy_bits(m)));
    entropy_bits(now) - parts.sum::<f64>()
}

/// Sum over the causes of the entropy of (fine, modes ...), in bits.
pub fn entropy_bits(modes: &[Vec<f64>]) -> f64 {
    let term = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
    modes
        .iter()
        .map(|m| {
            term((1.0 - m.iter().sum::<f64>()).clamp(0.0, 1.0))
                + m.iter().map(|&p| term(p)).sum::<f64>()
        })
        .sum()
}
