//! `strikemill digest`: the summaries of one week.

use std::path::Path;

use chrono::Utc;

use crate::cli::DigestArguments;
use crate::pipeline::{last_complete_week, write_summaries};
use crate::studio::{Access, Studio};

pub fn run(home: &Path, arguments: &DigestArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    let now = Utc::now();
    let day = arguments.week.unwrap_or_else(|| last_complete_week(&studio, now));
    for summary in write_summaries(&studio, day, arguments.coach.as_deref(), now)? {
        println!("{}", summary.path.display());
    }
    Ok(())
}
