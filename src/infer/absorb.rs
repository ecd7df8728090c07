//! The other step of the sum: a whole cause is summed into a table that covers all readings it touches.
//!
//! out  =  Σ over states x of  w_x · T_x(acc),      T_x = one map for each reading that x touches:
//!
//! (acc\[0\], acc\[1\])  →  (u·acc\[0\],  acc\[1\] + e·acc\[0\])
//!
//! `t + 1` passes over the table per state with `t` readings, where combining with the table of the cause would take
//! `(3/2)^t` once; and no table of the cause is needed. Backward, the maps are applied transposed:
//!
//! (z\[0\], z\[1\])  →  (u·z\[0\] + e·z\[1\],  z\[1\])

use super::contract::Slot;
use super::fold::FoldedCause;
use super::run::{Lane, lanes_by_lanes};
use super::wide::Num;

/// Sums a cause into a table.
#[derive(Debug, Clone)]
pub(crate) struct Absorb {
    /// The table so far.
    pub(crate) acc: Slot,
    /// The weights of the states.
    pub(crate) weights: Slot,
    /// The result, as large as `acc`.
    pub(crate) out: Slot,
    /// The cause.
    pub(crate) cause: usize,
    /// For each reading the cause touches, in its order, the distance of explained from unexplained in the table.
    pub(crate) strides: Vec<usize>,
}

impl Absorb {
    /// (distance, u, e) of each reading that a state touches.
    #[inline(always)]
    fn maps<'f, N: Num>(
        &'f self,
        cause: &'f FoldedCause,
        state: usize,
    ) -> impl Iterator<Item = (usize, N, N)> + 'f {
        let mut at = 0;
        cause.states[state].pairs.iter().map(move |pair| {
            while cause.touched[at] != pair.reading {
                at += 1;
            }
            (self.strides[at], N::from_wide(pair.u), N::from_wide(pair.e))
        })
    }

    /// `out = Σ w·T(acc)`.
    #[inline(always)]
    pub(crate) fn forward<N: Num, const L: usize>(
        &self,
        cause: &FoldedCause,
        weights: &[Lane<N, L>],
        acc: &[Lane<N, L>],
        out: &mut [Lane<N, L>],
        scratch: &mut Vec<N>,
    ) {
        out.fill([N::ZERO; L]);
        for (state, w) in weights.iter().enumerate() {
            if is_nothing(w) {
                continue;
            }
            if cause.states[state].pairs.is_empty() {
                add_weighted(out, acc, w);
                continue;
            }
            scratch.clear();
            scratch.extend_from_slice(acc.as_flattened());
            let image: &mut [Lane<N, L>] = scratch.as_chunks_mut().0;
            for (stride, u, e) in self.maps::<N>(cause, state) {
                for block in image.chunks_exact_mut(2 * stride) {
                    let (no, yes) = block.split_at_mut(stride);
                    for (no, yes) in no.iter_mut().zip(yes) {
                        for l in 0..L {
                            yes[l] = yes[l].plus(no[l].times(e));
                            no[l] = no[l].times(u);
                        }
                    }
                }
            }
            add_weighted(out, image, w);
        }
    }

    /// What the weights and the table are worth, from what `out` is worth.
    #[inline(always)]
    pub(crate) fn backward<N: Num, const L: usize>(
        &self,
        cause: &FoldedCause,
        weights: &[Lane<N, L>],
        acc: &[Lane<N, L>],
        out_worth: &[Lane<N, L>],
        worth: (&mut [Lane<N, L>], &mut [Lane<N, L>]),
        scratch: &mut Vec<N>,
    ) {
        let (weights_worth, acc_worth) = worth;
        weights_worth.fill([N::ZERO; L]);
        acc_worth.fill([N::ZERO; L]);
        for (state, w) in weights.iter().enumerate() {
            // What a state without weight is worth is asked by nobody: none of its modes has any.
            if is_nothing(w) {
                continue;
            }
            let worth = &mut weights_worth[state];
            if cause.states[state].pairs.is_empty() {
                weigh_back(w, worth, acc, out_worth, acc_worth);
                continue;
            }
            scratch.clear();
            scratch.extend_from_slice(out_worth.as_flattened());
            let image: &mut [Lane<N, L>] = scratch.as_chunks_mut().0;
            for (stride, u, e) in self.maps::<N>(cause, state) {
                for block in image.chunks_exact_mut(2 * stride) {
                    let (no, yes) = block.split_at_mut(stride);
                    for (no, yes) in no.iter_mut().zip(yes) {
                        for l in 0..L {
                            no[l] = no[l].times(u).plus(yes[l].times(e));
                        }
                    }
                }
            }
            weigh_back(w, worth, acc, image, acc_worth);
        }
    }
}

/// Whether a state has no weight in any lane: its modes were taken out, or ruled out by what passed.
#[inline(always)]
fn is_nothing<N: Num, const L: usize>(w: &Lane<N, L>) -> bool {
    w.iter().all(|w| *w == N::ZERO)
}

/// `out += w · image`.
#[inline(always)]
fn add_weighted<N: Num, const L: usize>(
    out: &mut [Lane<N, L>],
    image: &[Lane<N, L>],
    w: &Lane<N, L>,
) {
    let w = *w;
    for (out, image) in out.iter_mut().zip(image) {
        lanes_by_lanes(out, image, &w);
    }
}

/// `worth of w += Σ acc · z`, `worth of acc += w · z`.
#[inline(always)]
fn weigh_back<N: Num, const L: usize>(
    w: &Lane<N, L>,
    w_worth: &mut Lane<N, L>,
    acc: &[Lane<N, L>],
    z: &[Lane<N, L>],
    acc_worth: &mut [Lane<N, L>],
) {
    let (w, mut sum) = (*w, *w_worth);
    for ((acc, z), worth) in acc.iter().zip(z).zip(acc_worth) {
        lanes_by_lanes(&mut sum, acc, z);
        lanes_by_lanes(worth, &w, z);
    }
    *w_worth = sum;
}
