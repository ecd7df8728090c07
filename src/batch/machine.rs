//! One machine of a batch: how it stands, what may be wrong with it, what it could give to others.

use super::problem::Scenario;
use super::view::{MachineView, PartView, State, UnitView};
use crate::faultmap::model::{BoardModel, Position, UnitKind};
use crate::faultmap::raw::Class;
use crate::next::{self, Bench, Suppositions, costs};
use crate::rank::settle::settle;
use crate::rank::{Ranking, rank};
use crate::report::build::not_understood;
use crate::sheet::{Outcome, RunSheet, Statement};
use std::path::Path;
use std::sync::Arc;

/// How a ticket ends of which parts may be taken.
pub const USED_FOR_PARTS: &str = "used for parts";

/// Suspects that are named, and the least probability of one.
const NAMED: usize = 3;
const WORTH_NAMING: f64 = 0.02;
/// From this probability on a part counts as doubtful.
pub const DOUBTFUL: f64 = 0.05;
/// Parts below this are not renewed by a plan: each would gain less than one machine in fifty.
const WORTH_A_PART: f64 = 0.02;
/// Positions of one machine that a plan may renew, besides those that are empty.
const MOST_NEEDS: usize = 10;
/// Below this, nothing is accused (as in `next`).
const ACCUSED: f64 = 0.01;

/// A position that may get another part.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Index of the position.
    pub position: usize,
    /// P(what is there is at fault); 1 when nothing is.
    pub probability: f64,
    /// Nothing is there.
    pub missing: bool,
}

/// A machine as read.
pub struct Surveyed {
    /// For the report.
    pub view: MachineView,
    /// Its board.
    pub model: Arc<BoardModel>,
    /// Positions that may get a part.
    pub wanted: Vec<Wanted>,
    /// What may be wrong, over `wanted`.
    pub scenarios: Vec<Scenario>,
    /// Minutes of work that needs no part.
    pub minutes: f64,
    /// P(at fault) of the part in each position; `None`: empty, or nothing that could be moved.
    pub parts: Vec<Option<f64>>,
    /// Types said to be fitted, by position.
    pub fitted: std::collections::BTreeMap<usize, String>,
}

/// Ranks one machine.
///
/// # Errors
/// Readings that no hypothesis can give.
pub fn survey(model: &Arc<BoardModel>, sheets: &[RunSheet]) -> Result<Surveyed, String> {
    let sheets = &*settle(model, sheets);
    let ranking = rank(model, sheets).map_err(|e| format!("{}: {e}", sheets[0].name))?;
    let missing = missing(model, &ranking);
    let state = state(&ranking, &missing, sheets);
    let advice = next::advise(model, &ranking, &Bench::default());
    let named = ranking.suspects.iter().take(NAMED);
    let suspects = named.filter(|s| s.probability >= WORTH_NAMING);
    let parts: Vec<Option<f64>> = (0..model.positions.len())
        .map(|p| part_in(model, &ranking, p))
        .collect();
    let unread = unread_rails(model, &ranking);
    let doubtful = doubtful(model, &ranking, &parts);
    let (wanted, scenarios, free) = scenarios(model, &ranking, &missing, state);
    Ok(Surveyed {
        view: MachineView {
            machine: name_of(sheets),
            sheets: sheets.iter().map(|s| s.name.clone()).collect(),
            board: model.board.clone(),
            state,
            why: why(&ranking, sheets, state),
            suspects: suspects
                .map(|s| UnitView {
                    unit: s.name.clone(),
                    probability: s.probability,
                })
                .collect(),
            missing: (missing.iter())
                .map(|&p| part_view(model, &ranking, p, 1.0))
                .collect(),
            doubtful,
            minutes: (state != State::Closed && advice.minutes > 0.0).then_some(advice.minutes),
            not_understood: not_understood(sheets).len(),
            unread_rails: unread.clone(),
        },
        minutes: free + costs::RETEST + unread.len() as f64 * costs::MEASURE_RAIL,
        model: Arc::clone(model),
        wanted,
        scenarios,
        parts,
        fitted: ranking.observed.facts.fitted.clone(),
    })
}

/// Ticket, or file without folder and ending.
fn name_of(sheets: &[RunSheet]) -> String {
    let ticket = sheets.iter().flat_map(RunSheet::statements).find_map(|s| {
        if let Statement::Ticket(t) = &s.value {
            Some(t.clone())
        } else {
            None
        }
    });
    let stem = || {
        let stem = Path::new(&sheets[0].name).file_stem();
        stem.map_or(sheets[0].name.clone(), |s| s.to_string_lossy().into_owned())
    };
    ticket.unwrap_or_else(stem)
}

