//! One shift: the tasks that work by one configuration, from their beginning to their end in order.

use std::sync::Arc;

use ::intake::Watcher;
use ::jobs::Cron;
use anyhow::anyhow;
use tokio::sync::{mpsc, watch};
use tokio::task::{JoinError, JoinSet};

use crate::alerts::Alerting;
use crate::daemon::desk::serve_requests;
use crate::daemon::pulse::Beat;
use crate::daemon::schedule::keep_schedule;
use crate::daemon::told::tell_reports;
use crate::requests::{Bench, Desk};

/// The tasks of one configuration.
pub struct Shift {
    pub bench: Bench,
    /// When the schedule task last went round.
    pub schedule_beat: Arc<Beat>,
    /// Jobs, summaries and requests.
    later: JoinSet<anyhow::Result<()>>,
    stop_later: watch::Sender<bool>,
    /// Intake.
    first: JoinSet<anyhow::Result<()>>,
    stop_first: watch::Sender<bool>,
}

impl Shift {
    /// Begins to work. Nothing else works on the home by now.
    pub fn begin(bench: Bench, desk: Option<Arc<Desk>>, alerting: Option<Alerting>) -> anyhow::Result<Shift> {
        let cron = Cron::parse(&bench.studio.configuration.digest_cron)
            .map_err(|why| anyhow!("[digest] cron of config/strikemill.toml: {why}"))?;
        let (stop_later, later_stopped) = watch::channel(false);
        let (stop_first, first_stopped) = watch::channel(false);
        let (imported, arrivals) = mpsc::channel(16);
        let (reports, report_stream) = mpsc::channel(4);
        let (mut later, mut first) = (JoinSet::new(), JoinSet::new());
        let watcher = Watcher::new(Arc::clone(&bench.intake), first_stopped, imported).with_reports(reports);
        first.spawn(async move { watcher.run().await.map_err(Into::into) });
        first.spawn(tell_reports(report_stream));
        let schedule_beat = Arc::new(Beat::new());
        let beat = Arc::clone(&schedule_beat);
        later.spawn(keep_schedule(bench.clone(), cron, arrivals, beat, later_stopped.clone()));
        if let Some(alerting) = alerting {
            later.spawn(alerting.run(later_stopped.clone()));
        }
        if let Some(desk) = desk {
            later.spawn(serve_requests(bench.clone(), desk, later_stopped));
        }
        Ok(Shift { bench, schedule_beat, later, stop_later, first, stop_first })
    }

    /// Ends when a task ends that nobody asked to, and says how. Nothing is lost when the wait is given up.
    pub async fn breaks_off(&mut self) -> anyhow::Error {
        let ended = tokio::select! {
            ended = self.first.join_next() => ended,
            ended = self.later.join_next() => ended,
        };
        why(ended)
    }

    /// Asks every task to come to an end after the step at hand.
    pub fn ask_to_end(&self) {
        self.bench.runner.wind_up();
        let _ = self.stop_later.send(true);
        self.bench.intake.stop_handle().stop();
        let _ = self.stop_first.send(true);
    }

    /// Ends when every task has ended that was asked to.
    pub async fn has_ended(&mut self) {
        while self.later.join_next().await.is_some() {}
        while self.first.join_next().await.is_some() {}
    }

    /// Comes to an end for another shift to take over: a job or a request at hand is finished while intake goes on, then
    /// intake ends after the file at hand. What it leaves staged the next shift publishes.
    pub async fn hand_over(&mut self) {
        self.bench.runner.wind_up();
        let _ = self.stop_later.send(true);
        while self.later.join_next().await.is_some() {}
        self.ask_to_end();
        self.has_ended().await;
    }
}

fn why(ended: Option<Result<anyhow::Result<()>, JoinError>>) -> anyhow::Error {
    match ended {
        Some(Ok(Err(error))) => error,
        Some(Err(error)) => error.into(),
        Some(Ok(Ok(()))) | None => anyhow!("a task of the daemon ended by itself"),
    }
}
