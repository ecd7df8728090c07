//! What kinds of trouble a failure mode of the board stands for, as theories about the memory.
//!
//! The map says which data bits, address lines and strobes a mode reaches and how; this says what that looks like in the cells.
//! All shares are guesses unless a source stands beside them.

use super::effect::{Effect, How, Reads, SCATTERED};
use super::layout::Bank;
use super::signature::{List, Theory};
use crate::faultmap::model::Kind;

/// Where a mode strikes.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Where {
    /// Inside a memory chip, or at its pins.
    Chip {
        /// At its contacts or joints.
        contacts: bool,
        /// Comes and goes.
        flaky: bool,
    },
    /// Data lines outside the chips.
    Data,
    /// Multiplexed address lines, as a mask.
    Lines(u32),
    /// Row or column strobe of all chips.
    Strobe,
    /// Write strobe of all chips.
    Write,
    /// What refreshes all chips.
    Refresh,
}

/// What a mode does to the memory: modes with the same cause look the same in any list.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Cause {
    /// Data bits reached.
    pub lanes: u8,
    /// Where it strikes.
    pub place: Where,
    /// What it does there.
    pub kind: Kind,
}

/// A plain kind of trouble, before it is spelt out for the addresses of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Reads 0.
    Low,
    /// Reads 1.
    High,
    /// Reads anything.
    Float,
    /// Reads what the bus still holds.
    Echo,
    /// Reads the same byte everywhere.
    Constant,
    /// These address lines stand still.
    Frozen(u32),
    /// These address lines float.
    Restless(u32),
    /// Some address line at this chip.
    OwnLine,
    /// These address lines are joined.
    Joined(u32),
    /// A row is dead.
    Row,
    /// A column is dead.
    Column,
    /// A cell is dead.
    Cell,
    /// Cells here and there are wrong.
    Scattered,
    /// Gives the byte before.
    Late,
    /// Forgets.
    Decay,
    /// Two data bits are joined.
    Bridge,
    /// Nothing that is known.
    Unknown,
}

use Trouble::{
    Bridge, Cell, Column, Constant, Decay, Echo, Float, Frozen, High, Joined, Late, Low, OwnLine,
    Restless, Row, Scattered, Unknown,
};

/// What is left to faults of a part that nobody thought of.
const UNTHOUGHT: f64 = 1e-4;

/// The kinds of trouble that a cause stands for, with their shares. Causes with the same data bits and the same troubles have
/// the same [theories].
pub fn troubles(cause: &Cause) -> Vec<(f64, Trouble)> {
    let chip_wrong = [
        // A repairer's statement: more than half of the broken chips fail in a row or column only.
        (0.3, Row),
        (0.3, Column),
        (0.3, Cell),
        (0.1, Scattered),
    ];
    let open_data = [(0.4, High), (0.2, Low), (0.2, Float), (0.2, Echo)];
    let list: &[(f64, Trouble)] = match (&cause.place, cause.kind) {
        // The kinds that name a level.
        (Where::Chip { .. } | Where::Data, Kind::Low) => &[(1.0, Low)],
        (Where::Chip { .. } | Where::Data, Kind::High) => &[(1.0, High)],
        (Where::Chip { flaky: true, .. }, Kind::Wrong | Kind::Slow | Kind::Noisy) => {
            &[(0.3, Scattered), (0.4, Late), (0.3, Decay)]
        }
        // Eight of the thirteen signal pins are address pins.
        (Where::Chip { contacts: true, .. }, Kind::Lost) => &[
            (0.6, OwnLine),
            (0.15, Float),
            (0.1, High),
            (0.1, Low),
            (0.05, Echo),
        ],
        (Where::Chip { .. }, Kind::Lost) => &[
            (0.3, High),
            (0.2, Low),
            (0.2, Float),
            (0.15, OwnLine),
            (0.15, Echo),
        ],
        (Where::Chip { .. }, Kind::Wrong) => &chip_wrong,
        (Where::Chip { .. }, _) => &[(0.7, Scattered), (0.3, Late)],
        (Where::Data, Kind::Wrong) if cause.lanes.count_ones() == 2 => {
            &[(0.8, Bridge), (0.2, Scattered)]
        }
        (Where::Data, Kind::Lost) if cause.lanes.count_ones() > 1 => &[
            (0.3, High),
            (0.1, Low),
            (0.1, Float),
            (0.3, Echo),
            (0.2, Constant),
        ],
        (Where::Data, Kind::Lost) => &open_data,
        (Where::Data, _) => &[(0.6, Scattered), (0.4, Late)],
        (Where::Lines(mask), Kind::Wrong) if mask.count_ones() == 2 => {
            return shared(&[(0.8, Joined(*mask)), (0.2, Restless(*mask))]);
        }
        (Where::Lines(mask), Kind::Low | Kind::High) => return shared(&[(1.0, Frozen(*mask))]),
        (Where::Lines(mask), Kind::Lost) => {
            return shared(&[(0.7, Frozen(*mask)), (0.3, Restless(*mask))]);
        }
        (Where::Lines(mask), _) => return shared(&[(0.8, Restless(*mask)), (0.2, Scattered)]),
        (Where::Strobe, _) => &[
            (0.35, High),
            (0.1, Low),
            (0.1, Float),
            (0.25, Echo),
            (0.2, Constant),
        ],
        // No write ever gets in: contents from power-on, or whatever it held.
        (Where::Write, _) => &[(0.7, Float), (0.1, Low), (0.1, High), (0.1, Constant)],
        (Where::Refresh, _) => &[(0.9, Decay), (0.1, Float)],
    };
    shared(list)
}

