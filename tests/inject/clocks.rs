//! Which clock lines run: from the oscillators through dividers, video chip and processor; and the mains tick.

use super::machine::{Machine, V};
use super::pins;
use super::wiring::Kind;
use std::collections::HashSet;

/// Nets that run. The largest set in which every line has a driver that its own inputs keep going.
pub fn running(m: &Machine) -> HashSet<usize> {
    if m.array_40().is_some() {
        return m.array_clocks();
    }
    let mut now: HashSet<usize> = (0..m.w.lines.len()).map(|l| m.net_of(l)).collect();
    loop {
        let next = step(m, &now);
        if next == now {
            return next;
        }
        now = next;
    }
}

fn step(m: &Machine, now: &HashSet<usize>) -> HashSet<usize> {
    let mut next = HashSet::new();
    for part in 0..m.w.parts.len() {
        let p = &m.w.parts[part];
        let index = |n: usize| match p.kind {
            Kind::Osc => m.w.pin(part, &n.to_string()),
            _ => n - 1,
        };
        let on = |n: usize| {
            let k = index(n);
            p.pins[k].1.is_some_and(|l| now.contains(&m.net_of(l))) && !m.o.is_open(part, k)
        };
        let not_low = |n: usize| {
            let k = index(n);
            let line = p.pins[k].1.filter(|_| !m.o.is_open(part, k));
            line.is_none_or(|l| {
                m.w.lines[l] != "GND"
                    && m.line_held(l) != Some(V::L)
                    && (!super::supply::is_power(m.w, l) || m.supply.good(l))
            })
        };
        let outputs: Vec<usize> = match p.kind {
            Kind::Osc => vec![8],
            Kind::L629 => oscillators(m),
            Kind::K8701 if crystal_swings(m) => vec![6, 8],
            Kind::L00 | Kind::L368 if m.aside.clocked => {
                gates(p.kind, &on, &not_low, &|n| m.o.is_open(part, index(n)))
            }
            Kind::CrystalTwo | Kind::CouplingCap if m.aside.clocked => way(m, part, &on),
            Kind::L74 | Kind::Flip => [(1, 4, 2, 3, [5, 6]), (13, 10, 12, 11, [9, 8])]
                .into_iter()
                .filter(|(clear, preset, d, clock, _)| {
                    not_low(*clear) && not_low(*preset) && on(*d) && on(*clock)
                })
                .flat_map(|h| h.4)
                .collect(),
            Kind::V6569 if on(22) => vec![16, 17, 18, 19],
            Kind::P6502 if on(37) => vec![39],
            Kind::P6510 if on(1) => vec![39],
            _ => Vec::new(),
        };
        if !m.powered[part] {
            continue;
        }
        for k in outputs.into_iter().map(index) {
            if let Some(line) = p.pins[k]
                .1
                .filter(|_| !m.o.is_open(part, k) && !m.held(part, k))
                && m.line_held(line).is_none()
                && !(m.aside.clocked && shorted(m, line))
            {
                next.insert(m.net_of(line));
            }
        }
    }
    next
}

/// Outputs of gates that a clock passes: gates with both inputs on it, drivers that are always on.
fn gates(
    kind: Kind,
    on: &dyn Fn(usize) -> bool,
    not_low: &dyn Fn(usize) -> bool,
    open: &dyn Fn(usize) -> bool,
) -> Vec<usize> {
    if kind == Kind::L00 {
        return pins::FOUR
            .into_iter()
            .filter(|&(a, b, _)| (on(a) || on(b)) && (on(a) || open(a)) && (on(b) || open(b)))
            .map(|g| g.2)
            .collect();
    }
    pins::DRIVERS
        .into_iter()
        .filter(|&(enable, a, _)| !not_low(enable) && on(a))
        .map(|g| g.2)
        .collect()
}

/// The leg at which a clock comes out of a small part of the oscillator.
fn way(m: &Machine, part: usize, on: &dyn Fn(usize) -> bool) -> Vec<usize> {
    let name = m.w.parts[part].name.as_str();
    let ways = super::boards::vdp::CLOCK_WAYS;
    let Some(&(_, from, to, bias)) = ways.iter().find(|w| w.0 == name) else {
        return Vec::new();
    };
    let biased = bias.is_empty() || {
        let r = m.w.part(bias);
        !m.o.broken(r, "open") && !m.o.is_open(r, 0) && !m.o.is_open(r, 1)
    };
    if on(from) && biased && !m.o.broken(part, "open") {
        vec![to]
    } else {
        Vec::new()
    }
}

