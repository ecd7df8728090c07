//! What a state of a cause does to a table over sets of explained readings: one map for each reading that it touches.
//!
//! (acc\[0\], acc\[1\])  →  (u·acc\[0\],  acc\[1\] + e·acc\[0\]),      and transposed  (z\[0\], z\[1\])  →  (u·z\[0\] + e·z\[1\],  z\[1\])
//!
//! The maps go two at a time, so that a table is loaded and stored half as often: the first two read the table, the last two write
//! where the result belongs, and those between work on a block that stays in the nearest cache. The order of the maps and of the
//! operations in them is always the same.

use super::arith::Arith;

/// The map of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Map<N> {
    /// Distance of explained from unexplained in the table.
    pub(crate) stride: usize,
    /// The state does not explain it.
    pub(crate) u: N,
    /// The state explains it.
    pub(crate) e: N,
}

/// A map to be computed.
#[derive(Clone, Copy)]
struct Packed<P> {
    /// In packs.
    stride: usize,
    u: P,
    e: P,
}

/// Which way the maps go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// Tables: what is explained after the state.
    Forward,
    /// Worths: transposed.
    Backward,
}

/// The maps of a state, and how to compute them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shift<'m, A: Arith> {
    pub(crate) arith: A,
    pub(crate) way: Way,
    /// Packs of an entry.
    pub(crate) packs: usize,
    /// In falling order of stride.
    pub(crate) maps: &'m [Map<A::Number>],
}

