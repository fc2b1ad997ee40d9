//! The week's mean and the trend against closed forms.

use practice::{Measurement, mean_by_sessions, trend};

fn exact(value: f64, session: u32, current: bool) -> Measurement {
    Measurement { value, deviation: 0.0, session, day: 7 * session.cast_signed(), current }
}

const VALUES: [f64; 10] = [3.1, 5.4, 2.2, 8.7, 4.4, 6.1, 1.9, 7.3, 5.0, 3.6];

#[test]
fn one_session_of_exact_values_follows_student() {
    // [derived] One session, exact values: the posterior of its level is Student's t about the plain mean with n - 1 degrees.
    // Quantiles 1.8331 (9 degrees) and 2.1318 (4 degrees) [source: published t tables].
    for (count, quantile) in [(10, 1.8331), (5, 2.1318)] {
        let values: Vec<Measurement> = VALUES[..count].iter().map(|value| exact(*value, 1, true)).collect();
        let mean = VALUES[..count].iter().sum::<f64>() / count as f64;
        let squares: f64 = VALUES[..count].iter().map(|value| (value - mean).powi(2)).sum();
        let margin = quantile * (squares / (count as f64 - 1.0) / count as f64).sqrt();
        let answer = mean_by_sessions(&values, 0.0);
        assert!((answer.mean.expect("a mean") - mean).abs() < 1e-9);
        assert!((answer.mean_high.expect("an end") - mean - margin).abs() < 0.01 * margin, "{count}: {answer:?}");
        assert!((mean - answer.mean_low.expect("an end") - margin).abs() < 0.01 * margin, "{count}: {answer:?}");
        assert_eq!(answer.level, None);
    }
}

#[test]
fn the_total_bears_only_the_errors_of_its_values() {
    // [derived] Errors with a common part c of the variance: deviation of a sum = sqrt(c (sum d)^2 + (1 - c) sum d^2).
    let mut values: Vec<Measurement> = VALUES.iter().map(|value| exact(*value, 1, true)).collect();
    for value in &mut values {
        value.deviation = 2.0;
    }
    let answer = mean_by_sessions(&values, 0.25);
    let margin = 1.644_853_627 * (0.25 * 400.0 + 0.75 * 40.0_f64).sqrt();
    let total: f64 = VALUES.iter().sum();
    assert!((answer.total.expect("a total") - total).abs() < 1e-9);
    assert!((answer.total_high.expect("an end") - total - margin).abs() < 1e-6);
}

#[test]
fn an_error_that_all_share_never_averages_out() {
    let mut values: Vec<Measurement> = (0..400).map(|shot| exact(VALUES[shot % 10], 1, true)).collect();
    for value in &mut values {
        value.deviation = 3.0;
    }
    let answer = mean_by_sessions(&values, 1.0);
    let half = 0.5 * (answer.mean_high.expect("an end") - answer.mean_low.expect("an end"));
    // [derived] At least 1.645 times the shared deviation.
    assert!(half > 1.645 * 3.0 && half < 1.1 * 1.645 * 3.0, "{half}");
}

#[test]
fn equal_sessions_have_the_plain_level_and_a_bad_week_is_drawn_back() {
    let mut values = Vec::new();
    let offsets = [0.4, -0.7, 0.2, 1.0, -0.9, 0.1, -0.3, 2.5];
    for (session, offset) in offsets.iter().enumerate() {
        for value in VALUES {
            values.push(exact(value + offset, session as u32, session == 7));
        }
    }
    let answer = mean_by_sessions(&values, 0.0);
    // [derived] Sessions of one size weigh alike, whatever the components.
    let level = VALUES.iter().sum::<f64>() / 10.0 + offsets.iter().sum::<f64>() / 8.0;
    assert!((answer.level.expect("a level") - level).abs() < 1e-9, "{answer:?}");
    let plain = answer.plain_mean.expect("a mean");
    let mean = answer.mean.expect("a mean");
    assert!(mean < plain && mean > level, "{answer:?}");
    let weight = answer.history_weight.expect("a weight");
    assert!((0.05..0.95).contains(&weight), "{answer:?}");
    // What a next session brings is less sure than the level.
    assert!(answer.next_session_high > answer.level_high && answer.next_session_low < answer.level_low);
}

#[test]
fn a_steady_fall_is_a_trend_and_two_sessions_are_none() {
    let mut values = Vec::new();
    for session in 0..6 {
        for value in VALUES {
            values.push(exact(value - 0.8 * f64::from(session), session, session == 5));
        }
    }
    let answer = trend(&values, 0.2);
    assert_eq!(answer.direction.as_deref(), Some("falling"));
    // [derived] One session a week, 0.8 less each time, no scatter between sessions: the line is exact.
    assert!((answer.per_week.expect("a slope") + 0.8).abs() < 1e-9, "{answer:?}");
    values.retain(|value| value.session < 2);
    let short = trend(&values, 0.2);
    assert_eq!(short.direction.as_deref(), Some("not enough"));
    assert_eq!(short.per_week, None);
    assert_eq!(trend(&[], 0.2).direction.as_deref(), Some("not enough"));
}

#[test]
fn sessions_without_direction_are_no_trend() {
    let mut values = Vec::new();
    for (session, offset) in [0.5, -0.5, 0.6, -0.6, 0.4, -0.4].iter().enumerate() {
        for value in VALUES {
            values.push(exact(value + offset, session as u32, false));
        }
    }
    assert_eq!(trend(&values, 0.0).direction.as_deref(), Some("no clear trend"));
}
