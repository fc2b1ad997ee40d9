//! The numbers behind the figures, as tables of text.

use chrono_tz::Tz;

use crate::coach_week::{ClubWeek, JudgedShot};
use crate::figure_face::{SOURCES, place_words};
use crate::page::DataTable;
use crate::wording::{capitalised, certainty, length, miss_words, number};
use crate::{DigestError, Units, calendar};

const UNKNOWN: &str = "not known";

/// Every strike position of the week.
pub fn strikes(club: &ClubWeek, units: Units, zone: Tz) -> DataTable {
    let mut rows = Vec::new();
    for shot in &club.shots {
        let (Some(toe), Some(up)) = (shot.toe_mm, shot.up_mm) else { continue };
        let source = SOURCES.iter().find(|(source, _, _)| Some(*source) == shot.strike_source.as_deref());
        rows.push(vec![
            calendar::local_time(shot.struck_at, zone),
            place_words(toe, up),
            source.map_or(UNKNOWN, |(_, _, words)| words).to_owned(),
            shot.carry_lost_m.map_or_else(|| UNKNOWN.to_owned(), |metres| length(metres, units)),
        ]);
    }
    DataTable {
        caption: "Strikes".to_owned(),
        headings: vec!["Time", "Place on the face", "Known from", "Carry lost"],
        rows,
    }
}

/// Landing points, as struck and from the middle.
pub fn finishes(club: &ClubWeek, units: Units, zone: Tz) -> DataTable {
    let mut rows = Vec::new();
    for shot in &club.shots {
        let (Some(lateral), Some(carry), Some(centred_lateral), Some(centred_carry)) =
            (shot.lateral_m, shot.carry_m, shot.centred_lateral_m, shot.centred_carry_m)
        else {
            continue;
        };
        rows.push(vec![
            calendar::local_time(shot.struck_at, zone),
            length(carry, units),
            side_words(lateral, units),
            length(centred_carry, units),
            side_words(centred_lateral, units),
        ]);
    }
    DataTable {
        caption: "Landing points".to_owned(),
        headings: vec!["Time", "Carry", "Across", "Carry from the middle", "Across from the middle"],
        rows,
    }
}

/// Weekly means.
pub fn trend(club: &ClubWeek, units: Units) -> Result<DataTable, DigestError> {
    let mut rows = Vec::new();
    for point in &club.trend {
        let lost = point.carry_lost;
        let shown = |metres: f64| number(units.from_metres(metres), 1);
        rows.push(vec![
            calendar::long_date(calendar::date(point.week)?),
            point.judged.to_string(),
            length(lost.mean, units),
            format!("{} to {}\u{a0}{}", shown(lost.low), shown(lost.high), units.symbol()),
        ]);
    }
    let headings = vec!["Week that starts on", "Shots judged", "Carry lost per shot", "90 % interval"];
    Ok(DataTable { caption: "Weeks".to_owned(), headings, rows })
}

/// Every miss of the week; `None` where there is none.
pub fn misses(club: &ClubWeek, units: Units, zone: Tz) -> Option<DataTable> {
    let mut rows = Vec::new();
    for shot in club.shots.iter().filter(|shot| shot.is_miss()) {
        let miss = shot.miss.as_deref().unwrap_or_default();
        rows.push(vec![
            calendar::local_time(shot.struck_at, zone),
            capitalised(&miss_words(miss)),
            cause_words(shot),
            shot.carry_lost_m.map_or_else(|| UNKNOWN.to_owned(), |metres| length(metres, units)),
            shot.misread.map_or(UNKNOWN, |misread| if misread { "yes" } else { "no" }).to_owned(),
        ]);
    }
    (!rows.is_empty()).then(|| DataTable {
        caption: "Misses".to_owned(),
        headings: vec!["Time", "Miss", "Cause", "Carry lost to strike", "Curve misread"],
        rows,
    })
}

fn cause_words(shot: &JudgedShot) -> String {
    let words = match shot.cause.as_deref() {
        Some("strike") => "Strike",
        Some("delivery") => "Delivery",
        Some("either") => "Either alone would have mended it",
        Some("both needed") => "Only both together would have mended it",
        Some("neither") => "Neither would have mended it",
        _ => return "Cannot be told".to_owned(),
    };
    shot.cause_probability.map_or_else(|| words.to_owned(), |share| format!("{words}, {}", certainty(share)))
}

/// A distance across the line in words: `4.2 yd left`.
fn side_words(lateral_m: f64, units: Units) -> String {
    let distance = length(lateral_m.abs(), units);
    let exactly_on = distance.starts_with("0.0");
    let side = if lateral_m > 0.0 { "right" } else { "left" };
    if exactly_on { "on the line".to_owned() } else { format!("{distance} {side}") }
}
