//! Uncertain lines of a photograph: what counts until they are confirmed, and how much.
//!
//! The line says what its first alternative says, but for the doubt d. What names things that are not on this board is no
//! alternative; where all that are left say the same of this result, it is not in doubt. A fault that shows with strength s
//! gives a doubtful line with s·(1 − d). With no fault behind it the line must say something else. Where that is a failure too,
//! it needs a fault of its own: P(it reads so | nothing acts on it) stays what it is. It grows by d times the share of the
//! alternatives that speak of no failure.

use std::collections::BTreeMap;

use super::clocks::Ratio;
use super::sense::possible;
use super::{Evidence, Observer, Reading, board, photo, sense};
use crate::infer::network::Outcome;
use crate::sheet::photo::{Provisional, stated};
use crate::sheet::{Finding, Line, Statement, Subject};
use crate::source::Span;

/// A clock that is less than this wrong is no failure: its mains may be so.
const RATE_OFF: f64 = 0.05;

/// P(what an uncertain line says is not among its alternatives), off a photograph that was read well: at the mild and middle
/// strength `tests/photo.rs` counted none among 216 (seeds 101 to 103), by the rule of succession one in 218.
const LOST_WELL: f64 = 0.005;
/// The same off one that was read badly: 49 among 444 at the strong strength there.
const LOST_BADLY: f64 = 0.11;

/// How much a line is doubted.
#[derive(Debug, Clone, Copy, Default)]
struct Doubt {
    /// P(it says something else).
    other: f64,
    /// P(it says something else, and that is no failure).
    no_failure: f64,
}

impl Doubt {
    fn worst(self, with: Self) -> Self {
        Self {
            other: self.other.max(with.other),
            no_failure: self.no_failure.max(with.no_failure),
        }
    }
}

/// The lines that count provisionally, and how much each is doubted.
#[derive(Debug, Default)]
pub(super) struct Doubts {
    lines: BTreeMap<(usize, usize), Doubt>,
    /// Runs with cells of memory among them, and with keys: what a list says as a whole is as uncertain as its worst line.
    cells: BTreeMap<usize, Doubt>,
    keys: BTreeMap<usize, Doubt>,
}

impl Doubts {
    /// Whether a line counts provisionally.
    pub(super) fn is_of(&self, sheet: usize, line: usize) -> bool {
        self.lines.contains_key(&(sheet, line))
    }

    /// How much a reading is doubted.
    fn of(&self, r: &Reading) -> Doubt {
        let own = self.lines.get(&(r.sheet, r.line)).copied();
        let list = match &r.evidence {
            Evidence::Check(c) if c.check.starts_with(super::memory::CELLS) => {
                self.cells.get(&c.run)
            }
            Evidence::Check(c) if c.check.starts_with("keys ") => self.keys.get(&c.run),
            _ => None,
        };
        own.unwrap_or_default()
            .worst(list.copied().unwrap_or_default())
    }

