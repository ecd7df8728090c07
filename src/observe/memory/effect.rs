//! What a fault makes of the bytes of a memory, cell by cell.
//!
//! Sources: a stuck multiplexed line freezes one row and one column bit, so that four addresses share a cell
//! (computed from the addressing of the 4164 and 41464, `rows x columns` of their data sheets); fault models as in van de Goor,
//! Testing Semiconductor Memories (1991): stuck-at, address decoder, coupling. The remaining figures are guesses and say so.

use super::layout::Bank;
use super::pattern::Pattern;
use std::sync::LazyLock;

/// P(one bit of a typed byte is a slip): one in ten thousand (guess, as for any typed result).
pub const SLIP: f64 = 1e-4;
/// P(a cell that is not refreshed has lost its charge when it is read) (guess).
const DECAYED: f64 = 0.9;
/// P(a chip that is too slow still gives the byte read before it) (guess).
const LATE: f64 = 0.3;
/// P(a cell is wrong), of scattered ones (guesses).
pub const SCATTERED: [f64; 3] = [1e-3, 0.03, 0.3];

/// How an address line misbehaves that no longer follows the processor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum How {
    /// Always at the same level: which one cannot be seen, the same addresses share a cell.
    Frozen,
    /// Floats: a level of its own at each access.
    Restless,
}

/// What cells of a dead block read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reads {
    /// 0.
    Low,
    /// 1.
    High,
    /// Either.
    Any,
}

/// What a fault does to the data bits that it reaches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effect {
    /// Every cell reads this byte (in the bits reached).
    Same(u8),
    /// Reads anything: open output, or contents from power-on that no write changes.
    Float,
    /// Nothing drives the bus: it still holds the high byte of the address, the last byte that the processor fetched.
    Echo,
    /// These address bits do not reach the cells.
    Alias(u32, How),
    /// Two address lines joined, as pairs of address bits (row, column); the low level wins, or the high one.
    Joined {
        /// Pairs of address bits, each as one mask of two bits (0: none).
        pairs: [u32; 2],
        /// The high level wins.
        high: bool,
    },
    /// The cells with these address bits.
    Block {
        /// Address bits that count.
        mask: u32,
        /// Their value.
        value: u32,
        /// What they read.
        reads: Reads,
    },
    /// Each cell of its own wrong with this probability.
    Scattered(f64),
    /// Now and then the byte of the address read before.
    Late,
    /// Cells fall back to this level, and to the other where this address bit is set (0: to the same everywhere): chips hold
    /// half of their bits inverted (common practice, no source).
    Decay {
        /// Address bit, as a mask.
        mask: u32,
        /// Level where it is clear.
        high: bool,
    },
    /// Two data bits joined; the low level wins, or the high one.
    Bridge {
        /// The two bits.
        lanes: u8,
        /// The high level wins.
        high: bool,
    },
    /// No idea: any byte.
    Unknown,
}

impl Effect {
    /// What it looks at of an address, and of those that are near or share a cell: the same for two effects only if they tell the
    /// same cells apart, see [`alike`].
    pub fn sight(self) -> Sight {
        match self {
            Effect::Same(_) | Effect::Float | Effect::Unknown => (0, 0),
            Effect::Scattered(_) | Effect::Bridge { .. } => (0, 0),
            Effect::Decay { mask, .. } => (1, mask.into()),
            Effect::Block { mask, value, .. } => (2, u64::from(mask) << 32 | u64::from(value)),
            Effect::Echo | Effect::Late | Effect::Alias(..) | Effect::Joined { .. } => {
                let (kind, what) = self.code();
                (3 + kind, what)
            }
        }
    }

