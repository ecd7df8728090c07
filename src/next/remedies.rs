//! Putting right what may be at fault.

use super::steps::{Candidate, Collector};
use super::{Ask, Tool, costs, untold};
use crate::faultmap::model::{Position, Unit, UnitKind};
use crate::faultmap::raw::Class;
use crate::plan::{Condition, Cost, Cure, Kind as StepKind, Power, Rule, Step};
use crate::rank::network::Instance;
use crate::sheet::Action;
use std::collections::BTreeSet;

/// Remedies offered to the planner at most.
const MOST_REMEDIES: usize = 24;

impl Collector<'_> {
    /// Putting right each unit of the leading hypotheses.
    pub(super) fn remedies(&mut self, gate: &[Condition]) {
        let causes: BTreeSet<usize> = self
            .supposed
            .iter()
            .flat_map(|(_, faults)| faults.iter().map(|f| f.0))
            .collect();
        let mut ranked: Vec<(f64, usize)> = causes
            .into_iter()
            .map(|c| (self.ranking.still(c), c))
            .collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        // Who does not want to stop may solder on.
        let lost =
            untold::lost(self.model, self.ranking) && !(self.skipped)(super::STOP, &Ask::Loops);
        ranked.retain(|&(p, c)| !lost || p >= super::CERTAIN || !self.is_soldered(c));
        let may: Vec<usize> = (ranked.into_iter().map(|r| r.1))
            .filter(|&c| self.is_allowed(c))
            .take(MOST_REMEDIES)
            .collect();
        for cause in may {
            let candidate = self.remedy(cause, gate);
            if !(self.skipped)(&candidate.say, &candidate.ask) {
                self.out.push(candidate);
            }
        }
    }

    /// Whether a cause is a part that has to be soldered out.
    fn is_soldered(&self, cause: usize) -> bool {
        let unit = &self.model.units[self.ranking.assembled.place[cause]];
        let position = &self.model.positions[unit.position];
        let by_hand = matches!(
            position.class,
            Class::Connector | Class::Setting | Class::Fuse
        );
        unit.kind == UnitKind::Part && !position.socket && !position.outside && !by_hand
    }

    /// Whether powered steps other than the rails may be proposed: the rails were read, a test ran, or they can be read
    /// first.
    pub(super) fn may_power(&self) -> bool {
        let unread = self
            .model
            .rails
            .keys()
            .any(|r| !self.read(&format!("rail.{r}")));
        self.ranking.observed.test_ran || !unread || self.bench.has_one_of(&[Tool::Multimeter])
    }

    /// Whether the bench has what a remedy needs, and the supply allows it: with a rail low only what can make it so.
    fn is_allowed(&self, cause: usize) -> bool {
        let a = &self.ranking.assembled;
        let unit = &self.model.units[a.place[cause]];
        let position = &self.model.positions[unit.position];
        let on_chain = self
            .low
            .as_ref()
            .is_none_or(|low| a.modes[cause].iter().any(|m| low.contains(m)));
        let fits = unit.kind != UnitKind::Part
            || position.outside
            || matches!(position.class, Class::Connector | Class::Setting);
        let part = || {
            position
                .part_type
                .as_ref()
                .is_some_and(|t| self.bench.has_part(t))
                || self.bench.parts.is_none()
        };
        // A new part goes into a board only when its rails are known to be good, so they must be readable.
        let known = fits || self.may_power();
        on_chain && known && (fits || part())
    }

    /// What would make a rail wrong that nobody has read is soldered out once that was: it takes a minute and a half.
    fn after_its_rails(&self, cause: usize) -> Vec<Vec<Condition>> {
        let has = |h: &&(usize, f64)| {
            let mut faults = self.supposed[h.0].1.iter();
            faults.any(|f| f.0 == cause)
        };
        let all = || (self.supposed.iter().enumerate()).map(|(h, s)| (h, s.0.probability));
        let total: f64 = all().filter(|h| has(&h)).map(|h| h.1).sum();
        let would = |step: &Step| match &step.kind {
            StepKind::Observe { rows, .. } => {
                let wrong = all()
                    .filter(|h| has(&h))
                    .map(|(h, p)| p * (1.0 - rows[h][0]));
                wrong.sum::<f64>() > total / 2.0
            }
            StepKind::Remedy { .. } => false,
        };
        let rails = self.out.iter().enumerate();
        let unread = rails.filter(|(_, c)| matches!(c.ask, Ask::Rail { .. }) && would(&c.step));
        let read = |step| Condition {
            step,
            outcomes: Vec::new(),
        };
        unread.map(|(step, _)| vec![read(step)]).collect()
    }

    fn remedy(&self, cause: usize, gate: &[Condition]) -> Candidate {
        let a = &self.ranking.assembled;
        let unit = &self.model.units[a.place[cause]];
        let position = &self.model.positions[unit.position];
        let mut cures = vec![Cure {
            unit: cause as u32,
            probability: costs::cures(unit, position),
        }];
        if unit.kind == UnitKind::Part && position.socket {
            // A swap in a socket is a reseat too.
            let contacts = a.instances.iter().position(|i| {
                let u = &self.model.units[i.unit];
                u.position == unit.position && u.kind == UnitKind::Contacts
            });
            cures.extend(contacts.map(|c| Cure {
                unit: c as u32,
                probability: 0.8,
            }));
        }
        if unit.kind == UnitKind::Part && position.class == Class::Keyboard {
            // Another keyboard has other keys.
            let of_it = |i: &Instance| {
                let u = &self.model.units[i.unit];
                u.position == unit.position && matches!(u.kind, UnitKind::Key { .. })
            };
            let keys =
                (0..a.instances.len()).filter(|&c| a.is_current(c) && of_it(&a.instances[c]));
            cures.extend(keys.map(|c| Cure {
                unit: c as u32,
                probability: costs::cures(unit, position),
            }));
        }
        let missing = self
            .ranking
            .observed
            .facts
            .empty
            .contains_key(&unit.position);
        let (mut say, place) = remedy_words(unit.kind.clone(), &unit.name, position, missing);
        let mut ask = Ask::remedy(self.model, a.place[cause]);
        let (mut minutes, mut hazard) =
            (costs::remedy(unit, position), costs::hazard(unit, position));
        if self.on_added_board(unit) {
            say = format!(
                "Take the added board out of {name} and put {name} straight into its socket.",
                name = position.name
            );
            if let Ask::Remedy { action, .. } = &mut ask {
                *action = Action::Direct;
            }
            (minutes, hazard) = (costs::ADDED_BOARD, 0.0);
            cures[0].probability = costs::ADDED_BOARD_CURES;
        }
        let mut rule = match (&unit.kind, position.outside) {
            // A part of another machine, or a new one, goes only into a board whose rails are known.
            (UnitKind::Part, false) => self.waits(gate),
            _ => Rule::default(),
        };
        rule.after.extend(self.after_a_look(cause));
        if self.is_soldered(cause) && self.ranking.still(cause) < super::CERTAIN {
            rule.after.extend(self.after_its_rails(cause));
        }
        let kind = StepKind::Remedy {
            cures,
            verify: costs::RETEST,
            when_cured: 0.0,
            reopens: Vec::new(),
        };
        let step = Step {
            kind,
            cost: Cost {
                hazard,
                ..Cost::minutes(minutes)
            },
            tools: 0,
            power: Power::Off,
            rule,
        };
        let new = unit.kind == UnitKind::Part
            && !matches!(position.class, Class::Connector | Class::Setting);
        let part = position.part_type.clone().filter(|_| new);
        let own = position.caution.clone();
        let hot = "switch off, and let hot parts and reservoir capacitors settle first; earth yourself against static";
        let hazard = Some(own.map_or(hot.to_string(), |c| {
            format!("{}; {hot}", c.trim_end_matches('.'))
        }));
        Candidate {
            step,
            say,
            place,
            expect: "the test passes afterwards".into(),
            hazard,
            outcomes: vec!["the machine works".into(), "still faulty".into()],
            needs: part,
            ask,
        }
    }

    /// Whether this is what holds a part in its socket, with an added board in between.
    fn on_added_board(&self, unit: &Unit) -> bool {
        let facts = &self.ranking.observed.facts;
        matches!(unit.kind, UnitKind::Contacts | UnitKind::Joints)
            && facts.on_added_board(unit.position)
    }
}

