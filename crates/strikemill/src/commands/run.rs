//! `strikemill run`: the daemon.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use ::intake::{Imported, ScanReport, Watcher};
use ::jobs::{Cron, Runner, owed};
use anyhow::Context;
use chrono::{DateTime, Days, Utc};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;

use crate::pipeline::{failed_runs, last_complete_week, write_summaries};
use crate::studio::{Access, Studio, Written, report_faults};

/// How often schedules are looked at; they are exact to this.
const SCHEDULE_LOOK: Duration = Duration::from_secs(15);
/// How long a stop waits for what is under way.
const STOP_LIMIT: Duration = Duration::from_mins(2);
/// Key of the ledger under which the last summary's planned instant stands.
const LAST_SUMMARY: &str = "last_summary_nominal";

pub fn run(home: &Path) -> anyhow::Result<()> {
    let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
    crate::logging::start(written.configuration.log_json, written.configuration.log_level);
    for fault in &written.pack_faults {
        tracing::error!("a pack is left out\n{}", fault.trim_end());
    }
    for fault in &written.corrections_faults {
        tracing::warn!("a correction is left out\n{}", fault.trim_end());
    }
    if written.packs.packs().is_empty() {
        // Without one every export would end in quarantine.
        anyhow::bail!(
            "no format pack can be used\nhint: put the shipped packs into plugins/formats/ of the home, then `strikemill check`"
        );
    }
    let threads = tokio::runtime::Builder::new_multi_thread().enable_all().build().context("cannot start threads")?;
    // From here on a signal ends the daemon in order, even while it still picks up what the last stop left.
    let signals = threads.block_on(async { StopSignals::new() })?;
    let studio = Arc::new(Studio::of(written, Access::Write)?);
    threads.block_on(serve(studio, signals))
}

async fn serve(studio: Arc<Studio>, mut signals: StopSignals) -> anyhow::Result<()> {
    let summary_cron = Cron::parse(&studio.configuration.digest_cron)
        .map_err(|why| anyhow::anyhow!("[digest] cron of config/strikemill.toml: {why}"))?;
    let intake = Arc::new(studio.intake()?);
    let runner = studio.runner()?;
    let interrupted = studio.ledger.close_interrupted_runs(Utc::now().timestamp_micros())?;
    if interrupted > 0 {
        tracing::warn!(runs = interrupted, "jobs were cut off by the last stop; they run again");
    }
    let starting = Arc::clone(&intake);
    tokio::task::spawn_blocking(move || {
        let now = Utc::now();
        starting.recover(now)?;
        starting.publish_dimensions(now)
    })
    .await
    .context("the start broke off")??;

    let (stop, stopped) = watch::channel(false);
    let (imported, arrivals) = mpsc::channel(16);
    let (reports, report_stream) = mpsc::channel(4);
    let mut tasks: JoinSet<anyhow::Result<()>> = JoinSet::new();
    let watcher = Watcher::new(intake, stopped.clone(), imported).with_reports(reports);
    tasks.spawn(async move { watcher.run().await.map_err(Into::into) });
    tasks.spawn(tell_reports(report_stream));
    tasks.spawn(keep_schedule(Arc::clone(&studio), runner, summary_cron, arrivals, stopped));
    tracing::info!(
        site = %studio.configuration.site_id,
        home = %studio.configuration.home.display(),
        folders = studio.configuration.folders.len(),
        "watching"
    );

    let ended = tokio::select! {
        signal = signals.next() => { tracing::info!(signal, "stopping"); None }
        ended = tasks.join_next() => ended,
    };
    // Dropping the sender's last value tells every task; each finishes the step at hand.
    let _ = stop.send(true);
    let drained = tokio::time::timeout(STOP_LIMIT, async { while tasks.join_next().await.is_some() {} }).await;
    if drained.is_err() {
        tracing::warn!(
            limit_s = STOP_LIMIT.as_secs(),
            "stopped before the work at hand was done; the next start finishes it"
        );
    }
    match ended {
        None => {
            tracing::info!("stopped");
            Ok(())
        }
        Some(Ok(Err(error))) => Err(error),
        Some(Err(error)) => Err(error.into()),
        Some(Ok(Ok(()))) => anyhow::bail!("a task of the daemon ended by itself"),
    }
}

