//! The same line read at another leg in the same run: a slipped probe, a wrong pin and a misread lamp do not happen twice in the same
//! way. It is one reading then, that hardly errs, not two that are independent given the fault: what leaves a line still does so at
//! every leg.

use super::{CheckReading, Effects, Evidence, Observer};
use crate::infer::network::Outcome;
use crate::sheet::Place;
use std::collections::BTreeMap;

impl Observer<'_> {
    /// A level was read at this place; the readings from `first` on are of it.
    pub(super) fn probed(&mut self, line: &str, place: &Place, first: usize) {
        let run = self.run;
        let before = self.out.probed.get(line).filter(|p| p.0 == run);
        let Some((_, places)) = before else {
            let here = (run, vec![place.clone()]);
            self.out.probed.insert(line.to_string(), here);
            return;
        };
        if places.contains(place) {
            return;
        }
        self.read_again(first);
        if let Some((_, places)) = self.out.probed.get_mut(line) {
            places.push(place.clone());
        }
    }

    /// Joins the readings from `first` on with failing ones of the same checks of this run.
    fn read_again(&mut self, first: usize) {
        let run = self.run;
        let mut later = self.out.readings.split_off(first);
        later.retain(|r| {
            let Evidence::Check(new) = &r.evidence else {
                return true;
            };
            let same = self.out.readings.iter_mut().find_map(|old| {
                let Evidence::Check(c) = &mut old.evidence else {
                    return None;
                };
                let same = c.run == run && c.check == new.check && c.outcome == new.outcome;
                (same && c.outcome == Outcome::Fail).then_some((c, &mut old.text))
            });
            let Some((old, text)) = same else {
                return true;
            };
            join((old, text), (new, &r.text));
            false
        });
        self.out.readings.append(&mut later);
    }
}

/// Makes one reading of two, with their texts: what shows in both, and both would have to be slips.
pub(super) fn join(one: (&mut CheckReading, &mut String), other: (&CheckReading, &str)) {
    let ((c, text), (new, more)) = (one, other);
    c.leak *= new.leak;
    c.effects = both(&c.effects, &new.effects);
    text.push_str("; ");
    text.push_str(more);
}

/// What shows in both readings.
fn both(one: &Effects, other: &Effects) -> Effects {
    let other: BTreeMap<_, f64> = other.iter().copied().collect();
    (one.iter())
        .filter_map(|&(mode, s)| Some((mode, s.min(*other.get(&mode)?))))
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::rank::Ranking;
    use crate::sampled::{BLACK, probability, ranked};

    const A4_LOW: &str = "U7.11 low\nU7.10 pulsing\nU7.12 pulsing\nU7.7 pulsing\nU7.8 pulsing\n";

    /// What can hold A4 low: the units that have a mode which does.
    fn holders(r: &Ranking) -> f64 {
        probability(r, "U7") + probability(r, "U26")
    }

    #[test]
    fn a_level_that_was_read_at_two_legs_is_hardly_a_slip() {
        let once = ranked(&format!("{BLACK}{A4_LOW}"));
        let twice = ranked(&format!("{BLACK}{A4_LOW}U26.16 low\n"));
        assert!(
            holders(&twice) > 0.8 && holders(&twice) > 1.5 * holders(&once),
            "{} {}",
            holders(&once),
            holders(&twice)
        );
        // One reading, of which both lines are told.
        let count = |r: &Ranking| r.observed.readings.len();
        assert_eq!(count(&once), count(&twice));
        let told =
            |r: &&crate::observe::Reading| r.text.contains("U7.11") && r.text.contains("U26.16");
        assert_eq!(twice.observed.readings.iter().filter(told).count(), 1);
    }

    /// Read at the same leg again, in another run, or as something else it is a reading of its own.
    #[test]
    fn only_the_same_level_of_the_same_run_at_another_leg_is_joined() {
        let count = |text: &str| {
            ranked(&format!("{BLACK}{A4_LOW}{text}"))
                .observed
                .readings
                .len()
        };
        let one = count("");
        assert_eq!(count("U7.11 low\n"), one + 1);
        assert_eq!(count("U26.16 pulsing\n"), one + 1);
        assert_eq!(count("new run\nU26.16 low\n"), one + 1);
    }
}
