//! The arithmetic that the collision needs.

use std::fmt::Debug;
use std::ops::{Add, BitAnd, BitOr, Div, Mul, Neg, Not, Sub};

/// The answer of a comparison: one truth value, or one for each lane of [`crate::Lanes`].
pub trait Mask: Copy + Debug + BitAnd<Output = Self> + BitOr<Output = Self> + Not<Output = Self> {
    /// Whether it holds anywhere.
    fn any(self) -> bool;
    /// Whether it holds everywhere.
    fn all(self) -> bool;
}

impl Mask for bool {
    #[inline]
    fn any(self) -> bool {
        self
    }

    #[inline]
    fn all(self) -> bool {
        self
    }
}

/// A number that a collision can be computed with: `f64`, [`crate::Dual`] for derivatives, [`crate::Lanes`] for several
/// strikes at once, or duals of one of these.
///
/// Branches of the collision go by the values alone, so a comparison of numbers with derivatives ignores these.
pub trait Scalar:
    Copy
    + Debug
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
{
    /// What a comparison of two such numbers answers.
    type Mask: Mask;

    /// A number that depends on nothing.
    fn constant(value: f64) -> Self;
    /// Where the value is less than the other's; nowhere where one is NaN.
    fn below(self, other: Self) -> Self::Mask;
    /// Where the value is neither infinite nor NaN.
    fn is_finite(self) -> Self::Mask;
    /// `yes` where the mask holds, else `no`, with its derivatives.
    #[must_use]
    fn choose(mask: Self::Mask, yes: Self, no: Self) -> Self;
    /// Square root. At 0, where the slope is infinite, derivatives count as 0 so that no NaN spreads.
    #[must_use]
    fn sqrt(self) -> Self;
    /// Sine and cosine of an angle in radians.
    fn sin_cos(self) -> (Self, Self);
    /// Arc sine in radians.
    #[must_use]
    fn asin(self) -> Self;
    /// Angle in radians of the point (`x`, `self`). At the origin the derivatives count as 0.
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
    type Mask = bool;

    #[inline]
    fn constant(value: f64) -> Self {
        value
    }

    #[inline]
    fn below(self, other: Self) -> bool {
        self < other
    }

    #[inline]
    fn is_finite(self) -> bool {
        f64::is_finite(self)
    }

    #[inline]
    fn choose(mask: bool, yes: Self, no: Self) -> Self {
        if mask { yes } else { no }
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
