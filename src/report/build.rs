//! A ranking to the form that is printed.

use super::part::part_of;
use super::view::*;
use crate::diag::Severity;
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::observe::TYPED;
use crate::rank::explain::{Explanation, Odd, explain, robustness, unexplained};
use crate::rank::{Ranking, Suspect};
use crate::sheet::{Intake, RunSheet};

/// What goes into a report.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// Suspects listed at most.
    pub top: usize,
    /// Weights of evidence and robustness.
    pub why: bool,
    /// Measurements that most probably nothing on the board gives, when the reasons are not wanted.
    pub slips: bool,
}

/// Suspects whose reasons are worked out.
const EXPLAINED: usize = 5;

/// Said when lines that were not understood may be about what 'rest fine' would clear.
pub const REST_FINE_COUNTS_LESS: &str =
    "'rest fine' counts for less while lines are not understood: one of them may say otherwise";

/// A common cause below this probability is not reported.
const LIKELY: f64 = 0.2;

/// The report of one machine, without next steps.
pub fn view(
    model: &BoardModel,
    sheets: &[RunSheet],
    ranking: &Ranking,
    wanted: Wanted,
) -> RankingView {
    let listed: Vec<&Suspect> = ranking.suspects.iter().take(wanted.top).collect();
    let of: Vec<Suspect> = listed
        .iter()
        .take(EXPLAINED)
        .map(|s| (*s).clone())
        .collect();
    let why = wanted.why.then(|| explain(model, sheets, ranking, &of));
    let odd = match &why {
        Some(why) => why.odd.clone(),
        // A probe slips more often than a result is mistyped; of estimates nobody can tell.
        None if wanted.slips && ranking.posterior.unexplored_mass == 0.0 => {
            unexplained(ranking, &|c| c.leak > TYPED.false_fail)
        }
        None => Vec::new(),
    };
    let robustness = match (wanted.why, listed.first()) {
        (true, Some(leader)) => Some(RobustnessView {
            leader: leader.name.clone(),
            prior_too_high_by: robustness(model, ranking),
        }),
        _ => None,
    };
    RankingView {
        schema: SCHEMA,
        sheets: sheets.iter().map(|s| s.name.clone()).collect(),
        ticket: ranking.observed.facts.ticket.clone(),
        board: model.board.clone(),
        run: ranking.observed.runs,
        stop: ranking.observed.stop.as_ref().map(|s| StopView {
            reason: s.reason.clone(),
            remedy: s.remedy.clone(),
        }),
        suspects: listed
            .iter()
            .enumerate()
            .map(|(i, s)| suspect(model, sheets, ranking, s, i, why.as_ref()))
            .collect(),
        groups: ranking.groups.clone(),
        explained_by: explained(ranking),
        common_causes: ranking
            .common
            .iter()
            .filter(|(_, p)| *p >= LIKELY)
            .map(|(cause, probability)| CommonView {
                cause: cause.clone(),
                probability: *probability,
            })
            .collect(),
        robustness,
        unexplored_mass: ranking.posterior.unexplored_mass,
        next: Vec::new(),
        tree: None,
        not_understood: not_understood(sheets),
        corrections: corrections(sheets),
        doubtful: doubtful(ranking, &odd),
        facts_used: facts(model, ranking),
        remarks: remarks(sheets, ranking),
        learned: None,
        hints: ranking.observed.hints.iter().map(hint).collect(),
    }
}

fn suspect(
    model: &BoardModel,
    sheets: &[RunSheet],
    ranking: &Ranking,
    s: &Suspect,
    index: usize,
    why: Option<&Explanation>,
) -> SuspectView {
    let position = &model.positions[model.units[ranking.assembled.place_of(s.instance)].position];
    let cause = ranking.assembled.cause_of(s.instance);
    let explained = why.and_then(|w| w.suspects.get(index));
    let evidence = explained.map(|(_, weights)| {
        weights
            .iter()
            .map(|w| EvidenceView {
                sheet: w.line.sheet,
                line: w.line.line,
                reading: typed(sheets, w.line.sheet, w.line.line).to_string(),
                decibans: w.decibans,
                without: w.without,
            })
            .collect()
    });
    SuspectView {
        unit: s.name.clone(),
        socket: position.name.clone(),
        part: cause.and_then(|c| part_of(model, sheets, ranking, c)),
        role: role_of(model, ranking, s),
        probability: s.probability,
        still: cause.map_or(s.probability, |c| ranking.still(c).min(1.0)),
        modes: s
            .modes
            .iter()
            .map(|&(m, p)| ModeView {
                fault: model.modes[m as usize].what.clone().into(),
                probability: p,
            })
            .collect(),
        before: explained.map(|(before, _)| *before),
        evidence: evidence.unwrap_or_default(),
    }
}

/// What a suspect does, and of contacts whether an added board is, or was, between them.
fn role_of(model: &BoardModel, ranking: &Ranking, s: &Suspect) -> String {
    let unit = &model.units[ranking.assembled.place_of(s.instance)];
    let role = &model.positions[unit.position].role;
    let added = ranking.observed.facts.added.get(&unit.position);
    match (&unit.kind, added) {
        (UnitKind::Contacts | UnitKind::Joints, Some(a)) => {
            let sits = if a.out { "sat" } else { "sits" };
            format!("{role}; an added board {sits} between it and its socket")
        }
        _ => role.clone(),
    }
}

