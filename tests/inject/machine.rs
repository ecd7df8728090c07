//! The board as a network of lines that chips drive by their data sheets, settled step by step for each bus cycle.

use super::array;
use super::faults::{Fault, What};
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

/// What the processor puts on the bus.
#[derive(Debug, Clone, Copy, Default)]
pub struct Request {
    pub address: u16,
    pub write: Option<u8>,
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
}

/// Faults laid over the wiring.
pub struct Overlay {
    open: Vec<Vec<bool>>,
    stuck: Vec<Vec<Option<V>>>,
    dead: Vec<bool>,
    blocks: HashSet<(usize, &'static str)>,
    broken: HashSet<(usize, String)>,
    pub keys: HashSet<(usize, usize, bool)>,
    pub break_key: bool,
    held: Vec<(usize, V)>,
    bridged: Vec<(usize, usize)>,
    pub shorted: Vec<usize>,
}

impl Overlay {
    /// Of the faults that act.
    pub fn of(w: &Wired, faults: &[&Fault]) -> Self {
        let mut o = Self {
            open: w.parts.iter().map(|p| vec![false; p.pins.len()]).collect(),
            stuck: w.parts.iter().map(|p| vec![None; p.pins.len()]).collect(),
            dead: vec![false; w.parts.len()],
            blocks: HashSet::new(),
            broken: HashSet::new(),
            keys: HashSet::new(),
            break_key: false,
            held: Vec::new(),
            bridged: Vec::new(),
            shorted: Vec::new(),
        };
        for f in faults {
            match &f.what {
                What::PinOpen { part, pin } => o.open[*part][*pin] = true,
                What::Stuck { part, pin, high } => o.stuck[*part][*pin] = Some(V::of(*high)),
                What::Dead { part } => o.dead[*part] = true,
                What::Short { part } => {
                    o.dead[*part] = true;
                    o.shorted.push(*part);
                }
                What::Block { part, block } => {
                    o.blocks.insert((*part, block));
                }
                What::Broken { part, how } => {
                    o.broken.insert((*part, how.clone()));
                }
                What::Key { column, row, stuck } => {
                    o.keys.insert((*column, *row, *stuck));
                }
                What::BreakKey => o.break_key = true,
                What::LineHeld { line, high } => o.held.push((*line, V::of(*high))),
                What::Bridged { a, b } => o.bridged.push((*a, *b)),
            }
        }
        o
    }

    /// Whether a pin (index) is open.
    pub fn is_open(&self, part: usize, pin: usize) -> bool {
        self.open[part][pin]
    }

    /// Whether a block of a chip is gone.
    pub fn block(&self, part: usize, block: &'static str) -> bool {
        self.blocks.contains(&(part, block))
    }

    /// Whether a passive part is broken in this way.
    pub fn broken(&self, part: usize, how: &str) -> bool {
        self.broken.contains(&(part, how.to_string()))
    }

