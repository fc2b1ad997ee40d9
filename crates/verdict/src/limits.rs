//! How well the strike can be inferred at all: for every kind of head and every sensible set of measured quantities, from the
//! estimator's own linear algebra.
//!
//! Each row judges one shot that the model itself made, so nothing but the deviations is in it: those of the device
//! ([`DEVICE_SDS`]), of the collision model ([`crate::model_error_sd`]), of the head's profile, and of what is expected of a
//! player of whom nothing is known.

use impact::{Delivery, Hand, HeadProfile};

use crate::model::Model;
use crate::prior::Prior;
use crate::readings::observed_launch;
use crate::strikes::reconstruct;
use crate::unknowns::{HeadKnowledge, Reference, TOE, UP};
use crate::{Evidence, Judge, Known, Settings, Told};

/// Groups of quantities that devices measure together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools, reason = "each group is measured or not, independently")]
pub struct CapabilitySet {
    /// Name of the set in words.
    pub name: &'static str,
    /// Tilt of the spin axis, beside ball speed, start direction and spin rate, which every set has.
    pub spin_axis: bool,
    /// Club speed.
    pub club_speed: bool,
    /// Attack and path.
    pub path: bool,
    /// Face angle.
    pub face: bool,
    /// Whether the face angle is that of the strike point, else of the face centre.
    pub face_at_strike_point: bool,
    /// Delivered loft.
    pub loft: bool,
    /// Both axes of the strike.
    pub strike: bool,
    /// Whether the strike was linked from a separate record, else measured with the shot.
    pub strike_linked: bool,
}

const fn set(name: &'static str, groups: [bool; 6]) -> CapabilitySet {
    let [spin_axis, club_speed, path, face, loft, strike] = groups;
    CapabilitySet {
        name,
        spin_axis,
        club_speed,
        path,
        face,
        face_at_strike_point: false,
        loft,
        strike,
        strike_linked: false,
    }
}

const fn at_strike_point(of: CapabilitySet, name: &'static str) -> CapabilitySet {
    CapabilitySet { name, face_at_strike_point: true, ..of }
}

const fn linked(of: CapabilitySet, name: &'static str) -> CapabilitySet {
    CapabilitySet { name, strike_linked: true, ..of }
}

/// The sensible sets, from the ball alone to the measured strike.
pub const CAPABILITY_SETS: [CapabilitySet; 13] = [
    set("ball", [false, false, false, false, false, false]),
    set("ball with spin axis", [true, false, false, false, false, false]),
    set("and club speed", [true, true, false, false, false, false]),
    set("and attack, path", [true, true, true, false, false, false]),
    set("and loft, without face", [true, true, true, false, true, false]),
    set("and face, without loft", [true, true, true, true, false, false]),
    set("whole delivery", [true, true, true, true, true, false]),
    set("ball and measured strike", [true, false, false, false, false, true]),
    set("whole delivery and measured strike", [true, true, true, true, true, true]),
    at_strike_point(set("", [true, true, true, true, false, false]), "and face at the strike point, without loft"),
    at_strike_point(set("", [true, true, true, true, true, false]), "whole delivery, face at the strike point"),
    linked(set("", [true, false, false, false, false, true]), "ball and linked strike"),
    linked(set("", [true, true, true, true, true, true]), "whole delivery and linked strike"),
];

/// Usual deviations of devices, in the order of the rows' quantities: ball speed 0.3 m/s, start 0.2 and 0.2 deg, spin 80 rpm, tilt
/// 1.2 deg; club speed 0.4 m/s, attack 0.6, path 0.6, face 0.6, loft 0.8 deg; strike 1.5 mm. Common practice, no source.
pub const DEVICE_SDS: [f64; 11] = [0.3, 0.2, 0.2, 80.0, 1.2, 0.4, 0.6, 0.6, 0.6, 0.8, 1.5];

/// Deviation of a strike that was linked from a separate record, such as a mark on the face, mm. Common practice, no source.
pub const LINKED_STRIKE_SD: f64 = 3.0;

/// How well one head's strike is known by one capability set.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Name of the head profile.
    pub head: String,
    /// What was measured.
    pub set: CapabilitySet,
    /// Posterior deviation of the strike toward the toe, mm.
    pub toe_sd_mm: f64,
    /// Posterior deviation of the strike toward the crown, mm.
    pub up_sd_mm: f64,
    /// Deviation of the carry lost to the strike, m; missing where it is not told.
    pub carry_lost_sd_m: Option<f64>,
    /// Whether what the strike did is told.
    pub told: bool,
    /// Why it is not told.
    pub reason: Option<String>,
}

/// The limits of some heads, each with its typical delivery and a strike at (toe, up) in mm, by every capability set. Heads that
/// do not meet the ball there have no rows.
pub fn limits(judge: &Judge, heads: &[HeadProfile], strike_mm: (f64, f64)) -> Vec<Limit> {
    let mut rows = Vec::new();
    for head in heads {
        for set in CAPABILITY_SETS {
            rows.extend(limit(judge, head, set, strike_mm));
        }
    }
    rows
}

