//! The other step of the sum: a whole cause is summed into a table that covers all readings it touches.
//!
//! out  =  Σ over states x of  w_x · T_x(acc),      T_x = one map for each reading that x touches ([`super::shift`])
//!
//! `t + 1` operations on each entry of the table per state with `t` readings, where combining with the table of the cause
//! would take `(3/2)^t` once; and no table of the cause is needed. Backward, the maps are applied transposed.

use super::arith::Arith;
use super::contract::Slot;
use super::fold::FoldedCause;
use super::run::{Lane, make_room};
use super::shift::{Map, Shift, Way};
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
    /// The map of each reading that a state touches.
    #[inline(always)]
    fn maps<N: Num>(&self, cause: &FoldedCause, state: usize, maps: &mut Vec<Map<N>>) {
        let mut at = 0;
        maps.clear();
        maps.extend(cause.states[state].pairs.iter().map(|pair| {
            while cause.touched[at] != pair.reading {
                at += 1;
            }
            Map {
                stride: self.strides[at],
                u: N::from_wide(pair.u),
                e: N::from_wide(pair.e),
            }
        }));
    }

    /// `out = Σ w·T(acc)`.
    #[inline(always)]
    pub(crate) fn forward<A: Arith, const L: usize>(
        &self,
        arith: A,
        cause: &FoldedCause,
        [weights, acc]: [&[Lane<A::Number, L>]; 2],
        out: &mut [Lane<A::Number, L>],
        scratch: &mut Scratch<A::Number>,
    ) {
        let packs = L / A::WIDTH;
        out.fill([A::Number::ZERO; L]);
        let (acc, out) = (
            A::packs(acc.as_flattened()),
            A::packs_mut(out.as_flattened_mut()),
        );
        let (image, _) = two_tables::<A>(&mut scratch.tables, acc.len());
        for (state, w) in weights.iter().enumerate() {
            if is_nothing(w) {
                continue;
            }
            self.maps(cause, state, &mut scratch.maps);
            let shift = Shift {
                arith,
                way: Way::Forward,
                packs,
                maps: &scratch.maps,
            };
            let w = A::packs(w);
            shift.run(acc, image, out, |at, out, image| {
                *out = arith.plus(*out, arith.times(image, w[at % packs]));
            });
        }
    }

    /// What the weights and the table are worth (in this order), from what `out` is worth.
    #[inline(always)]
    pub(crate) fn backward<A: Arith, const L: usize>(
        &self,
        arith: A,
        cause: &FoldedCause,
        [weights, acc]: [&[Lane<A::Number, L>]; 2],
        out_worth: &[Lane<A::Number, L>],
        worth: [&mut [Lane<A::Number, L>]; 2],
        scratch: &mut Scratch<A::Number>,
    ) {
        let [weights_worth, acc_worth] = worth;
        weights_worth.fill([A::Number::ZERO; L]);
        acc_worth.fill([A::Number::ZERO; L]);
        let (acc, out_worth) = (
            A::packs(acc.as_flattened()),
            A::packs(out_worth.as_flattened()),
        );
        let acc_worth = A::packs_mut(acc_worth.as_flattened_mut());
        let (image, shifted) = two_tables::<A>(&mut scratch.tables, acc.len());
        for (state, w) in weights.iter().enumerate() {
            // What a state without weight is worth is asked by nobody: none of its modes has any.
            if is_nothing(w) {
                continue;
            }
            let (w, worth) = (A::packs(w), A::packs_mut(&mut weights_worth[state]));
            if cause.states[state].pairs.is_empty() {
                weigh_back(arith, (w, worth), acc, out_worth, acc_worth);
                continue;
            }
            self.maps(cause, state, &mut scratch.maps);
            let shift = Shift {
                arith,
                way: Way::Backward,
                packs: L / A::WIDTH,
                maps: &scratch.maps,
            };
            shift.run(out_worth, image, shifted, |_, to, x| *to = x);
            weigh_back(arith, (w, worth), acc, shifted, acc_worth);
        }
    }
}

/// Room for summing in a cause.
#[derive(Debug, Default)]
pub(crate) struct Scratch<N> {
    maps: Vec<Map<N>>,
    tables: Vec<N>,
}

/// Two tables of so many packs; what is in them is left over from before.
#[inline(always)]
fn two_tables<A: Arith>(
    room: &mut Vec<A::Number>,
    packs: usize,
) -> (&mut [A::Pack], &mut [A::Pack]) {
    make_room(room, 2 * packs * A::WIDTH);
    A::packs_mut(&mut room[..2 * packs * A::WIDTH]).split_at_mut(packs)
}

/// Whether a state has no weight in any lane: its modes were taken out, or ruled out by what passed.
#[inline(always)]
fn is_nothing<N: Num, const L: usize>(w: &Lane<N, L>) -> bool {
    w.iter().all(|w| *w == N::ZERO)
}

/// `worth of w += Σ acc · z`, `worth of acc += w · z`.
#[inline(always)]
fn weigh_back<A: Arith>(
    arith: A,
    (w, w_worth): (&[A::Pack], &mut [A::Pack]),
    acc: &[A::Pack],
    z: &[A::Pack],
    acc_worth: &mut [A::Pack],
) {
    let packs = w.len();
    for (at, (w, w_worth)) in w.iter().zip(w_worth).enumerate() {
        let mut sum = *w_worth;
        for ((acc, z), worth) in (acc[at..].iter().step_by(packs))
            .zip(z[at..].iter().step_by(packs))
            .zip(acc_worth[at..].iter_mut().step_by(packs))
        {
            sum = arith.plus(sum, arith.times(*acc, *z));
            *worth = arith.plus(*worth, arith.times(*w, *z));
        }
        *w_worth = sum;
    }
}
