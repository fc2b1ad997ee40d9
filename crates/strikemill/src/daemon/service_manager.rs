//! What the service manager hears: started, reloading, stopping, one line of status, and that the work gets on.
//!
//! All of it is silence where no service manager listens (`NOTIFY_SOCKET` is not set).

use std::time::Duration;

/// What can be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum News {
    /// The start, or a reload, is over.
    Ready,
    /// A reload begins.
    Reloading,
    /// The end begins.
    Stopping,
    /// One line for people.
    Status(String),
    /// Every part of the daemon gets on.
    GetsOn,
    /// A start or a stop needs more time than planned.
    NeedsMore(Duration),
}

/// Tells the service manager. Its not listening is no reason to do anything else.
pub async fn tell(news: Vec<News>) {
    // Sending waits while the manager's queue is full.
    let sent = tokio::task::spawn_blocking(move || send(&news)).await;
    match sent {
        Ok(Ok(())) => {}
        Ok(Err(error)) => tracing::debug!("the service manager cannot be told: {error}"),
        Err(error) => tracing::debug!("the service manager was not told: {error}"),
    }
}

/// How often it wants to hear that the work gets on: half the time after which it would act.
#[cfg(unix)]
pub fn wants_to_hear_every() -> Option<Duration> {
    sd_notify::watchdog_enabled().map(|limit| (limit / 2).max(Duration::from_millis(20)))
}

#[cfg(unix)]
fn send(news: &[News]) -> std::io::Result<()> {
    use sd_notify::NotifyState;
    let mut states = Vec::new();
    for item in news {
        match item {
            News::Ready => states.push(NotifyState::Ready),
            News::Reloading => {
                // The manager tells this reload from earlier ones by the time.
                states.push(NotifyState::Reloading);
                states.push(NotifyState::monotonic_usec_now()?);
            }
            News::Stopping => states.push(NotifyState::Stopping),
            News::Status(line) => states.push(NotifyState::Status(line)),
            News::GetsOn => states.push(NotifyState::Watchdog),
            News::NeedsMore(time) => {
                states.push(NotifyState::ExtendTimeoutUsec(u32::try_from(time.as_micros()).unwrap_or(u32::MAX)));
            }
        }
    }
    sd_notify::notify(&states)
}

#[cfg(not(unix))]
pub fn wants_to_hear_every() -> Option<Duration> {
    None
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn send(_news: &[News]) -> std::io::Result<()> {
    Ok(())
}
