//! A walk over the cells of a bank: how probable it is that a test passes over them and lists nothing, given what is wrong.

use super::effect::{Effect, alike, fails};
use super::few::Few;
use super::layout::Bank;
use super::pattern::Pattern;
use super::seen::{Cells, Passed};
use super::signature::{Theory, failing, ln_sum};
use foldhash::HashMap;
use std::cell::RefCell;

/// Cells of a stretch that are looked at.
pub(super) const SAMPLE: u32 = 8;
/// P(a failing cell is typed | some of the first lines are) (guess: a screen of sixty, of which six are typed).
pub(super) const SOME: f64 = 0.1;
/// P(the test begins at the first address of the bank); else it leaves out a stretch for itself (guess).
const FROM_START: f64 = 0.5;

/// For each of two ways of typing, [`TYPED`].
pub(super) type Both = [f64; 2];

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
    /// For each place where a test may begin: ln P(no cell before it was typed), over that place and those before it.
    heads: [Both; STARTS],
    looks: Looks,
}

/// ln P(a cell is passed over) of some kinds of cells, by their [codes](alike): most theories know two to four.
#[derive(Debug, Clone, Copy, Default)]
struct Looks {
    kept: [(u64, Both); 4],
    count: usize,
}

impl Looks {
    fn get(&self, code: u64) -> Option<Both> {
        let found = self.kept[..self.count].iter().find(|k| k.0 == code);
        found.map(|k| k.1)
    }

    /// Keeps it if there is room, and says so.
    fn put(&mut self, code: u64, ln: Both) -> bool {
        let room = self.count < self.kept.len();
        if room {
            self.kept[self.count] = (code, ln);
            self.count += 1;
        }
        room
    }
}

/// Most places where a test may begin.
const STARTS: usize = 9;

/// Bank, theory and pattern.
type Key = (u32, u32, u8, (u8, u64), Pattern);

/// More are not kept (about 6 MB a thread); then it begins anew.
const MOST_KNOWN: usize = 1 << 14;

/// What was worked out so far: where it stands by its key, so that looking for it touches little memory.
#[derive(Default)]
struct Kept {
    at: HashMap<Key, u32>,
    all: Vec<Known>,
}

impl Kept {
    fn get(&self, key: &Key) -> Option<(usize, Known)> {
        let at = *self.at.get(key)? as usize;
        Some((at, self.all[at]))
    }

    fn put(&mut self, key: Key, known: Known) -> usize {
        if self.all.len() >= MOST_KNOWN {
            self.at.clear();
            self.all.clear();
        }
        let at = self.all.len();
        self.at.insert(key, at as u32);
        self.all.push(known);
        at
    }
}

thread_local! {
    /// The same boards come again and again, with the same theories.
    static KNOWN: RefCell<Kept> = RefCell::default();
}

/// A walk of a test with a theory about what is wrong.
pub(super) struct Walk<'a> {
    theory: Theory,
    pattern: Pattern,
    bank: &'a Bank,
    known: Known,
    /// Where that is kept, and whether more was found out since.
    kept: Option<usize>,
    more: bool,
    starts: Starts,
    /// ln of P(a cell is passed over) of the last kinds of cells: most cells of a bank are alike.
    looked: Few<u64, Both>,
    /// The same of a cell in a block, and of one outside.
    blocked: Few<u64, [Both; 2]>,
}

