//! The Z80 board with a custom array for picture and keys: what its system does after power-on, what the test program on the card
//! edge does, and what both show.
//!
//! The system needs the lower memory for its stack; the test program does without memory until it knows what is good, and tells of
//! both banks by the colours of the border. What follows is text in the lower memory.

mod picture;
mod probe;

use super::super::machine::{Machine, V, content};
use super::super::picture::Screen;
use super::super::program::{Outcome, Results, Start, Test};
use super::super::steps::{self, verdict};
use super::super::system::System;
use super::super::wiring::{Kind, Wired};

/// The port of the array.
const PORT: u16 = 0xFEFE;

/// First addresses, last ones and three neighbourhoods of the two banks.
const LOWER: [u16; 3] = [0x4400, 0x6A5A, 0x51C3];
const UPPER: [u16; 3] = [0x8400, 0xAA5A, 0xD1C3];

/// The machine.
pub struct Ula {
    array: usize,
    rom: usize,
    cart: usize,
    encoder: usize,
    modulator: usize,
    cable: usize,
    lead: usize,
    upper: Vec<usize>,
}

impl Ula {
    /// The machine of this board.
    pub fn of(w: &Wired) -> Self {
        let one = |kind: Kind| w.of_kind(kind).next().expect("a part of the kind");
        Self {
            array: one(Kind::A5C112),
            rom: one(Kind::R23128),
            cart: one(Kind::Cartridge),
            encoder: one(Kind::E1889),
            modulator: one(Kind::ModulatorRf),
            cable: one(Kind::CableAerial),
            lead: one(Kind::Loop),
            upper: w.of_kind(Kind::M4532).collect(),
        }
    }

    /// A reset that ends before the supply stands.
    fn reset_missing(m: &Machine) -> bool {
        !m.passes("C27")
    }

    /// The start without a cartridge.
    fn start(&self, m: &mut Machine) -> Start {
        m.cartridge_mode = (V::Z, V::Z);
        m.idle();
        if !m.cpu_alive() || Self::reset_missing(m) || !right(m, self.rom) {
            return Start::Nothing;
        }
        m.port(PORT, Some(7));
        // It fills all memory and looks for its end; stack and variables lie in the lower one.
        let wrong = wrong_bits(m, &neighbours(&LOWER, 14));
        if wrong == 0 {
            Start::Full
        } else {
            Start::First
        }
    }

    fn program_runs(&self, m: &mut Machine) -> bool {
        m.cartridge_mode = (V::H, V::Z);
        m.idle();
        m.cpu_alive() && !Self::reset_missing(m) && right(m, self.cart)
    }

    fn memory(&self, m: &mut Machine, r: &mut Results) -> bool {
        // Colours tell bits, not cells.
        let lower = wrong_bits(m, &neighbours(&LOWER, 14));
        let mut upper = wrong_bits(m, &neighbours(&UPPER, 15));
        if !self.refreshed(m) {
            upper = 0xFF;
        }
        for bit in 0..8 {
            let good = lower >> bit & 1 == 0;
            r.tests.push((Test::MemoryBit(bit), verdict(good)));
        }
        for bit in 0..8 {
            let good = upper >> bit & 1 == 0;
            r.tests.push((Test::UpperBit(bit), verdict(good)));
        }
        lower == 0 || upper == 0
    }

    /// Whether the refresh counter comes to the rows that the processor's accesses come to: else the upper memory forgets.
    fn refreshed(&self, m: &mut Machine) -> bool {
        let rows = |m: &Machine| -> Vec<u16> {
            let powered = self.upper.iter().filter(|&&u| m.powered[u]);
            powered.map(|&u| m.row_of(u)).collect()
        };
        [0u8, 0x15, 0x2A, 0x7F, 0x40].into_iter().all(|row| {
            m.access(0x8000 | u16::from(!row & 0x7F), None);
            m.fetch_instruction(0x0000, row);
            let by_refresh = rows(m);
            m.access(0x8000 | u16::from(row), None);
            by_refresh == rows(m)
        })
    }

    fn frame_interrupt(m: &mut Machine) -> bool {
        let cpu = m.cpu();
        let rest = m.level_at(cpu, 16) == V::H;
        m.array_frame(true);
        let asked = m.level_at(cpu, 16) == V::L;
        m.array_frame(false);
        rest && asked && !m.o.block(cpu, "interrupts")
    }

    fn keys(m: &mut Machine, r: &mut Results) {
        steps::keys(m, r, &|m, column| {
            let select = !(1u16 << column) & 0xFF;
            m.port(select << 8 | 0xFE, None)
        });
    }