    /// Takes from each reading what it is doubted.
    pub(super) fn weaken(&self, readings: &mut [Reading]) {
        if self.lines.is_empty() {
            return;
        }
        for r in readings {
            let doubt = self.of(r);
            if doubt.other == 0.0 {
                continue;
            }
            match &mut r.evidence {
                Evidence::Check(c) => {
                    for (_, strength) in &mut c.effects {
                        *strength *= 1.0 - doubt.other;
                    }
                    if c.outcome != Outcome::Pass {
                        c.leak = 1.0 - (1.0 - c.leak) * (1.0 - doubt.no_failure);
                    }
                }
                Evidence::Unit { fine, faulty, .. }
                | Evidence::Modes {
                    without: fine,
                    with: faulty,
                    ..
                } => {
                    let nothing = (*fine + *faulty) / 2.0;
                    for p in [fine, faulty] {
                        *p = *p * (1.0 - doubt.other) + nothing * doubt.other;
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
        let may = |f: &Finding| sense::question(self.model, f).is_none() && !self.at_rail(f);
        if !first.findings.iter().all(may) {
            return;
        }
        let others = first.others.iter();
        let others: Vec<&Vec<Statement>> = others.filter(|o| possible(self.model, o)).collect();
        let doubt = self.doubt(first, &others);
        self.doubts.lines.insert(place, doubt);
        for finding in &first.findings {
            let lists = match &finding.subject {
                Subject::MemoryCell { .. } => Some(&mut self.doubts.cells),
                Subject::Key(_) => Some(&mut self.doubts.keys),
                _ => None,
            };
            if let Some(lists) = lists {
                let worst = lists.entry(self.run).or_default();
                *worst = worst.worst(doubt);
            }
            self.finding(finding);
        }
        others.into_iter().for_each(|other| self.not_fine(other));
    }

    /// P(a line that was not taken speaks of something that nobody will find in what it may say). Off a photograph that line
    /// says one of its alternatives, nearly always; then 'rest fine' means everything that none of them is about.
    pub(super) fn lost(&mut self, line: &Line) -> f64 {
        if line.alternatives.is_empty() {
            return 1.0;
        }
        if line.provisional.is_none() {
            for alternative in &line.alternatives {
                self.not_fine(&stated(alternative));
            }
        }
        self.not_offered()
    }

    /// 'Rest fine' does not mean what these statements are about.
    fn not_fine(&mut self, statements: &[Statement]) {
        for s in statements {
            if let Statement::Finding(f) = s {
                for id in self.checks_of(&f.subject) {
                    self.here.insert(id.clone());
                }
            }
        }
    }

    /// How much of an uncertain line is in doubt, given what else it may say.
    fn doubt(&self, first: &Provisional, others: &[&Vec<Statement>]) -> Doubt {
        let same = |o: &&Vec<Statement>| first.findings.iter().all(|f| self.says(o, f));
        if !others.is_empty() && others.iter().all(same) {
            return Doubt::default();
        }
        // Nothing else that it may be is on this board.
        if others.is_empty() {
            let other = first.doubt.min(self.not_offered());
            let fails = first.findings.iter().all(photo::says_failure);
            let no_failure = if fails { 0.0 } else { other };
            return Doubt { other, no_failure };
        }
        let fine = |o: &&&Vec<Statement>| !o.iter().any(is_failure);
        let share = others.iter().filter(fine).count() as f64 / others.len() as f64;
        Doubt {
            other: first.doubt,
            no_failure: first.doubt * share,
        }
    }

    /// P(what an uncertain line says is not among its alternatives).
    fn not_offered(&self) -> f64 {
        match self.photo {
            Some(true) => LOST_WELL,
            _ => LOST_BADLY,
        }
    }

    /// Whether statements say what a finding says, of the same checks or of more.
    fn says(&self, statements: &[Statement], finding: &Finding) -> bool {
        let checks = self.checks_of(&finding.subject);
        let of = |s: &Statement| match s {
            Statement::Finding(f) if f == finding => true,
            Statement::Finding(f) if f.state == finding.state && !checks.is_empty() => {
                let more = self.checks_of(&f.subject);
                checks.iter().all(|id| more.contains(id))
            }
            _ => false,
        };
        statements.iter().any(of)
    }

    /// Whether a finding is a level at a pin that a rail is on: then it is a reading of the rail, which opens steps under power.
    fn at_rail(&self, f: &Finding) -> bool {
        let Subject::Level(place) = &f.subject else {
            return false;
        };
        let line = board::line(self.model, place);
        self.model
            .rails
            .values()
            .any(|r| line == Some(r.line.as_str()))
    }
}

/// Whether a statement says that something failed: by a word, a byte that is not the one written, or a rate.
fn is_failure(statement: &Statement) -> bool {
    let Statement::Finding(f) = statement else {
        return false;
    };
    let off = |r: Ratio| (r.q - 1.0).abs() > RATE_OFF;
    match &f.subject {
        Subject::MemoryCell { wrote, read, .. } => wrote != read,
        _ => photo::says_failure(f) || Ratio::of(&f.state).is_some_and(off),
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
    fn a_misread_place_makes_no_failure_false() {
        for (certain, uncertain, id) in [
            ("memory bit 0 bad", "memory blt O bad", "memory.bit.0"),
            ("timer 1a bad", "timer la bad", "timer.1.a"),
        ] {
            let text = format!("board dunlin-64\n{certain}\n");
            let certain = of(parse("t", text.as_bytes()).expect("a text"));
            let uncertain = of(photo(uncertain));
            let of = |o| check(o, id).expect("a reading").clone();
            let more = of(&uncertain).leak - of(&certain).leak;
            assert!(more.abs() < 1e-9, "{id}: {more}");
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

    /// A line that may be only this or that leaves 'rest fine' nearly all it says of the others; one of which nobody knows what it
    /// may be takes much more of it.
    #[test]
    fn rest_fine_keeps_its_weight_beside_a_line_whose_readings_are_all_offered() {
        let strength = |o: &Observed| {
            let c = check(o, "memory.bit.1").expect("a reading");
            c.effects.iter().map(|e| e.1).fold(0.0, f64::max)
        };
        let plain = strength(&of(photo("rest fine")));
        let offered = strength(&of(photo("memory blt O bad\nrest fine")));
        let unknown = strength(&of(photo("xqzz wvvk\nrest fine")));
        assert!(offered > 0.98 * plain && plain > 0.5, "{offered} {plain}");
        assert!(unknown < 0.95 * offered, "{unknown} {offered}");
    }
}
