//! What the test program does, cycle by cycle, and what it would print.

use super::clocks;
use super::config::{Config, Port, Wire};
use super::machine::{Machine, V, content};
use super::picture::{self, Screen};
use super::steps::{self, spots, verdict};
use super::wiring::Kind;

/// A line of the report of a test run.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Test {
    MemoryBit(u8),
    UpperBit(u8),
    Rom(&'static str),
    ColourBit(u8),
    VideoBit(u8),
    Timer(usize, char),
    Clock(usize),
    Interrupt(usize),
    Key(String),
    Port(&'static str),
    Voice(usize),
    Sound,
    Filter,
    Paddles(usize),
}

/// How it came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    Ok,
    Bad,
    Dead,
    Stuck,
    Stopped,
    Slow,
    Fast,
}

/// Everything that a run shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Results {
    /// What the screen shows after power-on without the cartridge.
    pub screen: Screen,
    /// The test program ran and its report can be read.
    pub ran: bool,
    /// Results in the order of the program; empty when it did not run.
    pub tests: Vec<(Test, Outcome)>,
    /// The program stopped after the memory.
    pub stopped: bool,
    /// Cells: address, written, read.
    pub cells: Vec<(u16, u8, u8)>,
}

impl Results {
    /// Whether anything is not as it should be.
    pub fn shows(&self) -> bool {
        self.screen != Screen::Normal || !self.ran || self.tests.iter().any(|t| t.1 != Outcome::Ok)
    }

    /// The failing tests.
    pub fn failing(&self) -> impl Iterator<Item = &(Test, Outcome)> {
        self.tests.iter().filter(|t| t.1 != Outcome::Ok)
    }
}

/// Runs everything.
pub fn run(m: &mut Machine, c: &Config) -> Results {
    m.idle();
    let starts = start(m, c);
    let screen = picture::screen(m, c, starts);
    let mut r = Results {
        screen,
        ran: false,
        tests: Vec::new(),
        stopped: false,
        cells: Vec::new(),
    };
    if !program_runs(m, c) || !picture::colours_seen(m, c) {
        return r;
    }
    r.ran = true;
    // The memory's results are colours; all that follows is text.
    memory(m, c, &mut r);
    let bad = r.failing().count();
    if bad >= 4 || !picture::readable(m, c) {
        r.stopped = true;
        return r;
    }
    roms(m, c, &mut r);
    colour(m, c, &mut r);
    adapters(m, c, &mut r);
    keys(m, c, &mut r);
    ports(m, c, &mut r);
    sound(m, c, &mut r);
    r
}

/// Which half of a 27128 holds a program of 8 KB: where its highest address pin is tied high the upper one, else the one that the
/// processor's address picks.
fn half_of(m: &Machine, part: usize, base: u16) -> u16 {
    if m.w.parts[part].kind != Kind::R27128 {
        return 0;
    }
    let line = m.w.parts[part].pins[25].1.map(|l| m.w.lines[l].as_str());
    match line {
        Some("A14") => (base >> 14 & 1) << 13,
        _ => 0x2000,
    }
}

/// Whether a read-only memory reads right everywhere it was looked at.
fn rom_right(m: &mut Machine, part: usize, base: u16, size: u32) -> bool {
    let mask = (size - 1) as u16;
    let half = half_of(m, part, base);
    spots(base, size)
        .into_iter()
        .all(|a| m.access(a, None) == content(part, half | a & mask))
}

/// The start without a cartridge: the system's ROM, its first steps, then memory and the rest.
pub fn start(m: &mut Machine, c: &Config) -> Start {
    m.cartridge_mode = (V::Z, V::Z);
    m.set_port(c.port_at_rest);
    m.idle();
    if !m.cpu_alive() {
        return Start::Nothing;
    }
    let (_, os, base, size) = c.roms[0];
    if !rom_right(m, os, base, size) || c.reset_doubtful(m) {
        return Start::Nothing;
    }
    // Zero page and stack: a bit that is wrong there ends the start.
    let stack: Vec<u16> = spots(0x0000, 0x0200);
    let stack_right = holds(m, &stack) == 0;
    let (_, language, base, size) = c.roms[1];
    let language_right = rom_right(m, language, base, size);
    let irq_free = m.level_at(m.cpu(), c.irq_pin()) == V::H;
    if stack_right && language_right && irq_free {
        Start::Full
    } else {
        Start::First
    }
}

/// How far the machine starts by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// The processor does nothing useful.
    Nothing,
    /// It sets up the picture and stops.
    First,
    /// It comes up.
    Full,
}

