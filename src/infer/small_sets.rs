//! The probability that these causes, and no others, explain the failing readings: for sets of one or two causes.
//!
//! No plan and no search: what explains nothing is summed up cause by cause, and the readings of a few faults are a product,
//!
//! P(S) = Σ over settings s of  P(s) · Π over c not in S of (weight of c without what explains anything)
//!        · Σ over the modes of S of  Π weights · Π over readings r of (1 − u_leak · Π u)
//!
//! With many failing readings this is what remains within reach when a sum over all sets is not.

use super::fold::{Folded, Seen, Shape, fold};
use super::network::{CauseId, Network};
use super::posterior::InferError;
use super::validate::validate;
use super::wide::{Num, Wide};

/// Modes of a cause beyond these, the least probable ones, are left out of pairs.
const MODES_IN_PAIRS: usize = 12;

/// Something that a cause does: its weight in each setting relative to doing nothing, and for each reading the chance that it
/// does not explain it.
struct Branch {
    weight: Vec<f64>,
    /// P(setting, just this and nothing else that explains anything), relative to the evidence.
    alone: Vec<f64>,
    u: Vec<f64>,
}

/// The probabilities that just these `causes`, one or two at a time, explain what failed, and that nothing else does;
/// `log_evidence` is that of the network. In falling order.
///
/// # Errors
/// A network that is not one ([`InferError::Invalid`]).
pub fn small_explanations(
    net: &Network,
    causes: &[CauseId],
    log_evidence: f64,
) -> Result<Vec<(Vec<CauseId>, f64)>, InferError> {
    validate(net)?;
    let seen: Vec<Seen> = net.checks.iter().map(Seen::of).collect();
    let folded = fold(net, &seen);
    let still: Vec<Vec<f64>> = (0..net.causes.len())
        .map(|c| ln_still(net, &folded, c))
        .collect();
    // ln of everything at rest, relative to the evidence, for each setting.
    let scale = folded.total_scale().ln() - log_evidence;
    let rest = |s: usize| {
        let each = still.iter().map(|c| c[s]);
        net.setting_prior(s).ln() + scale + each.sum::<f64>()
    };
    let rest: Vec<f64> = (0..net.settings()).map(rest).collect();
    let branches: Vec<(CauseId, Vec<Branch>)> = (causes.iter())
        .map(|&c| (c, branches(net, &folded, c, &still[c], &rest)))
        .collect();
    let leaks = || folded.readings.iter().map(|reading| reading.u);
    let single = |b: &Branch| -> f64 {
        let explained = leaks().zip(&b.u).map(|(leak, u)| 1.0 - leak * u);
        explained.product::<f64>() * b.alone.iter().sum::<f64>()
    };
    let pair = |a: &Branch, b: &Branch| -> f64 {
        let explained = (leaks().zip(&a.u).zip(&b.u)).map(|((leak, a), b)| 1.0 - leak * a * b);
        let settings = a.alone.iter().zip(&b.weight).map(|(a, b)| a * b);
        explained.product::<f64>() * settings.sum::<f64>()
    };
    let mut out = Vec::new();
    for (at, (one, own)) in branches.iter().enumerate() {
        out.push((vec![*one], own.iter().map(single).sum()));
        for (other, others) in &branches[..at] {
            let mut p = 0.0;
            for x in own.iter().take(MODES_IN_PAIRS) {
                p += others
                    .iter()
                    .take(MODES_IN_PAIRS)
                    .map(|y| pair(x, y))
                    .sum::<f64>();
            }
            out.push((vec![*one.min(other), *one.max(other)], p));
        }
    }
    out.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    Ok(out)
}

/// ln of the weight of a cause that explains nothing, for each setting; of one that cannot be so, very little.
fn ln_still(net: &Network, folded: &Folded, cause: CauseId) -> Vec<f64> {
    let members = &folded.causes[cause].members;
    let of = |s: usize| {
        let idle = members.iter().filter(|m| !m.explains);
        let sum = idle.fold(Wide::ZERO, |sum, m| {
            let prior = folded.priors(net, cause, m.mode)[s];
            sum.plus(m.left.times(Wide::new(prior)))
        });
        sum.ln().max(NEVER)
    };
    (0..net.settings()).map(of).collect()
}

/// ln of what stands for 0.
const NEVER: f64 = -600.0;

/// What a cause may do, likeliest first.
fn branches(
    net: &Network,
    folded: &Folded,
    cause: CauseId,
    still: &[f64],
    rest: &[f64],
) -> Vec<Branch> {
    let own = &folded.causes[cause];
    let mut out = Vec::new();
    for m in own.members.iter().filter(|m| m.explains) {
        let prior = folded.priors(net, cause, m.mode);
        let ln = m.left.ln();
        let ln_weight = |s: usize| prior[s].ln() + ln - still[s];
        let weight: Vec<f64> = (0..net.settings()).map(|s| ln_weight(s).exp()).collect();
        // Not as a product of both: where a cause cannot be still one is next to nothing and the other beyond all bounds.
        let alone: Vec<f64> = (0..net.settings())
            .map(|s| (rest[s] + ln_weight(s)).exp())
            .collect();
        for (share, u) in acts(&own.states[m.state], folded.readings.len()) {
            out.push(Branch {
                weight: weight.iter().map(|w| w * share).collect(),
                alone: alone.iter().map(|p| p * share).collect(),
                u,
            });
        }
    }
    let most = |b: &Branch| b.weight.iter().copied().fold(0.0, f64::max);
    out.sort_by(|a, b| most(b).total_cmp(&most(a)));
    out
}

/// The ways in which a state acts, by run: share, and what it leaves unexplained of each reading.
fn acts(shape: &Shape, readings: usize) -> Vec<(f64, Vec<f64>)> {
    let mut u = vec![1.0; readings];
    for pair in &shape.pairs {
        u[pair.reading] *= pair.u.to_f64();
    }
    let mut out = vec![(1.0, u)];
    for group in &shape.groups {
        let acting: Vec<(f64, Vec<f64>)> = (out.iter())
            .map(|(share, u)| {
                let mut u = u.clone();
                for pair in &group.pairs {
                    u[pair.reading] *= pair.u.to_f64();
                }
                (share * group.acts.to_f64(), u)
            })
            .collect();
        out.iter_mut().for_each(|way| way.0 *= group.idle.to_f64());
        out.extend(acting);
    }
    out
}
