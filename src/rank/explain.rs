//! Why: what each line of the sheet did to each suspect, in decibans; how firm the leader stands; what does not fit.
//!
//! The weight of evidence of a line is the change of the suspect's log-odds when the line is added to those above it
//! (I. J. Good, Biometrika 66, 1979): W = 10 log10(odds after / odds before). Summed over the sheet it is exactly the way
//! from the odds before any line to the odds shown. `without` is the probability when that line alone is left out.
//! Both are found by ranking the sheet so shortened, so that they mean what they say.

use super::{Ranking, Suspect, rank};
use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome;
use crate::infer::{Limits, evidence, posterior};
use crate::observe::{CheckReading, Evidence};
use crate::rank::network::Instance;
use crate::rank::slip::{Slip, likeliest};
use crate::sheet::{RunSheet, Statement};

/// A line of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineRef {
    /// Which sheet (0-based).
    pub sheet: usize,
    /// Line number from 1.
    pub line: usize,
}

/// What one line did to one suspect.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// The line.
    pub line: LineRef,
    /// Change of the log-odds when the line is added, decibans.
    pub decibans: f64,
    /// Probability of the suspect without this line.
    pub without: f64,
}

/// The reasons behind a ranking.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// For each suspect asked about: probability before any line, and the weights in order.
    pub suspects: Vec<(f64, Vec<Weight>)>,
    /// Failing readings that are more probably false than explained.
    pub odd: Vec<Odd>,
}

/// A failing reading that most probably nothing on the board gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Odd {
    /// Index of the reading.
    pub reading: usize,
    /// P(some fault gives it | all readings).
    pub explained: f64,
    /// The slip that would explain it best, if one does.
    pub slip: Option<Slip>,
}

/// Odds beyond this many decibans are given as this: they are certainties either way.
const MOST_DECIBANS: f64 = 300.0;

/// A failing reading whose probability of having a cause is below this is called out.
const ODD: f64 = 0.5;

fn log_odds(p: f64) -> f64 {
    (10.0 * (p / (1.0 - p)).log10()).clamp(-MOST_DECIBANS, MOST_DECIBANS)
}

/// Lines that could change a ranking.
fn telling(sheets: &[RunSheet]) -> Vec<LineRef> {
    let tells = |s: &Statement| {
        !matches!(
            s,
            Statement::Ticket(_)
                | Statement::Board(_)
                | Statement::Complaint(_)
                | Statement::Note(_)
                | Statement::NewRun
                | Statement::Cartridge(_)
                | Statement::History(_)
                | Statement::At(_)
                | Statement::Photo { .. }
                | Statement::Origin { .. }
                | Statement::OldPart { .. }
                | Statement::Undo
                | Statement::Skip(_)
                | Statement::Proved(_)
                | Statement::Outcome(_)
        )
    };
    let of = |(sheet, s): (usize, &RunSheet)| -> Vec<LineRef> {
        let lines = s
            .lines
            .iter()
            .filter(|l| l.provisional.is_some() || l.statements.iter().any(|st| tells(&st.value)));
        lines
            .map(|l| LineRef {
                sheet,
                line: l.number,
            })
            .collect()
    };
    sheets.iter().enumerate().flat_map(of).collect()
}

/// The sheets with only the lines that `keep` wants (and those that tell nothing).
fn shortened(
    sheets: &[RunSheet],
    all: &[LineRef],
    keep: impl Fn(LineRef) -> bool,
) -> Vec<RunSheet> {
    let mut out = sheets.to_vec();
    for (sheet, s) in out.iter_mut().enumerate() {
        s.lines.retain(|l| {
            let at = LineRef {
                sheet,
                line: l.number,
            };
            !all.contains(&at) || keep(at)
        });
    }
    out
}

/// The sheets up to the line before this one. What comes behind is gone whole: a mark of a later run is no longer there
/// either.
fn up_to(sheets: &[RunSheet], end: LineRef) -> Vec<RunSheet> {
    let mut out = sheets[..=end.sheet].to_vec();
    if let Some(last) = out.last_mut() {
        last.lines.retain(|l| l.number < end.line);
    }
    out
}

/// Probability of an instance of a unit in a ranking; 0 when nothing of the kind is fitted there yet.
fn probability(model: &BoardModel, ranking: &Ranking, instance: Instance) -> f64 {
    let all = super::suspects(model, &ranking.assembled, &ranking.posterior, 0.0);
    all.iter()
        .find(|s| s.instance == instance)
        .map_or(0.0, |s| s.probability)
}

