//! The 8255 in its plain mode: three ports, each way set by the control register (data sheet, from memory).

use super::*;

/// Pins by bit.
const A: [usize; 8] = [4, 3, 2, 1, 40, 39, 38, 37];
const B: [usize; 8] = [18, 19, 20, 21, 22, 23, 24, 25];
const C: [usize; 8] = [14, 15, 16, 17, 13, 12, 11, 10];
const DATA: [usize; 8] = [34, 33, 32, 31, 30, 29, 28, 27];

/// The control register after reset: all ports read.
const RESET: u8 = 0x9B;

impl Machine<'_> {
    fn answers_8255(&self, part: usize) -> bool {
        !self.o.block(part, "bus") && !self.o.block(part, "warm") && self.pin(part, 6) == V::L
    }

    pub(super) fn drive_8255(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let r = &self.memory[part].regs;
        let reads = if self.high(part, 35) { RESET } else { r[3] };
        let mut put = |pins: &[usize], value: u8| {
            for (k, &n) in pins.iter().enumerate() {
                out.push((n, V::of(value >> k & 1 == 1)));
            }
        };
        if reads & 0x10 == 0 {
            put(&A, r[0]);
        }
        if reads & 0x01 == 0 {
            put(&C[..4], r[2]);
        }
        if reads & 0x08 == 0 {
            put(&C[4..], r[2] >> 4);
        }
        if !self.answers_8255(part) || self.high(part, 5) {
            return;
        }
        let value = match self.word(part, &[9, 8], 1) {
            0 => self.word(part, &A, 2) as u8,
            1 => self.word(part, &B, 3) as u8,
            2 => self.word(part, &C, 4) as u8,
            _ => 0xFF,
        };
        put(&DATA, value);
    }

    pub(super) fn latch_8255(&mut self, part: usize) {
        if self.high(part, 35) {
            self.memory[part].regs[..4].copy_from_slice(&[0, 0, 0, RESET]);
            return;
        }
        if !self.answers_8255(part) || self.high(part, 36) {
            return;
        }
        let register = usize::from(self.word(part, &[9, 8], 1));
        let data = self.word(part, &DATA, 5) as u8;
        let r = &mut self.memory[part].regs;
        match (register, data & 0x80) {
            (3, 0x80) => r[..4].copy_from_slice(&[0, 0, 0, data]),
            (3, _) => {
                let bit = 1 << (data >> 1 & 7);
                r[2] = if data & 1 == 1 {
                    r[2] | bit
                } else {
                    r[2] & !bit
                };
            }
            _ => r[register] = data,
        }
    }
}
