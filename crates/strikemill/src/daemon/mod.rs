//! The daemon: its start, its shifts, its end.
//!
//! Everything that works by the configuration is a [`Shift`](shift::Shift). When what people wrote has changed and is sound,
//! one shift hands over to the next; ledger, lake, lock and desk stay as they are all the while.

mod desk;
mod page;
mod pulse;
mod reload;
mod schedule;
mod service_manager;
mod shift;
mod signals;
mod standing;
mod told;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use ::intake::IntakeError;
use anyhow::Context;
use chrono::Utc;
use console::{Board, Phase};
use tokio::sync::{mpsc, watch};

use self::page::{board, keep_page};
use self::reload::{PacksInForce, notice_changes, read_all, read_anew};
use self::service_manager::{News, tell};
use self::shift::Shift;
use self::signals::{Signal, Signals};
use self::standing::{Standing, keep_telling, last_word};
use crate::alerts::Alerting;
use crate::requests::{Bench, Desk};
use crate::studio::{Access, Studio, WRITER, Written, report_faults};

/// At the limit of a stop so much of it is left for jobs to be broken off in order.
const BREAK_OFF_WITHIN: Duration = Duration::from_secs(3);
/// While the start still picks up what the last stop left, the service manager is asked again and again for so much time.
const START_NEEDS: Duration = Duration::from_mins(2);

/// Runs the daemon of a home until a signal ends it.
pub fn run(home: &Path) -> anyhow::Result<()> {
    let written = read_all(home).map_err(|faults| report_faults(&faults))?;
    crate::logging::start(written.configuration.log_json, written.configuration.log_level);
    tell_left_out(&written);
    let threads = tokio::runtime::Builder::new_multi_thread().enable_all().build().context("cannot start threads")?;
    // From here on a signal ends the daemon in order, even while it still picks up what the last stop left.
    let signals = threads.block_on(async { Signals::listen() })?;
    let packs = PacksInForce::of(&written);
    let pack_faults = written.pack_faults.clone();
    let studio = Arc::new(Studio::of(written, Access::Write)?);
    let ended = threads.block_on(async {
        let daemon = Daemon::start(studio, packs, pack_faults)?;
        daemon.live(signals).await
    });
    // Work that did not end in time is not waited for: whatever it leaves behind the next start finishes.
    threads.shutdown_background();
    ended
}

fn tell_left_out(written: &Written) {
    for fault in &written.pack_faults {
        tracing::error!("a pack is left out\n{}", fault.trim_end());
    }
    for fault in &written.corrections_faults {
        tracing::warn!("a correction is left out\n{}", fault.trim_end());
    }
}

/// What lasts from the start to the end, whatever the configuration becomes.
struct Daemon {
    home: PathBuf,
    state: PathBuf,
    standing: Standing,
    packs: PacksInForce,
    desk: Option<Arc<Desk>>,
    /// What the status page and the alerts look at.
    board: Arc<Board>,
}

/// Why a shift ended.
enum End {
    /// A signal, by its name.
    Asked(&'static str),
    /// A task broke off.
    Broken(anyhow::Error),
}

impl Daemon {
    fn start(studio: Arc<Studio>, packs: PacksInForce, pack_faults: Vec<String>) -> anyhow::Result<Daemon> {
        let home = studio.configuration.home.clone();
        let state = studio.configuration.place("state");
        let desk = match Desk::open(&state, studio.files.clone()) {
            Ok(desk) => Some(Arc::new(desk)),
            Err(error) => {
                tracing::error!("commands cannot be served while the daemon runs: {error:#}");
                None
            }
        };
        let bench = Bench::of_daemon(studio)?;
        let standing = Standing::new(bench, pack_faults);
        let board = board(&standing);
        Ok(Daemon { home, state, standing, packs, desk, board })
    }

    async fn live(mut self, mut signals: Signals) -> anyhow::Result<()> {
        let (stop_telling, telling_stopped) = watch::channel(false);
        let (changed, mut changes) = mpsc::channel(1);
        let telling = tokio::spawn(keep_telling(self.standing.clone(), self.state.clone(), telling_stopped.clone()));
        let noticing = tokio::spawn(notice_changes(self.home.clone(), changed, telling_stopped.clone()));
        let page = tokio::spawn(keep_page(self.standing.clone(), Arc::clone(&self.board), telling_stopped));
        let ended = match self.recover(&mut signals).await {
            Ok(Some(signal)) => {
                tracing::info!(signal, "stopped while starting; the next start goes on");
                Ok(())
            }
            Ok(None) => self.work(&mut signals, &mut changes).await,
            Err(error) => Err(error),
        };
        let _ = stop_telling.send(true);
        let _ = telling.await;
        let _ = noticing.await;
        let _ = page.await;
        let (standing, state) = (self.standing.clone(), self.state.clone());
        let _ = tokio::task::spawn_blocking(move || last_word(&standing, &state)).await;
        ended
    }

