//! Numbers with a wide exponent, for evidence far below what an `f64` can hold.
//!
//! The engine is generic over [`Num`]. Plain `f64` is used first; all its sums are of non-negative terms that
//! are at most 1, so underflow costs at most about `operations · 2^-1074` in absolute terms. Where the result
//! is too small for that to be negligible, the same plan is run again on [`Wide`].

/// What the engine needs of a number: non-negative sums and products only.
pub(crate) trait Num: Copy + PartialEq + Default + std::fmt::Debug {
    /// The neutral element of addition.
    const ZERO: Self;
    /// The neutral element of multiplication.
    const ONE: Self;
    /// `self + other`.
    fn plus(self, other: Self) -> Self;
    /// `self · other`.
    fn times(self, other: Self) -> Self;
    /// From a wide number; may underflow to 0.
    fn from_wide(wide: Wide) -> Self;
    /// From an ordinary number.
    fn from_f64(x: f64) -> Self;
    /// To a wide number, without loss.
    fn wide(self) -> Wide;
}

impl Num for f64 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        self + other
    }
    #[inline(always)]
    fn times(self, other: Self) -> Self {
        self * other
    }
    fn from_wide(wide: Wide) -> Self {
        wide.to_f64()
    }
    #[inline(always)]
    fn from_f64(x: f64) -> Self {
        x
    }
    fn wide(self) -> Wide {
        Wide::new(self)
    }
}

/// A non-negative number `mantissa · 2^exponent`, the mantissa 0 or in `[1, 2)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Wide {
    mantissa: f64,
    exponent: i64,
}

impl Default for Wide {
    fn default() -> Self {
        Self::ZERO
    }
}

/// `2^k` for `-1022 <= k <= 1023`.
fn power_of_two(k: i64) -> f64 {
    f64::from_bits(((1023 + k) as u64) << 52)
}

impl Wide {
    /// The wide form of a finite, non-negative number.
    pub(crate) fn new(x: f64) -> Self {
        debug_assert!(x >= 0.0 && x.is_finite(), "not a weight: {x}");
        if x == 0.0 {
            return Self::ZERO;
        }
        let (x, shift) = if x < f64::MIN_POSITIVE {
            (x * power_of_two(100), -100)
        } else {
            (x, 0)
        };
        let bits = x.to_bits();
        let exponent = ((bits >> 52) & 0x7ff) as i64 - 1023 + shift;
        Wide {
            mantissa: f64::from_bits(bits & !(0x7ff << 52) | 1023 << 52),
            exponent,
        }
    }

    /// `e^x`, for any finite `x`; `-inf` gives 0.
    pub(crate) fn exp(x: f64) -> Self {
        if x == f64::NEG_INFINITY {
            return Self::ZERO;
        }
        let exponent = (x / std::f64::consts::LN_2).floor();
        let rest = Wide::new((x - exponent * std::f64::consts::LN_2).exp());
        Wide {
            mantissa: rest.mantissa,
            exponent: rest.exponent + exponent as i64,
        }
    }

    /// Natural logarithm; `-inf` for 0.
    pub(crate) fn ln(self) -> f64 {
        self.mantissa.ln() + self.exponent as f64 * std::f64::consts::LN_2
    }

    /// The nearest `f64`, 0 when too small and infinity when too large.
    pub(crate) fn to_f64(self) -> f64 {
        match self.exponent {
            ..-1080 => 0.0,
            -1080..=-1000 => self.mantissa * power_of_two(self.exponent + 100) * power_of_two(-100),
            -999..=1023 => self.mantissa * power_of_two(self.exponent),
            _ if self.mantissa == 0.0 => 0.0,
            _ => f64::INFINITY,
        }
    }

    /// Whether it is exactly 0.
    pub(crate) fn is_zero(self) -> bool {
        self.mantissa == 0.0
    }

