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
use foldhash::HashMap;
use std::cell::RefCell;

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

/// Cells of a stretch that are looked at.
const SAMPLE: u32 = 8;
/// Cells of a bank that are looked at to know how many fail.
const SPREAD: u32 = 64;
/// P(the first lines were typed, upwards; some of the first, upwards; the first, downwards; any lines at all) (guesses).
const WALKS: [f64; 4] = [0.55, 0.2, 0.1, 0.15];
/// P(a failing cell is typed | some of the first lines are) (guess: a screen of sixty, of which six are typed).
const SOME: f64 = 0.1;
/// P(the test begins at the first address of the bank); else it leaves out a stretch for itself (guess).
const FROM_START: f64 = 0.5;
/// No theory has fewer failing cells, of all: a slip of one bit in typing.
const FEWEST: f64 = 0.9 * super::effect::SLIP;

/// One way to explain a list: bits reached, and what is done to them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Theory {
    /// Data bits reached.
    pub lanes: u8,
    /// What is done to them.
    pub effect: Effect,
}

/// ln P(lines of the list | theory, pattern), as far as the bits of the theory go. Lines that read right in these bits were not listed for
/// them: they only count as read right.
pub fn ln_likelihood(theory: Theory, pattern: Pattern, bank: &Bank, list: &List) -> f64 {
    let bytes = Bytes::of(theory, pattern, bank, list, f64::NEG_INFINITY);
    bytes.map_or(f64::NEG_INFINITY, |b| b.ln_likelihood(list))
}

/// A theory with what it says of the bytes of a list, before the cells that the list passes over are looked at: most theories
/// contradict a list within a line or two.
pub struct Bytes<'a> {
    /// The theory.
    pub theory: Theory,
    pattern: Pattern,
    bank: &'a Bank,
    /// ln P(lines that read right in the bits of the theory).
    right: f64,
    /// ln P(the others).
    read: f64,
    /// The most that is still to come.
    more: f64,
}

impl<'a> Bytes<'a> {
    /// `None` when it is clear that the [likelihood](ln_likelihood) lies below `least`.
    pub fn of(
        theory: Theory,
        pattern: Pattern,
        bank: &'a Bank,
        list: &List,
        least: f64,
    ) -> Option<Self> {
        let Theory { lanes, effect } = theory;
        let (mut right, mut read) = (0.0, 0.0);
        // All that is still to come is negative, but for 'any lines at all' of a bank so small that hardly a cell fails.
        let more = -(f64::from(bank.cells()) * FEWEST).ln().min(0.0) * list.lines.len() as f64;
        let mut known: Few<(u64, u8, u8), f64> = Few::default();
        for l in &list.lines {
            let code = alike(effect, pattern, bank, l.address);
            let ln = known.get((code, l.wrote, l.read), || {
                let p = predict(effect, lanes, pattern, bank, l.address, l.wrote);
                p.of(l.read, lanes).ln()
            });
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
            bank,
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
    pub fn ln_likelihood(&self, list: &List) -> f64 {
        let Bytes {
            theory,
            pattern,
            bank,
            right,
            read,
            ..
        } = *self;
        let failing = list.lines.iter();
        let failing = failing.filter(|l| (l.read ^ l.wrote) & theory.lanes != 0);
        let at: Vec<u32> = failing.map(|l| l.address).collect();
        if at.is_empty() && !list.complete {
            return right;
        }
        let mut walk = Walk::new(theory, pattern, bank);
        let many = walk.known.failing;
        let n = at.len() as f64;
        let [first, some, down, any] = WALKS;
        let ways = match pattern {
            p if p.marches_up() => [first + down, some, 0.0, any],
            p if p.marches_down() => [0.0, 0.0, first + some + down, any],
            _ => WALKS,
        };
        let ways = ways.map(f64::ln);
        let n_some = n * SOME.ln();
        let any = if list.complete {
            f64::NEG_INFINITY
        } else {
            read - n * many.ln()
        };
        // A walk that comes below 'any lines at all' by so much may stop anywhere.
        let least = any + ways[3] - NO_DIGIT;
        let enough = [least - ways[0] - read, least - ways[1] - read - n_some];
        let [all, some] = walk.up(&at, list.complete, enough);
        let reversed: Vec<u32> = at.iter().rev().copied().collect();
        let down = walk.down(&reversed, list.complete, least - ways[2] - read);
        let told = [all + read, some + read + n_some, down + read, any];
        let sum = ln_sum(told.iter().zip(ways).map(|(l, w)| l + w));
        right + sum + count(list, at.len(), many, bank)
    }
}

/// What is less by so much (in nats) changes no digit of a sum.
const NO_DIGIT: f64 = 45.0;

/// ln Σ exp.
pub fn ln_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    let exp = |d: f64| if d < -NO_DIGIT { 0.0 } else { d.exp() };
    top + terms.map(|t| exp(t - top)).sum::<f64>().ln()
}

/// For each of two ways of typing, [`TYPED`].
type Both = [f64; 2];

/// P(a failing cell is typed): by who types the first lines, by who types some of them.
const TYPED: Both = [1.0, SOME];

fn plus(a: Both, b: Both) -> Both {
    [a[0] + b[0], a[1] + b[1]]
}

fn below(a: Both, enough: Both) -> bool {
    a[0] < enough[0] && a[1] < enough[1]
}

const NEVER: Both = [f64::NEG_INFINITY; 2];

/// What a theory says of a bank whatever the list.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// How many cells fail.
    failing: f64,
    /// ln P(all cells read right) of each stretch between two places where a test may begin.
    stretches: [Both; STARTS],
}

