//! Commands beside a running daemon.
//!
//! Only one process works on a home. A command that changes something and finds the daemon there leaves a request in
//! `state/requests/`, waits, and prints the answer; the daemon does the work with the code that the command would have run.
//!
//! ```text
//! desk.lock          locked by the daemon as long as it takes requests
//! <id>.waits         locked by the command as long as it waits for its answer
//! <id>.json          the request
//! <id>.answer.json   the answer
//! ```
//!
//! Locks go with their process, however that ends. So a request lives no longer than whoever asks: one whose command is gone
//! is dropped, at the next start too. A command whose daemon is gone says so and takes its request back.
//!
//! To give another command this way: a [`Task`] of its own, and its arm in [`perform()`].

mod ask;
mod by_hand;
mod desk;
mod perform;

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

pub use by_hand::by_hand;
pub use desk::{Desk, Ticket};
pub use perform::{Bench, perform};

/// What the daemon can be asked to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "task", rename_all = "snake_case", deny_unknown_fields)]
pub enum Task {
    /// Import files and folders now. Full paths; without any, roster and corrections are applied and nothing else.
    Import { paths: Vec<PathBuf> },
    /// Take refused files again: those whose SHA-256 begins so.
    Retry { hash: String },
    /// Read archived files again under the present version of a pack.
    Reprocess { pack: String, since: Option<NaiveDate> },
    /// Forget a person.
    Forget { person: String },
    /// Remove originals: those archived or refused before a day, or those whose SHA-256 begins so.
    Remove {
        archived_before: Option<NaiveDate>,
        quarantined_before: Option<NaiveDate>,
        file: Option<String>,
        dry_run: bool,
    },
    /// Run one job.
    RunJob {
        name: String,
        full: bool,
        #[serde(default)]
        refit: bool,
    },
}

impl Task {
    /// One word for the log.
    pub fn word(&self) -> &'static str {
        match self {
            Task::Import { .. } => "import",
            Task::Retry { .. } => "retry",
            Task::Reprocess { .. } => "reprocess",
            Task::Forget { .. } => "forget",
            Task::Remove { .. } => "remove",
            Task::RunJob { .. } => "run a job",
        }
    }
}

/// A request as it lies in the folder.
#[derive(Debug, Serialize, Deserialize)]
struct Request {
    /// Name and version of the program that asks.
    program: String,
    #[serde(flatten)]
    task: Task,
}

/// What the daemon answers.
#[derive(Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// What the command prints.
    pub lines: Vec<String>,
    /// Lines that were too many to hand over.
    #[serde(default)]
    pub left_out: u64,
    /// The error that the command ends with.
    pub failure: Option<String>,
}

/// Largest request in bytes; it names files or folders.
const LARGEST_REQUEST: u64 = 4 << 20;
/// Largest answer in bytes.
const LARGEST_ANSWER: u64 = 64 << 20;
/// Most requests that wait at one time.
const MOST_WAITING: usize = 100;

const LOCK_NAME: &str = "desk.lock";
const WAITS_END: &str = ".waits";
const ANSWER_END: &str = ".answer.json";
const REQUEST_END: &str = ".json";

fn folder_of(state: &Path) -> PathBuf {
    state.join("requests")
}

/// Whether a daemon takes requests for a state folder.
fn is_served(state: &Path) -> bool {
    is_locked(&folder_of(state).join(LOCK_NAME))
}

/// Whether another process holds a lock on a file.
fn is_locked(path: &Path) -> bool {
    let Ok(file) = File::open(path) else { return false };
    matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock))
}
