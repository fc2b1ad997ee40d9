//! Variance components against textbooks and identities.

use practice::{one_way, random_effects};

/// Yield of dyestuff by batch (Davies and Goldsmith 1972, Statistical Methods in Research and Production, table 6.1; the data
/// set Dyestuff of lme4).
const DYESTUFF: [[f64; 5]; 6] = [
    [1545.0, 1440.0, 1440.0, 1520.0, 1580.0],
    [1540.0, 1555.0, 1490.0, 1560.0, 1495.0],
    [1595.0, 1550.0, 1605.0, 1510.0, 1560.0],
    [1445.0, 1440.0, 1595.0, 1465.0, 1545.0],
    [1595.0, 1630.0, 1515.0, 1635.0, 1625.0],
    [1520.0, 1455.0, 1450.0, 1480.0, 1445.0],
];

#[test]
fn dyestuff_is_as_published() {
    let groups: Vec<Vec<f64>> = DYESTUFF.iter().map(|batch| batch.to_vec()).collect();
    let fit = one_way(&groups).expect("components");
    // Bates 2010, lme4: Mixed-effects modeling with R, 1.3: REML 1764 between and 2451 within batches, mean 1527.5 with a
    // standard error of 19.38.
    assert!((fit.between - 1764.05).abs() < 0.05, "{fit:?}");
    assert!((fit.within - 2451.25).abs() < 0.01, "{fit:?}");
    assert!((fit.mean - 1527.5).abs() < 1e-9);
    assert!((fit.mean_deviation - 19.383).abs() < 0.001, "{fit:?}");
}

#[test]
fn rails_are_as_published() {
    // Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, 1.1: travel times in six rails; REML deviations
    // 24.80547 between and 4.020779 within rails, mean 66.5.
    let rails = [
        [55.0, 53.0, 54.0],
        [26.0, 37.0, 32.0],
        [78.0, 91.0, 85.0],
        [92.0, 100.0, 96.0],
        [49.0, 51.0, 50.0],
        [80.0, 85.0, 83.0],
    ];
    let groups: Vec<Vec<f64>> = rails.iter().map(|rail| rail.to_vec()).collect();
    let fit = one_way(&groups).expect("components");
    assert!((fit.between.sqrt() - 24.80547).abs() < 2e-5, "{fit:?}");
    assert!((fit.within.sqrt() - 4.020_779).abs() < 2e-6, "{fit:?}");
    assert!((fit.mean - 66.5).abs() < 1e-9);
}

#[test]
fn balanced_groups_follow_the_analysis_of_variance() {
    // [derived] Balanced one-way layout: within = MSW, between = (MSB - MSW) / n where positive, else 0 and the pooled
    // variance (Searle, Casella and McCulloch 1992, Variance Components, 4.7).
    let apart = [vec![1.0, 2.0, 4.0], vec![7.0, 9.0, 8.0], vec![3.0, 3.0, 6.0], vec![5.0, 2.0, 5.0]];
    let alike = [vec![1.0, 5.0, 9.0], vec![2.0, 5.0, 8.0], vec![0.0, 5.0, 10.0]];
    for groups in [apart.to_vec(), alike.to_vec()] {
        let (groups_count, size) = (groups.len() as f64, 3.0);
        let grand: f64 = groups.iter().flatten().sum::<f64>() / (groups_count * size);
        let mut inside = 0.0;
        let mut between = 0.0;
        for group in &groups {
            let mean = group.iter().sum::<f64>() / size;
            inside += group.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
            between += size * (mean - grand).powi(2);
        }
        let within_square = inside / (groups_count * (size - 1.0));
        let between_square = between / (groups_count - 1.0);
        let fit = one_way(&groups).expect("components");
        let (within, component) = if between_square > within_square {
            (within_square, (between_square - within_square) / size)
        } else {
            ((inside + between) / (groups_count * size - 1.0), 0.0)
        };
        assert!((fit.within - within).abs() < 1e-6 * within, "{fit:?} {within}");
        assert!((fit.between - component).abs() < 1e-6 * within, "{fit:?} {component}");
    }
}

#[test]
fn eight_schools_show_no_variance_between() {
    // Rubin 1981, J. Educ. Stat. 6, 377; Gelman et al., Bayesian Data Analysis, 5.5: coaching effects of eight schools. The
    // most likely between-variance is 0, and the pooled mean 7.7 with a standard error of 4.1.
    let effects = [28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0];
    let deviations = [15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0];
    let fit = random_effects(&effects, &deviations).expect("components");
    assert!(fit.between.abs() < 1e-12, "{fit:?}");
    assert!((fit.mean - 7.7).abs() < 0.05 && (fit.mean_deviation - 4.1).abs() < 0.05, "{fit:?}");
}

#[test]
fn equal_deviations_have_a_closed_form() {
    // [derived] Equal known variances v: between = sample variance of the means - v.
    let means = [1.0, 4.0, 2.0, 8.0, 5.0];
    let fit = random_effects(&means, &[1.0; 5]).expect("components");
    let sample = means.iter().map(|mean| (mean - 4.0_f64).powi(2)).sum::<f64>() / 4.0;
    assert!((fit.between - (sample - 1.0)).abs() < 1e-6, "{fit:?}");
}

#[test]
fn groups_without_scatter_have_no_components() {
    assert_eq!(one_way(&[vec![1.0, 1.0], vec![2.0, 2.0]]), None);
    assert_eq!(one_way(&[vec![1.0, 2.0]]), None);
    assert_eq!(one_way(&[vec![f64::NAN], vec![]]), None);
    assert_eq!(random_effects(&[1.0], &[1.0]), None);
}
