//! `strikemill import`, `retry` and `reprocess`: files now, at a person's word.

use std::path::{Path, PathBuf};

use ::intake::{FileOutcome, Intake};
use anyhow::{Context, bail};
use chrono::Utc;

use crate::cli::{ImportArguments, ReprocessArguments, RetryArguments};
use crate::output::say;
use crate::pipeline::failed_runs;
use crate::studio::{Access, Studio};

/// Imports files without waiting for them to settle.
pub fn run(home: &Path, arguments: &ImportArguments) -> anyhow::Result<()> {
    if arguments.dry_run {
        return super::preview::run(home, &arguments.paths);
    }
    by_hand(home, |intake| Ok(intake.import_now(&arguments.paths, Utc::now())?))
}

/// Takes refused files again.
pub fn retry(home: &Path, arguments: &RetryArguments) -> anyhow::Result<()> {
    by_hand(home, |intake| {
        let outcomes = intake.retry(&arguments.hash, Utc::now())?;
        if outcomes.is_empty() {
            say!("nothing in quarantine{}", if arguments.hash.is_empty() { "" } else { " has such a hash" });
        }
        Ok(outcomes)
    })
}

/// Reads archived files again under a newer version of their pack.
pub fn reprocess(home: &Path, arguments: &ReprocessArguments) -> anyhow::Result<()> {
    by_hand(home, |intake| {
        let since = match arguments.since {
            Some(day) => {
                let midnight = day.and_hms_opt(0, 0, 0).context("a day has a midnight")?;
                // Where a change of the clocks leaves out midnight, the day begins with the first hour there is.
                let zone = intake.settings().zone;
                let instant = midnight.and_local_timezone(zone).earliest().map(|local| local.to_utc());
                Some(instant.unwrap_or_else(|| midnight.and_utc()))
            }
            None => None,
        };
        let outcomes = intake.reprocess(&arguments.pack, since, Utc::now())?;
        if outcomes.is_empty() {
            say!("nothing done: every archived file was read under the present version of {}", arguments.pack);
            say!("hint: raise version in its format.toml after a change, then reprocess");
        }
        Ok(outcomes)
    })
}

type Outcomes = Vec<(PathBuf, FileOutcome)>;

/// Does a piece of intake by hand, tells what became of each file, and lets the jobs follow.
fn by_hand(home: &Path, work: impl FnOnce(&Intake) -> anyhow::Result<Outcomes>) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Write)?;
    let intake = studio.intake()?;
    intake.publish_dimensions(Utc::now())?;
    let amended = intake.recover(Utc::now())?.amended;
    let outcomes = work(&intake)?;
    let imported = outcomes.iter().any(|(_, outcome)| matches!(outcome, FileOutcome::Imported { .. }));
    let mut failed = 0;
    for (path, outcome) in &outcomes {
        failed += usize::from(!tell(path, outcome)?);
    }
    if amended > 0 {
        say!(
            "amended      {amended} month(s) by roster, corrections or strike marks; strikemill status counts the shots"
        );
    }
    if imported || amended > 0 {
        let failures = failed_runs(&studio.runner()?.run_after_import()?);
        if !failures.is_empty() {
            bail!("the files are in, but {}", failures.join("; "));
        }
        say!(
            "hint: summaries written before stay as they are until strikemill digest, or the daemon, writes them anew"
        );
    } else if outcomes.is_empty() {
        say!("nothing to do: roster and corrections are applied already");
    }
    if failed > 0 {
        bail!("{failed} file(s) were not imported; the others are in");
    }
    Ok(())
}

/// Tells what became of a file; false where it is not in the lake.
fn tell(path: &Path, outcome: &FileOutcome) -> std::io::Result<bool> {
    let file = path.display();
    match outcome {
        FileOutcome::Imported { format, shots, marks, rejected, note, .. } => {
            let what = if *marks > 0 { format!("{marks} strike marks") } else { format!("{shots} shots") };
            say!("imported     {file}: {what} by {format}, {rejected} rows rejected");
            if let Some(note) = note {
                say!("             {note}");
            }
            return Ok(true);
        }
        FileOutcome::Duplicate { first_name, .. } => {
            say!("known        {file}: the same bytes as {first_name}");
            return Ok(true);
        }
        FileOutcome::Quarantined { reason, path, .. } => {
            say!("quarantined  {file}: {reason}\n             kept at {}", path.display());
        }
        FileOutcome::Waiting { note } => {
            say!("waiting      {file}: {note}");
        }
        FileOutcome::Failed { message } => {
            say!("failed       {file}: {message}");
        }
    }
    Ok(false)
}
