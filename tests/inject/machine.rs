//! The board as a network of lines that chips drive by their data sheets, settled step by step for each bus cycle.

pub mod array5c112;
mod clocked;
mod combined;
mod drive;
mod flip;
mod latch;
mod passive;
mod ppi8255;
mod psg8910;
mod quick;
mod slot44;
mod slot50;
mod vdp9918;
mod z80;

pub use clocked::Aside;
use slot44::Slot;

use super::array;
use super::faults::Fault;
use super::overlay::Overlay;
use super::pins;
use super::supply::{self, Supply};
use super::wiring::{Kind, Wired};
use std::collections::{HashMap, HashSet};

/// A level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum V {
    /// Low.
    L,
    /// High.
    H,
    /// Nobody drives it.
    Z,
}

impl V {
    pub fn of(high: bool) -> Self {
        if high { V::H } else { V::L }
    }
}

/// Step within half a clock cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// 0: strobes high, row address; 1: row strobe low; 2: column address, column strobe low.
    pub stage: u8,
    /// Half of the processor (else of the video chip).
    pub cpu: bool,
}

/// Kinds of bus cycles; only the Z80 has others than of the memory.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Cycle {
    #[default]
    Memory,
    /// The fetch of an instruction.
    Fetch,
    /// An input or output port.
    Port,
    /// A row of the memories, by the refresh counter.
    Refresh,
}

/// What the processor puts on the bus.
#[derive(Debug, Clone, Copy, Default)]
pub struct Request {
    pub address: u16,
    pub write: Option<u8>,
    pub cycle: Cycle,
}

/// What a chip remembers.
#[derive(Debug, Clone, Default)]
struct Memory {
    latch: [bool; 8],
    row: u16,
    column: u16,
    ras: bool,
    cas: bool,
    /// Whether the last column strobe read.
    reading: bool,
    cells: HashMap<u16, u8>,
    regs: [u8; 16],
    /// What a program left in all cells that it did not write by themselves.
    fill: Option<u8>,
}

/// The machine.
pub struct Machine<'a> {
    pub w: &'a Wired,
    pub o: Overlay,
    pub supply: Supply,
    /// Net of each line: lines joined by series parts are one.
    root: Vec<usize>,
    /// Levels by net.
    net: Vec<V>,
    weak: Vec<bool>,
    pub powered: Vec<bool>,
    memory: Vec<Memory>,
    step: Step,
    request: Option<Request>,
    /// What the video chip looks at.
    fetch: Option<u16>,
    /// Lines driven from outside (test plugs, a finger on a key).
    pub outside: Vec<(usize, V)>,
    /// Key pressed: column, row.
    pub pressed: Vec<(usize, usize)>,
    /// Cartridge line that the cartridge pulls low.
    pub cartridge_mode: (V, V),
    /// Clock lines that run.
    pub running: HashSet<usize>,
    seen: Vec<(bool, bool, bool)>,
    /// Salt of what a floating bus reads as.
    pub salt: u64,
    /// Net of each pin, `NONE` where it touches nothing.
    nets: Vec<Vec<usize>>,
    /// Parts that drive something, nets that are pulled up, nets with a capacitor to ground (shorted or not).
    drivers: Vec<usize>,
    pulled: Vec<usize>,
    caps: Vec<(usize, bool)>,
    /// Levels that never change: supplies, grounds, lines held by a fault.
    fixed: Vec<(usize, V)>,
    slot: Option<Slot>,
    /// Lines that no bus cycle moves, and whether they move.
    pub special: HashMap<usize, bool>,
    /// Strobes reach the memories gate by gate, so that a row strobe made by gates is there before the address switches: boards whose
    /// strobes no step makes.
    ripple: bool,
    /// Whether the processor has set up the video chip: before, the 6845 gives no sync and no picture window, and the 6569 reads no characters.
    pub picture_set: bool,
    /// What boards with flip-flops and a 9918 have besides.
    pub aside: Aside,
    /// What passes levels beside the chips, on boards where resistors part lines.
    beside: array5c112::Beside,
}

const NONE: usize = usize::MAX;

fn mix(a: u64, b: u64) -> u64 {
    let mut x = a ^ b.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x ^= x >> 31;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^ (x >> 29)
}

/// What a read-only memory holds: some byte that depends on chip and address.
pub fn content(part: usize, address: u16) -> u8 {
    (mix(part as u64 + 77, u64::from(address)) >> 11) as u8
}

