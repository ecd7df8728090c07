//! Supplies: what voltage reaches which line, by the plug, switch, fuse, chokes, rectifiers and regulators.

use super::overlay::Overlay;
use super::wiring::{Kind, Wired};
use std::collections::HashMap;

/// Volts by line, and which lines carry the alternating supply.
#[derive(Debug, Clone, Default)]
pub struct Supply {
    /// Direct volts.
    pub volts: HashMap<usize, f64>,
    /// Lines on one of the legs of the alternating supply.
    pub alternating: HashMap<usize, u8>,
    /// Both legs come as far as the rectifier, so that current can flow.
    pub circuit: bool,
    /// Volts of ripple by line.
    pub ripple: HashMap<usize, f64>,
    /// Lines with more volts than the chips on them stand.
    pub too_high: Vec<usize>,
    /// Volts that a line should have.
    pub nominal: Vec<f64>,
}

/// Whether a line carries a supply.
pub fn is_power(w: &Wired, line: usize) -> bool {
    let n = w.lines[line].as_str();
    let starts = [
        "+",
        "-5V",
        "ARRAY_VCC",
        "9V",
        "12V",
        "AC_",
        "AC1",
        "AC2",
        "5V",
        "PSU",
        "V5_IN",
        "ADAPTER",
    ];
    n == "GND"
        || starts.iter().any(|s| n.starts_with(s))
        || [
            "n.FB19.1",
            "n.C107.1",
            "MOTOR_REF",
            "GND_IN",
            "CASS_MOTOR_PWR",
        ]
        .contains(&n)
        || n.starts_with("SOUND_REG")
}

impl Supply {
    /// Whether a chip runs off this line.
    pub fn good(&self, line: usize) -> bool {
        let nominal = self.nominal[line];
        let enough = |v: &f64| *v * nominal.signum() >= 0.91 * nominal.abs();
        self.volts.get(&line).is_some_and(enough) && !self.too_high.contains(&line)
    }
}

/// The supplies with these faults.
pub fn of(w: &Wired, o: &Overlay) -> Supply {
    if super::supply_boost::fits(w) {
        return super::supply_boost::of(w, o, true);
    }
    let mut s = given(w, o);
    shorts(w, o, &mut s);
    s
}

/// What the supply, switch, fuse, chokes, rectifiers and regulators would give if nothing on the board took too much.
pub fn given(w: &Wired, o: &Overlay) -> Supply {
    if super::supply_boost::fits(w) {
        return super::supply_boost::of(w, o, false);
    }
    let nominal = |n: &String| {
        if n.contains("12V") {
            12.0
        } else if n == "+9V_SOUND" {
            9.0
        } else if n.starts_with("9V") {
            10.0
        } else {
            5.0
        }
    };
    let mut s = Supply {
        nominal: w.lines.iter().map(nominal).collect(),
        ..Supply::default()
    };
    if super::supply_five::fits(w) {
        super::supply_five::given(w, o, &mut s);
        return s;
    }
    let adapter = w.of_kind(Kind::Adapter).next().expect("a mains adapter");
    let plug = w
        .of_kind(Kind::PowerConnector)
        .next()
        .expect("a power connector");
    // Without its ground no current comes back.
    let grounded = w
        .of_kind(Kind::FourWire)
        .all(|c| !o.broken(c, "open 2") && !(2..4).any(|k| o.is_open(c, k)));
    let dead = o.broken(adapter, "dead") || !grounded;
    if !dead && !o.broken(adapter, "9V missing") {
        for (label, how, leg) in [("6", "AC1 open", 1), ("7", "AC2 open", 2)] {
            let k = w.pin(plug, label);
            if !o.broken(plug, how) && !o.is_open(plug, k) {
                spread_alternating(w, o, &mut s, w.parts[plug].pins[k].1.expect("wired"), leg);
            }
        }
    }
    let five = match () {
        () if dead || o.broken(adapter, "5V missing") || o.broken(plug, "5V open") => 0.0,
        () if o.broken(adapter, "5V low") => 4.3,
        () if o.broken(plug, "5V low") => 4.4,
        () if o.broken(adapter, "5V high") => 5.85,
        () => 5.03,
    };
    let entry = ["4", "5"]
        .iter()
        .map(|l| w.pin(plug, l))
        .find(|&k| !o.is_open(plug, k));
    if let (Some(k), true) = (entry, five > 0.0) {
        spread_direct(w, o, &mut s, w.parts[plug].pins[k].1.expect("wired"), five);
    }
    rectify(w, o, &mut s);
    s
}

