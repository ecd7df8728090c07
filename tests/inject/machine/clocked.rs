//! Bus cycles half a clock at a time, for boards on which flip-flops take part in them; and small parts that hold a line.

use super::*;

/// What only such boards have.
#[derive(Debug, Default)]
pub struct Aside {
    /// Bus cycles go by halves of the clock.
    pub clocked: bool,
    /// Level of the processor's clock.
    pub phase: bool,
    /// The processor waits and is never let go on.
    pub waits: bool,
    /// Which way a thing goes that may go either way.
    doubt: bool,
    /// The crystal of the picture chip swings.
    pub crystal: bool,
    /// What the picture chip does at its memory.
    pub(super) strobes: vdp9918::Strobes,
    /// What it has been told to do there.
    pub(super) job: Option<vdp9918::Job>,
    /// Level that a tape makes at the comparator.
    pub tape: Option<bool>,
    /// The test cartridge is plugged in.
    pub cartridge: bool,
    pub(super) slot: Option<slot50::Slot>,
    /// The probe's word at lines that no bus cycle moves.
    pub words: HashMap<usize, &'static str>,
    pub(super) depth: u8,
    pub(super) quick: quick::Quick,
}

/// How many clocks of waiting count as for ever.
const FOR_EVER: usize = 6;

impl Machine<'_> {
    pub(super) fn prepare_aside(&mut self) {
        if self.aside.clocked {
            self.aside.crystal = self.crystal_swings();
            self.aside.doubt = self.chance().is_multiple_of(2);
            self.aside.slot = self.find_slot_50();
            self.aside.quick = self.quick();
        }
    }

    fn half(&mut self, phase: bool, stage: u8) {
        self.aside.phase = phase;
        self.step = Step { stage, cpu: true };
        self.settle();
    }

    /// Low at the wait input; where nothing drives it, nobody knows.
    fn told_to_wait(&self, cpu: usize) -> bool {
        match self.pin(cpu, 24) {
            V::L => true,
            V::H => false,
            V::Z => self.aside.doubt,
        }
    }

    /// One bus cycle, as the data sheet of the Z80 draws it: request after the first fall of the clock (of a port after the second rise),
    /// write strobe after the second fall, a wait looked at there, data taken at the last rise.
    pub(super) fn bus_clocked(&mut self, address: u16, write: Option<u8>, cycle: Cycle) -> u8 {
        self.request = Some(Request {
            address,
            write,
            cycle,
        });
        self.half(true, 0);
        if cycle == Cycle::Port {
            self.half(false, 0);
            self.half(true, 1);
            self.half(false, 1);
        } else {
            self.half(false, 1);
        }
        self.half(true, 1);
        self.half(false, 2);
        let cpu = self.cpu();
        let mut waited = 0;
        while cycle != Cycle::Refresh && self.told_to_wait(cpu) {
            waited += 1;
            if waited > FOR_EVER {
                self.aside.waits = true;
                break;
            }
            self.half(true, 2);
            self.half(false, 2);
        }
        self.half(true, 2);
        let read = self.word(cpu, &self.data_pins(), u64::from(address)) as u8;
        self.half(false, 3);
        self.request = None;
        self.half(true, 0);
        self.video_job();
        read
    }

    /// Small parts that hold a line: a transistor with a short, a push button stuck behind its resistor.
    pub(super) fn hold_by_parts(&mut self, part: usize) {
        let p = &self.w.parts[part];
        let touching: Vec<usize> = (p.pins.iter().enumerate())
            .filter(|(k, _)| !self.o.is_open(part, *k))
            .filter_map(|(_, pin)| pin.1)
            .collect();
        match p.kind {
            Kind::Inverter if self.o.broken(part, "short") && touching.len() == 3 => {
                self.fixed.push((self.nets[part][0], V::L));
            }
            Kind::PushSwitch if self.o.broken(part, "stuck") && touching.len() == 2 => {
                for line in self.behind(touching[1]) {
                    self.fixed.push((self.root[line], V::L));
                }
            }
            _ => {}
        }
    }

    /// Lines behind a resistor at this one.
    fn behind(&self, line: usize) -> Vec<usize> {
        let whole = |&r: &usize| {
            !self.o.broken(r, "open") && !self.o.is_open(r, 0) && !self.o.is_open(r, 1)
        };
        let ends = |r: usize| (self.w.parts[r].pins[0].1, self.w.parts[r].pins[1].1);
        (self.w.of_kind(Kind::Load).filter(whole))
            .filter_map(|r| match ends(r) {
                (Some(a), Some(b)) if a == line => Some(b),
                (Some(a), Some(b)) if b == line => Some(a),
                _ => None,
            })
            .collect()
    }

    /// Collector, base, emitter.
    pub(super) fn drive_inverter(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let whole = !self.o.broken(part, "open");
        if whole && self.at(part, 1) == V::H && self.at(part, 2) == V::L {
            out.push((1, V::L));
        }
    }

    /// A comparator with an open collector, in the path of the tape.
    pub(super) fn drive_311(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let grounded = self.pin(part, 1) == V::L;
        if self.aside.tape == Some(false) && grounded {
            out.push((7, V::L));
        }
    }

    /// A number that differs from fault to fault, for what nobody can foretell.
    pub fn chance(&self) -> u64 {
        let mut n = self.salt;
        for (part, pins) in self.o.open.iter().enumerate() {
            for (k, open) in pins.iter().enumerate() {
                let held = self.o.stuck[part][k].map_or(0, |v| 2 + u64::from(v == V::H));
                let what = held | u64::from(*open);
                if what > 0 {
                    n = mix(n, what << 32 | (part as u64) << 8 | k as u64);
                }
            }
        }
        mix(n, 1) >> 7
    }

    /// Chips of the main memory that last took another row than this (the refresh counter has seven bits), by their data line.
    pub fn rows_missed(&self, row: u8) -> u8 {
        let missed = |p: &usize| self.memory[*p].row & 0x7F != u16::from(row) || !self.powered[*p];
        let bit = |p: usize| {
            let line = self.w.parts[p].pins[1].1.expect("wired");
            self.w.lines[line]
                .trim_start_matches('D')
                .parse::<u8>()
                .expect("a data line")
        };
        (self.w.of_kind(Kind::M4164).filter(missed)).fold(0, |all, p| all | 1 << bit(p))
    }
}
