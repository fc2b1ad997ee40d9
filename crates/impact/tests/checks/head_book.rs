//! The shipped head profiles and what the validation finds.

use impact::{Delivery, Hand, HeadBook, HeadFault, HeadKind, HeadProfile, launch};

use crate::common::{HEADS, published_driver, shipped};

#[test]
fn shipped_profiles_are_valid_and_within_the_rules() {
    let book = shipped();
    assert_eq!(book.validate(), Vec::<String>::new());
    assert_eq!(book.warnings(), Vec::<String>::new());
    for name in [
        "published-driver",
        "modern-driver",
        "older-driver",
        "fairway-wood",
        "hybrid",
        "iron-mid",
        "iron-long",
        "wedge",
    ] {
        let head = book.find(name).unwrap_or_else(|| panic!("{name} is missing"));
        assert!(head.nuisance_deviations().iter().all(|deviation| *deviation > 0.0), "{name}");
        let is_wood = matches!(head.kind, HeadKind::Driver | HeadKind::FairwayWood);
        assert_eq!(head.reveals_strike, is_wood, "{name}");
    }
    assert!(book.find("no such head").is_none());
}

#[test]
fn woods_gear_and_irons_hardly_do() {
    // [common practice, no source]: a toe strike curves back toward the heel, with a wood far more than with an iron. On flat
    // faces, so that only the head's rotation makes side spin.
    let side_spin = |head: &HeadProfile, toe: f64| {
        let flat = HeadProfile { bulge_radius_m: None, ..head.clone() };
        let delivery =
            [head.typical_club_speed_mps, head.typical_attack_deg, 0.0, 0.0, head.typical_delivered_loft_deg, toe, 0.0];
        let ball = launch(&flat, &Delivery::from_array(delivery), Hand::Right).unwrap();
        ball.spin_rpm * ball.spin_tilt_deg.to_radians().sin()
    };
    let gear = |head: &HeadProfile| side_spin(head, -15.0) - side_spin(head, 15.0);
    let driver = gear(&published_driver());
    for head in shipped().heads {
        let share = gear(&head) / driver;
        match head.kind {
            HeadKind::Driver | HeadKind::FairwayWood => assert!(share > 0.9, "{}: {share}", head.name),
            HeadKind::Iron | HeadKind::Wedge => assert!(share > 0.0 && share < 0.34, "{}: {share}", head.name),
            HeadKind::Hybrid => assert!(share > 0.34 && share < 0.9, "{}: {share}", head.name),
        }
    }
}

fn faults_of(change: impl FnOnce(&mut HeadProfile)) -> Vec<HeadFault> {
    let mut head = published_driver();
    change(&mut head);
    HeadBook { heads: vec![head] }.faults()
}

#[track_caller]
fn refuses(change: impl FnOnce(&mut HeadProfile), field: &str, problem: &str) {
    let faults = faults_of(change);
    let fault = faults.iter().find(|fault| fault.field == field).unwrap_or_else(|| panic!("{field}: {faults:#?}"));
    assert_eq!(fault.problem, problem);
    let text = fault.to_string();
    let (sentence, hint) = text.split_once("\nhint: ").unwrap();
    assert_eq!(sentence, format!("head `published-driver`: {field} {problem}"));
    assert!(hint.len() > 20 && !hint.contains('\n'), "{hint}");
}

#[test]
fn every_figure_has_its_limits() {
    assert_eq!(faults_of(|_| {}), Vec::new());
    refuses(|head| head.mass_kg = 0.0, "mass_kg", "is 0, must be above 0 and at most 1");
    refuses(|head| head.mass_kg = 204.0, "mass_kg", "is 204, must be above 0 and at most 1");
    refuses(|head| head.mass_kg = f64::NAN, "mass_kg", "is NaN, must be above 0 and at most 1");
    refuses(|head| head.restitution = 1.2, "restitution", "is 1.2, must lie between 0 and 1");
    refuses(
        |head| head.restitution_falloff_per_m2 = -1.0,
        "restitution_falloff_per_m2",
        "is -1, must lie between 0 and 10000",
    );
    refuses(|head| head.bulge_radius_m = Some(0.0), "bulge_radius_m", "is 0, must be above 0.06 and at most 1000");
    refuses(
        |head| head.roll_radius_m = Some(f64::INFINITY),
        "roll_radius_m",
        "is inf, must be above 0.06 and at most 1000",
    );
    refuses(|head| head.friction = 0.0, "friction", "is 0, must be above 0 and at most 100");
    refuses(|head| head.ball_mass_kg = 45.9, "ball_mass_kg", "is 45.9, must be above 0 and at most 0.1");
    refuses(|head| head.ball_radius_m = -0.02, "ball_radius_m", "is -0.02, must be above 0 and at most 0.05");
    refuses(
        |head| head.ball_inertia_factor = 0.9,
        "ball_inertia_factor",
        "is 0.9, must be above 0 and at most 0.6666666666666666",
    );
    refuses(|head| head.cg_m[0] = -42.3, "cg_m[0]", "is -42.3, must lie between -0.15 and 0.15");
    refuses(|head| head.cg_m[2] = f64::NAN, "cg_m[2]", "is NaN, must lie between -0.15 and 0.15");
    refuses(|head| head.cg_m[0] = 0.01, "cg_m[0]", "is 0.01, in front of the face");
    refuses(|head| head.cg_sd_m[1] = 0.0, "cg_sd_m[1]", "is 0, must be above 0 and at most 10000");
    refuses(|head| head.restitution_sd = -1.0, "restitution_sd", "is -1, must be above 0 and at most 10000");
    refuses(
        |head| head.restitution_falloff_sd = 0.0,
        "restitution_falloff_sd",
        "is 0, must be above 0 and at most 10000",
    );
    refuses(|head| head.inertia_scale_sd = 0.0, "inertia_scale_sd", "is 0, must be above 0 and at most 10000");
    refuses(|head| head.bulge_sd_m = 0.0, "bulge_sd_m", "is 0, must be above 0 and at most 10000");
    refuses(|head| head.friction_sd = 0.0, "friction_sd", "is 0, must be above 0 and at most 10000");
    refuses(|head| head.loft_deg = 100.0, "loft_deg", "is 100, must lie between -30 and 80");
    refuses(|head| head.typical_attack_deg = -31.0, "typical_attack_deg", "is -31, must lie between -30 and 80");
    refuses(
        |head| head.typical_delivered_loft_deg = f64::NAN,
        "typical_delivered_loft_deg",
        "is NaN, must lie between -30 and 80",
    );
    refuses(
        |head| head.typical_club_speed_mps = 150.0,
        "typical_club_speed_mps",
        "is 150, must be above 0 and at most 100",
    );
    refuses(
        |head| (head.typical_attack_deg, head.typical_delivered_loft_deg) = (-25.0, 70.0),
        "typical_delivered_loft_deg",
        "is 70, with which the head does not meet the ball",
    );
}