/// Whether a capacitor shorts a line to ground.
fn shorted(m: &Machine, line: usize) -> bool {
    m.w.of_kind(Kind::Cap).any(|c| {
        let here = m.w.parts[c].pins.iter().filter_map(|p| p.1);
        m.o.broken(c, "short") && here.into_iter().any(|l| m.net_of(l) == m.net_of(line))
    })
}

/// Outputs of the two oscillators that run.
fn oscillators(m: &Machine) -> Vec<usize> {
    let broken = |name: &str| {
        let part = m.w.parts.iter().position(|p| p.name == name);
        part.is_some_and(|p| {
            m.o.broken(p, "open")
                || m.o.broken(p, "short")
                || m.o.is_open(p, 0)
                || m.o.is_open(p, 1)
        })
    };
    let mut out = Vec::new();
    if !broken("C86") {
        out.push(7);
    }
    if !broken("Y1") && !broken("C70") {
        out.push(10);
    }
    out
}

/// Whether the crystal at a clock generator is whole.
fn crystal_swings(m: &Machine) -> bool {
    let whole = |p: usize| {
        let pins = (0..2).all(|k| !m.o.is_open(p, k));
        !m.o.broken(p, "open") && !m.o.broken(p, "short") && pins
    };
    let generator = m.w.of_kind(Kind::K8701).next();
    let legs = generator.is_some_and(|g| [13, 14].iter().all(|n| !m.o.is_open(g, n - 1)));
    // A trimmer with an open leg only lets the frequency move.
    let trimmer = m.w.of_kind(Kind::Trimmer).all(|p| !m.o.broken(p, "short"));
    legs && trimmer && m.w.of_kind(Kind::Crystal).all(whole)
}

/// Whether the mains tick reaches the clock input of an adapter (pin 19).
pub fn tick(m: &Machine, adapter: usize) -> bool {
    let k = 18;
    let Some(line) = m.w.parts[adapter].pins[k]
        .1
        .filter(|_| !m.o.is_open(adapter, k))
    else {
        return false;
    };
    if !m.supply.circuit || m.line_held(line).is_some() {
        return false;
    }
    // Backwards through gates to a line that the alternating supply reaches.
    let gate = |part: usize, a: usize, y: usize| {
        let ok = |n: usize| !m.o.is_open(part, n - 1);
        (m.powered[part] && ok(a) && ok(y) && !m.held(part, y - 1))
            .then(|| m.w.parts[part].pins[a - 1].1)
            .flatten()
    };
    let mut at = line;
    for _ in 0..4 {
        if m.supply.alternating.contains_key(&at) {
            return !zener_shorted(m, at) && m.line_held(at).is_none();
        }
        let from = (0..m.w.parts.len()).find_map(|part| match m.w.parts[part].kind {
            Kind::L04 | Kind::L14 => pins::SIX
                .iter()
                .find(|g| m.w.parts[part].pins[g.1 - 1].1 == Some(at))
                .and_then(|g| gate(part, g.0, g.1)),
            Kind::L08 => (m.w.parts[part].pins[2].1 == Some(at))
                .then(|| gate(part, 2, 3))
                .flatten(),
            _ => None,
        });
        match from {
            Some(next) if m.line_held(next).is_none() => at = next,
            _ => return false,
        }
    }
    false
}

fn zener_shorted(m: &Machine, line: usize) -> bool {
    let on = |z: usize| {
        m.supply
            .alternating
            .contains_key(&m.w.parts[z].pins[0].1.unwrap_or(line))
    };
    (m.w.of_kind(Kind::Zener).chain(m.w.of_kind(Kind::Cap)))
        .any(|z| on(z) && m.o.broken(z, "short"))
}

/// Whether the tick is there on a line of its path, whatever comes after it.
pub fn line_ticks(m: &Machine, line: usize) -> bool {
    if m.line_held(line).is_some() || !m.supply.circuit {
        return false;
    }
    if m.supply.alternating.contains_key(&line) {
        return !zener_shorted(m, line);
    }
    let gates = pins::SIX;
    (0..m.w.parts.len()).any(|part| {
        let pairs: &[(usize, usize)] = match m.w.parts[part].kind {
            Kind::L04 | Kind::L14 => &gates,
            Kind::L08 => &[(2, 3)],
            _ => return false,
        };
        pairs.iter().any(|&(a, y)| {
            let out = m.w.parts[part].pins[y - 1].1 == Some(line);
            let open = m.o.is_open(part, a - 1) || m.o.is_open(part, y - 1) || m.held(part, y - 1);
            let from = m.w.parts[part].pins[a - 1].1;
            out && !open && m.powered[part] && from.is_some_and(|l| l != line && line_ticks(m, l))
        })
    })
}
