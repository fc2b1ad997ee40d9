//! Linear fits against certified and published values.

use practice::{huber, huber_location, least_squares, ridge, shrink_to_mean};

use crate::longley::LONGLEY;

/// Agreement to a relative difference.
fn agrees(value: f64, expected: f64, relative: f64) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{value} is not {expected}");
}

/// NIST StRD, linear regression, Norris: observed, predictor (36 pairs).
const NORRIS: [(f64, f64); 36] = [
    (0.1, 0.2),
    (338.8, 337.4),
    (118.1, 118.2),
    (888.0, 884.6),
    (9.2, 10.1),
    (228.1, 226.5),
    (668.5, 666.3),
    (998.5, 996.3),
    (449.1, 448.6),
    (778.9, 777.0),
    (559.2, 558.2),
    (0.3, 0.4),
    (0.1, 0.6),
    (778.1, 775.5),
    (668.8, 666.9),
    (339.3, 338.0),
    (448.9, 447.5),
    (10.8, 11.6),
    (557.7, 556.0),
    (228.3, 228.1),
    (998.0, 995.8),
    (888.8, 887.6),
    (119.6, 120.2),
    (0.3, 0.3),
    (0.6, 0.3),
    (557.6, 556.8),
    (339.3, 339.1),
    (888.0, 887.2),
    (998.5, 999.0),
    (778.9, 779.0),
    (10.2, 11.1),
    (117.6, 118.3),
    (228.9, 229.2),
    (668.4, 669.1),
    (449.2, 448.9),
    (0.2, 0.5),
];

#[test]
fn norris_is_certified_to_eleven_digits() {
    let rows: Vec<Vec<f64>> = NORRIS.iter().map(|pair| vec![1.0, pair.1]).collect();
    let observed: Vec<f64> = NORRIS.iter().map(|pair| pair.0).collect();
    let fit = least_squares(&rows, &observed).expect("a fit");
    // NIST StRD Norris, certified values.
    agrees(fit.coefficients[0], -0.262_323_073_774_029, 1e-11);
    agrees(fit.coefficients[1], 1.002_116_818_020_45, 1e-13);
    agrees(fit.deviations[0], 0.232_818_234_301_152, 1e-11);
    agrees(fit.deviations[1], 0.429_796_848_199_937e-3, 1e-11);
    agrees(fit.residual_deviation, 0.884_796_396_144_373, 1e-11);
    agrees(fit.r_squared, 0.999_993_745_883_712, 1e-13);
}

#[test]
fn a_line_through_the_origin_is_certified() {
    let rows: Vec<Vec<f64>> = (60..=70).map(|x| vec![f64::from(x)]).collect();
    let observed: Vec<f64> = (130..=140).map(f64::from).collect();
    let fit = least_squares(&rows, &observed).expect("a fit");
    // NIST StRD NoInt1, certified values; R squared is about zero.
    agrees(fit.coefficients[0], 2.074_380_165_289_26, 1e-13);
    agrees(fit.deviations[0], 0.165_289_256_198_347e-1, 1e-12);
    agrees(fit.residual_deviation, 3.567_530_340_063_38, 1e-12);
    agrees(fit.r_squared, 0.999_365_492_298_663, 1e-13);
}

#[test]
fn longley_is_certified_to_nine_digits() {
    let rows: Vec<Vec<f64>> = LONGLEY.iter().map(|row| [&[1.0], &row[1..]].concat()).collect();
    let observed: Vec<f64> = LONGLEY.iter().map(|row| row[0]).collect();
    let fit = least_squares(&rows, &observed).expect("a fit");
    // NIST StRD Longley, certified values. The design's condition number of about 5e9 takes that many digits.
    let coefficients = [
        -3_482_258.634_595_82,
        15.061_872_271_373_3,
        -0.358_191_792_925_910e-1,
        -2.020_229_803_816_83,
        -1.033_226_867_173_59,
        -0.511_041_056_535_807e-1,
        1_829.151_464_613_55,
    ];
    let deviations = [
        890_420.383_607_373,
        84.914_925_774_764_6,
        0.334_910_077_722_432e-1,
        0.488_399_681_651_699,
        0.214_274_163_161_675,
        0.226_073_200_069_370,
        455.478_499_142_212,
    ];
    for column in 0..7 {
        agrees(fit.coefficients[column], coefficients[column], 1e-9);
        agrees(fit.deviations[column], deviations[column], 1e-9);
    }
    agrees(fit.residual_deviation, 304.854_073_561_965, 1e-9);
    agrees(fit.r_squared, 0.995_479_004_577_296, 1e-11);
}

