//! The steps behind an import, the same for the daemon and for every command: dimensions, jobs, summaries.

use std::path::PathBuf;

use anyhow::Context;
use chrono::{DateTime, Datelike, Days, NaiveDate, Utc};
use digest::{CoachWeek, Units, WeekRequest};
use intake::Roster;
use jobs::RunReport;
use ledger::{DigestMade, RunOutcome};

use crate::studio::Studio;

/// A day as counted from 1970-01-01.
pub fn day_number(day: NaiveDate) -> i32 {
    day.num_days_from_ce() - NaiveDate::default().num_days_from_ce()
}

/// Monday of the last week that is over in the site's zone.
pub fn last_complete_week(studio: &Studio, now: DateTime<Utc>) -> NaiveDate {
    let today = now.with_timezone(&studio.configuration.zone).date_naive();
    let monday = today - Days::new(u64::from(today.weekday().num_days_from_monday()));
    monday - Days::new(7)
}

/// Tells failed runs; the good ones need no words.
pub fn failed_runs(reports: &[RunReport]) -> Vec<String> {
    let mut failed = Vec::new();
    for report in reports {
        if report.record.outcome == RunOutcome::Failed {
            let why = report.error.as_ref().map_or_else(String::new, ToString::to_string);
            failed.push(format!("job {}: {why}", report.record.job));
        }
    }
    failed
}

/// One coach's week, gathered and written.
pub struct WrittenSummary {
    pub week: CoachWeek,
    pub path: PathBuf,
}

/// Writes the summaries of the week of `day`, one for each coach with players (or for `only_coach`), and notes them in the
/// ledger.
pub fn write_summaries(
    studio: &Studio,
    day: NaiveDate,
    only_coach: Option<&str>,
    now: DateTime<Utc>,
) -> anyhow::Result<Vec<WrittenSummary>> {
    let configuration = &studio.configuration;
    let mut coaches = digest::coaches(&studio.lake, &configuration.site_id)?;
    if let Some(only) = only_coach {
        let known = coaches.join(", ");
        coaches.retain(|coach| coach.eq_ignore_ascii_case(only));
        if coaches.is_empty() {
            anyhow::bail!("no player with consent has the coach \"{only}\"\nhint: the coaches are {known}");
        }
    }
    // The roster may have been changed since the start; one that is faulty just now shows the names of before.
    let (newest, faults) = Roster::load(&configuration.roster_file);
    let roster = if faults.is_empty() { &newest } else { &*studio.roster };
    let shown_names = |alias: &str| {
        let player = roster.players().iter().find(|player| player.player_id == alias);
        player.map_or_else(|| alias.to_owned(), |player| player.shown_as.clone())
    };
    let mut written = Vec::new();
    for coach in coaches {
        let request = WeekRequest {
            site_name: configuration.site_name.clone(),
            site_id: configuration.site_id.clone(),
            zone: configuration.zone.name().to_owned(),
            week: day_number(day),
            coach: Some(coach.clone()),
            units: if configuration.yards { Units::Yards } else { Units::Metres },
            generated_at_micros: now.timestamp_micros(),
        };
        let week = digest::gather(&studio.lake, &request, &shown_names)?;
        let path = digest::write(&studio.files, &configuration.place("digests"), &week)?;
        let monday = day - Days::new(u64::from(day.weekday().num_days_from_monday()));
        studio
            .ledger
            .record_digest(&DigestMade {
                coach,
                week: monday.to_string(),
                path: path.display().to_string(),
                made_at: now.timestamp_micros(),
            })
            .context("the summary is written, but the ledger could not note it")?;
        written.push(WrittenSummary { week, path });
    }
    Ok(written)
}
