//! Lines that only a running program moves, on a machine on which the test does not run: ten of them that stand still are one piece of
//! evidence that the program does not come there, not ten. Taken as ten, chips that keep a few of them still by themselves
//! would explain them one by one.
//!
//! What moves them and the level at which they stand make a group; a group is one reading with, mode by mode, the smallest strength
//! of its lines, at the place of the first. What keeps a single line of a group still explains nothing: it would stand still anyhow.
//! A line that stands at the other level stays a reading of its own.
//!
//! So it is with those that move: ten of them are one piece of evidence that the program comes there, with, mode by mode, the largest
//! strength of its lines.

use super::again::join;
use super::levels::unset;
use super::{Aspect, Evidence, MEASURED, Observer, Reading, SHOWS_NOTHING};
use crate::faultmap::model::ModeId;
use crate::faultmap::raw::Expect;
use crate::infer::network::Outcome;
use std::collections::{BTreeMap, HashMap};

/// P(lines of a group err together, given that one errs): that they stand still though nothing that is modelled keeps them so, of the false-fail
/// rate of one, and that none shows what keeps all of them still, of what is missed of one (guesses, as for keys).
const TOGETHER: f64 = 0.01;

/// What moves a line, by node, and how it stands; `None`: it moves, or stands where the program puts it.
type Group = (Vec<u32>, Option<Aspect>);

impl Observer<'_> {
    /// Sums up the levels of this run that stand still for want of a program, and those that do not.
    pub(super) fn standing_still(&mut self) {
        if !self.program_stopped() {
            return;
        }
        let mut gone = Vec::new();
        for (how, members) in self.groups() {
            match how {
                Some(_) => members[1..]
                    .iter()
                    .for_each(|&at| self.join(members[0], at)),
                None => self.all_pass(&members),
            }
            gone.extend_from_slice(&members[1..]);
        }
        gone.sort_unstable();
        let mut at = 0;
        self.out.readings.retain(|_| {
            at += 1;
            gone.binary_search(&(at - 1)).is_err()
        });
    }

    /// Readings that belong together, each group in the order in which they were typed, and how its lines stand.
    fn groups(&self) -> Vec<(Option<Aspect>, Vec<usize>)> {
        let mut open: HashMap<Group, usize> = HashMap::new();
        let mut groups: Vec<(Option<Aspect>, Vec<usize>)> = Vec::new();
        for (at, reading) in self.out.readings.iter().enumerate() {
            if !matches!(reading.evidence, Evidence::Check(_) | Evidence::Unit { .. }) {
                // What was read before a remedy speaks of the parts before it.
                open.clear();
            }
            let Some(group) = self.by_program(reading) else {
                continue;
            };
            let how = group.1;
            let index = *open.entry(group).or_insert_with(|| {
                groups.push((how, Vec::new()));
                groups.len() - 1
            });
            groups[index].1.push(at);
        }
        groups
    }

    /// Whether this run shows that no program came to its results.
    fn program_stopped(&self) -> bool {
        let mut stopped = false;
        for reading in &self.out.readings {
            let Evidence::Check(c) = &reading.evidence else {
                continue;
            };
            let ran = c.outcome == Outcome::Pass;
            match c.check.as_str() {
                "report" | "run" if c.run == self.run && ran => return false,
                "report" if c.run == self.run => stopped = true,
                dark if c.run == self.run && !ran => stopped |= SHOWS_NOTHING.contains(&dark),
                _ => {}
            }
        }
        stopped
    }

    /// The group of a level of this run on a line that only a program moves.
    fn by_program(&self, reading: &Reading) -> Option<Group> {
        let Evidence::Check(c) = &reading.evidence else {
            return None;
        };
        let line = c.check.strip_prefix("line.")?;
        let def = self.model.lines.iter().find(|l| l.line == line)?;
        if c.run != self.run || def.moved_by.is_empty() {
            return None;
        }
        let moved_by = def.moved_by.iter().map(|r| r.node).collect();
        if c.outcome == Outcome::Pass {
            return Some((moved_by, None));
        }
        let (run, how) = *self.stands.get(line)?;
        let still = matches!(
            how,
            Aspect::Dead | Aspect::Low | Aspect::High | Aspect::Floating
        );
        let by_it = def.expect == Expect::Pulsing || unset(def, how);
        let fails = c.outcome == Outcome::Fail && run == self.run;
        (fails && still && by_it).then_some((moved_by, Some(how)))
    }

    /// Joins a reading to an earlier one.
    fn join(&mut self, first: usize, later: usize) {
        let (before, from) = self.out.readings.split_at_mut(later);
        let (one, other) = (&mut before[first], &from[0]);
        let (Evidence::Check(c), Evidence::Check(new)) = (&mut one.evidence, &other.evidence)
        else {
            return;
        };
        let least = TOGETHER * c.leak.max(new.leak);
        join((c, &mut one.text), (new, &other.text));
        c.leak = c.leak.max(least);
    }

    /// Makes one reading of these, which passed, at the place of the first.
    fn all_pass(&mut self, members: &[usize]) {
        let mut by_mode: BTreeMap<ModeId, Vec<f64>> = BTreeMap::new();
        let (mut leak, mut texts) = (0.0_f64, Vec::new());
        for &at in members {
            let reading = &self.out.readings[at];
            texts.push(reading.text.clone());
            if let Evidence::Check(c) = &reading.evidence {
                leak = leak.max(c.leak);
                for &(mode, strength) in c.effects.iter() {
                    by_mode.entry(mode).or_default().push(strength);
                }
            }
        }
        let effects = by_mode.iter().map(|(mode, all)| (*mode, in_any(all)));
        let first = &mut self.out.readings[members[0]];
        first.text = texts.join("; ");
        if let Evidence::Check(c) = &mut first.evidence {
            (c.leak, c.effects) = (leak, effects.collect());
        }
    }
}

