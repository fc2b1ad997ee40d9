//! Log output: text for people, JSON for collectors, always on standard error.

use std::io::IsTerminal;
use std::sync::OnceLock;

use tracing::Level;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::reload::Handle;

/// Changes the level of the daemon's log while it runs.
type ChangeLevel = Box<dyn Fn(Level) + Send + Sync>;

static CHANGE_LEVEL: OnceLock<ChangeLevel> = OnceLock::new();

/// Starts the daemon's log.
pub fn start(json: bool, level: Level) {
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter(level))
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(json);
    if json {
        let builder = builder.json().flatten_event(true).with_filter_reloading();
        keep(builder.reload_handle());
        builder.init();
    } else {
        let builder = builder.with_filter_reloading();
        keep(builder.reload_handle());
        builder.init();
    }
}

/// Changes the level of the daemon's log. Its format stays until the next start.
pub fn change_level(level: Level) {
    if let Some(change) = CHANGE_LEVEL.get() {
        change(level);
    }
}

fn keep<S: 'static>(handle: Handle<EnvFilter, S>) {
    let change = move |level| {
        // Fails only where the log itself is gone.
        let _ = handle.reload(filter(level));
    };
    let _ = CHANGE_LEVEL.set(Box::new(change));
}

/// The level speaks of our rooms; the libraries below them only warn.
fn filter(level: Level) -> EnvFilter {
    let rooms = ["strikemill", "intake", "lake", "jobs", "digest", "console", "ledger", "files"];
    let rooms: Vec<String> = rooms.iter().map(|room| format!("{room}={level}")).collect();
    EnvFilter::new(format!("warn,{}", rooms.join(",")))
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
