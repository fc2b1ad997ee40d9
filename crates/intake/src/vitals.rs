//! What intake says about itself while it works: for the watchdog, for readiness and for metrics.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use chrono::Utc;

use crate::Intake;
use crate::looks::Looks;

/// How intake is doing at one moment. Instants are UTC microseconds since 1970; what must survive a change of the time is an
/// [`Instant`] as well.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vitals {
    /// When the last scan began.
    pub scan_started: Option<i64>,
    /// When the last scan came to its end, whatever it met.
    pub scan_finished: Option<i64>,
    /// The same on the steady clock.
    pub scan_finished_at: Option<Instant>,
    /// Whether intake is at work now: a scan, an import by hand, a recovery.
    pub working: bool,
    /// When the work last moved on: files looked at, a file taken, a partition published or amended, a file archived.
    pub last_progress: i64,
    /// The same on the steady clock.
    pub progressed_at: Instant,
    /// File operations since the start, of intake and of the lake. It also counts up within long steps that tell of no
    /// progress, for example while one large partition is written; it stands still while the disk does.
    pub file_acts: u64,
    /// When rows last came into the lake.
    pub last_publication: Option<i64>,
    /// Why no files are taken at the moment, with a hint; they are as soon as the cause is gone.
    pub paused: Option<String>,
    /// Why nothing can be taken at all, with a hint: the ledger or staging does not work.
    pub failing: Option<String>,
    /// Files that may still be written to.
    pub settling: usize,
    /// Files that have not become whole for too long.
    pub waiting: usize,
    /// Files and folders that cannot be read at the moment.
    pub retrying: usize,
    /// The path that has been waiting or retrying for longest, and when it was seen first.
    pub oldest_wait: Option<(String, i64)>,
}

impl Vitals {
    pub(crate) fn at_start() -> Vitals {
        Vitals {
            scan_started: None,
            scan_finished: None,
            scan_finished_at: None,
            working: false,
            last_progress: Utc::now().timestamp_micros(),
            progressed_at: Instant::now(),
            file_acts: 0,
            last_publication: None,
            paused: None,
            failing: None,
            settling: 0,
            waiting: 0,
            retrying: 0,
            oldest_wait: None,
        }
    }

    /// How long the work has not moved on; nothing while there is no work.
    pub fn without_progress(&self) -> Duration {
        if self.working { self.progressed_at.elapsed() } else { Duration::ZERO }
    }
}

/// Asks intake to come to an end: the file at hand is finished, and what is unfinished then the next start finishes.
#[derive(Debug, Clone, Default)]
pub struct StopHandle {
    asked: Arc<AtomicBool>,
}

impl StopHandle {
    /// Asks. It cannot be taken back: whoever wants to go on opens intake anew.
    pub fn stop(&self) {
        self.asked.store(true, Ordering::SeqCst);
    }

    /// Whether somebody asked.
    pub fn is_stopping(&self) -> bool {
        self.asked.load(Ordering::SeqCst)
    }
}

impl Intake {
    /// How intake is doing. Never waits for the work at hand.
    pub fn vitals(&self) -> Vitals {
        let vitals = self.vitals.lock().unwrap_or_else(PoisonError::into_inner).clone();
        Vitals { file_acts: self.files.operations(), ..vitals }
    }

    /// A handle that asks this intake to stop, from any thread.
    pub fn stop_handle(&self) -> StopHandle {
        self.stop.clone()
    }

    pub(crate) fn note_vitals(&self, change: impl FnOnce(&mut Vitals)) {
        // Every change leaves a whole value behind, so that the one behind a poisoned lock is sound.
        change(&mut self.vitals.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// The work has moved on.
    pub(crate) fn note_progress(&self) {
        self.note_vitals(|vitals| {
            vitals.last_progress = Utc::now().timestamp_micros();
            vitals.progressed_at = Instant::now();
        });
    }
}

/// The turn of one call. While it is held intake is at work.
pub(crate) struct Turn<'a> {
    intake: &'a Intake,
    looks: MutexGuard<'a, Looks>,
}

impl<'a> Turn<'a> {
    pub(crate) fn begin(intake: &'a Intake, looks: MutexGuard<'a, Looks>) -> Turn<'a> {
        intake.note_vitals(|vitals| vitals.working = true);
        intake.note_progress();
        Turn { intake, looks }
    }
}

impl std::ops::Deref for Turn<'_> {
    type Target = Looks;

    fn deref(&self) -> &Looks {
        &self.looks
    }
}

impl std::ops::DerefMut for Turn<'_> {
    fn deref_mut(&mut self) -> &mut Looks {
        &mut self.looks
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.intake.note_vitals(|vitals| vitals.working = false);
    }
}
