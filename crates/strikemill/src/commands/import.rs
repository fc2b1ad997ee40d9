//! `strikemill import`, `retry` and `reprocess`: files now, at a person's word.

use std::path::{Path, PathBuf};

use ::intake::{FileOutcome, Intake};
use anyhow::{Context, bail};
use chrono::{NaiveDate, Utc};

use crate::cli::{ImportArguments, ReprocessArguments, RetryArguments};
use crate::output::{Teller, tell};
use crate::pipeline::failed_runs;
use crate::requests::{Bench, Task, by_hand};

/// Imports files without waiting for them to settle.
pub fn run(home: &Path, arguments: &ImportArguments) -> anyhow::Result<()> {
    if arguments.dry_run {
        return super::preview::run(home, &arguments.paths);
    }
    let mut paths = Vec::new();
    for path in &arguments.paths {
        // The daemon stands in another folder than the person.
        paths.push(std::path::absolute(path).with_context(|| format!("cannot tell where {} is", path.display()))?);
    }
    by_hand(home, Task::Import { paths })
}

/// Takes refused files again.
pub fn retry(home: &Path, arguments: &RetryArguments) -> anyhow::Result<()> {
    by_hand(home, Task::Retry { hash: arguments.hash.clone() })
}

/// Reads archived files again under a newer version of their pack.
pub fn reprocess(home: &Path, arguments: &ReprocessArguments) -> anyhow::Result<()> {
    by_hand(home, Task::Reprocess { pack: arguments.pack.clone(), since: arguments.since })
}

/// The work of `import`.
pub fn import_paths(bench: &Bench, paths: &[PathBuf], out: &mut dyn Teller) -> anyhow::Result<()> {
    take(bench, out, |intake, _| Ok(intake.import_now(paths, Utc::now())?))
}

/// The work of `retry`.
pub fn retry_refused(bench: &Bench, hash: &str, out: &mut dyn Teller) -> anyhow::Result<()> {
    take(bench, out, |intake, out| {
        let outcomes = intake.retry(hash, Utc::now())?;
        if outcomes.is_empty() && !hash.is_empty() {
            bail!(
                "nothing in quarantine has a hash that begins with {hash}\nhint: strikemill status lists what is there"
            );
        }
        if outcomes.is_empty() {
            tell!(out, "nothing in quarantine");
        }
        Ok(outcomes)
    })
}

/// The work of `reprocess`.
pub fn read_again(bench: &Bench, pack: &str, since: Option<NaiveDate>, out: &mut dyn Teller) -> anyhow::Result<()> {
    take(bench, out, |intake, out| {
        let since = match since {
            Some(day) => {
                let midnight = day.and_hms_opt(0, 0, 0).context("a day has a midnight")?;
                // Where a change of the clocks leaves out midnight, the day begins with the first hour there is.
                let zone = intake.settings().zone;
                let instant = midnight.and_local_timezone(zone).earliest().map(|local| local.to_utc());
                Some(instant.unwrap_or_else(|| midnight.and_utc()))
            }
            None => None,
        };
        let outcomes = intake.reprocess(pack, since, Utc::now())?;
        if outcomes.is_empty() {
            tell!(out, "nothing done: every archived file was read under the present version of {pack}");
            tell!(out, "hint: raise version in its format.toml after a change, then reprocess");
        }
        Ok(outcomes)
    })
}

type Outcomes = Vec<(PathBuf, FileOutcome)>;

/// Does a piece of intake, tells what became of each file, and lets the jobs follow.
fn take(
    bench: &Bench,
    out: &mut dyn Teller,
    work: impl FnOnce(&Intake, &mut dyn Teller) -> anyhow::Result<Outcomes>,
) -> anyhow::Result<()> {
    let intake = &bench.intake;
    intake.publish_dimensions(Utc::now())?;
    let amended = intake.recover(Utc::now())?.amended;
    let outcomes = work(intake, out)?;
    let imported = outcomes.iter().any(|(_, outcome)| matches!(outcome, FileOutcome::Imported { .. }));
    let mut failed = 0;
    for (path, outcome) in &outcomes {
        failed += usize::from(!tell_outcome(path, outcome, out)?);
    }
    if amended > 0 {
        tell!(
            out,
            "amended      {amended} month(s) by roster, corrections or strike marks; strikemill status counts the shots"
        );
    }
    if imported || amended > 0 {
        let failures = failed_runs(&bench.runner.run_after_import()?);
        if !failures.is_empty() {
            bail!("the files are in, but {}", failures.join("; "));
        }
        tell!(
            out,
            "hint: summaries written before stay as they are until strikemill digest, or the daemon, writes them anew"
        );
    } else if outcomes.is_empty() {
        tell!(out, "nothing to do: roster and corrections are applied already");
    }
    if failed > 0 {
        bail!("{failed} file(s) were not imported; the others are in");
    }
    Ok(())
}

/// Tells what became of a file; false where it is not in the lake.
fn tell_outcome(path: &Path, outcome: &FileOutcome, out: &mut dyn Teller) -> std::io::Result<bool> {
    let file = path.display();
    match outcome {
        FileOutcome::Imported { format, shots, marks, rejected, note, .. } => {
            let what = if *marks > 0 { format!("{marks} strike marks") } else { format!("{shots} shots") };
            tell!(out, "imported     {file}: {what} by {format}, {rejected} rows rejected");
            if let Some(note) = note {
                tell!(out, "             {note}");
            }
            return Ok(true);
        }
        FileOutcome::Duplicate { first_name, .. } => {
            tell!(out, "known        {file}: the same bytes as {first_name}");
            return Ok(true);
        }
        FileOutcome::Quarantined { reason, path, .. } => {
            tell!(out, "quarantined  {file}: {reason}\n             kept at {}", path.display());
        }
        FileOutcome::Waiting { note } => {
            tell!(out, "waiting      {file}: {note}");
        }
        FileOutcome::Failed { message } => {
            tell!(out, "failed       {file}: {message}");
        }
    }
    Ok(false)
}