/// Most places where a test may begin.
const STARTS: usize = 9;

/// Bank, theory and pattern.
type Key = (u32, u32, u8, (u8, u64), Pattern);

/// More are not kept (about 3 MB a thread); then it begins anew.
const MOST_KNOWN: usize = 1 << 14;

/// What was worked out so far: where it stands by its key, so that looking for it touches little memory.
#[derive(Default)]
struct Kept {
    at: HashMap<Key, u32>,
    all: Vec<Known>,
}

impl Kept {
    fn get(&self, key: &Key) -> Option<Known> {
        self.at.get(key).map(|at| self.all[*at as usize])
    }

    fn put(&mut self, key: Key, known: Known) {
        if self.all.len() >= MOST_KNOWN {
            self.at.clear();
            self.all.clear();
        }
        self.at.insert(key, self.all.len() as u32);
        self.all.push(known);
    }
}

thread_local! {
    /// The same boards come again and again, with the same theories.
    static KNOWN: RefCell<Kept> = RefCell::default();
}

struct Walk<'a> {
    theory: Theory,
    pattern: Pattern,
    bank: &'a Bank,
    known: Known,
    starts: Starts,
    /// ln of P(a cell is passed over) of the last kinds of cells: most cells of a bank are alike.
    looked: Few<u64, Both>,
    /// The same of a cell in a block, and of one outside.
    blocked: Few<u64, [Both; 2]>,
}

impl<'a> Walk<'a> {
    fn new(theory: Theory, pattern: Pattern, bank: &'a Bank) -> Self {
        let mut walk = Self {
            theory,
            pattern,
            bank,
            known: Known {
                failing: 0.0,
                stretches: [[0.0; 2]; STARTS],
            },
            starts: Starts::of(bank),
            looked: Few::default(),
            blocked: Few::default(),
        };
        // Blocks are those of the list, and counted rather than walked.
        if matches!(theory.effect, Effect::Block { .. }) {
            walk.known = walk.work_out();
            return walk;
        }
        let key = (
            bank.from,
            bank.to,
            theory.lanes,
            theory.effect.code(),
            pattern,
        );
        let found = KNOWN.with_borrow(|kept| kept.get(&key));
        walk.known = found.unwrap_or_else(|| {
            let known = walk.work_out();
            KNOWN.with_borrow_mut(|kept| kept.put(key, known));
            known
        });
        walk
    }

