//! The Z80 board with an 8255, a 9918 with its own memory and an 8910: what its system does after power-on, what the test
//! program in slot 1 does, and what both show.
//!
//! The system looks for main memory, sets up the picture chip, then calls what it finds in slot 1. It needs its stack for that, so
//! that a main memory that does not hold at its upper end leaves the picture as it is after reset: black, with sync.

mod ports;
mod probe;

use super::super::config::{Builder, Stage, stage_works};
use super::super::machine::{Machine, V, content};
use super::super::picture::Screen;
use super::super::program::{Outcome, Results, Start, Test};
use super::super::steps::{self, spots, verdict};
use super::super::system::System;
use super::super::wiring::{Kind, Wired};

/// How the processor's clock goes through small parts of its oscillator: part, leg in, leg out, the resistor that gives the gate its
/// bias. The buffer's own bias resistor is not needed: a gate of this family biases its open input itself (guess).
pub const CLOCK_WAYS: [(&str, usize, usize, &str); 3] =
    [("Y2", 1, 2, "R68"), ("C83", 2, 1, ""), ("C82", 1, 2, "")];

/// Input and output (memory).
const PRINTER: u16 = 0x90;
const VIDEO_DATA: u16 = 0x98;
const VIDEO_MODE: u16 = 0x99;
const SOUND: u16 = 0xA0;
const SLOTS: u16 = 0xA8;
const ROWS: u16 = 0xA9;
const COLUMN: u16 = 0xAA;
const PORT_MODE: u16 = 0xAB;

/// Slots of the four quarters: as the system leaves them without a cartridge, with one, and all main memory.
const SYSTEM: u8 = 0xF0;
const PLUGGED: u8 = 0xF4;
const ALL_MEMORY: u8 = 0xFF;

/// What the system writes into the registers of the picture chip.
const SETTINGS: [u8; 8] = [0x00, 0xE0, 0x06, 0x80, 0x00, 0x36, 0x07, 0x04];

/// Motor off, caps lamp off, tape output low.
const REST: u8 = 0x50;

/// The machine.
pub struct Vdp {
    rom: usize,
    video: usize,
    sound: usize,
    reset: usize,
    luma: Vec<Stage>,
    colour: Vec<Stage>,
    /// From each voice to the ear.
    voices: Vec<Vec<Stage>>,
    /// From the port to the ear, and from ports and supply to the lamps.
    click: Vec<Stage>,
    caps: Vec<Stage>,
    lamp: Vec<Stage>,
    ports: ports::Ports,
}

/// What the picture chip gets to see in its memory.
struct Fetched {
    wrong: u8,
    places: bool,
    /// The same byte everywhere.
    flat: Option<u8>,
}

impl Vdp {
    /// The machine of this board.
    pub fn of(w: &Wired) -> Self {
        let b = Builder(w);
        let cable = |what| vec![Stage::Cable(what)];
        let voices = ["4", "3", "38"]
            .map(|pin| {
                let path = format!("U24 {pin} {pin}, C77 1 2, R42 1 2, C76 1 2, J6 1");
                [b.through(&path), cable("audio")].concat()
            })
            .to_vec();
        Self {
            rom: b.p("U20"),
            video: b.p("U30"),
            sound: b.p("U24"),
            reset: w.line("RESET_RC"),
            luma: [b.through("U30 36 36, J1 1"), cable("luma")].concat(),
            colour: [
                b.through("U30 35 35, U30 38 38, JN10 4, JN10 5"),
                cable("colour"),
            ]
            .concat(),
            voices,
            click: [b.through("C79 1 2, R44 1 2, C76 1 2, J6 1"), cable("audio")].concat(),
            caps: b.through("U39 1 2, R33 1 2, CAPS1 1 2"),
            lamp: b.through("R1 1 2, POWERLED1 1 2"),
            ports: ports::Ports::of(&b),
        }
    }

    fn passes(m: &Machine, path: &[Stage]) -> bool {
        path.iter().all(|s| stage_works(m, s))
    }

    /// Power-on with its reset pulse; `false` where there is no pulse, as its capacitor does not charge slowly.
    fn power_on(&self, m: &mut Machine) -> bool {
        m.aside.waits = false;
        m.outside = vec![(self.reset, V::L)];
        m.idle();
        m.outside.clear();
        m.idle();
        let timing = m.w.of_kind(Kind::TimingCap).collect::<Vec<_>>();
        let pulse = timing
            .iter()
            .all(|&c| !m.o.broken(c, "open") && !m.o.is_open(c, 0) && !m.o.is_open(c, 1));
        pulse && !m.o.broken(m.w.part("D5"), "short")
    }