    /// A number of its own for each effect.
    pub fn code(self) -> (u8, u64) {
        let two = |a: u32, b: u32| u64::from(a) << 32 | u64::from(b);
        match self {
            Effect::Same(byte) => (0, byte.into()),
            Effect::Float => (1, 0),
            Effect::Echo => (2, 0),
            Effect::Late => (3, 0),
            Effect::Unknown => (4, 0),
            Effect::Scattered(q) => (5, q.to_bits()),
            Effect::Alias(bits, how) => (6 + how as u8, bits.into()),
            Effect::Decay { mask, high } => (8 + u8::from(high), mask.into()),
            Effect::Bridge { lanes, high } => (10 + u8::from(high), lanes.into()),
            Effect::Joined { pairs, high } => (12 + u8::from(high), two(pairs[0], pairs[1])),
            Effect::Block { mask, value, reads } => (14 + reads as u8, two(mask, value)),
        }
    }
}

/// What an effect looks at of an address.
pub type Sight = (u8, u64);

/// One possible reading of a cell: byte, bits that may be anything, bits that hold with [`DECAYED`] only.
#[derive(Debug, Clone, Copy, Default)]
struct Alt {
    weight: f64,
    value: u8,
    free: u8,
    soft: u8,
}

/// What a cell reads, as up to five possibilities.
#[derive(Debug, Clone, Copy)]
pub struct Prediction {
    alts: [Alt; 5],
    n: usize,
    flip: f64,
}

impl Prediction {
    fn one(value: u8, free: u8) -> Self {
        let mut alts = [Alt::default(); 5];
        alts[0] = Alt {
            weight: 1.0,
            value,
            free,
            soft: 0,
        };
        Self {
            alts,
            n: 1,
            flip: SLIP,
        }
    }

    fn two(wa: f64, a: u8, b: u8) -> Self {
        let mut p = Self::one(a, 0);
        p.alts[0].weight = wa;
        p.alts[1] = Alt {
            weight: 1.0 - wa,
            value: b,
            ..Alt::default()
        };
        p.n = 2;
        p
    }

    /// P(these bits of the byte read are so).
    pub fn of(&self, read: u8, lanes: u8) -> f64 {
        let bits = ones(lanes);
        let powers = &*POWERS;
        let other;
        let flip = match powers.flip(self.flip) {
            Some(known) => known,
            None => {
                other = Flip::new(self.flip);
                &other
            }
        };
        let of = |alt: &Alt| {
            let differ = (read ^ alt.value) & lanes;
            let free = ones(alt.free & lanes);
            let soft = alt.soft & !alt.free & lanes;
            let hard = lanes & !alt.free & !alt.soft;
            let wrong = ones(differ & hard);
            let (soft, soft_wrong) = (ones(soft), ones(differ & soft));
            let sure = bits - free - soft;
            let p = alt.weight * flip.wrong[wrong] * flip.right[sure - wrong];
            p * powers.half[free] * powers.decayed[soft - soft_wrong] * powers.held[soft_wrong]
        };
        match &self.alts[..self.n] {
            [one] => of(one),
            more => more.iter().map(of).sum(),
        }
    }
}

/// How many bits of a byte are set: without an instruction for it, which not every processor has, a table is quickest.
fn ones(byte: u8) -> usize {
    const ONES: [u8; 256] = {
        let (mut ones, mut byte) = ([0; 256], 0);
        while byte < 256 {
            ones[byte] = (byte as u8).count_ones() as u8;
            byte += 1;
        }
        ones
    };
    usize::from(ONES[usize::from(byte)])
}

/// Powers of a factor for as many bits as a byte has.
type Row = [f64; 9];

fn row(factor: f64) -> Row {
    std::array::from_fn(|n| factor.powi(n as i32))
}

/// Powers of P(a bit is flipped) and of P(it is not).
struct Flip {
    each: f64,
    wrong: Row,
    right: Row,
}

impl Flip {
    fn new(each: f64) -> Self {
        Self {
            each,
            wrong: row(each),
            right: row(1.0 - each),
        }
    }
}

/// The powers of all factors that a prediction is made of: a list of cells asks for them a million times.
struct Powers {
    flips: [Flip; 4],
    half: Row,
    decayed: Row,
    held: Row,
}

impl Powers {
    fn flip(&self, each: f64) -> Option<&Flip> {
        let mut all = self.flips.iter();
        all.find(|f| f.each.to_bits() == each.to_bits())
    }
}

