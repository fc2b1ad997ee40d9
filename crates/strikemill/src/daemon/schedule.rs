//! Jobs and summaries when their time has come.

use std::sync::Arc;
use std::time::Duration;

use ::intake::Imported;
use ::jobs::{Cron, Runner, owed};
use chrono::{DateTime, Days, Utc};
use tokio::sync::{mpsc, watch};

use crate::daemon::pulse::Beat;
use crate::pipeline::{failed_runs, last_complete_week, write_summaries};
use crate::requests::Bench;
use crate::studio::Studio;

/// How often schedules are looked at; they are exact to this.
pub const SCHEDULE_LOOK: Duration = Duration::from_secs(15);
/// Key of the ledger under which the last summary's planned instant stands.
const LAST_SUMMARY: &str = "last_summary_nominal";

/// Runs the jobs that follow an import once the flow of files has calmed down, and whatever a schedule owes.
pub async fn keep_schedule(
    bench: Bench,
    summary_cron: Cron,
    mut arrivals: mpsc::Receiver<Imported>,
    beat: Arc<Beat>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let Bench { studio, runner, .. } = bench;
    let calm = Duration::from_secs(runner.debounce_s());
    let mut look = tokio::time::interval(SCHEDULE_LOOK);
    // What was published while the daemon was down may not have been judged yet; unchanged inputs cost next to nothing.
    let mut due_at = Some(tokio::time::Instant::now());
    while !*stopped.borrow() {
        beat.now();
        let calm_over = async move {
            match due_at {
                Some(at) => tokio::time::sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            _ = stopped.changed() => {}
            arrival = arrivals.recv() => match arrival {
                // The first file of a flow sets the moment, so that a steady flow cannot put it off for ever.
                Some(_) => due_at = due_at.or(Some(tokio::time::Instant::now() + calm)),
                None => return Ok(()),
            },
            () = calm_over => {
                due_at = None;
                let runner = Arc::clone(&runner);
                blocking("the jobs after an import", move || tell_failures(runner.run_after_import())).await;
            }
            _ = look.tick() => {
                let (studio, runner, cron) = (Arc::clone(&studio), Arc::clone(&runner), summary_cron.clone());
                let beat = Arc::clone(&beat);
                blocking("the schedule", move || {
                    let now = Utc::now();
                    tell_failures(runner.run_all_due(now.timestamp_micros()))?;
                    write_due_summaries(&studio, &runner, &cron, &beat, now)
                })
                .await;
            }
        }
    }
    Ok(())
}

/// Runs blocking work off the daemon's threads; a failure is told and the daemon goes on.
async fn blocking(what: &'static str, work: impl FnOnce() -> anyhow::Result<()> + Send + 'static) {
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(())) => {}
        Ok(Err(error)) => tracing::error!("{what} failed: {error:#}"),
        Err(error) => tracing::error!("{what} broke off: {error}"),
    }
}

fn tell_failures(reports: Result<Vec<::jobs::RunReport>, ::jobs::JobsError>) -> anyhow::Result<()> {
    for report in reports.iter().flatten() {
        if report.record.partitions_written > 0 {
            tracing::info!(job = %report.record.job, rows = report.record.rows, "job done");
        }
    }
    let failures = failed_runs(&reports?);
    if failures.is_empty() { Ok(()) } else { anyhow::bail!("{}", failures.join("; ")) }
}

/// Writes the summaries of the past week when their time has come, once for each planned instant.
fn write_due_summaries(
    studio: &Studio,
    runner: &Runner,
    cron: &Cron,
    beat: &Beat,
    now: DateTime<Utc>,
) -> anyhow::Result<()> {
    let last = studio.ledger.remembered(LAST_SUMMARY)?.and_then(|text| text.parse().ok());
    let Some(nominal) = owed(cron, studio.configuration.zone, last, now.timestamp_micros()) else { return Ok(()) };
    if runner.is_winding_up() {
        // The next start owes the same summaries.
        return Ok(());
    }
    tell_failures(runner.run_after_import())?;
    let planned = DateTime::from_timestamp_micros(nominal).unwrap_or(now);
    let week = last_complete_week(studio, planned);
    let mut pages = 0;
    for coach in digest::coaches(&studio.lake, &studio.configuration.site_id)? {
        beat.now();
        pages += write_summaries(studio, week, Some(&coach), now)?.len();
    }
    // A page is named after its coach, who may be a player too: the log tells the folder.
    let until = week + Days::new(6);
    let folder = studio.configuration.place("digests");
    tracing::info!(pages, %week, %until, folder = %folder.display(), "summaries written");
    studio.ledger.remember(LAST_SUMMARY, &nominal.to_string())?;
    Ok(())
}

#[cfg(test)]
#[path = "week.rs"]
mod week;