fn shared(list: &[(f64, Trouble)]) -> Vec<(f64, Trouble)> {
    let known = list.iter().map(|&(w, t)| (w * (1.0 - UNTHOUGHT), t));
    known.chain([(UNTHOUGHT, Unknown)]).collect()
}

/// Banks up to this size are spelt out cell by cell: the sum over all lists can then be checked.
const SMALL: u32 = 64;

/// The theories of a cause about a list, with their shares. Those whose cells are not in the list cannot explain it and are left
/// out, except in a small bank.
pub fn theories(cause: &Cause, bank: &Bank, list: &List) -> Vec<(f64, Theory)> {
    let mut out = Vec::new();
    for (share, trouble) in troubles(cause) {
        let effects = effects(trouble, cause, bank, list);
        let of = |(w, effect)| {
            let lanes = cause.lanes;
            (share * w, Theory { lanes, effect })
        };
        out.extend(effects.into_iter().map(of));
    }
    out
}

fn effects(trouble: Trouble, cause: &Cause, bank: &Bank, list: &List) -> Vec<(f64, Effect)> {
    match trouble {
        Low => vec![(1.0, Effect::Same(0))],
        High => vec![(1.0, Effect::Same(0xFF))],
        Float => vec![(1.0, Effect::Float)],
        Echo => vec![(1.0, Effect::Echo)],
        Unknown => vec![(1.0, Effect::Unknown)],
        Late => vec![(1.0, Effect::Late)],
        Scattered => SCATTERED
            .map(|q| (1.0 / 3.0, Effect::Scattered(q)))
            .to_vec(),
        Decay => decays(bank),
        Bridge => [false, true]
            .map(|high| {
                let lanes = cause.lanes;
                (0.5, Effect::Bridge { lanes, high })
            })
            .to_vec(),
        Constant => constants(cause.lanes, bank, list),
        Frozen(lines) => frozen(lines, bank, How::Frozen),
        Restless(lines) => frozen(lines, bank, How::Restless),
        OwnLine => {
            let n = bank.lines.len() as f64;
            let each = (0..bank.lines.len()).flat_map(|k| {
                let (f, r) = (
                    frozen(1 << k, bank, How::Frozen),
                    frozen(1 << k, bank, How::Restless),
                );
                let f = f.into_iter().map(|(w, e)| (0.7 * w / n, e));
                f.chain(r.into_iter().map(|(w, e)| (0.3 * w / n, e)))
                    .collect::<Vec<_>>()
            });
            each.collect()
        }
        Joined(lines) => joined(lines, bank),
        Row => blocks(bank.row_bits(), cause.lanes, bank, list),
        Column => blocks(bank.column_bits(), cause.lanes, bank, list),
        Cell => blocks(
            bank.row_bits() | bank.column_bits(),
            cause.lanes,
            bank,
            list,
        ),
    }
}