static POWERS: LazyLock<Powers> = LazyLock::new(|| {
    let [a, b, c] = SCATTERED;
    Powers {
        flips: [SLIP, a, b, c].map(Flip::new),
        half: row(0.5),
        decayed: row(DECAYED),
        held: row(1.0 - DECAYED),
    }
});

/// What the bits `lanes` of the cell read, when `wrote` was written there. Bits outside `lanes` are as written.
pub fn predict(
    effect: Effect,
    lanes: u8,
    pattern: Pattern,
    bank: &Bank,
    address: u32,
    wrote: u8,
) -> Prediction {
    let mix = |byte: u8| byte & lanes | wrote & !lanes;
    match effect {
        Effect::Same(byte) => Prediction::one(mix(byte), 0),
        Effect::Float | Effect::Unknown => Prediction::one(wrote, lanes),
        Effect::Echo => Prediction::one(mix((address >> 8) as u8), 0),
        Effect::Alias(bits, How::Restless) => restless(bits, lanes, pattern, address, wrote),
        Effect::Alias(bits, How::Frozen) => aliased(
            address & !bits,
            address | bits,
            lanes,
            pattern,
            address,
            wrote,
        ),
        Effect::Joined { pairs, high } => {
            let (first, last) = joined(pairs, high, address);
            aliased(first, last, lanes, pattern, address, wrote)
        }
        Effect::Block { mask, value, reads } if address & mask == value => match reads {
            Reads::Low => Prediction::one(mix(0), 0),
            Reads::High => Prediction::one(mix(0xFF), 0),
            Reads::Any => Prediction::one(wrote, lanes),
        },
        Effect::Block { .. } => Prediction::one(wrote, 0),
        Effect::Scattered(q) => Prediction {
            flip: q,
            ..Prediction::one(wrote, 0)
        },
        Effect::Late => match pattern.at(before(pattern, bank, address)) {
            Some(byte) => Prediction::two(1.0 - LATE, wrote, mix(byte)),
            None => {
                let mut p = Prediction::two(1.0 - LATE, wrote, wrote);
                p.alts[1].free = lanes;
                p
            }
        },
        Effect::Decay { mask, high } => {
            let level = high ^ (address & mask != 0);
            let byte = if level { 0xFF } else { 0 };
            let mut p = Prediction::one(mix(byte), 0);
            p.alts[0].soft = (byte ^ wrote) & lanes;
            p
        }
        Effect::Bridge { lanes: two, high } => {
            let both = wrote & two;
            let set = if high { both != 0 } else { both == two };
            let byte = if set { two } else { 0 };
            Prediction::one(byte | wrote & !two, 0)
        }
    }
}

/// The address read before this one.
fn before(pattern: Pattern, bank: &Bank, address: u32) -> u32 {
    if pattern.marches_down() {
        address.saturating_add(1).min(bank.to)
    } else {
        address.saturating_sub(1).max(bank.from)
    }
}

/// Addresses that share a cell, of which `first` is the lowest and `last` the highest: written in order and read afterwards,
/// the cell holds the byte of the last; read and complemented in one go, all but the first read find the complement.
fn aliased(
    first: u32,
    last: u32,
    lanes: u8,
    pattern: Pattern,
    address: u32,
    wrote: u8,
) -> Prediction {
    let mix = |byte: u8| byte & lanes | wrote & !lanes;
    let visited = if pattern.marches_up() {
        address != first
    } else {
        address != last
    };
    match pattern {
        _ if !visited => Prediction::one(wrote, 0),
        p if p.marches_up() || p.marches_down() => Prediction::one(mix(!wrote), 0),
        _ => match pattern.at(last) {
            Some(byte) => Prediction::one(mix(byte), 0),
            None => Prediction::one(wrote, lanes),
        },
    }
}

/// P(a write with a restless line missed all cells that a read may find later): each of four writes into four cells misses one
/// with 3/4, so (3/4)^4.
const NEVER_WRITTEN: f64 = 0.316;

