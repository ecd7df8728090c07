//! Machines and stock put together into one problem, with what its numbers stand for.

use super::machine::{Surveyed, USED_FOR_PARTS, type_of};
use super::problem::{Goal, Lot, LotId, Machine, Need, Problem};
use super::stock::{Stock, StockError};
use super::view::State;
use crate::diag::did_you_mean;
use crate::faultmap::model::{Position, Unit, UnitKind};
use crate::next::costs;
use std::collections::BTreeMap;

/// Minutes to take a part out of a donor: as long as fitting one, half as long when it must be desoldered only.
const PULL: f64 = 2.0;
/// P(fitting does no damage) of a soldered part: a pad can tear (the ratio of the two figures of `next::costs::cures`).
const SOLDERED: f64 = 0.98;
/// A donor's part is not worth moving below this.
const LEAST_GOOD: f64 = 0.05;

/// Where the parts of a lot are.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// In the drawer.
    Shelf,
    /// At a seller's.
    Buy,
    /// In these positions of a machine of the batch.
    Donor(usize, Vec<String>),
}

/// What a lot is.
#[derive(Debug, Clone, PartialEq)]
pub struct LotInfo {
    /// Type as typed, or of the position.
    pub part: String,
    /// Where.
    pub from: Source,
}

/// A batch as numbers, with what they stand for.
#[derive(Debug, Clone, PartialEq)]
pub struct Assigned {
    /// The numbers.
    pub problem: Problem,
    /// What each lot is.
    pub lots: Vec<LotInfo>,
}

/// A type without blanks, in capitals.
fn plain(part: &str) -> String {
    let kept = part.chars().filter(|c| !c.is_whitespace());
    kept.collect::<String>().to_uppercase()
}

/// Whether a part of this type may go into a position: its own type, also with letters of speed or package behind (4164-15 is
/// a 4164), another type that the map allows there without a condition, or, where parts have no type number, its family.
pub fn fits(position: &Position, part: &str) -> bool {
    let part = plain(part);
    let same = |wanted: &str| {
        let wanted = plain(wanted);
        let rest = part.strip_prefix(&wanted).filter(|_| !wanted.is_empty());
        rest.is_some_and(|r| !r.starts_with(|c: char| c.is_ascii_digit()))
    };
    let free = |(name, t): (&String, &crate::faultmap::raw::TypeRaw)| {
        t.supply.is_empty() && t.note.is_none() && plain(name) == part
    };
    match &position.part_type {
        Some(own) => same(own) || position.types.iter().any(free),
        None => part == plain(&position.family),
    }
}

/// Minutes to renew the part of a position.
fn renewing(position: &Position) -> f64 {
    let part = Unit {
        name: String::new(),
        kind: UnitKind::Part,
        position: 0,
        class: position.class,
        modes: 0..0,
    };
    costs::remedy(&part, position)
}

fn pulling(position: &Position) -> f64 {
    if position.socket || position.outside {
        PULL
    } else {
        renewing(position) / 2.0
    }
}

/// Puts machines and stock together.
///
/// # Errors
/// Donors that are not in the batch, positions that they do not have; `file` names the stock file.
pub fn assign(
    machines: &[Surveyed],
    stock: &Stock,
    file: &str,
) -> Result<Assigned, Vec<StockError>> {
    let donors = donors(machines, stock, file)?;
    let wanted = |part: &str| {
        let mut all = (machines.iter()).flat_map(|m| m.wanted.iter().map(move |w| (m, w)));
        all.any(|(m, w)| fits(&m.model.positions[w.position], part))
    };
    let (mut lots, mut infos) = (Vec::new(), Vec::new());
    let mut add = |lot: Lot, part: &str, from: Source| {
        if wanted(part) {
            lots.push(lot);
            let part = part.to_string();
            infos.push(LotInfo { part, from });
        }
    };
    let at_hand = |count: u32, good: f64, price: f64| Lot {
        count,
        good,
        price,
        minutes: 0.0,
        donor: None,
    };
    for s in &stock.shelf {
        add(at_hand(s.count, s.good, 0.0), &s.part, Source::Shelf);
    }
    let most = machines.iter().map(|m| m.wanted.len() as u32).sum::<u32>();
    for o in &stock.buy {
        let count = o.most.map_or(most, |n| n.min(most));
        add(at_hand(count, o.good, o.price), &o.part, Source::Buy);
    }
    for (machine, positions) in &donors {
        for (part, lot, sockets) in of_donor(machines, *machine, positions) {
            add(lot, &part, Source::Donor(*machine, sockets));
        }
    }
    let goal = match stock.worth {
        None => Goal::Number,
        Some(worth) => Goal::Value {
            worth,
            minute: stock.minute,
        },
    };
    let problem = Problem {
        machines: machines.iter().map(|m| machine(m, &infos)).collect(),
        lots,
        budget: stock.budget,
        goal,
    };
    Ok(Assigned {
        problem,
        lots: infos,
    })
}

