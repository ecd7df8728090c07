//! Numbers in packs: as many at once as a vector of the processor holds.

use super::wide::Num;
use std::marker::PhantomData;

/// How to compute with packs of numbers. Nothing is fused, so the numbers are the same whatever the width.
pub(crate) trait Arith: Copy {
    /// The numbers.
    type Number: Num;
    /// Some of them.
    type Pack: Copy + std::fmt::Debug;
    /// How many.
    const WIDTH: usize;
    /// Numbers as packs; a multiple of the width of them.
    fn packs(numbers: &[Self::Number]) -> &[Self::Pack];
    /// Numbers as packs, to change.
    fn packs_mut(numbers: &mut [Self::Number]) -> &mut [Self::Pack];
    /// The same number in all places.
    fn all(self, number: Self::Number) -> Self::Pack;
    /// `a + b`.
    fn plus(self, a: Self::Pack, b: Self::Pack) -> Self::Pack;
    /// `a · b`.
    fn times(self, a: Self::Pack, b: Self::Pack) -> Self::Pack;
}

/// One number at a time.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Single<N>(PhantomData<N>);

impl<N: Num> Arith for Single<N> {
    type Number = N;
    type Pack = N;
    const WIDTH: usize = 1;
    #[inline(always)]
    fn packs(numbers: &[N]) -> &[N] {
        numbers
    }
    #[inline(always)]
    fn packs_mut(numbers: &mut [N]) -> &mut [N] {
        numbers
    }
    #[inline(always)]
    fn all(self, number: N) -> N {
        number
    }
    #[inline(always)]
    fn plus(self, a: N, b: N) -> N {
        a.plus(b)
    }
    #[inline(always)]
    fn times(self, a: N, b: N) -> N {
        a.times(b)
    }
}

/// The vectors of the processor.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Vector<S>(pub(crate) S);

impl<S: pulp::Simd> Arith for Vector<S> {
    type Number = f64;
    type Pack = S::f64s;
    const WIDTH: usize = S::F64_LANES;
    #[inline(always)]
    fn packs(numbers: &[f64]) -> &[S::f64s] {
        S::as_simd_f64s(numbers).0
    }
    #[inline(always)]
    fn packs_mut(numbers: &mut [f64]) -> &mut [S::f64s] {
        S::as_mut_simd_f64s(numbers).0
    }
    #[inline(always)]
    fn all(self, number: f64) -> S::f64s {
        self.0.splat_f64s(number)
    }
    #[inline(always)]
    fn plus(self, a: S::f64s, b: S::f64s) -> S::f64s {
        self.0.add_f64s(a, b)
    }
    #[inline(always)]
    fn times(self, a: S::f64s, b: S::f64s) -> S::f64s {
        self.0.mul_f64s(a, b)
    }
}
