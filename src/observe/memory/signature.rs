//! How probable a list of failing cells is, given what is wrong: a normalised distribution over all lists of that length.
//!
//! A test walks through the bank and lists what fails; a person types the first few lines, mostly, or some of them.
//!
//! P(lines | fault) = Σ over patterns and effects of P(effect) · Σ over ways of typing of
//!   P(way) · Π (1 − q · P(cell passed over fails)) · Π q · P(line)      walking, every failing cell typed with q
//!   P(way) · Π P(line) / F                                             any of the F failing cells
//!
//! A walk goes cell by cell, hence it sums to one over all lists. Long stretches of cells are judged by an even sample of `SAMPLE` of them.

use super::effect::{Effect, Reads, alike, fails, predict};
use super::few::Few;
use super::layout::Bank;
use super::pattern::Pattern;
use super::seen::Seen;
use super::walk::{SOME, Walk, blocked_below};
use std::sync::LazyLock;

/// One line: address, byte written, byte read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Address.
    pub address: u32,
    /// Byte written.
    pub wrote: u8,
    /// Byte read.
    pub read: u8,
}

/// A list as typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct List {
    /// The lines, those that read right among them.
    pub lines: Vec<Line>,
    /// `n more`.
    pub more: Option<u32>,
    /// It is said that there is nothing more.
    pub complete: bool,
}

/// Cells of a bank that are looked at to know how many fail.
const SPREAD: u32 = 64;
/// P(the first lines were typed, upwards; some of the first, upwards; the first, downwards; any lines at all) (guesses).
const WALKS: [f64; 4] = [0.55, 0.2, 0.1, 0.15];
/// No theory has fewer failing cells, of all: a slip of one bit in typing.
pub(super) const FEWEST: f64 = 0.9 * super::effect::SLIP;

/// One way to explain a list: bits reached, and what is done to them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Theory {
    /// Data bits reached.
    pub lanes: u8,
    /// What is done to them.
    pub effect: Effect,
}

/// How a list ends.
#[derive(Debug, Clone, Copy)]
pub struct Ends {
    /// `n more`.
    pub more: Option<u32>,
    /// It is said that there is nothing more.
    pub complete: bool,
}

/// ln P(lines of the list, at most 64 | theory, pattern), as far as the bits of the theory go. Lines that read right in these bits
/// were not listed for them: they only count as read right.
pub fn ln_likelihood(theory: Theory, pattern: Pattern, bank: &Bank, list: &List) -> f64 {
    let mut seen = Seen::new(bank, &list.lines);
    let ends = Ends {
        more: list.more,
        complete: list.complete,
    };
    let bytes = Bytes::of(theory, pattern, &mut seen, f64::NEG_INFINITY);
    bytes.map_or(f64::NEG_INFINITY, |b| b.ln_likelihood(&mut seen, ends))
}

/// A theory with what it says of the bytes of a list, before the cells that the list passes over are looked at: most theories
/// contradict a list within a line or two.
pub struct Bytes {
    /// The theory.
    pub theory: Theory,
    pattern: Pattern,
    /// ln P(lines that read right in the bits of the theory).
    right: f64,
    /// ln P(the others).
    read: f64,
    /// The most that is still to come.
    more: f64,
}

/// Logarithms of [`WALKS`]: as they are, of a test that goes upwards, of one that goes downwards.
static LN_WALKS: LazyLock<[[f64; 4]; 3]> = LazyLock::new(|| {
    let [first, some, down, any] = WALKS;
    let up = [first + down, some, 0.0, any];
    let falling = [0.0, 0.0, first + some + down, any];
    [WALKS, up, falling].map(|ways| ways.map(f64::ln))
});

impl Bytes {
    /// `None` when it is clear that the [likelihood](ln_likelihood) lies below `least`.
    pub fn of(theory: Theory, pattern: Pattern, seen: &mut Seen, least: f64) -> Option<Self> {
        let Theory { lanes, effect } = theory;
        let (mut right, mut read) = (0.0, 0.0);
        let bank = seen.bank;
        let more = seen.more;
        for (l, count) in seen.kinds(theory, pattern).iter() {
            let p = predict(effect, lanes, pattern, bank, l.address, l.wrote);
            let ln = count * p.of(l.read, lanes).ln();
            if (l.read ^ l.wrote) & lanes == 0 {
                right += ln;
            } else {
                read += ln;
            }
            if right + read + more < least {
                return None;
            }
        }
        Some(Self {
            theory,
            pattern,
            right,
            read,
            more,
        })
    }