#[test]
fn ridge_on_longley_is_faraway_s() {
    let rows: Vec<Vec<f64>> = LONGLEY.iter().map(|row| row[1..].to_vec()).collect();
    let observed: Vec<f64> = LONGLEY.iter().map(|row| row[0] / 1000.0).collect();
    // Faraway 2002, Practical Regression and Anova using R, chapter 9 (penalty 0, then 0.03) [memory]; numpy's solution of
    // (Z'Z + strength I) b = Z'y on the same data agrees to all digits given.
    let published = [
        (0.0, [0.15738, -3.44719, -1.82789, -0.69621, -0.34420, 8.43197]),
        (0.03, [0.22005, 0.76936, -1.18941, -0.52234, -0.68618, 4.00643]),
    ];
    for (strength, expected) in published {
        let fit = ridge(&rows, &observed, strength).expect("a fit");
        for column in 0..6 {
            assert!((fit[column] - expected[column]).abs() < 6e-6, "{strength}: {fit:?}");
        }
    }
}

#[test]
fn huber_on_stackloss_is_statsmodels_documented_result() {
    // Brownlee 1965: air flow, water temperature, acid concentration, loss (the data set stackloss of R and statsmodels).
    const STACKLOSS: [[f64; 4]; 21] = [
        [80.0, 27.0, 89.0, 42.0],
        [80.0, 27.0, 88.0, 37.0],
        [75.0, 25.0, 90.0, 37.0],
        [62.0, 24.0, 87.0, 28.0],
        [62.0, 22.0, 87.0, 18.0],
        [62.0, 23.0, 87.0, 18.0],
        [62.0, 24.0, 93.0, 19.0],
        [62.0, 24.0, 93.0, 20.0],
        [58.0, 23.0, 87.0, 15.0],
        [58.0, 18.0, 80.0, 14.0],
        [58.0, 18.0, 89.0, 14.0],
        [58.0, 17.0, 88.0, 13.0],
        [58.0, 18.0, 82.0, 11.0],
        [58.0, 19.0, 93.0, 12.0],
        [50.0, 18.0, 89.0, 8.0],
        [50.0, 18.0, 86.0, 7.0],
        [50.0, 19.0, 72.0, 8.0],
        [50.0, 19.0, 79.0, 8.0],
        [50.0, 20.0, 80.0, 9.0],
        [56.0, 20.0, 82.0, 15.0],
        [70.0, 20.0, 91.0, 15.0],
    ];
    let rows: Vec<Vec<f64>> = STACKLOSS.iter().map(|row| [&[1.0], &row[..3]].concat()).collect();
    let observed: Vec<f64> = STACKLOSS.iter().map(|row| row[3]).collect();
    let fit = huber(&rows, &observed).expect("a fit");
    // statsmodels.org, Robust Linear Models: RLM with HuberT(), params of the documented example.
    for (value, expected) in fit.coefficients.iter().zip([-41.026_498, 0.829_384, 0.926_066, -0.127_847]) {
        agrees(*value, expected, 5e-6);
    }
}

#[test]
fn a_wild_shot_moves_the_robust_middle_little() {
    let mut values = vec![1.0, 2.0, 3.0, 4.0, 5.0];
    assert!((huber_location(&values).expect("a middle") - 3.0).abs() < 1e-9);
    values.push(1000.0);
    values.push(f64::NAN);
    let middle = huber_location(&values).expect("a middle");
    assert!((3.0..4.6).contains(&middle), "{middle}");
    assert_eq!(huber_location(&[f64::NAN]), None);
}

#[test]
fn eighteen_averages_shrink_by_efron_and_morris_s_factor() {
    // Efron and Morris 1977, Scientific American 236 (5), 119: averages after 45 trials; the factor is 0.212.
    let averages = [
        0.400, 0.378, 0.356, 0.333, 0.311, 0.311, 0.289, 0.267, 0.244, 0.244, 0.222, 0.222, 0.222, 0.222, 0.222, 0.200,
        0.178, 0.156,
    ];
    let common = averages.iter().sum::<f64>() / 18.0;
    let shrunken = shrink_to_mean(&averages, common * (1.0 - common) / 45.0).expect("means");
    assert!((shrunken.kept - 0.212).abs() < 6e-4, "{}", shrunken.kept);
    assert!((shrunken.common - 0.265).abs() < 6e-4);
    // The same article: the highest, 0.400, becomes 0.294; the lowest, 0.156, becomes 0.242.
    assert!((shrunken.means[0] - 0.294).abs() < 6e-4 && (shrunken.means[17] - 0.242).abs() < 6e-4, "{shrunken:?}");
}

#[test]
fn fits_refuse_what_they_cannot_tell() {
    let same = vec![vec![1.0, 2.0, 4.0]; 5];
    assert_eq!(least_squares(&same, &[1.0, 2.0, 3.0, 4.0, 5.0]), None);
    assert_eq!(least_squares(&[vec![1.0]], &[1.0]), None);
    assert_eq!(least_squares(&[vec![1.0], vec![f64::NAN]], &[1.0, 2.0]), None);
    assert_eq!(ridge(&[vec![1.0], vec![2.0], vec![3.0]], &[1.0, 2.0, 3.0], -1.0), None);
    assert_eq!(shrink_to_mean(&[1.0, 2.0, 3.0], 1.0), None);
}
