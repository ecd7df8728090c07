//! The 9918: two ports towards the processor, a memory of its own behind it (data sheet, from memory).

use super::*;

/// Data towards the processor, bit 0 first; address and data towards its memory; data from there.
const DATA: [usize; 8] = [17, 18, 19, 20, 21, 22, 23, 24];
const OUT: [usize; 8] = [3, 4, 5, 6, 7, 8, 9, 10];
const BACK: [usize; 8] = [25, 26, 27, 28, 29, 30, 31, 32];

/// Registers: 0-7 its own, then the first byte of two, the byte on the bus, what was read ahead, its status.
const FIRST: usize = 8;
const BUS: usize = 9;
const AHEAD: usize = 10;
const STATUS: usize = 11;

/// What it drives at its memory.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Strobes {
    out: Option<u8>,
    row: bool,
    column: bool,
    write: bool,
}

/// What the processor told it to do there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Job {
    address: u16,
    write: Option<u8>,
}

impl Machine<'_> {
    fn vdp(&self) -> Option<usize> {
        self.w.of_kind(Kind::V9918).next()
    }

    /// Crystal and its two capacitors, between the pins of the chip.
    pub(super) fn crystal_swings(&self) -> bool {
        let Some(part) = self.vdp() else { return false };
        let lines = [38, 39].map(|k| self.w.parts[part].pins[k].1);
        let on = |k: usize| {
            let p = &self.w.parts[k].pins;
            lines
                .iter()
                .any(|l| l.is_some() && p.iter().any(|q| q.1 == *l))
        };
        let crystal = (self.w.of_kind(Kind::CrystalTwo)).find(|&x| on(x));
        let whole = crystal.is_some_and(|x| {
            ![0, 1].iter().any(|&k| self.o.is_open(x, k)) && !self.o.broken(x, "open")
        });
        let shorted = (self.w.of_kind(Kind::Cap)).any(|c| on(c) && self.o.broken(c, "short"));
        let pins = ![38, 39].iter().any(|&k| self.o.is_open(part, k));
        let held = lines.iter().flatten().any(|&l| self.line_held(l).is_some());
        whole && pins && !shorted && !held
    }

    /// Whether it counts dots and lines.
    pub fn vdp_alive(&self) -> bool {
        self.vdp().is_some_and(|p| self.vdp_counts(p))
    }

    fn vdp_counts(&self, part: usize) -> bool {
        // A reset line that floats is pulled down through R45.
        self.powered[part] && self.aside.crystal && self.pin(part, 34) == V::H
    }

    fn vdp_works(&self, part: usize) -> bool {
        self.vdp_counts(part) && !self.o.block(part, "registers") && !self.o.block(part, "warm")
    }

    pub(super) fn drive_9918(&self, part: usize, out: &mut Vec<(usize, V)>) {
        if !self.vdp_counts(part) {
            return;
        }
        let s = self.aside.strobes;
        let strobes = !self.o.block(part, "strobes");
        out.push((1, V::of(!(s.row && strobes))));
        out.push((2, V::of(!(s.column && strobes))));
        out.push((11, V::of(!s.write || self.o.block(part, "writing"))));
        let value = s.out.unwrap_or(0xFF);
        for (k, n) in OUT.into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
        let r = &self.memory[part].regs;
        let asks = r[STATUS] & 0x80 != 0 && r[1] & 0x20 != 0;
        out.push((16, V::of(!asks || self.o.block(part, "interrupt"))));
        if self.high(part, 15) || !self.vdp_works(part) {
            return;
        }
        let value = if self.high(part, 13) {
            r[STATUS]
        } else {
            r[AHEAD]
        };
        for (k, n) in DATA.into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
    }

    /// Reads and writes count once, when their strobe ends.
    pub(super) fn latch_9918(&mut self, part: usize) {
        if !self.vdp_works(part) {
            let m = &mut self.memory[part];
            m.regs = [0; 16];
            m.latch = [false; 8];
            return;
        }
        let (write, read) = (!self.high(part, 14), !self.high(part, 15));
        let mode = self.high(part, 13);
        if write {
            self.memory[part].regs[BUS] = self.word(part, &DATA, 7) as u8;
        }
        let m = &mut self.memory[part];
        let [second, was_write, was_read, was_mode, ..] = m.latch;
        if was_write && !write {
            self.aside.job = m.written(second, was_mode).or(self.aside.job);
        } else if was_read && !read {
            m.latch[0] = false;
            if was_mode {
                m.regs[STATUS] = 0;
            } else {
                self.aside.job = Some(m.next(None));
            }
        }
        m.latch[1] = write;
        m.latch[2] = read;
        if write || read {
            m.latch[3] = mode;
        }
    }

    /// Does at its memory what it was told.
    pub(super) fn video_job(&mut self) {
        let (Some(job), Some(part)) = (self.aside.job.take(), self.vdp()) else {
            return;
        };
        let read = self.video_memory(job.address, job.write);
        self.memory[part].regs[AHEAD] = job.write.unwrap_or(read);
    }

    /// One access of the picture chip to its memory; what it reads there.
    pub fn video_memory(&mut self, address: u16, write: Option<u8>) -> u8 {
        let Some(part) = self.vdp().filter(|&p| self.vdp_counts(p)) else {
            return 0;
        };
        let mut s = Strobes {
            // The eighth pin has no part in the address and stays low (guess).
            out: Some((address >> 7) as u8 & 0x7F),
            row: true,
            ..Strobes::default()
        };
        self.strobe(s);
        s.out = Some(address as u8 & 0x7F);
        s.column = true;
        self.strobe(s);
        if write.is_some() {
            s.out = write;
            s.write = true;
            self.strobe(s);
        }
        let read = self.word(part, &BACK, u64::from(address)) as u8;
        self.strobe(Strobes::default());
        read
    }

    /// A program has written one byte everywhere, and just now to the last place: each chip holds what came there.
    pub fn filled(&mut self) {
        for part in self.w.of_kind(Kind::M4816).collect::<Vec<_>>() {
            let m = &mut self.memory[part];
            let last = m.cells.get(&(m.row << 8 | m.column)).copied();
            m.fill = last.filter(|_| !m.reading);
        }
    }

    fn strobe(&mut self, s: Strobes) {
        self.aside.strobes = s;
        self.settle();
    }

    /// A frame ends.
    pub fn frame(&mut self) {
        if let Some(part) = self.vdp().filter(|&p| self.vdp_counts(p)) {
            self.memory[part].regs[STATUS] |= 0x80;
            self.settle();
        }
    }
}

impl Memory {
    /// The address counts on with every byte.
    fn next(&mut self, write: Option<u8>) -> Job {
        let address = self.row & 0x3FFF;
        self.row = self.row.wrapping_add(1) & 0x3FFF;
        Job { address, write }
    }

    fn written(&mut self, second: bool, mode: bool) -> Option<Job> {
        let data = self.regs[BUS];
        if !mode {
            self.latch[0] = false;
            return Some(self.next(Some(data)));
        }
        self.latch[0] = !second;
        if !second {
            self.regs[FIRST] = data;
            return None;
        }
        if data & 0x80 != 0 {
            self.regs[usize::from(data & 7)] = self.regs[FIRST];
            return None;
        }
        self.row = u16::from(data & 0x3F) << 8 | u16::from(self.regs[FIRST]);
        (data & 0x40 == 0).then(|| self.next(None))
    }
}