/// The signals that ask the daemon to stop.
#[cfg(unix)]
struct StopSignals {
    terminate: tokio::signal::unix::Signal,
    interrupt: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl StopSignals {
    fn new() -> anyhow::Result<StopSignals> {
        use tokio::signal::unix::{SignalKind, signal};
        let terminate = signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?;
        let interrupt = signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?;
        Ok(StopSignals { terminate, interrupt })
    }

    async fn next(&mut self) -> &'static str {
        tokio::select! {
            _ = self.terminate.recv() => "SIGTERM",
            _ = self.interrupt.recv() => "SIGINT",
        }
    }
}

#[cfg(not(unix))]
struct StopSignals;

#[cfg(not(unix))]
impl StopSignals {
    fn new() -> anyhow::Result<StopSignals> {
        Ok(StopSignals)
    }

    async fn next(&mut self) -> &'static str {
        // Where Ctrl-C cannot be listened for, only a hard stop is left, which the next start recovers from.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
        "Ctrl-C"
    }
}

/// One log event a scan that did something; silence while nothing happens.
async fn tell_reports(mut reports: mpsc::Receiver<ScanReport>) -> anyhow::Result<()> {
    let mut told: Vec<String> = Vec::new();
    while let Some(report) = reports.recv().await {
        if report.files_published + report.duplicates + report.quarantined > 0 {
            tracing::info!(
                files = report.files_published,
                shots = report.shots,
                rejected = report.rejected,
                duplicates = report.duplicates,
                quarantined = report.quarantined,
                "imported"
            );
        }
        if report.rejected > 0 {
            tracing::warn!(rows = report.rejected, "rows were rejected; the dataset rejects tells which and why");
        }
        if report.amended > 0 {
            tracing::info!(partitions = report.amended, "roster, corrections or strike marks changed published rows");
        }
        // A trouble that stays is told once, not at every scan.
        let troubles: Vec<String> =
            report.troubles.iter().map(|trouble| format!("{}: {}", trouble.path.display(), trouble.message)).collect();
        for trouble in troubles.iter().filter(|trouble| !told.contains(trouble)) {
            tracing::warn!("{trouble}");
        }
        told = troubles;
    }
    Ok(())
}

/// Runs the jobs that follow an import once the flow of files has calmed down, and whatever a schedule owes.
async fn keep_schedule(
    studio: Arc<Studio>,
    runner: Arc<Runner>,
    summary_cron: Cron,
    mut arrivals: mpsc::Receiver<Imported>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let calm = Duration::from_secs(runner.debounce_s());
    let mut look = tokio::time::interval(SCHEDULE_LOOK);
    // What was published while the daemon was down may not have been judged yet; unchanged inputs cost next to nothing.
    let mut due_at = Some(tokio::time::Instant::now());
    while !*stopped.borrow() {
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
                blocking("the schedule", move || {
                    let now = Utc::now();
                    tell_failures(runner.run_all_due(now.timestamp_micros()))?;
                    write_due_summaries(&studio, &runner, &cron, now)
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
fn write_due_summaries(studio: &Studio, runner: &Runner, cron: &Cron, now: DateTime<Utc>) -> anyhow::Result<()> {
    let last = studio.ledger.remembered(LAST_SUMMARY)?.and_then(|text| text.parse().ok());
    let Some(nominal) = owed(cron, studio.configuration.zone, last, now.timestamp_micros()) else { return Ok(()) };
    tell_failures(runner.run_after_import())?;
    let planned = DateTime::from_timestamp_micros(nominal).unwrap_or(now);
    let week = last_complete_week(studio, planned);
    for summary in write_summaries(studio, week, None, now)? {
        tracing::info!(coach = summary.week.coach.as_deref(), page = %summary.path.display(), "summary written");
    }
    let until = week + Days::new(6);
    tracing::debug!(%week, %until, "summaries done");
    studio.ledger.remember(LAST_SUMMARY, &nominal.to_string())?;
    Ok(())
}
