//! Keys, analogue switches, pull-ups and capacitors.

use super::*;

impl Machine<'_> {
    /// A pressed key joins its column to its row.
    pub(super) fn keys(&self, new: &mut [V]) {
        let stuck = self.o.keys.iter().filter(|k| k.2).map(|k| (k.0, k.1));
        let pressed = self
            .pressed
            .iter()
            .copied()
            .filter(|k| !self.o.keys.contains(&(k.0, k.1, false)));
        if self.pressed.is_empty() && self.o.keys.is_empty() {
            return;
        }
        let unit = self.w.of_kind(Kind::Keyboard).next();
        let Some(unit) = unit.filter(|&u| !self.o.broken(u, "unplugged")) else {
            return;
        };
        for (column, row) in pressed.chain(stuck) {
            let (a, b) = (self.w.columns[column], self.w.rows[row]);
            let cut = |how: String, line: usize| self.o.broken(unit, &how) || self.plug_open(line);
            if cut(format!("column {column}"), a) || cut(format!("row {row}"), b) {
                continue;
            }
            let (a, b) = (self.root[a], self.root[b]);
            let low = new[a] == V::L || new[b] == V::L;
            if low {
                new[a] = V::L;
                new[b] = V::L;
            }
        }
    }

    /// Whether the keyboard's plug is open at the pin of this line.
    fn plug_open(&self, line: usize) -> bool {
        let headers = self.w.of_kind(Kind::Connector).filter(|&c| {
            let p = &self.w.parts[c];
            p.pins.len() == 20 || p.name.starts_with("KB")
        });
        headers
            .flat_map(|c| self.w.pins_on(c, line).into_iter().map(move |k| (c, k)))
            .any(|(c, k)| self.o.is_open(c, k))
    }

    /// Closed analogue switches make two lines one.
    pub(super) fn switches(&self, new: &mut [V]) {
        for &part in self
            .drivers
            .iter()
            .filter(|&&p| self.w.parts[p].kind == Kind::C4066)
        {
            for (a, b, control) in [(1, 2, 13), (3, 4, 5), (8, 9, 6), (10, 11, 12)] {
                let (x, y) = (self.nets[part][a - 1], self.nets[part][b - 1]);
                if x == NONE || y == NONE || self.pin(part, control) != V::H {
                    continue;
                }
                let both = match (new[x], new[y]) {
                    (V::Z, v) | (v, V::Z) => v,
                    (V::H, V::H) => V::H,
                    _ => V::L,
                };
                new[x] = both;
                new[y] = both;
            }
        }
    }

    /// Pull-ups to a supply that is there. Ports of an adapter and of the keyboard pull up by themselves.
    pub(super) fn pulls(&self) -> Vec<usize> {
        let mut out = Vec::new();
        let mut pull = |line: usize| out.push(self.root[line]);
        for (part, p) in self.w.parts.iter().enumerate() {
            let end = |k: usize| p.pins[k].1.filter(|_| !self.o.is_open(part, k));
            match p.kind {
                Kind::PullUp if !self.o.broken(part, "open") => {
                    if let (Some(a), Some(b)) = (end(0), end(1)) {
                        let (supply, line) = if supply::is_power(self.w, a) {
                            (a, b)
                        } else {
                            (b, a)
                        };
                        if self.supply.good(supply) {
                            pull(line);
                        }
                    }
                }
                Kind::PackBussed if !self.o.broken(part, "open all") => {
                    let Some(common) = end(0) else { continue };
                    for k in 1..p.pins.len() {
                        if self.o.broken(part, &format!("open {k}")) || !self.supply.good(common) {
                            continue;
                        }
                        end(k).map(&mut pull);
                    }
                }
                // Port pins of the interface adapter hold themselves up, and so do select lines of gates.
                Kind::A6526 if self.powered[part] => {
                    (1..17)
                        .chain([17, 38, 39])
                        .filter_map(end)
                        .for_each(&mut pull);
                }
                // So do those of the sound chip.
                Kind::S8910Ports if self.powered[part] => {
                    (5..21).filter_map(end).for_each(&mut pull);
                }
                _ => {}
            }
        }
        out
    }

    /// Lines that a shorted clamp or filter holds at its supply or at ground.
    pub(super) fn clamped(&self) -> Vec<(usize, V)> {
        let mut out = Vec::new();
        for (part, p) in self.w.parts.iter().enumerate() {
            let to_ground =
                |k: &(String, Option<usize>)| k.1.is_some_and(|l| self.w.lines[l] == "GND");
            let low = p.pins.iter().any(to_ground);
            let lines = || {
                p.pins
                    .iter()
                    .filter_map(|k| k.1)
                    .filter(|&l| !supply::is_power(self.w, l))
            };
            match p.kind {
                Kind::Filter if self.o.broken(part, "short") => {
                    out.extend(lines().map(|l| (l, V::L)))
                }
                Kind::Clamp => {
                    let shorted = |l: &usize| {
                        let at = format!("shorted at {}", self.w.lines[*l]);
                        self.o.broken(part, &at) || self.o.broken(part, "short")
                    };
                    let fed = low
                        || p.pins
                            .iter()
                            .filter_map(|k| k.1)
                            .any(|l| self.supply.good(l));
                    let level = if low { V::L } else { V::H };
                    out.extend(lines().filter(|l| fed && shorted(l)).map(|l| (l, level)));
                }
                _ => {}
            }
        }
        out
    }

    fn charged_by_gate(&self, line: usize) -> bool {
        let gates = self.w.of_kind(Kind::L32);
        let on = |g: usize| self.w.pins_on(g, line);
        gates
            .into_iter()
            .any(|g| on(g).into_iter().any(|k| !self.o.is_open(g, k)))
    }

    /// A capacitor to ground that nothing charges stays empty; a shorted one holds its line low.
    pub(super) fn capacitors(&self) -> Vec<(usize, bool)> {
        let mut out = Vec::new();
        for (part, p) in self.w.parts.iter().enumerate() {
            if !matches!(p.kind, Kind::Cap | Kind::TimingCap) || self.o.broken(part, "open") {
                continue;
            }
            let end = |k: usize| p.pins[k].1.filter(|_| !self.o.is_open(part, k));
            let (Some(a), Some(b)) = (end(0), end(1)) else {
                continue;
            };
            let ground = |l: usize| self.w.lines[l] == "GND";
            let line = if ground(a) { b } else { a };
            if !(ground(a) || ground(b)) || super::supply::is_power(self.w, line) {
                continue;
            }
            let short = self.o.broken(part, "short");
            // The input of a bipolar gate charges it.
            if !short && self.ripple && self.charged_by_gate(line) {
                continue;
            }
            out.push((self.root[line], short));
        }
        out
    }
}
