//! A rail is read low: whether something on the board takes too much, and what, found before any part is changed.
//!
//! A technician asks two things: is the rail low in ohms with the power off (then a part shorts it; else the supply, its switch,
//! its fuse or a regulator gives too little), and which part gets hot. Swapping chip by chip answers the same at fifty times the
//! price. The likelihoods are those by which the answers count: [`crate::observe::shorts`], [`odds::felt_on_a_low_rail`],
//! [`odds::SUPPLY_ALONE`].

use super::fixed::{at_plug, rails_out};
use super::steps::{Candidate, Collector, MAINS, Row};
use super::{Ask, Tool, costs};
use crate::faultmap::model::ModeId;
use crate::faultmap::raw::Class;
use crate::observe::shorts::{able, resistance_effects, resistance_id, shorts};
use crate::observe::{Evidence, MEASURED, board, noticed, odds};
use crate::plan::{Condition, Power, Rule, Step};
use crate::sheet::Place;
use std::collections::BTreeSet;

/// Parts that are felt in one go at most, and those of them that are an outcome of their own.
const MOST_FELT: usize = 24;
const NAMED: usize = 6;

/// A part on a rail that it shorts.
pub const HOT: &str = "a part that shorts its supply burns: ten seconds at most, switch off before you feel, come near with the back of a \
                       finger before you touch, or use a thermometer";

/// A part that can be felt, with the modes that would make it hot.
struct Feels {
    cause: usize,
    modes: Vec<ModeId>,
    probability: f64,
}

