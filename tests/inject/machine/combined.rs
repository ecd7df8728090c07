//! The 64-pin logic array of the narrow 6510-based board, which decodes, multiplexes the memory's address and holds the video chip's;
//! and the memories of four bits beside it. Pins by the board's facts, what happens inside from memory.

use super::*;

/// Address pins A0 to A15, memory address pins MA0 to MA7.
const ADDRESS: [usize; 16] = [51, 52, 53, 54, 55, 56, 57, 58, 59, 60, 61, 62, 63, 1, 2, 3];
const MULTIPLEXED: [usize; 8] = [26, 29, 27, 25, 28, 30, 24, 31];

/// Address pins of a 41464, A0 first, and its data pins.
const NIBBLE_ADDRESS: [usize; 8] = [14, 13, 12, 11, 8, 7, 6, 10];
const NIBBLE_DATA: [usize; 4] = [2, 3, 15, 17];

impl Machine<'_> {
    pub(super) fn drive_combined(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let i = |n: usize| self.high(part, n);
        let bit = |on: bool| V::of(on);
        let (processor, column) = (i(38), !i(35));
        // The restore key's edge: at rest nothing.
        out.push((8, V::L));
        if processor {
            for (k, n) in MULTIPLEXED.into_iter().enumerate() {
                out.push((n, bit(i(ADDRESS[if column { k + 8 } else { k }]))));
            }
        } else {
            // The video chip drives the lower six itself.
            out.push((24, bit(if column { !i(10) } else { i(41) })));
            out.push((31, bit(if column { !i(11) } else { i(42) })));
            for (k, n) in ADDRESS[..8].iter().enumerate() {
                let now = i(36);
                let held = self.memory[part].latch[k];
                out.push((*n, bit(if now { self.video_bit(part, k) } else { held })));
            }
        }
        out.push((23, bit(i(4) || !processor)));
        self.drive_selects(part, processor, out);
    }

    /// Bit of the row address of the video chip, as it stands on the multiplexed lines.
    fn video_bit(&self, part: usize, k: usize) -> bool {
        self.high(part, [26, 29, 27, 25, 28, 30, 41, 42][k])
    }

    fn drive_selects(&self, part: usize, processor: bool, out: &mut Vec<(usize, V)>) {
        let i = |n: usize| self.high(part, n);
        let y = array::decode(&array::Inputs {
            a15: i(3),
            a14: i(2),
            a13: i(1),
            a12: i(63),
            loram: i(5),
            hiram: i(6),
            charen: i(7),
            cas_n: i(35),
            va14_n: i(10),
            va12: i(28),
            va13: i(30),
            game_n: i(47),
            exrom_n: i(46),
            write_n: i(4),
            video: !processor,
            ba: i(39),
        });
        // Memory, language, system, characters, then the cartridge's two.
        for (k, n) in [(0, 22), (1, 14), (2, 15), (3, 13), (6, 44), (7, 50)] {
            out.push((n, V::of(y[k])));
        }
        let area = processor && !y[5];
        let quarter = u8::from(i(62)) << 1 | u8::from(i(61));
        let sixteenth = u8::from(i(60)) << 1 | u8::from(i(59));
        out.push((40, V::of(!(area && quarter == 0))));
        out.push((43, V::of(!(area && quarter == 1))));
        out.push((17, V::of(!(area && quarter == 2 || !processor))));
        for (k, n) in [34, 12, 49, 45].into_iter().enumerate() {
            out.push((
                n,
                V::of(!(area && quarter == 3 && usize::from(sixteenth) == k)),
            ));
        }
    }

    /// Holds the row address of the video chip when the row strobe falls.
    pub(super) fn latch_combined(&mut self, part: usize) {
        if !self.high(part, 38) && self.high(part, 36) {
            self.memory[part].latch = std::array::from_fn(|k| self.video_bit(part, k));
        }
    }

    /// Four bits as they read.
    fn nibble(&self, part: usize) -> u8 {
        let m = &self.memory[part];
        let address = m.row << 8 | m.column;
        let random = (mix(part as u64, u64::from(address)) >> 9) as u8;
        let mut value = m.cells.get(&address).copied().unwrap_or(random) & 0xF;
        let weak = mix(part as u64 + 5, u64::from(address)).is_multiple_of(3);
        let blocks = ["cells 0", "cells 1", "cells 2", "cells 3"];
        for (k, block) in blocks.into_iter().enumerate() {
            if weak && (self.o.block(part, block) || self.o.block(part, "warm")) {
                value ^= 1 << k;
            }
        }
        value
    }

    pub(super) fn drive_nibble(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let m = &self.memory[part];
        if m.cas && m.reading && self.pin(part, 16) == V::L && self.pin(part, 1) == V::L {
            let value = self.nibble(part);
            for (k, n) in NIBBLE_DATA.into_iter().enumerate() {
                out.push((n, V::of(value >> k & 1 == 1)));
            }
        }
    }

    pub(super) fn latch_nibble(&mut self, part: usize) {
        let address = self.word(part, &NIBBLE_ADDRESS, u64::from(self.memory[part].row));
        let (ras, cas) = (self.pin(part, 5) == V::L, self.pin(part, 16) == V::L);
        let write = self.pin(part, 4) == V::L;
        let data = self.word(part, &NIBBLE_DATA, u64::from(address)) as u8;
        let row_fault = self.o.block(part, "row");
        self.memory[part].strobe((ras, cas), write, row_fault, address, data);
    }
}
