//! Numbers that carry their derivatives along.

use std::ops::{Add, Div, Mul, Neg, Sub};

use crate::scalar::Scalar;

/// A value and its exact first derivatives with respect to `N` inputs (forward-mode differentiation).
///
/// Over `f64` that is all; over another [`Dual`] the slopes have slopes themselves, which are the second derivatives; over
/// [`crate::Lanes`] several points are differentiated at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dual<const N: usize, S = f64> {
    /// The value.
    pub value: S,
    /// Derivative with respect to each input.
    pub slopes: [S; N],
}

impl<const N: usize, S: Scalar> Dual<N, S> {
    /// Input number `index` at the point `value`: its own derivative is 1, all others are 0.
    ///
    /// # Panics
    /// Where `index` is not below `N`.
    pub fn input(value: S, index: usize) -> Self {
        let mut slopes = [S::constant(0.0); N];
        slopes[index] = S::constant(1.0);
        Self { value, slopes }
    }

    /// A number at the point `value` that moves with the inputs as `slopes` say.
    pub fn moving(value: S, slopes: [S; N]) -> Self {
        Self { value, slopes }
    }

    /// `value` with the slopes scaled by the outer function's derivative.
    #[inline]
    fn chain(self, value: S, derivative: S) -> Self {
        Self { value, slopes: self.slopes.map(|slope| slope * derivative) }
    }

    #[inline]
    fn combine(self, other: Self, value: S, own: S, others: S) -> Self {
        let mut slopes = self.slopes;
        for (slope, other_slope) in slopes.iter_mut().zip(&other.slopes) {
            *slope = own * *slope + others * *other_slope;
        }
        Self { value, slopes }
    }
}

impl<const N: usize, S: Scalar> Add for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn add(mut self, other: Self) -> Self {
        self.value = self.value + other.value;
        for (slope, other_slope) in self.slopes.iter_mut().zip(&other.slopes) {
            *slope = *slope + *other_slope;
        }
        self
    }
}

impl<const N: usize, S: Scalar> Sub for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn sub(mut self, other: Self) -> Self {
        self.value = self.value - other.value;
        for (slope, other_slope) in self.slopes.iter_mut().zip(&other.slopes) {
            *slope = *slope - *other_slope;
        }
        self
    }
}

impl<const N: usize, S: Scalar> Mul for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        self.combine(other, self.value * other.value, other.value, self.value)
    }
}

impl<const N: usize, S: Scalar> Div for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        let inverse = S::constant(1.0) / other.value;
        let quotient = self.value * inverse;
        self.combine(other, quotient, inverse, -(quotient * inverse))
    }
}

impl<const N: usize, S: Scalar> Neg for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self { value: -self.value, slopes: self.slopes.map(|slope| -slope) }
    }
}

impl<const N: usize, S: Scalar> Add<f64> for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn add(mut self, other: f64) -> Self {
        self.value = self.value + other;
        self
    }
}

impl<const N: usize, S: Scalar> Sub<f64> for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn sub(mut self, other: f64) -> Self {
        self.value = self.value - other;
        self
    }
}

impl<const N: usize, S: Scalar> Mul<f64> for Dual<N, S> {
    type Output = Self;
    #[inline]
    fn mul(self, other: f64) -> Self {
        Self { value: self.value * other, slopes: self.slopes.map(|slope| slope * other) }
    }
}

impl<const N: usize, S: Scalar> Scalar for Dual<N, S> {
    type Mask = S::Mask;

    #[inline]
    fn constant(value: f64) -> Self {
        Self { value: S::constant(value), slopes: [S::constant(0.0); N] }
    }

    #[inline]
    fn below(self, other: Self) -> S::Mask {
        self.value.below(other.value)
    }

    #[inline]
    fn is_finite(self) -> S::Mask {
        self.value.is_finite()
    }

    #[inline]
    fn choose(mask: S::Mask, yes: Self, no: Self) -> Self {
        Self {
            value: S::choose(mask, yes.value, no.value),
            slopes: std::array::from_fn(|input| S::choose(mask, yes.slopes[input], no.slopes[input])),
        }
    }

    #[inline]
    fn sqrt(self) -> Self {
        let zero = S::constant(0.0);
        let root = self.value.sqrt();
        let has_slope = zero.below(root);
        self.chain(root, S::choose(has_slope, S::constant(0.5) / S::choose(has_slope, root, S::constant(1.0)), zero))
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        let (sin, cos) = self.value.sin_cos();
        (self.chain(sin, cos), self.chain(cos, -sin))
    }

    #[inline]
    fn asin(self) -> Self {
        let cosine = (-(self.value * self.value) + 1.0).sqrt();
        self.chain(self.value.asin(), S::constant(1.0) / cosine)
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        let zero = S::constant(0.0);
        let square = self.value * self.value + x.value * x.value;
        let off_origin = zero.below(square);
        let inverse = S::constant(1.0) / S::choose(off_origin, square, S::constant(1.0));
        let by_own = S::choose(off_origin, x.value * inverse, zero);
        let by_other = S::choose(off_origin, -(self.value * inverse), zero);
        self.combine(x, self.value.atan2(x.value), by_own, by_other)
    }
}
