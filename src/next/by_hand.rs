//! Tests by hand that are no measurement: a good chip held on top of a suspect one, a good part held across one of two legs, one leg
//! soldered out, cold spray.

use super::steps::{Candidate, Collector, LIVE, Row};
use super::{Ask, Tool, costs};
use crate::faultmap::model::{ModeId, Position, UnitKind};
use crate::faultmap::raw::{Across, Class};
use crate::observe::ohms::modes_across;
use crate::observe::{holds, odds};
use crate::plan::{Condition, Power, Step};
use crate::sheet::{Action, Place};
use std::collections::{BTreeMap, BTreeSet};

/// P(a part holds a line) from which on a leg is worth lifting.
const MAY_HOLD: f64 = 0.02;

/// A line that a part may hold low or high.
struct Holds<'m> {
    cause: usize,
    pin: &'m str,
    line: &'m str,
    modes: Vec<ModeId>,
}

impl Collector<'_> {
    /// What can only be done by hand.
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
            if position.class == Class::Memory && !position.socket && self.bench.has_part(&part) {
                let then = match self.ranking.observed.test_ran {
                    true => "run the test again",
                    false => "look whether anything changes",
                };
                let say = format!(
                    "Switch off, press a good {part} onto the back of {}, pin on pin and the same way round, and {then}.",
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
        out.extend(self.bridges(gate));
        out.extend(self.lifts(gate));
        out
    }

    /// A good capacitor or crystal held across a suspect one.
    fn bridges(&self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let bridge = |cause: usize| -> Option<(f64, Candidate)> {
            let (unit, index, position) = self.part_of(cause)?;
            if !matches!(position.class, Class::Capacitor | Class::Clock) {
                return None;
            }
            let modes = modes_across(self.model, index, Across::Open);
            let value = position.value.clone().or(position.part_type.clone())?;
            let has = self.bench.parts.is_none() || self.bench.has_part(&value);
            if modes.is_empty() || !has {
                return None;
            }
            let say = format!(
                "Switch off, hold a good {value} across {} ({}), the same way round if it has one, switch on and look whether the fault \
                 changes.",
                position.name, position.role
            );
            let minutes = costs::BRIDGE;
            let (worth, mut candidate) =
                self.of_modes(cause, &modes, odds::BRIDGED, minutes, say, gate);
            candidate.needs = Some(value);
            candidate.hazard = Some(format!(
                "discharge capacitors first, and never on the mains side; {LIVE}"
            ));
            candidate.ask = Ask::Remedy {
                unit: self.model.units[unit].name.clone(),
                action: Action::Bridge,
                place: Place {
                    name: position.name.clone(),
                    pin: None,
                },
                seen: true,
            };
            Some((worth, candidate))
        };
        self.causes().into_iter().filter_map(bridge).collect()
    }

    /// One leg of a soldered part out of the board, where another part may hold the same line as well.
    fn lifts(&self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let causes = self.causes();
        // Who may hold which line, with which modes and how probably.
        let mut lines: BTreeMap<&str, Vec<Holds>> = BTreeMap::new();
        for &cause in &causes {
            for holds in self.held_by(cause) {
                lines.entry(holds.line).or_default().push(holds);
            }
        }
        let mut out = Vec::new();
        for holds in lines.into_values().filter(|h| h.len() > 1) {
            out.extend(holds.iter().filter_map(|h| self.lift(h, gate)));
        }
        out
    }

    fn lift(&self, h: &Holds, gate: &[Condition]) -> Option<(f64, Candidate)> {
        let (unit, _, position) = self.part_of(h.cause)?;
        if position.socket {
            return None;
        }
        let say = format!(
            "Switch off, solder leg {} of {} ({}) out of its hole and bend it up, switch on and look whether the line moves now or the \
             fault changes; solder it in again afterwards.",
            h.pin, position.name, h.line
        );
        let (worth, mut candidate) =
            self.of_modes(h.cause, &h.modes, odds::LIFTED, costs::LIFT_LEG, say, gate);
        candidate.step.cost.hazard = costs::LIFT_LEG_HAZARD;
        candidate.place = format!("{} pin {}, line {}", position.name, h.pin, h.line);
        candidate.expect = "no change, if another part holds the line".into();
        candidate.ask = Ask::Remedy {
            unit: self.model.units[unit].name.clone(),
            action: Action::Lift,
            place: Place {
                name: position.name.clone(),
                pin: Some(h.pin.to_string()),
            },
            seen: true,
        };
        Some((worth, candidate))
    }

    /// The lines that a part may hold low or high, most probable first, and only those worth a look.
    fn held_by(&self, cause: usize) -> Vec<Holds<'_>> {
        let Some((_, index, position)) = self.part_of(cause) else {
            return Vec::new();
        };
        let a = &self.ranking.assembled;
        // One that is split in two, by what it does in each run say, stands there twice.
        let mut now: BTreeMap<ModeId, f64> = BTreeMap::new();
        for (mode, p) in a.now(&self.ranking.posterior, cause) {
            *now.entry(mode).or_default() += p;
        }
        let mut out: Vec<Holds> = Vec::new();
        for pin in &position.pins {
            let Some(line) = pin.line.as_deref() else {
                continue;
            };
            let modes = holds(self.model, index, &pin.label);
            let probability: f64 = modes.iter().filter_map(|m| now.get(m)).sum();
            if probability >= MAY_HOLD && !self.model.rails.values().any(|r| r.line == line) {
                out.push(Holds {
                    cause,
                    pin: &pin.label,
                    line,
                    modes,
                });
            }
        }
        out
    }

    fn causes(&self) -> BTreeSet<usize> {
        (self.supposed.iter())
            .flat_map(|(_, faults)| faults.iter().map(|f| f.0))
            .collect()
    }

    /// The part on the board that a cause is: its unit, position.
    fn part_of(&self, cause: usize) -> Option<(usize, usize, &Position)> {
        let unit = self.ranking.assembled.place[cause];
        let u = &self.model.units[unit];
        let position = &self.model.positions[u.position];
        let current = self.ranking.assembled.is_current(cause);
        (u.kind == UnitKind::Part && !position.outside && current)
            .then_some((unit, u.position, position))
    }

    /// A test by hand that some modes of a part show in: P(no change), P(change) without and with one of them.
    fn of_modes(
        &self,
        cause: usize,
        modes: &[ModeId],
        [_, (without, with)]: [(f64, f64); 2],
        minutes: f64,
        say: String,
        gate: &[Condition],
    ) -> (f64, Candidate) {
        let a = &self.ranking.assembled;
        let row = |faults: &[(usize, super::suppose::Modes)]| -> Row {
            let share: f64 = (faults.iter())
                .filter(|f| f.0 == cause)
                .flat_map(|f| &f.1)
                .filter(|(m, _)| modes.contains(&a.modes[cause][*m]))
                .map(|(_, share)| share)
                .sum();
            let changes = without + (with - without) * share.min(1.0);
            vec![1.0 - changes, changes]
        };
        let rows: Vec<Row> = (self.supposed.iter())
            .map(|(_, faults)| row(faults))
            .collect();
        self.by_change(cause, rows, minutes, say, gate)
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
        let (worth, mut candidate) = self.by_change(cause, rows, minutes, say, gate);
        candidate.needs = needs;
        (worth, candidate)
    }

    /// A test by hand that is seen by whether the fault changes.
    fn by_change(
        &self,
        cause: usize,
        rows: Vec<Row>,
        minutes: f64,
        say: String,
        gate: &[Condition],
    ) -> (f64, Candidate) {
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
            needs: None,
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

#[cfg(test)]
mod tests {
    use super::super::Bench;
    use super::*;
    use crate::sampled::BLACK;

    /// What is offered to be done by hand: action and place, with pin.
    fn offered(text: &str, bench: &Bench) -> Vec<(Action, String)> {
        let all = crate::sampled::offered(text, bench);
        let of = |c: &Candidate| match &c.ask {
            Ask::Remedy { action, place, .. } => {
                let pin = place
                    .pin
                    .as_ref()
                    .map_or(String::new(), |p| format!(".{p}"));
                Some((*action, format!("{}{pin}", place.name)))
            }
            _ => None,
        };
        all.iter().filter_map(of).collect()
    }

    /// The outputs of two multiplexers are on one line; only then a leg tells more than the part would.
    #[test]
    fn a_leg_is_lifted_where_two_soldered_parts_may_hold_a_line() {
        let held = format!("{BLACK}U13.4 high\nU26.4 high\nU13.7 pulsing\nU13.12 pulsing\n");
        let all = offered(&held, &Bench::default());
        let lifts: Vec<&str> = (all.iter().filter(|o| o.0 == Action::Lift))
            .map(|o| o.1.as_str())
            .collect();
        assert!(
            lifts.contains(&"U13.4") && lifts.contains(&"U14.4"),
            "{lifts:?}"
        );
        // What sits in a socket is taken out as fast.
        assert!(
            lifts
                .iter()
                .all(|l| !l.starts_with("U17.") && !l.starts_with("U19.")),
            "{lifts:?}"
        );
    }

    /// With something tried in vain each mode stands twice in a ranking, as it may be split in two; both count.
    #[test]
    fn a_leg_is_lifted_on_a_data_line_that_is_held() {
        let held = "board 64k-6510-narrow\ncame in faulty\nrail 5V 5.0 V\nrail 9VAC 9.2 V\nrail 9V_UNREG 11.0 V\nrail SOUND_REG_IN 19 V\n\
                    rail 9V_SOUND 9.0 V\nrail 5V_MOD 5.0 V\nblack screen\nU6.33 high\nU1.29 high\nU6.36 pulsing\nU6.35 pulsing\nU6.31 pulsing\n\
                    U1.2 high\nU1.3 high\nU1.4 high\nU1.5 high\nU22.12 low\nU22.4 low\nU7.12 high\n\
                    U8.15 pulsing\nU8.14 pulsing\nU8.46 high\nU8.47 high\nU22.6 high\nU6.2 high\nU1.14 high\nU1.15 high\n\
                    swapped U7: no change\nswapped U9: no change\nCR11.2 low\nU3.9 high\nU22.8 low\n";
        let all = offered(held, &Bench::default());
        let lifts: Vec<&str> = (all.iter().filter(|o| o.0 == Action::Lift))
            .map(|o| o.1.as_str())
            .collect();
        for leg in ["U1.29", "U2.29", "U4.16"] {
            assert!(lifts.contains(&leg), "{lifts:?}");
        }
    }

    #[test]
    fn a_crystal_is_bridged_where_there_is_another() {
        let still = format!("{BLACK}U31.10 low\nU19.21 low\n");
        let bridge = (Action::Bridge, "Y1".to_string());
        assert!(offered(&still, &Bench::default()).contains(&bridge));
        let empty_drawer = Bench {
            parts: Some(Vec::new()),
            ..Bench::default()
        };
        assert!(!offered(&still, &empty_drawer).contains(&bridge));
    }
}
