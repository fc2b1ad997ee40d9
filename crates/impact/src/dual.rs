//! Numbers that carry their derivatives along.

use std::ops::{Add, Div, Mul, Neg, Sub};

use crate::scalar::Scalar;

/// A value and its exact first derivatives with respect to `N` inputs (forward-mode differentiation).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dual<const N: usize> {
    /// The value.
    pub value: f64,
    /// Derivative with respect to each input.
    pub slopes: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// Input number `index` at the point `value`: its own derivative is 1, all others are 0.
    ///
    /// # Panics
    /// Where `index` is not below `N`.
    pub fn input(value: f64, index: usize) -> Self {
        let mut slopes = [0.0; N];
        slopes[index] = 1.0;
        Self { value, slopes }
    }

    /// `value` with the slopes scaled by the outer function's derivative.
    #[inline]
    fn chain(self, value: f64, derivative: f64) -> Self {
        Self { value, slopes: self.slopes.map(|slope| slope * derivative) }
    }

    #[inline]
    fn combine(self, other: Self, value: f64, own: f64, others: f64) -> Self {
        let mut slopes = self.slopes;
        for (slope, other_slope) in slopes.iter_mut().zip(&other.slopes) {
            *slope = own * *slope + others * other_slope;
        }
        Self { value, slopes }
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    #[inline]
    fn add(mut self, other: Self) -> Self {
        self.value += other.value;
        for (slope, other_slope) in self.slopes.iter_mut().zip(&other.slopes) {
            *slope += other_slope;
        }
        self
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    #[inline]
    fn sub(mut self, other: Self) -> Self {
        self.value -= other.value;
        for (slope, other_slope) in self.slopes.iter_mut().zip(&other.slopes) {
            *slope -= other_slope;
        }
        self
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        self.combine(other, self.value * other.value, other.value, self.value)
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        let inverse = 1.0 / other.value;
        let quotient = self.value * inverse;
        self.combine(other, quotient, inverse, -quotient * inverse)
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        self.chain(-self.value, -1.0)
    }
}

impl<const N: usize> Add<f64> for Dual<N> {
    type Output = Self;
    #[inline]
    fn add(mut self, other: f64) -> Self {
        self.value += other;
        self
    }
}

impl<const N: usize> Sub<f64> for Dual<N> {
    type Output = Self;
    #[inline]
    fn sub(mut self, other: f64) -> Self {
        self.value -= other;
        self
    }
}

impl<const N: usize> Mul<f64> for Dual<N> {
    type Output = Self;
    #[inline]
    fn mul(self, other: f64) -> Self {
        self.chain(self.value * other, other)
    }
}

impl<const N: usize> Scalar for Dual<N> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self { value, slopes: [0.0; N] }
    }

    #[inline]
    fn value(self) -> f64 {
        self.value
    }

    #[inline]
    fn sqrt(self) -> Self {
        let root = self.value.sqrt();
        self.chain(root, if root > 0.0 { 0.5 / root } else { 0.0 })
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        let (sin, cos) = self.value.sin_cos();
        (self.chain(sin, cos), self.chain(cos, -sin))
    }

    #[inline]
    fn asin(self) -> Self {
        self.chain(self.value.asin(), 1.0 / (1.0 - self.value * self.value).sqrt())
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        let square = self.value * self.value + x.value * x.value;
        let angle = self.value.atan2(x.value);
        if square > 0.0 {
            self.combine(x, angle, x.value / square, -self.value / square)
        } else {
            Self::constant(angle)
        }
    }
}
