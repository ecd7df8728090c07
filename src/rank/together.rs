//! Chances that are one chance: what the checks of one fault have in common beyond the fault itself.
//!
//! The network takes what a mode does to its checks as independent. **Severity** ties them together, and is put in by
//! splitting the mode into several, exactly, with the same sum of priors: a processor that reads nonsense halts or runs on,
//! and all its address lines stand still or move together. The weak effects of a mode on probed lines show in order of
//! their strength, all up to some point: with u uniform in 0..1, line k shows if s_k > u, in steps of two levels.
//!
//! What takes away a supply or a clock knows no degrees: everything behind it stands still, and what is left open is the word that
//! is said of a line (high, low, floating). Those lines show all or none.

use super::network::Assembled;
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::{Check, Effect, Mode, Outcome};

/// Probed lines that a mode must reach weakly for its severity to matter.
const PROBES: usize = 3;
/// Strengths between these are weak: below nothing is lost, above it shows anyhow.
const WEAK: std::ops::Range<f64> = 0.03..0.9;
/// From this share on, of how surely it leaves a line without what moves it, the word for a line that stands still is one that is to be
/// expected (least of these: a bus without power that floats, 0.6 of 0.5; a line that rests and is not as it should be has 0.2, a driven
/// line that floats for want of a clock 0.06).
const WORD: f64 = 0.25;
/// How surely a line shows what the severity brings to it, and what it does not (guess: the map's strengths are not exact).
const SHOWN: f64 = 0.9;
const SPARED: f64 = 0.1;

/// What a check is, as far as this matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// A line probed by hand.
    Probe,
    /// Anything else.
    Other,
}

/// The sort of a check by its identifier.
pub fn sort(id: &str) -> Sort {
    if id.starts_with("line.") {
        Sort::Probe
    } else {
        Sort::Other
    }
}

/// The sort of a check that came out so. A line that only a program moves and that reads wrong is no matter of severity: whether it stands
/// low or high without the program lies with the line, not with what keeps the program from it.
pub fn sort_of(model: &BoardModel, id: &str, outcome: Outcome) -> Sort {
    let by_program = || {
        let name = id.strip_prefix("line.");
        let def = name.and_then(|n| model.lines.iter().find(|l| l.line == n));
        def.is_some_and(|l| !l.moved_by.is_empty())
    };
    match sort(id) {
        Sort::Probe if outcome == Outcome::Fail && by_program() => Sort::Other,
        sort => sort,
    }
}

