//! A rail is read low: whether something on the board takes too much, and what, found before any part is changed.
//!
//! A technician asks two things: is the rail low in ohms with the power off (then a part shorts it; else the supply, its switch,
//! its fuse or a regulator gives too little), and which part takes the current (`super::taker`). Swapping chip by chip answers the
//! same at fifty times the price. The likelihoods are those by which the answers count: [`crate::observe::shorts`],
//! [`odds::felt_on_a_low_rail`], [`odds::SUPPLY_ALONE`].

use super::fixed::{at_plug, rails_out};
use super::steps::{Candidate, Collector, MAINS, Row};
use super::{Ask, Tool, costs};
use crate::faultmap::model::ModeId;
use crate::faultmap::raw::Class;
use crate::observe::shorts::{able, resistance_effects, resistance_id, shorts};
use crate::observe::{MEASURED, board, noticed, odds};
use crate::plan::{Condition, Power, Step};

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
        if self.bench.has_one_of(&[Tool::Multimeter]) {
            found.extend(self.drop_along(&rails));
        }
        found.retain(|c| !(self.skipped)(&c.say, &c.ask));
        self.out.extend(found);
        self.looked_for = self.look_first();
    }

    /// A short is looked for before a part is changed for it: ohms of a rail if they can be measured, and heat.
    fn look_first(&self) -> Vec<Vec<Condition>> {
        let all = |is: &dyn Fn(&Ask) -> bool| -> Vec<Condition> {
            let steps = (0..self.out.len()).filter(|&s| is(&self.out[s].ask));
            let done = |step: usize| Condition {
                step,
                outcomes: (0..self.out[step].outcomes.len()).collect(),
            };
            steps.map(done).collect()
        };
        let ohms = all(&|ask| matches!(ask, Ask::Resistance { .. }));
        let heat = all(&|ask| matches!(ask, Ask::Feel { .. }));
        [ohms, heat].into_iter().filter(|g| !g.is_empty()).collect()
    }

    /// What the change of the part of a cause waits for with a rail low: a good part in a board that shorts its supply tells
    /// nothing that a meter and a finger do not tell sooner.
    pub(super) fn after_a_look(&self, cause: usize) -> Vec<Vec<Condition>> {
        let a = &self.ranking.assembled;
        let low = rails_out(self.ranking);
        let shorts = |m: &ModeId| {
            low.iter()
                .any(|(rail, _)| self.shorted_modes(rail).contains(m))
        };
        match a.modes[cause].iter().any(shorts) {
            true => self.looked_for.clone(),
            false => Vec::new(),
        }
    }

    /// Ohms from a rail to ground, with the board off.
    fn resistance(&self, rail: &str) -> Option<Candidate> {
        let def = self.model.rails.get(rail)?;
        let effects = noticed(
            self.model,
            &resistance_effects(self.model, rail),
            MEASURED.missed,
        );
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
        let position =
            (self.model.positions.iter()).find(|p| p.outside && p.class == Class::Supply)?;
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

    /// The modes that short a rail and can make it as it was last read.
    pub(super) fn shorted_modes(&self, rail: &str) -> Vec<ModeId> {
        let all = shorts(self.model);
        let out = rails_out(self.ranking).into_iter().filter(|r| r.0 == rail);
        out.flat_map(|(_, c)| able(&all, rail, &c.effects).collect::<Vec<_>>())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::steps::candidates;
    use super::super::{Bench, Suppositions, suppositions};
    use super::*;
    use crate::faultmap::model::BoardModel;
    use crate::plan::Kind;
    use crate::rank::{Ranking, rank};
    use crate::sheet::parse;
    use crate::shipped::Library;

    const DOWN: &str = "board 64k-6510-wide\ncame in faulty\nrail 5V 0.3 V\nrail 9VAC 9.2 V\nrail 9V_UNREG 10.5 V\n\
                        rail 12V 12.0 V\nrail 5V_VIDEO 5.0 V\nrail 5V_CLK 5.0 V\nblack screen\n";

    fn ranked(model: &BoardModel, text: &str) -> Ranking {
        let sheet = parse("t", text.as_bytes()).expect("a text");
        assert!(sheet.diags.is_empty(), "{text}{:?}", sheet.diags);
        rank(model, &[sheet]).expect("possible")
    }

    /// What is offered, with the hypotheses that its rows are of.
    fn offered(
        model: &BoardModel,
        text: &str,
        bench: &Bench,
        skip: &str,
    ) -> (Vec<Candidate>, Vec<crate::plan::Hypothesis>, Ranking) {
        let ranking = ranked(model, text);
        let Suppositions::Faults(supposed) = suppositions(&ranking) else {
            panic!("something is at fault");
        };
        let all = candidates(model, &ranking, &supposed, bench, &|say, _| {
            !skip.is_empty() && say.contains(skip)
        });
        (all, supposed.into_iter().map(|s| s.0).collect(), ranking)
    }

    fn board(name: &str) -> BoardModel {
        Library::default().board(name).expect("a shipped board")
    }

    fn feel(all: &[Candidate]) -> Option<&Candidate> {
        all.iter().find(|c| matches!(c.ask, Ask::Feel { .. }))
    }

    #[test]
    fn a_low_rail_asks_for_ohms_the_supply_and_heat() {
        let model = board("64k-6510-wide");
        let kinds = |text: &str, bench: &Bench| {
            let (all, ..) = offered(&model, text, bench, "");
            let ohms = all
                .iter()
                .any(|c| matches!(&c.ask, Ask::Resistance { rail } if rail == "+5V"));
            let alone = all.iter().any(|c| c.ask == Ask::Supply);
            (ohms, alone, feel(&all).is_some())
        };
        let whole = Bench::default();
        assert_eq!(kinds(DOWN, &whole), (true, true, true));
        let no_meter = Bench {
            tools: Vec::new(),
            ..Bench::default()
        };
        assert_eq!(kinds(DOWN, &no_meter), (false, false, true));
        let good = DOWN.replace("5V 0.3", "5V 5.0");
        assert_eq!(kinds(&good, &whole), (false, false, false));
        // What was answered is not asked again.
        let told = format!("{DOWN}resistance 5V 2 ohm\npsu rail 5V 5.1 V off the board\n");
        assert_eq!(kinds(&told, &whole), (false, false, true));
    }

    /// No chip is changed for a short before ohms were measured and heat was felt for, where either can be.
    #[test]
    fn a_short_is_looked_for_before_a_part_is_changed() {
        let model = board("64k-6510-wide");
        let waits = |text: &str, bench: &Bench| -> (usize, usize) {
            let (all, ..) = offered(&model, text, bench, "");
            let looks = |c: &Candidate| matches!(c.ask, Ask::Resistance { .. } | Ask::Feel { .. });
            let (mut chips, mut groups) = (0, 0);
            for c in all
                .iter()
                .filter(|c| c.place.starts_with("U1,") && c.step.is_remedy())
            {
                let after = c.step.rule.after.iter();
                chips += 1;
                groups += after
                    .filter(|g| g.iter().all(|d| looks(&all[d.step])))
                    .count();
            }
            (chips, groups)
        };
        assert_eq!(waits(DOWN, &Bench::default()), (1, 2));
        let no_meter = Bench {
            tools: Vec::new(),
            ..Bench::default()
        };
        assert_eq!(waits(DOWN, &no_meter), (1, 1));
        // What gives too little waits for nothing.
        let (all, ..) = offered(&model, DOWN, &Bench::default(), "");
        let switch = all
            .iter()
            .find(|c| c.place.starts_with("SW1,"))
            .expect("a remedy");
        assert!(switch.step.rule.after.is_empty());
    }

    /// P(a unit is at fault) under the hypotheses before a step, and once it came out so.
    fn then(
        c: &Candidate,
        outcome: usize,
        h: &[crate::plan::Hypothesis],
        cause: usize,
    ) -> (f64, f64) {
        let Kind::Observe { rows, .. } = &c.step.kind else {
            panic!("an observation");
        };
        let share = |weight: &dyn Fn(usize) -> f64| {
            let of = |k: usize| h[k].probability * weight(k);
            let with = (0..h.len()).filter(|&k| h[k].faulty.contains(&(cause as u32)));
            with.map(of).sum::<f64>() / (0..h.len()).map(of).sum::<f64>()
        };
        (share(&|_| 1.0), share(&|k| rows[k][outcome]))
    }

    /// The plan expects of each answer what the ranking makes of it.
    #[test]
    fn the_plan_and_the_ranking_agree_on_what_an_answer_tells() {
        let model = board("64k-6510-wide");
        let shorted = format!("{DOWN}resistance 5V 1.8 ohm\n");
        let (all, _, _) = offered(&model, &shorted, &Bench::default(), "");
        let Some(Ask::Feel { places, .. }) = feel(&all).map(|c| &c.ask) else {
            panic!("heat is looked for");
        };
        let names: Vec<String> = places.iter().map(|p| p.name.clone()).collect();
        let warm = |but: &str| -> String {
            let others = names.iter().filter(|n| *n != but);
            others.map(|n| format!("{n} warm\n")).collect()
        };
        let hot = format!("{0} hot\n{1}", names[0], warm(&names[0]));
        let ohms = |c: &Candidate| matches!(&c.ask, Ask::Resistance { rail } if rail == "+5V");
        let heat = |c: &Candidate| matches!(c.ask, Ask::Feel { .. });
        let supply = |c: &Candidate| c.ask == Ask::Supply;
        type Is<'a> = &'a dyn Fn(&Candidate) -> bool;
        let cases: [(&str, Is, usize, String); 6] = [
            (DOWN, &ohms, 0, "resistance 5V 350 ohm\n".into()),
            (DOWN, &ohms, 1, "resistance 5V 1.8 ohm\n".into()),
            (
                DOWN,
                &supply,
                0,
                "psu rail 5V 5.05 V off the board\n".into(),
            ),
            (DOWN, &supply, 1, "psu rail 5V 0.2 V off the board\n".into()),
            (&shorted, &heat, 0, warm("")),
            (&shorted, &heat, 1, hot),
        ];
        for (text, is, outcome, answer) in cases {
            let (all, h, before) = offered(&model, text, &Bench::default(), "");
            let step = all.iter().find(|c| is(c)).expect("offered");
            let after = ranked(&model, &format!("{text}{answer}"));
            // By how much the odds of each suspect rise or fall, in the plan and in the ranking. Their norms differ, for the plan
            // knows the likeliest hypotheses only: so one suspect is held against another.
            let odds = |p: f64| (p / (1.0 - p)).ln();
            let mut shifts: Vec<(String, f64, f64)> = Vec::new();
            for s in before.suspects.iter().take(8) {
                let cause = before.assembled.cause_of(s.instance).expect("a cause");
                let (p, planned) = then(step, outcome, &h, cause);
                let came = after
                    .assembled
                    .cause_of(s.instance)
                    .map_or(0.0, |c| after.posterior.cause(c));
                // What is hardly listed tells nothing of the plan.
                if p >= 0.02 && planned >= 0.005 && came > 0.0 {
                    let (plan, ranking) =
                        (odds(planned) - odds(p), odds(came) - odds(s.probability));
                    shifts.push((s.name.clone(), plan, ranking));
                }
            }
            let (_, plan, ranking) = shifts[0];
            for (name, by_plan, by_ranking) in &shifts {
                let apart = (by_plan - plan) - (by_ranking - ranking);
                assert!(
                    apart.abs() < 1.1,
                    "{name} {answer}: {apart:.3} of {shifts:?}"
                );
            }
            let compared = shifts.len();
            let moved = shifts.iter().filter(|s| s.2.abs() > 0.15).count();
            assert!(compared > 1 && moved > 0, "{answer} {compared} {moved}");
        }
    }

    /// Heat is looked for with all other rails known, and not where one that the memory needs is missing or cannot be read.
    #[test]
    fn nothing_is_powered_for_heat_before_the_other_rails_are_known() {
        let model = board("48k-z80-ula");
        let text =
            "board 48k-z80-ula\ncame in faulty\nrail 9V 9.2 V\nrail 5V 1.9 V\nblack screen\n";
        let (all, ..) = offered(&model, text, &Bench::default(), "");
        let after = &feel(&all).expect("offered").step.rule.after;
        let unread: Vec<&String> = model
            .rails
            .keys()
            .filter(|r| !["+9V", "+5V"].contains(&r.as_str()))
            .collect();
        assert!(!unread.is_empty() && after.len() == unread.len());
        let mut guarded = 0;
        for condition in after.iter().flatten() {
            let Ask::Rail { rail, .. } = &all[condition.step].ask else {
                panic!("waits for a rail");
            };
            let guards = model.rails[rail].guards_memory;
            assert_eq!(condition.outcomes.contains(&1), !guards, "{rail} missing");
            assert!(!condition.outcomes.contains(&3), "{rail} high");
            guarded += usize::from(guards);
        }
        assert!(guarded > 0);
        // A technician who will not read a rail has decided, but memory is not put at risk by it.
        let (all, ..) = offered(&model, text, &Bench::default(), "Measure rail");
        assert!(feel(&all).is_none());
        // Missing, it is a stop: nothing is planned at all.
        let stopped = ranked(&model, &format!("{text}rail -5V 0.0 V\n"));
        let steps = super::super::steps(&model, &stopped);
        assert!(stopped.observed.stop.is_some());
        assert!(
            steps
                .iter()
                .all(|s| !s.power && !matches!(s.ask, Some(Ask::Feel { .. })))
        );
    }

    /// Heat counts by the rail that is low, whatever was typed first, and only for what can short that rail.
    #[test]
    fn heat_on_a_low_rail_tells_the_short() {
        let model = board("64k-6510-wide");
        let of = |text: &str| {
            let all = ranked(&model, text).suspects;
            all.iter()
                .find(|s| s.name == "U10")
                .map_or(0.0, |s| s.probability)
        };
        let before = of(DOWN);
        let (after, first) = (
            of(&format!("{DOWN}U10 hot\n")),
            of(&DOWN.replace("rail 5V 0.3", "U10 hot\nrail 5V 0.3")),
        );
        assert!(after > 3.0 * before, "{before} {after}");
        assert!((after - first).abs() < 1e-9);
        let warm = of(&format!("{DOWN}U10 warm\n"));
        assert!(warm < 0.9 * before, "{before} {warm}");
    }
}