impl<'a> Machine<'a> {
    /// The board with these faults acting.
    pub fn new(w: &'a Wired, faults: &[&Fault], salt: u64) -> Self {
        let o = Overlay::of(w, faults);
        let supply = supply::of(w, &o);
        let mut root: Vec<usize> = (0..w.lines.len()).collect();
        let find = |root: &[usize], mut k: usize| {
            while root[k] != k {
                k = root[k];
            }
            k
        };
        let join = |root: &mut Vec<usize>, a: usize, b: usize| {
            let (a, b) = (find(root, a), find(root, b));
            root[a.max(b)] = a.min(b);
        };
        for part in 0..w.parts.len() {
            for (a, b) in o.joins(w, part) {
                let line = |k: usize| w.parts[part].pins[k].1.expect("joined pins are on lines");
                if !supply::is_power(w, line(a)) && !supply::is_power(w, line(b)) {
                    join(&mut root, line(a), line(b));
                }
            }
        }
        for &(a, b) in &o.bridged {
            join(&mut root, a, b);
        }
        let root: Vec<usize> = (0..w.lines.len()).map(|k| find(&root, k)).collect();
        let lines = w.lines.len();
        let mut m = Self {
            w,
            o,
            supply,
            root,
            net: vec![V::Z; lines],
            weak: vec![false; lines],
            powered: Vec::new(),
            memory: vec![Memory::default(); w.parts.len()],
            step: Step {
                stage: 0,
                cpu: true,
            },
            request: None,
            fetch: None,
            outside: Vec::new(),
            pressed: Vec::new(),
            cartridge_mode: (V::Z, V::Z),
            running: HashSet::new(),
            seen: vec![(false, false, false); lines],
            salt,
            nets: Vec::new(),
            drivers: Vec::new(),
            pulled: Vec::new(),
            caps: Vec::new(),
            fixed: Vec::new(),
            slot: None,
            special: HashMap::new(),
            ripple: w.of_kind(Kind::Z80).next().is_some(),
            picture_set: true,
            aside: Aside::default(),
            beside: array5c112::Beside::default(),
        };
        m.aside.clocked = w.of_kind(Kind::V9918).next().is_some();
        m.nets = (0..w.parts.len())
            .map(|p| {
                let pins = w.parts[p].pins.iter().enumerate();
                pins.map(|(k, pin)| {
                    pin.1
                        .filter(|_| !m.o.open[p][k])
                        .map_or(NONE, |l| m.root[l])
                })
                .collect()
            })
            .collect();
        m.powered = (0..w.parts.len()).map(|p| m.has_power(p)).collect();
        m.running = super::clocks::running(&m);
        m.prepare();
        m.prepare_aside();
        m
    }

    /// What does not change while the machine runs.
    fn prepare(&mut self) {
        for (line, name) in self.w.lines.iter().enumerate() {
            if name == "GND" {
                self.fixed.push((self.root[line], V::L));
            } else if supply::is_power(self.w, line) && self.supply.good(line) {
                self.fixed.push((self.root[line], V::H));
            }
        }
        for (line, v) in self.clamped() {
            self.fixed.push((self.root[line], v));
        }
        for &(line, v) in &self.o.held {
            self.fixed.push((self.root[line], v));
        }
        for part in 0..self.w.parts.len() {
            for k in 0..self.w.parts[part].pins.len() {
                if let (Some(v), Some(line)) = (self.o.stuck[part][k], self.w.parts[part].pins[k].1)
                {
                    self.fixed.push((self.root[line], v));
                }
            }
            self.hold_by_parts(part);
            let transistor = self.w.parts[part].kind == Kind::Inverter;
            if transistor || pins::is_chip(self.w.parts[part].kind) && self.powered[part] {
                self.drivers.push(part);
            }
        }
        self.pulled = self.pulls();
        self.caps = self.capacitors();
        self.slot = self.find_slot();
        self.prepare_beside();
    }

    fn has_power(&self, part: usize) -> bool {
        let p = &self.w.parts[part];
        let (plus, ground) = pins::supplies(p.kind);
        let ok = |numbers: &[usize], rail: bool| {
            numbers.iter().all(|n| {
                let k = self.w.pin(part, &n.to_string());
                let Some(line) = p.pins[k].1 else {
                    return true;
                };
                !self.o.is_open(part, k) && (!rail || self.supply.good(line))
            })
        };
        // Where a chip has several grounds, one is enough to run.
        let grounds = ground.iter().any(|g| ok(&[*g], false)) || ground.is_empty();
        ok(plus, true) && grounds && !self.o.dead[part]
    }

    /// Level at a pin by index: what the chip sees there. Open and undriven: `Z`.
    pub fn at(&self, part: usize, pin: usize) -> V {
        self.net.get(self.nets[part][pin]).copied().unwrap_or(V::Z)
    }

    /// Level of a line.
    pub fn level(&self, line: usize) -> V {
        self.net[self.root[line]]
    }