#[test]
fn no_body_has_such_an_inertia() {
    const FIELD: &str = "inertia_kg_m2";
    refuses(|head| head.inertia_kg_m2[2][2] = f64::NAN, FIELD, "holds NaN, not a finite number");
    refuses(|head| head.inertia_kg_m2[0][1] = 0.0, FIELD, "is not symmetric: 0 against -0.0000733");
    let coupled = |head: &mut HeadProfile| {
        head.inertia_kg_m2 = [[3e-4, 4e-4, 0.0], [4e-4, 5e-4, 0.0], [0.0, 0.0, 4e-4]];
    };
    refuses(
        coupled,
        FIELD,
        "[[0.0003, 0.0004, 0.0], [0.0004, 0.0005, 0.0], [0.0, 0.0, 0.0004]] is not positive definite, which every body's is",
    );
    let swapped = |head: &mut HeadProfile| {
        head.inertia_kg_m2 = [[3e-4, 0.0, 0.0], [0.0, 9e-4, 0.0], [0.0, 0.0, 4e-4]];
    };
    refuses(
        swapped,
        FIELD,
        "[[0.0003, 0.0, 0.0], [0.0, 0.0009, 0.0], [0.0, 0.0, 0.0004]] has a moment that exceeds the sum of the other two, which \
         no body has",
    );
    // On these axes each moment is below the sum of the others, on the principal ones (9, 3 and 3 e-4) not.
    let turned = |head: &mut HeadProfile| {
        head.inertia_kg_m2 = [[6e-4, 3e-4, 0.0], [3e-4, 6e-4, 0.0], [0.0, 0.0, 3e-4]];
    };
    refuses(
        turned,
        FIELD,
        "[[0.0006, 0.0003, 0.0], [0.0003, 0.0006, 0.0], [0.0, 0.0, 0.0003]] has a moment that exceeds the sum of the other two, \
         which no body has",
    );
    let flat_plate = |head: &mut HeadProfile| {
        head.inertia_kg_m2 = [[5e-4, 0.0, 0.0], [0.0, 3e-4, 0.0], [0.0, 0.0, 2e-4]];
    };
    assert_eq!(faults_of(flat_plate), Vec::new());
    let in_gram_and_centimetre = |head: &mut HeadProfile| {
        for entry in head.inertia_kg_m2.iter_mut().flatten() {
            *entry *= 1e7;
        }
    };
    refuses(in_gram_and_centimetre, FIELD, "holds 5679, far too large for a club head: not kg m^2?");
}

#[test]
fn a_book_has_heads_with_names_of_their_own() {
    let twice = HeadBook { heads: vec![published_driver(), published_driver()] };
    let faults = twice.faults();
    assert_eq!(faults[0].sentence(), "head `published-driver`: name is \"published-driver\" twice in the book");
    assert!(faults[0].to_string().contains("\nhint: rename one"));
    assert_eq!(twice.validate(), [faults[0].sentence()]);
    let nameless = HeadBook { heads: vec![HeadProfile { name: " ".to_owned(), ..published_driver() }] };
    assert_eq!(nameless.validate(), ["head 1: name is \"\", must hold at least one letter"]);
    let empty = HeadBook { heads: Vec::new() };
    assert_eq!(empty.faults()[0].to_string().lines().next(), Some("head is missing: the book holds no head profile"));
    assert!(empty.faults()[0].to_string().contains("\nhint: write at least one [[head]]"));
}

#[test]
fn a_misspelt_field_is_refused() {
    let misspelt = HEADS.replacen("restitution_sd", "restitution_deviation", 1);
    assert!(toml::from_str::<HeadBook>(&misspelt).unwrap_err().to_string().contains("restitution_deviation"));
}