    fn work_out(&mut self) -> Known {
        let mut known = Known {
            failing: failing(self.theory, self.pattern, self.bank),
            stretches: [[0.0; 2]; STARTS],
        };
        let starts = self.starts;
        for (stretch, ends) in known.stretches.iter_mut().zip(starts.all().windows(2)) {
            *stretch = self.passed(ends[0], ends[1] - 1);
        }
        known
    }

    /// ln P(nothing else typed) of a list in rising order, or something below `enough`.
    fn up(&mut self, at: &[u32], complete: bool, enough: Both) -> Both {
        let Some(&last) = at.last() else {
            return self.head(self.bank.to + 1);
        };
        if !at.is_sorted_by(|a, b| a < b) {
            return NEVER;
        }
        let rest = if complete {
            self.passed(last + 1, self.bank.to)
        } else {
            [0.0; 2]
        };
        let between = self.between(at, rest, enough);
        if below(plus(between, rest), enough) {
            return plus(between, rest);
        }
        plus(plus(self.head(at[0]), between), rest)
    }

    /// The same of a list typed in falling order, which is given rising, by who types every line.
    fn down(&mut self, at: &[u32], complete: bool, enough: f64) -> f64 {
        let (Some(&lowest), Some(&highest)) = (at.first(), at.last()) else {
            return self.passed(self.bank.from, self.bank.to)[0];
        };
        if !at.is_sorted_by(|a, b| a < b) {
            return f64::NEG_INFINITY;
        }
        let rest = if complete && lowest > self.bank.from {
            self.passed(self.bank.from, lowest - 1)[0]
        } else {
            0.0
        };
        let after = self.passed(highest + 1, self.bank.to);
        after[0] + self.between(at, after, [enough, f64::INFINITY])[0] + rest
    }

    /// ln P(a cell is passed over).
    fn look(&mut self, address: u32) -> Both {
        let Theory { lanes, effect } = self.theory;
        let (pattern, bank) = (self.pattern, self.bank);
        self.looked.get(alike(effect, pattern, bank, address), || {
            let p = fails(effect, lanes, pattern, bank, address);
            TYPED.map(|typed| (-typed * p).ln_1p().max(-30.0))
        })
    }

    /// ln P(a cell is passed over): of one in the block, which has this address, and of one outside.
    fn in_and_out(&mut self, address: u32) -> [Both; 2] {
        let Theory { lanes, effect } = self.theory;
        let (pattern, bank) = (self.pattern, self.bank);
        self.blocked.get(alike(effect, pattern, bank, address), || {
            let p = fails(effect, lanes, pattern, bank, address);
            let right = (1.0 - super::effect::SLIP).powi(lanes.count_ones() as i32);
            let slip = TYPED.map(|typed| typed - typed * right);
            let inside = TYPED.map(|typed| (-(p * typed)).ln_1p().max(-30.0));
            [inside, slip.map(|slip| (-slip).ln_1p())]
        })
    }

    /// ln P(all cells of a stretch read right).
    fn passed(&mut self, from: u32, to: u32) -> Both {
        if from > to {
            return [0.0; 2];
        }
        let (n, effect) = (to - from + 1, self.theory.effect);
        if n <= 2 * SAMPLE {
            return (from..=to).fold([0.0; 2], |sum, a| plus(sum, self.look(a)));
        }
        // Blocks are small: count what of them lies in the stretch instead of hoping to hit it.
        if let Effect::Block { mask, value, .. } = effect {
            let inside = blocked_below(mask, value, to + 1) - blocked_below(mask, value, from);
            let right = f64::from(n) - inside;
            let [hit, missed] = self.in_and_out(value | from & !mask);
            return [0, 1].map(|k| inside * hit[k] + right * missed[k]);
        }
        let step = f64::from(n) / f64::from(SAMPLE);
        let sum = (0..SAMPLE).fold([0.0; 2], |sum, i| {
            // An odd offset that changes, so that no address bit is the same in all.
            let a = from + (f64::from(i) * step) as u32;
            let a = (a + (i * 0x2B) % step.max(1.0) as u32).min(to);
            plus(sum, self.look(a))
        });
        sum.map(|s| s * step)
    }

