//! A case the trade knows: a driver that carries about 270 yd centred carries about 230 yd from far out on the toe. Both figures
//! are [common practice, no source]; what a head needs for them is [derived] here.

use impact::{Delivery, Hand, HeadProfile, launch};

use crate::common::{close, published_driver};
use crate::flown::fly_ball;

const YARD_M: f64 = 0.9144;
const CENTRED_CARRY_M: f64 = 270.0 * YARD_M;
const TOE_CARRY_M: f64 = 230.0 * YARD_M;
/// Half the width of a driver's face in mm; common practice, no source.
const HALF_FACE_MM: f64 = 55.0;
/// Beyond this no strike is believed; wider than half a face.
const FURTHEST_STRIKE_MM: f64 = 60.0;

fn carry(head: &HeadProfile, speed: f64, loft: f64, toe_mm: f64) -> f64 {
    let delivery = Delivery::from_array([speed, 0.0, 0.0, 0.0, loft, toe_mm, 0.0]);
    fly_ball(&launch(head, &delivery, Hand::Right).unwrap()).carry_m
}

/// Where a rising function meets 0.
fn root(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    low
}

fn speed_for(head: &HeadProfile, loft: f64) -> f64 {
    root(35.0, 70.0, |speed| carry(head, speed, loft, 0.0) - CENTRED_CARRY_M)
}

/// The side of the strike is the sign: +1 toe, -1 heel.
fn offset_for(head: &HeadProfile, speed: f64, loft: f64, side: f64) -> f64 {
    root(0.0, FURTHEST_STRIKE_MM, |offset| TOE_CARRY_M - carry(head, speed, loft, side * offset))
}

#[test]
fn with_the_loft_of_the_club() {
    let head = published_driver();
    let speed = speed_for(&head, head.loft_deg);
    let toe = offset_for(&head, speed, head.loft_deg, 1.0);
    let heel = offset_for(&head, speed, head.loft_deg, -1.0);
    // Attack 0, default ball, 1.225 kg/m^3, no wind: 51.3 m/s (114.8 mph) of club speed and a strike 43 mm toward the toe.
    close(speed, 51.32, 0.01);
    close(toe, 43.0, 0.05);
    assert!(toe < HALF_FACE_MM, "{toe}");
    // The same loss needs about as much toward the heel.
    close(heel, 40.4, 0.5);
}

#[test]
fn with_the_loft_that_needs_the_least_speed() {
    let head = published_driver();
    let slower_with_more_loft = |loft: f64| speed_for(&head, loft + 0.05) - speed_for(&head, loft - 0.05);
    let loft = root(8.0, 16.0, slower_with_more_loft);
    let speed = speed_for(&head, loft);
    let toe = offset_for(&head, speed, loft, 1.0);
    close(loft, 11.6, 0.2);
    close(speed, 51.05, 0.02);
    close(toe, 47.2, 0.5);
    assert!(toe < HALF_FACE_MM, "{toe}");
}

#[test]
fn every_driver_has_room_for_it() {
    // The lighter to turn, the less far out; all on the face.
    for (name, expected) in [("published-driver", 43.0), ("modern-driver", 36.0), ("older-driver", 27.0)] {
        let head = crate::common::shipped().find(name).unwrap().clone();
        let toe = offset_for(&head, speed_for(&head, 9.8), 9.8, 1.0);
        assert!((toe - expected).abs() < 3.0, "{name}: {toe}");
        assert!(toe < HALF_FACE_MM);
    }
}
