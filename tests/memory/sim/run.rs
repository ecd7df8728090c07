//! Runs a test on a memory with a fault.
//!
//! Faults of address lines tie a few addresses together; so the operations on those few are carried out in their true order, and
//! nothing else of the memory is needed. `whole` does all addresses together, to prove that this gives the same.

use super::fault::{Fault, Level, Rest, Side};
use super::hash;
use super::march::{Op, Order, Test};
use super::wiring::Bank;
use std::collections::HashMap;

/// One read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// Element of the test.
    pub element: usize,
    /// Operation in it.
    pub op: usize,
    pub address: u32,
    pub wrote: u8,
    pub read: u8,
    /// Bits that chance decided.
    pub chance: u8,
}

impl Seen {
    pub fn fails(&self) -> bool {
        self.wrote != self.read
    }

    /// Whether it fails whatever chance does.
    pub fn must_fail(&self) -> bool {
        (self.wrote ^ self.read) & !self.chance != 0
    }
}

/// A test on a memory with a fault.
#[derive(Clone, Copy)]
pub struct Run<'a> {
    pub bank: &'a Bank,
    pub test: &'a Test,
    pub fault: Fault,
    pub warm: bool,
    pub seed: u64,
}

/// A cell array as far as it was touched: bytes by row and column, one bit a data bit.
struct Array {
    cells: HashMap<(u32, u32), u8>,
    seed: u64,
}

impl Array {
    /// Contents from power-on look random.
    fn get(&self, at: (u32, u32)) -> u8 {
        let start = || hash([self.seed, u64::from(at.0) << 16 | u64::from(at.1), 1]) as u8;
        self.cells.get(&at).copied().unwrap_or_else(start)
    }

    fn put(&mut self, at: (u32, u32), byte: u8, lanes: u8) {
        let old = self.get(at);
        self.cells.insert(at, old & !lanes | byte & lanes);
    }
}

/// P(a cell has lost its charge in the pause), in 256ths.
const DECAYED: u64 = 220;
/// P(a slow chip is late), in 256ths.
const LATE: u64 = 80;

