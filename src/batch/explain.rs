//! The plan in words: what goes where and why, the order of work, why the others are left.

use super::assign::{Assigned, Source};
use super::machine::{Surveyed, type_of};
use super::problem::{Goal, Problem, Way};
use super::solve::Plan;
use super::view::{BuyView, FitView, LeftView, PlanView, State, WorkView};
use crate::report::words::{chance, money};
use std::collections::BTreeMap;

/// The plan for a report.
pub fn plan(machines: &[Surveyed], assigned: &Assigned, plan: &Plan) -> PlanView {
    let problem = &assigned.problem;
    let mut work: Vec<WorkView> = (plan.ways.iter())
        .map(|way| one(machines, assigned, way))
        .collect();
    work.sort_by(|a, b| {
        a.minutes_each
            .total_cmp(&b.minutes_each)
            .then_with(|| a.machine.cmp(&b.machine))
    });
    let spent: f64 = plan.ways.iter().map(|w| w.price).sum();
    let (goal, value) = match problem.goal {
        Goal::Number => ("number", None),
        Goal::Value { .. } => ("value", Some(plan.value)),
    };
    let as_they_are = (0..machines.len()).map(|m| problem.works(m, &[])).sum();
    PlanView {
        goal: goal.into(),
        machines: plan.ways.iter().map(|w| w.works).sum(),
        without_parts: as_they_are,
        value,
        spent,
        budget: problem.budget,
        exact: plan.exact,
        work,
        buy: buy(machines, assigned, plan),
        stripped: (plan.stripped.iter())
            .map(|&m| machines[m].view.machine.clone())
            .collect(),
        left: left(machines, assigned, plan, problem.budget - spent),
    }
}

fn one(machines: &[Surveyed], assigned: &Assigned, way: &Way) -> WorkView {
    let m = &machines[way.machine];
    let parts = way.fitted.iter().map(|&(need, lot)| {
        let wanted = &m.wanted[need];
        let position = &m.model.positions[wanted.position];
        let info = &assigned.lots[lot];
        let (from, donor_sockets) = match &info.from {
            Source::Shelf => ("shelf".to_string(), Vec::new()),
            Source::Buy => ("buy".to_string(), Vec::new()),
            Source::Donor(d, at) => (format!("ticket {}", machines[*d].view.machine), at.clone()),
        };
        FitView {
            socket: position.name.clone(),
            part: info.part.clone(),
            from,
            donor_sockets,
            good: assigned.problem.lots[lot].good,
            price: assigned.problem.lots[lot].price,
            suspected: wanted.probability,
        }
    });
    let filled = way.fitted.iter().fold(0_u64, |bits, f| bits | 1 << f.0);
    let covered = m.scenarios.iter().filter(|s| s.needs & !filled == 0);
    WorkView {
        machine: m.view.machine.clone(),
        first: first(m, !way.fitted.is_empty()),
        parts: parts.collect(),
        covered: covered.map(|s| s.probability).sum(),
        works: way.works,
        minutes: way.minutes,
        minutes_each: way.minutes / way.works,
        price: way.price,
    }
}

/// What has to be done before any part goes in: never a part into a board with unread rails, or past a limit of its supply.
fn first(m: &Surveyed, parts: bool) -> Option<String> {
    if m.view.state == State::Stop {
        let why = m.view.why.as_deref().unwrap_or("a rail is past its limit");
        return Some(format!(
            "keep it switched off ({why}); put the supply right and measure it unplugged before it goes back on the board, and put nothing else in before"
        ));
    }
    (parts && !m.view.unread_rails.is_empty()).then(|| {
        format!(
            "measure {} and write them on its ticket; nothing goes in before they are within limits",
            m.view.unread_rails.join(", ")
        )
    })
}