    /// The system's start.
    fn start(&self, m: &mut Machine) -> Start {
        if !self.power_on(m) || !m.cpu_alive() {
            return Start::Nothing;
        }
        if !self.rom_right(m, &spots(0, 0x4000), true) {
            return Start::Nothing;
        }
        m.port(PORT_MODE, Some(0x82));
        m.port(SLOTS, Some(SYSTEM));
        if !self.rom_right(m, &[0x0102, 0x3A5D, 0x15A2], true) {
            return Start::Nothing;
        }
        // Work area and stack.
        let area = [spots(0xF380, 0x400), spots(0xC05A, 0x2000)];
        let stack: Vec<u16> = area.concat();
        if wrong_bits(m, &stack, None) != 0 {
            return Start::Nothing;
        }
        for (k, v) in SETTINGS.into_iter().enumerate() {
            video_register(m, k as u8, v);
        }
        video_write(m, 0x3FFF, 0x20);
        m.filled();
        // What follows is in the second quarter.
        let irq_free = m.level_at(m.cpu(), 16) != V::L;
        let second: Vec<u16> = spots(0x4000, 0x4000);
        if self.rom_right(m, &second, false) && irq_free {
            Start::Full
        } else {
            Start::First
        }
    }

    fn rom_right(&self, m: &mut Machine, at: &[u16], fetch: bool) -> bool {
        at.iter().enumerate().all(|(k, &a)| {
            let read = if fetch && k % 4 == 0 {
                m.fetch_instruction(a, a as u8 & 0x7F)
            } else {
                m.access(a, None)
            };
            read == content(self.rom, a) && m.cpu_alive()
        })
    }

    /// Whether the test program in slot 1 is found and runs. An interrupt that never ends slows the way there, and the program
    /// switches it off.
    fn program_runs(&self, m: &mut Machine) -> bool {
        m.aside.cartridge = true;
        if self.start(m) == Start::Nothing || !self.rom_right(m, &spots(0x7C00, 0x400), false) {
            return false;
        }
        m.port(SLOTS, Some(PLUGGED));
        let cart = m.w.of_kind(Kind::Cartridge).next().expect("a cartridge");
        let found = spots(0x4000, 0x4000)
            .into_iter()
            .all(|a| m.access(a, None) == content(cart, a & 0x3FFF));
        // It calls the system below it now and then, and comes back.
        found && self.rom_right(m, &[0x0102, 0x3A5D, 0x2B12], true)
    }

    fn signal(&self, m: &Machine) -> bool {
        m.vdp_alive() && !m.o.block(self.video, "luma") && Self::passes(m, &self.luma)
    }

    /// Whether the picture chip took what it was told.
    fn set_up(&self, m: &Machine) -> bool {
        let right = |k: usize| m.register(self.video, k) == SETTINGS[k];
        (0..8).all(right)
    }

    /// Bytes go into the video memory through the processor's ports, and come back as the picture chip reads them.
    fn fetched(&self, m: &mut Machine) -> Fetched {
        let at: Vec<u16> = spots(0x1800, 0x400)
            .into_iter()
            .chain(spots(0, 0x1000))
            .collect();
        let byte = |a: u16| ((u32::from(a).wrapping_mul(0x9E37_79B1) >> 13) as u8) ^ 0x5A;
        for &a in &at {
            video_write(m, a, byte(a));
        }
        let (mut wrong, mut many) = (0, 0);
        let mut all = Vec::new();
        for &a in &at {
            let read = m.video_memory(a, None);
            wrong |= read ^ byte(a);
            many += usize::from((read ^ byte(a)).count_ones() >= 2);
            all.push(read);
        }
        let flat = all.iter().all(|v| *v == all[0]).then(|| all[0]);
        let lost = m.o.block(self.video, "fetch");
        Fetched {
            wrong: if lost { wrong | 0x11 } else { wrong },
            // One address line at fault spoils what is in pairs of places.
            places: many * 8 > at.len(),
            flat,
        }
    }

