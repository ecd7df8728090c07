//! Uncertain lines of a photograph: what counts until they are confirmed, and how much.
//!
//! The line says what its first alternative says, but for the doubt d. So a fault that shows with strength s gives it with
//! s·(1 − d). Without a fault behind it the line would have to say something else, and that mostly is a failure too, which
//! needs a fault of its own: P(it reads so | nothing acts on it) grows by d times [`FAILS`] only.

use std::collections::BTreeMap;

use super::{Evidence, Observer, Reading};
use crate::infer::network::Outcome;
use crate::sheet::photo::Provisional;
use crate::sheet::{Finding, Subject};
use crate::source::Span;

/// P(a check fails) of those that a line may speak of when it does not speak of this one (guess).
const FAILS: f64 = 0.05;

/// The lines that count provisionally, and how much each is doubted.
#[derive(Debug, Default)]
pub(super) struct Doubts {
    lines: BTreeMap<(usize, usize), f64>,
    /// Runs with cells of memory among them, and with keys: what a list says as a whole is as uncertain as its worst line.
    cells: BTreeMap<usize, f64>,
    keys: BTreeMap<usize, f64>,
}

impl Doubts {
    /// Whether a line counts provisionally.
    pub(super) fn is_of(&self, sheet: usize, line: usize) -> bool {
        self.lines.contains_key(&(sheet, line))
    }

    /// P(a reading is another).
    fn of(&self, r: &Reading) -> f64 {
        let own = self.lines.get(&(r.sheet, r.line)).copied();
        let list = match &r.evidence {
            Evidence::Check(c) if c.check.starts_with("cells.") => self.cells.get(&c.run),
            Evidence::Check(c) if c.check.starts_with("keys ") => self.keys.get(&c.run),
            _ => None,
        };
        own.unwrap_or(0.0).max(list.copied().unwrap_or(0.0))
    }

    /// Takes from each reading what it is doubted.
    pub(super) fn weaken(&self, readings: &mut [Reading]) {
        if self.lines.is_empty() {
            return;
        }
        for r in readings {
            let doubt = self.of(r);
            if doubt == 0.0 {
                continue;
            }
            match &mut r.evidence {
                Evidence::Check(c) => {
                    for (_, strength) in &mut c.effects {
                        *strength *= 1.0 - doubt;
                    }
                    if c.outcome != Outcome::Pass {
                        c.leak = 1.0 - (1.0 - c.leak) * (1.0 - doubt * FAILS);
                    }
                }
                Evidence::Unit { fine, faulty, .. }
                | Evidence::Felt {
                    sound: fine,
                    shorted: faulty,
                    ..
                } => {
                    let nothing = (*fine + *faulty) / 2.0;
                    for p in [fine, faulty] {
                        *p = *p * (1.0 - doubt) + nothing * doubt;
                    }
                }
                _ => {}
            }
        }
    }
}