/// Whether the test program runs: every look at the cartridge brings the right byte.
pub(super) fn program_runs(m: &mut Machine, c: &Config) -> bool {
    m.cartridge_mode = c.cartridge_first;
    m.set_port(c.port_at_rest);
    m.idle();
    if !m.cpu_alive() || c.reset_doubtful(m) {
        return false;
    }
    let cart =
        m.w.of_kind(Kind::Cartridge)
            .next()
            .expect("a test cartridge");
    let ok = rom_right(m, cart, c.cartridge_base, 0x2000);
    m.cartridge_mode = (V::Z, V::Z);
    m.idle();
    ok
}

/// Writes a byte that depends on the address everywhere, reads back: the wrong bits.
fn holds(m: &mut Machine, at: &[u16]) -> u8 {
    let byte = |a: u16, mask: u8| (a ^ (a >> 8)) as u8 ^ mask;
    [0x55, 0xFF].into_iter().fold(0, |wrong, mask| {
        wrong | steps::one_pass(m, at, &|a| byte(a, mask), &|_| {}, &mut Vec::new())
    })
}

fn memory(m: &mut Machine, c: &Config, r: &mut Results) {
    m.set_port(c.port_at_rest & !7);
    m.idle();
    let mut wrong = 0u8;
    // Three neighbourhoods: each address line moves alone in each of them.
    let mut at: Vec<u16> = Vec::new();
    for base in [0x0400u16, 0x2A5A, 0x51C3] {
        at.push(base);
        at.extend((0..15).map(|bit| base ^ (1 << bit)));
        if c.memory_top > 0x8000 {
            at.push(base ^ 0x8000);
        }
    }
    at.sort_unstable();
    at.dedup();
    for bank in c.banks(m) {
        c.choose_bank(m, bank);
        wrong |= steps::wrong_bits(m, &at, &|_| {}, &mut r.cells);
    }
    wrong |= banks_differ(m, c);
    m.set_port(c.port_at_rest);
    m.idle();
    for bit in 0..8 {
        let bad = wrong >> bit & 1 == 1;
        r.tests.push((
            Test::MemoryBit(bit),
            if bad { Outcome::Bad } else { Outcome::Ok },
        ));
    }
}

/// Two banks of one memory must not be the same cells.
fn banks_differ(m: &mut Machine, c: &Config) -> u8 {
    let banks = c.banks(m);
    if banks.len() < 2 {
        return 0;
    }
    for &bank in &banks {
        c.choose_bank(m, bank);
        m.access(0x0812, Some(if bank { 0xA5 } else { 0x5A }));
    }
    let mut wrong = 0;
    for &bank in &banks {
        c.choose_bank(m, bank);
        wrong |= m.access(0x0812, None) ^ if bank { 0xA5 } else { 0x5A };
    }
    wrong
}

fn roms(m: &mut Machine, c: &Config, r: &mut Results) {
    for &(word, part, base, size) in &c.roms {
        if word == "character" {
            m.set_port(c.port_at_rest & !4);
        }
        m.idle();
        let good = rom_right(m, part, base, size);
        m.set_port(c.port_at_rest);
        m.idle();
        r.tests.push((Test::Rom(word), verdict(good)));
    }
}

fn colour(m: &mut Machine, c: &Config, r: &mut Results) {
    let Some(base) = c.colour else { return };
    let at = spots(base, 0x400);
    let mut wrong = 0;
    for pass in [0x5u8, 0xA] {
        for &a in &at {
            m.access(a, Some(pass ^ (a as u8 & 0xF) ^ (a >> 5) as u8 & 0xF));
        }
        for &a in &at {
            wrong |= (m.access(a, None) ^ pass ^ (a as u8 & 0xF) ^ (a >> 5) as u8 & 0xF) & 0xF;
        }
    }
    for bit in 0..4 {
        r.tests
            .push((Test::ColourBit(bit), verdict(wrong >> bit & 1 == 0)));
    }
}

/// Whether an adapter's registers can be reached.
fn registers(m: &mut Machine, base: u16) -> bool {
    let good = [0x55, 0xAA, 0x0F].iter().all(|&v| {
        [2u16, 3, 4, 5, 8, 12].iter().all(|&reg| {
            let v = v ^ reg as u8;
            m.access(base + reg, Some(v));
            m.access(base + (reg ^ 1), Some(!v));
            m.access(base + reg, None) == v
        })
    });
    for reg in [2, 3] {
        m.access(base + reg, Some(0));
    }
    good
}