    /// Pairs of pins (indices) that a part joins for direct current and is still joining.
    pub fn joins(&self, w: &Wired, part: usize) -> Vec<(usize, usize)> {
        let pairs: &[(usize, usize, &str)] = match w.parts[part].kind {
            Kind::Wire => &[(0, 1, "open")],
            Kind::TwoWire => &[(0, 1, "open 1"), (2, 3, "open 2")],
            Kind::Switch => &[(0, 1, "open 1"), (3, 4, "open 2")],
            Kind::PackIsolated => &[
                (0, 1, "open 1"),
                (2, 3, "open 2"),
                (4, 5, "open 3"),
                (6, 7, "open 4"),
            ],
            _ => &[],
        };
        pairs
            .iter()
            .filter(|(a, b, how)| {
                let pin = |k: usize| w.parts[part].pins[k].1.is_some() && !self.open[part][k];
                pin(*a) && pin(*b) && !self.broken(part, how)
            })
            .map(|&(a, b, _)| (a, b))
            .collect()
    }
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
}

const NONE: usize = usize::MAX;

/// The cartridge slot: nets by line, `NONE` where no contact touches.
struct Slot {
    cart: usize,
    selects: [usize; 4],
    supply: [usize; 2],
    modes: [usize; 2],
    address: [usize; 13],
    data: [usize; 8],
}

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
        };
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
            if pins::is_chip(self.w.parts[part].kind) && self.powered[part] {
                self.drivers.push(part);
            }
        }
        self.pulled = self.pulls();
        self.caps = self.capacitors();
        self.slot = self.find_slot();
    }

    fn find_slot(&self) -> Option<Slot> {
        let cart = self.w.of_kind(Kind::Cartridge).next()?;
        let net = |line: &str| {
            let touching = self.slot_pin(line).map(|(slot, pins)| {
                pins.into_iter()
                    .map(|k| self.nets[slot][k])
                    .find(|n| *n != NONE)
            });
            touching.flatten().unwrap_or(NONE)
        };
        Some(Slot {
            cart,
            selects: ["ROMH_N", "ROML_N", "CART_N", "RDPH_N"].map(net),
            supply: ["+5V", "GND"].map(net),
            modes: ["GAME_N", "EXROM_N"].map(net),
            address: std::array::from_fn(|k| net(&format!("A{k}"))),
            data: std::array::from_fn(|k| net(&format!("D{k}"))),
        })
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
        let lines = self.w.lines.len();
        let mut drives: Vec<(usize, V)> = Vec::new();
        let mut new = vec![V::Z; lines];
        for _ in 0..24 {
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
            self.keys(&mut new);
            self.switches(&mut new);
            for &net in &self.pulled {
                if new[net] == V::Z {
                    new[net] = V::H;
                    self.weak[net] = true;
                }
            }
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

    /// Low, high and floating seen on a line since [`Machine::forget`].
    pub fn seen(&self, line: usize) -> (bool, bool, bool) {
        self.seen[self.root[line]]
    }

    /// A pressed key joins its column to its row.
    fn keys(&self, new: &mut [V]) {
        let stuck = self.o.keys.iter().filter(|k| k.2).map(|k| (k.0, k.1));
        let pressed = self
            .pressed
            .iter()
            .copied()
            .filter(|k| !self.o.keys.contains(&(k.0, k.1, false)));
        if self.pressed.is_empty() && self.o.keys.is_empty() {
            return;
        }
        let unit = self.w.of_kind(Kind::Keyboard).next();
        let Some(unit) = unit.filter(|&u| !self.o.broken(u, "unplugged")) else {
            return;
        };
        for (column, row) in pressed.chain(stuck) {
            let (a, b) = (self.w.columns[column], self.w.rows[row]);
            let cut = |how: String, line: usize| self.o.broken(unit, &how) || self.plug_open(line);
            if cut(format!("column {column}"), a) || cut(format!("row {row}"), b) {
                continue;
            }
            let (a, b) = (self.root[a], self.root[b]);
            let low = new[a] == V::L || new[b] == V::L;
            if low {
                new[a] = V::L;
                new[b] = V::L;
            }
        }
    }

    /// Whether the keyboard's plug is open at the pin of this line.
    fn plug_open(&self, line: usize) -> bool {
        let headers = self
            .w
            .of_kind(Kind::Connector)
            .filter(|&c| self.w.parts[c].pins.len() == 20);
        headers
            .flat_map(|c| self.w.pins_on(c, line).into_iter().map(move |k| (c, k)))
            .any(|(c, k)| self.o.is_open(c, k))
    }

    /// Closed analogue switches make two lines one.
    fn switches(&self, new: &mut [V]) {
        for &part in self
            .drivers
            .iter()
            .filter(|&&p| self.w.parts[p].kind == Kind::C4066)
        {
            for (a, b, control) in [(1, 2, 13), (3, 4, 5), (8, 9, 6), (10, 11, 12)] {
                let (x, y) = (self.nets[part][a - 1], self.nets[part][b - 1]);
                if x == NONE || y == NONE || self.pin(part, control) != V::H {
                    continue;
                }
                let both = match (new[x], new[y]) {
                    (V::Z, v) | (v, V::Z) => v,
                    (V::H, V::H) => V::H,
                    _ => V::L,
                };
                new[x] = both;
                new[y] = both;
            }
        }
    }

    /// Pull-ups to a supply that is there. Ports of an adapter and of the keyboard pull up by themselves.
    fn pulls(&self) -> Vec<usize> {
        let mut out = Vec::new();
        let mut pull = |line: usize| out.push(self.root[line]);
        for (part, p) in self.w.parts.iter().enumerate() {
            let end = |k: usize| p.pins[k].1.filter(|_| !self.o.is_open(part, k));
            match p.kind {
                Kind::PullUp if !self.o.broken(part, "open") => {
                    if let (Some(a), Some(b)) = (end(0), end(1)) {
                        let (supply, line) = if supply::is_power(self.w, a) {
                            (a, b)
                        } else {
                            (b, a)
                        };
                        if self.supply.good(supply) {
                            pull(line);
                        }
                    }
                }
                Kind::PackBussed if !self.o.broken(part, "open all") => {
                    let Some(common) = end(0) else { continue };
                    for k in 1..p.pins.len() {
                        if self.o.broken(part, &format!("open {k}")) || !self.supply.good(common) {
                            continue;
                        }
                        end(k).map(&mut pull);
                    }
                }
                // Port pins of the interface adapter hold themselves up, and so do select lines of gates.
                Kind::A6526 if self.powered[part] => {
                    (1..17)
                        .chain([17, 38, 39])
                        .filter_map(end)
                        .for_each(&mut pull);
                }
                _ => {}
            }
        }
        out
    }

    /// A capacitor to ground that nothing charges stays empty; a shorted one holds its line low.
    fn capacitors(&self) -> Vec<(usize, bool)> {
        let mut out = Vec::new();
        for (part, p) in self.w.parts.iter().enumerate() {
            if !matches!(p.kind, Kind::Cap | Kind::TimingCap) || self.o.broken(part, "open") {
                continue;
            }
            let end = |k: usize| p.pins[k].1.filter(|_| !self.o.is_open(part, k));
            let (Some(a), Some(b)) = (end(0), end(1)) else {
                continue;
            };
            let ground = |l: usize| self.w.lines[l] == "GND";
            let line = if ground(a) { b } else { a };
            if !(ground(a) || ground(b)) || super::supply::is_power(self.w, line) {
                continue;
            }
            out.push((self.root[line], self.o.broken(part, "short")));
        }
        out
    }

    /// Whether only a pull-up holds a line.
    pub fn is_weak(&self, line: usize) -> bool {
        self.weak[self.root[line]]
    }

    /// What latches and memories take over once a step has settled.
    fn latch(&mut self) {
        for d in 0..self.drivers.len() {
            let part = self.drivers[d];
            match self.w.parts[part].kind {
                Kind::L373 if self.high(part, 11) => {
                    let d = [3, 4, 7, 8, 13, 14, 17, 18].map(|n| self.high(part, n));
                    self.memory[part].latch = d;
                }
                Kind::M4164 => self.latch_memory(part),
                Kind::M2114 if self.powered[part] => self.write_static(part),
                Kind::A6526 if self.powered[part] && self.step.stage == 2 => {
                    self.write_adapter(part)
                }
                _ => {}
            }
        }
    }

    fn latch_memory(&mut self, part: usize) {
        let address = self.word(
            part,
            &[5, 7, 6, 12, 11, 10, 13, 9],
            u64::from(self.memory[part].row),
        );
        let (ras, cas) = (self.pin(part, 4) == V::L, self.pin(part, 15) == V::L);
        let write = self.pin(part, 3) == V::L;
        let data = u8::from(self.pin(part, 2) == V::H);
        let row_fault = self.o.block(part, "row");
        let m = &mut self.memory[part];
        if ras && !m.ras {
            m.row = if row_fault { address & !4 } else { address };
        }
        if cas && !m.cas && ras {
            m.column = address;
            m.reading = !write;
            if write {
                m.cells.insert(m.row << 8 | m.column, data);
            }
        }
        m.ras = ras;
        m.cas = cas;
    }

    /// A cell as it reads.
    fn cell(&self, part: usize) -> bool {
        let m = &self.memory[part];
        let address = m.row << 8 | m.column;
        let stored = m.cells.get(&address).copied();
        let random = mix(part as u64, u64::from(address)) >> 9 & 1;
        let value = stored.map_or(random == 1, |v| v == 1);
        let weak = mix(part as u64 + 5, u64::from(address)) % 3 == 0;
        if self.o.block(part, "cells low") {
            return false;
        }
        if self.o.block(part, "cells high") {
            return true;
        }
        if weak && (self.o.block(part, "cells") || self.o.block(part, "warm")) {
            return !value;
        }
        value
    }

    fn write_static(&mut self, part: usize) {
        if self.pin(part, 8) != V::L || self.pin(part, 10) != V::L {
            return;
        }
        let address = self.word(part, &[5, 6, 7, 4, 3, 2, 1, 17, 16, 15], 3);
        let data = self.word(part, &[14, 13, 12, 11], u64::from(address)) as u8;
        self.memory[part].cells.insert(address, data);
    }

    fn adapter_selected(&self, part: usize) -> bool {
        let ok = self.powered[part] && !self.o.block(part, "core");
        ok && self.pin(part, 23) == V::L
            && self.step.cpu
            && self.running_pin(part, 25)
            && self.pin(part, 34) == V::H
    }

    fn write_adapter(&mut self, part: usize) {
        if !self.adapter_selected(part) || self.high(part, 22) {
            return;
        }
        let register = self.word(part, &[38, 37, 36, 35], 1) as usize;
        let data = self.word(part, &[33, 32, 31, 30, 29, 28, 27, 26], 2) as u8;
        self.memory[part].regs[register] = data;
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
        self.request = Some(Request { address, write });
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
            _ => [37, 36, 35, 34, 33, 32, 31, 30],
        }
    }

    /// The processor.
    pub fn cpu(&self) -> usize {
        let is = |k: &Kind| matches!(k, Kind::P6502 | Kind::P6510);
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

    /// What a part drives in this step, by pin number. The table of the whole board.
    fn drive(&self, part: usize, out: &mut Vec<(usize, V)>) {
        match self.w.parts[part].kind {
            Kind::P6502 | Kind::P6510 => self.drive_cpu(part, out),
            Kind::V6569 => self.drive_6569(part, out),
            Kind::V6845 => self.drive_6845(out),
            Kind::Array => self.drive_array(part, out),
            Kind::A6526 => self.drive_adapter(part, out),
            Kind::M4164 => {
                let m = &self.memory[part];
                if m.cas && m.reading && self.pin(part, 15) == V::L {
                    out.push((14, V::of(self.cell(part))));
                }
            }
            Kind::M2114 => self.drive_static(part, out),
            Kind::R2364 | Kind::R2332 | Kind::R27128 => self.drive_rom(part, out),
            Kind::L74 => self.drive_divider(part, out),
            Kind::T556 => self.drive_timer(part, out),
            _ => self.drive_logic(part, out),
        }
    }

    fn drive_logic(&self, p: usize, out: &mut Vec<(usize, V)>) {
        let i = |n: usize| self.high(p, n);
        match self.w.parts[p].kind {
            Kind::L04 => [(1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12)]
                .iter()
                .for_each(|&(a, y)| out.push((y, V::of(!i(a))))),
            Kind::L06 => [(1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12)]
                .iter()
                .filter(|g| i(g.0))
                .for_each(|&(_, y)| out.push((y, V::L))),
            Kind::L08 => [(1, 2, 3), (4, 5, 6), (9, 10, 8), (12, 13, 11)]
                .iter()
                .for_each(|&(a, b, y)| out.push((y, V::of(i(a) && i(b))))),
            Kind::L32 => [(1, 2, 3), (4, 5, 6), (9, 10, 8), (12, 13, 11)]
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
                    _ => s.stage % 2 == 0,
                };
                out.push((n, V::of(v != inverted)));
            }
        }
    }

    fn cpu_runs(&self, part: usize) -> bool {
        let reset = self.pin(part, 40) == V::H;
        let clock = match self.w.parts[part].kind {
            Kind::P6502 => self.running_pin(part, 37),
            _ => self.running_pin(part, 1),
        };
        let ready = self.pin(part, 2) != V::L;
        reset && clock && ready && !self.o.block(part, "core")
    }

    /// For a look at what a machine does wrong.
    pub fn debug_levels(&self, names: &[&str]) -> String {
        names
            .iter()
            .map(|n| format!("{n}={:?} ", self.level(self.w.line(n))))
            .collect()
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
        // The bus warning goes low while it reads characters.
        out.push((12, V::of(self.fetch.is_none())));
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
        let window = self.step.stage < 2;
        out.push((18, V::of(window)));
        for n in [39, 40] {
            out.push((n, V::of(self.step.stage == 1)));
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
            if self.o.block(part, block) && address % 3 != 0 {
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

    /// Pins of the cartridge connector by line.
    pub fn slot_pin(&self, line: &str) -> Option<(usize, Vec<usize>)> {
        let slot = self
            .w
            .of_kind(Kind::Connector)
            .find(|&c| self.w.parts[c].pins.len() == 44)?;
        Some((slot, self.w.pins_on(slot, self.w.find_line(line)?)))
    }

    /// What the cartridge drives, as its contacts bring it: net and level.
    fn cartridge(&self) -> Vec<(usize, V)> {
        let Some(slot) = &self.slot else {
            return Vec::new();
        };
        let level = |net: usize| self.net.get(net).copied().unwrap_or(V::Z);
        let mut out = Vec::new();
        for (net, v) in slot
            .modes
            .into_iter()
            .zip([self.cartridge_mode.0, self.cartridge_mode.1])
        {
            if net != NONE {
                out.push((net, v));
            }
        }
        let [high, low, select, read] = slot.selects.map(|n| level(n) == V::L);
        if !(high || low || select && read)
            || level(slot.supply[0]) != V::H
            || level(slot.supply[1]) != V::L
        {
            return out;
        }
        let address = slot
            .address
            .iter()
            .enumerate()
            .fold(0u16, |a, (k, n)| a | u16::from(level(*n) != V::L) << k);
        let mut value = content(slot.cart, address);
        if self.o.broken(slot.cart, "bad") {
            value ^= 0x21;
        }
        for (k, &net) in slot.data.iter().enumerate().filter(|d| *d.1 != NONE) {
            out.push((net, V::of(value >> k & 1 == 1)));
        }
        out
    }
}
