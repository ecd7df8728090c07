//! Settling on boards of many chips and many steps: a chip whose pins have not moved drives what it drove.

use super::*;

/// What is kept from one round to the next.
#[derive(Debug, Default)]
pub(super) struct Quick {
    /// What each driver drove: net and level.
    drove: Vec<Vec<(usize, V)>>,
    /// Drivers to look at again.
    moved: Vec<bool>,
    /// Drivers with a pin on a net.
    readers: Vec<Vec<usize>>,
    /// Drivers whose outputs follow their pins and nothing else, memories' own state included, which follows them too.
    plain: Vec<bool>,
}

/// Rounds after which gates that chase each other are taken one after the other.
const CHASE: usize = 24;
const ROUNDS: usize = 48;

impl Machine<'_> {
    pub(super) fn quick(&self) -> Quick {
        let mut readers = vec![Vec::new(); self.w.lines.len()];
        let stepped = |kind: Kind| {
            use Kind::*;
            matches!(
                kind,
                Z80 | Flip | L273 | V9918 | Ppi8255 | S8910Ports | C311
            )
        };
        for (d, &part) in self.drivers.iter().enumerate() {
            for &net in self.nets[part].iter().filter(|n| **n != NONE) {
                readers[net].push(d);
            }
        }
        Quick {
            drove: vec![Vec::new(); self.drivers.len()],
            moved: vec![true; self.drivers.len()],
            plain: (self.drivers.iter())
                .map(|&p| !stepped(self.w.parts[p].kind))
                .collect(),
            readers,
        }
    }

    /// What all chips drive now.
    fn drive_moved(&mut self) {
        let mut drives: Vec<(usize, V)> = Vec::new();
        for d in 0..self.drivers.len() {
            if self.aside.quick.plain[d] && !self.aside.quick.moved[d] {
                continue;
            }
            let part = self.drivers[d];
            drives.clear();
            self.drive(part, &mut drives);
            let mut drove = std::mem::take(&mut self.aside.quick.drove[d]);
            drove.clear();
            for &(number, v) in &drives {
                let net = self.nets[part][number - 1];
                if net != NONE && v != V::Z && self.o.stuck[part][number - 1].is_none() {
                    drove.push((net, v));
                }
            }
            self.aside.quick.drove[d] = drove;
            self.aside.quick.moved[d] = false;
        }
    }

    /// Levels of the next round.
    fn round(&mut self, new: &mut [V]) {
        self.drive_moved();
        new.fill(V::Z);
        self.weak.fill(false);
        let mut put = |net: usize, v: V| match (new[net], v) {
            (_, V::Z) => {}
            (V::L, _) | (_, V::L) => new[net] = V::L,
            _ => new[net] = V::H,
        };
        for &(net, v) in &self.fixed {
            put(net, v);
        }
        for &(line, v) in &self.outside {
            put(self.root[line], v);
        }
        for &(net, v) in self.aside.quick.drove.iter().flatten() {
            put(net, v);
        }
        for (net, v) in self.cartridge() {
            put(net, v);
        }
        self.keys(new);
        for &net in &self.pulled {
            if new[net] == V::Z {
                new[net] = V::H;
                self.weak[net] = true;
            }
        }
        for &(net, shorted) in &self.caps {
            if new[net] == V::Z || shorted {
                new[net] = V::L;
            }
        }
        // A shorted output wins over every driver.
        for &(net, v) in &self.fixed {
            new[net] = v;
        }
    }

    pub(super) fn settle_clocked(&mut self) {
        let mut new = vec![V::Z; self.w.lines.len()];
        for round in 0..ROUNDS {
            self.round(&mut new);
            if round >= CHASE {
                // As their delays differ, they come to rest in one state or the other.
                for (k, v) in new.iter_mut().enumerate() {
                    if k % 2 == round % 2 {
                        *v = self.net[k];
                    }
                }
            }
            let same = self.take_over(&mut new);
            if same && round < CHASE {
                break;
            }
        }
        self.note();
        self.latch();
        if self.latch_flips() {
            self.settle_clocked();
        }
    }

    /// Makes these the levels; chips at nets that moved are looked at again, and memories take over at once. Whether nothing moved.
    fn take_over(&mut self, new: &mut Vec<V>) -> bool {
        let mut same = true;
        std::mem::swap(new, &mut self.net);
        for net in 0..new.len() {
            if new[net] == self.net[net] {
                continue;
            }
            same = false;
            for &d in &self.aside.quick.readers[net] {
                self.aside.quick.moved[d] = true;
            }
        }
        for d in 0..self.drivers.len() {
            let kind = self.w.parts[self.drivers[d]].kind;
            if self.aside.quick.moved[d] && matches!(kind, Kind::M4164 | Kind::M4816) {
                self.latch_memory(self.drivers[d]);
            }
        }
        same
    }
}