impl Run<'_> {
    /// All reads of the addresses that share cells with this one, as far as they are of this one.
    pub fn reads(&self, address: u32) -> Vec<Seen> {
        let group = self.bank.varied(address, self.fault.lines(self.bank));
        let mut all = self.together(&group);
        all.retain(|s| s.address == address);
        all
    }

    /// All reads, with every address in its order.
    pub fn whole(&self) -> Vec<Seen> {
        let group: Vec<u32> = (self.bank.from..=self.bank.to).collect();
        self.together(&group)
    }

    fn together(&self, group: &[u32]) -> Vec<Seen> {
        let mut array = Array {
            cells: HashMap::new(),
            seed: self.seed,
        };
        let mut out = Vec::new();
        for (e, element) in self.test.elements.iter().enumerate() {
            if self.test.pause == Some(e) {
                self.decay(&mut array, group);
            }
            let down = element.order == Order::Down;
            for i in 0..group.len() {
                let address = group[if down { group.len() - 1 - i } else { i }];
                for (op, what) in element.ops.iter().enumerate() {
                    let when = (e as u64) << 32 | (op as u64) << 24;
                    match *what {
                        Op::Write(v) => {
                            self.write(&mut array, address, self.test.data.byte(address, v), when)
                        }
                        Op::Read(v) => {
                            let wrote = self.test.data.byte(address, v);
                            let (read, chance) = self.read(&array, address, wrote, when, (e, op));
                            let element = e;
                            out.push(Seen {
                                element,
                                op,
                                address,
                                wrote,
                                read,
                                chance,
                            });
                        }
                    }
                }
            }
        }
        out
    }

    /// Row and column that the struck chips see.
    fn struck(&self, address: u32, when: u64) -> (u32, u32) {
        let (row, column) = self.bank.cell(address);
        let noise = |which: u64| hash([self.seed ^ when, u64::from(address), which]) as u32;
        match self.fault {
            Fault::Line {
                lines, side, level, ..
            } => {
                let set = |v: u32, which| match level {
                    Level::Low => v & !lines,
                    Level::High => v | lines,
                    Level::Noise => v & !lines | lines & noise(which),
                };
                match side {
                    Side::Both => (set(row, 7), set(column, 8)),
                    Side::Row => (set(row, 7), column),
                    Side::Column => (row, set(column, 8)),
                }
            }
            Fault::LineBridge {
                lines: (a, b),
                high,
                ..
            } => {
                let join = |v: u32| {
                    let both = 1 << a | 1 << b;
                    let up = if high {
                        v & both != 0
                    } else {
                        v & both == both
                    };
                    if up { v | both } else { v & !both }
                };
                (join(row), join(column))
            }
            _ => (row, column),
        }
    }

    fn scope(&self) -> u8 {
        match self.fault {
            Fault::DataStuck { lane: lanes, .. }
            | Fault::DataOpen { lanes, .. }
            | Fault::DataBridge { lanes, .. }
            | Fault::Block { lanes, .. }
            | Fault::Line { lanes, .. }
            | Fault::LineBridge { lanes, .. }
            | Fault::Strobe { lanes, .. }
            | Fault::Write { lanes }
            | Fault::Refresh { lanes }
            | Fault::Slow { lanes } => lanes,
        }
    }

    fn write(&self, array: &mut Array, address: u32, byte: u8, when: u64) {
        let lanes = self.scope();
        let lost = matches!(self.fault, Fault::Write { .. } | Fault::Strobe { .. });
        let byte = match self.fault {
            Fault::DataBridge { lanes, high } => join(byte, lanes, high),
            Fault::DataStuck { lane, high: true } => byte | lane,
            Fault::DataStuck { lane, high: false } => byte & !lane,
            _ => byte,
        };
        array.put(self.bank.cell(address), byte, !lanes);
        if !lost {
            array.put(self.struck(address, when), byte, lanes);
        }
    }

    /// The byte read and the bits that chance decided.
    fn read(
        &self,
        array: &Array,
        address: u32,
        wrote: u8,
        when: u64,
        at: (usize, usize),
    ) -> (u8, u8) {
        let lanes = self.scope();
        let noise = hash([self.seed ^ when, u64::from(address), 3]);
        let rest = |rest| match rest {
            Rest::High => 0xFF,
            Rest::Low => 0,
            Rest::Bus => (address >> 8) as u8,
        };
        let (byte, chance) = match self.fault {
            Fault::DataStuck { high, .. } => (if high { 0xFF } else { 0 }, 0),
            Fault::DataOpen { rest: r, .. } | Fault::Strobe { rest: r, .. } => (rest(r), 0),
            Fault::DataBridge { lanes, high } => {
                (join(array.get(self.bank.cell(address)), lanes, high), 0)
            }
            Fault::Block {
                row, column, level, ..
            } => {
                let (r, c) = self.bank.cell(address);
                let hit = row.is_none_or(|x| x == r) && column.is_none_or(|x| x == c);
                match level {
                    _ if !hit => (array.get((r, c)), 0),
                    Level::Low => (0, 0),
                    Level::High => (0xFF, 0),
                    Level::Noise => (noise as u8, 0xFF),
                }
            }
            Fault::Line {
                level: Level::Noise,
                ..
            } => {
                // Another cell, or one that no write has met yet.
                (array.get(self.struck(address, when)), 0xFF)
            }
            Fault::Line { .. } | Fault::LineBridge { .. } => {
                (array.get(self.struck(address, when)), 0)
            }
            Fault::Write { .. } => (array.get(self.bank.cell(address)), 0xFF),
            Fault::Refresh { .. } => {
                let byte = array.get(self.bank.cell(address));
                // What was charged may have held or not, once there was a pause.
                let paused = self.test.pause.is_some_and(|p| at.0 >= p);
                (
                    byte,
                    if paused {
                        wrote ^ self.fallen(address)
                    } else {
                        0
                    },
                )
            }
            Fault::Slow { .. } => {
                let own = array.get(self.bank.cell(address));
                match self.before(address, at).filter(|_| self.warm) {
                    Some(last) if noise & 0xFF < LATE => (last, own ^ last),
                    Some(last) => (own, own ^ last),
                    None => (own, 0),
                }
            }
        };
        let sound = array.get(self.bank.cell(address));
        (byte & lanes | sound & !lanes, chance & lanes)
    }

    /// The byte that the read before this one should have given.
    fn before(&self, address: u32, (element, op): (usize, usize)) -> Option<u8> {
        let e = &self.test.elements[element];
        let earlier = e.ops[..op].iter().rev().find_map(|o| match *o {
            Op::Read(v) => Some(self.test.data.byte(address, v)),
            Op::Write(_) => None,
        });
        let neighbour = match e.order {
            Order::Down => address.checked_add(1).filter(|&a| a <= self.bank.to),
            _ => address.checked_sub(1).filter(|&a| a >= self.bank.from),
        };
        let last = e.ops.iter().rev().find_map(|o| match *o {
            Op::Read(v) => Some(v),
            Op::Write(_) => None,
        });
        earlier.or_else(|| Some(self.test.data.byte(neighbour?, last?)))
    }

    /// To what the cells of a row fall back: half of the array holds its bits inverted.
    fn fallen(&self, address: u32) -> u8 {
        let (row, _) = self.bank.cell(address);
        let top = 1 << (self.bank.pairs.len() - 1);
        if row & (top >> 1) != 0 { 0xFF } else { 0 }
    }

    fn decay(&self, array: &mut Array, group: &[u32]) {
        let Fault::Refresh { lanes } = self.fault else {
            return;
        };
        for &a in group {
            let lost = (0..8).filter(|i| hash([self.seed, u64::from(a), 16 + i]) & 0xFF < DECAYED);
            let lost = lost.fold(0u8, |m, i| m | 1 << i);
            array.put(self.bank.cell(a), self.fallen(a), lost & lanes);
        }
    }

    /// Addresses in the order of an element.
    pub fn order(&self, element: usize) -> Box<dyn Iterator<Item = u32>> {
        let (from, to) = (self.bank.from, self.bank.to);
        match self.test.elements[element].order {
            Order::Down => Box::new((from..=to).rev()),
            _ => Box::new(from..=to),
        }
    }

    /// Whether anything at this address can be wrong.
    pub fn reaches(&self, address: u32) -> bool {
        match self.fault {
            Fault::Block { row, column, .. } => {
                let (r, c) = self.bank.cell(address);
                row.is_none_or(|x| x == r) && column.is_none_or(|x| x == c)
            }
            _ => true,
        }
    }

    /// The first failing reads, in the order in which the test meets them.
    pub fn first(&self, n: usize) -> Vec<Seen> {
        if !matches!(self.fault, Fault::Block { .. }) && !self.shows() {
            return Vec::new();
        }
        let mut known: HashMap<u32, Vec<Seen>> = HashMap::new();
        let mut out = Vec::new();
        for e in 0..self.test.elements.len() {
            if self.test.elements[e]
                .ops
                .iter()
                .all(|o| matches!(o, Op::Write(_)))
            {
                continue;
            }
            for a in self.order(e).filter(|&a| self.reaches(a)) {
                let reads = known.entry(a).or_insert_with(|| self.reads(a));
                out.extend(reads.iter().filter(|s| s.element == e && s.fails()));
                if out.len() >= n {
                    out.truncate(n);
                    return out;
                }
            }
        }
        out
    }

    /// Whether a sample of the addresses shows anything.
    fn shows(&self) -> bool {
        let n = self.bank.to - self.bank.from + 1;
        (0..256u64).any(|i| {
            let any = (hash([self.seed, i, 5]) % u64::from(n)) as u32;
            let a = self.bank.from + if n <= 256 { i as u32 % n } else { any };
            self.reads(a).iter().any(Seen::fails)
        })
    }

    /// How many failing reads there are, from a sample where they are many.
    pub fn count(&self) -> u32 {
        let n = self.bank.to - self.bank.from + 1;
        if let Fault::Block { .. } = self.fault {
            let hit = (self.bank.from..=self.bank.to).filter(|&a| self.reaches(a));
            return hit
                .map(|a| self.reads(a).iter().filter(|s| s.fails()).count() as u32)
                .sum();
        }
        let sample =
            (0..512u64).map(|i| self.bank.from + (hash([self.seed, i, 6]) % u64::from(n)) as u32);
        let bad: usize = sample
            .map(|a| self.reads(a).iter().filter(|s| s.fails()).count())
            .sum();
        (bad as u64 * u64::from(n) / 512) as u32
    }
}

fn join(byte: u8, lanes: u8, high: bool) -> u8 {
    let both = byte & lanes;
    let up = if high { both != 0 } else { both == lanes };
    if up { byte | lanes } else { byte & !lanes }
}