/// A line at another level with each access: any of the addresses that differ in its bits, or a cell that no write has met yet.
fn restless(bits: u32, lanes: u8, pattern: Pattern, address: u32, wrote: u8) -> Prediction {
    let mix = |byte: u8| byte & lanes | wrote & !lanes;
    let plain = |weight: f64, value: u8, free: u8| Alt {
        weight,
        value,
        free,
        soft: 0,
    };
    let mut p = Prediction::one(wrote, 0);
    p.alts[0] = plain(NEVER_WRITTEN, wrote, lanes);
    let rest = 1.0 - NEVER_WRITTEN;
    if pattern.marches_up() || pattern.marches_down() {
        p.alts[1] = plain(0.5 * rest, wrote, 0);
        p.alts[2] = plain(0.5 * rest, mix(!wrote), 0);
        p.n = 3;
        return p;
    }
    if bits.count_ones() > 4 {
        // Several lines: hardly ever the same cell again.
        p.alts[0].weight = 0.95;
        p.alts[1] = plain(0.05, wrote, 0);
        p.n = 2;
        return p;
    }
    let low = bits & bits.wrapping_neg();
    for (alt, with) in p.alts[1..].iter_mut().zip([0, low, bits & !low, bits]) {
        *alt = match pattern.at(address ^ with) {
            _ if with == 0 => plain(0.25 * rest, wrote, 0),
            Some(byte) => plain(0.25 * rest, mix(byte), 0),
            None => plain(0.25 * rest, wrote, lanes),
        };
    }
    p.n = 5;
    p
}

/// The lowest and the highest address that share the cell of this one when two lines are joined. Where the lower level wins,
/// the pair 11 is alone and 00, 01, 10 are one; where the higher wins, 00 is alone.
fn joined(pairs: [u32; 2], high: bool, address: u32) -> (u32, u32) {
    let (mut first, mut last) = (address, address);
    for pair in pairs.into_iter().filter(|p| p.count_ones() == 2) {
        let low = pair & pair.wrapping_neg();
        let top = pair & !low;
        let here = address & pair;
        if high && here != 0 {
            first = first & !pair | low;
            last |= pair;
        } else if !high && here != pair {
            first &= !pair;
            last = last & !pair | top;
        }
    }
    (first, last)
}

/// P(the bits `lanes` of the cell read wrong), when the byte written there is known from the pattern or averaged over bytes
/// when not.
pub fn fails(effect: Effect, lanes: u8, pattern: Pattern, bank: &Bank, address: u32) -> f64 {
    let of =
        |wrote: u8| 1.0 - predict(effect, lanes, pattern, bank, address, wrote).of(wrote, lanes);
    match pattern.at(address) {
        Some(wrote) => of(wrote).max(0.0),
        None => [0x00, 0xFF, 0x55, 0xAA].into_iter().map(of).sum::<f64>() / 4.0,
    }
}

/// Does something with what a pattern writes to an address, as a number: compiled for each kind of pattern by itself, since it is
/// asked for many addresses.
macro_rules! by_pattern {
    ($pattern:expr, $at:ident => $do:expr) => {
        match $pattern {
            Pattern::Constant(c) | Pattern::MarchUp(c) | Pattern::MarchDown(c) => {
                let $at = |_: u32| u64::from(c);
                $do
            }
            Pattern::Checker(c) | Pattern::MarchChecker(c) => {
                let $at = |address: u32| u64::from(if address & 1 == 0 { c } else { !c });
                $do
            }
            Pattern::Low => {
                let $at = |address: u32| u64::from(address as u8);
                $do
            }
            Pattern::Unknown => {
                let $at = |_: u32| 0x100;
                $do
            }
            other => {
                let $at = |address: u32| other.at(address).map_or(0x100, u64::from);
                $do
            }
        }
    };
}

/// A number that is the same for two cells only if they [fail](fails), and read, alike in everything but the byte written: all that
/// [`predict`] looks at of an address.
pub fn alike(effect: Effect, pattern: Pattern, bank: &Bank, address: u32) -> u64 {
    by_pattern!(pattern, at => code(effect, pattern, bank, at, address))
}