    fn screen(&self, m: &mut Machine, start: Start) -> Screen {
        if !self.signal(m) {
            return Screen::NoSignal;
        }
        if start == Start::Nothing || !self.set_up(m) {
            return Screen::Black;
        }
        let crystal = m.w.part("X1");
        let ripple = m.supply.ripple.get(&m.w.line("+5V"));
        if m.o.broken(crystal, "wrong") || ripple.is_some_and(|v| *v > 0.3) {
            return Screen::Unstable;
        }
        let f = self.fetched(m);
        match f.flat {
            _ if start == Start::First && f.wrong == 0 => return Screen::OneColour,
            Some(0 | 0xFF) => return Screen::OneColour,
            _ if f.places => return Screen::Garbage,
            _ if f.wrong != 0 => return Screen::WrongCharacters,
            _ => {}
        }
        if m.o.block(self.video, "colour") || !Self::passes(m, &self.colour) {
            return Screen::WrongColours;
        }
        Screen::Normal
    }

    fn memory(&self, m: &mut Machine, r: &mut Results) {
        // It copies itself into the memory for this, and reads back after the time that cells hold without refresh.
        m.port(SLOTS, Some(ALL_MEMORY));
        let mut at: Vec<u16> = Vec::new();
        for base in [0x0400u16, 0x6A5A, 0xD1C3] {
            at.push(base);
            at.extend((0..16).map(|bit| base ^ (1 << bit)));
        }
        let mut wrong = wrong_bits(m, &at, Some(&mut r.cells));
        wrong |= Self::not_refreshed(m);
        m.port(SLOTS, Some(PLUGGED));
        for bit in 0..8 {
            r.tests
                .push((Test::MemoryBit(bit), verdict(wrong >> bit & 1 == 0)));
        }
    }

    /// Data bits whose chips do not get the rows of the refresh counter.
    fn not_refreshed(m: &mut Machine) -> u8 {
        [0x00u8, 0x15, 0x2A, 0x7F, 0x40]
            .iter()
            .fold(0, |all, &row| {
                m.fetch_instruction(0x4000, row);
                all | m.rows_missed(row)
            })
    }

    fn video_memory(m: &mut Machine, r: &mut Results) {
        let at: Vec<u16> = (0..14).map(|b| 0x1253 ^ (1 << b)).chain([0x1253]).collect();
        let mut wrong = 0;
        for factor in [0x85EB_CA77u32, 0x9E37_79B1, 0xC2B2_AE35, 0x27D4_EB2F] {
            let byte = |a: u16| (u32::from(a).wrapping_mul(factor) >> 17) as u8;
            for &a in &at {
                video_write(m, a, byte(a));
            }
            for &a in &at {
                wrong |= video_read(m, a) ^ byte(a);
            }
        }
        for bit in 0..8 {
            r.tests
                .push((Test::VideoBit(bit), verdict(wrong >> bit & 1 == 0)));
        }
    }

    fn frame_interrupt(&self, m: &mut Machine) -> bool {
        let cpu = m.cpu();
        video_register(m, 1, 0xE0);
        m.port(VIDEO_MODE, None);
        let rest = m.level_at(cpu, 16) == V::H;
        m.frame();
        let low = m.level_at(cpu, 16) == V::L;
        let status = m.port(VIDEO_MODE, None);
        let again = m.level_at(cpu, 16) == V::H;
        rest && low && again && status & 0x80 != 0 && !m.o.block(cpu, "interrupts")
    }

    fn keys(m: &mut Machine, r: &mut Results) {
        steps::keys(m, r, &|m, column| {
            m.port(COLUMN, Some(REST | column as u8));
            m.port(ROWS, None)
        });
    }

    /// Whether the system, started without a cartridge, sees its CAPS key by the frame interrupt and moves a bit of port C for it.
    fn answers_keys(&self, m: &mut Machine, bit: u8) -> bool {
        m.aside.cartridge = false;
        if self.start(m) != Start::Full || !self.frame_interrupt(m) {
            return false;
        }
        let at = |k: &str| {
            m.w.matrix
                .iter()
                .enumerate()
                .find_map(|(c, rows)| rows.iter().position(|r| r == k).map(|r| (c, r)))
        };
        let (column, row) = at("CAPS").expect("a key");
        let mut seen = |pressed: bool| {
            m.pressed = if pressed {
                vec![(column, row)]
            } else {
                Vec::new()
            };
            m.port(COLUMN, Some(REST | column as u8));
            let read = m.port(ROWS, None) >> row & 1 == 0;
            m.pressed.clear();
            read
        };
        let pressed = !seen(false) && seen(true);
        let ports = m.w.part("U18");
        let pin = if bit == 0x80 { 10 } else { 11 };
        let moves = [false, true].iter().all(|&high| {
            m.port(COLUMN, Some(REST & !bit | if high { bit } else { 0 }));
            m.level_at(ports, pin) == V::of(high)
        });
        pressed && moves
    }

