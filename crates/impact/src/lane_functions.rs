//! Sine, cosine and arc tangent without a branch, so that several lanes go through vector instructions together.
//!
//! The tests hold both within 2 units of the last place of 1 against the standard library's functions.

use std::f64::consts::{FRAC_2_PI, FRAC_PI_2, FRAC_PI_4, PI};

use crate::lanes::Lanes;
use crate::scalar::{Mask, Scalar};

/// pi/2 in three parts; the first two end in zeros, so that their products with the turns below are exact.
const HALF_PI_PARTS: [f64; 3] = [1.570_796_326_734_125_6, 6.077_100_506_303_966e-11, 2.022_266_248_795_950_6e-21];
/// Up to this many radians the quarter turns stay far below the 20 bits that the parts above leave free.
const FURTHEST_REDUCED: f64 = 1e5;
/// 1.5 * 2^52: adding it leaves the nearest integer in the last bits of the sum.
const ROUNDING: f64 = 6_755_399_441_055_744.0;

/// Taylor coefficients of (sin x - x) / x^3 and (cos x - 1) / x^2 in x^2; on |x| <= pi/4 what is left out is below 1e-16.
const SINE: [f64; 7] = [
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5_040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
];
const COSINE: [f64; 8] = [
    -1.0 / 2.0,
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
];

/// (atan t - t) / t^3 in t^2 on 0 <= t <= tan(pi/8): the polynomial of degree 10 through the Chebyshev nodes of that
/// interval, computed with 60 digits; it is off by less than 5e-18 times t.
const ARC_TANGENT: [f64; 11] = [
    -0.333_333_333_333_333_3,
    0.199_999_999_999_955_16,
    -0.142_857_142_846_657_06,
    0.111_111_110_151_870_18,
    -0.090_909_045_753_064_9,
    0.076_921_831_253_768_93,
    -0.066_645_105_255_089_36,
    0.058_581_409_048_663_28,
    -0.050_854_078_345_894_844,
    0.039_230_447_784_793_09,
    -0.019_175_404_711_104_935,
];
const TANGENT_OF_22_DEGREES_30: f64 = 0.414_213_562_373_095_03;

#[inline]
fn polynomial<const N: usize>(coefficients: &[f64], at: Lanes<N>) -> Lanes<N> {
    let mut sum = Lanes::constant(0.0);
    for coefficient in coefficients.iter().rev() {
        sum = sum * at + *coefficient;
    }
    sum
}

#[inline]
pub(crate) fn sine_and_cosine<const N: usize>(angle: Lanes<N>) -> (Lanes<N>, Lanes<N>) {
    let is_far = !Lanes(angle.0.map(f64::abs)).below(Lanes::constant(FURTHEST_REDUCED));
    if is_far.any() {
        let pairs = angle.0.map(f64::sin_cos);
        return (Lanes(pairs.map(|pair| pair.0)), Lanes(pairs.map(|pair| pair.1)));
    }
    let shifted = angle * FRAC_2_PI + ROUNDING;
    let quarters = shifted - ROUNDING;
    let [first, second, third] = HALF_PI_PARTS;
    let rest = angle - quarters * first - quarters * second - quarters * third;

    let square = rest * rest;
    let sine = rest + rest * square * polynomial(&SINE, square);
    let cosine = square * polynomial(&COSINE, square) + 1.0;
    // Odd quarter turns swap the two; a sign bit follows from the second bit of the turns, for the cosine one turn later.
    let turned = |own: f64, other: f64, swap_bits: u64, sign_bits: u64| {
        let swaps = (swap_bits & 1).wrapping_neg();
        f64::from_bits(((own.to_bits() & !swaps) | (other.to_bits() & swaps)) ^ ((sign_bits & 2) << 62))
    };
    let turned_sine = std::array::from_fn(|lane| {
        let turns = shifted.0[lane].to_bits();
        turned(sine.0[lane], cosine.0[lane], turns, turns)
    });
    let turned_cosine = std::array::from_fn(|lane| {
        let turns = shifted.0[lane].to_bits();
        turned(cosine.0[lane], sine.0[lane], turns, turns.wrapping_add(1))
    });
    (Lanes(turned_sine), Lanes(turned_cosine))
}

#[inline]
pub(crate) fn arc_tangent<const N: usize>(y: Lanes<N>, x: Lanes<N>) -> Lanes<N> {
    let zero = Lanes::constant(0.0);
    let (across, along) = (Lanes(y.0.map(f64::abs)), Lanes(x.0.map(f64::abs)));
    let is_steep = along.below(across);
    let longer = Lanes::choose(is_steep, across, along);
    let shorter = Lanes::choose(is_steep, along, across);
    // atan t = pi/4 + atan((t - 1) / (t + 1)) keeps the polynomial's argument small.
    let is_wide = (longer * TANGENT_OF_22_DEGREES_30).below(shorter);
    let numerator = Lanes::choose(is_wide, shorter - longer, shorter);
    let denominator = Lanes::choose(is_wide, shorter + longer, longer);
    let has_direction = zero.below(longer) | !longer.below(Lanes::constant(f64::INFINITY));
    let tangent = numerator / Lanes::choose(has_direction, denominator, Lanes::constant(1.0));

    let square = tangent * tangent;
    let narrow = tangent + tangent * square * polynomial(&ARC_TANGENT, square);
    let within_eighth = Lanes::choose(is_wide, narrow + FRAC_PI_4, narrow);
    let within_quarter = Lanes::choose(is_steep, -within_eighth + FRAC_PI_2, within_eighth);
    let within_half = Lanes::choose(x.below(zero), -within_quarter + PI, within_quarter);
    Lanes(std::array::from_fn(|lane| within_half.0[lane].copysign(y.0[lane])))
}
