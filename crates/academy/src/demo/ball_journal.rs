//! Bay 6: one JSON document a session with turns and their strokes, Spanish words; the ball alone, its spin only computed.

use serde_json::json;
use shot::{Intent, Quantity};

use super::export::{Encoding, Export, Lines, fixed, runs};
use super::record::{DemoShot, Recorded};

/// Writes a session as the device of bay 6 does.
pub fn export(recorded: &Recorded) -> Export {
    let session = &recorded.session;
    let air = &recorded.weather.air;
    let mut lines = Lines::new("\n", Encoding::Utf8);
    lines.push(format!("{{\"sala\":{},\"cuaderno\":{},\"turnos\":[", session.bay.id(), json!(session.text())));
    let turns = runs(&recorded.shots).count();
    for (turn, run) in runs(&recorded.shots).enumerate() {
        let DemoShot { logged_as, club_id, intent, .. } = &run[0];
        lines.push(format!(
            "{{\"quien\":{},\"palo\":{},\"motivo\":{},\"golpes\":[",
            json!(logged_as),
            json!(club_word(club_id)),
            json!(purpose(*intent))
        ));
        for (position, shot) in run.iter().enumerate() {
            lines.push_shot(format!("{}{}", stroke(shot), if position + 1 < run.len() { "," } else { "" }));
        }
        lines.push(format!("]}}{}", if turn + 1 < turns { "," } else { "" }));
    }
    lines.push(format!(
        "],\"aire\":{{\"grados\":{},\"hPa\":{},\"humedad\":{}}}}}",
        fixed(air.temperature_c, 1),
        fixed(air.pressure_hpa, 0),
        fixed(air.humidity_pct, 0)
    ));
    Export::of_lines(recorded, lines)
}

fn stroke(shot: &DemoShot) -> String {
    let quantity = |quantity: Quantity, unit: &str, decimals: usize| match shot.observed.value(quantity) {
        Some(value) => format!("{{\"valor\":{},\"unidad\":{}}}", fixed(value, decimals), json!(unit)),
        None => "null".to_owned(),
    };
    let spin = |quantity: Quantity| shot.observed.value(quantity).unwrap_or(0.0);
    let (rate, tilt) = (spin(Quantity::SpinRpm), spin(Quantity::SpinTiltDeg).to_radians());
    let millis = shot.at.timestamp_millis();
    format!(
        "{{\"orden\":{},\"cuando\":{}.{:03},\"bola\":{{\"rapidez\":{},\"subida\":{},\"lado\":{}}},\
         \"giro\":{{\"atras\":{},\"derecha\":{}}},\"vuelo\":{{\"largo\":{},\"desvio\":{}}}}}",
        shot.number,
        millis / 1000,
        millis % 1000,
        quantity(Quantity::BallSpeedMps, "m/s", 2),
        quantity(Quantity::LaunchElevationDeg, "grados", 1),
        quantity(Quantity::LaunchAzimuthDeg, "grados", 1),
        fixed(rate * tilt.cos(), 0),
        fixed(rate * tilt.sin(), 0),
        quantity(Quantity::CarryM, "m", 1),
        quantity(Quantity::LateralM, "m", 1),
    )
}

fn club_word(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "madera 3",
        "7-iron" => "hierro 7",
        _ => "madera 1",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "juego",
        Intent::Drill => "ejercicio",
        Intent::Partial => "corto",
        Intent::Demonstration => "muestra",
        Intent::WarmUp => "calentar",
    }
}