impl Collector<'_> {
    /// What is worth knowing of a rail that is low; `rails` are the steps so far that read rails.
    pub(super) fn low_rail(&mut self) {
        if self.low.is_none() {
            return;
        }
        let rails: Vec<usize> = (0..self.out.len()).collect();
        let mut found = Vec::new();
        if self.bench.has_one_of(&[Tool::Multimeter]) {
            for (rail, _) in rails_out(self.ranking) {
                found.extend(self.resistance(rail));
            }
            found.extend(self.supply_alone());
        }
        found.extend(self.feel(&rails));
        found.retain(|c| !(self.skipped)(&c.say, &c.ask));
        self.out.extend(found);
    }

    /// Ohms from a rail to ground, with the board off.
    fn resistance(&self, rail: &str) -> Option<Candidate> {
        let def = self.model.rails.get(rail)?;
        let effects = noticed(self.model, &resistance_effects(self.model, rail), MEASURED.missed);
        // An alternating supply is measured between its legs, not to ground.
        if def.ac || effects.is_empty() || self.read(&resistance_id(rail)) {
            return None;
        }
        let rows = self.rows_of(&[effects], MEASURED.false_fail);
        let mut step = Step::observe(costs::MEASURE_RESISTANCE, rows);
        step.power = Power::Off;
        let place = board::rail_measured_at(self.model, rail);
        Some(Candidate {
            step,
            say: format!(
                "Switch off, unplug the supply, and measure the resistance from rail {rail} to ground at {place} with a \
                 multimeter."
            ),
            place: format!("{place}, rail {rail}, unplugged"),
            expect: "some hundred ohms: then the supply, its switch, its fuse or a regulator gives too little; a few ohms are a \
                     short on the board"
                .into(),
            hazard: Some(format!("let reservoir capacitors go down first; {MAINS}")),
            outcomes: vec![format!("{rail} is not shorted"), format!("{rail} is shorted on the board")],
            needs: Some(Tool::Multimeter.to_string()),
            ask: Ask::Resistance { rail: rail.into() },
        })
    }

    /// The supply by itself, unplugged from the board.
    fn supply_alone(&self) -> Option<Candidate> {
        if !self.ranking.observed.supply.is_empty() {
            return None;
        }
        let a = &self.ranking.assembled;
        let is_supply = |cause: usize| {
            let position = &self.model.positions[self.model.units[a.place[cause]].position];
            position.outside && position.class == Class::Supply
        };
        let row = |bad: bool| -> Row {
            (odds::SUPPLY_ALONE.iter())
                .map(|&(fine, faulty)| if bad { faulty } else { fine })
                .collect()
        };
        let bad = |faults: &[(usize, super::suppose::Modes)]| faults.iter().any(|f| is_supply(f.0));
        if !self.supposed.iter().any(|(_, faults)| bad(faults)) {
            return None;
        }
        let rows = self.supposed.iter().map(|(_, f)| row(bad(f))).collect();
        let mut step = Step::observe(costs::MEASURE_SUPPLY, rows);
        step.power = Power::Off;
        let position = (self.model.positions.iter()).find(|p| p.outside && p.class == Class::Supply)?;
        Some(Candidate {
            step,
            say: "Switch off, unplug the supply from the board, and measure it by itself at its plug.".into(),
            place: format!("{} ({}), unplugged", position.name, position.role),
            expect: at_plug(self.model),
            hazard: Some(MAINS.into()),
            outcomes: vec!["the supply is good by itself".into(), "the supply is bad by itself".into()],
            needs: Some(Tool::Multimeter.to_string()),
            ask: Ask::Supply,
        })
    }

    /// Some seconds of power, and a finger on the parts of the rail.
    ///
    /// That is a step along the supply chain although it needs power: the board was powered like this when the rail was read, a
    /// rail that is too low harms nothing that has all its voltages, and what is looked for is what the supply's current does.
    /// Past a stop limit there are no steps of a plan at all, and a missing negative rail that the memory needs is such a stop;
    /// so all other rails are read first, and the step is off when one of them is past its limit or such a rail is missing.
    fn feel(&self, rails: &[usize]) -> Option<Candidate> {
        let rule = self.after_the_rails(rails)?;
        let felt = self.can_be_hot();
        if felt.len() < 2 {
            return None;
        }
        let mut step = Step::observe(costs::FEEL, self.heat_rows(&felt));
        step.power = Power::On;
        step.rule = rule;
        let position = |f: &Feels| {
            let unit = &self.model.units[self.ranking.assembled.place[f.cause]];
            &self.model.positions[unit.position]
        };
        let names: Vec<&str> = felt.iter().map(|f| position(f).name.as_str()).collect();
        let rail = rails_out(self.ranking)
            .into_iter()
            .map(|(rail, _)| rail)
            .find(|rail| self.shorted_modes(rail).iter().any(|m| felt[0].modes.contains(m)))?;
        let mut outcomes = vec!["none hotter than usual".to_string()];
        outcomes.extend(names.iter().take(NAMED).map(|n| format!("{n} hot")));
        if names.len() > NAMED {
            outcomes.push("another one hot".into());
        }
        let place = |name: &&str| Place {
            name: (*name).into(),
            pin: None,
        };
        Some(Candidate {
            step,
            say: format!(
                "Switch on for some seconds and off again, and feel for the part that got hot, one after the other: {}.",
                names.join(", ")
            ),
            place: format!("parts on the board, rail {rail}"),
            expect: "none hotter than the others; what shorts its supply takes all the current and gets hot".into(),
            hazard: Some(format!("{HOT}; {MAINS}")),
            outcomes,
            needs: None,
            ask: Ask::Feel {
                rail: rail.into(),
                places: names.iter().map(place).collect(),
            },
        })
    }

    /// Every rail not read yet is read first, and neither too high nor, where memory needs it, missing. `None` when one that
    /// memory needs cannot be read.
    fn after_the_rails(&self, rails: &[usize]) -> Option<Rule> {
        if self.ranking.observed.test_ran {
            return Some(Rule::default());
        }
        let asked = |name: &str| {
            let is = |s: &&usize| matches!(&self.out[**s].ask, Ask::Rail { rail, .. } if rail == name);
            rails.iter().find(is).copied()
        };
        let mut after = Vec::new();
        for (name, rail) in &self.model.rails {
            if self.read(&format!("rail.{name}")) {
                continue;
            }
            // In the order of `rails`: good, missing, low, high.
            let outcomes = match rail.guards_memory {
                true => vec![0, 2],
                false => vec![0, 1, 2],
            };
            let step = asked(name)?;
            after.push(vec![Condition { step, outcomes }]);
        }
        Some(Rule {
            after,
            never_after: Vec::new(),
        })
    }

    /// The modes that short a rail and can make it as it was last read.
    fn shorted_modes(&self, rail: &str) -> Vec<ModeId> {
        let all = shorts(self.model);
        let out = rails_out(self.ranking).into_iter().filter(|r| r.0 == rail);
        out.flat_map(|(_, c)| able(&all, rail, &c.effects).collect::<Vec<_>>())
            .collect()
    }

    /// Parts in the machine that can short a rail that is low and were not felt yet, those that most probably do first.
    fn can_be_hot(&self) -> Vec<Feels> {
        let low: BTreeSet<ModeId> = (rails_out(self.ranking).iter())
            .flat_map(|(rail, _)| self.shorted_modes(rail))
            .collect();
        let a = &self.ranking.assembled;
        let felt = |unit: usize| {
            let is = |e: &Evidence| matches!(e, Evidence::Felt { unit: u, .. } if *u == unit);
            self.ranking.observed.readings.iter().any(|r| is(&r.evidence))
        };
        let of = |cause: usize| -> Feels {
            let modes = a.modes[cause].iter().zip(&self.ranking.posterior.modes[cause]);
            let (modes, p): (Vec<ModeId>, Vec<f64>) =
                modes.filter(|(m, _)| low.contains(m)).map(|(m, p)| (*m, *p)).unzip();
            Feels {
                cause,
                modes,
                probability: p.iter().sum(),
            }
        };
        let mut all: Vec<Feels> = (0..a.modes.len())
            .filter(|&c| a.is_current(c) && !felt(a.place[c]))
            .map(of)
            .filter(|f| f.probability > 0.0)
            .collect();
        all.sort_by(|x, y| y.probability.total_cmp(&x.probability).then(x.cause.cmp(&y.cause)));
        all.truncate(MOST_FELT);
        all
    }

    /// P(none hot, each of the first hot, another one hot) under each hypothesis. Where several would be called hot, the hottest
    /// is named.
    fn heat_rows(&self, felt: &[Feels]) -> Vec<Row> {
        let a = &self.ranking.assembled;
        let hot = |f: &Feels, faults: &[(usize, super::suppose::Modes)]| {
            let unit = &self.model.units[a.place[f.cause]];
            let [_, (sound, shorted)] = odds::felt_on_a_low_rail(self.model.positions[unit.position].warmth);
            let share: f64 = (faults.iter())
                .filter(|(cause, _)| *cause == f.cause)
                .flat_map(|(_, modes)| modes)
                .filter(|(m, _)| f.modes.contains(&a.modes[f.cause][*m]))
                .map(|(_, share)| share)
                .sum();
            sound + (shorted - sound) * share.min(1.0)
        };
        let row = |faults: &[(usize, super::suppose::Modes)]| -> Row {
            let p: Vec<f64> = felt.iter().map(|f| hot(f, faults)).collect();
            let none: f64 = p.iter().map(|p| 1.0 - p).product();
            let odds: Vec<f64> = p.iter().map(|p| p / (1.0 - p)).collect();
            let sum: f64 = odds.iter().sum();
            let (first, rest) = odds.split_at(NAMED.min(odds.len()));
            let mut row = vec![none];
            row.extend(first.iter().map(|o| (1.0 - none) * o / sum));
            if !rest.is_empty() {
                row.push((1.0 - none) * rest.iter().sum::<f64>() / sum);
            }
            row
        };
        self.supposed.iter().map(|(_, faults)| row(faults)).collect()
    }
}