    /// ln P(nothing before the first line failed), over where the test may begin.
    fn head(&mut self, first: u32) -> Both {
        let starts = self.starts;
        let share = (1.0 - FROM_START) / (starts.count - 1) as f64;
        let (at_first, elsewhere) = (FROM_START.ln(), share.ln());
        let mut passed = [0.0; 2];
        let mut terms = [NEVER; STARTS];
        let mut end = first;
        for (i, &start) in starts.all().iter().enumerate().rev() {
            if start > first {
                continue;
            }
            if start < end {
                let stretch = if starts.all().get(i + 1) == Some(&end) {
                    self.known.stretches[i]
                } else {
                    self.passed(start, end - 1)
                };
                passed = plus(passed, stretch);
                end = start;
            }
            let weight = if i == 0 { at_first } else { elsewhere };
            terms[i] = passed.map(|p| p + weight);
        }
        [0, 1].map(|k| ln_sum(terms.iter().rev().map(|t| t[k])))
    }

    /// ln P(nothing between the lines failed), or something that together with what else was passed over is below `enough`.
    fn between(&mut self, at: &[u32], passed: Both, enough: Both) -> Both {
        let mut sum = [0.0; 2];
        for w in at.windows(2) {
            if below(plus(passed, sum), enough) {
                break;
            }
            sum = plus(sum, self.passed(w[0] + 1, w[1] - 1));
        }
        sum
    }
}

/// Where a test may begin: at the first address, or past a stretch of a power of two of a page.
#[derive(Debug, Clone, Copy)]
struct Starts {
    at: [u32; STARTS],
    count: usize,
}

impl Starts {
    fn of(bank: &Bank) -> Self {
        let page = (bank.cells() / 256).max(1);
        let mut starts = Self {
            at: [bank.from; STARTS],
            count: 1,
        };
        let more = (0..STARTS as u32 - 1).map(|k| bank.from + (page << k));
        for start in more.filter(|&a| a < bank.to) {
            starts.at[starts.count] = start;
            starts.count += 1;
        }
        starts
    }

    fn all(&self) -> &[u32] {
        &self.at[..self.count]
    }
}

/// Addresses below `end` with these bits, roughly (exact for powers of two).
fn blocked_below(mask: u32, value: u32, end: u32) -> f64 {
    // Walk the ones of `end` from the top: each means that all numbers with 0 there are below.
    let (mut count, mut prefix, mut rest) = (0.0, 0, end);
    while rest != 0 {
        let b = 1u32 << (31 - rest.leading_zeros());
        let differs = (prefix ^ value) & mask;
        // Whatever comes below, it begins otherwise.
        if differs & !(b | (b - 1)) != 0 {
            break;
        }
        if differs & b == 0 {
            count += f64::from(1u32 << ((b - 1) & !mask).count_ones());
        }
        prefix |= b;
        rest &= !b;
    }
    count
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
fn count(list: &List, typed: usize, many: f64, bank: &Bank) -> f64 {
    let Some(more) = list.more else { return 0.0 };
    let of = |n: f64| (n + 1.0).log2();
    let most = of(2.0 * f64::from(bank.cells())).ceil() as i32;
    let middle = of(many);
    let weight = |bin: f64| -(bin - middle).abs();
    let all = ln_sum((0..=most).map(|b| weight(f64::from(b))));
    let seen = of(f64::from(more) + typed as f64)
        .round()
        .min(f64::from(most));
    weight(seen) - all
}
