//! A test cartridge in a slot with 50 contacts: 16 KB at 4000, chosen by the slot select and the range select.

use super::*;

/// Contacts by bit.
const ADDRESS: [usize; 14] = [28, 27, 30, 29, 32, 31, 22, 21, 24, 17, 20, 19, 23, 26];
const DATA: [usize; 8] = [34, 33, 36, 35, 38, 37, 40, 39];

/// The slot and what is plugged into it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slot {
    slot: usize,
    cart: usize,
}

impl Machine<'_> {
    pub(super) fn find_slot_50(&self) -> Option<Slot> {
        let wide = |&c: &usize| self.w.parts[c].pins.len() == 50;
        let slot = self.w.of_kind(Kind::Connector).find(wide)?;
        let cart = self.w.of_kind(Kind::Cartridge).next()?;
        Some(Slot { slot, cart })
    }

    /// What it drives: net and level.
    pub(super) fn cartridge_50(&self) -> Vec<(usize, V)> {
        let Some(s) = self.aside.slot.filter(|_| self.aside.cartridge) else {
            return Vec::new();
        };
        let at = |n: usize| self.at(s.slot, n - 1);
        let chosen = at(1) == V::L && at(4) == V::L;
        let fed = [45, 47].iter().any(|&n| at(n) == V::H);
        let grounded = [41, 43].iter().any(|&n| at(n) == V::L);
        if !(chosen && fed && grounded) {
            return Vec::new();
        }
        let address =
            (ADDRESS.iter().enumerate()).fold(0u16, |a, (k, &n)| a | u16::from(at(n) != V::L) << k);
        let mut value = content(s.cart, address);
        if self.o.broken(s.cart, "bad") {
            value ^= 0x21;
        }
        (DATA.iter().enumerate())
            .map(|(k, &n)| (self.nets[s.slot][n - 1], V::of(value >> k & 1 == 1)))
            .filter(|d| d.0 != NONE)
            .collect()
    }
}