impl Observer<'_> {
    /// Counts what an uncertain line most probably says. What decides whether the board may be powered stays as it was.
    pub(super) fn provisional(&mut self, first: &Provisional, span: Span) {
        self.span = span;
        let place = (self.sheet, self.line);
        let may = |f: &Finding| super::sense::question(self.model, f).is_none() && !self.at_rail(f);
        if !first.findings.iter().all(may) {
            return;
        }
        self.doubts.lines.insert(place, first.doubt);
        for finding in &first.findings {
            let lists = match &finding.subject {
                Subject::MemoryCell { .. } => Some(&mut self.doubts.cells),
                Subject::Key(_) => Some(&mut self.doubts.keys),
                _ => None,
            };
            if let Some(lists) = lists {
                let worst = lists.entry(self.run).or_insert(0.0);
                *worst = worst.max(first.doubt);
            }
            self.finding(finding);
        }
        // 'Rest fine' does not mean what this line may be about.
        for other in &first.others {
            for id in self.checks_of(&other.subject) {
                self.out.read.insert(format!("{}/{id}", self.run));
            }
        }
    }

    /// Whether a finding is a level at a pin that a rail is on: then it is a reading of the rail, which opens steps under power.
    fn at_rail(&self, f: &Finding) -> bool {
        let Subject::Level(place) = &f.subject else {
            return false;
        };
        let line = super::board::line(self.model, place);
        self.model
            .rails
            .values()
            .any(|r| line == Some(r.line.as_str()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::{CheckReading, Observed, observe};
    use crate::sheet::{Bench, RunSheet, parse, parse_photo};
    use crate::shipped::Library;

    const HEAD: &str = "ticket 0412\nboard dunlin-64\ncame in faulty\nat 2026-11-24 13:40\nhistory a shed\nnote two knobs lost\n";

    fn photo(line: &str) -> RunSheet {
        let text = format!("{HEAD}{line}\n\u{c}{HEAD}{line}\n");
        parse_photo("p", text.as_bytes(), &Bench::default()).expect("a text")
    }

    fn of(sheet: RunSheet) -> Observed {
        let model = Library::default().board("dunlin-64").expect("a board");
        observe(&model, &[sheet])
    }

    fn check<'a>(o: &'a Observed, id: &str) -> Option<&'a CheckReading> {
        o.readings.iter().find_map(|r| match &r.evidence {
            Evidence::Check(c) if c.check == id => Some(c),
            _ => None,
        })
    }

    #[test]
    fn an_uncertain_reading_counts_for_less() {
        let certain = of(parse("t", b"board dunlin-64\nline KR0 low\n").expect("a text"));
        let uncertain = of(photo("KRO low"));
        let of = |o| check(o, "line.KR0").expect("a reading").clone();
        let (certain, uncertain) = (of(&certain), of(&uncertain));
        assert_eq!(certain.outcome, uncertain.outcome);
        assert!(uncertain.leak > certain.leak && uncertain.leak < 0.05);
        let pairs = certain.effects.iter().zip(uncertain.effects.iter());
        assert!(pairs.clone().count() > 0);
        for (c, u) in pairs {
            assert_eq!(c.0, u.0);
            assert!(u.1 < c.1 && u.1 > 0.9 * c.1, "{c:?} {u:?}");
        }
    }

    #[test]
    fn it_does_not_say_that_the_test_ran_nor_stop_the_board() {
        let o = of(photo("timer la bad"));
        assert!(check(&o, "timer.1.a").is_some() && !o.test_ran);
        let o = of(photo("Sv rail 9.02"));
        assert!(o.stop.is_none() && o.stops.is_empty() && check(&o, "rail.+5V").is_none());
    }

    #[test]
    fn a_level_at_a_pin_of_a_rail_is_only_asked() {
        for volts in ["4.98", "9.02"] {
            let text = format!("board dunlin-64\nA1.20 {volts} V\n");
            let mut sheet = parse("t", text.as_bytes()).expect("a text");
            let certain = of(sheet.clone());
            assert!(
                certain.read.contains("rail.+5V") && certain.stop.is_some() == (volts == "9.02")
            );
            // As if the second line were an uncertain one of a photograph.
            let line = &mut sheet.lines[1];
            let statements = std::mem::take(&mut line.statements).into_iter();
            let findings = statements.map(|s| match s.value {
                crate::sheet::Statement::Finding(f) => f,
                other => panic!("{other:?}"),
            });
            line.provisional = Some(Provisional {
                findings: findings.collect(),
                others: Vec::new(),
                doubt: 0.05,
            });
            let o = of(sheet);
            assert!(check(&o, "rail.+5V").is_none() && !o.read.contains("rail.+5V"));
            assert!(o.stop.is_none() && o.stops.is_empty());
        }
    }

    #[test]
    fn a_fuse_that_is_perhaps_missing_is_no_fact_but_leads() {
        let sheet = photo("fuse Fl missing\nboth clocks stopped\nno sound");
        let model = Library::default().board("dunlin-64").expect("a board");
        let ranking = crate::rank::rank(&model, &[sheet]).expect("a ranking");
        assert!(ranking.observed.facts.empty.is_empty());
        let first = &ranking.suspects[0];
        assert!(
            first.name == "F1" && first.probability > 0.8 && first.probability < 1.0,
            "{first:?}"
        );
    }

    #[test]
    fn rest_fine_does_not_clear_what_the_line_may_be_about() {
        let o = of(photo("memory blt O bad\nrest fine"));
        let passed =
            |bit: u8| check(&o, &format!("memory.bit.{bit}")).map(|c| c.outcome == Outcome::Pass);
        assert_eq!(
            (passed(0), passed(6), passed(1)),
            (Some(false), None, Some(true))
        );
    }
}