    /// `self / other`; `other` must not be 0.
    pub(crate) fn over(self, other: Self) -> Self {
        debug_assert!(!other.is_zero(), "division by zero");
        let quotient = Wide::new(self.mantissa / other.mantissa);
        if quotient.is_zero() {
            return Self::ZERO;
        }
        Wide {
            mantissa: quotient.mantissa,
            exponent: quotient.exponent + self.exponent - other.exponent,
        }
    }

    /// The larger of two.
    pub(crate) fn max(self, other: Self) -> Self {
        if self.less(other) { other } else { self }
    }

    /// `self < other`.
    pub(crate) fn less(self, other: Self) -> bool {
        if self.is_zero() || other.is_zero() {
            return self.is_zero() && !other.is_zero();
        }
        (self.exponent, self.mantissa) < (other.exponent, other.mantissa)
    }
}

impl Num for Wide {
    const ZERO: Self = Wide {
        mantissa: 0.0,
        exponent: 0,
    };
    const ONE: Self = Wide {
        mantissa: 1.0,
        exponent: 0,
    };
    #[inline]
    fn plus(self, other: Self) -> Self {
        if self.mantissa == 0.0 {
            return other;
        }
        if other.mantissa == 0.0 {
            return self;
        }
        let (big, small) = if self.exponent >= other.exponent {
            (self, other)
        } else {
            (other, self)
        };
        let apart = big.exponent - small.exponent;
        if apart > 64 {
            return big;
        }
        let sum = big.mantissa + small.mantissa * power_of_two(-apart);
        if sum >= 2.0 {
            Wide {
                mantissa: sum * 0.5,
                exponent: big.exponent + 1,
            }
        } else {
            Wide {
                mantissa: sum,
                exponent: big.exponent,
            }
        }
    }
    #[inline]
    fn times(self, other: Self) -> Self {
        let product = self.mantissa * other.mantissa;
        if product == 0.0 {
            return Self::ZERO;
        }
        let exponent = self.exponent + other.exponent;
        if product >= 2.0 {
            Wide {
                mantissa: product * 0.5,
                exponent: exponent + 1,
            }
        } else {
            Wide {
                mantissa: product,
                exponent,
            }
        }
    }
    fn from_wide(wide: Wide) -> Self {
        wide
    }
    fn from_f64(x: f64) -> Self {
        Wide::new(x)
    }
    fn wide(self) -> Wide {
        self
    }
}

#[cfg(test)]
mod tests {
    use super::{Num, Wide};

    #[test]
    fn round_trips_ordinary_and_subnormal_numbers() {
        for x in [
            0.0,
            1.0,
            0.3,
            1e-300,
            5e-324,
            2.2e-308,
            1e308,
            f64::MAX,
            f64::MIN_POSITIVE,
        ] {
            assert_eq!(Wide::new(x).to_f64(), x, "{x:e}");
        }
    }

    #[test]
    fn products_and_sums_agree_with_plain_numbers_where_those_work() {
        let numbers = [0.0, 1.0, 0.7, 1.99, 3e-9, 4e17];
        for a in numbers {
            for b in numbers {
                let (wa, wb) = (Wide::new(a), Wide::new(b));
                assert_eq!(wa.times(wb).to_f64(), a * b);
                assert_eq!(wa.plus(wb).to_f64(), a + b);
                assert_eq!(wa.less(wb), a < b);
            }
        }
    }

    #[test]
    fn holds_what_an_ordinary_number_cannot() {
        let mut tiny = Wide::ONE;
        for _ in 0..10 {
            tiny = tiny.times(Wide::new(1e-200));
        }
        assert!((tiny.ln() - 10.0 * 1e-200_f64.ln()).abs() < 1e-9);
        assert_eq!(tiny.to_f64(), 0.0);
        assert!((tiny.over(tiny).to_f64() - 1.0).abs() < 1e-15);
        assert!((Wide::exp(tiny.ln()).ln() - tiny.ln()).abs() < 1e-9);
    }
}
