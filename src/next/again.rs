//! A line that read wrong at one leg, read at another: a probe slips, and where the ranking would rather have it so than believe the
//! reading, a second look for two minutes is worth more than a swap. So it is of ohms when parts were renewed in vain since.

use super::Tool;
use super::along::numbered;
use super::steps::{Candidate, Collector, Row};
use crate::faultmap::model::{LineDef, Pin};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use crate::observe::{Became, Evidence, MEASURED, Reading, Redone, board};
use crate::plan::Condition;
use crate::rank::Ranking;
use crate::sheet::Place;

/// So many parts renewed in vain since a reading speak against it.
const TOO_MANY: usize = 2;

/// Whether a reading was not taken yet, or is to be taken again: parts were renewed since, and none was it.
pub(super) fn wanted(ranking: &Ranking, id: &str) -> bool {
    if !ranking.observed.read.contains(id) {
        return true;
    }
    let renewed = |units: &[Redone]| {
        let mut became = units.iter().map(|u| &u.became);
        became.any(|b| matches!(b, Became::Renewed(_)))
    };
    let mut vain = 0;
    for reading in ranking.observed.readings.iter().rev() {
        match &reading.evidence {
            Evidence::Check(c) if c.check == id => break,
            Evidence::Remedy {
                units,
                cured: Some(false),
            } if renewed(units) => vain += 1,
            _ => {}
        }
    }
    vain >= TOO_MANY
}

impl Collector<'_> {
    /// Lines that read wrong at one leg, to be read at another: worth it where the ranking would rather have it that the probe slipped.
    pub(super) fn look_again(&self, tool: Tool, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let again = |def: &LineDef| -> Option<(f64, Candidate)> {
            let (_, places) = self.ranking.observed.probed.get(&def.line)?;
            let [first] = &places[..] else { return None };
            let id = format!("line.{}", def.line);
            let mut readings = self.ranking.observed.readings.iter().rev();
            let read = readings.find_map(|r| match &r.evidence {
                Evidence::Check(c) if c.check == id => Some(c),
                _ => None,
            })?;
            // Nobody slips on one line after the other: where others of its kind read wrong as well, it is no slip.
            if read.outcome != Outcome::Fail || self.wrong_together(&def.line, read.run) {
                return None;
            }
            // P(it reads wrong again): it was true, or the probe slips once more.
            let row = |plain: Row| -> Row {
                let shows = 1.0 - plain[0] / (1.0 - read.leak);
                let really = shows / (shows + (1.0 - shows) * read.leak);
                let fails = really * (1.0 - MEASURED.missed) + (1.0 - really) * MEASURED.false_fail;
                vec![1.0 - fails, fails]
            };
            let rows: Vec<Row> =
                self.rows_of(std::slice::from_ref(&read.effects.to_vec()), read.leak);
            let rows: Vec<Row> = rows.into_iter().map(row).collect();
            let (words, place) = self.another_place(def, first)?;
            let (worth, mut candidate) = self.line_step(def, rows, (words, place), tool, gate);
            candidate.say = format!(
                "{} Again, at another leg: it read wrong at {}.",
                candidate.say,
                board::written(first)
            );
            candidate.outcomes = vec!["as it should be, after all".into(), "wrong again".into()];
            Some((worth, candidate))
        };
        self.model.lines.iter().filter_map(again).collect()
    }

    /// Whether two more lines of the kind of this one read wrong in a run.
    fn wrong_together(&self, line: &str, run: usize) -> bool {
        let Some((kind, _)) = numbered(line) else {
            return false;
        };
        let wrong = |r: &&Reading| {
            let Evidence::Check(c) = &r.evidence else {
                return false;
            };
            let other = c.check.strip_prefix("line.").filter(|l| *l != line);
            c.run == run
                && c.outcome == Outcome::Fail
                && other.and_then(numbered).is_some_and(|(k, _)| k == kind)
        };
        self.ranking.observed.readings.iter().filter(wrong).count() >= 2
    }

    /// Another leg on a line than this one.
    fn another_place(&self, def: &LineDef, first: &Place) -> Option<(String, Place)> {
        let empty = &self.ranking.observed.facts.empty;
        let positions = self.model.positions.iter().enumerate();
        let there =
            positions.filter(|(i, p)| !p.outside && p.name != first.name && !empty.contains_key(i));
        let with = there.filter_map(|(_, p)| {
            let on = |pin: &&Pin| pin.line.as_deref() == Some(&def.line);
            Some((p.class == Class::Connector, p, p.pins.iter().find(on)?))
        });
        let (_, p, pin) = with.min_by_key(|w| w.0)?;
        let place = Place {
            name: p.name.clone(),
            pin: Some(pin.label.to_string()),
        };
        Some((format!("{} pin {}", p.name, pin.label), place))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Ask, Bench};
    use super::*;
    use crate::plan::Kind;
    use crate::sampled::{BLACK, offered};

    /// Lines that are proposed to be read again, with the part whose leg is touched.
    fn again(text: &str) -> Vec<(String, String)> {
        let all = offered(text, &Bench::default());
        let of = |c: &Candidate| match (&c.ask, &c.step.kind) {
            (Ask::Line { line, place }, Kind::Observe { rows, .. }) if c.say.contains("Again") => {
                assert!(
                    rows.iter()
                        .all(|r| (r.iter().sum::<f64>() - 1.0).abs() < 1e-9)
                );
                Some((line.clone(), place.name.clone()))
            }
            _ => None,
        };
        all.iter().filter_map(of).collect()
    }

    #[test]
    fn a_line_that_reads_wrong_among_others_that_do_not_is_read_at_another_leg() {
        let others = "U7.10 pulsing\nU7.12 pulsing\nU7.7 pulsing\nU7.8 pulsing\n";
        let once = again(&format!("{BLACK}U7.11 low\n{others}"));
        let of = once.iter().find(|a| a.0 == "A4").expect("offered");
        assert_ne!(of.1, "U7");
        // Read at two legs it is believed.
        let twice = again(&format!("{BLACK}U7.11 low\n{others}U26.16 low\n"));
        assert!(twice.iter().all(|a| a.0 != "A4"), "{twice:?}");
        // Nobody slips three times in a row.
        let many = again(&format!("{BLACK}U7.11 low\nU7.10 low\nU7.12 low\n"));
        assert!(many.is_empty(), "{many:?}");
    }

    /// Ohms that cleared a part are not believed for ever.
    #[test]
    fn ohms_are_measured_again_when_parts_were_renewed_in_vain() {
        let told = |more: &str| {
            let ranking = crate::sampled::ranked(&format!("{BLACK}{more}"));
            wanted(&ranking, "ohms.FB4.open")
        };
        let (once, twice) = ("replaced U12: no change\n", "replaced U11: no change\n");
        assert!(told(""));
        assert!(!told("ohms across FB4 ok\n"));
        assert!(!told(&format!(
            "ohms across FB4 ok\n{once}cleaned U17: no change\n"
        )));
        assert!(told(&format!("ohms across FB4 ok\n{once}{twice}")));
        assert!(!told(&format!("{once}{twice}ohms across FB4 ok\n")));
    }
}
