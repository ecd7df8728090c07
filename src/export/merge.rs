//! Modes that no reading separates, as one: the same posteriors of the causes from smaller tables.

use super::Names;
use crate::infer::network::{Effect, Mode, Network};

/// The network with those modes of each cause merged whose effects on what was read are the same; priors add up. The
/// name of a merged mode says the first and how many more.
pub fn merge_modes(net: &Network, names: &Names) -> (Network, Names) {
    let (mut net, mut names) = (net.clone(), names.clone());
    let checks = std::mem::take(&mut net.checks);
    for (cause, (_, list)) in net.causes.iter_mut().zip(&mut names.causes) {
        let mut kept: Vec<(Mode, String, usize)> = Vec::new();
        for (mut mode, name) in std::mem::take(&mut cause.modes)
            .into_iter()
            .zip(list.drain(..))
        {
            let tells =
                |e: &Effect| checks[e.check].seen.is_some() && e.intermittent + e.fail > 0.0;
            mode.effects.retain(tells);
            mode.effects.sort_by_key(|e| e.check);
            if mode.effects.is_empty() {
                mode.shows = None;
            }
            match kept.iter_mut().find(|(k, ..)| alike(k, &mode)) {
                Some((same, _, more)) => {
                    for (sum, p) in same.prior.iter_mut().zip(&mode.prior) {
                        *sum += p;
                    }
                    *more += 1;
                }
                None => kept.push((mode, name, 0)),
            }
        }
        for (mode, name, more) in kept {
            cause.modes.push(mode);
            list.push(match more {
                0 => name,
                n => format!("{name} or {n} more"),
            });
        }
    }
    net.checks = checks;
    (net, names)
}

/// Whether two modes differ by nothing but their priors.
fn alike(a: &Mode, b: &Mode) -> bool {
    a.shows == b.shows && a.likelihood == b.likelihood && a.effects == b.effects
}
