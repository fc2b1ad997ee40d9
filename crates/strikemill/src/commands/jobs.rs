//! `strikemill jobs`: the analysis jobs.

use std::path::Path;

use anyhow::bail;
use ledger::RunOutcome;

use crate::cli::JobsCommand;
use crate::commands::status::moment;
use crate::output::{Teller, say, tell};
use crate::requests::{Bench, Task, by_hand};
use crate::studio::{Access, Studio};

pub fn run(home: &Path, command: &JobsCommand) -> anyhow::Result<()> {
    match command {
        JobsCommand::List => list(home),
        JobsCommand::Run { name, full, refit } => {
            by_hand(home, Task::RunJob { name: name.clone(), full: *full, refit: *refit })
        }
    }
}

fn list(home: &Path) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    for pack in studio.job_packs.packs() {
        say!("{:<20} version {:<4} {}", pack.name, pack.version, pack.description);
        let mut starts = Vec::new();
        if let Some(cron) = &pack.trigger.cron {
            starts.push(format!("at {cron}"));
        }
        if pack.trigger.after_import {
            starts.push(format!("{} s after an import", pack.trigger.debounce_s));
        }
        if let Some(job) = &pack.trigger.after_job {
            starts.push(format!("after {job}"));
        }
        say!("    runs {}", if starts.is_empty() { "only by hand".to_owned() } else { starts.join(", ") });
        match studio.ledger.last_runs(Some(&pack.name), 1)?.first() {
            None => say!("    has not run yet"),
            Some(run) => {
                let outcome = run.outcome.map_or("runs now", RunOutcome::word);
                let when = moment(&studio.configuration, run.start.started);
                say!("    last run {when}: {outcome}, {} rows", run.rows.unwrap_or(0));
                if let Some(message) = &run.message {
                    say!("      {message}");
                }
            }
        }
    }
    Ok(())
}

/// The work of `jobs run`.
pub fn run_now(bench: &Bench, name: &str, full: bool, refit: bool, out: &mut dyn Teller) -> anyhow::Result<()> {
    // All days of the calendar a shot can have: everything is computed anew.
    let days = full.then_some((0, 84_000));
    let trigger = if refit { ::jobs::RunTrigger::Refit } else { ::jobs::RunTrigger::Person };
    let report = bench.runner.run_job(name, trigger, days)?;
    let record = &report.record;
    if let Some(error) = report.error {
        bail!("job {name} failed; its last good output stays as it is\n{error}");
    }
    tell!(
        out,
        "{name}: {}, {} rows computed, {} partitions written, {} found equal, {:.1} s",
        record.outcome.word(),
        record.rows,
        record.partitions_written,
        record.partitions_unchanged,
        (record.finished_at - record.started_at) as f64 / 1e6
    );
    if refit {
        // Verdicts by the old series beside models of the new one would puzzle whoever asked for it.
        let reports = bench.runner.run_after_import()?;
        let failures = crate::pipeline::failed_runs(&reports);
        if !failures.is_empty() {
            bail!("{name} is refitted, but {}", failures.join("; "));
        }
        for report in &reports {
            if report.record.outcome == RunOutcome::Succeeded {
                tell!(out, "{}: follows, {} partitions written", report.record.job, report.record.partitions_written);
            }
        }
    }
    Ok(())
}
