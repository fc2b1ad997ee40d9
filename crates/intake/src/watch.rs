//! Repeated scans for a daemon. Folder events wake it early; without any it scans all the same.

use std::sync::{Arc, PoisonError};
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::task::{JoinError, JoinHandle};

use crate::folder_events::FolderEvents;
use crate::{Intake, IntakeError, Moment, ScanReport};

/// Events come in flocks; after the first one the rest may arrive before the scan starts.
const FLOCK: Duration = Duration::from_millis(200);

/// Rows came into the lake, or were changed there by roster, corrections or strike marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Imported {
    /// The lake's generation now.
    pub generation: i64,
    /// Files whose rows came in.
    pub files: usize,
    /// Shots that came in.
    pub shots: i64,
}

/// The task that scans for a daemon.
#[derive(Debug)]
pub struct Watcher {
    intake: Arc<Intake>,
    stop: watch::Receiver<bool>,
    imported: mpsc::Sender<Imported>,
    report: Option<mpsc::Sender<ScanReport>>,
}

impl Watcher {
    /// A watcher that ends when `stop` becomes true (or its sender is gone), and tells `imported` about every publication.
    /// A full channel makes it wait: no import is left out.
    pub fn new(intake: Arc<Intake>, stop: watch::Receiver<bool>, imported: mpsc::Sender<Imported>) -> Watcher {
        Watcher { intake, stop, imported, report: None }
    }

    /// Also hands out the report of every scan, as far as the receiver keeps up.
    #[must_use]
    pub fn with_reports(mut self, reports: mpsc::Sender<ScanReport>) -> Watcher {
        self.report = Some(reports);
        self
    }

    /// Scans until told to stop: a scan under way then finishes the file at hand. A scan that fails is told in the log and
    /// repeated; only one that breaks off in a panic ends the task.
    pub async fn run(mut self) -> Result<(), IntakeError> {
        // One place is enough: an event only says "look now".
        let (wake, mut woken) = mpsc::channel(1);
        let mut events = FolderEvents::new(wake, Arc::clone(&self.intake.open_files));
        while !*self.stop.borrow() {
            let (intake, plan_of) = (Arc::clone(&self.intake), Arc::clone(&self.intake));
            let scan = tokio::task::spawn_blocking(move || {
                // Asked here, where a folder that does not answer holds up nobody else.
                let result = intake.scan_once(Moment::now());
                events.follow(&plan_of.watch_plan.lock().unwrap_or_else(PoisonError::into_inner));
                (result, events)
            });
            let (result, listening) = self.until_scanned(scan).await?;
            events = listening;
            let pause = self.pause_until_next(&result);
            // Intake itself tells in the log what failed.
            if let Ok(report) = result
                && !self.hand_out(report).await
            {
                return Ok(());
            }
            tokio::select! {
                changed = self.stop.changed() => {
                    if changed.is_err() {
                        return Ok(());
                    }
                }
                () = tokio::time::sleep(pause) => {}
                Some(()) = woken.recv() => {
                    tokio::time::sleep(FLOCK).await;
                    while woken.try_recv().is_ok() {}
                }
            }
        }
        Ok(())
    }

    /// Waits for a scan. Told to stop meanwhile, it asks the scan to come to its end.
    async fn until_scanned<T>(&mut self, mut scan: JoinHandle<T>) -> Result<T, IntakeError> {
        let broken = |error: JoinError| IntakeError::BrokenScan(error.to_string());
        tokio::select! {
            ended = &mut scan => return ended.map_err(broken),
            asked = self.stop.wait_for(|stop| *stop) => drop(asked),
        }
        self.intake.stop_handle().stop();
        scan.await.map_err(broken)
    }

    fn pause_until_next(&self, result: &Result<ScanReport, IntakeError>) -> Duration {
        let settings = self.intake.settings();
        let mut pause = settings.rescan_every;
        if self.intake.watch_plan.lock().unwrap_or_else(PoisonError::into_inner).polls {
            pause = pause.min(settings.share_rescan_every);
        }
        if result.as_ref().is_ok_and(|report| report.settling > 0) {
            pause = pause.min(settings.quiet_period.max(FLOCK));
        }
        pause
    }

    /// False when it is time to stop.
    async fn hand_out(&mut self, report: ScanReport) -> bool {
        if let (Some(generation), true) = (report.generation, report.files_published > 0 || report.amended > 0) {
            let event = Imported { generation, files: report.files_published, shots: report.shots };
            tokio::select! {
                // Without a receiver nobody wants to know; scanning goes on.
                _ = self.imported.send(event) => {}
                changed = self.stop.wait_for(|stop| *stop) => {
                    drop(changed);
                    return false;
                }
            }
        }
        if let Some(reports) = &self.report {
            let _ = reports.try_send(report); // a slow reader misses a report, never slows a scan
        }
        true
    }
}
