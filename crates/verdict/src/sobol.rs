//! Standard normal values that fill many dimensions evenly: far fewer of them do the work of many random draws.

use statrs::distribution::{ContinuousCDF, Normal};

/// How many dimensions there are directions for.
pub const DIMENSIONS: usize = 12;
const BITS: usize = 10;
/// How many points: a full net, so that every dimension holds each of as many equally likely strata once.
pub const POINTS: usize = 1 << BITS;

/// Primitive polynomials (degree, inner coefficients) and first direction numbers of the dimensions after the first. Joe & Kuo
/// 2008, SIAM J. Sci. Comput. 30, 2635, their set new-joe-kuo-6 (compared with scipy's, which uses the same).
const DIRECTIONS: [(usize, u32, [u32; 5]); DIMENSIONS - 1] = [
    (1, 0, [1, 0, 0, 0, 0]),
    (2, 1, [1, 3, 0, 0, 0]),
    (3, 1, [1, 3, 1, 0, 0]),
    (3, 2, [1, 1, 1, 0, 0]),
    (4, 1, [1, 1, 3, 3, 0]),
    (4, 4, [1, 3, 5, 13, 0]),
    (5, 2, [1, 1, 5, 5, 17]),
    (5, 4, [1, 1, 5, 5, 5]),
    (5, 7, [1, 1, 7, 11, 19]),
    (5, 11, [1, 1, 5, 1, 1]),
    (5, 13, [1, 1, 1, 3, 11]),
];

/// Sobol's points as standard normal values, dimension by dimension.
#[derive(Debug, Clone)]
pub struct EvenNormals {
    values: Vec<[f64; POINTS]>,
}

impl EvenNormals {
    pub fn new() -> EvenNormals {
        let normal = Normal::standard();
        let quantiles: Vec<f64> =
            (0..POINTS).map(|stratum| normal.inverse_cdf((stratum as f64 + 0.5) / POINTS as f64)).collect();
        let mut values = Vec::with_capacity(DIMENSIONS);
        for dimension in 0..DIMENSIONS {
            let strata = strata(dimension);
            let mut column = [0.0; POINTS];
            for (value, stratum) in column.iter_mut().zip(strata) {
                *value = quantiles[stratum as usize];
            }
            values.push(column);
        }
        EvenNormals { values }
    }

    /// All points of one dimension.
    pub fn dimension(&self, dimension: usize) -> &[f64; POINTS] {
        &self.values[dimension]
    }
}

/// The stratum of every point in one dimension.
fn strata(dimension: usize) -> [u32; POINTS] {
    let directions = direction_numbers(dimension);
    let mut strata = [0; POINTS];
    for (point, stratum) in strata.iter_mut().enumerate() {
        // Gray code: the same net in another order than by the plain index, and the order in which others generate it.
        let gray = point ^ (point >> 1);
        for bit in 0..BITS {
            if gray & (1 << bit) != 0 {
                *stratum ^= directions[bit];
            }
        }
    }
    strata
}

/// Direction numbers as integers of [`BITS`] bits (Bratley & Fox 1988, ACM Trans. Math. Softw. 14, 88).
fn direction_numbers(dimension: usize) -> [u32; BITS] {
    if dimension == 0 {
        return std::array::from_fn(|bit| 1 << (BITS - 1 - bit));
    }
    let (degree, inner, first) = DIRECTIONS[dimension - 1];
    let mut numbers = [0; BITS];
    for bit in 0..BITS {
        if bit < degree {
            numbers[bit] = first[bit] << (BITS - 1 - bit);
            continue;
        }
        let mut number = numbers[bit - degree] ^ (numbers[bit - degree] >> degree);
        for term in 1..degree {
            if (inner >> (degree - 1 - term)) & 1 == 1 {
                number ^= numbers[bit - term];
            }
        }
        numbers[bit] = number;
    }
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy.stats.qmc.Sobol(12, scramble=False).random(1024) of scipy 1.17, in 1024ths.
    #[test]
    fn the_points_are_those_of_scipy() {
        let expected: [(usize, [u32; DIMENSIONS]); 6] = [
            (1, [512, 512, 512, 512, 512, 512, 512, 512, 512, 512, 512, 512]),
            (2, [768, 256, 256, 256, 768, 768, 256, 768, 768, 768, 768, 768]),
            (8, [192, 320, 960, 448, 576, 320, 448, 960, 960, 320, 704, 64]),
            (15, [64, 960, 576, 320, 704, 192, 832, 320, 320, 704, 64, 192]),
            (777, [709, 959, 167, 281, 651, 365, 195, 781, 357, 331, 763, 713]),
            (1023, [1, 771, 627, 149, 191, 449, 143, 633, 353, 871, 695, 37]),
        ];
        for (point, row) in expected {
            for dimension in 0..DIMENSIONS {
                assert_eq!(strata(dimension)[point], row[dimension], "point {point}, dimension {dimension}");
            }
        }
    }

    #[test]
    fn every_stratum_is_met_once_in_every_dimension() {
        for dimension in 0..DIMENSIONS {
            let mut seen = [false; POINTS];
            for stratum in strata(dimension) {
                assert!(!seen[stratum as usize], "dimension {dimension}");
                seen[stratum as usize] = true;
            }
        }
    }
}
