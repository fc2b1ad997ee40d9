//! Faults on purpose: most disasters come from mishandled errors, so tests make each operation fail in turn.

use std::io::{self, ErrorKind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

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

#[derive(Debug, Default)]
pub(crate) struct FaultState {
    operations: AtomicU64,
    plan: Mutex<Option<FaultPlan>>,
}

impl FaultState {
    pub(crate) fn planned(plan: FaultPlan) -> FaultState {
        FaultState { operations: AtomicU64::new(0), plan: Mutex::new(Some(plan)) }
    }

    pub(crate) fn operations(&self) -> u64 {
        self.operations.load(Ordering::SeqCst)
    }

    pub(crate) fn replace_plan(&self, plan: Option<FaultPlan>) {
        // A panic elsewhere cannot leave a plain Option half written, so a poisoned lock is still good.
        *self.plan.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = plan;
        self.operations.store(0, Ordering::SeqCst);
    }

    /// Counts one operation and says what becomes of it.
    pub(crate) fn next(&self) -> Fate {
        let number = self.operations.fetch_add(1, Ordering::SeqCst) + 1;
        let plan = *self.plan.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match plan {
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