/// How the ticket ended, when it is closed.
fn outcome(sheets: &[RunSheet]) -> Option<&'static str> {
    let all = sheets.iter().flat_map(RunSheet::statements);
    let ends = all.filter_map(|s| match &s.value {
        Statement::Outcome(outcome) => Some(*outcome),
        _ => None,
    });
    match ends.last()? {
        Outcome::CuredProved => Some("cured and proved"),
        Outcome::CauseUnknown => Some("sent out, cause unknown"),
        Outcome::UsedForParts => Some(USED_FOR_PARTS),
        Outcome::Reopened => None,
    }
}

fn state(ranking: &Ranking, missing: &[usize], sheets: &[RunSheet]) -> State {
    if outcome(sheets).is_some() {
        State::Closed
    } else if ranking.observed.stop.is_some() {
        State::Stop
    } else if missing.is_empty() && ranking.suspects.iter().all(|s| s.probability < ACCUSED) {
        State::NothingAccused
    } else {
        State::Suspects
    }
}

fn why(ranking: &Ranking, sheets: &[RunSheet], state: State) -> Option<String> {
    match state {
        State::Closed => outcome(sheets).map(String::from),
        State::Stop => ranking.observed.stop.as_ref().map(|s| s.reason.clone()),
        _ => None,
    }
}

/// Empty positions that make the machine incomplete: those it needs, and those that the test misses (a sound chip that a board
/// runs without).
fn missing(model: &BoardModel, ranking: &Ranking) -> Vec<usize> {
    let missed = |name: &str| {
        let fact = format!("{name} is empty");
        ranking.explained_by.iter().any(|e| e.1 == fact)
    };
    let empty = ranking.observed.facts.empty.keys().copied();
    empty
        .filter(|&p| model.positions[p].required || missed(&model.positions[p].name))
        .collect()
}

/// Rails that nobody read, unless a test ran, which takes them all.
fn unread_rails(model: &BoardModel, ranking: &Ranking) -> Vec<String> {
    if ranking.observed.test_ran {
        return Vec::new();
    }
    let mut rails: Vec<_> = model.rails.iter().collect();
    rails.sort_by_key(|(_, r)| r.order);
    let unread = |name: &&String| !ranking.observed.read.contains(&format!("rail.{name}"));
    rails
        .into_iter()
        .map(|r| r.0)
        .filter(unread)
        .cloned()
        .collect()
}

/// Whether what stands in a position is a part that can be had and moved.
fn movable(position: &Position) -> bool {
    !matches!(position.class, Class::Connector | Class::Setting)
}

/// P(at fault) of the part in a position; `None` when it is empty or not movable.
fn part_in(model: &BoardModel, ranking: &Ranking, position: usize) -> Option<f64> {
    let a = &ranking.assembled;
    let empty = ranking.observed.facts.empty.contains_key(&position);
    if empty || !movable(&model.positions[position]) {
        return None;
    }
    let is_it = |&c: &usize| {
        let unit = &model.units[a.place[c]];
        unit.position == position && unit.kind == UnitKind::Part && a.is_current(c)
    };
    let cause = (0..a.instances.len()).find(is_it)?;
    Some(ranking.still(cause).clamp(0.0, 1.0))
}

/// What is called the type of a position: its type number, or the family's name.
pub fn type_of(position: &Position) -> &str {
    position.part_type.as_deref().unwrap_or(&position.family)
}

fn part_view(model: &BoardModel, ranking: &Ranking, position: usize, p: f64) -> PartView {
    let at = &model.positions[position];
    let fitted = ranking.observed.facts.fitted.get(&position);
    PartView {
        socket: at.name.clone(),
        part: fitted.map_or(type_of(at), String::as_str).to_string(),
        probability: p,
    }
}

fn doubtful(model: &BoardModel, ranking: &Ranking, parts: &[Option<f64>]) -> Vec<PartView> {
    let mut out: Vec<PartView> = (parts.iter().enumerate())
        .filter_map(|(i, p)| p.filter(|p| *p >= DOUBTFUL).map(|p| (i, p)))
        .map(|(i, p)| part_view(model, ranking, i, p))
        .collect();
    out.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then_with(|| a.socket.cmp(&b.socket))
    });
    out
}

