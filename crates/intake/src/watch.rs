//! Repeated scans for a daemon. Folder events wake it early; without any it scans all the same.

use std::sync::Arc;
use std::time::Duration;

use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};
use tokio::sync::{mpsc, watch};

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

    /// Scans until told to stop. A scan under way is finished first. A scan that fails is told in the log and repeated;
    /// only one that breaks off in a panic ends the task.
    pub async fn run(mut self) -> Result<(), IntakeError> {
        // One place is enough: an event only says "look now".
        let (wake, mut woken) = mpsc::channel(1);
        let _events = folder_events(&self.intake, wake);
        while !*self.stop.borrow() {
            let intake = Arc::clone(&self.intake);
            let scan = tokio::task::spawn_blocking(move || intake.scan_once(Moment::now()));
            let result = scan.await.map_err(|error| IntakeError::BrokenScan(error.to_string()))?;
            let settings = self.intake.settings();
            let mut pause = settings.rescan_every;
            match result {
                Ok(report) => {
                    if report.settling > 0 {
                        pause = pause.min(settings.quiet_period.max(FLOCK));
                    }
                    if !self.hand_out(report).await {
                        return Ok(());
                    }
                }
                Err(error) => tracing::error!(error = %error, "a scan failed and will be repeated"),
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

fn is_only_a_look(kind: EventKind) -> bool {
    matches!(kind, EventKind::Access(access) if access != AccessKind::Close(AccessMode::Write))
}

/// Events of the import folders. Network shares often have none: then the scans alone must do.
fn folder_events(intake: &Intake, wake: mpsc::Sender<()>) -> Option<RecommendedWatcher> {
    let handler = move |event: notify::Result<notify::Event>| {
        // Reading a folder is an event too, and our own scans read: only what may have changed a file wakes a scan.
        let only_looked_at = matches!(&event, Ok(event) if is_only_a_look(event.kind));
        if only_looked_at {
            return;
        }
        let _ = wake.try_send(()); // full means that a scan is due anyway
    };
    let mut watcher = match notify::recommended_watcher(handler) {
        Ok(watcher) => watcher,
        Err(error) => {
            tracing::warn!(error = %error, "no folder events on this system; rescans alone find new files");
            return None;
        }
    };
    for folder in &intake.settings().folders {
        if let Err(error) = watcher.watch(&folder.path, RecursiveMode::Recursive) {
            tracing::warn!(folder = %folder.path.display(), error = %error, "no folder events; rescans find new files");
        }
    }
    Some(watcher)
}
