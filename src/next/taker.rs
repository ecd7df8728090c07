//! Which part takes the current of a rail that is pulled down: it gets hot, and the rail is lowest at it. Both need some seconds of
//! power, under the same rules, and name one of the parts.

use super::fixed::rails_out;
use super::steps::{Candidate, Collector, LIVE, MAINS, Row, one_of, which};
use super::suppose::{Modes, Supposed};
use super::{Ask, Tool, costs};
use crate::faultmap::model::ModeId;
use crate::observe::odds;
use crate::observe::shorts::{DROP, HEAT};
use crate::plan::{Condition, Power, Rule, Step};
use crate::sheet::Place;
use std::collections::BTreeSet;

/// Parts that are felt in one go at most, and those of them that are an outcome of their own.
const MOST_FELT: usize = 24;
const NAMED: usize = 6;

/// A part on a rail that it shorts.
pub const HOT: &str = "a part that shorts its supply burns: ten seconds at most, switch off before you feel, come near with the back of a \
                       finger before you touch, or use a thermometer";

/// A part that can short the rail, with the modes that do.
struct Feels {
    cause: usize,
    modes: Vec<ModeId>,
    probability: f64,
}

impl Collector<'_> {
    /// Some seconds of power, and a finger on the parts of the rail.
    ///
    /// That is a step along the supply chain although it needs power: the board was powered like this when the rail was read, a
    /// rail that is too low harms nothing that has all its voltages, and what is looked for is what the supply's current does.
    /// Past a stop limit there are no steps of a plan at all, and a missing negative rail that the memory needs is such a stop;
    /// so all other rails are read first, and the step is off when one of them is past its limit or such a rail is missing.
    pub(super) fn feel(&self, rails: &[usize]) -> Option<Candidate> {
        let rule = self.after_the_rails(rails)?;
        let felt = self.able_to_short(HEAT);
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
            .find(|rail| {
                self.shorted_modes(rail)
                    .iter()
                    .any(|m| felt[0].modes.contains(m))
            })?;
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

    /// Millivolts at the supply pins of the parts of a rail that is pulled down: the current flows to the short, so the rail is
    /// lowest at it. A second way beside the finger, that does not need heat; the same rules hold as for [`Self::feel`].
    pub(super) fn drop_along(&self, rails: &[usize]) -> Option<Candidate> {
        let rule = self.after_the_rails(rails)?;
        let mut parts = self.able_to_short(DROP);
        // One rail at a time: that of the part which most probably shorts it.
        let rail = rails_out(self.ranking)
            .into_iter()
            .map(|(rail, _)| rail)
            .find(|rail| {
                let modes = self.shorted_modes(rail);
                parts
                    .first()
                    .is_some_and(|p| p.modes.iter().any(|m| modes.contains(m)))
            })?;
        let modes = self.shorted_modes(rail);
        parts.retain(|p| p.modes.iter().any(|m| modes.contains(m)));
        if parts.len() < 2 {
            return None;
        }
        let minutes = costs::MEASURE_DROP + costs::NEXT_DROP * (parts.len() - 1) as f64;
        let mut step = Step::observe(minutes, self.lowest_rows(&parts));
        step.power = Power::On;
        step.rule = rule;
        let name = |f: &Feels| {
            let unit = &self.model.units[self.ranking.assembled.place[f.cause]];
            self.model.positions[unit.position].name.clone()
        };
        let names: Vec<String> = parts.iter().map(name).collect();
        let mut outcomes: Vec<String> = (names.iter().take(NAMED))
            .map(|n| format!("lowest at {n}"))
            .collect();
        if names.len() > NAMED {
            outcomes.push("lowest at another one".into());
        }
        let place = |name: &String| Place {
            name: name.clone(),
            pin: None,
        };
        Some(Candidate {
            step,
            say: format!(
                "Follow rail {rail} with millivolts, switched on for some seconds at a time, from the supply pin of one part to the \
                 next, and note where it is lowest: {}.",
                names.join(", ")
            ),
            place: format!("supply pins of the parts on rail {rail}, against their own ground"),
            expect: "the current flows to the short: the rail is lowest at the part that takes it, by some millivolts".into(),
            hazard: Some(format!("{HOT}; {LIVE}; {MAINS}")),
            outcomes,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Ask::Drop {
                rail: rail.into(),
                places: names.iter().map(place).collect(),
            },
        })
    }

    /// P(the rail is lowest at each of the first, at another one) under each hypothesis.
    fn lowest_rows(&self, parts: &[Feels]) -> Vec<Row> {
        let [_, (without, with)] = odds::DROP;
        let row = |(_, faults): &Supposed| -> Row {
            let lowest = |f: &Feels| without + (with - without) * self.share_of(f, faults);
            let shows: Vec<f64> = parts.iter().map(lowest).collect();
            which(&shows, NAMED)
        };
        self.supposed.iter().map(row).collect()
    }

    /// P(a part is in one of the modes that short the rail) in a hypothesis.
    fn share_of(&self, f: &Feels, faults: &[(usize, Modes)]) -> f64 {
        let of = &self.ranking.assembled.modes[f.cause];
        let share: f64 = (faults.iter())
            .filter(|(cause, _)| *cause == f.cause)
            .flat_map(|(_, modes)| modes)
            .filter(|(m, _)| f.modes.contains(&of[*m]))
            .map(|(_, share)| share)
            .sum();
        share.min(1.0)
    }

    /// Every rail not read yet is read first, and neither too high nor, where memory needs it, missing. `None` when one that
    /// memory needs cannot be read.
    fn after_the_rails(&self, rails: &[usize]) -> Option<Rule> {
        if self.ranking.observed.test_ran {
            // Nothing waits for a rail then, but one that turns out past its limits ends it all the same.
            let bad = |&step: &usize| {
                let Ask::Rail { rail, .. } = &self.out[step].ask else {
                    return None;
                };
                let outcomes = match self.model.rails.get(rail)?.guards_memory {
                    true => vec![1, 3],
                    false => vec![3],
                };
                Some(Condition { step, outcomes })
            };
            return Some(Rule {
                after: Vec::new(),
                never_after: rails.iter().filter_map(bad).collect(),
            });
        }
        let asked = |name: &str| {
            let is =
                |s: &&usize| matches!(&self.out[**s].ask, Ask::Rail { rail, .. } if rail == name);
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

    /// Parts in the machine that can short a rail that is low, those that most probably do first, without those that were looked at
    /// in this way ([`HEAT`], [`DROP`]).
    fn able_to_short(&self, how: &str) -> Vec<Feels> {
        let low: BTreeSet<ModeId> = (rails_out(self.ranking).iter())
            .flat_map(|(rail, _)| self.shorted_modes(rail))
            .collect();
        let a = &self.ranking.assembled;
        let felt = |unit: usize| {
            let position = &self.model.positions[self.model.units[unit].position];
            self.read(&format!("{how}{}", position.name))
        };
        let of = |cause: usize| -> Feels {
            let modes = a.now(&self.ranking.posterior, cause);
            let (modes, p): (Vec<ModeId>, Vec<f64>) =
                modes.filter(|(m, _)| low.contains(m)).unzip();
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
        all.sort_by(|x, y| {
            y.probability
                .total_cmp(&x.probability)
                .then(x.cause.cmp(&y.cause))
        });
        all.truncate(MOST_FELT);
        all
    }

    /// P(none hot, each of the first hot, another one hot) under each hypothesis. Where several would be called hot, the hottest
    /// is named.
    fn heat_rows(&self, felt: &[Feels]) -> Vec<Row> {
        let a = &self.ranking.assembled;
        let hot = |f: &Feels, faults: &[(usize, Modes)]| {
            let unit = &self.model.units[a.place[f.cause]];
            let [_, (sound, shorted)] =
                odds::felt_on_a_low_rail(self.model.positions[unit.position].warmth);
            sound + (shorted - sound) * self.share_of(f, faults)
        };
        let row = |(_, faults): &Supposed| -> Row {
            let shows: Vec<f64> = felt.iter().map(|f| hot(f, faults)).collect();
            one_of(&shows, NAMED)
        };
        self.supposed.iter().map(row).collect()
    }
}
