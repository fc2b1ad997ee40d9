//! The arithmetic that the collision needs.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A number that a collision can be computed with: `f64`, or [`crate::Dual`] for derivatives.
pub trait Scalar:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
{
    /// A number that depends on nothing.
    fn constant(value: f64) -> Self;
    /// The plain value.
    fn value(self) -> f64;
    /// Square root. At 0, where the slope is infinite, derivatives count as 0 so that no NaN spreads.
    #[must_use]
    fn sqrt(self) -> Self;
    /// Sine and cosine of an angle in radians.
    fn sin_cos(self) -> (Self, Self);
    /// Arc sine in radians.
    #[must_use]
    fn asin(self) -> Self;
    /// Angle in radians of the point (`x`, `self`). At the origin the angle and its derivatives count as 0.
    #[must_use]
    fn atan2(self, x: Self) -> Self;

    /// Sine of an angle in radians.
    #[must_use]
    #[inline]
    fn sin(self) -> Self {
        self.sin_cos().0
    }

    /// Cosine of an angle in radians.
    #[must_use]
    #[inline]
    fn cos(self) -> Self {
        self.sin_cos().1
    }
}

impl Scalar for f64 {
    #[inline]
    fn constant(value: f64) -> Self {
        value
    }

    #[inline]
    fn value(self) -> f64 {
        self
    }

    #[inline]
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        f64::sin_cos(self)
    }

    #[inline]
    fn asin(self) -> Self {
        f64::asin(self)
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        f64::atan2(self, x)
    }
}