fn machine(m: &Surveyed, lots: &[LotInfo]) -> Machine {
    let need = |w: &super::machine::Wanted| {
        let position = &m.model.positions[w.position];
        let fitting = (lots.iter().enumerate()).filter(|(_, l)| fits(position, &l.part));
        Need {
            lots: fitting.map(|(id, _)| id).collect::<Vec<LotId>>(),
            minutes: renewing(position),
            sound: if position.socket || position.outside {
                1.0
            } else {
                SOLDERED
            },
            required: w.missing,
        }
    };
    Machine {
        needs: m.wanted.iter().map(need).collect(),
        scenarios: m.scenarios.clone(),
        minutes: m.minutes,
    }
}

/// The donors: machine, and the positions that may be taken.
fn donors(
    machines: &[Surveyed],
    stock: &Stock,
    file: &str,
) -> Result<Vec<(usize, Vec<usize>)>, Vec<StockError>> {
    let (mut out, mut errors) = (Vec::new(), Vec::new());
    for (i, donor) in (1..).zip(&stock.donors) {
        let mut say = |key: &str, message: String| {
            errors.push(StockError {
                file: file.to_string(),
                place: format!("donors, entry {i}, {key}"),
                message,
            });
        };
        let names = || machines.iter().map(|m| m.view.machine.as_str());
        let Some(at) = names().position(|n| n.eq_ignore_ascii_case(donor.ticket.trim())) else {
            let near = did_you_mean(&donor.ticket, names())
                .map_or_else(String::new, |n| format!("; did you mean '{n}'?"));
            let all: Vec<&str> = names().collect();
            let message = format!(
                "no machine {} in this batch{near}; type one of: {}",
                donor.ticket,
                all.join(", ")
            );
            say("ticket", message);
            continue;
        };
        if let Some(end) = (machines[at].view.why.as_ref())
            .filter(|_| machines[at].view.state == State::Closed)
            .filter(|end| *end != USED_FOR_PARTS)
        {
            let message = format!(
                "{} is closed ({end}) and no donor; take this entry out",
                donor.ticket
            );
            say("ticket", message);
            continue;
        }
        let model = &machines[at].model;
        let mut positions = Vec::new();
        for name in &donor.only {
            match crate::observe::board::position(model, name) {
                Some((p, _)) => positions.push(p),
                None => say(
                    "only",
                    format!(
                        "board {} has no position {name}; type a designator as printed on the board",
                        model.board
                    ),
                ),
            }
        }
        if donor.only.is_empty() {
            positions = (0..model.positions.len()).collect();
        }
        positions.sort_unstable();
        positions.dedup();
        out.push((at, positions));
    }
    if errors.is_empty() {
        Ok(out)
    } else {
        Err(errors)
    }
}

/// The parts of a donor as lots: those of one type that are good with about the same probability (in whole percents, cut off)
/// are one.
fn of_donor(
    machines: &[Surveyed],
    donor: usize,
    positions: &[usize],
) -> Vec<(String, Lot, Vec<String>)> {
    let m = &machines[donor];
    let mut lots: BTreeMap<(String, u32), Vec<usize>> = BTreeMap::new();
    for &p in positions {
        let Some(bad) = m.parts[p] else { continue };
        let percent = ((1.0 - bad) * 100.0 + 1e-9).floor();
        let own = m.fitted.get(&p).map(String::as_str);
        let part = own.unwrap_or(type_of(&m.model.positions[p])).to_string();
        if percent / 100.0 >= LEAST_GOOD {
            lots.entry((part, percent as u32)).or_default().push(p);
        }
    }
    let lot = |((part, percent), at): ((String, u32), Vec<usize>)| {
        let of = |p: &usize| &m.model.positions[*p];
        let lot = Lot {
            count: at.len() as u32,
            good: f64::from(percent) / 100.0,
            price: 0.0,
            minutes: at.iter().map(|p| pulling(of(p))).fold(0.0, f64::max),
            donor: Some(donor),
        };
        let sockets = at.iter().map(|p| of(p).name.clone()).collect();
        (part, lot, sockets)
    };
    lots.into_iter().map(lot).collect()
}

/// Types in the stock file that no board of the batch has: most often misspelt.
pub fn strangers(machines: &[Surveyed], stock: &Stock) -> Vec<String> {
    let positions = || machines.iter().flat_map(|m| &m.model.positions);
    let listed = (stock.shelf.iter().map(|s| ("shelf", &s.part)))
        .chain(stock.buy.iter().map(|o| ("buy", &o.part)));
    let mut out = Vec::new();
    for (list, part) in listed {
        if positions().any(|p| fits(p, part)) {
            continue;
        }
        let near = did_you_mean(part, positions().map(type_of))
            .map_or_else(String::new, |n| format!("; did you mean '{n}'?"));
        out.push(format!("{list}: no board of this batch has a {part}{near}"));
    }
    out
}
