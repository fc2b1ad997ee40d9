//! Doing a task at a person's word: here, or by the daemon that has the home.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use anyhow::bail;
use ledger::LedgerError;

use super::{Bench, Task, ask::ask, is_served, perform};
use crate::output::{Aloud, say};
use crate::studio::{Access, Studio};

/// A daemon that starts has the home a moment before it takes requests.
const DESK_OPENS_WITHIN: Duration = Duration::from_secs(2);

/// Does a task and prints what became of it; the same lines whoever does it.
pub fn by_hand(home: &Path, task: Task) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let state = home.join("state");
    if is_served(&state) {
        return have_done(&state, task);
    }
    match Studio::open(home, Access::Write) {
        Ok(studio) => perform(&task, &Bench::of(Arc::new(studio))?, &mut Aloud),
        Err(error) if is_held(&error) && becomes_served(&state) => have_done(&state, task),
        Err(error) => Err(error),
    }
}

fn have_done(state: &Path, task: Task) -> anyhow::Result<()> {
    let seen_here = matches!(&task, Task::Import { paths } if paths.iter().all(|path| path.exists()));
    let answer = ask(state, task)?;
    for line in &answer.lines {
        say!("{line}");
    }
    if answer.left_out > 0 {
        say!("... and {} more lines; `strikemill status` tells what did not come in", answer.left_out);
    }
    if seen_here && answer.lines.iter().any(|line| line.starts_with("failed") && line.contains("does not exist")) {
        say!(
            "hint: the daemon does not see every place that you see, for example has its own /tmp; copy the files below the home"
        );
    }
    match answer.failure {
        Some(failure) => bail!(failure),
        None => Ok(()),
    }
}

fn is_held(error: &anyhow::Error) -> bool {
    matches!(error.downcast_ref(), Some(LedgerError::Held { .. }))
}

fn becomes_served(state: &Path) -> bool {
    let began = Instant::now();
    while began.elapsed() < DESK_OPENS_WITHIN {
        if is_served(state) {
            return true;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    false
}
