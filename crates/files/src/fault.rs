//! Faults on purpose: most disasters come from mishandled errors, so tests make each operation fail in turn.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::Volume;
use crate::error::is_full_kind;

/// Operations that a full volume refuses.
const NEEDS_ROOM: [&str; 4] = ["create", "write", "create folder", "link to"];

/// Which operation of a [`Files`](crate::Files) handle fails. Operations are counted from 1 in the order they happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultPlan {
    /// Only the n-th operation fails, as if the disk had answered so.
    FailOnce {
        /// Which operation.
        nth: u64,
        /// What the disk answers.
        kind: ErrorKind,
    },
    /// The n-th operation still succeeds, every later one fails, as if the power had gone: not even cleaning up works.
    /// If the first failing operation writes bytes, half of them reach the file.
    CrashAfter {
        /// The last operation that works.
        nth: u64,
    },
}

/// What becomes of one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    Proceed,
    Fail(ErrorKind),
    /// Fails in the middle of a write.
    Tear(ErrorKind),
}

/// What tests have planned.
#[derive(Debug, Default)]
struct Plans {
    nth: Option<FaultPlan>,
    /// Folders (or files) below which every operation fails.
    outages: Vec<(PathBuf, ErrorKind)>,
    /// What is answered about the volume of what lies below a folder.
    volumes: Vec<(PathBuf, Volume)>,
}

#[derive(Debug, Default)]
pub(crate) struct FaultState {
    operations: AtomicU64,
    /// Whether anything is planned: outside tests nothing is, and no operation waits for another one's lock.
    any: AtomicBool,
    plans: Mutex<Plans>,
}

impl FaultState {
    pub(crate) fn planned(plan: FaultPlan) -> FaultState {
        let state = FaultState::default();
        state.replace_plan(Some(plan));
        state
    }

    pub(crate) fn operations(&self) -> u64 {
        self.operations.load(Ordering::SeqCst)
    }

    pub(crate) fn replace_plan(&self, plan: Option<FaultPlan>) {
        self.change(|plans| plans.nth = plan);
        self.operations.store(0, Ordering::SeqCst);
    }

    pub(crate) fn replace_outage(&self, below: PathBuf, kind: Option<ErrorKind>) {
        self.change(|plans| {
            plans.outages.retain(|(place, _)| *place != below);
            plans.outages.extend(kind.map(|kind| (below, kind)));
        });
    }

    pub(crate) fn replace_volume(&self, below: PathBuf, volume: Option<Volume>) {
        self.change(|plans| {
            plans.volumes.retain(|(place, _)| *place != below);
            plans.volumes.extend(volume.map(|volume| (below, volume)));
        });
    }

    pub(crate) fn volume(&self, path: &Path) -> Option<Volume> {
        if !self.any.load(Ordering::SeqCst) {
            return None;
        }
        let plans = self.plans();
        let holding = plans.volumes.iter().filter(|(below, _)| path.starts_with(below));
        holding.max_by_key(|(below, _)| below.components().count()).map(|(_, volume)| volume.clone())
    }

    fn plans(&self) -> MutexGuard<'_, Plans> {
        // A panic elsewhere cannot leave a plan half written, so a poisoned lock is still good.
        self.plans.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut Plans)) {
        let mut plans = self.plans();
        change(&mut plans);
        let any = plans.nth.is_some() || !plans.outages.is_empty() || !plans.volumes.is_empty();
        self.any.store(any, Ordering::SeqCst);
    }

    /// Counts one operation on a path and says what becomes of it.
    pub(crate) fn next(&self, operation: &'static str, path: &Path) -> Fate {
        let number = self.operations.fetch_add(1, Ordering::SeqCst) + 1;
        if !self.any.load(Ordering::SeqCst) {
            return Fate::Proceed;
        }
        let plans = self.plans();
        for (below, kind) in &plans.outages {
            let is_out = !is_full_kind(*kind) || NEEDS_ROOM.contains(&operation);
            if is_out && path.starts_with(below) {
                return Fate::Fail(*kind);
            }
        }
        match plans.nth {
            Some(FaultPlan::FailOnce { nth, kind }) if nth == number => Fate::Fail(kind),
            Some(FaultPlan::CrashAfter { nth }) if number == nth + 1 => Fate::Tear(ErrorKind::Other),
            Some(FaultPlan::CrashAfter { nth }) if number > nth => Fate::Fail(ErrorKind::Other),
            _ => Fate::Proceed,
        }
    }
}

pub(crate) fn injected(kind: ErrorKind) -> io::Error {
    io::Error::new(kind, "fault injected by a test")
}
