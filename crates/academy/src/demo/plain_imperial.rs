//! Bay 2: comma-separated text in miles per hour and yards, with American dates and a row of units.

use shot::{Intent, Quantity};

use super::export::{Encoding, Export, Lines, fixed};
use super::record::{DemoShot, Recorded};
use crate::device::{M_PER_YARD, MPS_PER_MPH};

const HEADER: &str = "No,Date,Clock,Golfer,Implement,Purpose,Head Pace,Up/Down,Sweep,Aim of Face,Ball Pace,Rise,Start Line,Total Turn,Axis Lean,Landed,Off Line";
const UNITS: &str = ",M/D/Y,local,,,,mph,deg,deg,deg,mph,deg,deg,rpm,deg,yd,yd";
const MISSING: &str = "--";

/// Writes a session as the device of bay 2 does.
pub fn export(recorded: &Recorded) -> Export {
    let mut lines = Lines::new("\r\n", Encoding::Utf8);
    lines.extend([HEADER.to_owned(), UNITS.to_owned()]);
    for shot in &recorded.shots {
        lines.push_shot(line(shot));
    }
    Export::of_lines(recorded, lines)
}

fn line(shot: &DemoShot) -> String {
    let cell = |quantity: Quantity, unit: f64, decimals: usize| {
        shot.observed.value(quantity).map_or_else(|| MISSING.to_owned(), |value| fixed(value / unit, decimals))
    };
    [
        shot.number.to_string(),
        shot.local.format("%-m/%-d/%Y").to_string(),
        shot.local.format("%-I:%M:%S %p").to_string(),
        super::with_capital(shot.logged_as),
        implement(shot.club_id).to_owned(),
        purpose(shot.intent).to_owned(),
        cell(Quantity::ClubSpeedMps, MPS_PER_MPH, 1),
        cell(Quantity::AttackDeg, 1.0, 1),
        cell(Quantity::PathDeg, 1.0, 1),
        cell(Quantity::FaceDeg, 1.0, 1),
        cell(Quantity::BallSpeedMps, MPS_PER_MPH, 1),
        cell(Quantity::LaunchElevationDeg, 1.0, 1),
        cell(Quantity::LaunchAzimuthDeg, 1.0, 1),
        cell(Quantity::SpinRpm, 1.0, 0),
        cell(Quantity::SpinTiltDeg, 1.0, 1),
        cell(Quantity::CarryM, M_PER_YARD, 1),
        cell(Quantity::LateralM, M_PER_YARD, 1),
    ]
    .join(",")
}

fn implement(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "3 Wood",
        "7-iron" => "7 Iron",
        _ => "Driver",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "Play",
        Intent::Drill => "Drill",
        Intent::Partial => "Partial",
        Intent::Demonstration => "Demo",
        Intent::WarmUp => "Warm-up",
    }
}