    /// Level at a pin by its number.
    fn pin(&self, part: usize, number: usize) -> V {
        self.at(part, self.index(part, number))
    }

    fn index(&self, part: usize, number: usize) -> usize {
        match self.w.parts[part].kind {
            Kind::Osc => self.w.pin(part, &number.to_string()),
            _ => number - 1,
        }
    }

    /// What an input takes a level for: an open one reads high (bipolar inputs do, and pull-ups are common).
    fn high(&self, part: usize, number: usize) -> bool {
        self.pin(part, number) != V::L
    }

    /// Pins of a bus, as a number, first pin the least bit; floating ones read as anything.
    fn word(&self, part: usize, numbers: &[usize], salt: u64) -> u16 {
        numbers.iter().enumerate().fold(0, |all, (k, n)| {
            let bit = match self.pin(part, *n) {
                V::L => 0,
                V::H => 1,
                V::Z => (mix(self.salt + salt, (*n as u64) << 20 | part as u64) >> 7) as u16 & 1,
            };
            all | bit << k
        })
    }

    /// Settles all lines.
    fn settle(&mut self) {
        if self.aside.clocked {
            return self.settle_clocked();
        }
        let lines = self.w.lines.len();
        let rounds = if self.ripple { 40 } else { 24 };
        let mut drives: Vec<(usize, V)> = Vec::new();
        let mut new = vec![V::Z; lines];
        for _ in 0..rounds {
            new.fill(V::Z);
            self.weak.fill(false);
            let put = |new: &mut Vec<V>, net: usize, v: V| {
                new[net] = match (new[net], v) {
                    (x, V::Z) => x,
                    (V::L, _) | (_, V::L) => V::L,
                    _ => V::H,
                };
            };
            for &(net, v) in &self.fixed {
                put(&mut new, net, v);
            }
            for &(line, v) in &self.outside {
                put(&mut new, self.root[line], v);
            }
            for &part in &self.drivers {
                drives.clear();
                self.drive(part, &mut drives);
                for &(number, v) in &drives {
                    let k = self.index(part, number);
                    let net = self.nets[part][k];
                    if net != NONE && self.o.stuck[part][k].is_none() {
                        put(&mut new, net, v);
                    }
                }
            }
            for (net, v) in self.cartridge() {
                put(&mut new, net, v);
            }
            self.pass_strong(&mut new);
            self.keys(&mut new);
            self.switches(&mut new);
            for &net in &self.pulled {
                if new[net] == V::Z {
                    new[net] = V::H;
                    self.weak[net] = true;
                }
            }
            self.pass_weak(&mut new);
            for &(net, shorted) in &self.caps {
                if new[net] == V::Z || shorted {
                    new[net] = V::L;
                }
            }
            // A shorted output wins over every driver.
            for &(net, v) in &self.fixed {
                new[net] = v;
            }
            let same = new == self.net;
            std::mem::swap(&mut new, &mut self.net);
            if self.ripple {
                self.latch_memories();
            }
            if same {
                break;
            }
        }
        self.note();
        self.latch();
    }

    fn note(&mut self) {
        for (seen, v) in self.seen.iter_mut().zip(&self.net) {
            match v {
                V::L => seen.0 = true,
                V::H => seen.1 = true,
                V::Z => seen.2 = true,
            }
        }
    }

    /// Forgets what levels were seen.
    pub fn forget(&mut self) {
        self.seen.fill((false, false, false));
    }

    /// The levels seen so far, to go back to.
    pub fn remember(&self) -> Vec<(bool, bool, bool)> {
        self.seen.clone()
    }

    /// Goes back to what was seen at [`Machine::remember`].
    pub fn recall(&mut self, seen: Vec<(bool, bool, bool)>) {
        self.seen = seen;
    }

    /// Low, high and floating seen on a line since [`Machine::forget`].
    pub fn seen(&self, line: usize) -> (bool, bool, bool) {
        self.seen[self.root[line]]
    }

    /// Whether only a pull-up holds a line.
    pub fn is_weak(&self, line: usize) -> bool {
        self.weak[self.root[line]]
    }

    /// Whether the clock at a pin runs.
    pub fn running_pin(&self, part: usize, number: usize) -> bool {
        let k = self.index(part, number);
        let Some(line) = self.w.parts[part].pins[k].1 else {
            return false;
        };
        !self.o.is_open(part, k) && self.line_runs(line)
    }

    /// Whether a clock line runs.
    pub fn line_runs(&self, line: usize) -> bool {
        self.running.contains(&self.root[line])
    }

    /// The net that a line belongs to.
    pub fn net_of(&self, line: usize) -> usize {
        self.root[line]
    }