    /// Finishes what the last stop left. Answers the signal that cut it short.
    async fn recover(&mut self, signals: &mut Signals) -> anyhow::Result<Option<&'static str>> {
        let bench = self.standing.bench();
        self.tell_start(&bench);
        let intake = Arc::clone(&bench.intake);
        let mut recovering = tokio::task::spawn_blocking(move || {
            let interrupted = bench.studio.ledger.close_interrupted_runs(Utc::now().timestamp_micros())?;
            if interrupted > 0 {
                tracing::warn!(runs = interrupted, "jobs were cut off by the last stop; they run again");
            }
            let now = Utc::now();
            bench.intake.recover(now)?;
            bench.intake.publish_dimensions(now)
        });
        let mut needs = tokio::time::interval(START_NEEDS / 2);
        let recovered = loop {
            tokio::select! {
                recovered = &mut recovering => break recovered.context("the start broke off")?,
                signal = signals.stop() => {
                    intake.stop_handle().stop();
                    self.standing.enter(Phase::Stopping);
                    tell(vec![News::Stopping]).await;
                    tokio::select! {
                        _ = tokio::time::timeout(self.stop_limit(), recovering) => {}
                        _ = signals.stop() => {}
                    }
                    return Ok(Some(signal));
                }
                _ = needs.tick() => {
                    // A start that stands still is the service manager's to end.
                    if intake.vitals().without_progress() < START_NEEDS {
                        tell(vec![News::NeedsMore(START_NEEDS)]).await;
                    }
                }
            }
        };
        match recovered {
            Ok(()) => Ok(None),
            Err(error @ (IntakeError::Ledger(_) | IntakeError::Settings { .. })) => Err(error.into()),
            Err(error) => {
                // Want of space, for example: the daemon waits for better times, visibly, as it does when it runs.
                tracing::error!("what the last stop left cannot be finished yet; every scan tries again: {error}");
                Ok(None)
            }
        }
    }

    fn tell_start(&self, bench: &Bench) {
        let configuration = &bench.studio.configuration;
        tracing::info!(
            program = WRITER,
            process = std::process::id(),
            site = %configuration.site_id,
            home = %configuration.home.display(),
            folders = configuration.folders.len(),
            format_packs = self.packs.formats.len(),
            jobs = self.packs.jobs.len(),
            "starting"
        );
        for folder in &configuration.folders {
            tracing::info!(folder = %folder.path.display(), bay = folder.bay.as_deref().unwrap_or("-"), "import folder");
        }
    }

    /// The alerts as the configuration of a shift wants them.
    fn alerting(&self, bench: &Bench) -> Option<Alerting> {
        let settings = bench.studio.configuration.alert.clone()?;
        let standing = self.standing.clone();
        Some(Alerting {
            settings,
            home: self.home.clone(),
            ledger: Arc::clone(&bench.studio.ledger),
            board: Arc::clone(&self.board),
            note_failure: Box::new(move |why| standing.note(|vitals| vitals.alert_failing = why)),
        })
    }

    fn stop_limit(&self) -> Duration {
        self.standing.bench().studio.configuration.stop_limit
    }

    /// Works shift after shift.
    async fn work(&mut self, signals: &mut Signals, changes: &mut mpsc::Receiver<String>) -> anyhow::Result<()> {
        let mut shift = Shift::begin(self.standing.bench(), self.desk.clone(), self.alerting(&self.standing.bench()))?;
        self.standing.shift_began(&shift.bench, &shift.schedule_beat);
        tell(vec![News::Ready]).await;
        tracing::info!("watching");
        let end = loop {
            let why = tokio::select! {
                signal = signals.next() => match signal {
                    Signal::Stop(name) => break End::Asked(name),
                    Signal::Reload => "SIGHUP".to_owned(),
                },
                Some(what) = changes.recv() => what,
                error = shift.breaks_off() => break End::Broken(error),
            };
            tracing::info!(why, "reading the configuration anew");
            tell(vec![News::Reloading]).await;
            let turned = self.take_over(shift, signals).await;
            match turned {
                Ok(next) => shift = next,
                Err((last, end)) => {
                    shift = last;
                    break end;
                }
            }
            tell(vec![News::Ready]).await;
        };
        self.end(shift, end, signals).await
    }