/// The limits as a table in Markdown, for a strike 10 mm toward the toe; deviations in mm and m.
pub fn markdown(heads: &[HeadProfile]) -> String {
    let mut text = String::from(
        "| head | measured, beside ball speed, start and spin rate | toe +- mm | up +- mm | carry lost +- m | what the strike did |\n|---|---|---|---|---|---|\n",
    );
    for row in limits(&Judge::new(Settings::default()), heads, (10.0, 0.0)) {
        let lost = row.carry_lost_sd_m.map_or("-".to_owned(), |sd| format!("{sd:.1}"));
        let told = if row.told { "told" } else { row.reason.as_deref().unwrap_or("not told") };
        let (toe, up) = (row.toe_sd_mm, row.up_sd_mm);
        let (head, set) = (row.head, row.set.name);
        text.extend([format!("| {head} | {set} | {toe:.1} | {up:.1} | {lost} | {told} |\n")]);
    }
    text
}

fn limit(judge: &Judge, head: &HeadProfile, set: CapabilitySet, strike_mm: (f64, f64)) -> Option<Limit> {
    let evidence = evidence_of(head, set, strike_mm)?;
    let model = Model::new(&evidence, head);
    let known = HeadKnowledge::of(&evidence, &model);
    let prior = Prior::new(&evidence, &Reference::of(&evidence, &model, &known), &known);
    let strikes = reconstruct(&observed_launch(&evidence), &prior, &model, &evidence)?;
    let verdict = judge.judge(&evidence, head);
    Some(Limit {
        head: head.name.clone(),
        set,
        toe_sd_mm: strikes.unknown(TOE).1,
        up_sd_mm: strikes.unknown(UP).1,
        carry_lost_sd_m: verdict.get(Told::CarryLostToStrikeSd),
        told: verdict.get(Told::CarryLostToStrike).is_some(),
        reason: verdict.reason,
    })
}

/// The shot that the model makes of the head's typical delivery, as a device of the set reports it.
fn evidence_of(head: &HeadProfile, set: CapabilitySet, strike_mm: (f64, f64)) -> Option<Evidence> {
    let delivery = Delivery {
        club_speed_mps: head.typical_club_speed_mps,
        attack_deg: head.typical_attack_deg,
        path_deg: 0.0,
        face_deg: 0.0,
        delivered_loft_deg: head.typical_delivered_loft_deg,
        strike_toe_mm: strike_mm.0,
        strike_up_mm: strike_mm.1,
    };
    let launch = impact::launch(head, &delivery, Hand::Right)?;
    let [ball_speed, elevation, azimuth, spin, tilt] = launch.to_array();
    let face = if set.face_at_strike_point { face_at_strike(head, &delivery) } else { delivery.face_deg };
    let mut evidence = Evidence::default();
    let quantities = [
        (true, Known::BallSpeed, Known::BallSpeedSd, ball_speed),
        (true, Known::LaunchElevation, Known::LaunchElevationSd, elevation),
        (true, Known::LaunchAzimuth, Known::LaunchAzimuthSd, azimuth),
        (true, Known::Spin, Known::SpinSd, spin),
        (set.spin_axis, Known::SpinTilt, Known::SpinTiltSd, tilt),
        (set.club_speed, Known::ClubSpeed, Known::ClubSpeedSd, delivery.club_speed_mps),
        (set.path, Known::Attack, Known::AttackSd, delivery.attack_deg),
        (set.path, Known::Path, Known::PathSd, delivery.path_deg),
        (set.face, Known::Face, Known::FaceSd, face),
        (set.loft, Known::DeliveredLoft, Known::DeliveredLoftSd, delivery.delivered_loft_deg),
        (set.strike, Known::StrikeToe, Known::StrikeSd, strike_mm.0),
    ];
    for ((measured, value, deviation, number), sd) in quantities.into_iter().zip(DEVICE_SDS) {
        if measured {
            evidence.set(value, Some(number));
            evidence.set(deviation, Some(sd));
        }
    }
    evidence.face_at_strike_point = set.face_at_strike_point;
    evidence.strike_linked = set.strike_linked;
    if set.strike_linked {
        evidence.set(Known::StrikeSd, Some(LINKED_STRIKE_SD));
    }
    evidence.set(Known::StrikeUp, set.strike.then_some(strike_mm.1));
    evidence.set(Known::ReferenceClubSpeed, Some(delivery.club_speed_mps));
    Some(evidence)
}

/// The azimuth of the normal where a delivery strikes the face, right-handed.
fn face_at_strike(head: &HeadProfile, delivery: &Delivery<f64>) -> f64 {
    let offset = |along_mm: f64, radius: Option<f64>| radius.map_or(0.0, |radius| (1e-3 * along_mm / radius).asin());
    let elevation = delivery.delivered_loft_deg.to_radians() + offset(delivery.strike_up_mm, head.roll_radius_m);
    let bulge = offset(delivery.strike_toe_mm, head.bulge_radius_m);
    delivery.face_deg + bulge.sin().atan2(bulge.cos() * elevation.cos()).to_degrees()
}
