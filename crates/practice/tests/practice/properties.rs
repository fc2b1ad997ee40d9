//! What holds for any data.

use practice::{
    Answer, Measurement, PlanFacts, PracticeStrike, Row, Strike, StrikeSource, mean_by_sessions, practice_effect,
    practice_plan, strike_pattern, trend,
};
use proptest::prelude::*;

use crate::pattern::measured;
use crate::players::{Draws, StrikeHabit};

/// Every number and text of an answer.
fn told<A: Answer>(answer: &A) -> Vec<(Option<f64>, Option<String>)> {
    let mut all = Vec::new();
    for position in 0..A::NUMBERS.len() {
        all.push((answer.number_at(position), None));
    }
    for position in 0..A::TEXTS.len() {
        all.push((None, answer.text_at(position).map(str::to_owned)));
    }
    all
}

fn measurements() -> impl Strategy<Value = Vec<Measurement>> {
    let one = (-5.0..20.0_f64, 0.0..2.0_f64, 0..6_u32);
    prop::collection::vec(one, 6..40).prop_map(|rows| {
        let mut values = Vec::new();
        for (value, deviation, session) in rows {
            let day = 7 * session.cast_signed();
            values.push(Measurement { value, deviation, session, day, current: session >= 4 });
        }
        values
    })
}

fn strikes() -> impl Strategy<Value = Vec<Strike>> {
    let one = (-30.0..30.0_f64, -20.0..20.0_f64, 0.0..4.0_f64, 0..4_u32, any::<bool>());
    prop::collection::vec(one, 6..40).prop_map(|rows| {
        let mut strikes = Vec::new();
        for (toe, up, deviation, session, inferred) in rows {
            let mut strike = measured(toe, up, session, session >= 2);
            (strike.toe_sd_mm, strike.up_sd_mm) = (deviation, deviation);
            if inferred {
                strike.source = StrikeSource::Inferred;
                strike.delivery_measured = Some(true);
            }
            strikes.push(strike);
        }
        strikes
    })
}

