//! Several numbers side by side, so that one pass computes several strikes.

use std::ops::{Add, BitAnd, BitOr, Div, Mul, Neg, Not, Sub};

use crate::lane_functions::{arc_tangent, sine_and_cosine};
use crate::scalar::{Mask, Scalar};

/// `N` independent numbers, one to a lane. Plain loops over fixed lengths become vector instructions where the processor has
/// them; even lengths of four or eight fit best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lanes<const N: usize>(
    /// The numbers.
    pub [f64; N],
);

/// One truth value to a lane: all bits set or none, the form in which vector instructions select.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LaneMask<const N: usize>([u64; N]);

impl<const N: usize> LaneMask<N> {
    /// Whether it holds in one lane.
    ///
    /// # Panics
    /// Where `lane` is not below `N`.
    pub fn at(self, lane: usize) -> bool {
        self.0[lane] != 0
    }

    #[inline]
    fn of(truth: impl Fn(usize) -> bool) -> Self {
        Self(std::array::from_fn(|lane| if truth(lane) { u64::MAX } else { 0 }))
    }
}

impl<const N: usize> BitAnd for LaneMask<N> {
    type Output = Self;
    #[inline]
    fn bitand(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] & other.0[lane]))
    }
}

impl<const N: usize> BitOr for LaneMask<N> {
    type Output = Self;
    #[inline]
    fn bitor(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] | other.0[lane]))
    }
}

impl<const N: usize> Not for LaneMask<N> {
    type Output = Self;
    #[inline]
    fn not(self) -> Self {
        Self(self.0.map(|bits| !bits))
    }
}

impl<const N: usize> Mask for LaneMask<N> {
    #[inline]
    fn any(self) -> bool {
        self.0.iter().fold(0, |bits, lane| bits | lane) != 0
    }

    #[inline]
    fn all(self) -> bool {
        self.0.iter().fold(u64::MAX, |bits, lane| bits & lane) != 0
    }
}

impl<const N: usize> Add for Lanes<N> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] + other.0[lane]))
    }
}

impl<const N: usize> Sub for Lanes<N> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] - other.0[lane]))
    }
}

impl<const N: usize> Mul for Lanes<N> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] * other.0[lane]))
    }
}

impl<const N: usize> Div for Lanes<N> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        Self(std::array::from_fn(|lane| self.0[lane] / other.0[lane]))
    }
}

impl<const N: usize> Neg for Lanes<N> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self(self.0.map(|number| -number))
    }
}

impl<const N: usize> Add<f64> for Lanes<N> {
    type Output = Self;
    #[inline]
    fn add(self, other: f64) -> Self {
        Self(self.0.map(|number| number + other))
    }
}

impl<const N: usize> Sub<f64> for Lanes<N> {
    type Output = Self;
    #[inline]
    fn sub(self, other: f64) -> Self {
        Self(self.0.map(|number| number - other))
    }
}

impl<const N: usize> Mul<f64> for Lanes<N> {
    type Output = Self;
    #[inline]
    fn mul(self, other: f64) -> Self {
        Self(self.0.map(|number| number * other))
    }
}

impl<const N: usize> Scalar for Lanes<N> {
    type Mask = LaneMask<N>;

    #[inline]
    fn constant(value: f64) -> Self {
        Self([value; N])
    }

    #[inline]
    fn below(self, other: Self) -> LaneMask<N> {
        LaneMask::of(|lane| self.0[lane] < other.0[lane])
    }

    #[inline]
    fn is_finite(self) -> LaneMask<N> {
        LaneMask::of(|lane| self.0[lane].abs() < f64::INFINITY)
    }

    #[inline]
    fn choose(mask: LaneMask<N>, yes: Self, no: Self) -> Self {
        Self(std::array::from_fn(|lane| {
            let bits = mask.0[lane];
            f64::from_bits((yes.0[lane].to_bits() & bits) | (no.0[lane].to_bits() & !bits))
        }))
    }

    #[inline]
    fn sqrt(self) -> Self {
        Self(self.0.map(f64::sqrt))
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        sine_and_cosine(self)
    }

    #[inline]
    fn asin(self) -> Self {
        Self(self.0.map(f64::asin))
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        arc_tangent(self, x)
    }
}
