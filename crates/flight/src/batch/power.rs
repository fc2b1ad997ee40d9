//! Powers by polynomials, so that they go through vector instructions.

use super::lanes::Lanes;

/// 2 / (ln 2 (2 k + 1)): log2 m = t (c0 + c1 t^2 + ...) with t = (m - 1) / (m + 1). What is left out is below 2e-11.
#[allow(clippy::excessive_precision, clippy::approx_constant, reason = "every digit of the formula")]
const LOGARITHM: [f64; 6] = [
    2.885_390_081_777_926_8,
    0.961_796_693_925_975_6,
    0.577_078_016_355_585_4,
    0.412_198_583_111_132_4,
    0.320_598_897_975_325_2,
    0.262_308_189_252_538_8,
];

/// (ln 2)^k / k!, the series of 2^x. What is left out is below 8e-12.
#[allow(
    clippy::excessive_precision,
    clippy::approx_constant,
    reason = "every digit of the formula; the second is ln 2"
)]
const EXPONENTIAL: [f64; 10] = [
    1.0,
    std::f64::consts::LN_2,
    0.240_226_506_959_100_72,
    0.055_504_108_664_821_58,
    0.009_618_129_107_628_477,
    0.001_333_355_814_642_844_3,
    0.000_154_035_303_933_816_1,
    0.000_015_252_733_804_059_84,
    1.321_548_679_014_431e-6,
    1.017_808_600_923_97e-7,
];

const MANTISSA_BITS: u32 = 52;
const ONE: u64 = 0x3ff0_0000_0000_0000;
/// The bits of the square root of one half.
const HALF_ROOT: u64 = 0x3fe6_a09e_667f_3bcd;
/// A float of this size has its ones digit at the lowest bit.
const UNIT_LAST: f64 = 4_503_599_627_370_496.0;
/// The same with room for negative numbers.
const ROUNDER: f64 = 6_755_399_441_055_744.0;

/// Base-2 logarithm of positive normal numbers, absolute error below 3e-11.
#[inline(always)]
pub(crate) fn log2<const WIDTH: usize>(value: Lanes<WIDTH>) -> Lanes<WIDTH> {
    let mut exponent = [0.0; WIDTH];
    let mut mantissa = [0.0; WIDTH];
    for lane in 0..WIDTH {
        // The exponent is cut so that the mantissa lies around 1, between the root of 1/2 and the root of 2.
        let shifted = value.0[lane].to_bits().wrapping_add(ONE - HALF_ROOT);
        let biased = shifted >> MANTISSA_BITS;
        exponent[lane] = f64::from_bits(biased | UNIT_LAST.to_bits()) - (UNIT_LAST + 1023.0);
        mantissa[lane] = f64::from_bits((shifted & ((1 << MANTISSA_BITS) - 1)).wrapping_add(HALF_ROOT));
    }
    let mantissa = Lanes(mantissa);
    let one = Lanes::all(1.0);
    let ratio = (mantissa - one) * (mantissa + one).reciprocal();
    let square = ratio * ratio;
    // In pairs, so that the processor need not wait for one product after the other.
    let fourth = square * square;
    let pair = |low: usize| square * LOGARITHM[low + 1] + Lanes::all(LOGARITHM[low]);
    let sum = pair(0) + fourth * (pair(2) + fourth * pair(4));
    ratio * sum + Lanes(exponent)
}

/// 2 to a power, relative error below 1e-11; powers beyond +-1000 count as +-1000.
#[inline(always)]
pub(crate) fn exp2<const WIDTH: usize>(power: Lanes<WIDTH>) -> Lanes<WIDTH> {
    let power = power.at_least(Lanes::all(-1000.0)).at_most(Lanes::all(1000.0));
    let rounder = Lanes::all(ROUNDER);
    let rounded = power + rounder;
    let rest = power - (rounded - rounder);
    let square = rest * rest;
    let fourth = square * square;
    let pair = |low: usize| rest * EXPONENTIAL[low + 1] + Lanes::all(EXPONENTIAL[low]);
    let four = |low: usize| pair(low) + square * pair(low + 2);
    let sum = four(0) + fourth * (four(4) + fourth * pair(8));
    let mut result = [0.0; WIDTH];
    for lane in 0..WIDTH {
        // The whole part of the power is added to the exponent.
        result[lane] = f64::from_bits(sum.0[lane].to_bits().wrapping_add(rounded.0[lane].to_bits() << MANTISSA_BITS));
    }
    Lanes(result)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_agree_with_the_standard_library() {
        // Spin ratios from a putt in a gale to a wedge at its peak, and far beyond both.
        for step in 0..20_000 {
            let base = f64::exp2(-40.0 + f64::from(step) * 0.004_1);
            for exponent in [0.0, 0.1, 0.4, 0.5, 1.0, 1.7] {
                let power = exp2(log2(Lanes([base; 2])) * exponent).0[1];
                let expected = base.powf(exponent);
                assert!((power / expected - 1.0).abs() < 1e-10, "{base}^{exponent}: {power} is not {expected}");
            }
        }
    }

    #[test]
    fn whole_powers_of_two_and_the_ends_of_the_range_come_out() {
        for power in -1000..=1000 {
            let value = f64::exp2(f64::from(power));
            assert!((log2(Lanes([value])).0[0] - f64::from(power)).abs() < 1e-12);
            assert!((exp2(Lanes([f64::from(power)])).0[0] / value - 1.0).abs() < 1e-15);
        }
        assert!((exp2(Lanes([1e9])).0[0] / f64::exp2(1000.0) - 1.0).abs() < 1e-15);
        assert!((exp2(Lanes([-1e9])).0[0] / f64::exp2(-1000.0) - 1.0).abs() < 1e-15);
    }
}