/// Splits the modes whose effects hang together. `stops_all`: of a mode that takes away a supply or a clock, how surely it leaves a line
/// without what moves it.
pub fn split(
    mut a: Assembled,
    sorts: &[Sort],
    stops_all: impl Fn(ModeId) -> Option<f64>,
) -> Assembled {
    let checks = &a.net.checks;
    for (cause, ids) in a.net.causes.iter_mut().zip(&mut a.modes) {
        let mut out: Vec<(ModeId, Mode)> = Vec::with_capacity(ids.len());
        for (&id, mode) in ids.iter().zip(std::mem::take(&mut cause.modes)) {
            let parts = by_severity(mode, checks, sorts, stops_all(id));
            out.extend(parts.into_iter().map(|m| (id, m)));
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

/// The mode at its levels of severity.
fn by_severity(mode: Mode, checks: &[Check], sorts: &[Sort], stops_all: Option<f64>) -> Vec<Mode> {
    let probed = |e: &Effect| sorts[e.check] == Sort::Probe && checks[e.check].seen.is_some();
    let range = match stops_all {
        Some(most) => (WORD * most).max(WEAK.start)..WEAK.end,
        None => WEAK,
    };
    let weak = |e: &Effect| probed(e) && range.contains(&strength(e));
    let mut levels: Vec<f64> = mode
        .effects
        .iter()
        .filter(|e| weak(e))
        .map(strength)
        .collect();
    if mode.shows.is_some() || levels.len() < PROBES {
        return vec![mode];
    }
    levels.sort_by(f64::total_cmp);
    let middle = 0.5 * (levels[0] + levels[levels.len() - 1]);
    let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len().max(1) as f64;
    let at = levels.partition_point(|s| *s < middle);
    let (low, high) = match stops_all {
        Some(_) => (mean(&levels), mean(&levels)),
        None => (mean(&levels[..at]), mean(&levels[at..])),
    };
    // Nothing of the weak effects, the stronger ones, all: with the means of both levels as their chances.
    let states = [
        (1.0 - high, f64::INFINITY),
        (high - low, middle),
        (low, 0.0),
    ];
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampled::{probability, ranked};
    use crate::shipped::Library;

    /// A rail that is low leaves a line still with 0.7, and a bus that floats for it is called so with 0.21: eight of those lines are one
    /// chance, not eight.
    #[test]
    fn a_low_rail_shows_in_all_lines_of_a_bus_or_in_none() {
        let check = Check {
            run: 0,
            leak_intermittent: 0.0,
            leak_fail: 0.005,
            seen: Some(Outcome::Fail),
        };
        let strengths = [vec![0.7], vec![0.21; 8]].concat();
        let effects = strengths.iter().enumerate().map(|(check, &fail)| Effect {
            check,
            intermittent: 0.0,
            fail,
        });
        let mode = Mode {
            prior: vec![1.0],
            effects: effects.collect(),
            shows: None,
            likelihood: 1.0,
            past: false,
        };
        let checks = vec![check; strengths.len()];
        let sorts = vec![Sort::Probe; strengths.len()];
        let shown = |stops_all: Option<f64>, lines: std::ops::Range<usize>| -> f64 {
            let states = by_severity(mode.clone(), &checks, &sorts, stops_all);
            let total: f64 = states.iter().map(|m| m.prior[0]).sum();
            assert!((total - 1.0).abs() < 1e-12, "{total}");
            let all = states.iter().map(|m| {
                let each = lines.clone().map(|k| strength(&m.effects[k]));
                m.prior[0] * each.product::<f64>()
            });
            all.sum()
        };
        let bus = shown(Some(0.7), 1..9);
        assert!(bus > 0.05, "{bus}");
        // Those of a rail that is gone would be called otherwise.
        assert!(shown(Some(1.0), 1..9) < 1e-4);
        // Each line by itself is described so about as often as its strength says.
        let one = shown(Some(0.7), 1..2);
        assert!((one / 0.21 - 1.0).abs() < 0.4, "{one}");
    }

    #[test]
    fn lines_of_a_program_are_no_matter_of_severity() {
        let model = Library::default()
            .board("64k-6510-narrow")
            .expect("shipped");
        let of = |id, outcome| sort_of(&model, id, outcome);
        assert_eq!(of("line.A3", Outcome::Fail), Sort::Probe);
        assert_eq!(of("line.KB_COL2", Outcome::Fail), Sort::Other);
        assert_eq!(of("line.KB_COL2", Outcome::Pass), Sort::Probe);
        assert_eq!(of("rail.+5V", Outcome::Fail), Sort::Other);
    }

    /// A data line that is held stops the program. Columns that stand still then do not speak against it, though the processor runs on;
    /// by a severity of their own they did, and open legs of a chip that is on no such line led.
    #[test]
    fn columns_that_stand_still_do_not_speak_against_a_held_data_line() {
        let pulsing = [
            "U6.7", "U6.8", "U6.10", "U6.12", "U6.14", "U6.19", "U6.23", "U6.30", "U6.34", "U6.36",
            "U6.37", "U19.8", "U19.11", "U19.12", "U19.13", "U19.14", "U10.8", "U10.11", "U10.12",
            "U10.13", "U10.14", "U7.30", "U7.31", "U8.14", "U8.15",
        ];
        let pulsing: String = pulsing.iter().map(|p| format!("{p} pulsing\n")).collect();
        let r = ranked(&format!(
            "board 64k-6510-narrow\ncame in faulty\nscreen black\ntest does not run\nU1.4 high\nU1.5 high\nU1.6 high\nU22.8 low\n\
             U22.4 low\n{pulsing}"
        ));
        assert!(probability(&r, "U8 joints") < 0.25);
    }
}