impl<'a> Walk<'a> {
    /// With what is known of the theory, whatever the list.
    pub(super) fn new(theory: Theory, pattern: Pattern, bank: &'a Bank) -> Self {
        let mut walk = Self {
            theory,
            pattern,
            bank,
            known: Known {
                failing: 0.0,
                heads: [NEVER; STARTS],
                looks: Looks::default(),
            },
            kept: None,
            more: false,
            starts: Starts::of(bank),
            looked: Few::default(),
            blocked: Few::default(),
        };
        // Blocks are those of the list, and counted rather than walked.
        if walk.is_block() {
            walk.known.failing = failing(theory, pattern, bank);
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
        let (at, known) = found.unwrap_or_else(|| {
            let known = walk.work_out();
            let at = KNOWN.with_borrow_mut(|kept| kept.put(key, known));
            (at, known)
        });
        (walk.known, walk.kept) = (known, Some(at));
        walk
    }

    /// How many cells of the bank fail.
    pub(super) fn failing(&self) -> f64 {
        self.known.failing
    }

    /// Whether it strikes a block of cells.
    pub(super) fn is_block(&self) -> bool {
        matches!(self.theory.effect, Effect::Block { .. })
    }

    fn work_out(&mut self) -> Known {
        let last = self.starts.count - 1;
        let stretches = self.stretches(last);
        let head = |at| match at <= last {
            true => self.head_at(at, &stretches),
            false => NEVER,
        };
        Known {
            failing: failing(self.theory, self.pattern, self.bank),
            heads: std::array::from_fn(head),
            looks: Looks::default(),
        }
    }

    /// Keeps for the next list what was found out at this one.
    pub(super) fn keep(self) {
        if let (Some(at), true) = (self.kept, self.more) {
            KNOWN.with_borrow_mut(|kept| kept.all[at].looks = self.known.looks);
        }
    }

    /// ln P(all cells read right) of each stretch between two places where a test may begin, up to one of them.
    fn stretches(&mut self, last: usize) -> [Both; STARTS] {
        let (starts, mut stretches) = (self.starts, [[0.0; 2]; STARTS]);
        let ends = starts.all()[..=last].windows(2);
        for (stretch, ends) in stretches.iter_mut().zip(ends) {
            *stretch = self.passed(ends[0], ends[1] - 1);
        }
        stretches
    }

    /// ln P(no cell before this place where a test may begin was typed), over where it did.
    fn head_at(&self, last: usize, stretches: &[Both; STARTS]) -> Both {
        let share = (1.0 - FROM_START) / (self.starts.count - 1) as f64;
        let (at_first, elsewhere) = (FROM_START.ln(), share.ln());
        let mut passed = [0.0; 2];
        let mut terms = [NEVER; STARTS];
        for i in (0..=last).rev() {
            let weight = if i == 0 { at_first } else { elsewhere };
            terms[i] = passed.map(|p| p + weight);
            passed = plus(passed, stretches[i.saturating_sub(1)]);
        }
        [0, 1].map(|k| ln_sum(terms.iter().rev().map(|t| t[k])))
    }

    /// ln P(nothing else typed) of a list in rising order, or something below `enough`.
    pub(super) fn up(&mut self, at: &[u32], complete: bool, enough: Both) -> Both {
        let Some(&last) = at.last() else {
            return self.head(self.bank.to + 1, None);
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
        plus(plus(self.head(at[0], None), between), rest)
    }

    /// The same of a list that may go on, by what it passes over.
    pub(super) fn up_by_kind(&mut self, first: u32, passed: &Passed, enough: Both) -> Both {
        let between = self.all(&passed.between);
        if below(between, enough) {
            return between;
        }
        let head = self.all(&passed.head);
        plus(self.head(first, Some(head)), between)
    }

    /// ln P(all these cells are passed over).
    fn all(&mut self, cells: &[Cells]) -> Both {
        let Theory { lanes, effect } = self.theory;
        let mut sum = [0.0; 2];
        for cells in cells {
            let ln = self.known.looks.get(cells.code).unwrap_or_else(|| {
                let p = fails(effect, lanes, self.pattern, self.bank, cells.one);
                let ln = passed_over(p);
                self.more |= self.known.looks.put(cells.code, ln);
                ln
            });
            sum = plus(sum, ln.map(|ln| ln * cells.count));
        }
        sum
    }

    /// The same of a list typed in falling order, which is given rising, by who types every line.
    pub(super) fn down(&mut self, at: &[u32], complete: bool, enough: f64) -> f64 {
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
            passed_over(fails(effect, lanes, pattern, bank, address))
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
        let (step, sample) = stretch(from, to);
        let sum = sample.fold([0.0; 2], |sum, a| plus(sum, self.look(a)));
        sum.map(|s| s * step)
    }

    /// ln P(nothing before the first line failed), over where the test may begin; of the cells from the last such place on, if that
    /// was worked out.
    fn head(&mut self, first: u32, from_last: Option<Both>) -> Both {
        let starts = self.starts;
        let Some(last) = starts.all().iter().rposition(|s| *s <= first) else {
            return NEVER;
        };
        let start = starts.all()[last];
        let rest = match start < first {
            true => from_last.unwrap_or_else(|| self.passed(start, first - 1)),
            false => [0.0; 2],
        };
        let head = match self.is_block() {
            true => {
                let stretches = self.stretches(last);
                self.head_at(last, &stretches)
            }
            false => self.known.heads[last],
        };
        plus(head, rest)
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

/// ln P(a cell is passed over) that fails with this probability.
fn passed_over(fails: f64) -> Both {
    TYPED.map(|typed| (-typed * fails).ln_1p().max(-30.0))
}

/// An even sample of a long stretch of cells, and how many each stands for.
pub(super) fn stretch(from: u32, to: u32) -> (f64, impl Iterator<Item = u32>) {
    let step = f64::from(to - from + 1) / f64::from(SAMPLE);
    let sample = (0..SAMPLE).map(move |i| {
        // An odd offset that changes, so that no address bit is the same in all.
        let a = from + (f64::from(i) * step) as u32;
        (a + (i * 0x2B) % step.max(1.0) as u32).min(to)
    });
    (step, sample)
}

/// Where a test may begin: at the first address, or past a stretch of a power of two of a page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Starts {
    at: [u32; STARTS],
    count: usize,
}

impl Starts {
    pub(super) fn of(bank: &Bank) -> Self {
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

    pub(super) fn all(&self) -> &[u32] {
        &self.at[..self.count]
    }
}

/// Addresses below `end` with these bits, roughly (exact for powers of two).
pub(super) fn blocked_below(mask: u32, value: u32, end: u32) -> f64 {
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