fn spread_alternating(w: &Wired, o: &Overlay, s: &mut Supply, line: usize, leg: u8) {
    if s.alternating.contains_key(&line) || w.lines[line] == "GND" {
        return;
    }
    s.alternating.insert(line, leg);
    for part in 0..w.parts.len() {
        for other in across(w, o, part, line) {
            spread_alternating(w, o, s, other, leg);
        }
    }
}

/// Lines that a part joins to this one.
fn across(w: &Wired, o: &Overlay, part: usize, line: usize) -> Vec<usize> {
    let mut out = Vec::new();
    for (a, b) in o.joins(w, part) {
        let (x, y) = (w.parts[part].pins[a].1, w.parts[part].pins[b].1);
        if x == Some(line) {
            out.extend(y);
        } else if y == Some(line) {
            out.extend(x);
        }
    }
    out
}

pub(super) fn spread_direct(w: &Wired, o: &Overlay, s: &mut Supply, line: usize, volts: f64) {
    if w.lines[line] == "GND" || s.volts.get(&line).is_some_and(|v| *v >= volts) {
        return;
    }
    s.volts.insert(line, volts);
    for part in 0..w.parts.len() {
        let low = w.parts[part].kind == Kind::Switch && o.broken(part, "low 2");
        for other in across(w, o, part, line) {
            spread_direct(w, o, s, other, if low { volts - 0.7 } else { volts });
        }
        // A diode passes from its second pin (anode) to its first.
        let p = &w.parts[part];
        if p.kind == Kind::Diode
            && p.pins[1].1 == Some(line)
            && !o.broken(part, "open")
            && let Some(to) = p.pins[0].1
        {
            spread_direct(w, o, s, to, volts - 0.7);
        }
    }
}

fn rectify(w: &Wired, o: &Overlay, s: &mut Supply) {
    for bridge in w.of_kind(Kind::Bridge) {
        let end = |k: usize| w.parts[bridge].pins[k].1.filter(|_| !o.is_open(bridge, k));
        let leg = |k: usize| end(k).and_then(|l| s.alternating.get(&l).copied());
        s.circuit = leg(1).is_some() && leg(3).is_some() && leg(1) != leg(3);
        if s.circuit
            && !o.broken(bridge, "open")
            && end(2).is_some()
            && let Some(plus) = end(0)
        {
            let nominal = w.rails.iter().find(|r| r.1 == plus).map_or(10.5, |r| r.2);
            spread_direct(w, o, s, plus, nominal.max(10.5));
        }
    }
    for pump in w.of_kind(Kind::PumpCap).filter(|&p| !o.broken(p, "open")) {
        let [boost, ac] = [0, 1].map(|k| w.parts[pump].pins[k].1.filter(|_| !o.is_open(pump, k)));
        if let (Some(boost), true) = (boost, ac.is_some_and(|l| s.alternating.contains_key(&l)))
            && let Some(&volts) = s.volts.get(&boost)
        {
            spread_direct(w, o, s, boost, volts + 9.5);
        }
    }
    for r in w.of_kind(Kind::Regulator) {
        let end = |k: usize| w.parts[r].pins[k].1.filter(|_| !o.is_open(r, k));
        let (Some(from), Some(to)) = (end(0), end(1)) else {
            continue;
        };
        let nominal = if w.parts[r].part_type.ends_with("12") {
            12.0
        } else {
            5.0
        };
        let fed = s.volts.get(&from).copied().unwrap_or(0.0);
        let volts = match () {
            () if o.broken(r, "dead") => 0.0,
            () if o.broken(r, "high") || end(2).is_none() => fed - 1.0,
            () if o.broken(r, "low") => nominal * 0.8,
            () => nominal.min(fed - 2.0),
        };
        if volts > 0.3 {
            spread_direct(w, o, s, to, volts);
        }
    }
    zener_supplies(w, o, s);
    for c in w.of_kind(Kind::Reservoir).filter(|&c| o.broken(c, "weak")) {
        if let Some(line) = w.parts[c].pins[0].1 {
            s.ripple.insert(line, 0.8);
        }
    }
}

