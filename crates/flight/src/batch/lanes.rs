//! Several numbers that go through the same arithmetic side by side.
//!
//! Plain arrays and loops: the compiler turns them into vector instructions of whatever width the processor has. Every
//! operation is one correctly rounded IEEE 754 operation per lane and none is fused, so a lane's result depends neither on
//! the width nor on the processor nor on its neighbours.

use std::ops::{Add, Mul, Neg, Sub};

/// `WIDTH` independent numbers.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lanes<const WIDTH: usize>(pub(crate) [f64; WIDTH]);

impl<const WIDTH: usize> Lanes<WIDTH> {
    /// The same number in every lane.
    #[inline(always)]
    pub(crate) fn all(value: f64) -> Self {
        Self([value; WIDTH])
    }

    #[inline(always)]
    fn each(mut self, change: impl Fn(f64) -> f64) -> Self {
        for lane in 0..WIDTH {
            self.0[lane] = change(self.0[lane]);
        }
        self
    }

    #[inline(always)]
    fn with(mut self, other: Self, join: impl Fn(f64, f64) -> f64) -> Self {
        for lane in 0..WIDTH {
            self.0[lane] = join(self.0[lane], other.0[lane]);
        }
        self
    }

    #[inline(always)]
    pub(crate) fn root(self) -> Self {
        self.each(f64::sqrt)
    }

    #[inline(always)]
    pub(crate) fn absolute(self) -> Self {
        self.each(f64::abs)
    }

    #[inline(always)]
    pub(crate) fn reciprocal(self) -> Self {
        self.each(|value| 1.0 / value)
    }

    /// The larger of two; `other` where one is not a number.
    #[inline(always)]
    pub(crate) fn at_least(self, other: Self) -> Self {
        self.with(other, |one, two| if one > two { one } else { two })
    }

    /// The smaller of two; `other` where one is not a number.
    #[inline(always)]
    pub(crate) fn at_most(self, other: Self) -> Self {
        self.with(other, |one, two| if one < two { one } else { two })
    }

    /// Lane by lane `if_positive` where `self` is above zero, else `otherwise`.
    #[inline(always)]
    pub(crate) fn choose(self, if_positive: Self, otherwise: Self) -> Self {
        let mut chosen = otherwise;
        for lane in 0..WIDTH {
            chosen.0[lane] = if self.0[lane] > 0.0 { if_positive.0[lane] } else { otherwise.0[lane] };
        }
        chosen
    }
}

impl<const WIDTH: usize> Add for Lanes<WIDTH> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        self.with(other, |one, two| one + two)
    }
}

impl<const WIDTH: usize> Sub for Lanes<WIDTH> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        self.with(other, |one, two| one - two)
    }
}

impl<const WIDTH: usize> Mul for Lanes<WIDTH> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        self.with(other, |one, two| one * two)
    }
}

impl<const WIDTH: usize> Mul<f64> for Lanes<WIDTH> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, factor: f64) -> Self {
        self.each(|value| value * factor)
    }
}

impl<const WIDTH: usize> Neg for Lanes<WIDTH> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        self.each(|value| -value)
    }
}
