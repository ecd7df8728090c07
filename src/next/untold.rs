//! What nobody supposes: a part that the map clears, and that is at fault all the same.
//!
//! The map does not know every way in which a part fails, and a reading may be wrong. As long as the suspects are the likelier
//! that is left to the end. Each remedy that changed nothing speaks for it, though: had the ranking been right, it would have had
//! its chance,
//!
//! P(untold | n remedies in vain) = d / (d + (1 − d) · ∏ h)
//!
//! with d before the first, and h the chance that a remedy proposed by a ranking that is right changes nothing: of a soldered part, which
//! is changed when all else has been looked at, less than of what is pulled out of a socket. What can be changed without the iron is then worth a try before the next part is soldered out: parts in sockets and outside the
//! board, each by its failure rate among all.
//!
//! The same count says when no further soldered part is taken out on the word of the ranking ([`lost`]).

use crate::faultmap::model::{BoardModel, UnitKind};
use crate::faultmap::raw::Class;
use crate::observe::{Became, Evidence, Reading, Redone};
use crate::plan::{Hypothesis, UnitId};
use crate::rank::Ranking;

use super::costs;
use super::suppose::Supposed;

/// P(something is at fault that the ranking clears), before any remedy was tried (guess).
const UNTOLD: f64 = 0.05;
/// P(a remedy changes nothing | the ranking is right); on the simulated bench 89 of 126 (`REPAIR_LOOK=1 REPAIR_SEED=3`, the boards
/// `64k-6510-wide` and `64k-6510-narrow`).
const IN_VAIN: f64 = 0.7;
/// The same of a soldered part: 11 of 43 there.
const SOLDERED_IN_VAIN: f64 = 0.3;
/// P(the ranking is wrong) from which on no further part is soldered out on its word (guess).
const LOST: f64 = 0.5;
/// Parts that are supposed so.
const PARTS: usize = 6;

/// Adds to what is supposed the parts that are worth a try all the same, once something was tried in vain.
pub(super) fn with_untold(model: &BoardModel, ranking: &Ranking, supposed: &mut Vec<Supposed>) {
    let Some(untold) = untold(model, ranking) else {
        return;
    };
    let known = |c: usize| {
        let mut singles = supposed.iter().filter(|(h, _)| h.faulty.len() == 1);
        singles.any(|(h, _)| h.faulty[0] as usize == c)
    };
    let rates = rates(ranking);
    let all: f64 = rates.iter().map(|r| r.1).sum();
    let mut worth: Vec<(f64, usize, f64)> = (rates.into_iter())
        .filter(|&(c, _)| !known(c))
        .filter_map(|(c, rate)| Some((rate / minutes(model, ranking, c)?, c, rate)))
        .collect();
    worth.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    (supposed.iter_mut()).for_each(|(h, _)| h.probability *= 1.0 - untold);
    supposed.extend(worth.into_iter().take(PARTS).map(|(_, c, rate)| {
        let hypothesis = Hypothesis {
            probability: untold * rate / all,
            faulty: vec![c as UnitId],
        };
        // In whatever way: of no mode that the map knows.
        (hypothesis, vec![(c, Vec::new())])
    }));
}

/// P(something is at fault that the ranking clears); `None` before anything was tried in vain since the last run.
fn untold(model: &BoardModel, ranking: &Ranking) -> Option<f64> {
    let (soldered, other) = in_vain(model, ranking);
    let right = SOLDERED_IN_VAIN.powi(soldered) * IN_VAIN.powi(other);
    (soldered + other > 0).then(|| cleared(right))
}

/// Whether the soldered parts that were renewed in vain since the last run leave it as likely as not that the ranking is wrong: then no
/// other is soldered out on its word. What was pulled out of sockets says little here, of ten chips on a line nine are tried in vain.
pub(super) fn lost(model: &BoardModel, ranking: &Ranking) -> bool {
    let (soldered, _) = in_vain(model, ranking);
    cleared(SOLDERED_IN_VAIN.powi(soldered)) > LOST
}

/// P(something is at fault that the ranking clears), from P(what was tried was in vain | the ranking is right).
fn cleared(in_vain: f64) -> f64 {
    UNTOLD / (UNTOLD + (1.0 - UNTOLD) * in_vain)
}

/// Remedies in vain since the last run, and since something changed by a remedy: then the ranking had been right that far, and what is
/// left is another fault. Soldered parts that were renewed, all others.
fn in_vain(model: &BoardModel, ranking: &Ranking) -> (i32, i32) {
    let readings = &ranking.observed.readings;
    let run = readings.iter().map(|r| r.sheet).max();
    let changed = |r: &Reading| match &r.evidence {
        Evidence::Remedy { cured, .. } => *cured != Some(false),
        _ => false,
    };
    let since = readings.iter().rposition(changed).map_or(0, |at| at + 1);
    let soldered = |unit: usize| {
        let position = &model.positions[model.units[unit].position];
        !position.socket && !position.outside
    };
    let mut count = (0, 0);
    for reading in readings[since..].iter().filter(|r| Some(r.sheet) == run) {
        let Evidence::Remedy { units, .. } = &reading.evidence else {
            continue;
        };
        let renewed = |r: &Redone| matches!(r.became, Became::Renewed(_)) && soldered(r.unit);
        match units.iter().any(renewed) {
            true => count.0 += 1,
            false => count.1 += 1,
        }
    }
    count
}

