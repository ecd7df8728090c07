//! Uncertain lines of a photograph: what counts until they are confirmed, and how much.
//!
//! The line says what its first alternative says, but for the doubt d. So a fault that shows with strength s gives it with
//! s·(1 − d). Without a fault behind it the line would have to say something else, and that mostly is a failure too, which
//! needs a fault of its own: P(it reads so | nothing acts on it) grows by d times [`FAILS`] only.

use std::collections::BTreeMap;

use super::{Evidence, Observer, Reading, odds};
use crate::infer::network::Outcome;
use crate::sheet::photo::Provisional;
use crate::sheet::{Finding, State, Subject};
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
                Evidence::Unit { fine, faulty, .. } => {
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
        let possible = |f: &Finding| super::sense::question(self.model, f).is_none();
        if !first.findings.iter().all(possible) {
            return;
        }
        self.doubts.lines.insert(place, first.doubt);
        let out = &mut self.out;
        let safety = (
            out.stop.clone(),
            out.stops.clone(),
            out.supply.clone(),
            out.test_ran,
        );
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
            self.uncertain(finding);
        }
        let out = &mut self.out;
        (out.stop, out.stops, out.supply, out.test_ran) = safety;
        // 'Rest fine' does not mean what this line may be about.
        for other in &first.others {
            for id in self.checks_of(&other.subject) {
                self.out.read.insert(format!("{}/{id}", self.run));
            }
        }
    }

    fn uncertain(&mut self, finding: &Finding) {
        match (&finding.subject, &finding.state) {
            // That a fuse is not there is a fact when it is certain; till then it is as good as blown.
            (Subject::Fuse(place), State::Seen(what)) if what == "missing" => {
                let (fine, faulty) = odds::FUSE[1];
                let text = format!("fuse {} missing", place.name);
                self.about_part(place, fine, faulty, &text);
            }
            _ => self.finding(finding),
        }
    }
}
