//! Alerts for IT: what wants a person is told by a command, new things at once, lasting ones again after a while, and when they
//! are mended.
//!
//! What was told stands in the ledger, so that a restart tells nothing twice. Where a stop cut off the command, the next message
//! says that it may repeat the one before.

mod command;
mod memory;
mod message;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::Utc;
use console::{Board, ConcernKind, StatusReport};
use ledger::{Alert, AlertSubject, Ledger};
use tokio::sync::watch;

pub use self::command::deliver;
use self::memory::Memory;
pub use self::message::test_letter;
use self::message::{Due, letter};
use crate::config::AlertSettings;

/// How often the state is looked at.
const LOOK_EVERY: Duration = Duration::from_secs(15);
/// The command runs at most so often; what comes up meanwhile goes into the next message.
const LEAST_PAUSE: Duration = Duration::from_mins(1);
/// After failures in a row the pause grows to this.
const LONGEST_PAUSE: Duration = Duration::from_hours(1);
/// A command under way gets so long when the daemon stops.
const GRACE: Duration = Duration::from_secs(5);
/// Key of the ledger under which stands when a command was started whose end is not noted.
const UNDER_WAY: &str = "alert_under_way";

/// Told why the last message could not be delivered, or that it could.
pub type NoteFailure = Box<dyn Fn(Option<String>) + Send + Sync>;

/// What the task needs.
pub struct Alerting {
    pub settings: AlertSettings,
    pub home: PathBuf,
    pub ledger: Arc<Ledger>,
    pub board: Arc<Board>,
    pub note_failure: NoteFailure,
}

impl Alerting {
    /// Looks and tells until `stop` becomes true (or its sender is gone).
    pub async fn run(self, mut stop: watch::Receiver<bool>) -> anyhow::Result<()> {
        let Alerting { settings, home, ledger, board, note_failure } = self;
        let mut pace = Pace::default();
        let mut book = Book::new(ledger, settings.repeat_every);
        let mut look = tokio::time::interval(LOOK_EVERY);
        look.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                _ = stop.wait_for(|stop| *stop) => return Ok(()),
                _ = look.tick() => {}
            }
            let Some(report) = board.latest().await else { continue };
            let looked_at = Arc::clone(&report);
            let may_tell = pace.allows();
            let looking = tokio::task::spawn_blocking(move || {
                let due = book.look(&looked_at, Utc::now().timestamp_micros(), may_tell);
                (book, due)
            });
            let (same, due) = looking.await?;
            book = same;
            let Some(due) = due else { continue };
            let letter = letter(&due, &report, &home);
            pace.begins();
            let outcome = tokio::select! {
                outcome = deliver(&settings, &home, &letter) => outcome,
                () = asked_and_grace_over(stop.clone()) => return Ok(()),
            };
            match outcome {
                Ok(()) => {
                    tracing::info!(subject = %letter.subject, "an alert was delivered");
                    pace.succeeded();
                    note_failure(None);
                    let noting = tokio::task::spawn_blocking(move || {
                        book.note_told(&due, Utc::now().timestamp_micros());
                        book
                    });
                    book = noting.await?;
                }
                Err(why) => {
                    pace.failed();
                    tracing::error!(subject = %letter.subject, "an alert was not delivered and will be tried again: {why}");
                    note_failure(Some(why));
                    let noting = tokio::task::spawn_blocking(move || {
                        book.note_not_told();
                        book
                    });
                    book = noting.await?;
                }
            }
        }
    }
}

async fn asked_and_grace_over(mut stop: watch::Receiver<bool>) {
    let _ = stop.wait_for(|stop| *stop).await;
    tokio::time::sleep(GRACE).await;
}

/// How often the command may run.
#[derive(Debug, Default)]
struct Pace {
    last: Option<Instant>,
    failures: u32,
}

impl Pace {
    fn allows(&self) -> bool {
        self.last.is_none_or(|last| last.elapsed() >= self.pause())
    }

    fn pause(&self) -> Duration {
        LEAST_PAUSE.saturating_mul(1 << self.failures.min(10)).min(LONGEST_PAUSE)
    }

    fn begins(&mut self) {
        self.last = Some(Instant::now());
    }

    fn succeeded(&mut self) {
        self.failures = 0;
    }

    fn failed(&mut self) {
        self.failures = self.failures.saturating_add(1);
    }
}

/// What was told and what is due: in the ledger, and in memory while the ledger does not work.
struct Book {
    ledger: Arc<Ledger>,
    repeat_every: i64,
    memory: Memory,
    /// When a command was started of which nobody knows whether it came to its end.
    uncertain: Option<i64>,
    read_uncertain: bool,
}

impl Book {
    fn new(ledger: Arc<Ledger>, repeat_every: Duration) -> Book {
        let repeat_every = i64::try_from(repeat_every.as_micros()).unwrap_or(i64::MAX);
        Book { ledger, repeat_every, memory: Memory::default(), uncertain: None, read_uncertain: false }
    }

    /// Notes what wants a person now; answers what is to be told, if anything is and it may be.
    fn look(&mut self, report: &StatusReport, now: i64, may_tell: bool) -> Option<Due> {
        if !self.read_uncertain
            && let Ok(noted) = self.ledger.remembered(UNDER_WAY)
        {
            self.uncertain = noted.and_then(|text| text.parse().ok());
            self.read_uncertain = true;
        }
        let (subjects, unseen) = subjects(report);
        let alerts = self.memory.noted(&self.ledger, &subjects, &unseen, now);
        if !may_tell {
            return None;
        }
        let due = Due::of(alerts, now, self.repeat_every, self.uncertain)?;
        if self.ledger.remember(UNDER_WAY, &now.to_string()).is_err() {
            tracing::debug!("the ledger cannot note that an alert is under way");
        }
        Some(due)
    }

    fn note_told(&mut self, due: &Due, now: i64) {
        let told: Vec<Alert> = due.all().cloned().collect();
        self.memory.told(&self.ledger, &told, now);
        self.uncertain = None;
        self.end_under_way();
    }

    /// The command came to its end and failed: there is nothing uncertain about that.
    fn note_not_told(&mut self) {
        self.end_under_way();
    }

    fn end_under_way(&self) {
        if self.ledger.remember(UNDER_WAY, "").is_err() {
            tracing::debug!("the ledger cannot note that an alert came to its end");
        }
    }
}

/// What the alerts are about, and the kinds of which not everything was seen.
fn subjects(report: &StatusReport) -> (Vec<AlertSubject>, Vec<&'static str>) {
    let mut subjects = Vec::new();
    for concern in &report.concerns.list {
        // Telling by the command that the command does not work would be in vain.
        if concern.kind != ConcernKind::AlertFailing {
            subjects.push(AlertSubject {
                subject: concern.subject.clone(),
                kind: concern.kind.word().to_owned(),
                message: concern.message.clone(),
            });
        }
    }
    let mut unseen: Vec<&str> = report.concerns.beyond.keys().map(|kind| kind.word()).collect();
    if report.ledger_fault.is_some() {
        // Folders, quarantine and jobs stand in the ledger: nothing of them mended only because it cannot be read.
        let of_ledger =
            [ConcernKind::Unreachable, ConcernKind::WaitingTooLong, ConcernKind::Quarantined, ConcernKind::JobFailed];
        unseen.extend(of_ledger.map(ConcernKind::word));
    }
    (subjects, unseen)
}

#[cfg(test)]
mod tests;