    /// A tape lead: what goes out is heard, what comes in is seen.
    fn tape(&self, m: &mut Machine) -> bool {
        let (ear, mic) = (m.w.part("Ear0"), m.w.part("Mic0"));
        let tip = |m: &Machine, part: usize| !m.o.is_open(part, m.w.pin(part, "2"));
        if m.o.broken(self.lead, "missing") || !tip(m, ear) || !tip(m, mic) {
            return false;
        }
        let (input, output) = (m.w.line("n.R36.1"), m.w.line("n.R35.1"));
        let goes_out = [V::L, V::H].into_iter().all(|v| {
            m.port(PORT, Some(if v == V::H { 0x18 } else { 0 }));
            m.level(output) == v && m.passes("C31")
        });
        m.port(PORT, Some(0));
        let comes_in = [V::L, V::H].into_iter().all(|v| {
            m.outside = vec![(input, v)];
            let read = m.port(PORT, None) >> 6 & 1 == 1;
            m.outside.clear();
            read == (v == V::H)
        });
        goes_out && comes_in
    }

    fn sound(m: &mut Machine) -> bool {
        let line = m.w.line("TAPE_SPKR");
        let swings = [V::L, V::H].into_iter().all(|v| {
            m.port(PORT, Some(if v == V::H { 0x10 } else { 0 }));
            m.level(line) == v
        });
        swings && m.passes("D9") && m.whole("TR7") && m.passes("LS1")
    }

    /// Whether the border takes the colours that the program gives it.
    fn border(&self, m: &mut Machine) -> bool {
        (0..8u8).all(|v| {
            m.port(PORT, Some(v));
            m.array_port() & 7 == v
        }) && !m.o.block(self.array, "border")
    }
}

impl System for Ula {
    fn run(&self, m: &mut Machine) -> Results {
        m.idle();
        let start = self.start(m);
        let mut r = Results {
            screen: self.screen(m, start),
            ran: false,
            tests: Vec::new(),
            stopped: false,
            cells: Vec::new(),
        };
        if self.dark(m).is_some() || !self.program_runs(m) {
            return r;
        }
        let readable = self.readable(m);
        if !self.border(m) && !readable {
            return r;
        }
        r.ran = true;
        let some_memory = self.memory(m, &mut r);
        if !readable {
            r.stopped = true;
            return r;
        }
        // The program goes on in a bank that is good, as it takes the cartridge's ROM away to look at the other.
        if some_memory {
            m.cartridge_mode = (V::Z, V::Z);
            m.idle();
            let good = right(m, self.rom);
            m.cartridge_mode = (V::H, V::Z);
            m.idle();
            r.tests.push((Test::Rom("os"), verdict(good)));
        }
        let frames = Self::frame_interrupt(m);
        r.tests.push((Test::Interrupt(1), verdict(frames)));
        Self::keys(m, &mut r);
        let tape = self.tape(m);
        r.tests.push((Test::Port("cassette port"), verdict(tape)));
        let heard = Self::sound(m);
        let outcome = if heard { Outcome::Ok } else { Outcome::Dead };
        r.tests.push((Test::Sound, outcome));
        r
    }

    fn exercise(&self, m: &mut Machine) {
        let start = self.start(m);
        self.do_something(m, start);
    }

    fn word(&self, m: &Machine, line: usize) -> &'static str {
        probe::word(m, line)
    }
}

/// Whether what is at 0000-3FFF reads as this part holds it.
fn right(m: &mut Machine, part: usize) -> bool {
    let spots = (0..14).flat_map(|bit| [1u16 << bit, 0x3FFF ^ 1 << bit]);
    let spots: Vec<u16> = spots.chain([0, 0x1A57, 0x25A8]).collect();
    spots.into_iter().enumerate().all(|(k, a)| {
        let read = match k % 4 {
            0 => m.fetch_instruction(a, a as u8 & 0x7F),
            _ => m.access(a, None),
        };
        read == content(part, a)
    })
}

/// Addresses that differ in one bit from one of some.
fn neighbours(bases: &[u16], bits: u16) -> Vec<u16> {
    let all = |b: &u16| {
        let base = *b;
        (0..bits).map(move |k| base ^ 1 << k).chain([base])
    };
    let mut at: Vec<u16> = bases.iter().flat_map(all).collect();
    at.sort_unstable();
    at.dedup();
    at
}

/// The wrong bits; the test tells by colours, so no cells are listed.
fn wrong_bits(m: &mut Machine, at: &[u16]) -> u8 {
    steps::wrong_bits(m, at, &|_| {}, &mut Vec::new())
}
