//! What an uncertain line counts as until somebody has looked at the photograph.
//!
//! Only results of the test and of the probe count so: never rails, the supply or its fuse being good, what was done to the
//! machine, or what is fitted in it. Those decide whether a board may be powered, and what is where.

use super::{Judge, Row, Said};
use crate::sheet::statement::{Finding, State, Statement, Subject};

/// P(the first alternative is wrong) where no recognition says another thing that can be read, on a photograph that was read
/// well: see the figures in DEVELOPERS.md (`tests/photo.rs` counts them).
const DOUBT: f64 = 0.05;

/// The first alternative of an uncertain line, which counts for less until it is confirmed.
#[derive(Debug, Clone, PartialEq)]
pub struct Provisional {
    /// What it says.
    pub findings: Vec<Finding>,
    /// What the other alternatives say: nobody has seen that this is fine.
    pub others: Vec<Finding>,
    /// P(the line says something else).
    pub doubt: f64,
}

impl Judge<'_> {
    /// What counts for an uncertain line; `None` where a recognition says something else, or where it must not count.
    pub(super) fn provisional(&mut self, row: &Row, offered: &[Said]) -> Option<Provisional> {
        let (first, others) = offered.split_first()?;
        let mut variants = row.variants.iter().flatten();
        let rival = variants.any(|v| {
            let says = self.said(v);
            says.whole && !says.statements.is_empty() && says != *first
        });
        if rival || row.variants.iter().flatten().count() < 2 {
            return None;
        }
        let findings: Vec<Finding> = first.values.iter().map(may_count).collect::<Option<_>>()?;
        let others = others
            .iter()
            .flat_map(|o| o.values.iter().filter_map(may_count));
        Some(Provisional {
            findings,
            others: others.collect(),
            doubt: DOUBT,
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
        let certain =
            "ticket 0412\nboard dunlin-64\ncame in faulty\nclock 1 ok\nvoice 1 ok\nvoice 2 dead\n";
        let text = format!("{certain}{first}\n\u{c}{certain}{second}\n");
        let sheet = parse_photo("p", text.as_bytes(), &Bench::default()).expect("a text");
        let line = sheet.lines.last().expect("a line");
        assert!(line.statements.is_empty(), "{:?}", line.statements);
        let print = |f: &Finding| print_statement(&Statement::Finding(f.clone()));
        let first = line.provisional.as_ref()?;
        let said: Vec<String> = first.findings.iter().map(print).collect();
        assert_eq!(said.join("; "), line.alternatives[0]);
        Some(said)
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
    fn what_recognitions_read_otherwise_is_only_asked() {
        assert_eq!(counts("voice 2 dead", "voice 3 dead"), None);
        assert_eq!(counts("memory bit 3 bad", "memory bit 5 bad"), None);
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
    fn of_a_photograph_that_was_read_badly_nothing_uncertain_counts() {
        let page = "memory ok\nfuse Fl missing\nKRO low\n";
        let text = format!("{page}\u{c}{page}");
        let sheet = parse_photo("p", text.as_bytes(), &Bench::default()).expect("a text");
        assert!(sheet.lines[1].alternatives.len() > 1);
        assert!(sheet.lines.iter().all(|l| l.provisional.is_none()));
    }
}