fn buy(machines: &[Surveyed], assigned: &Assigned, plan: &Plan) -> Vec<BuyView> {
    let mut out: BTreeMap<usize, BuyView> = BTreeMap::new();
    for way in &plan.ways {
        for &(_, lot) in &way.fitted {
            if assigned.lots[lot].from != Source::Buy {
                continue;
            }
            let view = out.entry(lot).or_insert_with(|| BuyView {
                part: assigned.lots[lot].part.clone(),
                count: 0,
                price: assigned.problem.lots[lot].price,
                machines: Vec::new(),
            });
            view.count += 1;
            let name = &machines[way.machine].view.machine;
            if !view.machines.contains(name) {
                view.machines.push(name.clone());
            }
        }
    }
    out.into_values().collect()
}

fn left(machines: &[Surveyed], assigned: &Assigned, plan: &Plan, rest: f64) -> Vec<LeftView> {
    let is_left = |m: &usize| plan.ways.iter().all(|w| w.machine != *m);
    let view = |m: usize| LeftView {
        machine: machines[m].view.machine.clone(),
        why: why_left(machines, assigned, plan, m, rest),
    };
    (0..machines.len()).filter(is_left).map(view).collect()
}

fn why_left(
    machines: &[Surveyed],
    assigned: &Assigned,
    plan: &Plan,
    m: usize,
    rest: f64,
) -> String {
    let (machine, problem) = (&machines[m], &assigned.problem);
    if machine.view.state == State::Closed {
        return format!("closed: {}", machine.view.why.as_deref().unwrap_or(""));
    }
    if plan.stripped.contains(&m) {
        let own = problem.ways(m).0.first().map_or(0.0, |w| w.works);
        return format!(
            "taken apart: its parts do more in other machines (it would work {} otherwise)",
            chance(own)
        );
    }
    let ways = problem.ways(m).0;
    let Some(best) = ways.first() else {
        return nothing_fits(machine, problem, m);
    };
    let mut reasons = Vec::new();
    for &(need, lot) in &best.fitted {
        let used: usize = (plan.ways.iter())
            .map(|w| w.fitted.iter().filter(|f| f.1 == lot).count())
            .sum();
        let info = &assigned.lots[lot];
        let socket = &machine.model.positions[machine.wanted[need].position].name;
        let price = problem.lots[lot].price;
        if used as u32 >= problem.lots[lot].count {
            reasons.push(format!(
                "every {} there is goes to machines where it does more ({socket} waits for one)",
                info.part
            ));
        } else if price > rest + 1e-9 {
            reasons.push(format!(
                "a {} for {socket} costs {}, and {} of the budget is left",
                info.part,
                money(price),
                money(rest.max(0.0))
            ));
        } else if let Source::Donor(d, _) = info.from {
            reasons.push(format!(
                "a {} for {socket} would have to come out of {}, which does more as it is",
                info.part, machines[d].view.machine
            ));
        }
    }
    if reasons.is_empty() {
        reasons.push("money and parts do more in other machines".into());
    }
    reasons.dedup();
    reasons.join("; ")
}

/// When no way to finish a machine is of any worth.
fn nothing_fits(machine: &Surveyed, problem: &Problem, m: usize) -> String {
    let needs = &problem.machines[m].needs;
    let affordable = |l: &usize| problem.lots[*l].price <= problem.budget + 1e-9;
    let without: Vec<String> = (machine.wanted.iter().zip(needs))
        .filter(|(_, n)| !n.lots.iter().any(affordable))
        .map(|(w, _)| {
            let p = &machine.model.positions[w.position];
            format!("{} ({})", p.name, type_of(p))
        })
        .collect();
    if machine.scenarios.is_empty() && without.is_empty() {
        return match machine.view.state {
            State::Stop => "switched off until its supply is put right".into(),
            _ => "nothing that could be put right by parts or work is known yet: measure first"
                .into(),
        };
    }
    if without.is_empty() {
        return "parts and work cost more than the machine is worth".into();
    }
    let more = without.len().saturating_sub(4);
    let rest = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    format!(
        "no part within the budget for {}{rest}",
        without[..without.len().min(4)].join(", ")
    )
}
