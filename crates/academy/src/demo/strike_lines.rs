//! Bay 3: one JSON object a line, metric, with the strike position.

use serde_json::{Value, json};
use shot::{Intent, Quantity};

use super::export::{Encoding, Export, Lines, rounded};
use super::record::{DemoShot, Recorded};

/// Writes a session as the device of bay 3 does.
pub fn export(recorded: &Recorded) -> Export {
    let mut lines = Lines::new("\n", Encoding::Utf8);
    for shot in &recorded.shots {
        lines.push_shot(line(recorded, shot));
    }
    Export::of_lines(recorded, lines)
}

fn line(recorded: &Recorded, shot: &DemoShot) -> String {
    let seen = |quantity: Quantity, decimals: usize| -> Value {
        shot.observed.value(quantity).map_or(Value::Null, |value| json!(rounded(value, decimals)))
    };
    let strike = match shot.observed.value(Quantity::StrikeToeMm) {
        Some(_) => object(&[
            ("toe", seen(Quantity::StrikeToeMm, 1).to_string()),
            ("high", seen(Quantity::StrikeUpMm, 1).to_string()),
        ]),
        None => "null".to_owned(),
    };
    // Written part by part: the device keeps an order of its own, and the JSON crate would sort the keys.
    let parts = [
        ("session", json!(recorded.session.text()).to_string()),
        ("shot", json!(shot.number).to_string()),
        ("at_ms", json!(shot.at.timestamp_millis()).to_string()),
        ("bay", json!("3").to_string()),
        ("who", json!(shot.logged_as).to_string()),
        ("tool", json!(tool(shot.club_id)).to_string()),
        ("purpose", json!(purpose(shot.intent)).to_string()),
        (
            "ball",
            object(&[
                ("v", seen(Quantity::BallSpeedMps, 2).to_string()),
                ("up", seen(Quantity::LaunchElevationDeg, 2).to_string()),
                ("out", seen(Quantity::LaunchAzimuthDeg, 2).to_string()),
                (
                    "spin",
                    object(&[
                        ("rate", seen(Quantity::SpinRpm, 0).to_string()),
                        ("tilt", seen(Quantity::SpinTiltDeg, 1).to_string()),
                    ]),
                ),
            ]),
        ),
        (
            "club",
            object(&[
                ("v", seen(Quantity::ClubSpeedMps, 2).to_string()),
                ("attack", seen(Quantity::AttackDeg, 2).to_string()),
                ("path", seen(Quantity::PathDeg, 2).to_string()),
                ("face", seen(Quantity::FaceDeg, 2).to_string()),
                ("loft", seen(Quantity::DeliveredLoftDeg, 2).to_string()),
            ]),
        ),
        ("strike", strike),
        (
            "air",
            object(&[
                ("t", json!(recorded.weather.air.temperature_c).to_string()),
                ("p", json!(recorded.weather.air.pressure_hpa).to_string()),
                ("rh", json!(recorded.weather.air.humidity_pct).to_string()),
            ]),
        ),
        (
            "flight",
            object(&[
                ("carry", seen(Quantity::CarryM, 1).to_string()),
                ("side", seen(Quantity::LateralM, 1).to_string()),
                ("measured", "false".to_owned()),
            ]),
        ),
    ];
    object(&parts)
}

fn object(parts: &[(&str, String)]) -> String {
    let members: Vec<String> = parts.iter().map(|(name, value)| format!("{}:{value}", json!(name))).collect();
    format!("{{{}}}", members.join(","))
}

fn tool(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "W3",
        "7-iron" => "I7",
        _ => "DR",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "normal",
        Intent::Drill => "drill",
        Intent::Partial => "partial",
        Intent::Demonstration => "demonstration",
        Intent::WarmUp => "warm-up",
    }
}
