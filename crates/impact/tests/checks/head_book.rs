//! The shipped head profiles and what the validation finds.

use impact::{Delivery, Hand, HeadBook, HeadKind, HeadProfile, launch};

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

fn problems_of(change: impl FnOnce(&mut HeadProfile)) -> String {
    let mut head = published_driver();
    change(&mut head);
    HeadBook { heads: vec![head] }.validate().join("\n")
}

#[test]
fn unusable_heads_are_named_with_the_reason() {
    assert_eq!(problems_of(|_| {}), "");
    for (problem, found) in [
        ("mass_kg", problems_of(|head| head.mass_kg = 0.0)),
        ("mass_kg", problems_of(|head| head.mass_kg = f64::NAN)),
        ("restitution", problems_of(|head| head.restitution = 1.2)),
        ("restitution_falloff_per_m2", problems_of(|head| head.restitution_falloff_per_m2 = -1.0)),
        ("bulge_radius_m", problems_of(|head| head.bulge_radius_m = Some(0.0))),
        ("roll_radius_m", problems_of(|head| head.roll_radius_m = Some(f64::INFINITY))),
        ("not metres", problems_of(|head| head.cg_m[0] = -42.3)),
        ("cg_sd_m[1]", problems_of(|head| head.cg_sd_m[1] = 0.0)),
        ("ball_radius_m", problems_of(|head| head.ball_radius_m = -0.02)),
        ("loft_deg", problems_of(|head| head.loft_deg = 100.0)),
        ("not symmetric", problems_of(|head| head.inertia_kg_m2[0][1] = 0.0)),
        (
            "not positive definite",
            problems_of(|head| {
                head.inertia_kg_m2[0][1] = 5000e-7;
                head.inertia_kg_m2[1][0] = 5000e-7;
            }),
        ),
        ("exceeds the sum", problems_of(|head| head.inertia_kg_m2[1][1] = 9000e-7)),
        (
            "not kg m^2",
            problems_of(|head| {
                for entry in head.inertia_kg_m2.iter_mut().flatten() {
                    *entry *= 1e7;
                }
            }),
        ),
        ("not finite", problems_of(|head| head.inertia_kg_m2[2][2] = f64::NAN)),
    ] {
        assert!(found.contains(problem) && found.contains("published-driver"), "{problem}: {found}");
    }
    let twice = HeadBook { heads: vec![published_driver(), published_driver()] };
    assert!(twice.validate().join("\n").contains("twice"));
    assert!(!HeadBook { heads: Vec::new() }.validate().is_empty());
}

#[test]
fn heads_beyond_the_equipment_rules_are_pointed_out() {
    // [source: R&A/USGA Equipment Rules]: inertia 5900 + 100 g cm^2, ball 45.93 g and 42.67 mm, ball speed ratio about 1.52.
    let warnings_of = |change: fn(&mut HeadProfile)| {
        let mut head = published_driver();
        change(&mut head);
        HeadBook { heads: vec![head] }.warnings().join("\n")
    };
    assert_eq!(warnings_of(|_| {}), "");
    assert!(warnings_of(|head| head.inertia_kg_m2[1][1] = 6100e-7).contains("5900"));
    assert!(warnings_of(|head| head.restitution = 0.9).contains("1.52"));
    assert!(warnings_of(|head| head.ball_mass_kg = 0.047).contains("0.04593"));
    assert!(warnings_of(|head| head.ball_radius_m = 0.0205).contains("0.021335"));
    assert!(warnings_of(|head| head.cg_m[0] = 0.01).contains("in front"));
}

#[test]
fn a_misspelt_field_is_refused() {
    let misspelt = HEADS.replacen("restitution_sd", "restitution_deviation", 1);
    assert!(toml::from_str::<HeadBook>(&misspelt).unwrap_err().to_string().contains("restitution_deviation"));
}