    /// No [likelihood](ln_likelihood) is above this.
    pub fn at_most(&self) -> f64 {
        self.right + self.read + self.more
    }

    /// [`ln_likelihood`].
    pub fn ln_likelihood(&self, seen: &mut Seen, ends: Ends) -> f64 {
        let Bytes {
            theory,
            pattern,
            right,
            read,
            ..
        } = *self;
        let route = seen.route(theory.lanes);
        let at = &route.1.at;
        if at.is_empty() && !ends.complete {
            return right;
        }
        let mut walk = Walk::new(theory, pattern, seen.bank);
        let many = walk.failing();
        let n = at.len() as f64;
        let ways = match pattern {
            p if p.marches_up() => LN_WALKS[1],
            p if p.marches_down() => LN_WALKS[2],
            _ => LN_WALKS[0],
        };
        let n_some = n * SOME.ln();
        let any = if ends.complete {
            f64::NEG_INFINITY
        } else {
            read - n * many.ln()
        };
        // A walk that comes below 'any lines at all' by so much may stop anywhere.
        let least = any + ways[3] - NO_DIGIT;
        let enough = [least - ways[0] - read, least - ways[1] - read - n_some];
        // Blocks are counted in each stretch, see `Walk::passed`.
        let block = walk.is_block();
        let [all, some] = match at.first() {
            Some(&first) if route.1.rises && !ends.complete && !block => {
                walk.up_by_kind(first, &seen.passed(&route, theory, pattern), enough)
            }
            _ => walk.up(at, ends.complete, enough),
        };
        let down = walk.down(&route.1.reversed, ends.complete, least - ways[2] - read);
        walk.keep();
        let told = [all + read, some + read + n_some, down + read, any];
        let sum = ln_sum(told.iter().zip(ways).map(|(l, w)| l + w));
        right + sum + count(ends.more, at.len(), many, seen.bank)
    }
}

/// What is less by so much (in nats) changes no digit of a sum.
pub(super) const NO_DIGIT: f64 = 45.0;

/// ln Σ exp.
pub fn ln_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    let exp = |d: f64| if d < -NO_DIGIT { 0.0 } else { d.exp() };
    top + terms.map(|t| exp(t - top)).sum::<f64>().ln()
}

/// How many cells fail.
pub fn failing(theory: Theory, pattern: Pattern, bank: &Bank) -> f64 {
    let Theory { lanes, effect } = theory;
    let n = bank.cells();
    if n <= SPREAD {
        return (bank.from..=bank.to)
            .map(|a| fails(effect, lanes, pattern, bank, a))
            .sum();
    }
    if let Effect::Block { mask, value, reads } = effect {
        let cells = blocked_below(mask, value, bank.to + 1) - blocked_below(mask, value, bank.from);
        let p = match (reads, pattern.at(value)) {
            (Reads::Any, _) | (_, None) => 0.5,
            _ => fails(effect, lanes, pattern, bank, value | bank.from & !mask),
        };
        let slips = f64::from(n) * super::effect::SLIP * f64::from(lanes.count_ones());
        return cells * p + slips;
    }
    let step = n / SPREAD;
    let sample = (0..SPREAD).map(|i| bank.from + i * step + (i * 0x35) % step);
    let mut known: Few<u64, f64> = Few::default();
    let mut of = |a: u32| {
        let code = alike(effect, pattern, bank, a);
        known.get(code, || fails(effect, lanes, pattern, bank, a))
    };
    let sum: f64 = sample.map(&mut of).sum();
    sum / f64::from(SPREAD) * f64::from(n)
}

/// ln P(how many more there are): within a factor of two or so, since a test may pass several times and a person may round (guess).
fn count(more: Option<u32>, typed: usize, many: f64, bank: &Bank) -> f64 {
    let Some(more) = more else { return 0.0 };
    let of = |n: f64| (n + 1.0).log2();
    let most = of(2.0 * f64::from(bank.cells())).ceil();
    let middle = of(many);
    // The weight of bin b is e^-|b - middle|: below the middle and above it they are geometric series.
    let weight = |bin: f64| -(bin - middle).abs();
    let series = |first: f64, bins: f64| {
        let ratio = (-1.0f64).exp();
        weight(first).exp() * -(-bins).exp_m1() / (1.0 - ratio)
    };
    let last_below = middle.floor().min(most);
    let all = series(last_below, last_below + 1.0) + series(last_below + 1.0, most - last_below);
    let seen = of(f64::from(more) + typed as f64).round().min(most);
    weight(seen) - all.ln()
}
