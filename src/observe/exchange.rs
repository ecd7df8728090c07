//! Parts that were taken to other places, and a fault that went with one of them.
//!
//! Two chips of one type that change places are the test that needs no spare part: if the fault goes with them, one of the
//! two is bad, and it is the one that now sits where the fault shows; the sockets are cleared. That is one piece of evidence
//! about both, not one against each.

use super::{CheckReading, Evidence, Observed, Observer, board};
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::infer::network::Outcome;
use crate::sheet::{Action, Effect, HandsOn, RunSheet, Statement};

/// P(the fault seems to go with the parts | none of them has it) (guess).
const BY_CHANCE: f64 = 0.02;
/// P(it is seen to go with them | one has it) (guess).
const GOES_WITH_IT: f64 = 0.9;
/// P(a bad contact is still bad after the part was taken out and another put in), as for a part put back.
const REFIT_FAILS: f64 = 0.2;
/// How surely a fault of a part must show in a check, whichever fault it is, for the check to point at it.
const POINTS: f64 = 0.5;

/// The unit that is the part in a position.
fn part_in(model: &BoardModel, position: usize) -> Option<usize> {
    let mut units = model.units_of(position);
    units.find(|(_, u)| u.kind == UnitKind::Part).map(|u| u.0)
}

/// Two positions named together whose parts are alike, so that each can stand in for the other: indices of the positions.
pub fn alike(model: &BoardModel, h: &HandsOn) -> Option<(usize, usize)> {
    let [a, b] = &h.places[..] else { return None };
    let ((a, one), (b, other)) = (
        board::position(model, &a.name)?,
        board::position(model, &b.name)?,
    );
    let same = a != b
        && h.action == Action::Swap
        && (one.socket && other.socket)
        && one.family == other.family
        && one.part_type == other.part_type;
    let modes = |position| {
        let unit = &model.units[part_in(model, position)?];
        let of = |m: u32| model.modes[m as usize].what.as_str();
        Some(unit.modes.clone().map(of).collect::<Vec<_>>())
    };
    (same && modes(a).is_some() && modes(a) == modes(b)).then_some((a, b))
}

/// The fault went with the parts of these positions: one of them has it.
fn went_with(
    model: &BoardModel,
    positions: &[usize],
    both: Option<(usize, usize)>,
    run: usize,
) -> Option<Evidence> {
    let parts: Vec<usize> = positions
        .iter()
        .filter_map(|&p| part_in(model, p))
        .collect();
    let mut effects: Vec<(u32, f64)> = parts
        .iter()
        .flat_map(|&p| model.units[p].modes.clone())
        .filter(|&m| !model.modes[m as usize].missing)
        .map(|m| (m, GOES_WITH_IT))
        .collect();
    effects.sort_unstable_by_key(|e| e.0);
    effects.dedup_by_key(|e| e.0);
    let exchanged = both.and_then(|(a, b)| Some((part_in(model, a)?, part_in(model, b)?)));
    let contacts = |position: usize| {
        let all = model.units_of(position);
        let is = |u: &(usize, &crate::faultmap::model::Unit)| u.1.kind == UnitKind::Contacts;
        all.filter(is)
            .map(|u| (u.0, REFIT_FAILS))
            .collect::<Vec<_>>()
    };
    let refitted = match both {
        Some((a, b)) => [contacts(a), contacts(b)].concat(),
        None => Vec::new(),
    };
    (!effects.is_empty()).then(|| Evidence::Moved {
        went: CheckReading {
            check: "moved".into(),
            outcome: Outcome::Fail,
            run,
            looped: false,
            leak: BY_CHANCE,
            effects: effects.into(),
        },
        exchanged,
        refitted,
    })
}

impl Observer<'_> {
    /// 'Fault moved', of parts that were swapped.
    pub(super) fn moved(&mut self, h: &HandsOn, text: String) {
        let positions = self.positions_of(h);
        let both = alike(self.model, h);
        if let Some(evidence) = went_with(self.model, &positions, both, self.run) {
            self.push(text, evidence);
        }
    }
}

