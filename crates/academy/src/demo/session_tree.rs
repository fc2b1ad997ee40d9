//! Bay 4: one XML document a session, French words, units as attributes, everything sideways positive to the left.

use chrono::{NaiveDate, Offset, TimeZone};
use shot::{Intent, Quantity};

use super::export::{Encoding, Export, Lines, fixed, runs};
use super::record::{DemoShot, Recorded};
use super::timetable::ZONE;

/// Kilometres per hour in one metre per second.
const KMH_PER_MPS: f64 = 3.6;
/// From this week on, after an update, the device writes speeds in metres per second and spin in turns a second.
const WEEK_OF_THE_UPDATE: u32 = 4;

/// How a quantity is written: element, unit word, factor from our unit, decimals.
struct Printed {
    quantity: Quantity,
    element: &'static str,
    unit: &'static str,
    factor: f64,
    decimals: usize,
}

/// Writes a session as the device of bay 4 does.
pub fn export(recorded: &Recorded) -> Export {
    let session = &recorded.session;
    let air = &recorded.weather.air;
    let mut lines = Lines::new("\n", Encoding::Utf8);
    lines.push("<?xml version=\"1.0\" encoding=\"UTF-8\"?>");
    lines.push(format!(
        "<seance numero=\"{}\" box=\"{}\" jour=\"{}\" decalage=\"{}\">",
        session.text(),
        session.bay.id(),
        session.start.date(),
        offset_at(session.start.date()),
    ));
    lines.push(format!(
        " <air>{}{}{}</air>",
        element("chaleur", "°C", &fixed(air.temperature_c, 1)),
        element("pression", "hPa", &fixed(air.pressure_hpa, 0)),
        element("humidite", "%", &fixed(air.humidity_pct, 0)),
    ));
    for run in runs(&recorded.shots) {
        let DemoShot { logged_as, club_id, intent, .. } = &run[0];
        lines.push(format!(
            " <serie joueur=\"{}\" canne=\"{}\" but=\"{}\">",
            super::with_capital(logged_as),
            club_word(club_id),
            purpose(*intent)
        ));
        for shot in run {
            lines.push_shot(stroke(shot, session.week >= WEEK_OF_THE_UPDATE));
        }
        lines.push(" </serie>");
    }
    lines.push("</seance>");
    Export::of_lines(recorded, lines)
}

/// The clocks change at night, when nobody plays: one offset serves a session.
fn offset_at(day: NaiveDate) -> String {
    let noon = day.and_hms_opt(12, 0, 0).and_then(|noon| ZONE.offset_from_local_datetime(&noon).single());
    let seconds = noon.map_or(0, |offset| offset.fix().local_minus_utc());
    format!("+{:02}:{:02}", seconds / 3600, seconds / 60 % 60)
}

fn stroke(shot: &DemoShot, updated: bool) -> String {
    let speed = |quantity: Quantity| Printed {
        quantity,
        element: "allure",
        unit: if updated { "m/s" } else { "km/h" },
        factor: if updated { 1.0 } else { KMH_PER_MPS },
        decimals: if updated { 2 } else { 1 },
    };
    let spin = Printed {
        quantity: Quantity::SpinRpm,
        element: "toupie",
        unit: if updated { "tr/s" } else { "tr/min" },
        factor: if updated { 1.0 / 60.0 } else { 1.0 },
        decimals: if updated { 2 } else { 0 },
    };
    let angle = |quantity: Quantity, element: &'static str, factor: f64| Printed {
        quantity,
        element,
        unit: "°",
        factor,
        decimals: 2,
    };
    let length = |quantity: Quantity, element: &'static str, factor: f64| Printed {
        quantity,
        element,
        unit: "m",
        factor,
        decimals: 1,
    };
    let ball = part(
        shot,
        "balle",
        &[
            speed(Quantity::BallSpeedMps),
            angle(Quantity::LaunchElevationDeg, "montee", 1.0),
            angle(Quantity::LaunchAzimuthDeg, "cap", -1.0),
            spin,
            angle(Quantity::SpinTiltDeg, "penche", -1.0),
        ],
    );
    let head = part(
        shot,
        "tete",
        &[
            speed(Quantity::ClubSpeedMps),
            angle(Quantity::AttackDeg, "pente", 1.0),
            angle(Quantity::PathDeg, "chemin", -1.0),
            angle(Quantity::FaceDeg, "plat", -1.0),
            angle(Quantity::DeliveredLoftDeg, "ouverture", 1.0),
        ],
    );
    let landing =
        part(shot, "chute", &[length(Quantity::CarryM, "portee", 1.0), length(Quantity::LateralM, "ecart", -1.0)]);
    let clock = shot.local.format("%H:%M:%S%.3f");
    format!("  <coup rang=\"{}\" heure=\"{clock}\">{ball}{head}{landing}</coup>", shot.number)
}

/// A part of a stroke; nothing at all where the device saw nothing of it.
fn part(shot: &DemoShot, name: &str, printed: &[Printed]) -> String {
    let mut inner = String::new();
    for Printed { quantity, element: name, unit, factor, decimals } in printed {
        if let Some(value) = shot.observed.value(*quantity) {
            inner.push_str(&element(name, unit, &fixed(value * factor, *decimals)));
        }
    }
    if inner.is_empty() { inner } else { format!("<{name}>{inner}</{name}>") }
}

fn element(name: &str, unit: &str, text: &str) -> String {
    format!("<{name} unite=\"{unit}\">{text}</{name}>")
}

fn club_word(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "bois 3",
        "7-iron" => "fer 7",
        _ => "bois 1",
    }
}

fn purpose(intent: Intent) -> &'static str {
    match intent {
        Intent::Play => "jeu",
        Intent::Drill => "exercice",
        Intent::Partial => "demi",
        Intent::Demonstration => "exemple",
        Intent::WarmUp => "chauffe",
    }
}
