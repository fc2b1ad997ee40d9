//! Bay 1: UTF-16 text with semicolons, decimal commas, a preamble, and sides as letters.

use shot::{Intent, Quantity};

use super::export::{Encoding, Export, Lines, fixed};
use super::record::{DemoShot, Recorded};

const HEADER: &str =
    "Lfd;Zeitpunkt;Spieler;Schläger;Absicht;Ballgeschw;Abflug;Richtung;Drall;Kippung;Keulengeschw;Weite;Versatz";
/// Kilometres per hour in one metre per second.
const KMH_PER_MPS: f64 = 3.6;

/// Writes a session as the device of bay 1 does.
pub fn export(recorded: &Recorded) -> Export {
    let head = vec![
        "Halle: 1".to_owned(),
        format!("Sitzung: {}", recorded.session.text()),
        format!("Lufttemperatur: {}", with_comma(recorded.weather.air.temperature_c, 1)),
        format!("Luftdruck: {}", fixed(recorded.weather.air.pressure_hpa, 0)),
        format!("Feuchte: {}", fixed(recorded.weather.air.humidity_pct, 0)),
        "---".to_owned(),
        HEADER.to_owned(),
    ];
    let mut lines = Lines::new("\r\n", Encoding::Utf16LittleEndian);
    lines.extend(head);
    for shot in &recorded.shots {
        lines.push_shot(line(shot));
    }
    Export::of_lines(recorded, lines)
}

fn line(shot: &DemoShot) -> String {
    let cell = |quantity: Quantity, write: &dyn Fn(f64) -> String| {
        shot.observed.value(quantity).map_or_else(String::new, write)
    };
    [
        shot.number.to_string(),
        shot.local.format("%Y-%m-%d %H:%M:%S,%3f").to_string(),
        shot.logged_as.to_uppercase(),
        club_word(shot.club_id).to_owned(),
        purpose(shot.intent).to_owned(),
        cell(Quantity::BallSpeedMps, &|value| with_comma(value, 1)),
        cell(Quantity::LaunchElevationDeg, &|value| with_comma(value, 1)),
        cell(Quantity::LaunchAzimuthDeg, &with_side),
        cell(Quantity::SpinRpm, &with_thousands_point),
        cell(Quantity::SpinTiltDeg, &with_side),
        cell(Quantity::ClubSpeedMps, &|value| with_comma(value * KMH_PER_MPS, 1)),
        cell(Quantity::CarryM, &|value| with_comma(value, 1)),
        cell(Quantity::LateralM, &with_side),
    ]
    .join(";")
}

fn with_comma(value: f64, decimals: usize) -> String {
    fixed(value, decimals).replace('.', ",")
}

fn with_side(value: f64) -> String {
    let size = with_comma(value.abs(), 1);
    if value < 0.0 { format!("{size} L") } else { format!("{size} R") }
}

fn with_thousands_point(value: f64) -> String {
    let whole = value.round().max(0.0) as u64;
    if whole < 1000 { whole.to_string() } else { format!("{}.{:03}", whole / 1000, whole % 1000) }
}

fn club_word(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "Holz 3",
        "7-iron" => "Eisen 7",
        _ => "Holz 1",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "Spiel",
        Intent::Drill => "Übung",
        Intent::Partial => "Teilschwung",
        Intent::Demonstration => "Vorführung",
        Intent::WarmUp => "Aufwärmen",
    }
}
