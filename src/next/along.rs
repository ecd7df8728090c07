//! Lines of one kind followed along one chip: address by address, data bit by data bit. The first pin takes as long as any; then the
//! probe is in hand and the next pin is beside the last. One line that stands still among others that move points at what is on that
//! line alone, not at what all of them need.

use super::steps::{Candidate, Collector, Row, cautions};
use super::{Ask, Tool, costs};
use crate::faultmap::model::{LineDef, Position};
use crate::faultmap::raw::Expect;
use crate::plan::{Condition, Power, Step};
use crate::sheet::Place;
use std::collections::BTreeMap;

/// Fewer lines are looked at one by one.
const FEWEST: usize = 3;
/// More pins than this no one follows in one go.
const MOST: usize = 16;
/// So many lines are an outcome of their own.
const NAMED: usize = 8;

/// A line that was not measured yet, and P(each level) under each hypothesis, as expected first.
pub(super) type Open<'m> = (&'m LineDef, Vec<Row>);

/// A pin of the chip that is followed, with the line on it.
struct Pin<'o, 'm> {
    open: &'o Open<'m>,
    label: &'o str,
}

impl Collector<'_> {
    /// Groups of lines that should pulse, each along the chip that has most of them.
    pub(super) fn along(
        &self,
        open: &[Open],
        tool: Tool,
        gate: &[Condition],
    ) -> Vec<(f64, Candidate)> {
        let mut kinds: BTreeMap<&str, Vec<&Open>> = BTreeMap::new();
        for o in open.iter().filter(|o| o.0.expect == Expect::Pulsing) {
            if let Some((kind, _)) = numbered(&o.0.line) {
                kinds.entry(kind).or_default().push(o);
            }
        }
        let mut out = Vec::new();
        for (_, mut lines) in kinds {
            lines.sort_by_key(|o| numbered(&o.0.line).map(|n| n.1));
            out.extend(self.follow(&lines, tool, gate));
        }
        out
    }

    /// One group, along the chip that has most of its lines; the first among equals of those where the map measures.
    fn follow(&self, lines: &[&Open], tool: Tool, gate: &[Condition]) -> Option<(f64, Candidate)> {
        let names = lines.iter().flat_map(|o| &o.0.at);
        let names = names.filter_map(|at| Some(at.split_once('.')?.0));
        let mut best: Option<(&Position, Vec<Pin>)> = None;
        for name in names {
            let Some((_, chip)) = self.model.position(name) else {
                continue;
            };
            let pins = pins_of(chip, lines);
            if best
                .as_ref()
                .is_none_or(|(_, most)| pins.len() > most.len())
            {
                best = Some((chip, pins));
            }
        }
        let (chip, pins) = best.filter(|(_, pins)| pins.len() >= FEWEST)?;
        Some(self.along_chip(chip, &pins, tool, gate))
    }

    fn along_chip(
        &self,
        chip: &Position,
        pins: &[Pin],
        tool: Tool,
        gate: &[Condition],
    ) -> (f64, Candidate) {
        let (rows, named) = self.still_rows(pins);
        let worth = self.worth(&rows);
        let cost = costs::MEASURE_LINE + costs::NEXT_LINE * (pins.len() - 1) as f64;
        let mut step = Step::observe(cost, rows);
        step.power = Power::On;
        step.rule = self.waits(gate);
        let each: Vec<String> = (pins.iter())
            .map(|p| format!("{} ({})", p.label, p.open.0.line))
            .collect();
        let mut outcomes = vec!["all pulse".to_string()];
        outcomes.extend(
            named
                .iter()
                .map(|&i| format!("only {} does not", pins[i].open.0.line)),
        );
        if named.len() < pins.len() {
            outcomes.push("only another one does not".into());
        }
        outcomes.push("several do not".into());
        let with = match tool {
            Tool::Scope => "the oscilloscope",
            _ => "a logic probe",
        };
        let line = |p: &Pin| {
            let place = Place {
                name: chip.name.clone(),
                pin: Some(p.label.to_string()),
            };
            (p.open.0.line.clone(), place)
        };
        let candidate = Candidate {
            step,
            say: format!(
                "Go along {} with {with}, pin by pin, and look which one does not pulse: {}.",
                chip.name,
                each.join(", ")
            ),
            place: format!("{}, {}", chip.name, in_words(pins)),
            expect: "all pulse; one that stands still among others that move has a stuck or broken driver, or is held by \
                     something on it"
                .into(),
            hazard: Some(cautions(pins.iter().map(|p| p.open.0))),
            outcomes,
            needs: Some(tool.to_string()),
            ask: Ask::Lines {
                lines: pins.iter().map(line).collect(),
            },
        };
        (worth, candidate)
    }

    /// P(all pulse, only this one does not, only another one, several) under each hypothesis, and which lines have an outcome of
    /// their own: those that most probably stand still alone.
    fn still_rows(&self, pins: &[Pin]) -> (Vec<Row>, Vec<usize>) {
        let alone = |h: usize| -> (f64, Vec<f64>) {
            let moves: Vec<f64> = pins.iter().map(|p| p.open.1[h][0]).collect();
            let all: f64 = moves.iter().product();
            let only = |i: usize| -> f64 {
                let others = moves.iter().enumerate().filter(|(k, _)| *k != i);
                (1.0 - moves[i]) * others.map(|(_, m)| m).product::<f64>()
            };
            (all, (0..pins.len()).map(only).collect())
        };
        let by_hypothesis: Vec<(f64, Vec<f64>)> = (0..self.supposed.len()).map(alone).collect();
        let weight = |i: usize| -> f64 {
            let of = |(h, (_, only)): (usize, &(f64, Vec<f64>))| {
                self.supposed[h].0.probability * only[i]
            };
            by_hypothesis.iter().enumerate().map(of).sum()
        };
        let mut named: Vec<usize> = (0..pins.len()).collect();
        named.sort_by(|&a, &b| weight(b).total_cmp(&weight(a)).then(a.cmp(&b)));
        named.truncate(NAMED);
        let row = |(all, only): &(f64, Vec<f64>)| -> Row {
            let one: f64 = only.iter().sum();
            let mut row = vec![*all];
            row.extend(named.iter().map(|&i| only[i]));
            if named.len() < pins.len() {
                row.push((one - named.iter().map(|&i| only[i]).sum::<f64>()).max(0.0));
            }
            row.push((1.0 - all - one).max(0.0));
            row
        };
        (by_hypothesis.iter().map(row).collect(), named)
    }
}

