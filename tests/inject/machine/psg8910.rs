//! The 8910's bus and its two ports (data sheet, from memory).

use super::*;

const DATA: [usize; 8] = [37, 36, 35, 34, 33, 32, 31, 30];
const PORT_A: [usize; 8] = [21, 20, 19, 18, 17, 16, 15, 14];
const PORT_B: [usize; 8] = [13, 12, 11, 10, 9, 8, 7, 6];

impl Machine<'_> {
    /// Bus direction and bus control, when the chip listens at all.
    fn control_8910(&self, part: usize) -> Option<(bool, bool)> {
        let works = !self.o.block(part, "registers") && !self.o.block(part, "warm");
        let chosen = self.high(part, 25) && !self.high(part, 24) && self.high(part, 28);
        (works && chosen && self.high(part, 23)).then(|| (self.high(part, 27), self.high(part, 29)))
    }

    pub(super) fn drive_8910(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let m = &self.memory[part];
        for (bit, pins, value) in [(0x40, PORT_A, m.regs[14]), (0x80, PORT_B, m.regs[15])] {
            if m.regs[7] & bit == 0 {
                continue;
            }
            for (k, n) in pins.into_iter().enumerate() {
                out.push((n, V::of(value >> k & 1 == 1)));
            }
        }
        if self.control_8910(part) != Some((false, true)) {
            return;
        }
        // Ports pull themselves up.
        let port = |pins: [usize; 8]| {
            (pins.into_iter().enumerate())
                .fold(0u8, |all, (k, n)| all | u8::from(self.high(part, n)) << k)
        };
        let value = match m.row {
            14 => port(PORT_A),
            15 => port(PORT_B),
            r => m.regs[usize::from(r & 15)],
        };
        for (k, n) in DATA.into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
    }

    pub(super) fn latch_8910(&mut self, part: usize) {
        if !self.high(part, 23) {
            self.memory[part].regs = [0; 16];
            return;
        }
        let Some((true, latch)) = self.control_8910(part) else {
            return;
        };
        let data = self.word(part, &DATA, 6) as u8;
        let m = &mut self.memory[part];
        if latch {
            m.row = u16::from(data);
        } else if m.row < 16 {
            m.regs[usize::from(m.row)] = data;
        }
    }

    /// A register of a chip as it stands.
    pub fn register(&self, part: usize, number: usize) -> u8 {
        self.memory[part].regs[number]
    }
}
