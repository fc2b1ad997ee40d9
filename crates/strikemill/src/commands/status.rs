//! `strikemill status`: the state of a home.

use std::path::Path;

use ::intake::{bay_days, names_to_settle};
use chrono::{DateTime, NaiveDate};
use console::{CorrectionUse, MarksOfDay, OpenName, Upkeep};
use lake::Lake;
use ledger::Ledger;

use crate::cli::StatusArguments;
use crate::config::Configuration;
use crate::output::say;
use crate::overview::{Seen, seen_from_outside};
use crate::studio::Written;

/// Whom the state of a home concerns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    Nobody,
    APerson,
}

/// Shows the state. An error where it cannot be told; with `--quiet` nothing is shown, and only there the answer matters.
pub fn run(home: &Path, arguments: &StatusArguments) -> anyhow::Result<Wanted> {
    crate::logging::start_quiet();
    let seen = seen_from_outside(home)?;
    if arguments.quiet {
        return Ok(if seen.report.concerns.is_empty() { Wanted::Nobody } else { Wanted::APerson });
    }
    let Seen { mut report, written, ledger, lake } = seen;
    if arguments.json {
        say!("{:#}", report.to_json());
    } else {
        if let (Some(written), Some(ledger), Some(lake)) = (&written, &ledger, &lake)
            && report.ledger_fault.is_none()
        {
            report = report.with_upkeep(upkeep(written, ledger, lake)?);
        }
        say!("{}", report.to_string().trim_end());
    }
    match report.ledger_fault {
        Some(fault) => Err(anyhow::anyhow!("{fault}")),
        None => Ok(Wanted::Nobody),
    }
}

/// What the people of the site have to look after.
fn upkeep(written: &Written, ledger: &Ledger, lake: &Lake) -> anyhow::Result<Upkeep> {
    let mut upkeep = Upkeep { correction_faults: written.corrections_faults.clone(), ..Upkeep::default() };
    for name in names_to_settle(ledger, &written.roster)? {
        upkeep.names.push(OpenName {
            text: name.text,
            without_consent: name.player_id,
            rows: name.rows,
            last_seen: name.last_seen,
        });
    }
    let counts = ledger.correction_counts()?;
    for line in written.corrections.lines() {
        let shots = counts.get(&line.key).copied().unwrap_or(0);
        upkeep.corrections.push(CorrectionUse { line: line.line, text: line.text.clone(), shots });
    }
    for day in bay_days(lake)? {
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