fn adapters(m: &mut Machine, c: &Config, r: &mut Results) {
    for (k, a) in c.adapters.iter().enumerate() {
        let reached = registers(m, a.base);
        for letter in ['a', 'b'] {
            let block = if letter == 'a' { "timer a" } else { "timer b" };
            r.tests.push((
                Test::Timer(k + 1, letter),
                verdict(reached && !m.o.block(a.part, block)),
            ));
        }
    }
    for (k, a) in c.adapters.iter().enumerate() {
        let reached = registers(m, a.base);
        let outcome = match () {
            () if !reached => Outcome::Bad,
            () if m.o.block(a.part, "clock") || !clocks::tick(m, a.part) => Outcome::Stopped,
            () if c.mains_set(m) == Some("slow") => Outcome::Slow,
            () if c.mains_set(m) == Some("fast") => Outcome::Fast,
            () => Outcome::Ok,
        };
        r.tests.push((Test::Clock(k + 1), outcome));
    }
    for (k, a) in c.adapters.iter().enumerate() {
        let reached = registers(m, a.base)
            && !m.o.block(a.part, "timer a")
            && !m.o.block(a.part, "interrupt");
        let good = reached && c.interrupt_arrives(m, k);
        r.tests.push((Test::Interrupt(k + 1), verdict(good)));
    }
}

fn keys(m: &mut Machine, c: &Config, r: &mut Results) {
    let a = &c.adapters[0];
    let (out, back) = if c.columns_on_a {
        (a.base, a.base + 1)
    } else {
        (a.base + 1, a.base)
    };
    m.access(out + 2, Some(0xFF));
    m.access(back + 2, Some(0x00));
    steps::keys(m, r, &|m, column| {
        m.access(out, Some(!(1u8 << column)));
        m.access(back, None)
    });
    m.access(out, Some(0xFF));
    m.access(out + 2, Some(0x00));
    let name = m.w.break_key.clone();
    let outcome = if c.break_key_works(m) {
        Outcome::Ok
    } else {
        Outcome::Dead
    };
    r.tests.push((Test::Key(name), outcome));
}

fn ports(m: &mut Machine, c: &Config, r: &mut Results) {
    for port in &c.ports {
        let good = port_works(m, c, port);
        r.tests.push((Test::Port(port.name), verdict(good)));
    }
    for k in 0..c.paddles.len() {
        let good = c.paddles[k].iter().all(|s| c.stage_works(m, s));
        r.tests.push((Test::Paddles(k + 1), verdict(good)));
    }
}

fn port_works(m: &mut Machine, c: &Config, port: &Port) -> bool {
    if port.plug.is_some_and(|p| m.o.broken(p, "missing")) {
        return false;
    }
    port.wires.iter().all(|w| wire_works(m, c, w))
}

fn wire_works(m: &mut Machine, c: &Config, wire: &Wire) -> bool {
    match wire {
        Wire::Out {
            adapter,
            port,
            bit,
            socket,
            pin,
            inverted,
        } => {
            let base = c.adapters[*adapter].base + u16::from(*port);
            let rest = c.rest_direction(*adapter, *port);
            m.access(base + 2, Some(rest | 1 << bit));
            let good = [false, true].iter().all(|&high| {
                m.access(base, Some(u8::from(high) << bit));
                m.at(*socket, *pin) == V::of(high != *inverted)
            });
            m.access(base + 2, Some(0));
            good
        }
        Wire::In {
            adapter,
            port,
            bit,
            socket,
            pin,
        } => {
            let base = c.adapters[*adapter].base + u16::from(*port);
            m.access(base + 2, Some(c.rest_direction(*adapter, *port)));
            m.access(base, Some(0));
            let good = in_works(m, *socket, *pin, base, *bit);
            m.access(base + 2, Some(0));
            good
        }
        Wire::InAt {
            address,
            bit,
            socket,
            pin,
        } => in_works(m, *socket, *pin, *address, *bit),
        Wire::Stage(s) => c.stage_works(m, s),
    }
}

/// Pulls a socket's contact low and looks; lets it go and looks again.
fn in_works(m: &mut Machine, socket: usize, pin: usize, address: u16, bit: u8) -> bool {
    let line = m.w.parts[socket].pins[pin].1.expect("wired");
    if !m.o.is_open(socket, pin) {
        m.outside = vec![(line, V::L)];
    }
    let low = m.access(address, None) >> bit & 1 == 0;
    m.outside.clear();
    let high = m.access(address, None) >> bit & 1 == 1;
    low && high
}

fn sound(m: &mut Machine, c: &Config, r: &mut Results) {
    let part = c.sound;
    let reached = c.sound_reached(m);
    let heard: Vec<bool> = (0..3).map(|k| c.voice_path(m, k)).collect();
    let mut any = false;
    for k in 0..3usize {
        let block = ["voice 1", "voice 2", "voice 3"][k];
        let good = reached && heard[k] && !m.o.block(part, block) && !m.o.block(part, "output");
        any |= good;
        r.tests.push((Test::Voice(k + 1), verdict(good)));
    }
    r.tests
        .push((Test::Sound, if any { Outcome::Ok } else { Outcome::Dead }));
    if let Some(stages) = &c.filter {
        let good = any && !m.o.block(part, "filter") && stages.iter().all(|s| c.stage_works(m, s));
        r.tests.push((Test::Filter, verdict(good)));
    }
}
