//! What an ohmmeter finds on a board without power, and a finger on its parts after some seconds with it.

use super::faults::{Fault, What};
use super::overlay::Overlay;
use super::supply;
use super::wiring::{Kind, Wired};
use rand::RngExt;
use rand::rngs::StdRng;

/// P(a shorted chip is noticed to be hot), and of a shorted capacitor, which is small. Guesses, as all in this file.
const CHIP_NOTICED: f64 = 0.85;
const CAPACITOR_NOTICED: f64 = 0.6;
/// P(a sound part is taken for hot): one that always runs hot, on a rail that still gives most of its volts; any other.
const RUNS_HOT: f64 = 0.15;
const MISTAKEN: f64 = 0.015;
/// P(a short reads as more than a few ohms): it breaks down with voltage on it only.
const ONLY_UNDER_VOLTAGE: f64 = 0.08;

/// P(a part that is open reads as if it were whole): other ways of the board lie beside it.
const WAY_BESIDE: f64 = 0.08;
/// P(an open joint touches while the tips press on it).
const TOUCHES: f64 = 0.06;
/// P(the meter reads open where nothing is wrong): a tip that slipped, lacquer.
const SLIPPED: f64 = 0.004;
/// P(the rail reads lowest beside the part that shorts it).
const BESIDE: f64 = 0.12;

/// `open`, `shorted` or `ok` across a part of two legs.
pub fn across(w: &Wired, faults: &[Fault], part: usize, rng: &mut StdRng) -> &'static str {
    use Kind::{Cap, CouplingCap, Crystal, CrystalTwo, PumpCap, Reservoir, TimingCap};
    // What passes no direct current reads the same, open or sound.
    let blocks = matches!(
        w.parts[part].kind,
        Cap | CouplingCap | Crystal | CrystalTwo | PumpCap | Reservoir | TimingCap
    );
    let how = faults.iter().find_map(|f| match &f.what {
        What::Broken { part: p, how } if *p == part => Some(how.as_str()),
        _ => None,
    });
    match how {
        // Of several poles or windings one is enough.
        Some(how) if how.starts_with("open") && !blocks && !rng.random_bool(WAY_BESIDE) => "open",
        Some(how) if how.starts_with("short") && !rng.random_bool(ONLY_UNDER_VOLTAGE) => "shorted",
        _ if rng.random_bool(SLIPPED) => "open",
        _ => "ok",
    }
}

/// Ohms between two legs of one line, each a part and a pin of it; `None` for open.
pub fn along(
    faults: &[Fault],
    legs: [(usize, usize); 2],
    w: &Wired,
    rng: &mut StdRng,
) -> Option<f64> {
    // Inside a part a pin that is open does not matter to tips on its leg.
    let outside = |f: &Fault, part: usize| f.unit != w.parts[part].name;
    let open = faults.iter().any(|f| match f.what {
        What::PinOpen { part, pin } => legs.contains(&(part, pin)) && outside(f, part),
        _ => false,
    });
    let reads_open = match open {
        true => !rng.random_bool(TOUCHES),
        false => rng.random_bool(SLIPPED),
    };
    (!reads_open).then(|| rng.random_range(0.1..0.8))
}

/// The part at which a rail that is pulled down is lowest.
pub fn lowest(w: &Wired, o: &Overlay, parts: &[String], rng: &mut StdRng) -> String {
    let shorted = supply::shorted(w, o);
    let takes = |n: &&String| shorted.iter().any(|(p, _)| *p == w.part(n));
    let at = parts.iter().position(|n| takes(&n));
    let any = rng.random_range(0..parts.len());
    let beside = rng.random_bool(BESIDE);
    parts[at.filter(|_| !beside).unwrap_or(any)].clone()
}

/// Ohms from a rail to ground.
pub fn ohms(w: &Wired, o: &Overlay, rail: &str, rng: &mut StdRng) -> f64 {
    let line = w.rails.iter().find(|r| r.0 == rail).map(|r| r.1);
    let sound = rng.random_range(90.0..900.0);
    let reached = line.map_or(Vec::new(), |l| supply::joined(w, o, l));
    let short = supply::shorted(w, o)
        .iter()
        .any(|(_, lines)| lines.iter().any(|l| reached.contains(l)));
    match short && !rng.random_bool(ONLY_UNDER_VOLTAGE) {
        true => rng.random_range(0.4..4.5),
        false => sound,
    }
}

/// Which of these parts are called hot, by name.
pub fn hot(w: &Wired, o: &Overlay, parts: &[String], rng: &mut StdRng) -> Vec<String> {
    let (given, left) = (supply::given(w, o), supply::of(w, o));
    let shorted = supply::shorted(w, o);
    let mut is_hot = |name: &str| {
        let part = w.part(name);
        let takes_all = shorted.iter().any(|(p, lines)| {
            let fed = |l: &usize| given.volts.get(l).is_some_and(|v| *v > 0.5);
            *p == part && lines.iter().any(fed)
        });
        let p = &w.parts[part];
        let chip = super::pins::is_chip(p.kind);
        let lit = p.pins.iter().filter_map(|pin| pin.1).any(|l| {
            left.volts
                .get(&l)
                .is_some_and(|v| *v > 0.6 * left.nominal[l])
        });
        rng.random_bool(match (takes_all, runs_hot(p.kind) && lit) {
            (true, _) if chip => CHIP_NOTICED,
            (true, _) => CAPACITOR_NOTICED,
            (false, true) => RUNS_HOT,
            (false, false) => MISTAKEN,
        })
    };
    parts.iter().filter(|p| is_hot(p)).cloned().collect()
}

/// Chips that are hot on every sound machine: common practice, no source.
fn runs_hot(kind: Kind) -> bool {
    use Kind::*;
    matches!(
        kind,
        V6569 | S6581 | P6510 | Array | Combined | V6845 | A5C112
    )
}