/// How surely something shows in one of several lines that hang together, from how surely it does in each: it does in all or in none,
/// with the largest weight w, and is missed where it shows only by as many slips as there are lines in which it is about as sure,
///
/// s = w (1 − m^n), m^n not below [`TOGETHER`] of m
fn in_any(strengths: &[f64]) -> f64 {
    let m = MEASURED.missed;
    let most = strengths.iter().fold(0.0_f64, |x, &y| x.max(y));
    let n = strengths.iter().filter(|s| **s >= most / 2.0).count();
    let slips = m.powi(n as i32).max(TOGETHER * m);
    (most / (1.0 - m)).min(1.0) * (1.0 - slips)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampled::{BLACK, probability, ranked};

    const STILL: &str = "U1.2 high\nU1.3 high\nU1.4 high\nU1.5 high\nU1.6 high\n";

    const BOARD: &str = "board 64k-6510-wide\ncame in faulty\n";

    /// What counts of lines that fail.
    fn lines(sheet: &str) -> Vec<String> {
        let r = ranked(&format!("{BOARD}{sheet}"));
        let readings = r.observed.readings.iter();
        let of_lines = readings.filter(|r| match &r.evidence {
            Evidence::Check(c) => c.check.starts_with("line.") && c.outcome == Outcome::Fail,
            _ => false,
        });
        of_lines.map(|r| r.text.clone()).collect()
    }

    #[test]
    fn columns_that_stand_still_on_a_dark_screen_are_one_reading() {
        let dark = format!("black screen\n{STILL}");
        assert_eq!(lines(&dark).len(), 1, "{:?}", lines(&dark));
        // As they are typed before it is said that the test does not run.
        let after = format!("{STILL}test does not run\n");
        assert_eq!(lines(&after).len(), 1, "{:?}", lines(&after));
        // One stands otherwise, and one moves without a program.
        let more = lines(&format!("{dark}U1.7 low\nU7.7 high\n"));
        assert_eq!(more.len(), 3, "{more:?}");
    }

    /// The serial lines of the narrow board are set by the system.
    #[test]
    fn lines_that_no_program_set_are_one_reading() {
        let serial = "board 64k-6510-narrow\ncame in faulty\nblack screen\nU22.8 low\nU22.4 low\nU22.12 low\n";
        let r = ranked(serial);
        let low = |r: &&Reading| matches!(&r.evidence, Evidence::Check(c) if c.check.starts_with("line.SER"));
        assert_eq!(r.observed.readings.iter().filter(low).count(), 1);
        // Low or not, the driver is no more suspect than it is on a dark machine.
        let without = ranked("board 64k-6510-narrow\ncame in faulty\nblack screen\n");
        assert!(probability(&r, "U22") < 2.0 * probability(&without, "U22"));
    }

    /// Four columns that move say no more than one against what keeps the program from all of them; each clears what would stop it alone.
    #[test]
    fn columns_that_move_are_one_reading() {
        let moving = |n: usize| -> String {
            (2..2 + n)
                .map(|pin| format!("U1.{pin} pulsing\n"))
                .collect()
        };
        let passing = |sheet: &str| {
            let r = ranked(&format!("{BOARD}{sheet}"));
            let of = |r: &&Reading| {
                matches!(&r.evidence, Evidence::Check(c)
                    if c.check.starts_with("line.KB_COL") && c.outcome == Outcome::Pass)
            };
            r.observed.readings.iter().filter(of).count()
        };
        assert_eq!(passing(&format!("black screen\n{}", moving(4))), 1);
        assert_eq!(passing(&format!("picture normal\n{}", moving(4))), 4);
        let of = |n: usize, unit: &str| {
            let all = ranked(&format!("{BLACK}{}", moving(n)));
            probability(&all, unit)
        };
        let (none, one, four) = (of(0, "U7"), of(1, "U7"), of(4, "U7"));
        // One may be a slip of the probe, four are none; yet they are no four denials.
        let (by_one, by_three) = (one / none, four / one);
        assert!(by_one < 0.3, "{none} {one}");
        assert!(
            by_three < 0.8 && by_three > 10.0 * by_one.powi(3),
            "{one} {four}"
        );
    }

    #[test]
    fn what_shows_in_any_of_several_is_missed_by_as_many_slips() {
        let m = MEASURED.missed;
        assert!((in_any(&[0.4]) - 0.4).abs() < 1e-12);
        // Half sure that it shows in both: not seen in either half the time, and by two slips.
        let both = in_any(&[0.5 * (1.0 - m), 0.5 * (1.0 - m)]);
        assert!((both - 0.5 * (1.0 - m * m)).abs() < 1e-12);
        // What would hardly show in the other is missed by one.
        let one = in_any(&[1.0 - m, 0.1]);
        assert!((one - (1.0 - m)).abs() < 1e-12);
        assert!((in_any(&[1.0 - m; 9]) - (1.0 - TOGETHER * m)).abs() < 1e-12);
    }

    #[test]
    fn on_a_machine_that_ran_its_test_each_line_speaks_for_itself() {
        for ran in ["memory ok\n", "picture normal\n", "rest fine\n"] {
            assert_eq!(lines(&format!("{STILL}{ran}")).len(), 5, "{ran}");
        }
        // What was read before a swap speaks of the chip before it.
        let swapped = "black screen\nU1.2 high\nU1.3 high\nswapped U1: no change\nU1.4 high\n";
        assert_eq!(lines(swapped).len(), 2);
        // And what the run before showed, of the run before.
        let runs = "black screen\nU1.2 high\nnew run\nblack screen\nU1.3 high\n";
        assert_eq!(lines(runs).len(), 2);
    }

    #[test]
    fn what_keeps_all_of_them_still_is_accused_whatever_their_number() {
        let of = |levels: &str, unit| probability(&ranked(&format!("{BLACK}{levels}")), unit);
        let (one, five) = ("U1.2 high\n", STILL);
        // Five lines are no surer a sign than one that the processor does not run, and no chip of its own is invented for each.
        let (before, with) = (of(one, "U7"), of(five, "U7"));
        assert!((with / before).ln().abs() < 0.4, "{before} {with}");
        // Nor is the chip that drives them accused five times.
        assert!(of(five, "U1") < 1.2 * of(one, "U1"));
        // What keeps one column alone explains less than before.
        assert!(of(five, "CN1") <= of(one, "CN1") + 1e-9);
    }
}
