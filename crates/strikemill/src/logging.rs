//! Log output: text for people, JSON for collectors, always on standard error.

use std::io::IsTerminal;

use tracing::Level;
use tracing_subscriber::EnvFilter;

/// Starts the daemon's log.
pub fn start(json: bool, level: Level) {
    // The level speaks of our rooms; the libraries below them only warn.
    let filter =
        EnvFilter::new(format!("warn,strikemill={level},intake={level},lake={level},jobs={level},digest={level}"));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(json);
    if json {
        builder.json().flatten_event(true).init();
    } else {
        builder.init();
    }
}

/// Log of a single command: only what goes wrong.
pub fn start_quiet() {
    tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::new("error"))
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(false)
        .without_time()
        .init();
}