/// The same byte at every address: those that the list shows, of all that there are.
fn constants(lanes: u8, bank: &Bank, list: &List) -> Vec<(f64, Effect)> {
    let share = 0.5f64.powi(lanes.count_ones() as i32);
    let mut bytes: Vec<u8> = if bank.cells() <= SMALL {
        (0..=255).filter(|b| b & !lanes == 0).collect()
    } else {
        list.lines.iter().map(|l| l.read & lanes).collect()
    };
    bytes.sort_unstable();
    bytes.dedup();
    bytes
        .into_iter()
        .map(|b| (share, Effect::Same(b)))
        .collect()
}

/// P(of a line that carries a row and a column bit, both are struck); else one side of the multiplexer is (guess).
const BOTH_SIDES: f64 = 0.9;

fn frozen(lines: u32, bank: &Bank, how: How) -> Vec<(f64, Effect)> {
    let chosen = || {
        bank.lines
            .iter()
            .enumerate()
            .filter(|(k, _)| lines >> k & 1 == 1)
    };
    let row = chosen().fold(0, |m, (_, l)| m | l.row);
    let column = chosen().fold(0, |m, (_, l)| m | l.column);
    let both = row | column;
    if row == 0 || column == 0 {
        return vec![(1.0, Effect::Alias(both, how))];
    }
    let side = (1.0 - BOTH_SIDES) / 2.0;
    vec![
        (BOTH_SIDES, Effect::Alias(both, how)),
        (side, Effect::Alias(row, how)),
        (side, Effect::Alias(column, how)),
    ]
}

fn joined(lines: u32, bank: &Bank) -> Vec<(f64, Effect)> {
    let chosen = || {
        bank.lines
            .iter()
            .enumerate()
            .filter(|(k, _)| lines >> k & 1 == 1)
    };
    let pair = |of: fn(&super::layout::Line) -> u32| {
        let m = chosen().fold(0, |m, (_, l)| m | of(l));
        if m.count_ones() == 2 { m } else { 0 }
    };
    let pairs = [pair(|l| l.row), pair(|l| l.column)];
    [false, true]
        .map(|high| (0.5, Effect::Joined { pairs, high }))
        .to_vec()
}

/// P(a chip holds all its bits the same way round); else by one of its row bits (guess).
const ONE_WAY: f64 = 0.3;

fn decays(bank: &Bank) -> Vec<(f64, Effect)> {
    let rows = bank.row_bits();
    let n = f64::from(rows.count_ones());
    let bits = (0..32).map(|i| 1 << i).filter(|b| rows & b != 0);
    let by_row = bits.map(|mask| ((1.0 - ONE_WAY) / n, mask));
    [(ONE_WAY, 0)]
        .into_iter()
        .chain(by_row)
        .flat_map(|(w, mask)| [false, true].map(|high| (w / 2.0, Effect::Decay { mask, high })))
        .collect()
}

/// Rows, columns or cells: those of the list.
fn blocks(mask: u32, lanes: u8, bank: &Bank, list: &List) -> Vec<(f64, Effect)> {
    let n = f64::from(mask.count_ones()).exp2();
    let mut values: Vec<u32> = if bank.cells() <= SMALL {
        (bank.from..=bank.to).map(|a| a & mask).collect()
    } else {
        let failing = list
            .lines
            .iter()
            .filter(|l| (l.read ^ l.wrote) & lanes != 0);
        failing.map(|l| l.address & mask).collect()
    };
    values.sort_unstable();
    values.dedup();
    let reads = [(0.4, Reads::Low), (0.4, Reads::High), (0.2, Reads::Any)];
    let of = |value: u32| reads.map(|(w, reads)| (w / n, Effect::Block { mask, value, reads }));
    values.into_iter().flat_map(of).collect()
}

/// What an effect is called on the bench.
pub fn words(effect: Effect) -> &'static str {
    match effect {
        Effect::Same(0) => "always reads 0",
        Effect::Same(0xFF) => "always reads 1",
        Effect::Same(_) => "reads the same everywhere",
        Effect::Float => "takes no writes, or nothing drives it",
        Effect::Echo => "nothing drives the data lines",
        Effect::Alias(..) => "several addresses share a cell",
        Effect::Joined { .. } => "two address lines are joined",
        Effect::Block { mask, .. } if mask.count_ones() <= 8 => "a row or column of cells is dead",
        Effect::Block { .. } => "a single cell is dead",
        Effect::Scattered(_) => "scattered cells fail",
        Effect::Late => "too slow: gives the byte before",
        Effect::Decay { .. } => "forgets between refreshes",
        Effect::Bridge { .. } => "two data bits are joined",
        Effect::Unknown => "no known picture",
    }
}
