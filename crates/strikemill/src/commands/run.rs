//! `strikemill run`: the daemon.

use std::path::Path;

pub fn run(home: &Path) -> anyhow::Result<()> {
    crate::daemon::run(home)
}