    fn sound_reached(&self, m: &mut Machine) -> bool {
        (0..14u8).step_by(3).all(|register| {
            [0x55u8, 0xAA].iter().all(|&v| {
                sound_write(m, register ^ 1, !v);
                sound_write(m, register, v);
                m.register(self.sound, usize::from(register)) == v
            })
        })
    }

    fn voices(&self, m: &mut Machine, r: &mut Results) {
        let reached = self.sound_reached(m) && m.running_pin(self.sound, 22);
        let mut any = false;
        for k in 0..3 {
            let block = ["voice 1", "voice 2", "voice 3"][k];
            let good = reached && !m.o.block(self.sound, block) && Self::passes(m, &self.voices[k]);
            any |= good;
            r.tests.push((Test::Voice(k + 1), verdict(good)));
        }
        let outcome = if any { Outcome::Ok } else { Outcome::Dead };
        r.tests.push((Test::Sound, outcome));
    }
}

impl System for Vdp {
    fn run(&self, m: &mut Machine) -> Results {
        m.aside.cartridge = false;
        let start = self.start(m);
        let mut r = Results {
            screen: self.screen(m, start),
            ran: false,
            tests: Vec::new(),
            stopped: false,
            cells: Vec::new(),
        };
        if !self.program_runs(m) || !self.signal(m) || !self.set_up(m) {
            return r;
        }
        r.ran = true;
        // Colours of the border tell of both memories; all that follows is text out of the video memory.
        self.memory(m, &mut r);
        Self::video_memory(m, &mut r);
        let f = self.fetched(m);
        if f.places || f.flat.is_some() || f.wrong.count_ones() > 1 {
            r.stopped = true;
            return r;
        }
        m.port(SLOTS, Some(SYSTEM));
        let rom = self.rom_right(m, &spots(0, 0x8000), false);
        m.port(SLOTS, Some(PLUGGED));
        r.tests.push((Test::Rom("os"), verdict(rom)));
        let frames = self.frame_interrupt(m);
        r.tests.push((Test::Interrupt(1), verdict(frames)));
        Self::keys(m, &mut r);
        self.ports.run(m, &mut r);
        self.voices(m, &mut r);
        r
    }

    fn exercise(&self, m: &mut Machine) {
        self.do_something(m);
    }

    fn own(&self, m: &mut Machine, id: &str) -> Option<bool> {
        match id {
            "lamp.power" => Some(m.supply.good(m.w.line("+5V")) && Self::passes(m, &self.lamp)),
            "click" => Some(self.answers_keys(m, 0x80) && Self::passes(m, &self.click)),
            "lamp.caps" => Some(self.answers_keys(m, 0x40) && Self::passes(m, &self.caps)),
            _ => None,
        }
    }

    fn word(&self, m: &Machine, line: usize) -> &'static str {
        probe::word(m, line)
    }
}

fn video_register(m: &mut Machine, register: u8, value: u8) {
    m.port(VIDEO_MODE, Some(value));
    m.port(VIDEO_MODE, Some(0x80 | register));
}

fn video_write(m: &mut Machine, address: u16, value: u8) {
    m.port(VIDEO_MODE, Some(address as u8));
    m.port(VIDEO_MODE, Some((address >> 8) as u8 & 0x3F | 0x40));
    m.port(VIDEO_DATA, Some(value));
}

fn video_read(m: &mut Machine, address: u16) -> u8 {
    m.port(VIDEO_MODE, Some(address as u8));
    m.port(VIDEO_MODE, Some((address >> 8) as u8 & 0x3F));
    m.port(VIDEO_DATA, None)
}

fn sound_write(m: &mut Machine, register: u8, value: u8) {
    m.port(SOUND, Some(register));
    m.port(SOUND + 1, Some(value));
}

fn sound_read(m: &mut Machine, register: u8) -> u8 {
    m.port(SOUND, Some(register));
    m.port(SOUND + 2, None)
}

/// The wrong bits. With a list of cells the program goes on between writing and reading, and with it the refresh, whose upper address
/// byte stays 0.
fn wrong_bits(m: &mut Machine, at: &[u16], cells: Option<&mut steps::Cells>) -> u8 {
    let mut at = at.to_vec();
    at.sort_unstable();
    at.dedup();
    let refresh = |m: &mut Machine| {
        for row in [0, 0x2A, 0x5A] {
            m.fetch_instruction(0xF003, row);
        }
    };
    match cells {
        Some(cells) => steps::wrong_bits(m, &at, &refresh, cells),
        None => steps::wrong_bits(m, &at, &|_| {}, &mut Vec::new()),
    }
}
