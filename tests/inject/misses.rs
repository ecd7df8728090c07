//! Why a fault was not found: what the ranking's model expects of the right unit that the sheet does not show, and what
//! the sheet shows that the model does not expect of it.

use super::faults::Fault;
use super::score::{Place, position};
use std::collections::BTreeMap;
use whichsocket::faultmap::model::{BoardModel, UnitKind};
use whichsocket::infer::network::{Check, Mode, Outcome};
use whichsocket::observe::Evidence;
use whichsocket::rank::Ranking;

/// How much worse (natural logarithm) a unit may explain the sheet and still count as alike with another.
pub const ALIKE: f64 = 0.25;

/// A unit that explains the sheet by itself: its best mode with the logarithm of the sheet's probability.
#[derive(Debug, Clone)]
pub struct Alone {
    /// Cause of the network.
    pub cause: usize,
    /// Mode of the cause.
    pub mode: usize,
    /// Name of the unit.
    pub unit: String,
    /// ln P(sheet | this mode and nothing else).
    pub log: f64,
}

/// P(a check comes out as it was seen | this mode acts on it with these strengths, and nothing else does).
fn probability(check: &Check, fail: f64, intermittent: f64) -> f64 {
    let pass = (1.0 - check.leak_fail - check.leak_intermittent) * (1.0 - fail - intermittent);
    let not_fail = (1.0 - check.leak_fail) * (1.0 - fail);
    match check.seen {
        None => 1.0,
        Some(Outcome::Pass) => pass,
        Some(Outcome::Intermittent) => not_fail - pass,
        Some(Outcome::Fail) => 1.0 - not_fail,
    }
}

/// ln P of each check given this mode alone; the last is of what is known of the unit itself.
fn terms(r: &Ranking, mode: &Mode, fine: f64) -> Vec<f64> {
    let checks = &r.assembled.net.checks;
    let mut out: Vec<f64> = checks
        .iter()
        .map(|c| probability(c, 0.0, 0.0).max(1e-12).ln())
        .collect();
    for e in &mode.effects {
        out[e.check] = probability(&checks[e.check], e.fail, e.intermittent)
            .max(1e-12)
            .ln();
    }
    out.push((mode.likelihood / fine.max(1e-9)).max(1e-12).ln());
    out
}

/// Every unit by how well it explains the sheet alone, best first.
pub fn alone(model: &BoardModel, r: &Ranking) -> Vec<Alone> {
    let net = &r.assembled.net;
    let mut out = Vec::new();
    for (cause, c) in net.causes.iter().enumerate() {
        let best = c
            .modes
            .iter()
            .enumerate()
            .filter(|(_, m)| m.prior.iter().any(|p| *p > 0.0))
            .map(|(k, m)| (k, terms(r, m, c.likelihood_fine).iter().sum::<f64>()))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((mode, log)) = best {
            let unit = model.units[r.assembled.instances[cause].unit].name.clone();
            out.push(Alone {
                cause,
                mode,
                unit,
                log,
            });
        }
    }
    out.sort_by(|a, b| b.log.total_cmp(&a.log));
    out
}

/// The leader and the units that no reading of the sheet tells from it: alone they explain it as well as its leading mode
/// does, within [`ALIKE`].
pub fn group(model: &BoardModel, r: &Ranking) -> Vec<String> {
    let Some(leader) = r.suspects.first() else {
        return Vec::new();
    };
    let a = &r.assembled;
    let log = a
        .instances
        .iter()
        .position(|i| *i == leader.instance)
        .and_then(|cause| {
            let k = a.modes[cause]
                .iter()
                .position(|m| *m == leader.modes[0].0)?;
            let c = &a.net.causes[cause];
            // A mode that is in the network twice, acting and idle, counts as the one that explains more.
            let twin = c
                .modes
                .get(k + 1)
                .filter(|_| a.modes[cause].get(k + 1) == a.modes[cause].get(k));
            let of = |m: &Mode| terms(r, m, c.likelihood_fine).iter().sum::<f64>();
            Some(twin.map_or(f64::NEG_INFINITY, of).max(of(&c.modes[k])))
        })
        .unwrap_or(f64::INFINITY);
    let mut out = vec![leader.name.clone()];
    for a in alone(model, r) {
        if a.log >= log - ALIKE && a.unit != leader.name {
            out.push(a.unit);
        }
    }
    out
}

/// A class of miss, for a table.
pub fn class(model: &BoardModel, r: &Ranking, fault: &Fault, p: &Place) -> (String, String) {
    let all = alone(model, r);
    let find = |unit: &str| all.iter().find(|a| a.unit == unit);
    let (Some(truth), Some(leader)) = (find(&fault.unit), find(&p.leader)) else {
        return ("no such unit".into(), String::new());
    };
    let detail = detail(model, r, truth, leader);
    if truth.log >= leader.log - ALIKE {
        let same = position(&truth.unit) == position(&leader.unit);
        let what = if same {
            "alike, same position: the prior decides"
        } else {
            "alike, other position: the prior decides"
        };
        return (what.into(), detail);
    }
    let (worst, missing) = worst(r, truth, leader);
    let direction = match missing {
        true => "shows, but the map does not expect it",
        false => "does not show, but the map expects it",
    };
    (
        format!("{}: {direction}: {worst}", kind_of(model, &truth.unit)),
        detail,
    )
}

