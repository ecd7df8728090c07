//! What an uncertain line counts as until somebody has looked at the photograph.
//!
//! Only results of the test and of the probe count so: never rails, the supply or its fuse being good, what was done to the
//! machine, or what is fitted in it. Those decide whether a board may be powered, and what is where.

use super::{Judge, Row, Said};
use crate::sheet::statement::{Finding, State, Statement, Subject};

/// P(the first alternative is wrong) where no recognition says another thing that can be read, on a photograph that was read
/// well: at the mild and middle strength `tests/photo.rs` counted 1 wrong among 45 (seeds 101 to 103), by the rule of
/// succession 2 in 47.
const DOUBT: f64 = 0.04;
/// The same where a recognition says something else: 4 wrong among 55 there, by the same rule 5 in 57.
const DOUBT_RIVAL: f64 = 0.09;
/// The same on a photograph that was read badly: 69 wrong among 290 at the strong strength there.
const DOUBT_BADLY: f64 = 0.24;

/// The first alternative of an uncertain line, which counts for less until it is confirmed.
#[derive(Debug, Clone, PartialEq)]
pub struct Provisional {
    /// What it says.
    pub findings: Vec<Finding>,
    /// What else it may say: nobody has seen that this is fine.
    pub others: Vec<Vec<Statement>>,
    /// P(the line says something else).
    pub doubt: f64,
}

impl Provisional {
    /// All that the line may say and that may count, likeliest first, with P(it says that).
    pub fn choices(&self) -> Vec<(Vec<Finding>, f64)> {
        let each = self.doubt / self.others.len().max(1) as f64;
        let others = self.others.iter().filter_map(|o| {
            let findings = o.iter().map(may_count).collect::<Option<_>>()?;
            Some((findings, each))
        });
        std::iter::once((self.findings.clone(), 1.0 - self.doubt))
            .chain(others)
            .collect()
    }

    /// The same line taken to say another of its [choices](Self::choices), with P(it says something else).
    pub fn instead(&self, findings: Vec<Finding>, doubt: f64) -> Self {
        let as_statements = |f: &[Finding]| f.iter().cloned().map(Statement::Finding).collect();
        let chosen: Vec<Statement> = as_statements(&findings);
        let mut others = self.others.clone();
        others.retain(|o| *o != chosen);
        others.insert(0, as_statements(&self.findings));
        Self {
            findings,
            others,
            doubt,
        }
    }

    /// What it counts as off a photograph that was read well, or badly.
    pub(super) fn read(self, well: bool) -> Self {
        let doubt = if well { self.doubt } else { DOUBT_BADLY };
        Self { doubt, ..self }
    }
}

impl Judge<'_> {
    /// What counts for an uncertain line; `None` where it must not count.
    pub(super) fn provisional(&mut self, row: &Row, offered: &[Said]) -> Option<Provisional> {
        let (first, others) = offered.split_first()?;
        if row.variants.iter().flatten().count() < 2 {
            return None;
        }
        let mut variants = row.variants.iter().flatten();
        let rival = variants.any(|v| {
            let says = self.said(v);
            says.whole && !says.statements.is_empty() && says != *first
        });
        let findings: Vec<Finding> = first.values.iter().map(may_count).collect::<Option<_>>()?;
        Some(Provisional {
            findings,
            others: others.iter().map(|o| o.values.clone()).collect(),
            doubt: if rival { DOUBT_RIVAL } else { DOUBT },
        })
    }
}

/// A finding that may count without being certain.
fn may_count(statement: &Statement) -> Option<Finding> {
    let Statement::Finding(f) = statement else {
        return None;
    };
    let powers = matches!(
        f.subject,
        Subject::Test
            | Subject::Rail(_)
            | Subject::Ripple(_)
            | Subject::Resistance(_)
            | Subject::Supply(_)
            | Subject::Current(_)
    );
    let fuse_good = matches!(f.subject, Subject::Fuse(_)) && f.state == State::Ok;
    // How many more there were tells what kind of list it is: one digit more is another list.
    let count = matches!(f.state, State::More(_));
    (!powers && !fuse_good && !count).then(|| f.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::{Bench, parse_photo, print_statement};

    /// What counts provisionally of the line behind six that are certain.
    fn counts(first: &str, second: &str) -> Option<Vec<String>> {
        let print = |f: &Finding| print_statement(&Statement::Finding(f.clone()));
        of(first, second).map(|p| p.findings.iter().map(print).collect())
    }

    fn of(first: &str, second: &str) -> Option<Provisional> {
        let certain =
            "ticket 0412\nboard dunlin-64\ncame in faulty\nclock 1 ok\nvoice 1 ok\nvoice 2 dead\n";
        let text = format!("{certain}{first}\n\u{c}{certain}{second}\n");
        let sheet = parse_photo("p", text.as_bytes(), &Bench::default()).expect("a text");
        let line = sheet.lines.last().expect("a line");
        assert!(line.statements.is_empty(), "{:?}", line.statements);
        let print = |f: &Finding| print_statement(&Statement::Finding(f.clone()));
        let first = line.provisional.clone()?;
        let said: Vec<String> = first.findings.iter().map(print).collect();
        assert_eq!(said.join("; "), line.alternatives[0]);
        Some(first)
    }

    #[test]
    fn results_that_no_recognition_reads_otherwise_count() {
        let one = |s: &str| Some(vec![s.to_string()]);
        assert_eq!(
            counts("fuse Fl missing", "fuse Fl missing"),
            one("fuse F1 missing")
        );
        assert_eq!(counts("KRO low", "KRO low"), one("line KR0 low"));
        assert_eq!(counts("timer la bad", "timer la bad"), one("timer 1a bad"));
    }

    #[test]
    fn what_a_recognition_reads_otherwise_counts_for_less() {
        let doubt = |first, second| of(first, second).map(|p| p.doubt);
        assert_eq!(doubt("KRO low", "KRO low"), Some(DOUBT));
        assert_eq!(doubt("voice 2 dead", "voice 3 dead"), Some(DOUBT_RIVAL));
        assert_eq!(
            doubt("memory bit 3 bad", "memory bit 5 bad"),
            Some(DOUBT_RIVAL)
        );
    }

    #[test]
    fn what_powers_and_what_was_done_never_counts() {
        for line in [
            "Sv rail 9.02",
            "swapped Al: no change",
            "fuse Fl ok",
            "pulled Tl: cured",
        ] {
            assert_eq!(counts(line, line), None, "{line}");
        }
    }

    #[test]
    fn of_a_photograph_that_was_read_badly_it_counts_for_much_less() {
        let page = "memory ok\nfuse Fl missing\nKRO low\n";
        let text = format!("{page}\u{c}{page}");
        let sheet = parse_photo("p", text.as_bytes(), &Bench::default()).expect("a text");
        assert!(sheet.lines[1].alternatives.len() > 1);
        let doubts = sheet.lines.iter().filter_map(|l| l.provisional.as_ref());
        assert_eq!(
            doubts.map(|p| p.doubt).collect::<Vec<_>>(),
            [DOUBT_BADLY; 2]
        );
    }
}