    /// Whether an output is held by a fault.
    pub fn held(&self, part: usize, pin: usize) -> bool {
        self.o.stuck[part][pin].is_some()
    }

    /// Whether anything holds a line by force.
    pub fn line_held(&self, line: usize) -> Option<V> {
        let net = self.root[line];
        let by_line = self
            .o
            .held
            .iter()
            .find(|h| self.root[h.0] == net)
            .map(|h| h.1);
        by_line.or_else(|| {
            self.w.parts.iter().enumerate().find_map(|(part, p)| {
                (0..p.pins.len()).find_map(|k| {
                    let here = p.pins[k].1.is_some_and(|l| self.root[l] == net);
                    self.o.stuck[part][k].filter(|_| here)
                })
            })
        })
    }

    /// One cycle of the processor; what it reads.
    pub fn access(&mut self, address: u16, write: Option<u8>) -> u8 {
        self.bus(address, write, Cycle::Memory)
    }

    /// One bus cycle of a kind; what the processor reads.
    pub fn bus(&mut self, address: u16, write: Option<u8>, cycle: Cycle) -> u8 {
        if self.aside.clocked {
            return self.bus_clocked(address, write, cycle);
        }
        self.request = Some(Request {
            address,
            write,
            cycle,
        });
        for stage in 0..3 {
            self.step = Step { stage, cpu: true };
            self.settle();
        }
        // Memories answer once they have taken the column.
        self.settle();
        let cpu = self.cpu();
        let read = self.word(cpu, &self.data_pins(), u64::from(address)) as u8;
        self.request = None;
        self.step = Step {
            stage: 0,
            cpu: true,
        };
        self.settle();
        read
    }

    /// The pins of the processor's data bus, bit 0 first.
    pub fn data_pins(&self) -> [usize; 8] {
        match self.w.parts[self.cpu()].kind {
            Kind::P6502 => [33, 32, 31, 30, 29, 28, 27, 26],
            Kind::Z80 => [14, 15, 12, 8, 7, 9, 10, 13],
            _ => [37, 36, 35, 34, 33, 32, 31, 30],
        }
    }

    /// The processor.
    pub fn cpu(&self) -> usize {
        let is = |k: &Kind| matches!(k, Kind::P6502 | Kind::P6510 | Kind::Z80);
        self.w
            .parts
            .iter()
            .position(|p| is(&p.kind))
            .expect("a board has a processor")
    }

    /// One look of the video chip at an address: the levels then settled can be read with [`Machine::pins_word`].
    pub fn look(&mut self, address: u16) {
        self.fetch = Some(address);
        for stage in 0..3 {
            self.step = Step { stage, cpu: false };
            self.settle();
        }
        self.settle();
    }

    /// Ends a look of the video chip.
    pub fn look_away(&mut self) {
        self.fetch = None;
        self.step = Step {
            stage: 0,
            cpu: true,
        };
        self.settle();
    }

    /// Several pins of a part as a number.
    pub fn pins_word(&self, part: usize, numbers: &[usize], salt: u64) -> u16 {
        self.word(part, numbers, salt)
    }

    /// Level at a pin by number, for the tests.
    pub fn level_at(&self, part: usize, number: usize) -> V {
        self.pin(part, number)
    }

    /// One write cycle; what a chip sees of it in its last step: chosen, writing, register, data.
    #[allow(clippy::too_many_arguments)]
    pub fn watch(
        &mut self,
        address: u16,
        value: u8,
        part: usize,
        select: usize,
        write: Option<usize>,
        a: &[usize],
        d: &[usize],
    ) -> (bool, bool, u16, u16) {
        self.watch_at(2, address, value, part, select, write, a, d)
    }

    /// The same in a step of choice.
    #[allow(clippy::too_many_arguments)]
    pub fn watch_at(
        &mut self,
        step: u8,
        address: u16,
        value: u8,
        part: usize,
        select: usize,
        write: Option<usize>,
        a: &[usize],
        d: &[usize],
    ) -> (bool, bool, u16, u16) {
        self.request = Some(Request {
            address,
            write: Some(value),
            cycle: Cycle::Memory,
        });
        let mut seen = (true, true, 0, 0);
        for stage in 0..3 {
            self.step = Step { stage, cpu: true };
            self.settle();
            if stage == step {
                seen = (
                    select == 0 || self.pin(part, select) == V::L,
                    write.is_none_or(|n| self.pin(part, n) == V::L),
                    self.word(part, a, 11),
                    self.word(part, d, 12),
                );
            }
        }
        self.idle();
        seen
    }

    /// Settles with nobody on the bus.
    pub fn idle(&mut self) {
        self.step = Step {
            stage: 0,
            cpu: true,
        };
        self.request = None;
        self.settle();
    }
}
