//! Shares and distances against published values.

use practice::{chi_square_two, hotelling_factor, next_vector_factor, wilson};

fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected}");
}

#[test]
fn wilson_intervals_are_newcombe_s() {
    // Newcombe 1998, Statist. Med. 17, 857, table I, method 3 (score, no continuity correction): 81/263 and 15/148;
    // 0/20 and 1/29 of the same table. 7/10 by the same formula.
    let published = [
        (81.0, 263.0, 0.2553, 0.3662),
        (15.0, 148.0, 0.0624, 0.1605),
        (0.0, 20.0, 0.0000, 0.1611),
        (1.0, 29.0, 0.0061, 0.1718),
        (7.0, 10.0, 0.3968, 0.8922),
    ];
    for (successes, count, low, high) in published {
        let interval = wilson(successes, count, 0.95).expect("an interval");
        close(interval.low, low, 5.1e-5);
        close(interval.high, high, 5.1e-5);
    }
}

#[test]
fn a_share_of_nothing_has_no_interval() {
    assert_eq!(wilson(0.0, 0.0, 0.95), None);
    assert_eq!(wilson(5.0, 4.0, 0.95), None);
    assert_eq!(wilson(f64::NAN, 4.0, 0.95), None);
    assert_eq!(wilson(1.0, 4.0, 1.0), None);
}

#[test]
fn hotelling_factors_are_the_tabled_ones() {
    // From F tables: 2 (n + 1)(n - 1) / (n (n - 2)) F(0.95; 2, n - 2).
    for (count, expected) in [(5.0, 30.5667), (10.0, 11.0360), (20.0, 7.8793), (50.0, 6.6447)] {
        close(hotelling_factor(count, 0.95).expect("a factor"), expected, 5e-5);
    }
    // F(0.95; 2, 3) = 9.5521 and F(0.95; 2, 18) = 3.5546 [source: published F tables].
    close(next_vector_factor(4.0, 0.95).expect("a factor"), 8.0 / 3.0 * 9.5521, 2e-4);
    close(next_vector_factor(19.0, 0.95).expect("a factor"), 38.0 / 18.0 * 3.5546, 2e-4);
    assert_eq!(hotelling_factor(2.0, 0.95), None);
}

#[test]
fn many_strikes_approach_chi_square() {
    close(chi_square_two(0.95), 5.991_465, 5e-7); // [source: chi-square tables]
    close(chi_square_two(0.5), 2.0 * std::f64::consts::LN_2, 1e-12);
    close(hotelling_factor(1e7, 0.95).expect("a factor"), chi_square_two(0.95), 1e-4);
}
