//! Tests by hand that are no measurement: a good chip held on top of a suspect one, cold spray.

use super::steps::{Candidate, Collector, LIVE, Row};
use super::{Ask, Tool, costs};
use crate::faultmap::model::UnitKind;
use crate::faultmap::raw::Class;
use crate::plan::{Condition, Power, Step};
use crate::sheet::Action;
use std::collections::BTreeSet;

impl Collector<'_> {
    /// What can only be done by hand: a good chip held on top of a suspect one, cold spray.
    pub(super) fn by_hand(&self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let mut out = Vec::new();
        if !self.may_power() {
            return out;
        }
        let causes: BTreeSet<usize> = (self.supposed.iter())
            .flat_map(|(_, faults)| faults.iter().map(|f| f.0))
            .collect();
        for cause in causes {
            let unit = &self.model.units[self.ranking.assembled.place[cause]];
            let position = &self.model.positions[unit.position];
            let chip = (position.class as u8) < Class::Fuse as u8;
            if unit.kind != UnitKind::Part || position.outside || !chip {
                continue;
            }
            let part = position.part_type.clone().unwrap_or_default();
            if position.class == Class::Memory
                && !position.socket
                && self.ranking.observed.test_ran
                && self.bench.has_part(&part)
            {
                let say = format!(
                    "Switch off, press a good {part} onto the back of {}, pin on pin and the same way round, and run the test again.",
                    position.name
                );
                let trial = self.trial(cause, (0.02, 0.4), costs::PIGGYBACK, say, Some(part), gate);
                out.push(asking(Action::Piggyback, trial));
            }
            if self.comes_and_goes(cause) && self.bench.has_one_of(&[Tool::Spray]) {
                let say = format!(
                    "When the fault shows, cool {} with a short burst of cold spray and watch whether it goes away.",
                    position.name
                );
                let needs = Some(Tool::Spray.to_string());
                let trial = self.trial(cause, (0.05, 0.3), costs::COOL, say, needs, gate);
                out.push(asking(Action::Cool, trial));
            }
        }
        out
    }

    /// A test by hand of one unit, seen by whether the fault changes; P(it does) when the unit is fine, and when it is not.
    fn trial(
        &self,
        cause: usize,
        (fine, faulty): (f64, f64),
        minutes: f64,
        say: String,
        needs: Option<String>,
        gate: &[Condition],
    ) -> (f64, Candidate) {
        let rows: Vec<Row> = (self.supposed.iter())
            .map(|(_, faults)| {
                let at_fault = faults.iter().any(|f| f.0 == cause);
                let changes = if at_fault { faulty } else { fine };
                vec![1.0 - changes, changes]
            })
            .collect();
        let worth = self.worth(&rows);
        let unit = &self.model.units[self.ranking.assembled.place[cause]];
        let position = &self.model.positions[unit.position];
        let mut step = Step::observe(minutes, rows);
        step.power = Power::On;
        step.rule = self.waits(gate);
        let candidate = Candidate {
            step,
            say,
            place: format!("{}, {}", position.name, position.role),
            expect: "no change, if it is sound".into(),
            hazard: Some(LIVE.into()),
            outcomes: vec!["no change".into(), "the fault changes".into()],
            needs,
            ask: Ask::remedy(self.model, self.ranking.assembled.place[cause]),
        };
        (worth, candidate)
    }

    /// Whether a cause is most probably in a mode that comes and goes.
    fn comes_and_goes(&self, cause: usize) -> bool {
        let a = &self.ranking.assembled;
        let modes = || a.now(&self.ranking.posterior, cause);
        let flaky = modes().filter(|m| self.model.modes[m.0 as usize].flaky.is_some());
        2.0 * flaky.map(|m| m.1).sum::<f64>() > self.ranking.still(cause)
    }
}

/// What a trial asks for: what came of this at the place of the unit.
fn asking(done: Action, (worth, mut candidate): (f64, Candidate)) -> (f64, Candidate) {
    if let Ask::Remedy { action, .. } = &mut candidate.ask {
        *action = done;
    }
    (worth, candidate)
}
