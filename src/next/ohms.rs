//! Ohms with the board off, before anything is soldered out: across parts of two legs, and from the legs of a part along their
//! lines. Each takes a minute or two and clears a bead, a fuse, a joint or a contact for good, which to solder out takes half an hour.

use super::again::wanted;
use super::steps::{Candidate, Collector, Row, one_of};
use super::{Ask, Tool, costs};
use crate::faultmap::model::{ModeId, Position};
use crate::faultmap::raw::{Across, Class};
use crate::observe::ohms::{Leg, across_effects, across_id, along_effects, along_id, expected};
use crate::observe::{MEASURED, noticed};
use crate::plan::{Power, Step};
use crate::sheet::Place;
use std::collections::{BTreeMap, BTreeSet};

/// More legs than this no one follows in one go.
const MOST: usize = 16;
/// So many legs are an outcome of their own.
const NAMED: usize = 6;

/// Before a meter is held to a board.
const OFF: &str = "switch off, unplug the supply, and let reservoir capacitors go down first";

/// A leg that may touch nothing.
struct Doubtful {
    leg: Leg,
    /// Another one on its line.
    other: Leg,
    /// P(this one is open).
    probability: f64,
    /// How surely each mode shows between the two.
    effects: Vec<(ModeId, f64)>,
}

