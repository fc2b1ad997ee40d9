//! How the daemon as a whole stands: what it tells the service manager, the status page and the file beside the ledger.

use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use chrono::Utc;
use console::{DaemonVitals, Phase, VitalsFile};
use tokio::sync::watch;

use crate::daemon::pulse::{Beat, LONGEST_STEP, Parts, Pulse};
use crate::daemon::service_manager::{News, tell, wants_to_hear_every};
use crate::requests::Bench;

/// Time between two looks, where the service manager does not want to hear more often.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// How the daemon stands. Shared by all its tasks.
#[derive(Clone)]
pub struct Standing(Arc<Mutex<Inner>>);

struct Inner {
    /// What changes seldom; the rest is filled in when asked.
    told: DaemonVitals,
    bench: Bench,
    schedule_beat: Arc<Beat>,
    pulse: Pulse,
    /// The wall clock and the steady one at one moment: instants of the steady one are told by it.
    clocks: (i64, Instant),
}

impl Standing {
    pub fn new(bench: Bench, pack_faults: Vec<String>) -> Standing {
        let now = Utc::now().timestamp_micros();
        let told = DaemonVitals {
            process: std::process::id(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            started_at: now,
            configured_at: Some(now),
            pack_faults,
            ..DaemonVitals::default()
        };
        let (schedule_beat, at) = (Arc::new(Beat::new()), Instant::now());
        let pulse = Pulse::new(LONGEST_STEP, at);
        Standing(Arc::new(Mutex::new(Inner { told, bench, schedule_beat, pulse, clocks: (now, at) })))
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        // Every change leaves a whole value behind, so that the one behind a poisoned lock is sound.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The rooms that are in use now.
    pub fn bench(&self) -> Bench {
        self.inner().bench.clone()
    }

    /// Another shift has begun.
    pub fn shift_began(&self, bench: &Bench, schedule_beat: &Arc<Beat>) {
        let mut inner = self.inner();
        inner.bench = bench.clone();
        inner.schedule_beat = Arc::clone(schedule_beat);
        inner.told.phase = Phase::Running;
    }

    /// A configuration has come into force.
    pub fn configured(&self, pack_faults: Vec<String>) {
        let mut inner = self.inner();
        inner.told.configured_at = Some(Utc::now().timestamp_micros());
        inner.told.configuration_faults = Vec::new();
        inner.told.pack_faults = pack_faults;
    }

    /// What was written last is not sound; what was in force before still is.
    pub fn refused(&self, faults: Vec<String>) {
        self.inner().told.configuration_faults = faults;
    }

    pub fn enter(&self, phase: Phase) {
        self.inner().told.phase = phase;
    }

    /// Changes what others look after, for example whether alerts can be delivered.
    pub fn note(&self, change: impl FnOnce(&mut DaemonVitals)) {
        change(&mut self.inner().told);
    }

    /// Everything the daemon tells about itself, of now.
    pub fn vitals(&self) -> DaemonVitals {
        let mut inner = self.inner();
        let now = Instant::now();
        let intake = inner.bench.intake.vitals();
        let (runner, beat) = (inner.bench.runner.pulse(), inner.schedule_beat.last());
        let rescan_every = inner.bench.studio.configuration.rescan_every;
        let parts = Parts { intake: &intake, rescan_every, runner, schedule_went_round: beat };
        let stalled = match inner.told.phase {
            Phase::Running => inner.pulse.standing_still(&parts, now),
            _ => Vec::new(),
        };
        let (wall, steady) = inner.clocks;
        let since_then = beat.saturating_duration_since(steady).as_micros();
        DaemonVitals {
            written_at: Utc::now().timestamp_micros(),
            scan_started: intake.scan_started,
            scan_finished: intake.scan_finished,
            last_progress: Some(intake.last_progress),
            last_publication: intake.last_publication,
            schedule_looked_at: Some(wall + i64::try_from(since_then).unwrap_or(0)),
            paused: intake.paused,
            failing: intake.failing,
            stalled,
            ..inner.told.clone()
        }
    }
}

/// One line for the service manager.
fn status_line(vitals: &DaemonVitals, folders: usize) -> String {
    let first_line = |text: &str| text.lines().next().unwrap_or_default().to_owned();
    if let Some(why) = &vitals.failing {
        return format!("cannot import: {}", first_line(why));
    }
    if let Some(what) = vitals.stalled.first() {
        return what.clone();
    }
    if let Some(why) = &vitals.paused {
        return format!("pauses: {}", first_line(why));
    }
    if let Some(fault) = vitals.configuration_faults.first() {
        return format!("the configuration written last is faulty, the one before is in force: {}", first_line(fault));
    }
    format!("watching {folders} folder{}", if folders == 1 { "" } else { "s" })
}

/// Keeps the file beside the ledger and the service manager up to date until told to stop. The manager hears that the work gets
/// on only while it does.
pub async fn keep_telling(standing: Standing, state: std::path::PathBuf, mut stopped: watch::Receiver<bool>) {
    let hear_every = wants_to_hear_every();
    let mut look = tokio::time::interval(hear_every.unwrap_or(LOOK_EVERY).min(LOOK_EVERY));
    look.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut file = VitalsFile::new(&state);
    let mut heard: Option<Instant> = None;
    let (mut told, mut still, mut unwritable) = (String::new(), false, false);
    loop {
        tokio::select! {
            _ = stopped.wait_for(|stop| *stop) => return,
            _ = look.tick() => {}
        }
        let vitals = standing.vitals();
        let mut news = Vec::new();
        let line = status_line(&vitals, standing.bench().studio.configuration.folders.len());
        if vitals.phase == Phase::Running && line != told {
            news.push(News::Status(line.clone()));
            told = line;
        }
        if still == vitals.stalled.is_empty() {
            still = !still;
            if vitals.stalled.is_empty() {
                tracing::info!("the work gets on again");
            } else {
                tracing::error!(
                    "{}; the service manager does not hear that the work gets on",
                    vitals.stalled.join("; ")
                );
            }
        }
        let due = hear_every.is_some_and(|every| heard.is_none_or(|last| last.elapsed() + every / 2 >= every));
        if due && vitals.stalled.is_empty() {
            news.push(News::GetsOn);
            heard = Some(Instant::now());
        }
        if !news.is_empty() {
            tell(news).await;
        }
        let kept = tokio::task::spawn_blocking(move || (file.keep(&vitals), file)).await;
        let Ok((kept, same)) = kept else { return };
        file = same;
        match kept {
            Ok(_) => unwritable = false,
            Err(error) if !unwritable => {
                unwritable = true;
                tracing::warn!("{} cannot be written: {error}; status cannot tell how the daemon is", state.display());
            }
            Err(_) => {}
        }
    }
}

/// Leaves the last word in the file beside the ledger.
pub fn last_word(standing: &Standing, state: &Path) {
    standing.enter(Phase::Stopped);
    if let Err(error) = VitalsFile::new(state).write(&standing.vitals()) {
        tracing::debug!("the last word cannot be written: {error}");
    }
}
