//! Standard normal draws that are the same on every machine and at every call, and spread more evenly than random ones.

use statrs::distribution::{ContinuousCDF, Normal};

/// A table of standard normal draws by Latin hypercube sampling: in every dimension each of `count` equally likely strata
/// holds exactly one draw, which takes most of the noise out of averages over the draws.
#[derive(Debug, Clone)]
pub struct NormalDraws {
    dimensions: usize,
    values: Vec<f64>,
}

impl NormalDraws {
    /// `count` draws in `dimensions` dimensions, fixed by `seed`.
    pub fn new(dimensions: usize, count: usize, seed: u64) -> NormalDraws {
        let normal = Normal::standard();
        let mut generator = SplitMix(seed);
        let mut values = vec![0.0; dimensions * count];
        for dimension in 0..dimensions {
            let mut strata: Vec<usize> = (0..count).collect();
            for position in (1..count).rev() {
                strata.swap(position, generator.below(position as u64 + 1) as usize);
            }
            for (draw, stratum) in strata.into_iter().enumerate() {
                let probability = (stratum as f64 + 0.5) / count as f64;
                values[draw * dimensions + dimension] = normal.inverse_cdf(probability);
            }
        }
        NormalDraws { dimensions, values }
    }

    /// The draws, each a slice with one value a dimension.
    pub fn iter(&self) -> impl Iterator<Item = &[f64]> {
        self.values.chunks_exact(self.dimensions)
    }
}

/// The 64-bit generator SplitMix (Steele, Lea & Flood 2014): enough to shuffle strata, and the same everywhere.
struct SplitMix(u64);

impl SplitMix {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, bound: u64) -> u64 {
        // The bias of a multiply-shift is below 2^-40 for the few thousand strata used here.
        ((u128::from(self.next()) * u128::from(bound)) >> 64) as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_those_of_the_standard_normal() {
        let draws = NormalDraws::new(3, 512, 7);
        assert_eq!(draws.iter().count(), 512);
        for dimension in 0..3 {
            let mean: f64 = draws.iter().map(|draw| draw[dimension]).sum::<f64>() / 512.0;
            let variance: f64 = draws.iter().map(|draw| draw[dimension].powi(2)).sum::<f64>() / 512.0;
            assert!(mean.abs() < 1e-9 && (variance - 1.0).abs() < 0.01, "mean {mean}, variance {variance}");
        }
        let mixed: f64 = draws.iter().map(|draw| draw[0] * draw[1]).sum::<f64>() / 512.0;
        assert!(mixed.abs() < 0.15, "dimensions are shuffled apart: {mixed}");
    }

    #[test]
    fn the_same_seed_gives_the_same_draws() {
        assert_eq!(NormalDraws::new(2, 16, 1).values, NormalDraws::new(2, 16, 1).values);
        assert_ne!(NormalDraws::new(2, 16, 1).values, NormalDraws::new(2, 16, 2).values);
    }
}
