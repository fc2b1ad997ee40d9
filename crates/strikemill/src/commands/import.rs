//! `strikemill import`: files now, without waiting.

use std::path::Path;

use ::intake::FileOutcome;
use anyhow::bail;
use chrono::Utc;

use crate::cli::ImportArguments;
use crate::pipeline::failed_runs;
use crate::studio::{Access, Studio};

pub fn run(home: &Path, arguments: &ImportArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Write)?;
    let intake = studio.intake()?;
    let now = Utc::now();
    intake.recover(now)?;
    intake.publish_dimensions(now)?;
    let mut failed = 0;
    let mut imported = 0;
    for (path, outcome) in intake.import_now(&arguments.paths, now)? {
        let file = path.display();
        match outcome {
            FileOutcome::Imported { format, shots, rejected, .. } => {
                imported += 1;
                println!("imported     {file}: {shots} shots by {format}, {rejected} rows rejected");
            }
            FileOutcome::Duplicate { first_name, .. } => {
                println!("known        {file}: the same bytes as {first_name}")
            }
            FileOutcome::Quarantined { reason, path, .. } => {
                failed += 1;
                println!("quarantined  {file}: {reason}\n             kept at {}", path.display());
            }
            FileOutcome::Waiting { note } => {
                failed += 1;
                println!("waiting      {file}: {note}");
            }
            FileOutcome::Failed { message } => {
                failed += 1;
                println!("failed       {file}: {message}");
            }
        }
    }
    if imported > 0 {
        let reports = studio.runner()?.run_after_import()?;
        let failures = failed_runs(&reports);
        if !failures.is_empty() {
            bail!("the files are in, but {}", failures.join("; "));
        }
    }
    if failed > 0 {
        bail!("{failed} file(s) were not imported; the others are in");
    }
    Ok(())
}
