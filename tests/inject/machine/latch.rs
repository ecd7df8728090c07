//! What latches, memories and adapters take over once a step has settled.

use super::*;

impl Memory {
    /// What a dynamic memory takes over as its strobes fall: the row, then the column, and what is written with it.
    pub(super) fn strobe(
        &mut self,
        (ras, cas): (bool, bool),
        write: bool,
        row_fault: bool,
        address: u16,
        data: u8,
    ) {
        if ras && !self.ras {
            self.row = if row_fault { address & !4 } else { address };
        }
        if cas && !self.cas && ras {
            self.column = address;
            self.reading = !write;
            if write {
                self.cells.insert(self.row << 8 | self.column, data);
            }
        }
        (self.ras, self.cas) = (ras, cas);
    }
}

impl Machine<'_> {
    /// What latches and memories take over once a step has settled.
    pub(super) fn latch(&mut self) {
        for d in 0..self.drivers.len() {
            let part = self.drivers[d];
            match self.w.parts[part].kind {
                Kind::L373 if self.high(part, 11) => {
                    let d = [3, 4, 7, 8, 13, 14, 17, 18].map(|n| self.high(part, n));
                    self.memory[part].latch = d;
                }
                Kind::Combined => self.latch_combined(part),
                Kind::M41464 => self.latch_nibble(part),
                Kind::M4164 | Kind::M4116 | Kind::M4532 | Kind::M4816 if !self.aside.clocked => {
                    self.latch_memory(part)
                }
                Kind::Ppi8255 => self.latch_8255(part),
                Kind::S8910Ports => self.latch_8910(part),
                Kind::V9918 => self.latch_9918(part),
                Kind::A5C112 => self.latch_5c112(part),
                Kind::M2114 if self.powered[part] => self.write_static(part),
                Kind::A6526 if self.powered[part] && self.step.stage == 2 => {
                    self.write_adapter(part)
                }
                _ => {}
            }
        }
    }

    /// The same for dynamic memories only, while a step settles.
    pub(super) fn latch_memories(&mut self) {
        for d in 0..self.drivers.len() {
            let part = self.drivers[d];
            if matches!(
                self.w.parts[part].kind,
                Kind::M4164 | Kind::M4116 | Kind::M4532 | Kind::M4816
            ) {
                self.latch_memory(part);
            }
        }
    }

    pub(super) fn latch_memory(&mut self, part: usize) {
        // The 16K ones have seven address pins; their ninth pin is a supply or nothing.
        let pins: &[usize] = match self.w.parts[part].kind {
            Kind::M4116 | Kind::M4816 => &[5, 7, 6, 12, 11, 10, 13],
            _ => &[5, 7, 6, 12, 11, 10, 13, 9],
        };
        // Where strobes ripple, an open address pin keeps the level it has drifted to.
        let salt = match self.ripple {
            true => 0,
            false => u64::from(self.memory[part].row),
        };
        let address = self.word(part, pins, salt);
        let (ras, cas) = (self.pin(part, 4) == V::L, self.pin(part, 15) == V::L);
        let write = self.pin(part, 3) == V::L;
        let data = u8::from(self.pin(part, 2) == V::H);
        let row_fault = self.o.block(part, "row");
        let late = match self.w.parts[part].kind {
            Kind::M4816 => true,
            Kind::M4116 | Kind::M4532 => self.ripple,
            _ => false,
        };
        let m = &mut self.memory[part];
        let before = m.cas && m.ras;
        m.strobe((ras, cas), write, row_fault, address, data);
        // The 9918 puts the data out after the column, with the write strobe: a late write (data sheet of the 4116 type).
        if late && before && cas && write && m.reading {
            m.reading = false;
            m.cells.insert(m.row << 8 | m.column, data);
        }
    }

    /// A cell as it reads.
    pub(super) fn cell(&self, part: usize) -> bool {
        let m = &self.memory[part];
        let address = m.row << 8 | m.column;
        let stored = m.cells.get(&address).copied().or(m.fill);
        let random = mix(part as u64, u64::from(address)) >> 9 & 1;
        let value = stored.map_or(random == 1, |v| v == 1);
        let weak = mix(part as u64 + 5, u64::from(address)).is_multiple_of(3);
        if self.o.block(part, "cells low") {
            return false;
        }
        if self.o.block(part, "cells high") {
            return true;
        }
        if weak && (self.o.block(part, "cells") || self.o.block(part, "warm")) {
            return !value;
        }
        // A 32K chip is a 64K one of which the other half has bad cells.
        let other_half = self.w.parts[part].kind == Kind::M4532 && m.column & 0x80 != 0;
        if other_half && mix(part as u64 + 9, u64::from(address)).is_multiple_of(7) {
            return !value;
        }
        value
    }

    fn write_static(&mut self, part: usize) {
        if self.pin(part, 8) != V::L || self.pin(part, 10) != V::L {
            return;
        }
        let address = self.word(part, &[5, 6, 7, 4, 3, 2, 1, 17, 16, 15], 3);
        let data = self.word(part, &[14, 13, 12, 11], u64::from(address)) as u8;
        self.memory[part].cells.insert(address, data);
    }

    pub(super) fn adapter_selected(&self, part: usize) -> bool {
        let ok = self.powered[part] && !self.o.block(part, "core");
        ok && self.pin(part, 23) == V::L
            && self.step.cpu
            && self.running_pin(part, 25)
            && self.pin(part, 34) == V::H
    }

    fn write_adapter(&mut self, part: usize) {
        if !self.adapter_selected(part) || self.high(part, 22) {
            return;
        }
        let register = self.word(part, &[38, 37, 36, 35], 1) as usize;
        let data = self.word(part, &[33, 32, 31, 30, 29, 28, 27, 26], 2) as u8;
        self.memory[part].regs[register] = data;
    }
}