/// A line as it was typed.
fn typed(sheets: &[RunSheet], sheet: usize, number: usize) -> &str {
    let line = sheets
        .get(sheet)
        .and_then(|s| s.lines.iter().find(|l| l.number == number).map(|l| (s, l)));
    line.map_or("", |(s, l)| s.text[l.span.start..l.span.end].trim())
}

fn explained(ranking: &Ranking) -> Vec<ExplainedView> {
    let of = |(i, fact): &(usize, String)| {
        let reading = &ranking.observed.readings[*i];
        ExplainedView {
            reading: reading.text.clone(),
            line: reading.line,
            fact: fact.clone(),
        }
    };
    ranking.explained_by.iter().map(of).collect()
}

fn doubtful(ranking: &Ranking, odd: &[Odd]) -> Vec<DoubtfulView> {
    let of = |odd: &Odd| {
        let reading = &ranking.observed.readings[odd.reading];
        DoubtfulView {
            line: reading.line,
            reading: reading.text.clone(),
            explained: odd.explained,
            slip: odd.slip.as_ref().map(|s| SlipView {
                instead: s.instead.clone(),
                times: s.times,
            }),
        }
    };
    odd.iter().map(of).collect()
}

fn hint(h: &crate::observe::Hint) -> HintView {
    HintView {
        sheet: h.sheet,
        line: h.line,
        text: h.text.clone(),
        pattern: h.pattern.clone(),
    }
}

/// Lines of the sheets that were not understood.
pub fn not_understood(sheets: &[RunSheet]) -> Vec<NotUnderstoodView> {
    let mut out = Vec::new();
    for (sheet, s) in sheets.iter().enumerate() {
        for line in &s.lines {
            let Some(n) = &line.not_understood else {
                continue;
            };
            let text = s.text[line.span.start..line.span.end].trim().to_string();
            out.push(NotUnderstoodView {
                sheet,
                line: line.number,
                text,
                hint: n.hint.clone(),
                counts_as: (line.provisional.as_ref())
                    .and_then(|_| line.alternatives.first().cloned()),
            });
        }
    }
    out
}

/// Words that were read as others.
pub fn corrections(sheets: &[RunSheet]) -> Vec<CorrectionView> {
    let all = sheets.iter().flat_map(|s| &s.corrections);
    all.map(|c| CorrectionView {
        line: c.line,
        typed: c.typed.clone(),
        read_as: c.read_as.clone(),
    })
    .collect()
}

/// Why a machine is on the bench, in words.
pub fn intake_said(intake: Option<Intake>) -> &'static str {
    match intake {
        Some(Intake::Faulty) => "came in faulty",
        Some(Intake::Works) => "works, to be checked",
        Some(Intake::Untested) => "untested",
        None => "why it is on the bench is not said: taken as untested",
    }
}

fn facts(model: &BoardModel, ranking: &Ranking) -> Vec<String> {
    let f = &ranking.observed.facts;
    let mut out = vec![intake_said(f.intake).to_string()];
    if ranking.observed.rest_fine_lost > 0.0 {
        out.push(REST_FINE_COUNTS_LESS.to_string());
    }
    out.extend(f.mains.map(|hz| format!("mains {hz} Hz")));
    out.extend(
        f.empty
            .keys()
            .map(|&p| format!("{} is empty", model.positions[p].name)),
    );
    out.extend(f.added.iter().map(|(&p, a)| {
        let name = &model.positions[p].name;
        match a.out {
            true => format!("the added board of {name} was taken out"),
            false => format!("an added board sits in {name}"),
        }
    }));
    out.extend(
        f.fitted
            .iter()
            .map(|(&p, part)| format!("{part} fitted in {}", model.positions[p].name)),
    );
    out
}

/// What else is to be said about lines: states that say nothing, positions that are not there.
pub fn remarks(sheets: &[RunSheet], ranking: &Ranking) -> Vec<NotUnderstoodView> {
    let mut out = Vec::new();
    for (sheet, d) in &ranking.observed.diags {
        if d.severity == Severity::Note {
            continue;
        }
        let s = &sheets[*sheet];
        let start = d.label.as_ref().map_or(0, |l| l.0.start);
        let line = s
            .lines
            .iter()
            .find(|l| l.span.start <= start && start <= l.span.end);
        let text = line
            .map_or("", |l| s.text[l.span.start..l.span.end].trim())
            .to_string();
        let hint = [
            Some(d.message.clone()),
            d.help.clone().filter(|h| !h.is_empty()),
        ];
        let hint = hint.into_iter().flatten().collect::<Vec<_>>().join("; ");
        out.push(NotUnderstoodView {
            sheet: *sheet,
            line: line.map_or(0, |l| l.number),
            text,
            hint,
            counts_as: None,
        });
    }
    out
}
