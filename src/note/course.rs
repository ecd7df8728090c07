//! The ranking over time: the sheet is ranked again after each telling line, as it stood then.

use super::model::{Course, PointNote, SuspectNote};
use super::story::{self, Entry};
use crate::bench::which_part;
use crate::faultmap::model::BoardModel;
use crate::rank::network::Instance;
use crate::rank::{Ranking, rank, suspects};
use crate::report::part::part_of;
use crate::sheet::Statement;
use crate::ticket::Ticket;

/// Points at most, the one before any reading not counted.
const MOST: usize = 14;

/// Suspects at most.
const SUSPECTS: usize = 5;

/// A suspect that never was more likely than this is not shown.
const SHOWN: f64 = 0.02;

/// A moment: what is said by then.
struct Moment<'s> {
    entries: Vec<Entry<'s>>,
    remedy: bool,
}

/// The course of a ticket whose full ranking is `full`.
pub fn course(model: &BoardModel, ticket: &Ticket, entries: &[Entry], full: &Ranking) -> Course {
    let moments = thinned(moments(entries));
    let upto = |line: usize| rank(model, &[ticket.upto(line).ok()?]).ok();
    let before = first_telling(&moments).map(|l| l - 1);
    let mut points = vec![PointNote {
        number: 0,
        line: 0,
        run: 1,
        text: "before any reading".into(),
        remedy: false,
    }];
    let mut rankings = vec![before.and_then(upto)];
    for (i, m) in moments.iter().enumerate() {
        let Some(last) = m.entries.last() else {
            continue;
        };
        points.push(PointNote {
            number: i + 1,
            line: last.line,
            run: last.run,
            text: text(m),
            remedy: m.remedy,
        });
        let is_end = i + 1 == moments.len();
        rankings.push(if is_end { None } else { upto(last.line) });
    }
    let of = |r: &Ranking| -> Vec<(Instance, f64)> {
        suspects(model, &r.assembled, &r.posterior, 0.0)
            .into_iter()
            .map(|s| (s.instance, s.probability))
            .collect()
    };
    let end = of(full);
    let mut by_point: Vec<Vec<(Instance, f64)>> = rankings
        .iter()
        .map(|r| r.as_ref().map(of).unwrap_or_default())
        .collect();
    if let Some(last) = by_point.last_mut() {
        *last = end;
    }
    Course {
        suspects: main_suspects(model, std::slice::from_ref(&ticket.sheet), full, &by_point),
        points,
        groups: full.groups.clone(),
        rates: None,
    }
}

fn first_telling(moments: &[Moment]) -> Option<usize> {
    moments.first()?.entries.first().map(|e| e.line)
}

/// One moment a line that can change the ranking.
fn moments<'s>(entries: &[Entry<'s>]) -> Vec<Moment<'s>> {
    let mut out: Vec<Moment> = Vec::new();
    for e in entries.iter().filter(|e| story::tells(e.says)) {
        let remedy = matches!(e.says, Statement::HandsOn(_));
        match out.last_mut() {
            Some(m) if m.entries.last().is_some_and(|l| l.line == e.line) => {
                m.remedy |= remedy;
                m.entries.push(e.clone());
            }
            _ => out.push(Moment {
                entries: vec![e.clone()],
                remedy,
            }),
        }
    }
    out
}

/// Neighbours joined until few enough are left: readings of one run that stand together, the shortest joints first.
fn thinned(mut moments: Vec<Moment>) -> Vec<Moment> {
    while moments.len() > MOST {
        let run = |m: &Moment| m.entries.last().map(|e| e.run);
        let joined = |i: usize| moments[i].entries.len() + moments[i + 1].entries.len();
        let can = |i: &usize| {
            !moments[*i].remedy
                && !moments[*i + 1].remedy
                && run(&moments[*i]) == run(&moments[*i + 1])
        };
        let pairs = || 0..moments.len() - 1;
        // With more remedies and runs than points even those are joined.
        let best = pairs()
            .filter(can)
            .min_by_key(|&i| joined(i))
            .or_else(|| pairs().min_by_key(|&i| joined(i)));
        let Some(i) = best else { break };
        let next = moments.remove(i + 1);
        moments[i].remedy |= next.remedy;
        moments[i].entries.extend(next.entries);
    }
    moments
}

/// What was read by then, short.
fn text(m: &Moment) -> String {
    let texts: Vec<String> = m.entries.iter().map(Entry::text).collect();
    match texts.len() {
        0..=2 => texts.join("; "),
        n => format!("{}; {} more", texts[0], n - 1),
    }
}

/// The likeliest at the end, and whoever led on the way; numbered by how likely they are at the end.
fn main_suspects(
    model: &BoardModel,
    sheets: &[crate::sheet::RunSheet],
    full: &Ranking,
    by_point: &[Vec<(Instance, f64)>],
) -> Vec<SuspectNote> {
    let at = |point: &[(Instance, f64)], i: Instance| {
        point.iter().find(|s| s.0 == i).map_or(0.0, |s| s.1)
    };
    let all = suspects(model, &full.assembled, &full.posterior, 0.0);
    // Before any reading everything is a little suspect; a peak counts only after one.
    let peak = |i: Instance| {
        by_point
            .iter()
            .skip(1)
            .map(|p| at(p, i))
            .fold(0.0, f64::max)
    };
    let mut chosen: Vec<_> = all.iter().filter(|s| peak(s.instance) >= SHOWN).collect();
    chosen.sort_by(|a, b| {
        weight(b.probability, peak(b.instance)).total_cmp(&weight(a.probability, peak(a.instance)))
    });
    chosen.truncate(SUSPECTS);
    chosen.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then_with(|| a.name.cmp(&b.name))
    });
    let note = |(i, s): (usize, &&crate::rank::Suspect)| {
        let a = &full.assembled;
        let position = &model.positions[model.units[a.place_of(s.instance)].position];
        let cause = a.cause_of(s.instance);
        let label = cause.and_then(|c| which_part(model, full, c));
        SuspectNote {
            number: i + 1,
            unit: label.unwrap_or_else(|| s.name.clone()),
            socket: position.name.clone(),
            part: cause.and_then(|c| part_of(model, sheets, full, c)),
            role: position.role.clone(),
            fault: s
                .modes
                .first()
                .map(|m| fault(&model.modes[m.0 as usize].what))
                .unwrap_or_default(),
            probability: by_point.iter().map(|p| at(p, s.instance)).collect(),
        }
    };
    chosen.iter().enumerate().map(note).collect()
}

/// A fault in words; a list of all the pins of a socket says no more than that it is one of them.
fn fault(what: &str) -> String {
    let many = what.matches(" or ").count() > 3 && what.starts_with("pin ");
    match what.rsplit_once(' ') {
        Some((_, how)) if many => format!("one of its pins {how}"),
        _ => what.to_string(),
    }
}

/// What counts for being shown: how likely at the end, and half as much how likely it once was.
fn weight(end: f64, peak: f64) -> f64 {
    end.max(peak / 2.0)
}
