//! Flip-flops that take over their data at the rise of their clock.

use super::*;

/// One half of a 74: clear, data, clock, preset, output, inverted output; where its state stands in the part's memory.
const HALVES: [([usize; 6], usize); 2] = [([1, 2, 3, 4, 5, 6], 0), ([13, 12, 11, 10, 9, 8], 4)];

/// A 273: data and outputs.
const D273: [usize; 8] = [3, 4, 7, 8, 13, 14, 17, 18];
const Q273: [usize; 8] = [2, 5, 6, 9, 12, 15, 16, 19];

impl Machine<'_> {
    fn line_at(&self, part: usize, number: usize) -> Option<usize> {
        self.w.parts[part].pins[number - 1].1
    }

    /// Preset and clear act at once; a half with its inverted output on its data halves its clock, and those here make the processor's.
    pub(super) fn drive_flip(&self, part: usize, out: &mut Vec<(usize, V)>) {
        if self.o.block(part, "warm") {
            return;
        }
        for ([clear, d, _, preset, q, qn], state) in HALVES {
            let divides =
                self.line_at(part, d).is_some() && self.line_at(part, d) == self.line_at(part, qn);
            let runs = |n: usize| self.line_at(part, n).is_some_and(|l| self.line_runs(l));
            let (set, cleared) = (!self.high(part, preset), !self.high(part, clear));
            let (a, b) = match (set, cleared) {
                (true, _) => (true, cleared),
                (_, true) => (false, true),
                _ if divides && runs(q) => (!self.aside.phase, self.aside.phase),
                _ => (
                    self.memory[part].latch[state],
                    !self.memory[part].latch[state],
                ),
            };
            out.push((q, V::of(a)));
            out.push((qn, V::of(b)));
        }
    }

    pub(super) fn drive_273(&self, part: usize, out: &mut Vec<(usize, V)>) {
        for (k, q) in Q273.into_iter().enumerate() {
            out.push((q, V::of(self.memory[part].regs[0] >> k & 1 == 1)));
        }
    }

    /// Takes over what the data were before the clock rose. Whether an output changed.
    pub(super) fn latch_flips(&mut self) -> bool {
        let mut changed = false;
        for d in 0..self.drivers.len() {
            let part = self.drivers[d];
            changed |= match self.w.parts[part].kind {
                Kind::Flip => self.latch_halves(part),
                Kind::L273 => self.latch_273(part),
                _ => false,
            };
        }
        self.aside.depth = if changed { self.aside.depth + 1 } else { 0 };
        if self.aside.depth > 4 {
            self.aside.depth = 0;
            return false;
        }
        changed
    }

    fn latch_halves(&mut self, part: usize) -> bool {
        let mut changed = false;
        for ([clear, d, clock, preset, ..], state) in HALVES {
            let [clear, d, clock, preset] = [clear, d, clock, preset].map(|n| self.high(part, n));
            // Behind the state: clock, data, and whether preset or clear acted, as they were.
            let m = &mut self.memory[part].latch;
            let was = m[state];
            let rose = clock && !m[state + 1];
            if !preset || !clear {
                m[state] = !preset;
            } else if rose && !m[state + 3] {
                m[state] = m[state + 2];
            }
            m[state + 1] = clock;
            m[state + 2] = d;
            m[state + 3] = !preset || !clear;
            changed |= m[state] != was;
        }
        changed
    }

    fn latch_273(&mut self, part: usize) -> bool {
        let (clear, clock) = (self.high(part, 1), self.high(part, 11));
        let d = (D273.iter().enumerate())
            .fold(0u8, |all, (k, &n)| all | u8::from(self.high(part, n)) << k);
        let m = &mut self.memory[part];
        let was = m.regs[0];
        if !clear {
            m.regs[0] = 0;
        } else if clock && !m.latch[0] {
            m.regs[0] = m.regs[1];
        }
        m.regs[1] = d;
        m.latch[0] = clock;
        m.regs[0] != was
    }
}
