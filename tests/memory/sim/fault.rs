//! Structural faults of a memory, and what a repairer would have to find.

use super::wiring::Bank;

/// What an input that nothing drives gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rest {
    High,
    Low,
    /// What was on the bus before: the high byte of the address (a processor that fetches it last).
    Bus,
}

/// What a dead cell, row or column gives, or how a line misbehaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    Low,
    High,
    Noise,
}

/// The sides of a multiplexed line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Both,
    Row,
    Column,
}

/// A fault. `lanes`: data bits of one chip, or all of the bank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    DataStuck {
        lane: u8,
        high: bool,
    },
    DataOpen {
        lanes: u8,
        rest: Rest,
    },
    DataBridge {
        lanes: u8,
        high: bool,
    },
    /// Row, column, or cell where both are given.
    Block {
        lanes: u8,
        row: Option<u32>,
        column: Option<u32>,
        level: Level,
    },
    /// Address lines, as a mask: one, or those of a multiplexer; at the row strobe only, the column strobe only, or both.
    Line {
        lanes: u8,
        lines: u32,
        side: Side,
        level: Level,
    },
    LineBridge {
        lanes: u8,
        lines: (u32, u32),
        high: bool,
    },
    /// Row or column strobe.
    Strobe {
        lanes: u8,
        column: bool,
        rest: Rest,
    },
    Write {
        lanes: u8,
    },
    Refresh {
        lanes: u8,
    },
    Slow {
        lanes: u8,
    },
}

/// The place to find.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Answer {
    /// The chip in this place of the bank, or its data line.
    Chip(usize),
    /// Two data lines joined.
    Bridge(u8),
    Line(u32),
    /// Those of a multiplexer, as a mask.
    Lines(u32),
    LineBridge(u32, u32),
    /// Several chips, each in its own bit, as data bits.
    Several(u8),
    /// All data lines.
    Data,
    Strobe,
    Write,
    Refresh,
}

impl Answer {
    /// The class of fault.
    pub fn class(self) -> &'static str {
        match self {
            Answer::Chip(_) | Answer::Several(_) => "chip or data bit",
            Answer::Bridge(_) => "data bits joined",
            Answer::Line(_) | Answer::Lines(_) => "address line",
            Answer::LineBridge(..) => "address lines joined",
            Answer::Strobe | Answer::Write | Answer::Data => "shared by all chips",
            Answer::Refresh => "refresh",
        }
    }
}

impl Fault {
    /// What a repairer has to find.
    pub fn answer(self, bank: &Bank) -> Answer {
        use Fault::*;
        let all = (0..bank.sockets.len()).fold(0, |m, c| m | bank.lanes(c));
        let lanes = match self {
            DataOpen { lanes, .. } if lanes == all => return Answer::Data,
            DataStuck { lane: lanes, .. } | DataOpen { lanes, .. } => lanes,
            DataBridge { lanes, .. } => return Answer::Bridge(lanes),
            Block { lanes, .. } => lanes,
            Line { lanes, lines, .. } if lanes == all => match lines.count_ones() {
                1 => return Answer::Line(lines.trailing_zeros()),
                _ => return Answer::Lines(lines),
            },
            LineBridge { lanes, lines, .. } if lanes == all => {
                return Answer::LineBridge(lines.0.min(lines.1), lines.0.max(lines.1));
            }
            Strobe { lanes, .. } if lanes == all => return Answer::Strobe,
            Write { lanes } if lanes == all => return Answer::Write,
            Refresh { lanes } if lanes == all => return Answer::Refresh,
            Line { lanes, .. }
            | LineBridge { lanes, .. }
            | Strobe { lanes, .. }
            | Write { lanes }
            | Refresh { lanes }
            | Slow { lanes } => lanes,
        };
        Answer::Chip(bank.chip_of(lanes))
    }

    /// Address bits of the lines that it strikes.
    pub fn lines(self, bank: &Bank) -> u32 {
        match self {
            Fault::Line { lines, .. } => {
                let struck = (0..bank.pairs.len() as u32).filter(|k| lines >> k & 1 == 1);
                struck.fold(0, |m, k| m | bank.on_line(k))
            }
            Fault::LineBridge { lines, .. } => bank.on_line(lines.0) | bank.on_line(lines.1),
            _ => 0,
        }
    }

    /// Every fault of every kind in a bank, with rows, columns and cells only where these addresses are.
    pub fn all(bank: &Bank, addresses: &[u32]) -> Vec<Fault> {
        let mut out = Vec::new();
        let chips = bank.sockets.len();
        let all = (0..chips).fold(0, |m, c| m | bank.lanes(c));
        let levels = [Level::Low, Level::High, Level::Noise];
        let rests = [Rest::High, Rest::Low, Rest::Bus];
        for lane in (0..8).map(|i| 1u8 << i).filter(|l| l & all != 0) {
            out.extend([false, true].map(|high| Fault::DataStuck { lane, high }));
            out.extend(rests.map(|rest| Fault::DataOpen { lanes: lane, rest }));
            if bank.own_data && lane << 1 & all != 0 && lane != 0x80 {
                let lanes = lane | lane << 1;
                out.extend([false, true].map(|high| Fault::DataBridge { lanes, high }));
            }
        }
        let mut scopes: Vec<u8> = (0..chips).map(|c| bank.lanes(c)).collect();
        let singles: Vec<u8> = (0..8).map(|i| 1 << i).filter(|l| l & all != 0).collect();
        for lanes in scopes
            .iter()
            .chain(&singles)
            .copied()
            .collect::<std::collections::BTreeSet<u8>>()
        {
            for &a in addresses {
                let (row, column) = bank.cell(a);
                for level in levels {
                    for (row, column) in [
                        (Some(row), None),
                        (None, Some(column)),
                        (Some(row), Some(column)),
                    ] {
                        let f = Fault::Block {
                            lanes,
                            row,
                            column,
                            level,
                        };
                        if !out.contains(&f) {
                            out.push(f);
                        }
                    }
                }
            }
        }
        scopes.push(all);
        out.extend(rests.map(|rest| Fault::DataOpen { lanes: all, rest }));
        for lines in bank.multiplexers() {
            let (lanes, side) = (all, Side::Both);
            let both = [Level::Low, Level::Noise];
            out.extend(both.map(|level| Fault::Line {
                lanes,
                lines,
                side,
                level,
            }));
        }
        for lanes in scopes {
            for line in 0..bank.pairs.len() as u32 {
                for side in [Side::Both, Side::Row, Side::Column] {
                    let lines = 1 << line;
                    out.extend(levels.map(|level| Fault::Line {
                        lanes,
                        lines,
                        side,
                        level,
                    }));
                }
            }
            for &lines in &bank.beside {
                out.extend([false, true].map(|high| Fault::LineBridge { lanes, lines, high }));
            }
            for column in [false, true] {
                out.extend(rests.map(|rest| Fault::Strobe {
                    lanes,
                    column,
                    rest,
                }));
            }
            if lanes != all || bank.own_write {
                out.push(Fault::Write { lanes });
            }
            out.push(Fault::Refresh { lanes });
            if lanes != all {
                out.push(Fault::Slow { lanes });
            }
        }
        out
    }
}