fn remedy_words(
    kind: UnitKind,
    name: &str,
    position: &Position,
    missing: bool,
) -> (String, String) {
    let part = position
        .part_type
        .as_ref()
        .map_or(String::new(), |t| format!(" ({t})"));
    let at = format!("{}, {}", position.name, position.role);
    let say = match kind {
        UnitKind::Part if missing => format!(
            "Fit a part{part} into the empty position {}.",
            position.name
        ),
        UnitKind::Part if position.class == Class::Setting => {
            format!("Check and correct {}: {}.", position.name, position.role)
        }
        UnitKind::Part if position.class == Class::Connector => {
            format!(
                "Unplug {}, look at and clean its contacts, and push it home again.",
                position.name
            )
        }
        UnitKind::Part if position.outside => format!(
            "Try another {} ({}) known to be good.",
            position.name, position.role
        ),
        UnitKind::Part if position.socket => {
            format!("Swap {}{part} for one known to be good.", position.name)
        }
        UnitKind::Part if position.class == Class::Fuse => format!(
            "Unplug the supply and put another fuse of the same rating into {}, its holder cleaned.",
            position.name
        ),
        // A socket is for what has rows of legs and may have to come out again.
        UnitKind::Part
            if (position.class as u8) < Class::Regulator as u8 && position.pins.len() >= 8 =>
        {
            format!(
                "Replace {}{part}: desolder it, fit a socket, put in a good one.",
                position.name
            )
        }
        UnitKind::Part => format!(
            "Replace {}{part}: desolder it, the same way round if it has one, put in a good one.",
            position.name
        ),
        UnitKind::Contacts => format!(
            "Take {} out, clean its legs and the socket, put it back.",
            position.name
        ),
        UnitKind::Joints => format!(
            "Look over and resolder the joints of {}, and the traces at them.",
            position.name
        ),
        UnitKind::Contact { .. } => {
            format!("Clean {name} and its counterpart, and resolder it if it is cracked.")
        }
        UnitKind::Key { .. } => format!("Open the keyboard and clean the contact of {name}."),
    };
    (say, at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shipped::Library;

    fn said(name: &str) -> String {
        let model = Library::default()
            .board("64k-6510-wide")
            .expect("a shipped board");
        let (_, position) = model.position(name).expect("on the board");
        remedy_words(UnitKind::Part, name, position, false).0
    }

    /// The transistor that makes -5 V stays in until somebody has measured -5 V.
    #[test]
    fn what_would_make_an_unread_rail_wrong_waits_for_that_rail() {
        let text =
            "board 48k-z80-ula\ncame in faulty\nrail 9V 9.8 V\nmemory bits 0 1 2 3 4 5 6 7 bad\n";
        let all = crate::sampled::offered(text, &super::super::Bench::default());
        let at = |is: &dyn Fn(&Candidate) -> bool| all.iter().position(is).expect("offered");
        let rail = |name: &'static str| {
            at(&move |c| matches!(&c.ask, Ask::Rail { rail, .. } if rail == name))
        };
        let of = |unit: &'static str| {
            let step = at(&move |c| {
                c.step.is_remedy() && matches!(&c.ask, Ask::Remedy { unit: u, .. } if u == unit)
            });
            let groups = all[step].step.rule.after.iter().flatten();
            groups.map(|c| c.step).collect::<Vec<_>>()
        };
        assert!(of("TR4").contains(&rail("-5V")), "{:?}", of("TR4"));
        // What is wrong with a multiplexer shows on no rail.
        assert!(of("IC3").is_empty(), "{:?}", of("IC3"));
    }

    /// A socket is for a soldered chip; a fuse goes into its holder.
    #[test]
    fn only_chips_get_a_socket() {
        assert!(said("U13").contains("fit a socket"));
        for part in ["Y1", "FB4", "C70", "VR1"] {
            let said = said(part);
            assert!(
                said.contains("desolder") && !said.contains("socket"),
                "{said}"
            );
        }
        let fuse = said("F1");
        assert!(
            fuse.contains("same rating") && !fuse.contains("desolder"),
            "{fuse}"
        );
    }

    /// What holds a chip in its socket is put right by taking the added board out, as long as it is there; the answer is of that deed.
    #[test]
    fn an_added_board_is_taken_out_first() {
        let rails = crate::sampled::BLACK.replace("black screen\n", "");
        let of_contacts = |more: &str| {
            let text = format!("{rails}os rom bad\nrest fine\nU4 bent pin\n{more}");
            let all = crate::sampled::offered(&text, &super::super::Bench::default());
            let own = |c: &&Candidate| matches!(&c.ask, Ask::Remedy { unit, .. } if unit == "U4 contacts");
            let step = all.iter().find(own).expect("offered");
            let Ask::Remedy { action, .. } = &step.ask else {
                panic!("no remedy");
            };
            (*action, step.say.clone(), step.step.cost.minutes)
        };
        let (action, say, plain) = of_contacts("");
        assert!(
            action == Action::Clean && say.contains("clean its legs"),
            "{say}"
        );
        let (action, say, minutes) = of_contacts("added board in U4\n");
        assert_eq!(action, Action::Direct);
        assert!(
            say == "Take the added board out of U4 and put U4 straight into its socket.",
            "{say}"
        );
        assert!(minutes <= plain, "{minutes} {plain}");
        // Once it is out, the socket is what is left.
        let (action, say, _) =
            of_contacts("added board in U4\ntook the added board out of U4: no change\n");
        assert!(
            action == Action::Clean && say.contains("clean its legs"),
            "{say}"
        );
    }
}