impl Collector<'_> {
    /// What ohms could tell of the suspects, with how much.
    pub(super) fn ohms(&self) -> Vec<(f64, Candidate)> {
        if !self.bench.has_one_of(&[Tool::Multimeter]) {
            return Vec::new();
        }
        let a = &self.ranking.assembled;
        let causes: BTreeSet<usize> = (self.supposed.iter())
            .flat_map(|(_, faults)| faults.iter().map(|f| f.0))
            .filter(|&cause| self.on_supply_chain(cause))
            .collect();
        let mut positions: Vec<usize> = (causes.iter())
            .map(|&cause| self.model.units[a.place[cause]].position)
            .filter(|&p| !self.model.positions[p].outside)
            .collect();
        positions.sort_unstable();
        positions.dedup();
        let mut out: Vec<(f64, Candidate)> =
            (positions.iter()).filter_map(|&p| self.across(p)).collect();
        out.extend(positions.iter().filter_map(|&p| self.legs_of(p)));
        out
    }

    /// With a rail low only what can make it so is looked at.
    fn on_supply_chain(&self, cause: usize) -> bool {
        let modes = &self.ranking.assembled.modes[cause];
        let low = self.low.as_ref();
        low.is_none_or(|low| modes.iter().any(|m| low.contains(m)))
    }

    /// Ohms across a part.
    fn across(&self, index: usize) -> Option<(f64, Candidate)> {
        let position = &self.model.positions[index];
        let ways: Vec<(Across, Vec<(ModeId, f64)>)> = [Across::Open, Across::Shorted]
            .into_iter()
            .map(|how| (how, across_effects(self.model, index, how)))
            .filter(|(how, effects)| {
                !effects.is_empty() && wanted(self.ranking, &across_id(&position.name, *how))
            })
            .map(|(how, plain)| (how, noticed(self.model, &plain, MEASURED.missed)))
            .collect();
        if ways.is_empty() {
            return None;
        }
        let (ways, effects): (Vec<Across>, Vec<_>) = ways.into_iter().unzip();
        let rows = self.rows_of(&effects, MEASURED.false_fail);
        let worth = self.worth(&rows);
        let two = position.pins.len() <= 2;
        let minutes = match two {
            true => costs::MEASURE_OHMS,
            false => costs::MEASURE_LEGS,
        };
        let mut step = Step::observe(minutes, rows);
        step.power = Power::Off;
        let legs = match position.class {
            _ if two => "from leg to leg",
            Class::Semiconductor => {
                "between each two of its legs, both ways, on the range for diodes"
            }
            _ => "each pole by itself, switched on",
        };
        let place = Place {
            name: position.name.clone(),
            pin: None,
        };
        let mut outcomes = vec![format!("{} is whole", position.name)];
        outcomes.extend(ways.iter().map(|how| match how {
            Across::Open => format!("{} is open", position.name),
            Across::Shorted => format!("{} is shorted", position.name),
        }));
        let candidate = Candidate {
            step,
            say: format!(
                "Switch off and measure the ohms across {} ({}), {legs}.",
                position.name, position.role
            ),
            place: format!("{}, {}, the power off", position.name, position.role),
            expect: expectation(position),
            hazard: Some(OFF.into()),
            outcomes,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Ask::Across { place },
        };
        Some((worth, candidate))
    }

    /// Ohms from each doubtful leg of a part to another leg on its line.
    fn legs_of(&self, index: usize) -> Option<(f64, Candidate)> {
        let mut legs = self.doubtful(index);
        legs.sort_by(|x, y| {
            y.probability
                .total_cmp(&x.probability)
                .then(x.leg.cmp(&y.leg))
        });
        legs.truncate(MOST);
        if legs.is_empty() {
            return None;
        }
        let rows = self.open_rows(&legs);
        let worth = self.worth(&rows);
        let minutes = costs::MEASURE_OHMS + costs::NEXT_OHMS * (legs.len() - 1) as f64;
        let mut step = Step::observe(minutes, rows);
        step.power = Power::Off;
        let place = |(position, pin): Leg| {
            let p = &self.model.positions[position];
            Place {
                name: p.name.clone(),
                pin: Some(p.pins[pin].label.to_string()),
            }
        };
        let text = |leg: Leg| {
            let p = place(leg);
            format!("{}.{}", p.name, p.pin.unwrap_or_default())
        };
        let named = &legs[..NAMED.min(legs.len())];
        let mut outcomes = vec!["all joined".to_string()];
        outcomes.extend(
            named
                .iter()
                .map(|l| format!("{} touches nothing", text(l.leg))),
        );
        if legs.len() > NAMED {
            outcomes.push("another one touches nothing".into());
        }
        let pairs: Vec<String> = (legs.iter())
            .map(|l| format!("{} to {}", text(l.leg), text(l.other)))
            .collect();
        let position = &self.model.positions[index];
        let candidate = Candidate {
            step,
            say: format!(
                "Switch off and measure from the legs of {} along their lines, tips on the legs themselves: {}.",
                position.name,
                pairs.join(", ")
            ),
            place: format!("{}, {}, the power off", position.name, position.role),
            expect: "less than an ohm each; more is a bad joint or contact, or a broken track"
                .into(),
            hazard: Some(OFF.into()),
            outcomes,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Ask::Joined {
                legs: legs
                    .iter()
                    .map(|l| (place(l.leg), place(l.other)))
                    .collect(),
            },
        };
        Some((worth, candidate))
    }

    /// Legs of a part that one of its contacts or joints may leave open, not measured yet; those of unlikely ones as well, for the tips
    /// are at the part anyway.
    fn doubtful(&self, index: usize) -> Vec<Doubtful> {
        let a = &self.ranking.assembled;
        let mut open: BTreeMap<usize, f64> = BTreeMap::new();
        let of = |&cause: &usize| {
            self.model.units[a.place[cause]].position == index && a.is_current(cause)
        };
        for cause in (0..a.modes.len()).filter(of) {
            for (mode, p) in a.now(&self.ranking.posterior, cause) {
                let opens = &self.model.modes[mode as usize].opens;
                for &pin in opens {
                    *open.entry(usize::from(pin)).or_default() += p / opens.len() as f64;
                }
            }
        }
        let doubtful = |(pin, probability): (usize, f64)| {
            let leg = (index, pin);
            let other = self.another_leg(leg)?;
            if self.read(&along_id(self.model, leg, other)) || probability <= 0.0 {
                return None;
            }
            let plain = along_effects(self.model, [leg, other]);
            Some(Doubtful {
                leg,
                other,
                probability,
                effects: noticed(self.model, &plain, MEASURED.missed),
            })
        };
        open.into_iter().filter_map(doubtful).collect()
    }

    /// Another leg on the same line that a tip can be held to: of a chip rather than of a plug.
    fn another_leg(&self, leg: Leg) -> Option<Leg> {
        let line = self.model.positions[leg.0].pins[leg.1].line.as_ref()?;
        let on = |p: &Position| {
            p.pins
                .iter()
                .position(|pin| pin.line.as_ref() == Some(line))
        };
        let empty = &self.ranking.observed.facts.empty;
        let all = self.model.positions.iter().enumerate();
        let others = all.filter(|(i, p)| *i != leg.0 && !p.outside && !empty.contains_key(i));
        let with = others.filter_map(|(i, p)| Some((p.class == Class::Connector, (i, on(p)?))));
        with.min().map(|(_, leg)| leg)
    }

    /// P(all joined, each of the first open, another one open) under each hypothesis.
    fn open_rows(&self, legs: &[Doubtful]) -> Vec<Row> {
        let a = &self.ranking.assembled;
        let p_open = |l: &Doubtful, faults: &[(usize, super::suppose::Modes)]| {
            let shows = |cause: usize, mode: usize| {
                let m = a.modes[cause][mode];
                let at = l.effects.binary_search_by_key(&m, |e| e.0);
                at.map_or(0.0, |i| l.effects[i].1)
            };
            let sound: f64 = (faults.iter())
                .map(|(cause, modes)| {
                    let share = modes
                        .iter()
                        .map(|&(mode, share)| share * shows(*cause, mode));
                    1.0 - share.sum::<f64>().min(1.0)
                })
                .product();
            (1.0 - (1.0 - MEASURED.false_fail) * sound).clamp(1e-9, 1.0 - 1e-9)
        };
        let row = |(_, faults): &super::suppose::Supposed| -> Row {
            let shows: Vec<f64> = legs.iter().map(|l| p_open(l, faults)).collect();
            one_of(&shows, NAMED)
        };
        self.supposed.iter().map(row).collect()
    }
}

