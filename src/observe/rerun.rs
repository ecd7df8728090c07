//! The same check in another run of the same machine: a steady fault does again what it did before.
//!
//! That a fault shows in a check with probability s is, for most faults, not chance but want of knowledge: a dead chip blanks the
//! screen of this board or it does not, each time alike. So two runs are not two trials. Given how a mode came out before, its
//! second outcome is another one only with the share [`OTHERWISE`] of what it would be by itself:
//!
//! P(fails | failed) = 1 − r (1 − s), P(fails | did not show) = r s.
//!
//! Written into the strengths: passing again clears the rest only, failing again accuses no more than once, and of a check that
//! failed in one run and passed in the other what stood unchanged explains the failure hardly, so that what was changed between
//! has it. Faults that come and go are left as they are, and so are levels at a probe: what a processor in nonsense moves differs
//! from one power-on to the next.

use super::{CheckReading, Effects, Evidence, Observer, Reading};
use crate::faultmap::model::ModeId;
use crate::infer::network::Outcome;
use std::collections::{HashMap, HashSet};

/// How often a steady fault does otherwise in another run, of what it would by itself (a guess).
const OTHERWISE: f64 = 0.25;

impl Observer<'_> {
    /// Ties the readings of each check to the one in an earlier run.
    pub(super) fn runs_hang_together(&mut self) {
        if self.run < 2 {
            return;
        }
        let mut last: HashMap<String, (usize, usize)> = HashMap::new();
        for at in 0..self.out.readings.len() {
            let Some(c) = steady(&self.out.readings[at]) else {
                continue;
            };
            let (check, run) = (c.check.clone(), c.run);
            match last.insert(check, (at, run)) {
                Some((before, earlier)) if earlier < run => self.tie(before, at),
                _ => {}
            }
        }
    }

    fn tie(&mut self, before: usize, at: usize) {
        let handled = self.handled_between(before, at);
        let stands = |mode: ModeId| {
            let mode = &self.model.modes[mode as usize];
            let position = self.model.units[mode.unit as usize].position;
            mode.flaky.is_none() && !handled.contains(&position)
        };
        let passed = |at: usize| steady(&self.out.readings[at]).map(|c| c.outcome == Outcome::Pass);
        let (first, second) = (passed(before), passed(at));
        // Of a failure and a pass the failure is what nothing unchanged explains.
        let tied = match (first, second) {
            (Some(false), Some(true)) => before,
            _ => at,
        };
        let failed_twice = first == second && second == Some(false);
        let Evidence::Check(c) = &mut self.out.readings[tied].evidence else {
            return;
        };
        let again = |&(mode, s): &(ModeId, f64)| {
            let s = match (stands(mode), failed_twice) {
                (false, _) => s,
                (true, true) => 1.0 - OTHERWISE * (1.0 - s),
                (true, false) => OTHERWISE * s,
            };
            (mode, s)
        };
        c.effects = c.effects.iter().map(again).collect::<Effects>();
    }

    /// Positions at which something was done between two readings.
    fn handled_between(&self, before: usize, at: usize) -> HashSet<usize> {
        let place = |r: &Reading| (r.sheet, r.line);
        let (from, to) = (
            place(&self.out.readings[before]),
            place(&self.out.readings[at]),
        );
        let between = self.handled.iter().filter(|h| from <= h.0 && h.0 <= to);
        between.map(|h| h.1).collect()
    }
}

/// The check of a reading of which a steady fault does again what it did.
fn steady(reading: &Reading) -> Option<&CheckReading> {
    match &reading.evidence {
        Evidence::Check(c) if !c.looped && !c.check.starts_with("line.") => Some(c),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::sampled::{probability, ranked};

    const BLACK: &str = "board 64k-6510-wide\ncame in faulty\nblack screen\n";

    #[test]
    fn the_same_failure_in_another_run_says_nothing_new() {
        let once = ranked(BLACK);
        let often = ranked(&format!(
            "{BLACK}new run\nblack screen\nnew run\nblack screen\n"
        ));
        for unit in ["U17", "U19", "U10", "ADAPTER"] {
            let (one, more) = (probability(&once, unit), probability(&often, unit));
            assert!((one / more).ln().abs() < 0.15, "{unit}: {one} {more}");
        }
    }

    #[test]
    fn what_was_changed_between_has_what_is_gone() {
        let u19 = |text: &str| probability(&ranked(&format!("{BLACK}{text}")), "U19");
        let (before, gone) = (u19(""), u19("swapped U19\nnew run\npicture no text\n"));
        assert!(gone > 1.4 * before, "{before} {gone}");
        // Without the swap there is only what comes and goes, and what fails still with another chip in is not its.
        let by_itself = u19("new run\npicture no text\n");
        assert!(by_itself < 1.2 * before, "{by_itself} {before}");
        assert!(u19("swapped U19\nnew run\nblack screen\n") < 0.8 * before);
    }
}
