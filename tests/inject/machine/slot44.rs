//! The cartridge slot of 44 contacts, and what the test cartridge drives there.

use super::*;

/// The cartridge slot: nets by line, `NONE` where no contact touches.
pub(super) struct Slot {
    cart: usize,
    selects: [usize; 4],
    supply: [usize; 2],
    modes: [usize; 2],
    address: [usize; 13],
    data: [usize; 8],
}

impl Machine<'_> {
    pub(super) fn find_slot(&self) -> Option<Slot> {
        let cart = self.w.of_kind(Kind::Cartridge).next()?;
        self.slot_pin("GND")?;
        let net = |line: &str| {
            let touching = self.slot_pin(line).map(|(slot, pins)| {
                pins.into_iter()
                    .map(|k| self.nets[slot][k])
                    .find(|n| *n != NONE)
            });
            touching.flatten().unwrap_or(NONE)
        };
        Some(Slot {
            cart,
            selects: ["ROMH_N", "ROML_N", "CART_N", "RDPH_N"].map(net),
            supply: ["+5V", "GND"].map(net),
            modes: ["GAME_N", "EXROM_N"].map(net),
            address: std::array::from_fn(|k| net(&format!("A{k}"))),
            data: std::array::from_fn(|k| net(&format!("D{k}"))),
        })
    }

    /// Pins of the cartridge connector by line.
    pub fn slot_pin(&self, line: &str) -> Option<(usize, Vec<usize>)> {
        let slot = self
            .w
            .of_kind(Kind::Connector)
            .find(|&c| self.w.parts[c].pins.len() == 44)?;
        Some((slot, self.w.pins_on(slot, self.w.find_line(line)?)))
    }

    /// What the cartridge drives, as its contacts bring it: net and level.
    pub(super) fn cartridge(&self) -> Vec<(usize, V)> {
        if let Some(out) = self.edge_cartridge() {
            return out;
        }
        let Some(slot) = &self.slot else {
            return self.cartridge_50();
        };
        let level = |net: usize| self.net.get(net).copied().unwrap_or(V::Z);
        let mut out = Vec::new();
        for (net, v) in slot
            .modes
            .into_iter()
            .zip([self.cartridge_mode.0, self.cartridge_mode.1])
        {
            if net != NONE {
                out.push((net, v));
            }
        }
        let [high, low, select, read] = slot.selects.map(|n| level(n) == V::L);
        if !(high || low || select && read)
            || level(slot.supply[0]) != V::H
            || level(slot.supply[1]) != V::L
        {
            return out;
        }
        let address = slot
            .address
            .iter()
            .enumerate()
            .fold(0u16, |a, (k, n)| a | u16::from(level(*n) != V::L) << k);
        let mut value = content(slot.cart, address);
        if self.o.broken(slot.cart, "bad") {
            value ^= 0x21;
        }
        for (k, &net) in slot.data.iter().enumerate().filter(|d| *d.1 != NONE) {
            out.push((net, V::of(value >> k & 1 == 1)));
        }
        out
    }
}
