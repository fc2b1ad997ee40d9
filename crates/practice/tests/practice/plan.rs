//! The plan: rules, reasons, the gate.

use practice::{CAUTIONS, LEAST_CLEARANCE_MM, MOST_CLEARANCE_MM, PlanFacts, practice_plan};

fn facts() -> PlanFacts {
    PlanFacts {
        shots: 40.0,
        shots_judged: 38.0,
        misses: 16.0,
        misses_strike: 2.0,
        misses_delivery: 2.0,
        carry_lost_mean_m: Some(2.0),
        carry_lost_low_m: Some(0.5),
        reference_carry_m: Some(200.0),
        tighter_strike_gain_m: Some(1.4),
        faster_club_gain_m: Some(3.9),
        next_strike: Some([8.0, 10.0, 1.0, 7.0, 30.0]),
        ..PlanFacts::default()
    }
}

fn advice(facts: &PlanFacts) -> (String, String) {
    let plan = practice_plan(facts);
    (plan.practise_next.expect("advice"), plan.practise_why.expect("a reason"))
}

#[test]
fn a_dear_strike_comes_first_if_its_price_is_clear() {
    let dear = PlanFacts { carry_lost_mean_m: Some(7.0), carry_lost_low_m: Some(4.0), ..facts() };
    let (next, why) = advice(&dear);
    assert_eq!(next, "strike first");
    assert!(why.contains("3.5 % of the carry"), "{why}");
    let unclear = PlanFacts { carry_lost_low_m: Some(-1.0), ..dear };
    assert_eq!(advice(&unclear).0, "keep going");
    // Delivery misses that far outweigh the strike's ask for a higher price.
    let outweighed = PlanFacts { misses_delivery: 12.0, ..dear };
    assert_eq!(advice(&outweighed).0, "delivery first");
    let dearer = PlanFacts { carry_lost_mean_m: Some(9.5), ..outweighed };
    assert_eq!(advice(&dearer).0, "strike first");
}

#[test]
fn the_frequent_cause_comes_first_and_the_delivery_must_lead_clearly() {
    let strike = PlanFacts { misses_strike: 14.0, ..facts() };
    assert_eq!(advice(&strike).0, "strike first");
    let delivery = PlanFacts { misses_delivery: 14.0, ..facts() };
    assert_eq!(advice(&delivery).0, "delivery first");
    let nearly_even = PlanFacts { misses: 27.0, misses_delivery: 14.0, misses_strike: 13.0, ..facts() };
    let (next, why) = advice(&nearly_even);
    assert_eq!(next, "keep going");
    assert!(why.contains("neither clearly leads"), "{why}");
    let even = PlanFacts { misses: 28.0, misses_delivery: 14.0, misses_strike: 14.0, ..facts() };
    assert_eq!(advice(&even).0, "strike first");
}

#[test]
fn too_few_shots_say_what_is_missing() {
    let few = PlanFacts { shots: 6.0, shots_judged: 6.0, ..facts() };
    assert_eq!(advice(&few).0, "not enough shots");
    assert!(advice(&few).1.contains("only 6 full shots"));
    let unjudged = PlanFacts { shots_judged: 3.0, ..facts() };
    assert!(advice(&unjudged).1.contains("only 3 of 40"));
    assert_eq!(advice(&PlanFacts::default()).0, "not enough shots");
    let broken = PlanFacts { shots: f64::NAN, misses_strike: -4.0, carry_lost_mean_m: Some(f64::INFINITY), ..facts() };
    assert_eq!(advice(&broken).0, "not enough shots");
}

