//! What each kind of chip drives, by its data sheet.

use super::*;

impl Machine<'_> {
    /// What a part drives in this step, by pin number. The table of the whole board.
    pub(super) fn drive(&self, part: usize, out: &mut Vec<(usize, V)>) {
        match self.w.parts[part].kind {
            Kind::P6502 | Kind::P6510 => self.drive_cpu(part, out),
            Kind::V6569 => self.drive_6569(part, out),
            Kind::V6845 => self.drive_6845(out),
            Kind::Array => self.drive_array(part, out),
            Kind::Combined => self.drive_combined(part, out),
            Kind::M41464 => self.drive_nibble(part, out),
            Kind::A6526 => self.drive_adapter(part, out),
            Kind::Z80 => self.drive_z80(part, out),
            Kind::A5C112 => self.drive_5c112(part, out),
            Kind::M4164 | Kind::M4116 | Kind::M4532 | Kind::M4816 => {
                let m = &self.memory[part];
                if m.cas && m.reading && self.pin(part, 15) == V::L {
                    out.push((14, V::of(self.cell(part))));
                }
            }
            Kind::M2114 => self.drive_static(part, out),
            Kind::R2364 | Kind::R2332 | Kind::R27128 | Kind::R23128 | Kind::R27256 => {
                self.drive_rom(part, out)
            }
            Kind::L74 => self.drive_divider(part, out),
            Kind::Flip => self.drive_flip(part, out),
            Kind::L273 => self.drive_273(part, out),
            Kind::Ppi8255 => self.drive_8255(part, out),
            Kind::S8910Ports => self.drive_8910(part, out),
            Kind::V9918 => self.drive_9918(part, out),
            Kind::C311 => self.drive_311(part, out),
            Kind::Inverter => self.drive_inverter(part, out),
            Kind::T556 => self.drive_timer(part, out),
            _ => self.drive_logic(part, out),
        }
    }

    fn drive_logic(&self, p: usize, out: &mut Vec<(usize, V)>) {
        let i = |n: usize| self.high(p, n);
        match self.w.parts[p].kind {
            Kind::L04 | Kind::L14 => pins::SIX
                .iter()
                .for_each(|&(a, y)| out.push((y, V::of(!i(a))))),
            Kind::L06 => pins::SIX
                .iter()
                .filter(|g| i(g.0))
                .for_each(|&(_, y)| out.push((y, V::L))),
            Kind::L08 => pins::FOUR
                .iter()
                .for_each(|&(a, b, y)| out.push((y, V::of(i(a) && i(b))))),
            Kind::L00 => pins::FOUR
                .iter()
                .for_each(|&(a, b, y)| out.push((y, V::of(!(i(a) && i(b)))))),
            Kind::L02 => [(2, 3, 1), (5, 6, 4), (8, 9, 10), (11, 12, 13)]
                .iter()
                .for_each(|&(a, b, y)| out.push((y, V::of(!(i(a) || i(b)))))),
            Kind::L07 => pins::SIX
                .iter()
                .filter(|g| !i(g.0))
                .for_each(|&(_, y)| out.push((y, V::L))),
            Kind::C4050 => [(3, 2), (5, 4), (7, 6), (9, 10), (11, 12), (14, 15)]
                .iter()
                .for_each(|&(a, y)| {
                    // An open input of this family is anything.
                    let floats = mix(self.salt, a as u64) >> 9 & 1 == 1;
                    let open = self.pin(p, a) == V::Z;
                    out.push((y, V::of(if open { floats } else { i(a) })));
                }),
            Kind::L367 | Kind::L368 => {
                let invert = self.w.parts[p].kind == Kind::L368;
                let gates = pins::DRIVERS;
                for (enable, a, y) in gates {
                    if !i(enable) {
                        out.push((y, V::of(i(a) != invert)));
                    }
                }
            }
            Kind::L153 => {
                let chosen = usize::from(i(14)) | usize::from(i(2)) << 1;
                for (strobe, inputs, y) in [(1, [6, 5, 4, 3], 7), (15, [10, 11, 12, 13], 9)] {
                    out.push((y, V::of(!i(strobe) && i(inputs[chosen]))));
                }
            }
            Kind::L145 => {
                // Pulls the chosen one of ten low, none for numbers above nine.
                let chosen = [15, 14, 13, 12]
                    .into_iter()
                    .enumerate()
                    .fold(0usize, |n, (k, pin)| n | usize::from(i(pin)) << k);
                let outputs = [1, 2, 3, 4, 5, 6, 7, 9, 10, 11];
                if let Some(&y) = outputs.get(chosen) {
                    out.push((y, V::L));
                }
            }
            Kind::L157 => {
                for (a, b, y) in [(2, 3, 4), (5, 6, 7), (11, 10, 9), (14, 13, 12)] {
                    out.push((y, V::of(!i(15) && i(if i(1) { b } else { a }))));
                }
            }
            Kind::L32 => pins::FOUR
                .iter()
                .for_each(|&(a, b, y)| out.push((y, V::of(i(a) || i(b))))),
            Kind::L138 => {
                let on = !i(4) && !i(5) && i(6);
                let chosen = usize::from(i(1)) | usize::from(i(2)) << 1 | usize::from(i(3)) << 2;
                for (k, y) in [15, 14, 13, 12, 11, 10, 9, 7].into_iter().enumerate() {
                    out.push((y, V::of(!(on && k == chosen))));
                }
            }
            Kind::L139 => {
                for (g, a, b, y) in [(1, 2, 3, [4, 5, 6, 7]), (15, 14, 13, [12, 11, 10, 9])] {
                    let chosen = usize::from(i(a)) | usize::from(i(b)) << 1;
                    for (k, y) in y.into_iter().enumerate() {
                        out.push((y, V::of(i(g) || k != chosen)));
                    }
                }
            }
            Kind::L257 | Kind::L258 if !i(15) => {
                let invert = self.w.parts[p].kind == Kind::L258;
                for (a, b, y) in [(2, 3, 4), (5, 6, 7), (11, 10, 9), (14, 13, 12)] {
                    out.push((y, V::of(i(if i(1) { b } else { a }) != invert)));
                }
            }
            Kind::L245 if !i(19) => {
                for k in 0..8 {
                    let (a, b) = (2 + k, 18 - k);
                    let (from, to) = if i(1) { (a, b) } else { (b, a) };
                    out.push((to, V::of(i(from))));
                }
            }
            Kind::L373 if !i(1) => {
                let now = i(11);
                let pins = [
                    (3, 2),
                    (4, 5),
                    (7, 6),
                    (8, 9),
                    (13, 12),
                    (14, 15),
                    (17, 16),
                    (18, 19),
                ];
                for (k, (d, q)) in pins.into_iter().enumerate() {
                    out.push((q, V::of(if now { i(d) } else { self.memory[p].latch[k] })));
                }
            }
            _ => {}
        }
    }

    fn drive_timer(&self, part: usize, out: &mut Vec<(usize, V)>) {
        // At rest both outputs are low; a timing capacitor that cannot charge holds its output high.
        for (threshold, trigger, output) in [(2, 6, 5), (12, 8, 9)] {
            let charged = self.pin(part, threshold) == V::H;
            out.push((output, V::of(!charged || self.pin(part, trigger) == V::L)));
        }
    }

    fn drive_divider(&self, part: usize, out: &mut Vec<(usize, V)>) {
        for (q, qn) in [(5, 6), (9, 8)] {
            for (n, inverted) in [(q, false), (qn, true)] {
                let k = self.index(part, n);
                let Some(line) = self.w.parts[part].pins[k].1 else {
                    continue;
                };
                if !self.line_runs(line) {
                    out.push((n, V::of(inverted)));
                    continue;
                }
                let s = self.step;
                let v = match self.w.lines[line].as_str() {
                    "RAS_N" => s.stage == 0,
                    "MUX" => s.stage < 2,
                    "CAS_N" => s.stage < 2,
                    "PHI0" => s.cpu,
                    _ => s.stage.is_multiple_of(2),
                };
                out.push((n, V::of(v != inverted)));
            }
        }
    }

    pub(super) fn cpu_runs(&self, part: usize) -> bool {
        let reset = self.pin(part, 40) == V::H;
        let clock = match self.w.parts[part].kind {
            Kind::P6502 => self.running_pin(part, 37),
            Kind::Z80 => self.running_pin(part, 6),
            _ => self.running_pin(part, 1),
        };
        if self.w.parts[part].kind == Kind::Z80 {
            return clock && self.z80_free(part);
        }
        let ready = self.pin(part, 2) != V::L;
        reset && clock && ready && !self.o.block(part, "core")
    }

    /// Whether the processor is alive at all.
    pub fn cpu_alive(&self) -> bool {
        let cpu = self.cpu();
        self.powered[cpu] && self.cpu_runs(cpu)
    }

    fn drive_cpu(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let p6502 = self.w.parts[part].kind == Kind::P6502;
        let clock_in = if p6502 { 37 } else { 1 };
        let clocked = self.running_pin(part, clock_in);
        out.push((
            39,
            V::of(if clocked {
                self.step.cpu
            } else {
                self.high(part, clock_in)
            }),
        ));
        let request = self.request.filter(|_| self.cpu_runs(part));
        let address = request.map_or(0xFFFF, |r| r.address);
        let pins: [usize; 16] = if p6502 {
            [
                9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 23, 24, 25,
            ]
        } else {
            [7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 23]
        };
        let bus = p6502 || self.pin(part, 5) == V::H;
        if bus {
            for (k, n) in pins.into_iter().enumerate() {
                out.push((n, V::of(address >> k & 1 == 1)));
            }
            let rw = if p6502 { 34 } else { 38 };
            out.push((rw, V::of(request.is_none_or(|r| r.write.is_none()))));
        }
        if let Some(data) = request
            .and_then(|r| r.write)
            .filter(|_| self.step.cpu && bus)
        {
            for (k, n) in self.data_pins().into_iter().enumerate() {
                out.push((n, V::of(data >> k & 1 == 1)));
            }
        }
        if !p6502 {
            // Port bits 0-2 choose the memory map, 3 writes the cassette, 5 drives its motor.
            for (k, n) in [(0, 29), (1, 28), (2, 27), (3, 26), (5, 24)] {
                out.push((n, V::of(self.memory[part].regs[1] >> k & 1 == 1)));
            }
        }
    }

    /// The processor's own port.
    pub fn set_port(&mut self, value: u8) {
        let cpu = self.cpu();
        self.memory[cpu].regs[1] = value;
    }

    fn drive_6569(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let s = self.step;
        let alive = self.running_pin(part, 22);
        if !alive {
            for n in [16, 17, 18, 19, 12] {
                out.push((n, V::H));
            }
            return;
        }
        out.push((16, V::of(s.cpu)));
        out.push((17, V::of(s.cpu)));
        out.push((18, V::of(s.stage == 0)));
        out.push((19, V::of(s.stage < 2)));
        // The bus warning goes low while it reads characters, which it does once the program has switched its window on (from memory).
        out.push((12, V::of(self.fetch.is_none() || !self.picture_set)));
        let Some(address) = self.fetch.filter(|_| !s.cpu) else {
            return;
        };
        for k in 0..6 {
            let bit = if s.stage < 2 { k } else { k + 8 };
            out.push((24 + k, V::of(address >> bit & 1 == 1)));
        }
        for (n, bit) in [(30, 6), (31, 7)] {
            out.push((n, V::of(s.stage == 2 || address >> bit & 1 == 1)));
        }
        for (n, bit) in [(32, 8), (33, 9), (34, 10), (23, 11)] {
            out.push((n, V::of(address >> bit & 1 == 1)));
        }
    }

    fn drive_6845(&self, out: &mut Vec<(usize, V)>) {
        let address = self.fetch.unwrap_or(0);
        for k in 0..14 {
            out.push((4 + k, V::of(address >> k & 1 == 1)));
        }
        for (k, n) in [38, 37, 36, 35].into_iter().enumerate() {
            out.push((n, V::of(address >> (k + 1) & 1 == 1)));
        }
        let window = self.picture_set && self.step.stage < 2;
        out.push((18, V::of(window)));
        for n in [39, 40] {
            out.push((n, V::of(self.picture_set && self.step.stage == 1)));
        }
    }

    fn drive_array(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let i = |n: usize| self.high(part, n);
        if i(19) {
            return;
        }
        let y = array::decode(&array::Inputs {
            a15: i(4),
            a14: i(3),
            a13: i(2),
            a12: i(27),
            loram: i(8),
            hiram: i(7),
            charen: i(6),
            cas_n: i(9),
            va14_n: i(5),
            va12: i(20),
            va13: i(21),
            game_n: i(22),
            exrom_n: i(23),
            write_n: i(24),
            video: i(25),
            ba: i(26),
        });
        for (k, n) in [18, 17, 16, 15, 13, 12, 11, 10].into_iter().enumerate() {
            out.push((n, V::of(y[k])));
        }
    }

    fn drive_adapter(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let regs = &self.memory[part].regs;
        for (port, first, ddr) in [(0, 2, 2), (1, 10, 3)] {
            for k in (0..8).filter(|k| regs[ddr] >> k & 1 == 1) {
                out.push((first + k, V::of(regs[port] >> k & 1 == 1)));
            }
        }
        if !self.adapter_selected(part) || !self.high(part, 22) || self.step.stage != 2 {
            return;
        }
        let register = self.word(part, &[38, 37, 36, 35], 1) as usize;
        let value = match register {
            0 => self.word(part, &[2, 3, 4, 5, 6, 7, 8, 9], 8) as u8,
            1 => self.word(part, &[10, 11, 12, 13, 14, 15, 16, 17], 9) as u8,
            r => regs[r],
        };
        for (k, n) in [33, 32, 31, 30, 29, 28, 27, 26].into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
    }

    fn drive_static(&self, part: usize, out: &mut Vec<(usize, V)>) {
        if self.pin(part, 8) != V::L || self.pin(part, 10) == V::L {
            return;
        }
        let address = self.word(part, &[5, 6, 7, 4, 3, 2, 1, 17, 16, 15], 3);
        let random = mix(part as u64, u64::from(address)) as u8;
        let mut value = self.memory[part]
            .cells
            .get(&address)
            .copied()
            .unwrap_or(random);
        for (k, block) in ["cells 0", "cells 1", "cells 2", "cells 3"]
            .into_iter()
            .enumerate()
        {
            if self.o.block(part, block) && !address.is_multiple_of(3) {
                value ^= 1 << k;
            }
        }
        for (k, n) in [14, 13, 12, 11].into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
    }

    fn drive_rom(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let kind = self.w.parts[part].kind;
        let (address, data, on): (&[usize], [usize; 8], bool) = match kind {
            Kind::R27128 => (
                &[10, 9, 8, 7, 6, 5, 4, 3, 25, 24, 21, 23, 2, 26],
                [11, 12, 13, 15, 16, 17, 18, 19],
                self.pin(part, 20) == V::L && self.pin(part, 22) == V::L,
            ),
            Kind::R23128 => (
                &[10, 9, 8, 7, 6, 5, 4, 3, 25, 24, 21, 23, 2, 26],
                [11, 12, 13, 15, 16, 17, 18, 19],
                // Its third select is programmed low as well: the board leads the memory request there.
                [20, 22, 27].iter().all(|&n| self.pin(part, n) == V::L),
            ),
            Kind::R27256 => (
                &[10, 9, 8, 7, 6, 5, 4, 3, 25, 24, 21, 23, 2, 26, 27],
                [11, 12, 13, 15, 16, 17, 18, 19],
                self.pin(part, 20) == V::L && self.pin(part, 22) == V::L,
            ),
            Kind::R2364 => (
                &[8, 7, 6, 5, 4, 3, 2, 1, 23, 22, 19, 18, 21],
                [9, 10, 11, 13, 14, 15, 16, 17],
                self.pin(part, 20) == V::L,
            ),
            _ => (
                &[8, 7, 6, 5, 4, 3, 2, 1, 23, 22, 19, 18],
                [9, 10, 11, 13, 14, 15, 16, 17],
                self.pin(part, 20) == V::L,
            ),
        };
        if !on {
            return;
        }
        let address = self.word(part, address, 4);
        let mut value = content(part, address);
        if self.o.block(part, "contents") && address % 4 == 1 {
            value ^= 0x10;
        }
        for (k, n) in data.into_iter().enumerate() {
            out.push((n, V::of(value >> k & 1 == 1)));
        }
    }
}
