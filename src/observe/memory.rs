//! Lists of failing cells: many lines, one state of the board.
//!
//! However many cells a sheet lists, they become one reading a data bit (which way it fails) and at most one of the
//! multiplexed address lines. A fault of an address line shows another cell's byte, so whole bytes differ; a fault of one chip
//! shows in its own bit. Which address line: when line `k` of the multiplexer is stuck, cells fail whose address bit `k`
//! (row) or `k + 8` (column) is not the stuck value, so all failing addresses agree in that bit.

use super::aspect::Aspect;
use super::{Evidence, Observer};
use crate::faultmap::model::Read;
use crate::infer::network::Outcome;

/// A failing cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Address.
    pub address: u32,
    /// Byte written.
    pub wrote: u8,
    /// Byte read back.
    pub read: u8,
    /// Sheet and line that says so.
    pub place: (usize, usize),
}

/// Differing bits in a cell from which on it looks like another cell's byte (a single chip differs in one bit, two chips
/// in two; bytes of a test pattern that belong to different addresses differ in four bits on average).
const WHOLE_BYTE: u32 = 4;

/// What a list of cells comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// For each data bit: how often it read 1 for 0, and 0 for 1.
    pub bits: [(usize, usize); 8],
    /// Cells whose whole byte looks like another's.
    pub whole: usize,
    /// Cells in all.
    pub cells: usize,
    /// The lowest failing address is above the first one tested. A test walks upwards and lists its first failures, so the
    /// cells below passed; a line stuck high, or a whole multiplexer gone, would have failed at the very first.
    pub starts_late: bool,
    /// Address bits that are 1 in every failing address, and those that are 0 in every one.
    pub always: (u32, u32),
}

/// Sums up a list of cells of a memory that is tested from this address on.
pub fn pattern(cells: &[Cell], from: u32) -> Pattern {
    let mut p = Pattern {
        bits: [(0, 0); 8],
        whole: 0,
        cells: cells.len(),
        always: (!0, !0),
        starts_late: cells.iter().all(|c| c.address > from),
    };
    for c in cells {
        let differ = c.wrote ^ c.read;
        for (bit, (ones, zeros)) in p.bits.iter_mut().enumerate() {
            if differ >> bit & 1 == 1 {
                if c.read >> bit & 1 == 1 {
                    *ones += 1
                } else {
                    *zeros += 1
                }
            }
        }
        p.whole += usize::from(differ.count_ones() >= WHOLE_BYTE);
        p.always = (p.always.0 & c.address, p.always.1 & !c.address);
    }
    p
}

impl Pattern {
    /// Whether the cells look like those of other addresses rather than like single bad chips.
    pub fn looks_like_address(&self) -> bool {
        self.cells > 0 && self.whole * 10 >= self.cells * 8
    }

    /// How well address line `k` of a multiplexed array (rows 0–7, columns 8–15) fits the failing addresses.
    ///
    /// 1 when they all have one of its address bits set, 0.3 when they all have it clear (which few typed low addresses
    /// have anyway), else 0.02: guesses that only need to be in this order.
    pub fn fits_line(&self, k: u32) -> f64 {
        let bits = 1 << k | 1 << (k + 8);
        if self.always.0 & bits != 0 {
            1.0
        } else if self.always.1 & bits != 0 && !self.starts_late {
            0.3
        } else {
            0.02
        }
    }
}

