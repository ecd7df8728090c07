//! How a board's memory is built, from its map: banks, chips, and which address bits share a multiplexed line.

use crate::faultmap::expand;
use crate::faultmap::raw::{BankRaw, MemoryRaw};

/// One bank of memory chips that share their address lines and strobes.
#[derive(Debug, Clone, PartialEq)]
pub struct Bank {
    /// Name in check identifiers, when the board has several.
    pub name: Option<String>,
    /// First address.
    pub from: u32,
    /// Last address.
    pub to: u32,
    /// Positions, from data bit 0 upwards.
    pub chips: Vec<String>,
    /// Data bits a chip gives.
    pub width: usize,
    /// The multiplexed address lines.
    pub lines: Vec<Line>,
}

/// A multiplexed address line: the address bits that it carries at the row and at the column strobe, as masks (0: none).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Address bit at the row strobe.
    pub row: u32,
    /// Address bit at the column strobe.
    pub column: u32,
}

impl Line {
    /// Both address bits.
    pub fn both(self) -> u32 {
        self.row | self.column
    }
}

impl Bank {
    /// Number of addresses.
    pub fn cells(&self) -> u32 {
        (self.to - self.from).saturating_add(1)
    }

    /// Whether an address belongs to this bank.
    pub fn contains(&self, address: u32) -> bool {
        (self.from..=self.to).contains(&address)
    }

    /// All data bits that the bank has.
    pub fn all_lanes(&self) -> u8 {
        match self.chips.len() * self.width {
            n if n >= 8 => 0xFF,
            n => (1 << n) - 1,
        }
    }

    /// Data bits of the chip in this position (0 when it is none of the bank).
    pub fn lanes_of(&self, position: &str) -> u8 {
        let at = self
            .chips
            .iter()
            .position(|c| c.eq_ignore_ascii_case(position));
        let lanes = at.map_or(0u32, |i| ((1 << self.width) - 1) << (i * self.width));
        lanes as u8
    }

    /// Address bits of the row.
    pub fn row_bits(&self) -> u32 {
        self.lines.iter().fold(0, |m, l| m | l.row)
    }

    /// Address bits of the column.
    pub fn column_bits(&self) -> u32 {
        self.lines.iter().fold(0, |m, l| m | l.column)
    }

    /// Identifier of a check of this bank: `bit.3` → `memory.bit.3`, `upper.bit.3`.
    pub fn check(&self, what: &str) -> String {
        match &self.name {
            Some(name) => format!("{name}.{what}"),
            None => format!("memory.{what}"),
        }
    }

    fn new(name: Option<&str>, raw: &BankRaw) -> Option<Self> {
        if raw.to < raw.from {
            return None;
        }
        let mut lines: Vec<Line> = raw.lines.split_whitespace().map(line).collect();
        if lines.is_empty() {
            lines = regular(raw.to - raw.from, raw.column);
        }
        Some(Self {
            name: name.map(str::to_string),
            from: raw.from,
            to: raw.to,
            chips: expand::list(&raw.bits),
            width: usize::from(raw.width.clamp(1, 8)),
            lines,
        })
    }
}

/// Line k carries A(k) and A(k + column); address bits beyond twice that have a line each.
fn regular(last: u32, column: Option<u32>) -> Vec<Line> {
    let bits = 32 - last.leading_zeros();
    let half = column.unwrap_or(bits.div_ceil(2)).clamp(1, 16);
    let of = |k: u32| if k < bits { 1 << k } else { 0 };
    let shared = (0..half).map(|k| Line {
        row: of(k),
        column: of(k + half),
    });
    let rest = (2 * half..bits).map(|k| Line {
        row: of(k),
        column: 0,
    });
    shared.chain(rest).collect()
}

/// `A0/A8`, `A14/-`, `A14`.
fn line(text: &str) -> Line {
    let bit = |t: &str| {
        let n = t.trim_start_matches(['A', 'a']).parse::<u32>().ok();
        n.filter(|&n| n < 32).map_or(0, |n| 1 << n)
    };
    let (row, column) = text.split_once('/').unwrap_or((text, "-"));
    Line {
        row: bit(row),
        column: bit(column),
    }
}

/// The banks of a board's memory.
pub fn banks(raw: &MemoryRaw) -> Vec<Bank> {
    let first = BankRaw {
        bits: raw.bits.clone(),
        width: raw.width,
        from: raw.from,
        to: raw.to,
        column: raw.column,
        lines: raw.lines.clone(),
    };
    let others = raw.others.iter();
    let others = others.filter_map(|(name, b)| Bank::new(Some(name), b));
    Bank::new(None, &first).into_iter().chain(others).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::memory::tests::raw;

    #[test]
    fn the_halves_are_the_default_and_lines_can_be_told() {
        let b = &banks(&raw("M0..7", 1, 0xFFFF))[0];
        assert_eq!(b.lines.len(), 8);
        assert_eq!(b.lines[2].both(), 1 << 2 | 1 << 10);
        assert_eq!((b.row_bits(), b.column_bits()), (0x00FF, 0xFF00));
        assert_eq!(
            (b.lanes_of("M3"), b.check("bit.3")),
            (8, "memory.bit.3".into())
        );
        let mut two = raw("U1 U2", 4, 0x7FFF);
        let upper = BankRaw {
            bits: "U3 U4".into(),
            width: 4,
            from: 0x8000,
            to: 0xFFFF,
            column: Some(7),
            lines: String::new(),
        };
        two.others.insert("upper".into(), upper);
        let b = &banks(&two)[1];
        assert_eq!(b.lines.len(), 8);
        assert_eq!((b.lines[0].both(), b.lines[7].both()), (0x81, 0x4000));
        assert_eq!((b.lanes_of("u4"), b.lanes_of("U1")), (0xF0, 0));
        assert_eq!(b.check("bit.3"), "upper.bit.3");
        two.others.get_mut("upper").unwrap().lines = "A0/A7 A14".into();
        let b = &banks(&two)[1];
        assert_eq!((b.lines[0].both(), b.lines[1].both()), (0x81, 0x4000));
    }
}