    /// Reads what people wrote; where it is sound, ends the shift and begins the next one. Answers the shift that works now,
    /// or the one that was to end when the daemon has to.
    async fn take_over(&mut self, mut shift: Shift, signals: &mut Signals) -> Result<Shift, (Shift, End)> {
        let read = tokio::select! {
            read = self.read(&shift.bench) => read,
            signal = signals.stop() => return Err((shift, End::Asked(signal))),
        };
        let written = match read {
            Ok(written) => written,
            Err(faults) => {
                for fault in &faults {
                    tracing::error!(
                        "the configuration in force stays, since a new one is faulty\n{}",
                        fault.trim_end()
                    );
                }
                self.standing.refused(faults);
                return Ok(shift);
            }
        };
        tell_left_out(&written);
        let (packs, pack_faults) = (PacksInForce::of(&written), written.pack_faults.clone());
        tokio::select! {
            () = shift.hand_over() => {}
            signal = signals.stop() => return Err((shift, End::Asked(signal))),
        }
        let studio = Arc::clone(&shift.bench.studio);
        let opened = blocking(move || Bench::of_daemon(Arc::new(studio.renewed(written)?))).await;
        let (bench, in_force) = match opened {
            Ok(bench) => (bench, true),
            Err(error) => {
                // It was tried a moment ago. Whatever came in between, the work goes on as before.
                tracing::error!("the new configuration cannot be used, the one before goes on: {error:#}");
                self.standing.refused(vec![format!("error: {error:#}")]);
                let studio = Arc::clone(&shift.bench.studio);
                match blocking(move || Bench::of_daemon(studio)).await {
                    Ok(bench) => (bench, false),
                    Err(error) => return Err((shift, End::Broken(error))),
                }
            }
        };
        let alerting = self.alerting(&bench);
        match Shift::begin(bench, self.desk.clone(), alerting) {
            Ok(next) => shift = next,
            Err(error) => return Err((shift, End::Broken(error))),
        }
        self.standing.shift_began(&shift.bench, &shift.schedule_beat);
        if in_force {
            self.packs = packs;
            self.standing.configured(pack_faults);
            let configuration = &shift.bench.studio.configuration;
            crate::logging::change_level(configuration.log_level);
            tracing::info!(
                folders = configuration.folders.len(),
                format_packs = self.packs.formats.len(),
                jobs = self.packs.jobs.len(),
                "the new configuration is in force"
            );
        }
        Ok(shift)
    }

    /// What people wrote, tried out as far as that can be done beside the shift that works.
    async fn read(&self, bench: &Bench) -> Result<Written, Vec<String>> {
        let (home, packs, studio) = (self.home.clone(), self.packs.clone(), Arc::clone(&bench.studio));
        let reading = tokio::task::spawn_blocking(move || {
            let site_id = &studio.configuration.site_id;
            // Read twice: one reading is used up by the trial.
            let trial = read_anew(&home, &packs, site_id)?;
            let tried = studio.renewed(trial).and_then(|studio| Bench::of_daemon(Arc::new(studio)));
            tried.map_err(|error| vec![format!("error: {error:#}")])?;
            read_anew(&home, &packs, site_id)
        });
        reading.await.unwrap_or_else(|error| Err(vec![format!("error: reading broke off: {error}")]))
    }

    /// Ends the last shift: in order within the limit, at once at a second signal.
    async fn end(&mut self, mut shift: Shift, end: End, signals: &mut Signals) -> anyhow::Result<()> {
        self.standing.enter(Phase::Stopping);
        tell(vec![News::Stopping, News::Status("finishing the step at hand".to_owned())]).await;
        let limit = self.stop_limit();
        match &end {
            End::Asked(signal) => tracing::info!(signal, limit_s = limit.as_secs(), "stopping"),
            End::Broken(error) => tracing::error!("the daemon cannot go on: {error:#}"),
        }
        shift.ask_to_end();
        let reserve = BREAK_OFF_WITHIN.min(limit / 4);
        tokio::select! {
            () = shift.has_ended() => tracing::info!("stopped"),
            signal = signals.stop() => {
                tracing::warn!(signal, "stopped at once; the next start finishes the work at hand");
            }
            () = tokio::time::sleep(limit.saturating_sub(reserve)) => {
                // Jobs are noted as interrupted and run again; everything else the next start picks up.
                shift.bench.runner.cancel();
                let _ = tokio::time::timeout(reserve, shift.has_ended()).await;
                tracing::warn!(
                    limit_s = limit.as_secs(),
                    "stopped before the work at hand was done; the next start finishes it"
                );
            }
        }
        match end {
            End::Asked(_) => Ok(()),
            End::Broken(error) => Err(error),
        }
    }
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> anyhow::Result<T> + Send + 'static) -> anyhow::Result<T> {
    tokio::task::spawn_blocking(work).await.context("the work broke off")?
}
