//! Uncertain lines of a photograph, as far as the board and the other lines settle them.
//!
//! What names things that are not on the board is left out. Where one thing is left, it counts, a remedy too. Where several may
//! count, Bayes' rule says which: P(the line says a | the sheet) ∝ P(recognition takes the line for what it has | a) · P(the
//! sheet with a), which the ranking gives as its evidence. All of it stays marked as uncertain.

use super::brief;
use crate::faultmap::model::BoardModel;
use crate::faultmap::raw::Class;
use crate::observe::board;
use crate::observe::sense::possible;
use crate::sheet::photo::{Provisional, stated};
use crate::sheet::{Finding, HandsOn, Line, RunSheet, Statement, Subject, print_statement};
use crate::source::Spanned;
use std::borrow::Cow;

/// Rankings made to settle the lines of one machine, at most.
const MOST_RANKINGS: usize = 24;
/// What the other lines say of a line leaves it at least this doubtful.
const LEAST_DOUBT: f64 = 0.005;

/// The sheets with their uncertain lines settled; as they are when there are none.
pub fn settle<'s>(model: &BoardModel, sheets: &'s [RunSheet]) -> Cow<'s, [RunSheet]> {
    let mut lines = sheets.iter().flat_map(|s| &s.lines);
    if lines.all(|l| l.alternatives.is_empty()) {
        return Cow::Borrowed(sheets);
    }
    let mut own = sheets.to_vec();
    for line in own.iter_mut().flat_map(|s| &mut s.lines) {
        on_the_board(model, line);
    }
    by_the_others(model, &mut own);
    Cow::Owned(own)
}

/// Leaves out what is not on the board.
fn on_the_board(model: &BoardModel, line: &mut Line) {
    // What was read counts already, with its alternatives beside it.
    if line.not_understood.is_none() || line.alternatives.is_empty() {
        return;
    }
    let kept: Vec<(String, Vec<Statement>)> = (line.alternatives.iter())
        .map(|text| (text.clone(), stated(text)))
        .filter(|(_, said)| !said.is_empty() && possible(model, said))
        .collect();
    let Some((first, others)) = kept.split_first() else {
        return;
    };
    line.alternatives = kept.iter().map(|k| k.0.clone()).collect();
    let others: Vec<Vec<Statement>> = others.iter().map(|o| o.1.clone()).collect();
    match &mut line.provisional {
        Some(p) => {
            let findings: Option<Vec<Finding>> = first.1.iter().map(finding).collect();
            if let Some(findings) = findings {
                (p.findings, p.others) = (findings, others);
            }
        }
        None if others.is_empty() && first.1.iter().all(|s| is_remedy(model, s)) => {
            let span = line.span;
            let statement = |value: &Statement| Spanned {
                value: value.clone(),
                span,
            };
            line.statements.extend(first.1.iter().map(statement));
            line.provisional = Some(Provisional {
                findings: Vec::new(),
                others,
                doubt: 0.0,
            });
        }
        None => {}
    }
}

fn finding(s: &Statement) -> Option<Finding> {
    match s {
        Statement::Finding(f) => Some(f.clone()),
        _ => None,
    }
}

/// Whether a statement is a remedy or a test by hand of parts on the board; the supply, its fuses and regulators decide what may be
/// powered.
fn is_remedy(model: &BoardModel, statement: &Statement) -> bool {
    let Statement::HandsOn(HandsOn { places, .. }) = statement else {
        return false;
    };
    let of = |name: &str| {
        let position = board::position(model, name).map(|(_, p)| p);
        let powers = |class| matches!(class, Class::Supply | Class::Fuse | Class::Regulator);
        position.is_some_and(|p| !p.outside && !powers(p.class))
    };
    !places.is_empty() && places.iter().all(|p| of(&p.name))
}

/// Takes each line for what fits best to the others.
fn by_the_others(model: &BoardModel, sheets: &mut [RunSheet]) {
    let several = |l: &Line| (l.provisional.as_ref()).is_some_and(|p| p.choices().len() > 1);
    let at: Vec<(usize, usize)> = (sheets.iter().enumerate())
        .flat_map(|(s, sheet)| (0..sheet.lines.len()).map(move |l| (s, l)))
        .filter(|&(s, l)| several(&sheets[s].lines[l]))
        .collect();
    let mut left = MOST_RANKINGS;
    for (sheet, line) in at {
        let Some(first) = sheets[sheet].lines[line].provisional.clone() else {
            continue;
        };
        let mut choices = first.choices();
        let like = shape(&choices[0].0);
        choices.retain(|c| shape(&c.0) == like);
        if choices.len() < 2 {
            continue;
        }
        if choices.len() > left {
            return;
        }
        left -= choices.len();
        let weigh = |(findings, p): &(Vec<Finding>, f64)| {
            let mut with = sheets.to_vec();
            with[sheet].lines[line].provisional = Some(first.instead(findings.clone(), 0.0));
            let evidence = brief(model, &with).map(|r| r.posterior.log_evidence);
            p.ln() + evidence.unwrap_or(f64::NEG_INFINITY)
        };
        let weights: Vec<f64> = choices.iter().map(weigh).collect();
        let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if most == f64::NEG_INFINITY {
            continue;
        }
        let sum: f64 = weights.iter().map(|w| (w - most).exp()).sum();
        let best = weights.iter().position(|w| *w == most).unwrap_or(0);
        // What cannot be weighed keeps its share of the doubt.
        let weighed: f64 = choices.iter().map(|c| c.1).sum();
        let doubt = (1.0 - weighed / sum).max(LEAST_DOUBT);
        take(
            &mut sheets[sheet].lines[line],
            &first,
            choices[best].0.clone(),
            doubt,
        );
    }
}

