//! How a runner is doing, and how it is asked to come to an end.

use std::sync::PoisonError;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::compute;
use crate::runner::Runner;

/// How a runner is doing at one moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunnerPulse {
    /// Whether jobs run now.
    pub working: bool,
    /// When the work last came a step further: a run begun or ended, a window of days computed.
    pub progressed_at: Instant,
    /// The longest that the query of one window may take.
    pub longest_query: Duration,
}

/// Marks the runner as working as long as it lives.
pub(crate) struct AtWork<'a>(&'a Runner);

impl Drop for AtWork<'_> {
    fn drop(&mut self) {
        self.0.note(|pulse| pulse.working = false);
    }
}

impl Runner {
    /// How it is doing. Never waits for the work at hand.
    pub fn pulse(&self) -> RunnerPulse {
        self.pulse.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Asks it to come to an end: runs at hand, and those that follow them, are finished; no other run begins. It cannot be
    /// taken back.
    pub fn wind_up(&self) {
        self.winding_up.store(true, Ordering::SeqCst);
    }

    /// Whether somebody asked it to come to an end.
    pub fn is_winding_up(&self) -> bool {
        self.winding_up.load(Ordering::SeqCst)
    }

    /// Breaks off the run at hand, which counts as interrupted and keeps its last good output, and lets none begin.
    pub fn cancel(&self) {
        self.wind_up();
        self.engine.cancel();
    }

    pub(crate) fn begin_work(&self) -> AtWork<'_> {
        let packs = self.packs().packs().iter();
        let longest = packs.map(|pack| compute::seconds(&self.engine, pack)).max().unwrap_or(0);
        self.note(|pulse| {
            pulse.working = true;
            pulse.longest_query = Duration::from_secs(longest);
        });
        AtWork(self)
    }

    /// The work has come a step further.
    pub(crate) fn note_progress(&self) {
        self.note(|_| {});
    }

    fn note(&self, change: impl FnOnce(&mut RunnerPulse)) {
        // Every change leaves a whole value behind, so that the one behind a poisoned lock is sound.
        let mut pulse = self.pulse.lock().unwrap_or_else(PoisonError::into_inner);
        change(&mut pulse);
        pulse.progressed_at = Instant::now();
    }
}