/// `lines MA0 to MA7`; where some are left out, each by its name.
fn in_words(pins: &[Pin]) -> String {
    let names: Vec<&str> = pins.iter().map(|p| p.open.0.line.as_str()).collect();
    let numbers: Vec<u32> = names.iter().filter_map(|n| Some(numbered(n)?.1)).collect();
    let in_a_row = numbers.windows(2).all(|w| w[1] == w[0] + 1);
    match (in_a_row, names.first(), names.last()) {
        (true, Some(first), Some(last)) => format!("lines {first} to {last}"),
        _ => format!("lines {}", names.join(", ")),
    }
}

/// The kind and the number of a line that is one of several: `MA6` is number 6 of `MA`.
pub(super) fn numbered(line: &str) -> Option<(&str, u32)> {
    let kind = line.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = line[kind.len()..].parse().ok()?;
    (!kind.is_empty()).then_some((kind, number))
}

/// The pins of a chip with these lines on them, in their order.
fn pins_of<'o, 'm>(chip: &'o Position, lines: &[&'o Open<'m>]) -> Vec<Pin<'o, 'm>> {
    let pin = |open: &&'o Open<'m>| {
        let on = |p: &&crate::faultmap::model::Pin| p.line.as_deref() == Some(&open.0.line);
        let label = chip.pins.iter().find(on)?.label.as_str();
        Some(Pin { open, label })
    };
    lines.iter().filter_map(pin).take(MOST).collect()
}

#[cfg(test)]
mod tests {
    use super::super::Bench;
    use super::*;
    use crate::plan::Kind;
    use crate::sampled::{BLACK, offered};

    /// All bits of the memory are bad, by a machine with nothing on the screen.
    fn bits() -> String {
        format!("{BLACK}memory bits 0-7 bad\n")
    }

    fn walks(text: &str, bench: &Bench) -> Vec<Candidate> {
        let all = offered(text, bench);
        let along = |c: &Candidate| matches!(c.ask, Ask::Lines { .. });
        all.into_iter().filter(along).collect()
    }

    fn places(c: &Candidate) -> Vec<(String, String)> {
        let Ask::Lines { lines } = &c.ask else {
            panic!("lines are asked for");
        };
        let pin = |p: &Place| format!("{}.{}", p.name, p.pin.as_deref().unwrap_or_default());
        lines
            .iter()
            .map(|(line, p)| (line.clone(), pin(p)))
            .collect()
    }

    #[test]
    fn the_addresses_of_the_memory_are_followed_along_one_chip() {
        let all = walks(&bits(), &Bench::default());
        let memory = all
            .iter()
            .find(|c| places(c)[0].0 == "MA0")
            .expect("offered");
        let of = places(memory);
        assert_eq!(of.len(), 8);
        // The pins of a 4164: A0 at 5, A1 at 7, A2 at 6, A7 at 9.
        let pin = |n: usize| of[n].1.split_once('.').expect("a pin").1.to_string();
        assert_eq!([pin(0), pin(1), pin(2), pin(7)], ["5", "7", "6", "9"]);
        assert_eq!(
            memory.step.cost.minutes,
            costs::MEASURE_LINE + 7.0 * costs::NEXT_LINE
        );
        assert!(
            memory.place.ends_with(", lines MA0 to MA7"),
            "{}",
            memory.place
        );
        // What was measured is not asked again, and two lines are no walk.
        let some: String = of[2..]
            .iter()
            .map(|(_, pin)| format!("{pin} pulsing\n"))
            .collect();
        let rest = walks(&format!("{}{some}", bits()), &Bench::default());
        assert!(rest.iter().all(|c| places(c)[0].0 != "MA0"));
        let no_probe = Bench {
            tools: Vec::new(),
            ..Bench::default()
        };
        assert!(walks(&bits(), &no_probe).is_empty());
    }

    #[test]
    fn the_outcomes_are_all_there_is() {
        let all = walks(&bits(), &Bench::default());
        assert!(all.len() > 1);
        for c in &all {
            let Kind::Observe { rows, .. } = &c.step.kind else {
                panic!("an observation");
            };
            for row in rows {
                assert_eq!(row.len(), c.outcomes.len());
                assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{row:?}");
            }
        }
    }

    #[test]
    fn lines_of_a_kind_are_told_by_their_numbers() {
        assert_eq!(numbered("MA6"), Some(("MA", 6)));
        assert_eq!(numbered("KB_COL10"), Some(("KB_COL", 10)));
        assert_eq!((numbered("RAS_N"), numbered("12")), (None, None));
    }
}