impl Observer<'_> {
    /// The cells of the run that ends, as readings.
    pub(super) fn cells(&mut self, run: usize) {
        let cells = std::mem::take(&mut self.cells);
        let Some(first) = cells.first() else { return };
        let keep = (self.sheet, self.line);
        (self.sheet, self.line) = first.place;
        self.test_ran(run);
        let p = pattern(&cells, self.model.memory.as_ref().map_or(0, |m| m.from));
        if p.looks_like_address() {
            self.address_pattern(&p);
        } else {
            self.bit_pattern(&cells, &p);
        }
        (self.sheet, self.line) = keep;
    }

    fn address_pattern(&mut self, p: &Pattern) {
        let mut reads = Vec::new();
        for check in self
            .model
            .checks
            .iter()
            .filter(|c| c.id.starts_with("memory."))
        {
            let line = check
                .id
                .strip_prefix("memory.address.")
                .and_then(|k| k.parse::<u32>().ok());
            // A single chip does not change whole bytes; eight bad ones do, but then every address fails.
            let weight = line.map_or(0.005, |k| p.fits_line(k));
            reads.extend(check.reads.iter().map(|r| Read {
                node: r.node,
                weight: r.weight * weight as f32,
            }));
        }
        // A line whose address bits take both values among the failing cells is followed: it moves.
        let moves: Vec<(String, Vec<Read>)> = (0..8)
            .filter(|&k| p.fits_line(k) < 0.1)
            .filter_map(|k| self.model.check(&format!("memory.address.{k}")))
            .map(|c| (c.id.clone(), c.reads.clone()))
            .collect();
        let ids: Vec<String> = self
            .model
            .checks
            .iter()
            .filter(|c| c.id.starts_with("memory."))
            .map(|c| c.id.clone())
            .collect();
        for id in ids {
            self.mark(&id);
        }
        let text = format!("{} cells hold the bytes of other addresses", p.cells);
        for (id, reads) in moves {
            let text = "failing cells follow this address line".to_string();
            self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
        }
        self.check(
            "memory.aliasing",
            &reads,
            Aspect::Trouble,
            Outcome::Fail,
            text,
        );
    }

    fn bit_pattern(&mut self, cells: &[Cell], p: &Pattern) {
        for (bit, &(ones, zeros)) in p.bits.iter().enumerate().filter(|(_, n)| n.0 + n.1 > 0) {
            let id = format!("memory.bit.{bit}");
            let Some(reads) = self.model.check(&id).map(|c| c.reads.clone()) else {
                continue;
            };
            let (aspect, word) = match (ones, zeros) {
                (_, 0) => (Aspect::High, "reads 1 for 0"),
                (0, _) => (Aspect::Low, "reads 0 for 1"),
                _ => (Aspect::Trouble, "reads wrong both ways"),
            };
            let shows = |c: &&Cell| (c.wrote ^ c.read) >> bit & 1 == 1;
            let place = cells
                .iter()
                .find(shows)
                .map_or((self.sheet, self.line), |c| c.place);
            (self.sheet, self.line) = place;
            let text = format!("data bit {bit} {word} in {} cells", ones + zeros);
            // 'bit 3 bad' and cells that say which way are one reading: the cells say it better.
            let run = self.run;
            let earlier = self.out.readings.iter().position(|r| {
                matches!(&r.evidence, Evidence::Check(c) if c.check == id && c.run == run && c.outcome == Outcome::Fail)
            });
            match earlier {
                Some(i) => {
                    let better = self.effects(&reads, aspect);
                    if let Evidence::Check(c) = &mut self.out.readings[i].evidence {
                        c.effects = better;
                    }
                }
                None => self.check(&id, &reads, aspect, Outcome::Fail, text),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(address: u32, wrote: u8, read: u8) -> Cell {
        Cell {
            address,
            wrote,
            read,
            place: (0, 1),
        }
    }

    #[test]
    fn one_chip_shows_in_its_bit() {
        let p = pattern(&[cell(0x4000, 0x55, 0x5D), cell(0x4002, 0x55, 0x5D)], 0);
        assert_eq!(p.bits[3], (2, 0));
        assert!(!p.looks_like_address());
    }

    #[test]
    fn an_address_line_shows_whole_bytes() {
        let p = pattern(
            &[
                cell(0x0004, 0x55, 0xAA),
                cell(0x0005, 0xAA, 0x55),
                cell(0x000C, 0x55, 0xAA),
            ],
            0,
        );
        assert!(p.looks_like_address());
        assert_eq!(p.fits_line(2), 1.0);
        assert!(p.fits_line(0) < 0.5 && p.fits_line(4) < 1.0);
    }
}