/// [`alike`] of many addresses, in their order; `codes` is emptied before.
pub fn all_alike(
    effect: Effect,
    pattern: Pattern,
    bank: &Bank,
    addresses: impl Iterator<Item = u32>,
    codes: &mut Vec<u64>,
) {
    codes.clear();
    by_pattern!(pattern, at => codes.extend(addresses.map(|a| code(effect, pattern, bank, at, a))));
}

/// [`alike`], by what the pattern writes to an address.
#[inline(always)]
fn code(
    effect: Effect,
    pattern: Pattern,
    bank: &Bank,
    at: impl Fn(u32) -> u64,
    address: u32,
) -> u64 {
    let shared = |first: u32, last: u32| {
        let visited = match pattern.marches_up() {
            true => address != first,
            false => address != last,
        };
        u64::from(visited) << 9 | at(last) << 10
    };
    at(address)
        | match effect {
            Effect::Same(_) | Effect::Float | Effect::Unknown => 0,
            Effect::Scattered(_) | Effect::Bridge { .. } => 0,
            Effect::Echo => u64::from((address >> 8) as u8) << 9,
            Effect::Block { mask, value, .. } => u64::from(address & mask == value) << 9,
            Effect::Decay { mask, .. } => u64::from(address & mask != 0) << 9,
            Effect::Late => at(before(pattern, bank, address)) << 9,
            Effect::Alias(bits, How::Frozen) => shared(address & !bits, address | bits),
            Effect::Joined { pairs, high } => {
                let (first, last) = joined(pairs, high, address);
                shared(first, last)
            }
            Effect::Alias(bits, How::Restless) => {
                let low = bits & bits.wrapping_neg();
                let others = [low, bits & !low, bits].map(|with| at(address ^ with));
                others[0] << 9 | others[1] << 18 | others[2] << 27
            }
        }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::memory::layout::banks;
    use crate::observe::memory::tests::raw;

    #[test]
    fn a_frozen_line_shows_the_byte_written_last_into_the_shared_cell() {
        let bank = &banks(&raw("M0..7", 1, 0xFFFF))[0];
        // Line 2 carries A2 and A10: 0123 shares its cell with 0127, 0523 and 0527, which is written last.
        let e = Effect::Alias(1 << 2 | 1 << 10, How::Frozen);
        let p = predict(e, 0xFF, Pattern::Low, bank, 0x0123, 0x23);
        assert!(p.of(0x27, 0xFF) > 0.99);
        assert!(fails(e, 0xFF, Pattern::Low, bank, 0x0527) < 0.01);
        assert!(fails(e, 0xFF, Pattern::Constant(0x55), bank, 0x0123) < 0.01);
        assert!(fails(e, 0xFF, Pattern::MarchUp(0x55), bank, 0x0123) < 0.01);
        assert!(fails(e, 0xFF, Pattern::MarchUp(0x55), bank, 0x0127) > 0.99);
    }

    #[test]
    fn joined_lines_share_three_of_four_cells() {
        // A0 and A1: low wins, so 0, 1 and 2 are one cell and 3 is alone.
        assert_eq!(joined([3, 0], false, 0x11), (0x10, 0x12));
        assert_eq!(joined([3, 0], false, 0x13), (0x13, 0x13));
        assert_eq!(joined([3, 0], true, 0x12), (0x11, 0x13));
        assert_eq!(joined([3, 0], true, 0x10), (0x10, 0x10));
    }

    #[test]
    fn joined_data_bits_fail_where_they_differ() {
        let bank = &banks(&raw("M0..7", 1, 0xFFFF))[0];
        let e = Effect::Bridge {
            lanes: 0b11,
            high: false,
        };
        let p = |wrote| predict(e, 0b11, Pattern::Unknown, bank, 0, wrote);
        assert!(p(0x55).of(0x54, 0xFF) > 0.99 && p(0x57).of(0x57, 0xFF) > 0.99);
    }
}
