//! `strikemill remove`: originals go at a person's explicit word.

use std::path::Path;

use ::intake::{Intake, RemovalChoice};
use anyhow::{Context, bail};
use chrono::{NaiveDate, Utc};

use crate::cli::RemoveArguments;
use crate::output::{Teller, tell};
use crate::requests::{Bench, Task, by_hand};

/// Which originals a person named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chosen {
    pub archived_before: Option<NaiveDate>,
    pub quarantined_before: Option<NaiveDate>,
    pub file: Option<String>,
}

/// Has originals removed, by the daemon where one runs.
pub fn run(home: &Path, arguments: &RemoveArguments) -> anyhow::Result<()> {
    by_hand(
        home,
        Task::Remove {
            archived_before: arguments.archived_before,
            quarantined_before: arguments.quarantined_before,
            file: arguments.file.clone(),
            dry_run: arguments.dry_run,
        },
    )
}

/// The work of `remove`.
pub fn remove_originals(bench: &Bench, chosen: &Chosen, dry_run: bool, out: &mut dyn Teller) -> anyhow::Result<()> {
    let (choice, command) = match (&chosen.archived_before, &chosen.quarantined_before, &chosen.file) {
        (Some(day), None, None) => {
            (RemovalChoice::ArchivedBefore(start_of(*day, &bench.intake)?), format!("remove --archived-before {day}"))
        }
        (None, Some(day), None) => (
            RemovalChoice::QuarantinedBefore(start_of(*day, &bench.intake)?),
            format!("remove --quarantined-before {day}"),
        ),
        (None, None, Some(hash)) => (RemovalChoice::File(hash.clone()), format!("remove --file {hash}")),
        _ => bail!("name exactly one of --archived-before, --quarantined-before and --file"),
    };
    let done = bench.intake.remove_originals(&choice, &command, dry_run, Utc::now())?;
    if done.finished > 0 {
        tell!(out, "{} file(s) of a removal that was cut off went now", done.finished);
    }
    let verb = if dry_run { "would go " } else { "removed  " };
    let mut bytes = 0;
    for (path, size) in &done.files {
        tell!(out, "{verb}    {}", path.display());
        bytes += size;
    }
    for reason in &done.refused {
        tell!(out, "refused      {reason}");
    }
    let what = if dry_run { "would be removed" } else { "removed" };
    tell!(out, "{} file(s), {} KiB, {what}; the lake's rows stay", done.files.len(), bytes.div_ceil(1024));
    if !done.refused.is_empty() {
        bail!(
            "not everything that was named can go\nhint: `strikemill check --deep` tells what is wrong, `strikemill repair` mends it"
        );
    }
    Ok(())
}

/// The first instant of a day in the site's zone, UTC microseconds.
fn start_of(day: NaiveDate, intake: &Intake) -> anyhow::Result<i64> {
    let midnight = day.and_hms_opt(0, 0, 0).context("a day has a midnight")?;
    let local = midnight.and_local_timezone(intake.settings().zone).earliest();
    Ok(local.map_or_else(|| midnight.and_utc().timestamp_micros(), |instant| instant.timestamp_micros()))
}
