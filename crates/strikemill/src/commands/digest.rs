//! `strikemill digest`: the summaries of one week.

use std::path::Path;

use chrono::{Days, Utc};

use crate::cli::DigestArguments;
use crate::output::say;
use crate::pipeline::{last_complete_week, write_summaries};
use crate::studio::{Access, Studio};

pub fn run(home: &Path, arguments: &DigestArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    let now = Utc::now();
    let day = arguments.week.unwrap_or_else(|| last_complete_week(&studio, now));
    let today = now.with_timezone(&studio.configuration.zone).date_naive();
    if day > today {
        anyhow::bail!(
            "{day} lies in the future\nhint: name a day of the week to sum up, or leave --week out for the last one"
        );
    }
    if day > last_complete_week(&studio, now) + Days::new(6) {
        eprintln!("note: that week is not over; the summary will change");
    }
    for summary in write_summaries(&studio, day, arguments.coach.as_deref(), now)? {
        say!("{}", summary.path.display());
    }
    Ok(())
}