impl<A: Arith> Shift<'_, A> {
    #[inline(always)]
    fn packed(self, m: Map<A::Number>) -> Packed<A::Pack> {
        Packed {
            stride: m.stride * self.packs,
            u: self.arith.all(m.u),
            e: self.arith.all(m.e),
        }
    }

    /// Two entries, the reading not explained and explained, after its map.
    #[inline(always)]
    fn one(self, m: Packed<A::Pack>, [no, yes]: [A::Pack; 2]) -> [A::Pack; 2] {
        let a = self.arith;
        match self.way {
            Way::Forward => [a.times(no, m.u), a.plus(yes, a.times(no, m.e))],
            Way::Backward => [a.plus(a.times(no, m.u), a.times(yes, m.e)), yes],
        }
    }

    /// Four entries, from neither reading explained to both, after the maps of both.
    #[inline(always)]
    fn four(self, m: [Packed<A::Pack>; 2], [a, b, c, d]: [A::Pack; 4]) -> [A::Pack; 4] {
        let ([a, c], [b, d]) = (self.one(m[0], [a, c]), self.one(m[0], [b, d]));
        let ([a, b], [c, d]) = (self.one(m[1], [a, b]), self.one(m[1], [c, d]));
        [a, b, c, d]
    }

    /// One map, from one table to another.
    #[inline(always)]
    fn single(
        self,
        m: Packed<A::Pack>,
        from: &[A::Pack],
        to: &mut [A::Pack],
        put: impl Fn(usize, &mut A::Pack, A::Pack),
    ) {
        let size = 2 * m.stride;
        for (from, to) in from.chunks_exact(size).zip(to.chunks_exact_mut(size)) {
            let (f0, f1) = from.split_at(m.stride);
            let (t0, t1) = to.split_at_mut(m.stride);
            for (i, ((f0, f1), (t0, t1))) in
                (f0.iter().zip(f1)).zip(t0.iter_mut().zip(t1)).enumerate()
            {
                let [no, yes] = self.one(m, [*f0, *f1]);
                put(i, t0, no);
                put(i, t1, yes);
            }
        }
    }

    /// Two maps, the one of the larger stride first, from one table to another.
    #[inline(always)]
    fn double(
        self,
        m: [Packed<A::Pack>; 2],
        from: &[A::Pack],
        to: &mut [A::Pack],
        put: impl Fn(usize, &mut A::Pack, A::Pack),
    ) {
        let [large, small] = m.map(|m| m.stride);
        if (large, small) == (2, 1) {
            for (from, to) in from.as_chunks().0.iter().zip(to.as_chunks_mut().0) {
                let after = self.four(m, *from);
                let to: &mut [A::Pack; 4] = to;
                to.iter_mut().zip(after).for_each(|(to, x)| put(0, to, x));
            }
            return;
        }
        for (from, to) in (from.chunks_exact(2 * large)).zip(to.chunks_exact_mut(2 * large)) {
            let (f0, f1) = from.split_at(large);
            let (t0, t1) = to.split_at_mut(large);
            let from = f0.chunks_exact(2 * small).zip(f1.chunks_exact(2 * small));
            let to = (t0.chunks_exact_mut(2 * small)).zip(t1.chunks_exact_mut(2 * small));
            for ((f0, f1), (t0, t1)) in from.zip(to) {
                let ((fa, fb), (fc, fd)) = (f0.split_at(small), f1.split_at(small));
                let ((ta, tb), (tc, td)) = (t0.split_at_mut(small), t1.split_at_mut(small));
                for i in 0..small {
                    let after = self.four(m, [fa[i], fb[i], fc[i], fd[i]]);
                    put(i, &mut ta[i], after[0]);
                    put(i, &mut tb[i], after[1]);
                    put(i, &mut tc[i], after[2]);
                    put(i, &mut td[i], after[3]);
                }
            }
        }
    }

    /// Two maps, the one of the larger stride first, in place.
    #[inline(always)]
    fn double_in_place(self, m: [Packed<A::Pack>; 2], table: &mut [A::Pack]) {
        let [large, small] = m.map(|m| m.stride);
        for block in table.chunks_exact_mut(2 * large) {
            let (t0, t1) = block.split_at_mut(large);
            for (t0, t1) in (t0.chunks_exact_mut(2 * small)).zip(t1.chunks_exact_mut(2 * small)) {
                let ((a, b), (c, d)) = (t0.split_at_mut(small), t1.split_at_mut(small));
                for i in 0..small {
                    [a[i], b[i], c[i], d[i]] = self.four(m, [a[i], b[i], c[i], d[i]]);
                }
            }
        }
    }

    /// All maps, from one table to another; `image` is room for a table. `put` gets the place of a result within its entry
    /// (modulo the packs of an entry), where it belongs, and the result.
    #[inline(always)]
    pub(crate) fn run(
        self,
        from: &[A::Pack],
        image: &mut [A::Pack],
        to: &mut [A::Pack],
        put: impl Fn(usize, &mut A::Pack, A::Pack),
    ) {
        debug_assert!(self.maps.is_sorted_by(|a, b| a.stride >= 2 * b.stride));
        // An odd number of maps begins with a single one.
        let (first, rest) = self
            .maps
            .split_at(self.maps.len().min(2 - self.maps.len() % 2));
        let (middle, last) = rest.split_at(rest.len().saturating_sub(2));
        let (&[.., least], &[a, b]) = (first, last) else {
            return match *first {
                [m] => self.single(self.packed(m), from, to, put),
                [a, b] => self.double([a, b].map(|m| self.packed(m)), from, to, put),
                _ => {
                    (from.iter().zip(to).enumerate()).for_each(|(i, (from, to))| put(i, to, *from))
                }
            };
        };
        let keep = |_: usize, to: &mut A::Pack, x: A::Pack| *to = x;
        match *first {
            [a, b] => self.double([a, b].map(|m| self.packed(m)), from, image, keep),
            _ => self.single(self.packed(least), from, image, keep),
        }
        // What the other maps bring together lies within the smallest stride so far.
        let block = least.stride * self.packs;
        let last = [a, b].map(|m| self.packed(m));
        for (image, to) in (image.chunks_exact_mut(block)).zip(to.chunks_exact_mut(block)) {
            for pair in middle.as_chunks::<2>().0 {
                self.double_in_place(pair.map(|m| self.packed(m)), image);
            }
            self.double(last, image, to, &put);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::infer::arith::{Single, Vector};
    use crate::infer::wide::{Num, Wide};
    use proptest::prelude::*;

    /// Numbers of an entry.
    const LANES: usize = 16;

    /// Each map in turn over the whole table, as they are defined.
    fn one_by_one<N: Num>(way: Way, maps: &[Map<N>], table: &[N]) -> Vec<N> {
        let mut table = table.to_vec();
        for m in maps {
            for at in 0..table.len() {
                let there = at + m.stride * LANES;
                if at / (m.stride * LANES) % 2 == 1 {
                    continue;
                }
                let (no, yes) = (table[at], table[there]);
                match way {
                    Way::Forward => {
                        table[at] = no.times(m.u);
                        table[there] = yes.plus(no.times(m.e));
                    }
                    Way::Backward => table[at] = no.times(m.u).plus(yes.times(m.e)),
                }
            }
        }
        table
    }

    struct Case<'c> {
        way: Way,
        maps: &'c [Map<f64>],
        table: &'c [f64],
        weights: &'c [f64; LANES],
    }

    impl Case<'_> {
        /// `1 + w · T(table)`.
        fn by<A: Arith<Number = f64>>(&self, arith: A) -> Vec<f64> {
            let (mut image, mut out) = (vec![7.0; self.table.len()], vec![1.0; self.table.len()]);
            let packs = LANES / A::WIDTH;
            let w = A::packs(self.weights);
            let shift = Shift {
                arith,
                way: self.way,
                packs,
                maps: self.maps,
            };
            let (image, to) = (A::packs_mut(&mut image), A::packs_mut(&mut out));
            shift.run(A::packs(self.table), image, to, |at, to, x| {
                *to = arith.plus(*to, arith.times(x, w[at % packs]));
            });
            out
        }
    }

    impl pulp::WithSimd for Case<'_> {
        type Output = Vec<f64>;
        fn with_simd<S: pulp::Simd>(self, simd: S) -> Vec<f64> {
            self.by(Vector(simd))
        }
    }

    /// A table of so many readings, and the maps of some of them.
    fn cases() -> impl Strategy<Value = (Vec<f64>, Vec<Map<f64>>)> {
        (0usize..8).prop_flat_map(|readings| {
            let number = 0.0..1.0f64;
            let table = prop::collection::vec(number.clone(), LANES << readings);
            let touched = prop::collection::vec((any::<bool>(), number.clone(), number), readings);
            let maps = touched.prop_map(|touched| {
                let of = |(bit, (is, u, e)): (usize, (bool, f64, f64))| {
                    is.then_some(Map {
                        stride: 1 << bit,
                        u,
                        e,
                    })
                };
                touched
                    .into_iter()
                    .enumerate()
                    .rev()
                    .filter_map(of)
                    .collect()
            });
            (table, maps)
        })
    }

    proptest! {
        #![proptest_config(crate::sampled::properties())]

        /// To the last bit, whatever the processor's vectors hold.
        #[test]
        fn two_at_a_time_is_one_by_one((table, maps) in cases(), weights in prop::array::uniform16(0.0..1.0f64)) {
            for way in [Way::Forward, Way::Backward] {
                let plain = one_by_one(way, &maps, &table);
                let expected: Vec<f64> = plain.iter().enumerate().map(|(at, x)| 1.0 + x * weights[at % LANES]).collect();
                let case = || Case { way, maps: &maps, table: &table, weights: &weights };
                prop_assert_eq!(&case().by(Single::<f64>::default()), &expected);
                prop_assert_eq!(&pulp::Arch::new().dispatch(case()), &expected);
                prop_assert_eq!(&case().by(Vector(pulp::Scalar)), &expected);
            }
        }

        /// Numbers that no plain one holds go the same way.
        #[test]
        fn wide_numbers_too((table, maps) in cases()) {
            let wide = |x: f64| Wide::exp(-3000.0).times(Wide::new(x));
            let table: Vec<Wide> = table.into_iter().map(wide).collect();
            let maps: Vec<Map<Wide>> = (maps.iter())
                .map(|m| Map { stride: m.stride, u: Wide::new(m.u), e: Wide::new(m.e) })
                .collect();
            for way in [Way::Forward, Way::Backward] {
                let (mut image, mut out) = (table.clone(), table.clone());
                let shift = Shift { arith: Single::default(), way, packs: LANES, maps: &maps };
                shift.run(&table, &mut image, &mut out, |_, to, x| *to = x);
                prop_assert_eq!(&out, &one_by_one(way, &maps, &table));
            }
        }
    }
}