/// A transistor with a zener diode at its base gives the zener's volts less its own.
fn zener_supplies(w: &Wired, o: &Overlay, s: &mut Supply) {
    /// Of the zener diode at the base (the board's value).
    const REFERENCE: f64 = 9.6;
    for q in w.of_kind(Kind::PassTransistor) {
        let end = |k: usize| w.parts[q].pins[k].1.filter(|_| !o.is_open(q, k));
        let (Some(from), Some(to)) = (end(1), end(2)) else {
            continue;
        };
        let volts =
            |line: Option<usize>| line.and_then(|l| s.volts.get(&l)).copied().unwrap_or(0.0);
        let base = end(0);
        let zener = w
            .of_kind(Kind::ZenerReference)
            .find(|&z| base.is_some() && w.parts[z].pins[0].1 == base);
        let reference = match zener {
            Some(z) if o.broken(z, "short") => 0.0,
            Some(z) if o.broken(z, "open") || o.is_open(z, 0) || o.is_open(z, 1) => volts(base),
            _ => volts(base).min(REFERENCE),
        };
        let given = match () {
            () if o.broken(q, "open") => 0.0,
            () if o.broken(q, "short") => volts(Some(from)),
            () => reference.min(volts(Some(from))) - 0.6,
        };
        if given > 0.3 {
            spread_direct(w, o, s, to, given);
        }
    }
}

/// A shorted chip or capacitor pulls its rail down, and all that the same source feeds.
fn shorts(w: &Wired, o: &Overlay, s: &mut Supply) {
    let mut down: Vec<usize> = (shorted(w, o).into_iter())
        .flat_map(|(_, lines)| lines)
        .filter(|l| s.volts.contains_key(l))
        .collect();
    // What is joined to a shorted line without a regulator between goes down with it.
    while let Some(line) = down.pop() {
        if s.volts.get(&line).is_none_or(|v| *v < 0.5) {
            continue;
        }
        s.volts.insert(line, 0.3);
        for part in (0..w.parts.len()).filter(|&p| !w.parts[p].resistor) {
            down.extend(across(w, o, part, line));
            let p = &w.parts[part];
            if p.kind == Kind::Regulator && p.pins[0].1 == Some(line) {
                down.extend(p.pins[1].1);
            }
        }
    }
}

/// Parts that short lines to ground, each with those lines.
pub fn shorted(w: &Wired, o: &Overlay) -> Vec<(usize, Vec<usize>)> {
    let mut out = Vec::new();
    for &part in &o.shorted {
        let number = super::pins::supplies(w.parts[part].kind).0[0].to_string();
        let line = w.parts[part].pins[w.pin(part, &number)].1;
        out.push((part, line.into_iter().collect()));
    }
    for part in w.of_kind(Kind::M4116) {
        for (how, pin) in [("short 12", 8), ("short 5", 9)] {
            if o.broken(part, how) {
                out.push((part, w.parts[part].pins[pin - 1].1.into_iter().collect()));
            }
        }
    }
    // A reference that shorts takes what a resistor lets through.
    let takes = |p: &usize| o.broken(*p, "short") && w.parts[*p].kind != Kind::ZenerReference;
    for part in (0..w.parts.len()).filter(takes) {
        let lines: Vec<usize> = w.parts[part].pins.iter().filter_map(|p| p.1).collect();
        if lines.iter().any(|&l| w.lines[l] == "GND") {
            let other = lines.into_iter().filter(|&l| w.lines[l] != "GND");
            out.push((part, other.collect()));
        }
    }
    out
}

/// Lines that direct current reaches from this one without passing a regulator or a diode.
pub fn joined(w: &Wired, o: &Overlay, line: usize) -> Vec<usize> {
    let mut found = vec![line];
    let mut at = 0;
    while let Some(&line) = found.get(at) {
        at += 1;
        for part in 0..w.parts.len() {
            for other in across(w, o, part, line) {
                if w.lines[other] != "GND" && !found.contains(&other) {
                    found.push(other);
                }
            }
        }
    }
    found
}

/// Volts of the 5 V at the plug of the mains adapter with nothing on it: one that sags under load looks good there.
pub fn at_plug(w: &Wired, o: &Overlay) -> f64 {
    if super::supply_five::fits(w) {
        return super::supply_five::at_plug(w, o);
    }
    if super::supply_boost::fits(w) {
        return super::supply_boost::at_plug(w, o);
    }
    let adapter = w.of_kind(Kind::Adapter).next().expect("a mains adapter");
    match () {
        () if o.broken(adapter, "dead") || o.broken(adapter, "5V missing") => 0.0,
        () if o.broken(adapter, "5V high") => 5.85,
        () => 5.08,
    }
}