/// Explains these suspects.
///
/// # Errors
/// None of its own: a shortened sheet whose readings are impossible counts as saying nothing.
pub fn explain(
    model: &BoardModel,
    sheets: &[RunSheet],
    full: &Ranking,
    of: &[Suspect],
) -> Explanation {
    let lines = telling(sheets);
    let prefixes: Vec<Option<Ranking>> = (lines.iter())
        .map(|&end| rank(model, &up_to(sheets, end)).ok())
        .collect();
    let without: Vec<Option<Ranking>> = (lines.iter())
        .map(|&gone| rank(model, &shortened(sheets, &lines, |l| l != gone)).ok())
        .collect();
    let prob = |r: &Option<Ranking>, s: &Suspect| {
        r.as_ref()
            .map_or(0.0, |r| probability(model, r, s.instance))
    };
    let suspects = of.iter().map(|s| {
        let mut steps: Vec<f64> = prefixes.iter().map(|r| prob(r, s)).collect();
        steps.push(s.probability);
        let weights = lines.iter().enumerate().map(|(k, &line)| Weight {
            line,
            decibans: log_odds(steps[k + 1]) - log_odds(steps[k]),
            without: prob(&without[k], s),
        });
        (steps[0], weights.collect())
    });
    Explanation {
        suspects: suspects.collect(),
        odd: odd(model, sheets, full),
    }
}

/// Failing readings that most probably nothing on the board gives, with the slip that would make each of them so.
pub fn odd(model: &BoardModel, sheets: &[RunSheet], full: &Ranking) -> Vec<Odd> {
    let mut out = unexplained(full, &|_| true);
    for odd in &mut out {
        let reading = &full.observed.readings[odd.reading];
        odd.slip = likeliest(model, sheets, full, (reading.sheet, reading.line));
    }
    out
}

/// The failing readings, of those that `of` takes, that most probably nothing on the board gives.
///
/// P(some fault gives it | all) = P(readings with the leak of this check shut) / P(readings).
pub fn unexplained(full: &Ranking, of: &dyn Fn(&CheckReading) -> bool) -> Vec<Odd> {
    let mut out = Vec::new();
    let mut net = full.assembled.net.clone();
    for (i, reading) in full.observed.readings.iter().enumerate() {
        let Evidence::Check(c) = &reading.evidence else {
            continue;
        };
        let Some(&check) = full.assembled.checks[i].last() else {
            continue;
        };
        if c.outcome == Outcome::Pass || net.checks[check].seen.is_none() || !of(c) {
            continue;
        }
        let open = net.checks[check];
        (
            net.checks[check].leak_fail,
            net.checks[check].leak_intermittent,
        ) = (0.0, 0.0);
        let explained = match evidence(&net, &Limits::default()) {
            Ok(e) => (e.log - full.posterior.log_evidence).exp(),
            Err(_) => 0.0,
        };
        net.checks[check] = open;
        if explained < ODD {
            out.push(Odd {
                reading: i,
                explained,
                slip: None,
            });
        }
    }
    out
}

/// How far the leader's prior could be too high before it lost its place: the factor by which it would have to be
/// divided. `None` when there is no second, or no factor up to a million does it.
pub fn robustness(model: &BoardModel, ranking: &Ranking) -> Option<f64> {
    let leader = ranking.suspects.first()?;
    ranking.suspects.get(1)?;
    let cause = ranking
        .assembled
        .instances
        .iter()
        .position(|i| *i == leader.instance)?;
    let leads = |factor: f64| {
        let mut net = ranking.assembled.net.clone();
        for mode in &mut net.causes[cause].modes {
            mode.prior.iter_mut().for_each(|p| *p /= factor);
        }
        let Ok(p) = posterior(&net, &Limits::default()) else {
            return false;
        };
        let now = super::suspects(model, &ranking.assembled, &p, 0.0);
        now.first().is_some_and(|s| s.instance == leader.instance)
    };
    let (mut low, mut high) = (1.0, 2.0);
    while leads(high) {
        (low, high) = (high, high * 4.0);
        if high > 1e6 {
            return None;
        }
    }
    // A factor of two either way is all that can be said of a guessed prior; five halvings are within 3 %.
    for _ in 0..5 {
        let middle = f64::sqrt(low * high);
        if leads(middle) {
            low = middle
        } else {
            high = middle
        }
    }
    Some(f64::sqrt(low * high))
}
