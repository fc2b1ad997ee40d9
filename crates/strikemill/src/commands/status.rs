//! `strikemill status`: the state of a home.

use std::path::Path;

use ::intake::{bay_days, names_to_settle};
use chrono::{DateTime, NaiveDate};
use console::{CorrectionUse, MarksOfDay, OpenName, StatusReport, Upkeep};

use crate::config::Configuration;
use crate::output::say;
use crate::studio::{Access, Studio};

pub fn run(home: &Path) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    let configuration = &studio.configuration;
    let daemon = ledger::InstanceLock::holder(&configuration.place("state"));
    let report = StatusReport::gather(console::Sources {
        program: crate::studio::WRITER,
        site_id: Some(configuration.site_id.clone()),
        site_name: configuration.site_name.clone(),
        zone: configuration.zone,
        now: chrono::Utc::now().timestamp_micros(),
        daemon,
        vitals: console::DaemonVitals::read(&configuration.place("state")),
        ledger: Ok(Some(&studio.ledger)),
        lake: Some(&studio.lake),
        waiting_too_long: configuration.waiting_too_long,
        configuration_faults: Vec::new(),
        pack_faults: Vec::new(),
        volumes: Vec::new(),
    });
    let report = report.with_upkeep(upkeep(&studio)?);
    say!("{}", report.to_string().trim_end());
    Ok(())
}

/// What the people of the site have to look after.
fn upkeep(studio: &Studio) -> anyhow::Result<Upkeep> {
    let mut upkeep = Upkeep { correction_faults: studio.corrections_faults.clone(), ..Upkeep::default() };
    for name in names_to_settle(&studio.ledger, &studio.roster)? {
        upkeep.names.push(OpenName {
            text: name.text,
            without_consent: name.player_id,
            rows: name.rows,
            last_seen: name.last_seen,
        });
    }
    let counts = studio.ledger.correction_counts()?;
    for line in studio.corrections.lines() {
        let shots = counts.get(&line.key).copied().unwrap_or(0);
        upkeep.corrections.push(CorrectionUse { line: line.line, text: line.text.clone(), shots });
    }
    for day in bay_days(&studio.lake)? {
        let date = NaiveDate::default() + chrono::TimeDelta::days(i64::from(day.local_date));
        upkeep.marks.push(MarksOfDay {
            bay: day.bay,
            day: date.to_string(),
            format: day.mark_format,
            marks: day.marks,
            ambiguous: day.ambiguous,
            clock_offset_s: day.clock_offset_s,
        });
    }
    Ok(upkeep)
}

/// An instant in the site's zone.
pub fn moment(configuration: &Configuration, micros: i64) -> String {
    DateTime::from_timestamp_micros(micros).map_or_else(String::new, |instant| {
        instant.with_timezone(&configuration.zone).format("%Y-%m-%d %H:%M:%S").to_string()
    })
}
