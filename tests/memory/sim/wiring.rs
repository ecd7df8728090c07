//! Memory as wired: banks, chips, and the pair of processor address bits on each multiplexed line.

/// A bank.
#[derive(Debug, Clone)]
pub struct Bank {
    /// In front of the check names: `memory` or the name of the bank.
    pub prefix: &'static str,
    /// First address.
    pub from: u32,
    /// Last address.
    pub to: u32,
    /// Positions from data bit 0 upwards.
    pub sockets: Vec<String>,
    /// Bits a chip.
    pub width: u32,
    /// Address bit at the row strobe and at the column strobe of each line.
    pub pairs: Vec<(Option<u32>, Option<u32>)>,
    /// Address lines whose pins lie side by side at a chip.
    pub beside: Vec<(u32, u32)>,
    /// Whether two data bits can be joined without stopping the processor itself (memory has data lines of its own).
    pub own_data: bool,
    /// Whether the write line of the memory can be lost without every other write of the processor.
    pub own_write: bool,
}

impl Bank {
    /// Row and column of an address; each line's level is that of its address bit, 0 where it has none.
    pub fn cell(&self, address: u32) -> (u32, u32) {
        let of = |bit: Option<u32>, k: usize| bit.map_or(0, |b| (address >> b & 1) << k);
        let mut cell = (0, 0);
        for (k, &(row, column)) in self.pairs.iter().enumerate() {
            cell.0 |= of(row, k);
            cell.1 |= of(column, k);
        }
        cell
    }

    /// Address bits on a line.
    pub fn on_line(&self, k: u32) -> u32 {
        let (row, column) = self.pairs[k as usize];
        row.map_or(0, |b| 1 << b) | column.map_or(0, |b| 1 << b)
    }

    /// The lines of each multiplexer, as masks: four outputs each, on all boards here.
    pub fn multiplexers(&self) -> [u32; 2] {
        [0x0F, ((1 << self.pairs.len()) - 1) & 0xF0]
    }

    /// Data bits of chip `i`.
    pub fn lanes(&self, chip: usize) -> u8 {
        (((1u32 << self.width) - 1) << (chip as u32 * self.width)) as u8
    }

    /// The chip of a data bit.
    pub fn chip_of(&self, lane: u8) -> usize {
        (lane.trailing_zeros() / self.width) as usize
    }

    /// Every address of `group` varied in these bits, in order.
    pub fn varied(&self, address: u32, bits: u32) -> Vec<u32> {
        let mut all = vec![address & !bits];
        for b in (0..32).filter(|b| bits >> b & 1 == 1) {
            let with: Vec<u32> = all.iter().map(|a| a | 1 << b).collect();
            all.extend(with);
        }
        all.retain(|a| (self.from..=self.to).contains(a));
        all.sort_unstable();
        all
    }
}

/// Line k carries A(k) and A(k + step).
pub fn regular(lines: u32, step: u32, bits: u32) -> Vec<(Option<u32>, Option<u32>)> {
    (0..lines)
        .map(|k| match k {
            k if k < step => (Some(k), Some(k + step).filter(|&b| b < bits)),
            k => (Some(k + step).filter(|&b| b < bits), None),
        })
        .collect()
}
