//! What the test shows, or the eye, as steps for the planner.

use super::steps::{Candidate, Collector, Row};
use super::{Ask, costs};
use crate::infer::network::Outcome;
use crate::observe::{Aspect, Evidence, SHOWS_NOTHING, TYPED, memory};
use crate::plan::{Condition, Cost, Kind as StepKind, Power, Step};

/// Results of one test run that are put before the planner together: each doubles the outcomes.
const JOINT: usize = 2;

/// The check that a candidate reads.
fn check_of(candidate: &Candidate) -> Option<String> {
    match &candidate.ask {
        Ask::Check { id, .. } => Some(id.clone()),
        _ => None,
    }
}

impl Collector<'_> {
    /// Checks of the test, or by eye, without an outcome yet. What one run of the test shows is read all at once.
    pub(super) fn checks(&mut self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let (mut out, mut shown) = (Vec::new(), Vec::new());
        if !self.may_power() {
            return out;
        }
        // Who sees no picture reads no text.
        let no_picture = self.ranking.observed.readings.iter().any(|r| {
            matches!(&r.evidence, Evidence::Check(c)
                if c.check.starts_with("picture.") && c.outcome != Outcome::Pass)
        });
        let test_shows = self.test_shows();
        let keys_read = self
            .ranking
            .observed
            .read
            .iter()
            .any(|c| c.starts_with("key"));
        let open: Vec<_> = self
            .model
            .checks
            .iter()
            .filter(|c| !c.id.starts_with("rail.") && !self.read(&c.id))
            .cloned()
            .collect();
        for check in open {
            // Without a running test there is nothing to read off it, and a picture state is seen without asking. What memory
            // chips share no test shows by itself.
            if check.id.starts_with("picture.")
                || (check.id == "start-text" && no_picture)
                || memory::shared(&check.id)
                || (check.test && !test_shows)
            {
                continue;
            }
            // One key tells nothing that the keyboard as a whole does not, unless keys are the matter.
            if check.id.starts_with("key.") && !keys_read {
                continue;
            }
            let rows = self.rows(
                &check.reads,
                &[Aspect::Trouble],
                TYPED.false_fail,
                TYPED.missed,
            );
            let worth = self.worth(&rows);
            let mut step = Step::observe(check.minutes, rows);
            step.power = Power::On;
            step.rule = self.waits(gate);
            let of = if check.test { &mut shown } else { &mut out };
            of.push((
                worth,
                Candidate {
                    step,
                    say: match check.test {
                        true => format!("Run the check of {} and note the result.", check.what),
                        false => format!("Look at the machine itself and note: {}.", check.what),
                    },
                    place: format!(
                        "{}: {}",
                        if check.test { "test" } else { "machine" },
                        check.what
                    ),
                    expect: match check.test {
                        true => "passes".into(),
                        false => "as it should be".into(),
                    },
                    hazard: None,
                    outcomes: vec![
                        format!("{} fine", check.what),
                        format!("{} bad", check.what),
                    ],
                    needs: None,
                    ask: Ask::Check {
                        id: check.id.clone(),
                        what: check.what.clone(),
                    },
                },
            ));
        }
        shown.sort_by(|a: &(f64, Candidate), b| b.0.total_cmp(&a.0));
        match shown.len() {
            0 | 1 => out.extend(shown),
            _ => out.extend(self.whole_test(&shown)),
        }
        out
    }

    /// Whether a run of the test would show results: one did, and the newest run is not just a dark screen.
    fn test_shows(&self) -> bool {
        let checks = || {
            self.ranking
                .observed
                .readings
                .iter()
                .filter_map(|r| match &r.evidence {
                    Evidence::Check(c) => Some(c),
                    _ => None,
                })
        };
        let newest = checks().map(|c| c.run).max();
        let in_newest = || checks().filter(|c| Some(c.run) == newest);
        let dark = in_newest()
            .any(|c| c.outcome != Outcome::Pass && SHOWS_NOTHING.contains(&c.check.as_str()));
        let shown = |id: &str| self.model.check(id).is_some_and(|c| c.test);
        self.ranking.observed.test_ran && (!dark || in_newest().any(|c| shown(&c.check)))
    }

    /// One more run of the test for all that it shows. The planner gets the two results that tell most; there is more to see, so
    /// it is worth what the planner thinks or more.
    fn whole_test(&self, shown: &[(f64, Candidate)]) -> Option<(f64, Candidate)> {
        let few: Vec<&Candidate> = shown.iter().take(JOINT).map(|s| &s.1).collect();
        let bad = |c: &Candidate, h: usize| match &c.step.kind {
            StepKind::Observe { rows, .. } => rows[h][1..].iter().sum::<f64>(),
            StepKind::Remedy { .. } => 0.0,
        };
        let outcomes = 1_usize << few.len();
        let row = |h: usize| -> Row {
            let p = |o: usize| {
                let each = few.iter().enumerate().map(|(i, c)| match o >> i & 1 {
                    1 => bad(c, h),
                    _ => 1.0 - bad(c, h),
                });
                each.product()
            };
            (0..outcomes).map(p).collect()
        };
        let rows: Vec<Row> = (0..self.supposed.len()).map(row).collect();
        let words = |o: usize| {
            let bad = few.iter().enumerate().filter(|(i, _)| o >> i & 1 == 1);
            let bad: Vec<&str> = bad.map(|(_, c)| c.outcomes[1].as_str()).collect();
            match bad.is_empty() {
                true => "neither of the first two is bad".into(),
                false => bad.join(", "),
            }
        };
        let (first, ids) = (shown.first()?, shown.iter().filter_map(|s| check_of(&s.1)));
        let telling: Vec<&str> = few
            .iter()
            .filter_map(|c| c.place.strip_prefix("test: "))
            .collect();
        let more = match shown.len() - few.len() {
            0 => String::new(),
            n => format!(", and {n} more"),
        };
        let mut step = first.1.step.clone();
        step.cost = Cost::minutes(costs::READ_TEST);
        step.kind = Step::observe(0.0, rows.clone()).kind;
        let candidate = Candidate {
            step,
            say: "Run the test once more and note every result that is not on the sheet yet."
                .into(),
            place: format!("test: {}{more}", telling.join(", ")),
            expect: "all of it passes".into(),
            hazard: None,
            outcomes: (0..outcomes).map(words).collect(),
            needs: None,
            ask: Ask::Test {
                open: ids.collect(),
            },
        };
        Some((self.worth(&rows), candidate))
    }
}