/// Family and kind of a unit.
fn kind_of(model: &BoardModel, unit: &str) -> String {
    let Some(u) = model.units.iter().find(|u| u.name == unit) else {
        return unit.into();
    };
    let family = &model.positions[u.position].family;
    let kind = match u.kind {
        UnitKind::Part => "part",
        UnitKind::Contacts => "contacts",
        UnitKind::Joints => "joints",
        UnitKind::Contact { .. } => "contact",
        UnitKind::Key { .. } => "key",
    };
    format!("{family} {kind}")
}

/// Names of the checks of the network.
fn names(r: &Ranking) -> Vec<String> {
    let mut out = vec!["?".to_string(); r.assembled.net.checks.len()];
    for (reading, checks) in r.observed.readings.iter().zip(&r.assembled.checks) {
        if let Evidence::Check(c) = &reading.evidence {
            for &k in checks {
                out[k] = c.check.clone();
            }
        }
    }
    out.push("about the unit".into());
    out
}

/// The check that costs the right unit most against the leader, without numbers, and whether it failed.
fn worst(r: &Ranking, truth: &Alone, leader: &Alone) -> (String, bool) {
    let net = &r.assembled.net;
    let of = |a: &Alone| {
        let c = &net.causes[a.cause];
        terms(r, &c.modes[a.mode], c.likelihood_fine)
    };
    let names = names(r);
    let mut sums: BTreeMap<(String, bool), f64> = BTreeMap::new();
    for (k, (t, l)) in of(truth).iter().zip(of(leader)).enumerate() {
        let failed = net
            .checks
            .get(k)
            .is_none_or(|c| c.seen != Some(Outcome::Pass));
        let plain: String = names[k].chars().filter(|c| !c.is_ascii_digit()).collect();
        let plain = match plain.split_once("key.") {
            Some(_) => "key.".to_string(),
            None => plain,
        };
        *sums.entry((plain, failed)).or_default() += l - t;
    }
    let worst = sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
    worst.map_or(("?".into(), false), |w| w.0)
}

/// Both modes in words, with what separates them.
fn detail(model: &BoardModel, r: &Ranking, truth: &Alone, leader: &Alone) -> String {
    let net = &r.assembled.net;
    let of = |a: &Alone| {
        let c = &net.causes[a.cause];
        (
            terms(r, &c.modes[a.mode], c.likelihood_fine),
            c.modes[a.mode].prior[0],
            &model.modes[r.assembled.modes[a.cause][a.mode] as usize].what,
        )
    };
    let ((t, tp, tw), (l, lp, lw)) = (of(truth), of(leader));
    let names = names(r);
    let mut gap: Vec<(f64, String)> = t
        .iter()
        .zip(&l)
        .enumerate()
        .map(|(k, (t, l))| {
            let failed = net
                .checks
                .get(k)
                .is_some_and(|c| c.seen.is_some_and(|o| o != Outcome::Pass));
            let mark = if failed { "!" } else { "" };
            (l - t, format!("{}{mark}", names[k]))
        })
        .filter(|g| g.0.abs() > 0.2)
        .collect();
    gap.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let list: Vec<String> = gap
        .iter()
        .take(7)
        .map(|(g, n)| format!("{n} {g:+.1}"))
        .collect();
    format!(
        "best '{tw}' ({tp:.1e}) {:.1} against {} '{lw}' ({lp:.1e}) {:.1}: {}",
        truth.log,
        leader.unit,
        leader.log,
        list.join(", ")
    )
}

/// Every mode whose words contain one of these (all for none), best first by prior and sheet: what explains the sheet alone, and
/// the checks that cost it most.
pub fn explanations(model: &BoardModel, r: &Ranking, wanted: &[String]) -> Vec<(f64, String)> {
    let net = &r.assembled.net;
    let names = names(r);
    let mut out = Vec::new();
    for (cause, c) in net.causes.iter().enumerate() {
        let unit = &model.units[r.assembled.instances[cause].unit].name;
        for (k, mode) in c.modes.iter().enumerate().filter(|m| m.1.prior[0] > 0.0) {
            let what = &model.modes[r.assembled.modes[cause][k] as usize].what;
            let words = format!("{unit} {what}");
            if !wanted.is_empty() && !wanted.iter().any(|w| words.contains(w)) {
                continue;
            }
            let terms = terms(r, mode, c.likelihood_fine);
            let log: f64 = terms.iter().sum();
            let mut costly: Vec<(f64, &str)> = terms
                .iter()
                .copied()
                .zip(names.iter().map(String::as_str))
                .collect();
            costly.sort_by(|a, b| a.0.total_cmp(&b.0));
            let costly: Vec<String> = costly
                .iter()
                .take(9)
                .map(|(t, n)| format!("{n} {t:.1}"))
                .collect();
            let prior = mode.prior[0];
            out.push((
                prior.ln() + log,
                format!("{words} ({prior:.1e}) {log:.1}: {}", costly.join(", ")),
            ));
        }
    }
    out.sort_by(|a, b| b.0.total_cmp(&a.0));
    out
}
