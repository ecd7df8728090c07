//! Where the entries of two tables and of their combination are: the terms of a contraction.
//!
//! The variables of a table are ascending, the last one fastest.

use super::contract::{Contract, Slot};
use super::order::{Var, VarId};

/// Whether every variable of `small` is in `large` (both ascending).
pub(crate) fn covers(large: &[VarId], small: &[VarId]) -> bool {
    let mut large = large.iter();
    small.iter().all(|v| large.by_ref().any(|w| w == v))
}

/// All variables of two ascending lists, ascending.
pub(crate) fn union(a: &[VarId], b: &[VarId]) -> Vec<VarId> {
    let mut all = Vec::with_capacity(a.len() + b.len());
    let (mut i, mut k) = (0, 0);
    while i < a.len() && k < b.len() {
        let next = a[i].min(b[k]);
        i += usize::from(a[i] == next);
        k += usize::from(b[k] == next);
        all.push(next);
    }
    all.extend_from_slice(&a[i..]);
    all.extend_from_slice(&b[k..]);
    all
}

/// Distance between entries that differ by one in the given variable; 0 when it is not there.
pub(crate) fn stride(sizes: &[usize], dims: &[VarId], v: VarId) -> u32 {
    match dims.binary_search(&v) {
        Ok(at) => dims[at + 1..].iter().map(|&w| sizes[w]).product::<usize>() as u32,
        Err(_) => 0,
    }
}

/// The variables of one contraction.
pub(crate) struct Layout<'p> {
    /// Number of values of every variable.
    pub(crate) sizes: &'p [usize],
    /// What every variable stands for.
    pub(crate) vars: &'p [Var],
    /// Variables of the larger table.
    pub(crate) a: &'p [VarId],
    /// Variables of the smaller table.
    pub(crate) b: &'p [VarId],
    /// Variables of the result.
    pub(crate) to: &'p [VarId],
    /// The variable summed out.
    pub(crate) out: Option<VarId>,
}

impl Layout<'_> {
    /// The contraction of `a` and `b` into `out`.
    pub(crate) fn build(&self, a: Slot, b: Slot, out: Slot) -> Contract {
        let mut terms = vec![[0u32; 3]];
        let mut widen = Vec::new();
        let mut coefficients = 1;
        for (at, &v) in self.b.iter().enumerate() {
            let is_wide =
                matches!(self.vars[v], Var::Reading(_)) && self.a.binary_search(&v).is_ok();
            if is_wide {
                let after: usize = self.b[at + 1..].iter().map(|&w| self.sizes[w]).product();
                widen.push((coefficients, after));
            }
            let radix = if is_wide { 3 } else { self.sizes[v] };
            coefficients *= radix;
            self.extend(&mut terms, v, radix as u32);
        }
        if let Some(v) = self.out.filter(|v| self.b.binary_search(v).is_err()) {
            self.extend(&mut terms, v, 1);
        }
        let mut run = 1;
        let mut free: Vec<VarId> = self
            .a
            .iter()
            .copied()
            .filter(|v| self.b.binary_search(v).is_err() && Some(*v) != self.out)
            .collect();
        while let Some(&v) = free.last() {
            let contiguous = |dims: &[VarId]| stride(self.sizes, dims, v) as usize == run;
            if !contiguous(self.a) || !contiguous(self.to) {
                break;
            }
            run *= self.sizes[v];
            free.pop();
        }
        let mut rest = vec![[0u32; 2]];
        for v in free {
            let (so, sa) = (
                stride(self.sizes, self.to, v),
                stride(self.sizes, self.a, v),
            );
            rest = rest
                .iter()
                .flat_map(|&[o, a]| {
                    (0..self.sizes[v] as u32).map(move |x| [o + x * so, a + x * sa])
                })
                .collect();
        }
        Contract {
            a,
            b,
            out,
            widen,
            coefficients,
            terms,
            rest,
            run,
        }
    }

    /// Extends each term by the values of one more variable; `radix` is its number of coefficients.
    fn extend(&self, terms: &mut Vec<[u32; 3]>, v: VarId, radix: u32) {
        let (so, sa) = (
            stride(self.sizes, self.to, v),
            stride(self.sizes, self.a, v),
        );
        let in_a = self.a.binary_search(&v).is_ok();
        let in_b = self.b.binary_search(&v).is_ok();
        let summed = self.out == Some(v);
        let is_reading = matches!(self.vars[v], Var::Reading(_));
        // Coefficients of a shared bit: 0 is b[0], 1 is b[1], 2 is b[0] + b[1].
        let choices: Vec<[u32; 3]> = match (is_reading, in_a, in_b) {
            (true, true, true) if summed => vec![[0, sa, 2], [0, 0, 1]],
            (true, true, true) => vec![[0, 0, 0], [so, sa, 2], [so, 0, 1]],
            (true, true, false) => vec![[0, sa, 0]],
            (true, false, _) if summed => vec![[0, 0, 1]],
            (_, _, true) => (0..self.sizes[v] as u32)
                .map(|x| [x * so, x * sa, x])
                .collect(),
            (_, _, false) => (0..self.sizes[v] as u32)
                .map(|x| [x * so, x * sa, 0])
                .collect(),
        };
        *terms = terms
            .iter()
            .flat_map(|&[o, a, c]| {
                choices
                    .iter()
                    .map(move |&[co, ca, cc]| [o + co, a + ca, c * radix + cc])
            })
            .collect();
    }
}