/// What may be wrong: probability, and the units (causes of the network).
type Hypotheses = Vec<(f64, Vec<usize>)>;

/// The leading explanations. When nothing is accused, or most probably nothing is left, that nothing is wrong, with the
/// probability Π(1 − p) over all units that are not missing. When no explanations can be named: one fault, each suspect by its
/// share.
fn hypotheses(model: &BoardModel, ranking: &Ranking, state: State) -> Hypotheses {
    let a = &ranking.assembled;
    // What is empty is a fact: it is no unit that could be at fault.
    let empty = &ranking.observed.facts.empty;
    let there =
        |c: &usize| a.is_current(*c) && !empty.contains_key(&model.units[a.place[*c]].position);
    let accused: Vec<(usize, f64)> = (0..a.instances.len())
        .filter(there)
        .map(|c| (c, ranking.still(c)))
        .filter(|c| c.1 >= crate::rank::LISTED)
        .collect();
    let nothing = || {
        let fine: f64 = accused.iter().map(|c| 1.0 - c.1).product();
        vec![(fine.clamp(0.0, 1.0), Vec::new())]
    };
    if state == State::NothingAccused {
        return nothing();
    }
    match next::suppositions(ranking) {
        Suppositions::Faults(all) => (all.into_iter())
            .map(|(h, _)| {
                let units = h.faulty.iter().map(|&u| u as usize);
                (h.probability, units.collect())
            })
            .collect(),
        Suppositions::NothingLeft => nothing(),
        Suppositions::None => {
            let sum: f64 = accused.iter().map(|c| c.1).sum();
            let one = |&(c, p): &(usize, f64)| (p / sum.max(1.0), vec![c]);
            accused.iter().map(one).collect()
        }
    }
}

/// Positions that may get a part, what may be wrong in terms of them, and the expected minutes of work that needs no part.
fn scenarios(
    model: &BoardModel,
    ranking: &Ranking,
    missing: &[usize],
    state: State,
) -> (Vec<Wanted>, Vec<Scenario>, f64) {
    if state == State::Closed {
        return (Vec::new(), Vec::new(), 0.0);
    }
    let a = &ranking.assembled;
    let unit = |c: usize| &model.units[a.place[c]];
    let takes_part =
        |c: usize| unit(c).kind == UnitKind::Part && movable(&model.positions[unit(c).position]);
    let all = hypotheses(model, ranking, state);
    let mut wanted: Vec<Wanted> = (missing.iter())
        .filter(|&&p| movable(&model.positions[p]))
        .map(|&position| Wanted {
            position,
            probability: 1.0,
            missing: true,
        })
        .collect();
    wanted.truncate(64 - MOST_NEEDS);
    let mut more: Vec<Wanted> = Vec::new();
    for &c in all.iter().flat_map(|h| &h.1) {
        let position = unit(c).position;
        let known = missing.contains(&position) || more.iter().any(|w| w.position == position);
        // Past a limit of the supply nothing goes in but what puts that right.
        let may = state != State::Stop || model.positions[position].class == Class::Supply;
        let probability = ranking.still(c);
        if takes_part(c) && !known && may && probability >= WORTH_A_PART {
            more.push(Wanted {
                position,
                probability,
                missing: false,
            });
        }
    }
    more.sort_by(|x, y| {
        y.probability
            .total_cmp(&x.probability)
            .then(x.position.cmp(&y.position))
    });
    more.truncate(MOST_NEEDS);
    wanted.extend(more);
    let mut out: Vec<Scenario> = Vec::new();
    let mut minutes = 0.0;
    for (probability, causes) in &all {
        let mut scenario = Scenario {
            probability: *probability,
            needs: 0,
        };
        for &c in causes {
            let position = unit(c).position;
            if missing.contains(&position) {
                continue;
            }
            if !takes_part(c) {
                let at = &model.positions[position];
                scenario.probability *= costs::cures(unit(c), at);
                minutes += probability * costs::remedy(unit(c), at);
                continue;
            }
            match wanted.iter().position(|w| w.position == position) {
                Some(need) => scenario.needs |= 1 << need,
                None => scenario.probability = 0.0,
            }
        }
        match out.iter_mut().find(|s| s.needs == scenario.needs) {
            Some(same) => same.probability += scenario.probability,
            None => out.push(scenario),
        }
    }
    out.retain(|s| s.probability > 0.0);
    (wanted, out, minutes)
}
