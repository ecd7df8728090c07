//! Chances that are one chance: what the checks of one fault have in common beyond the fault itself.
//!
//! The network takes what a mode does to its checks as independent. Two things tie them together, and each is put in by
//! splitting the mode into several, exactly, with the same sum of priors:
//!
//! - **severity**: a processor that reads nonsense halts or runs on, and all its address lines stand still or move
//!   together. The weak effects of a mode on probed lines show in order of their strength, all up to some point:
//!   with u uniform in 0..1, line k shows if s_k > u, in steps of two levels.
//! - **part of it**: a map says what needs a function, not which share of it. A fault may strike just the share that one
//!   check uses and not another. So a mode is complete, with the strengths of the map, or partial, with half of them.

use super::network::Assembled;
use crate::faultmap::model::ModeId;
use crate::infer::network::{Check, Effect, Mode, Outcome};

/// Probed lines that a mode must reach weakly for its severity to matter.
const PROBES: usize = 3;
/// Strengths between these are weak: below nothing is lost, above it shows anyhow.
const WEAK: std::ops::Range<f64> = 0.03..0.9;
/// How surely a line shows what the severity brings to it, and what it does not (guess: the map's strengths are not exact).
const SHOWN: f64 = 0.9;
const SPARED: f64 = 0.1;

/// Share of faults that strike only part of what the map says (guess; the simulated bench is insensitive to it between 5
/// and 20 %).
const PARTIAL: f64 = 0.1;
/// How surely a partial fault shows where a complete one shows with certainty.
const HALF: f64 = 0.5;
/// Strength from which on a check counts as one that the mode should show in.
const EXPECTED: f64 = 0.3;

/// What a check is, as far as this matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// A line probed by hand.
    Probe,
    /// A result of the test run.
    Test,
    /// Anything else: memory, whose bits are weighed together elsewhere, the picture, rails, the complaint.
    Other,
}

/// The sort of a check by its identifier.
pub fn sort(id: &str) -> Sort {
    // That a test ran at all, and that the machine does, is no matter of a part of a function.
    let others = [
        "memory", "cells.", "upper.", "video.", "picture.", "complaint", "report", "run", "start-text", "test", "rail.",
        "resistance.",
    ];
    if id.starts_with("line.") {
        Sort::Probe
    } else if others.iter().any(|o| id.starts_with(o)) {
        Sort::Other
    } else {
        Sort::Test
    }
}

/// Splits the modes whose effects hang together.
pub fn split(mut a: Assembled, sorts: &[Sort]) -> Assembled {
    let checks = &a.net.checks;
    for (cause, ids) in a.net.causes.iter_mut().zip(&mut a.modes) {
        let mut out: Vec<(ModeId, Mode)> = Vec::with_capacity(ids.len());
        for (&id, mode) in ids.iter().zip(std::mem::take(&mut cause.modes)) {
            for mode in by_completeness(mode, checks, sorts) {
                out.extend(by_severity(mode, checks, sorts).into_iter().map(|m| (id, m)));
            }
        }
        (*ids, cause.modes) = out.into_iter().unzip();
    }
    a
}

fn strength(e: &Effect) -> f64 {
    e.fail + e.intermittent
}

fn scaled(e: &mut Effect, to: f64) {
    let by = to / strength(e);
    (e.fail, e.intermittent) = (e.fail * by, e.intermittent * by);
}

fn weighted(mut mode: Mode, by: f64) -> Mode {
    mode.prior.iter_mut().for_each(|p| *p *= by);
    mode
}

/// A complete fault and a partial one. Only where some of what the mode should show was seen and some was not: else
/// the partial one adds next to nothing.
fn by_completeness(mode: Mode, checks: &[Check], sorts: &[Sort]) -> Vec<Mode> {
    let expected = |e: &&Effect| sorts[e.check] == Sort::Test && strength(e) >= EXPECTED;
    let seen = |pass: bool| {
        let mut of = mode.effects.iter().filter(expected);
        of.any(|e| checks[e.check].seen.is_some_and(|o| (o == Outcome::Pass) == pass))
    };
    if mode.shows.is_some() || !(seen(true) && seen(false)) {
        return vec![mode];
    }
    let mut partial = weighted(mode.clone(), PARTIAL);
    for e in &mut partial.effects {
        if sorts[e.check] == Sort::Test {
            scaled(e, HALF * strength(e));
        }
    }
    vec![weighted(mode, 1.0 - PARTIAL), partial]
}

/// The mode at its levels of severity.
fn by_severity(mode: Mode, checks: &[Check], sorts: &[Sort]) -> Vec<Mode> {
    let weak = |e: &Effect| {
        sorts[e.check] == Sort::Probe && checks[e.check].seen.is_some() && WEAK.contains(&strength(e))
    };
    let mut levels: Vec<f64> = mode.effects.iter().filter(|e| weak(e)).map(strength).collect();
    if mode.shows.is_some() || levels.len() < PROBES {
        return vec![mode];
    }
    levels.sort_by(f64::total_cmp);
    let middle = 0.5 * (levels[0] + levels[levels.len() - 1]);
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len().max(1) as f64;
    let at = levels.partition_point(|s| *s < middle);
    let (low, high) = (mean(&levels[..at]), mean(&levels[at..]));
    // Nothing of the weak effects, the stronger ones, all: with the means of both levels as their chances.
    let states = [(1.0 - high, f64::INFINITY), (high - low, middle), (low, 0.0)];
    let of = |(share, from): (f64, f64)| {
        let mut at_level = weighted(mode.clone(), share);
        for e in at_level.effects.iter_mut().filter(|e| weak(e)) {
            let s = strength(e);
            scaled(e, if s >= from { SHOWN } else { SPARED * s });
        }
        at_level
    };
    states.into_iter().filter(|s| s.0 > 1e-6).map(of).collect()
}
