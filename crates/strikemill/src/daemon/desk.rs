//! Requests of commands, served one after the other.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::MissedTickBehavior;

use crate::output::Noted;
use crate::requests::{Answer, Bench, Desk, Ticket, perform};

/// Time between two looks for requests.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Serves requests until told to stop; the one at hand is answered first.
pub async fn serve_requests(bench: Bench, desk: Arc<Desk>, mut stopped: watch::Receiver<bool>) -> anyhow::Result<()> {
    let mut look = tokio::time::interval(LOOK_EVERY);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut told: Option<String> = None;
    loop {
        tokio::select! {
            _ = stopped.wait_for(|stop| *stop) => return Ok(()),
            _ = look.tick() => {}
        }
        let trouble = serve_waiting(&bench, &desk, &stopped).await.err().map(|error| format!("{error:#}"));
        // A trouble that stays is told once, not twice a second.
        if let Some(trouble) = trouble.as_ref().filter(|trouble| told.as_ref() != Some(*trouble)) {
            tracing::error!("requests of commands cannot be served: {trouble}");
        }
        told = trouble;
    }
}

async fn serve_waiting(bench: &Bench, desk: &Arc<Desk>, stopped: &watch::Receiver<bool>) -> anyhow::Result<()> {
    while !*stopped.borrow() {
        let looking = Arc::clone(desk);
        let Some(ticket) = tokio::task::spawn_blocking(move || looking.next()).await?? else { return Ok(()) };
        let Ticket { id, task } = ticket;
        // Only the kind of task: its particulars may name a player.
        tracing::info!(request = id, task = task.word(), "a command asks");
        let at_work = bench.clone();
        let working = tokio::task::spawn_blocking(move || {
            let mut noted = Noted::default();
            let failure = perform(&task, &at_work, &mut noted).err().map(|error| format!("{error:#}"));
            Answer { lines: noted.lines, left_out: noted.left_out, failure }
        });
        let answer = working.await.unwrap_or_else(|error| Answer {
            failure: Some(format!(
                "the work broke off: {error}\nhint: this is a fault of strikemill, report it with the log"
            )),
            ..Answer::default()
        });
        tracing::info!(request = id, lines = answer.lines.len(), good = answer.failure.is_none(), "answered");
        let answering = Arc::clone(desk);
        tokio::task::spawn_blocking(move || answering.answer(&id, &answer)).await??;
    }
    Ok(())
}
