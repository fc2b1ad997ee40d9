//! `strikemill compute`: the process in which the daemon has a job computed.

use std::path::Path;

use crate::studio::{Access, Studio};

/// Computes one window of one job, as standard input asks, and ends.
pub fn run(home: &Path) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    // The daemon goes on by its old configuration where the new one is faulty, and computes by itself then.
    let Ok(studio) = Studio::open(home, Access::Read) else { return Ok(jobs::decline_to_help()?) };
    Ok(studio.runner()?.help()?)
}