/// Of each part that is still in the machine how probably it was at fault before anything was read.
fn rates(ranking: &Ranking) -> Vec<(usize, f64)> {
    let net = &ranking.assembled.net;
    let rate = |c: usize| -> f64 {
        let of = |s: usize| -> f64 { net.causes[c].modes.iter().map(|m| m.prior[s]).sum() };
        (0..net.settings())
            .map(|s| net.setting_prior(s) * of(s))
            .sum()
    };
    let renewed = |c: usize| ranking.assembled.instances[c].fitted > 0;
    (0..net.causes.len())
        .filter(|&c| ranking.assembled.is_current(c) && !renewed(c))
        .map(|c| (c, rate(c)))
        .collect()
}

/// Minutes of changing a part without soldering; `None` where that cannot be done.
fn minutes(model: &BoardModel, ranking: &Ranking, cause: usize) -> Option<f64> {
    let unit = &model.units[ranking.assembled.place[cause]];
    let position = &model.positions[unit.position];
    let part =
        unit.kind == UnitKind::Part && !matches!(position.class, Class::Connector | Class::Setting);
    let by_hand = part && (position.socket || position.outside);
    by_hand.then(|| costs::remedy(unit, position) + costs::RETEST)
}

#[cfg(test)]
mod tests {
    use super::super::suppose::{Suppositions, suppositions};
    use super::*;
    use crate::next::Ask;
    use crate::sampled::{BLACK, board, ranked};
    use crate::sheet::Action;

    /// What is supposed, with and without what nobody would suppose; names of the latter.
    fn supposed(text: &str) -> (Vec<Supposed>, Vec<Supposed>, Vec<String>) {
        let (model, ranking) = (board(text), ranked(text));
        let Suppositions::Faults(told) = suppositions(&ranking) else {
            panic!("something is at fault");
        };
        let mut all = told.clone();
        with_untold(&model, &ranking, &mut all);
        let name = |s: &Supposed| {
            let place = ranking.assembled.place[s.0.faulty[0] as usize];
            model.units[place].name.clone()
        };
        let names = all[told.len()..].iter().map(name).collect();
        (told, all, names)
    }

    fn sum(of: &[Supposed]) -> f64 {
        of.iter().map(|s| s.0.probability).sum()
    }

    /// Three soldered parts in vain, and the fourth stays in; ten swaps in sockets say less.
    #[test]
    fn after_three_soldered_parts_in_vain_no_other_is_soldered_out() {
        let offered = |more: &str| {
            let all =
                crate::sampled::offered(&format!("{BLACK}{more}"), &crate::next::Bench::default());
            let out = |c: &crate::next::Candidate| {
                // A fuse is changed by hand.
                let (action, fuse) = (Action::Replace, "F1");
                matches!(&c.ask, Ask::Remedy { action: a, unit, .. } if *a == action && unit != fuse)
            };
            (all.iter().filter(|c| out(c)).count(), all.len())
        };
        let vain = |parts: &[&str]| -> String {
            parts
                .iter()
                .map(|p| format!("replaced {p}: no change\n"))
                .collect()
        };
        assert!(offered("").0 > 0);
        assert!(offered(&vain(&["U12", "U11"])).0 > 0);
        let (soldered, all) = offered(&vain(&["U12", "U11", "U10"]));
        assert!(soldered == 0 && all > 0, "{soldered} of {all}");
        let swaps: String = ["U1", "U2", "U3", "U4", "U5", "U7", "U18", "U19"]
            .map(|p| format!("swapped {p}: no change\n"))
            .concat();
        assert!(offered(&swaps).0 > 0);
    }

    /// What was tried in vain speaks against the ranking until something changes: the fault that is left is another one.
    #[test]
    fn what_changed_something_starts_the_count_again() {
        let vain = "swapped U1: no change\nswapped U2: no change\nreplaced U12: no change\n";
        let count = |more: &str| {
            let text = format!("{BLACK}{vain}{more}");
            in_vain(&board(&text), &ranked(&text))
        };
        assert_eq!(count(""), (1, 2));
        let again = "swapped U3: changed\nnew run\npicture ok\nvoice 1 bad\n";
        assert_eq!(count(again), (0, 0));
        assert_eq!(count(&format!("{again}swapped U18: no change\n")), (0, 1));
    }

    #[test]
    fn what_the_map_clears_is_tried_once_something_was_tried_in_vain() {
        let (told, all, _) = supposed(BLACK);
        assert_eq!(told.len(), all.len());
        let mut before = 0.0;
        for vain in ["U12", "U12: no change\nreplaced U11"] {
            let (told, all, names) = supposed(&format!("{BLACK}replaced {vain}: no change\n"));
            // Parts in sockets and outside the board, not what was renewed.
            assert_eq!(names.len(), PARTS, "{names:?}");
            let model = board(BLACK);
            for name in &names {
                let (_, position) = model.position(name).expect("on the board");
                assert!(position.socket || position.outside, "{name}");
            }
            // The more was tried the likelier, and all together no more than everything.
            let (known, untold) = (sum(&all[..told.len()]), sum(&all[told.len()..]));
            assert!(known < sum(&told) && untold > before && known + untold <= 1.0 + 1e-9);
            before = untold;
        }
    }
}
