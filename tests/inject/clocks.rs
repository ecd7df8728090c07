//! Which clock lines run: from the oscillators through dividers, video chip and processor; and the mains tick.

use super::machine::{Machine, V};
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
            Kind::L74 => [(1, 4, 2, 3, [5, 6]), (13, 10, 12, 11, [9, 8])]
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
            {
                next.insert(m.net_of(line));
            }
        }
    }
    next
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
            Kind::L04 => [(1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12)]
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
    m.w.of_kind(Kind::Zener)
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
    let gates = [(1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12)];
    (0..m.w.parts.len()).any(|part| {
        let pairs: &[(usize, usize)] = match m.w.parts[part].kind {
            Kind::L04 => &gates,
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