fn near(left: Option<f64>, right: Option<f64>, tolerance: f64) -> Result<(), TestCaseError> {
    match (left, right) {
        (Some(left), Some(right)) => prop_assert!((left - right).abs() <= tolerance, "{left} {right}"),
        (left, right) => prop_assert_eq!(left.is_some(), right.is_some()),
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_order_of_the_rows_never_matters(values in measurements(), places in strikes()) {
        let (mut turned, mut turned_places) = (values.clone(), places.clone());
        turned.reverse();
        turned_places.reverse();
        prop_assert_eq!(told(&mean_by_sessions(&values, 0.2)), told(&mean_by_sessions(&turned, 0.2)));
        prop_assert_eq!(told(&trend(&values, 0.2)), told(&trend(&turned, 0.2)));
        prop_assert_eq!(told(&strike_pattern(&places)), told(&strike_pattern(&turned_places)));
    }

    #[test]
    fn another_unit_or_origin_gives_the_same_answer(values in measurements(), shift in -50.0..50.0_f64, scale in 0.5..2.0_f64) {
        let mut other = values.clone();
        for value in &mut other {
            value.value = scale * (value.value + shift);
            value.deviation *= scale;
        }
        let (first, second) = (mean_by_sessions(&values, 0.2), mean_by_sessions(&other, 0.2));
        for (left, right) in [(first.mean, second.mean), (first.mean_low, second.mean_low), (first.level_high, second.level_high)] {
            near(left.map(|left| scale * (left + shift)), right, 1e-5)?;
        }
        near(first.session_deviation.map(|deviation| scale * deviation), second.session_deviation, 1e-5)?;
        near(trend(&values, 0.2).per_week.map(|slope| scale * slope), trend(&other, 0.2).per_week, 1e-5)?;
    }

    #[test]
    fn a_mirrored_pattern_is_the_pattern_mirrored(places in strikes()) {
        let mut other = places.clone();
        for strike in &mut other {
            strike.toe_mm = -strike.toe_mm;
        }
        let (first, second) = (strike_pattern(&places), strike_pattern(&other));
        near(first.mean_toe_mm.map(|toe| -toe), second.mean_toe_mm, 1e-6)?;
        near(first.mean_up_mm, second.mean_up_mm, 1e-6)?;
        near(first.spread_toe_mm, second.spread_toe_mm, 1e-6)?;
        near(first.spread_correlation.map(|correlation| -correlation), second.spread_correlation, 1e-6)?;
        near(first.ellipse_long_mm, second.ellipse_long_mm, 1e-6)?;
        near(first.centre_share, second.centre_share, 1e-9)?;
        near(first.shift_toe_high_mm.map(|toe| -toe), second.shift_toe_low_mm, 1e-6)?;
        near(first.spread_ratio, second.spread_ratio, 1e-6)?;
        prop_assert_eq!(first.change, second.change);
    }

    #[test]
    fn nothing_panics_whatever_the_fields(numbers in prop::collection::vec(prop::option::of(any::<f64>()), 0..25), word in 0..4_usize) {
        let text = ["measured", "linked", "inferred", "else"][word];
        let mut rows = numbers.clone();
        let value = Measurement::from_fields(&rows, &[]);
        let strike = Strike::from_fields(&rows, &[Some(text)]);
        let practised = PracticeStrike::from_fields(&rows, &[Some(text)]);
        let _ = told(&mean_by_sessions(&value.map_or(Vec::new(), |value| vec![value; 7]), f64::NAN));
        let _ = told(&trend(&value.map_or(Vec::new(), |value| vec![value; 7]), 7.0));
        let _ = told(&strike_pattern(&strike.map_or(Vec::new(), |strike| vec![strike; 7])));
        let _ = told(&practice_effect(&practised.map_or(Vec::new(), |strike| vec![strike; 7])));
        rows.resize(20, None);
        if let Some(facts) = PlanFacts::from_fields(&rows, &[]) {
            let plan = practice_plan(&facts);
            prop_assert!(plan.gate_toe_mm >= Some(5.0) && plan.gate_toe_mm <= Some(40.0));
            prop_assert_eq!(plan.gate_toe_mm, plan.gate_heel_mm);
        }
    }
}

#[test]
fn broken_values_are_left_out() {
    let good: Vec<Measurement> = (0..12)
        .map(|shot| Measurement { value: f64::from(shot % 5), deviation: 0.5, session: 1, day: 3, current: true })
        .collect();
    let mut mixed = good.clone();
    for value in [f64::NAN, f64::INFINITY, 1e300] {
        mixed.push(Measurement { value, ..good[0] });
    }
    assert_eq!(told(&mean_by_sessions(&good, 0.2)), told(&mean_by_sessions(&mixed, 0.2)));
    let places: Vec<Strike> =
        (0..9).map(|shot| measured(f64::from(shot), 3.0 * f64::from(shot % 3), 1, true)).collect();
    let mut broken = places.clone();
    broken.push(measured(f64::NAN, 0.0, 1, true));
    broken.push(measured(900.0, 0.0, 1, true));
    assert_eq!(told(&strike_pattern(&places)), told(&strike_pattern(&broken)));
}

#[test]
fn equal_values_have_no_width_and_one_has_no_interval() {
    let one = Measurement { value: 2.5, deviation: 0.0, session: 1, day: 0, current: true };
    let equal = mean_by_sessions(&[one; 8], 0.2);
    assert!((equal.mean.expect("a mean") - 2.5).abs() < 1e-9);
    assert!((equal.mean_high.expect("an end") - equal.mean_low.expect("an end")).abs() < 1e-6);
    let single = mean_by_sessions(&[one], 0.2);
    assert_eq!((single.plain_mean, single.mean), (Some(2.5), None));
    assert!(single.reason.is_some());
    let spot = strike_pattern(&[measured(3.0, 3.0, 1, true); 6]);
    assert!(spot.spread_toe_mm.expect("a spread") < 0.2, "{spot:?}");
    assert_eq!(spot.centre_share, Some(1.0));
    assert_eq!(strike_pattern(&[measured(3.0, 3.0, 1, true)]).identification.as_deref(), Some("not enough"));
}

#[test]
fn huge_counts_are_capped_and_more_data_narrows() {
    let width = |shots: u32| {
        let mut draws = Draws::new(5);
        let mut values = Vec::new();
        for shot in 0..shots {
            values.push(Measurement {
                value: draws.normal(),
                deviation: 0.0,
                session: shot % 2,
                day: 0,
                current: true,
            });
        }
        let answer = mean_by_sessions(&values, 0.0);
        answer.mean_high.expect("an end") - answer.mean_low.expect("an end")
    };
    assert!(width(20) > width(200) && width(200) > width(20_000));
    let ellipse = |size: u32| {
        let habit = StrikeHabit {
            mean: [0.0, 0.0],
            spread: [8.0, 6.0],
            correlation: 0.0,
            session_share: 0.0,
            reading: [1.0, 1.0],
            inferred: false,
        };
        let answer = strike_pattern(&habit.sessions(&mut Draws::new(6), 1, 2, size, true));
        answer.mean_toe_high_mm.expect("an end") - answer.mean_toe_low_mm.expect("an end")
    };
    assert!(ellipse(6) > ellipse(40) && ellipse(40) > ellipse(400));
    // Ten thousand strikes are cut to the latest thousand.
    let many = strike_pattern(&vec![measured(1.0, 1.0, 1, true); 10_000]);
    assert_eq!(many.strikes, Some(1000.0));
}

#[test]
fn tables_name_every_field_once_with_a_unit() {
    fn check<A: Answer>() {
        let mut names: Vec<&str> =
            A::NUMBERS.iter().map(|entry| entry.0).chain(A::TEXTS.iter().map(|entry| entry.0)).collect();
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count);
        for (name, unit, meaning) in A::NUMBERS {
            // A unit in the name is the unit of the table.
            for (ending, expected) in [("_mm", "mm"), ("_deg", "deg"), ("_m", "m")] {
                assert!(!name.ends_with(ending) || unit == &expected, "{name} {unit}");
            }
            assert!(!meaning.is_empty());
        }
    }
    check::<practice::SessionMean>();
    check::<practice::Trend>();
    check::<practice::StrikePattern>();
    check::<practice::PracticeEffect>();
    check::<practice::PracticePlan>();
}