#[test]
fn the_gate_is_centred_and_the_same_for_both_hands() {
    let plan = practice_plan(&facts());
    assert_eq!(plan.gate_toe_mm, plan.gate_heel_mm);
    assert_eq!(plan.gate_high_mm, plan.gate_low_mm);
    assert_eq!(plan.gate_basis.as_deref(), Some("pattern"));
    let share = plan.gate_pass_share.expect("a share");
    assert!((0.7..0.75).contains(&share), "{share}");
    let mirrored = practice_plan(&PlanFacts { next_strike: Some([-8.0, 10.0, 1.0, 7.0, 30.0]), ..facts() });
    assert_eq!((plan.gate_toe_mm, plan.gate_heel_mm), (mirrored.gate_toe_mm, mirrored.gate_heel_mm));
    assert!((share - mirrored.gate_pass_share.expect("a share")).abs() < 1e-12);
}

#[test]
fn the_gate_keeps_its_limits() {
    let tight = practice_plan(&PlanFacts { next_strike: Some([0.0, 1.0, 0.0, 1.0, 30.0]), ..facts() });
    assert_eq!(tight.gate_toe_mm, Some(LEAST_CLEARANCE_MM));
    let wild = practice_plan(&PlanFacts { next_strike: Some([60.0, 30.0, 0.0, 9.0, 5.0]), ..facts() });
    assert_eq!((wild.gate_toe_mm, wild.gate_basis.as_deref()), (Some(MOST_CLEARANCE_MM), Some("wide")));
    let unknown = practice_plan(&PlanFacts { next_strike: None, ..facts() });
    // P(|z| < 1.0364) = 0.70 [source: normal tables]: 12 mm times it is 12.4, so 13.
    assert_eq!((unknown.gate_toe_mm, unknown.gate_basis.as_deref()), (Some(13.0), Some("usual")));
    assert_eq!(unknown.gate_pass_share, None);
    let broken = practice_plan(&PlanFacts { next_strike: Some([f64::NAN, 0.0, 0.0, 0.0, 0.0]), ..facts() });
    assert_eq!(broken.gate_basis.as_deref(), Some("usual"));
}

#[test]
fn gains_stand_side_by_side_and_cautions_are_the_usual_ones() {
    let comparison = practice_plan(&facts()).comparison.expect("a comparison");
    assert!(comparison.contains("1.4 m") && comparison.contains("3.9 m"), "{comparison}");
    assert_eq!(practice_plan(&PlanFacts { faster_club_gain_m: None, ..facts() }).comparison, None);
    let all = CAUTIONS.join(" ");
    for word in
        ["clear hitting area", "in front", "beside", "soft posts or tees", "pain", "local rules", "coach decides"]
    {
        assert!(all.contains(word), "{word}");
    }
}

#[test]
fn a_week_without_a_priority_is_not_called_quiet_when_it_is_not() {
    let quiet = PlanFacts { misses: 3.0, misses_strike: 0.0, ..facts() };
    let (next, why) = advice(&quiet);
    assert_eq!(next, "keep going");
    assert!(why.ends_with("nothing stands out") && why.contains("none mended by the strike alone"), "{why}");
    // Seven of forty are too few to reach the threshold, and all of one kind.
    let leaning = PlanFacts { misses: 9.0, misses_strike: 0.0, misses_delivery: 7.0, ..facts() };
    let (next, why) = advice(&leaning);
    assert_eq!(next, "keep going");
    assert!(why.contains("come from the delivery") && !why.contains("nothing stands out"), "{why}");
    let leaning = PlanFacts { misses: 9.0, misses_strike: 7.0, misses_delivery: 0.0, ..facts() };
    assert!(advice(&leaning).1.contains("come from the strike"));
    let untold = PlanFacts { misses: 9.0, misses_strike: 0.0, misses_delivery: 0.0, misses_untold: 9.0, ..facts() };
    assert!(advice(&untold).1.contains("unknown cause"));
    // A price without misses names no misses.
    let dear = PlanFacts {
        misses: 0.0,
        misses_strike: 0.0,
        misses_delivery: 0.0,
        carry_lost_mean_m: Some(9.0),
        carry_lost_low_m: Some(4.0),
        ..facts()
    };
    assert!(!advice(&dear).1.contains("0 of 0"), "{}", advice(&dear).1);
}
