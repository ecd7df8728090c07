//! Parts that may be lent for a swap test, and what to mind.
//!
//! Two rules hold without exception: a suspect chip never goes into a good machine (so the lender only lends, nothing of the
//! other machine goes in there), and nothing goes into a board with unread rails or past a limit of its supply.

use super::assign::fits;
use super::machine::{DOUBTFUL, Surveyed, type_of};
use super::stock::Stock;
use super::view::{State, SwapView};
use crate::faultmap::model::Position;

/// A part that may be lent is good at least as probably as this.
const LENDABLE: f64 = 0.95;
/// Suspects of one machine for which a part is looked for.
const A_MACHINE: usize = 3;
/// With the part as probably at fault as this there is nothing to test: it is renewed.
const CERTAIN: f64 = 0.97;

/// The swap tests that the batch allows: for each leading suspect in a socket, the part that is most probably good.
pub fn swaps(machines: &[Surveyed], stock: &Stock) -> Vec<SwapView> {
    let mut out = Vec::new();
    for (m, machine) in machines.iter().enumerate() {
        if matches!(machine.view.state, State::Closed | State::Stop) {
            continue;
        }
        let suspects = machine.wanted.iter().filter(|w| {
            let position = &machine.model.positions[w.position];
            !w.missing && (DOUBTFUL..CERTAIN).contains(&w.probability) && swappable(position)
        });
        for w in suspects.take(A_MACHINE) {
            let position = &machine.model.positions[w.position];
            let Some(lender) = lender(machines, stock, m, position) else {
                continue;
            };
            out.push(SwapView {
                machine: machine.view.machine.clone(),
                socket: position.name.clone(),
                part: lender.part,
                suspected: w.probability,
                hazard: hazard(machine, lender.machine.map(|l| &machines[l])),
                from: match lender.machine {
                    Some(l) => format!("ticket {}", machines[l].view.machine),
                    None => "shelf".into(),
                },
                lender_socket: lender.socket,
                good: lender.good,
            });
        }
    }
    out
}

fn swappable(position: &Position) -> bool {
    position.socket || position.outside
}

struct Lender {
    machine: Option<usize>,
    socket: Option<String>,
    part: String,
    good: f64,
}

/// The part that is most probably good; the shelf before a machine when equal.
fn lender(machines: &[Surveyed], stock: &Stock, to: usize, position: &Position) -> Option<Lender> {
    let shelf = stock.shelf.iter().filter(|s| fits(position, &s.part));
    let mut all: Vec<Lender> = shelf
        .map(|s| Lender {
            machine: None,
            socket: None,
            part: s.part.clone(),
            good: s.good,
        })
        .collect();
    for (m, lender) in machines.iter().enumerate() {
        // A closed machine is out of the house, one past a limit of its supply may have hurt its parts.
        if m == to || matches!(lender.view.state, State::Closed | State::Stop) {
            continue;
        }
        for (p, at) in lender.model.positions.iter().enumerate() {
            let part = lender.fitted.get(&p).map_or(type_of(at), String::as_str);
            if let Some(bad) = lender.parts[p].filter(|_| swappable(at) && fits(position, part)) {
                all.push(Lender {
                    machine: Some(m),
                    socket: Some(at.name.clone()),
                    part: part.to_string(),
                    good: 1.0 - bad,
                });
            }
        }
    }
    all.retain(|l| l.good >= LENDABLE);
    // The first of equals: `max_by` would take the last.
    all.into_iter()
        .reduce(|best, l| if l.good > best.good { l } else { best })
}

fn hazard(to: &Surveyed, lender: Option<&Surveyed>) -> String {
    let mut all = Vec::new();
    if !to.view.unread_rails.is_empty() {
        all.push(format!(
            "not before {} of {} are measured and within limits: a rail too high kills what is put in",
            to.view.unread_rails.join(", "),
            to.view.machine
        ));
    }
    match lender {
        Some(lender) => all.push(format!(
            "only this way round, never the suspect into {0}; put the part back and run the test of {0} again afterwards",
            lender.view.machine
        )),
        None => all.push("put it back on the shelf if nothing changes".into()),
    }
    all.push(
        "both machines off and unplugged, hot parts cooled, earth yourself against static".into(),
    );
    all.join("; ")
}