/// What findings are about, and how many words they take: only what says as much can be weighed against each other. A line that
/// says less is always the likelier one, but it leaves out what the recognition saw.
fn shape(findings: &[Finding]) -> Vec<(std::mem::Discriminant<Subject>, usize)> {
    let of = |f: &Finding| {
        let printed = print_statement(&Statement::Finding(f.clone()));
        let words = printed.split_whitespace().count();
        (std::mem::discriminant(&f.subject), words)
    };
    findings.iter().map(of).collect()
}

/// Takes a line for one of its choices, which then stands first.
fn take(line: &mut Line, was: &Provisional, findings: Vec<Finding>, doubt: f64) {
    let printed: Vec<String> = (findings.iter())
        .map(|f| print_statement(&Statement::Finding(f.clone())))
        .collect();
    let printed = printed.join("; ");
    if let Some(at) = line.alternatives.iter().position(|a| *a == printed) {
        line.alternatives[..=at].rotate_right(1);
    }
    line.provisional = Some(match findings == was.findings {
        true => Provisional {
            doubt,
            ..was.clone()
        },
        false => was.instead(findings, doubt),
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::{Bench, parse_photo};
    use crate::shipped::Library;

    const HEAD: &str = "ticket 0412\nboard dunlin-64\ncame in faulty\nat 2026-11-24 13:40\nhistory a shed\nnote two knobs lost\ncomplaint none\n";

    /// The last line of a photograph whose recognitions agree on all lines before it.
    fn settled(above: &str, readings: &[&str]) -> Line {
        let model = Library::default().board("dunlin-64").expect("a board");
        let page = |r: &&str| format!("{HEAD}{above}{r}\n");
        let text: Vec<String> = readings.iter().map(page).collect();
        let sheet = parse_photo("p", text.join("\u{c}").as_bytes(), &Bench::default());
        let sheets = [sheet.expect("a text")];
        let settled = settle(&model, &sheets);
        settled[0].lines.last().expect("a line").clone()
    }

    #[test]
    fn what_is_not_on_the_board_is_no_alternative() {
        let line = settled("", &["MO hot"; 2]);
        assert_eq!(line.alternatives, ["M0 hot", "M6 hot", "M3 hot"]);
        assert!(line.provisional.is_some_and(|p| p.others.len() == 2));
    }

    #[test]
    fn a_remedy_counts_when_it_can_be_no_other() {
        let line = settled("", &["swapped Al, A2: fault moved"; 2]);
        let said: Vec<String> = (line.statements.iter())
            .map(|s| print_statement(&s.value))
            .collect();
        assert_eq!(said, ["swapped A1 A2: fault moved"]);
        assert!(line.provisional.is_some() && line.not_understood.is_some());
        // Two that are there, and what decides whether the board may be powered: asked only.
        let two = settled("", &["swapped L1: no change", "swapped L7: no change"]);
        let fuse = settled("", &["replaced Fl: cured"; 2]);
        assert_eq!(fuse.alternatives, ["replaced F1: cured"]);
        for line in [two, fuse] {
            assert!(line.not_understood.is_some() && line.statements.is_empty());
            assert!(line.provisional.is_none(), "{line:?}");
        }
    }

    #[test]
    fn the_other_lines_say_which_of_two_keys_is_meant() {
        let first = |above| {
            let line = settled(above, &["key 0 dead", "key Q dead"]);
            let doubt = line.provisional.as_ref().expect("it counts").doubt;
            (line.alternatives[0].clone(), doubt)
        };
        let plain = first("voice 1 ok\n");
        assert_eq!(plain.0, "key 0 dead");
        // The other keys of the column that Q is in.
        let told = first("keys dead ESC 1 A Z TAB CTRL F1\n");
        assert_eq!(told.0, "key Q dead");
        assert!(told.1 < 0.5 && plain.1 < 0.5, "{plain:?} {told:?}");
    }

    #[test]
    fn sheets_that_are_certain_are_left_as_they_are() {
        let model = Library::default().board("dunlin-64").expect("a board");
        let sheet = crate::sheet::parse("t", b"board dunlin-64\nclock 1 stopped\n");
        let sheets = [sheet.expect("a text")];
        assert!(matches!(settle(&model, &sheets), Cow::Borrowed(_)));
    }
}