/// Between which legs of a part ohms are measured, and what that takes.
pub(super) fn between(position: &Position) -> (&'static str, f64) {
    match position.class {
        _ if position.pins.len() <= 2 => ("from leg to leg", costs::MEASURE_OHMS),
        Class::Semiconductor => (
            "between each two of its legs, both ways, on the range for diodes",
            costs::MEASURE_LEGS,
        ),
        _ => ("each pole by itself, switched on", costs::MEASURE_LEGS),
    }
}

/// What is expected across a part.
pub(super) fn expectation(position: &Position) -> String {
    match (expected(position), &position.value) {
        (Some(r), _) if r <= 1.0 => "less than an ohm: then it is whole".into(),
        (Some(_), Some(value)) => {
            format!("{value}, or less because of other ways beside it; far more is open")
        }
        (_, _) if position.class == Class::Semiconductor && position.pins.len() > 2 => {
            "some tenths of a volt from the base to each of the others one way, open the other, and open between those two".into()
        }
        (_, _) if position.class == Class::Semiconductor => {
            "open one way and some tenths of a volt the other, on the range for diodes".into()
        }
        _ => "neither open nor below three ohms".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::Bench;
    use super::*;
    use crate::plan::Kind;
    use crate::sampled::{PORT, offered};

    fn across<'c>(all: &'c [Candidate], part: &str) -> Option<&'c Candidate> {
        let is = |c: &&Candidate| matches!(&c.ask, Ask::Across { place } if place.name == part);
        all.iter().find(is)
    }

    /// Pairs of legs that are offered for a part.
    fn legs(all: &[Candidate], part: &str) -> Vec<(String, String)> {
        let text = |p: &Place| format!("{}.{}", p.name, p.pin.as_deref().unwrap_or_default());
        let of = |c: &Candidate| match &c.ask {
            Ask::Joined { legs } if legs[0].0.name == part => {
                Some(legs.iter().map(|(a, b)| (text(a), text(b))).collect())
            }
            _ => None,
        };
        all.iter().find_map(of).unwrap_or_default()
    }

    #[test]
    fn a_bead_and_the_joints_of_a_chip_are_measured_before_anything_is_soldered() {
        let all = offered(PORT, &Bench::default());
        let bead = across(&all, "FB4").expect("offered");
        assert_eq!(bead.step.power, Power::Off);
        assert_eq!(bead.step.cost.minutes, costs::MEASURE_OHMS);
        // Both selects of the outside area end in the cartridge port.
        let of = legs(&all, "U15");
        for pair in [("U15.9", "CN6.10"), ("U15.10", "CN6.7")] {
            assert!(
                of.iter().any(|(a, b)| (a.as_str(), b.as_str()) == pair),
                "{of:?}"
            );
        }
        let no_meter = Bench {
            tools: vec![Tool::Probe],
            ..Bench::default()
        };
        let all = offered(PORT, &no_meter);
        assert!(across(&all, "FB4").is_none() && legs(&all, "U15").is_empty());
    }

    #[test]
    fn what_was_measured_is_not_asked_again() {
        let text = format!("{PORT}ohms across FB4 0.3 ohm\nCN6.10 to U15.9 0.4 ohm\n");
        let all = offered(&text, &Bench::default());
        assert!(across(&all, "FB4").is_none());
        let of = legs(&all, "U15");
        assert!(of.iter().all(|(a, _)| a != "U15.9"), "{of:?}");
    }

    #[test]
    fn the_outcomes_are_all_there_is() {
        let all = offered(PORT, &Bench::default());
        let by_ohms = |c: &&Candidate| matches!(c.ask, Ask::Across { .. } | Ask::Joined { .. });
        let mut seen = 0;
        for c in all.iter().filter(by_ohms) {
            let Kind::Observe { rows, .. } = &c.step.kind else {
                panic!("an observation");
            };
            for row in rows {
                assert_eq!(row.len(), c.outcomes.len(), "{}", c.say);
                assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{row:?}");
            }
            seen += 1;
        }
        assert!(seen >= 2);
    }
}
