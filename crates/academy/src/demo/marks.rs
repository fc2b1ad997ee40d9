//! Strike positions that a coach reads off a sprayed face in bay 4 and keeps as a list, by a clock of his own.

use std::collections::BTreeMap;

use chrono::{Duration, NaiveDateTime, Timelike};
use rand::Rng;
use rand_chacha::ChaCha12Rng;

use super::export::{Export, fixed};
use super::record::{DemoShot, Recorded, stream};
use super::timetable::first_day;
use crate::habits::normal;

/// What a reading with the ruler is off by, mm; the list's pack states it.
pub const READING_SD_MM: f64 = 2.0;
/// Share of the shots that nobody notes.
const NOT_NOTED: f64 = 0.05;
/// The coach writes some seconds after the shot: mean and standard deviation.
const WRITTEN_AFTER_S: (f64, f64) = (6.0, 1.5);
/// How much further the coach's clock runs ahead each day, s.
const DRIFT_S_PER_DAY: f64 = 0.15;
/// In this week the coach notes the clock to the minute.
const WEEK_OF_MINUTES: u32 = 5;

/// A list of marks with the truth behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkList {
    /// Path below the demo folder.
    pub path: String,
    /// Its text.
    pub text: String,
    /// How many marks it has.
    pub marks: usize,
    /// Rows for `truth/marks.csv`.
    pub truth: Vec<String>,
}

/// Columns of `truth/marks.csv`.
pub const COLUMNS: &str = "file,row,shot_file,shot_row,struck_at,toe_mm,up_mm";

/// The list of a session whose strikes are noted.
pub fn list(seed: u64, recorded: &Recorded, export: &Export, broken: &[(usize, &str)]) -> MarkList {
    let session = &recorded.session;
    let date = session.start.date();
    let mut rng = stream(seed, &format!("marks {}", session.path()));
    let path = format!("{}/spray-{}-bay{}.csv", session.bay.folder(), date.format("%m%d"), session.bay.id());
    let mut lines = vec![
        format!("Day: {date}"),
        format!("List: {}", date.format("%m%d")),
        "Read off the sprayed face with a ruler".to_owned(),
        "====".to_owned(),
        "Ball,Clock,Player,Club,Across,Height".to_owned(),
    ];
    let above = lines.len();
    let mut truth = Vec::new();
    for (row_of_shot, shot) in in_order(recorded, export, broken) {
        let ahead_s = clock_ahead_s(seed, shot.local) + WRITTEN_AFTER_S.0 + WRITTEN_AFTER_S.1 * normal(&mut rng);
        let clock = shot.local + Duration::milliseconds((ahead_s * 1e3).round() as i64);
        let across_mm = shot.truth.swing.toe_mm + READING_SD_MM * normal(&mut rng);
        let height_mm = shot.truth.swing.up_mm + READING_SD_MM * normal(&mut rng);
        if rng.random::<f64>() < NOT_NOTED {
            continue;
        }
        let row = lines.len() + 1;
        lines.push(format!(
            "{},{},{},{},{},{}",
            row - above,
            clock_text(clock, session.week == WEEK_OF_MINUTES),
            shot.swung_by,
            club_word(shot.club_id),
            sided(across_mm, "toe", "heel"),
            sided(height_mm, "high", "low"),
        ));
        let (shot_file, shot_row) =
            row_of_shot.map_or_else(Default::default, |row| (export.path.clone(), row.to_string()));
        truth.push(format!(
            "{path},{row},{shot_file},{shot_row},{},{},{}",
            shot.at.format("%Y-%m-%dT%H:%M:%S%.3fZ"),
            fixed(shot.truth.swing.toe_mm, 3),
            fixed(shot.truth.swing.up_mm, 3)
        ));
    }
    lines.push(String::new());
    MarkList { path, marks: truth.len(), text: lines.join("\n"), truth }
}

/// Every shot in the order of time, with its row in the export where it has a sound one.
fn in_order<'a>(
    recorded: &'a Recorded,
    export: &Export,
    broken: &[(usize, &str)],
) -> impl Iterator<Item = (Option<usize>, &'a DemoShot)> {
    let mut shots = BTreeMap::new();
    for (position, shot) in recorded.shots.iter().enumerate() {
        let is_sound = broken.iter().all(|(lost, _)| *lost != position);
        shots.insert(shot.at, (is_sound.then(|| export.row_of(position)), shot));
    }
    shots.extend(recorded.unseen.iter().map(|shot| (shot.at, (None, shot))));
    shots.into_values()
}

/// How far the coach's clock is ahead of the bay's: one to two minutes, and a little more every day.
pub fn clock_ahead_s(seed: u64, local: NaiveDateTime) -> f64 {
    let mut rng: ChaCha12Rng = stream(seed, "the clock of the marks");
    let at_first = rng.random_range(60.0..110.0);
    at_first + DRIFT_S_PER_DAY * (local - first_day().and_time(chrono::NaiveTime::MIN)).num_days() as f64
}

fn clock_text(clock: NaiveDateTime, to_the_minute: bool) -> String {
    if to_the_minute {
        return clock.format("%H:%M").to_string();
    }
    clock.with_nanosecond(0).unwrap_or(clock).format("%H:%M:%S").to_string()
}

fn sided(millimetres: f64, positive: &str, negative: &str) -> String {
    let size = fixed(millimetres.abs(), 0);
    match () {
        () if size == "0" => size,
        () if millimetres > 0.0 => format!("{size} {positive}"),
        () => format!("{size} {negative}"),
    }
}

fn club_word(club_id: &str) -> &'static str {
    match club_id {
        "3-wood" => "3W",
        "7-iron" => "7i",
        _ => "D",
    }
}
