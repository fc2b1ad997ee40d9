//! Heads and helpers of several tests.

use impact::{Delivery, HeadBook, HeadKind, HeadProfile};

pub const HEADS: &str = include_str!("../../../../config/heads.toml");

pub fn shipped() -> HeadBook {
    toml::from_str(HEADS).unwrap()
}

pub fn published_driver() -> HeadProfile {
    shipped().find("published-driver").unwrap().clone()
}

/// A flat head of 200 g, restitution 0.83, centre of gravity on the face's normal, with one moment of inertia about every
/// axis, and a grip that never slips.
pub fn plain_head(depth_m: f64, inertia_kg_m2: f64) -> HeadProfile {
    let mut inertia = [[0.0; 3]; 3];
    for (axis, row) in inertia.iter_mut().enumerate() {
        row[axis] = inertia_kg_m2;
    }
    HeadProfile {
        name: "plain".to_owned(),
        kind: HeadKind::Driver,
        mass_kg: 0.2,
        cg_m: [-depth_m, 0.0, 0.0],
        inertia_kg_m2: inertia,
        restitution: 0.83,
        restitution_falloff_per_m2: 0.0,
        loft_deg: 0.0,
        bulge_radius_m: None,
        roll_radius_m: None,
        friction: 1e6,
        ball_mass_kg: 0.045_93,
        ball_radius_m: 0.021_335,
        ball_inertia_factor: 0.4,
        restitution_sd: 0.015,
        restitution_falloff_sd: 40.0,
        inertia_scale_sd: 0.1,
        cg_sd_m: [0.003, 0.002, 0.002],
        bulge_sd_m: 0.015,
        friction_sd: 0.05,
        typical_club_speed_mps: 42.0,
        typical_attack_deg: 0.0,
        typical_delivered_loft_deg: 12.0,
        reveals_strike: true,
    }
}

/// So heavy to turn that the head's rotation is beyond the printed digits.
pub fn unturning_head() -> HeadProfile {
    plain_head(0.0, 1e9)
}

/// Speed 44.704 m/s (100 mph), attack, path and face 0.
pub fn square(delivered_loft_deg: f64, strike_toe_mm: f64, strike_up_mm: f64) -> Delivery {
    Delivery {
        club_speed_mps: 44.704,
        attack_deg: 0.0,
        path_deg: 0.0,
        face_deg: 0.0,
        delivered_loft_deg,
        strike_toe_mm,
        strike_up_mm,
    }
}

#[track_caller]
pub fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected} within {tolerance}");
}
