//! One step of the sum: two tables are combined, and a variable of them may be summed out.
//!
//! For a reading's bit that both tables mention, 'explained' means by either:
//!
//! out\[0\] = a\[0\]·b\[0\],   out\[1\] = a\[1\]·(b\[0\] + b\[1\]) + a\[0\]·b\[1\]
//!
//! (three products of non-negative numbers for two results; `3^t` for `t` shared bits). For a cause that both
//! mention, `out[x] = a[x]·b[x]`. Variables of one table only are copied through. Summing out a bit keeps
//! `out[1]` only, summing out a cause adds its values up.
//!
//! So everything is a list of *terms* `out[o] += coefficient[c]·a[a]` over the variables of `b` (coefficients
//! are the entries of `b`, with `b[0] + b[1]` added), repeated for all values of the variables that only `a`
//! has. Going backward is the same list read the other way.

use super::wide::Num;

/// Where a table lives: in the arena of plain tables, or of tables with one number for each setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Slot {
    /// First entry.
    pub(crate) start: usize,
    /// Number of entries.
    pub(crate) len: usize,
    /// Whether the entries have one number for each setting.
    pub(crate) lanes: bool,
}

/// One combination of two tables.
#[derive(Debug, Clone)]
pub(crate) struct Contract {
    /// The larger table.
    pub(crate) a: Slot,
    /// The smaller table.
    pub(crate) b: Slot,
    /// The result, zero before.
    pub(crate) out: Slot,
    /// For each shared bit: (coefficients before it, entries of `b` after it).
    pub(crate) widen: Vec<(usize, usize)>,
    /// Number of coefficients.
    pub(crate) coefficients: usize,
    /// (out, a, coefficient) of each term.
    pub(crate) terms: Vec<[u32; 3]>,
    /// (out, a) of each repetition.
    pub(crate) rest: Vec<[u32; 2]>,
    /// Each term covers this many consecutive entries of `a` and `out`.
    pub(crate) run: usize,
}

/// Two buffers that the coefficients pass through.
#[derive(Debug, Default)]
pub(crate) struct Buffers<N> {
    now: Vec<N>,
    next: Vec<N>,
}

impl<N: Num> Buffers<N> {
    /// Adds the sums `b[0] + b[1]` of the shared bits to the entries of `b`; `width` numbers for each entry.
    #[inline(always)]
    pub(crate) fn widen<'c>(&'c mut self, op: &Contract, b: &'c [N], width: usize) -> &'c [N] {
        if op.widen.is_empty() {
            return b;
        }
        for (round, &(_, after)) in op.widen.iter().enumerate() {
            let after = after * width;
            self.next.clear();
            for block in if round == 0 { b } else { &self.now }.chunks_exact(2 * after) {
                let (no, yes) = block.split_at(after);
                self.next.extend_from_slice(block);
                self.next
                    .extend(no.iter().zip(yes).map(|(&n, &y)| n.plus(y)));
            }
            std::mem::swap(&mut self.now, &mut self.next);
        }
        &self.now
    }

    /// Room for what each coefficient is worth, all zero.
    pub(crate) fn coefficients(&mut self, op: &Contract, width: usize) -> &mut [N] {
        self.now.clear();
        self.now.resize(op.coefficients * width, N::ZERO);
        &mut self.now
    }

    /// The transpose of [`Self::widen`]: from what each coefficient is worth to what each entry of `b` is worth.
    #[inline(always)]
    pub(crate) fn narrow(&mut self, op: &Contract, width: usize) -> &[N] {
        for &(_, after) in op.widen.iter().rev() {
            let after = after * width;
            self.next.clear();
            for block in self.now.chunks_exact(3 * after) {
                let (single, both) = block.split_at(2 * after);
                let (no, yes) = single.split_at(after);
                self.next
                    .extend(no.iter().zip(both).map(|(&s, &b)| s.plus(b)));
                self.next
                    .extend(yes.iter().zip(both).map(|(&s, &b)| s.plus(b)));
            }
            std::mem::swap(&mut self.now, &mut self.next);
        }
        &self.now
    }
}

/// Every (out, a, coefficient) of a step, as ranges of `run` entries of `out` and `a`.
#[inline(always)]
fn each(op: &Contract, mut visit: impl FnMut(usize, usize, usize)) {
    for &[to, from] in &op.rest {
        for &[o, i, k] in &op.terms {
            visit((to + o) as usize, (from + i) as usize, k as usize);
        }
    }
}

/// Forward: `out += coefficient · a` for every term, repetition and run.
#[inline(always)]
pub(crate) fn forward<A, C, O>(
    op: &Contract,
    a: &[A],
    c: &[C],
    out: &mut [O],
    fma: impl Fn(&mut O, &A, &C),
) {
    // Most runs are one entry: a loop over it would cost more than the product.
    if op.run == 1 {
        return each(op, |o, i, k| fma(&mut out[o], &a[i], &c[k]));
    }
    each(op, |o, i, k| {
        let k = &c[k];
        for (out, a) in out[o..o + op.run].iter_mut().zip(&a[i..i + op.run]) {
            fma(out, a, k);
        }
    });
}

/// Backward to the larger table: `worth of a += coefficient · worth of out`.
#[inline(always)]
pub(crate) fn back_to_a<A, C, O>(
    op: &Contract,
    a: &mut [A],
    c: &[C],
    out: &[O],
    fma: impl Fn(&mut A, &O, &C),
) {
    if op.run == 1 {
        return each(op, |o, i, k| fma(&mut a[i], &out[o], &c[k]));
    }
    each(op, |o, i, k| {
        let k = &c[k];
        for (out, a) in out[o..o + op.run].iter().zip(&mut a[i..i + op.run]) {
            fma(a, out, k);
        }
    });
}

/// Backward to the coefficients: `worth of coefficient += a · worth of out`.
#[inline(always)]
pub(crate) fn back_to_c<A, C, O>(
    op: &Contract,
    a: &[A],
    c: &mut [C],
    out: &[O],
    fma: impl Fn(&mut C, &A, &O),
) {
    if op.run == 1 {
        return each(op, |o, i, k| fma(&mut c[k], &a[i], &out[o]));
    }
    each(op, |o, i, k| {
        let k = &mut c[k];
        for (out, a) in out[o..o + op.run].iter().zip(&a[i..i + op.run]) {
            fma(k, a, out);
        }
    });
}
