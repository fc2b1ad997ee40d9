//! What the system asks the daemon by signals.

use anyhow::Context;

/// A signal that concerns the daemon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signal {
    /// To stop; the name is for the log.
    Stop(&'static str),
    /// To read the configuration anew.
    Reload,
}

/// The signals that the daemon listens for. From the moment it does, none of them ends the process by itself.
#[cfg(unix)]
pub struct Signals {
    terminate: tokio::signal::unix::Signal,
    interrupt: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Signals {
    /// Begins to listen; called within a runtime.
    pub fn listen() -> anyhow::Result<Signals> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Signals {
            terminate: signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?,
            interrupt: signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?,
            hang_up: signal(SignalKind::hangup()).context("cannot listen for SIGHUP")?,
        })
    }

    /// The next signal. Nothing is lost when the wait is given up.
    pub async fn next(&mut self) -> Signal {
        tokio::select! {
            biased;
            _ = self.terminate.recv() => Signal::Stop("SIGTERM"),
            _ = self.interrupt.recv() => Signal::Stop("SIGINT"),
            _ = self.hang_up.recv() => Signal::Reload,
        }
    }

    /// The next signal to stop; the name is for the log. Other signals stay for later.
    pub async fn stop(&mut self) -> &'static str {
        tokio::select! {
            biased;
            _ = self.terminate.recv() => "SIGTERM",
            _ = self.interrupt.recv() => "SIGINT",
        }
    }
}

/// Elsewhere only Ctrl-C can be listened for; a change of the configuration is noticed all the same.
#[cfg(not(unix))]
pub struct Signals;

#[cfg(not(unix))]
impl Signals {
    #[allow(clippy::unnecessary_wraps)] // one signature on every system
    pub fn listen() -> anyhow::Result<Signals> {
        Ok(Signals)
    }

    pub async fn next(&mut self) -> Signal {
        Signal::Stop(self.stop().await)
    }

    pub async fn stop(&mut self) -> &'static str {
        // Where Ctrl-C cannot be listened for, only a hard stop is left, which the next start recovers from.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
        "Ctrl-C"
    }
}