/// `swapped M3, M4` without a word about the result: two parts exchanged with each other, or each for another. If the run
/// after it fails where the first part went, and no longer where it was, they were exchanged.
pub(super) fn settle(model: &BoardModel, sheets: &[RunSheet], out: &mut Observed) {
    for (sheet, s) in sheets.iter().enumerate() {
        for line in &s.lines {
            for statement in &line.statements {
                if let Statement::HandsOn(h) = &statement.value
                    && h.result == Effect::Unknown
                    && let Some(both) = alike(model, h)
                {
                    settle_one(model, out, (sheet, line.number), both);
                }
            }
        }
    }
}

fn settle_one(model: &BoardModel, out: &mut Observed, at: (usize, usize), both: (usize, usize)) {
    let is_it = |r: &super::Reading| {
        (r.sheet, r.line) == at && matches!(&r.evidence, Evidence::Remedy { cured: None, .. })
    };
    let Some(done) = out.readings.iter().position(is_it) else {
        return;
    };
    let checks = |from: &[super::Reading]| -> Vec<CheckReading> {
        let all = from.iter().filter_map(|r| match &r.evidence {
            Evidence::Check(c) => Some(c.clone()),
            _ => None,
        });
        all.collect()
    };
    let before = checks(&out.readings[..done]);
    let until = out.readings[done + 1..].iter().position(|r| {
        matches!(
            &r.evidence,
            Evidence::Remedy { .. } | Evidence::Moved { .. } | Evidence::PutBack { .. }
        )
    });
    let end = until.map_or(out.readings.len(), |n| done + 1 + n);
    let after = checks(&out.readings[done + 1..end]);
    // How surely a fault of the part here shows in the check, whichever fault it is.
    let shows = |c: &CheckReading, position: usize| {
        let Some(part) = part_in(model, position) else {
            return 0.0;
        };
        let rate = |m: u32| model.modes[m as usize].rate;
        let range = model.units[part].modes.clone();
        let total: f64 = range.clone().map(rate).sum();
        let own = c.effects.iter().filter(|e| range.contains(&e.0));
        own.map(|&(m, s)| s * rate(m)).sum::<f64>() / total.max(f64::MIN_POSITIVE)
    };
    // The check is about the part in this place, not about the one in the other: a chip that drags a shared line down shows
    // everywhere.
    let only = |c: &CheckReading, this: usize, other: usize| {
        shows(c, this) >= POINTS && shows(c, this) >= 2.0 * shows(c, other)
    };
    let failing = |all: &[CheckReading], this: usize, other: usize| {
        all.iter()
            .any(|c| c.outcome != Outcome::Pass && only(c, this, other))
    };
    let passing = |all: &[CheckReading], this: usize, other: usize| {
        all.iter()
            .any(|c| c.outcome == Outcome::Pass && only(c, this, other))
    };
    let went = |from: usize, to: usize| {
        failing(&before, from, to)
            && !failing(&before, to, from)
            && failing(&after, to, from)
            && !failing(&after, from, to)
            && passing(&after, from, to)
    };
    if !went(both.0, both.1) && !went(both.1, both.0) {
        return;
    }
    let run = before.last().map_or(0, |c| c.run);
    if let Some(evidence) = went_with(model, &[both.0, both.1], Some(both), run) {
        out.readings[done].evidence = evidence;
        let name = |p: usize| model.positions[p].name.as_str();
        out.readings[done].text = format!(
            "{}, {} exchanged with each other: the fault went along",
            name(both.0),
            name(both.1)
        );
        // Whatever else that line said of the two is said by this.
        let mut k = 0;
        out.readings.retain(|r| {
            k += 1;
            k - 1 == done || !is_it(r)
        });
    }
}
