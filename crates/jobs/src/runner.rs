//! Bringing the output of jobs up to date.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use chrono::Utc;
use chrono_tz::Tz;
use lake::Provenance;
use ledger::{Ledger, RunOutcome, RunStart};
use shot::LocalDay;

use crate::apart::HelperCommand;
use crate::engine::Engine;
use crate::error::JobsError;
use crate::history::{RunRecord, local_day};
use crate::pack::{JobPack, JobPackSet};
use crate::pulse::RunnerPulse;
use crate::schedule::{Cron, owed};
use crate::{compute, history};

/// What set a run off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunTrigger {
    /// A cron expression; the planned instant in UTC microseconds.
    Schedule(i64),
    /// An import.
    Import,
    /// Another job.
    Job,
    /// A person.
    Person,
    /// A person who has the rows that stay made anew, as a new series beside the old ones.
    Refit,
}

impl RunTrigger {
    fn word(self) -> &'static str {
        match self {
            RunTrigger::Schedule(_) => "schedule",
            RunTrigger::Import => "import",
            RunTrigger::Job => "job",
            RunTrigger::Person => "person",
            RunTrigger::Refit => "refit",
        }
    }

    fn nominal(self) -> Option<i64> {
        match self {
            RunTrigger::Schedule(instant) => Some(instant),
            _ => None,
        }
    }
}

/// What a run came to: its record, and its error where it failed.
#[derive(Debug)]
pub struct RunReport {
    /// What stands in `job_runs`.
    pub record: RunRecord,
    /// Why it failed.
    pub error: Option<JobsError>,
}

type Clock = Arc<dyn Fn() -> i64 + Send + Sync>;

/// Runs jobs one after the other. All calls block; from asynchronous code use [`Runner::run_job_async`] or a blocking task.
pub struct Runner {
    pub(crate) engine: Arc<Engine>,
    packs: JobPackSet,
    pub(crate) ledger: Arc<Ledger>,
    pub(crate) zone: Tz,
    writer: String,
    clock: Clock,
    turn: Mutex<()>,
    runs: AtomicU64,
    pub(crate) pulse: Mutex<RunnerPulse>,
    pub(crate) winding_up: AtomicBool,
    /// Starts a process that computes; without it everything is computed here.
    pub(crate) helper: Option<HelperCommand>,
}

impl Runner {
    /// A runner for the packs of a site. `zone` is the site's; `writer` names the program and its version in file footers.
    /// The engine must know the packs' datasets, see [`Engine::with_datasets`].
    pub fn new(engine: Arc<Engine>, packs: JobPackSet, ledger: Arc<Ledger>, zone: Tz, writer: &str) -> Runner {
        let clock: Clock = Arc::new(|| Utc::now().timestamp_micros());
        let pulse = RunnerPulse { working: false, progressed_at: Instant::now(), longest_query: Duration::ZERO };
        Runner {
            engine,
            packs,
            ledger,
            zone,
            writer: writer.into(),
            clock,
            turn: Mutex::new(()),
            runs: AtomicU64::new(0),
            pulse: Mutex::new(pulse),
            winding_up: AtomicBool::new(false),
            helper: None,
        }
    }

    /// The same runner with another clock, in UTC microseconds.
    #[must_use]
    pub fn with_clock(mut self, clock: impl Fn() -> i64 + Send + Sync + 'static) -> Runner {
        self.clock = Arc::new(clock);
        self
    }

    /// The same runner, which lets a process of its own compute: one that calls [`Runner::help`] with the same home.
    #[must_use]
    pub fn with_helper(mut self, command: impl Fn() -> std::process::Command + Send + Sync + 'static) -> Runner {
        self.helper = Some(Arc::new(command));
        self
    }

    /// The packs it runs.
    pub fn packs(&self) -> &JobPackSet {
        &self.packs
    }

    fn pack(&self, name: &str) -> Result<&JobPack, JobsError> {
        self.packs.get(name).ok_or_else(|| {
            let known: Vec<&str> = self.packs.packs().iter().map(|pack| pack.name.as_str()).collect();
            JobsError::UnknownJob { name: name.to_owned(), known: known.join(", ") }
        })
    }

    /// Plans a job and checks its columns against its contract, without computing anything.
    pub fn check_job(&self, name: &str) -> Result<(), JobsError> {
        let pack = self.pack(name)?.clone();
        let engine = Arc::clone(&self.engine);
        let seconds = compute::seconds(&engine, &pack);
        self.engine.wait_for(seconds, |stop| async move { compute::check(&engine, &pack, &stop).await })
    }

    /// Runs one job. Without `days` it computes what its inputs' changes ask for; with `days` the whole weeks that hold them
    /// are computed whatever changed. A run that fails is reported, not returned as an error: errors are those of the ledger
    /// and of an unknown name.
    pub fn run_job(
        &self,
        name: &str,
        trigger: RunTrigger,
        days: Option<(LocalDay, LocalDay)>,
    ) -> Result<RunReport, JobsError> {
        let pack = self.pack(name)?;
        if trigger == RunTrigger::Refit && pack.append_only.is_none() {
            return Err(JobsError::Contract {
                job: name.to_owned(),
                message: "there is nothing to refit: its rows follow their inputs anyway".into(),
                hint: "run it without --refit; only outputs that are append_only have series".into(),
            });
        }
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        let _at_work = self.begin_work();
        let report = self.run_recorded(pack, trigger, days)?;
        self.publish_history(std::slice::from_ref(&report))?;
        Ok(report)
    }

    /// [`Runner::run_job`] for asynchronous callers.
    pub async fn run_job_async(
        self: Arc<Self>,
        name: String,
        trigger: RunTrigger,
        days: Option<(LocalDay, LocalDay)>,
    ) -> Result<RunReport, JobsError> {
        let task = tokio::task::spawn_blocking(move || self.run_job(&name, trigger, days));
        task.await.map_err(|error| JobsError::Engine(format!("a job broke off: {error}")))?
    }

    /// Runs the jobs that follow an import, and those that follow them.
    pub fn run_after_import(&self) -> Result<Vec<RunReport>, JobsError> {
        self.run_pass(|pack| Ok(pack.trigger.after_import.then_some(RunTrigger::Import)))
    }

    /// Runs the jobs whose schedule owes a run at `now` (UTC microseconds), and those that follow them.
    pub fn run_all_due(&self, now: i64) -> Result<Vec<RunReport>, JobsError> {
        self.run_pass(|pack| {
            let Some((cron, zone)) = self.cron_of(pack) else { return Ok(None) };
            let last = self.ledger.last_nominal_time(&pack.name)?;
            Ok(owed(&cron, zone, last, now).map(RunTrigger::Schedule))
        })
    }

    /// Runs every job once.
    pub fn run_all(&self) -> Result<Vec<RunReport>, JobsError> {
        self.run_pass(|_| Ok(Some(RunTrigger::Person)))
    }

    /// The next instant after `now` at which a schedule fires, with its job.
    pub fn next_fire(&self, now: i64) -> Option<(i64, String)> {
        let mut next: Option<(i64, String)> = None;
        for pack in self.packs.packs() {
            let fire = self.cron_of(pack).and_then(|(cron, zone)| cron.next_after(now, zone));
            if let Some(fire) = fire
                && next.as_ref().is_none_or(|(earliest, _)| fire < *earliest)
            {
                next = Some((fire, pack.name.clone()));
            }
        }
        next
    }

    /// Longest wait that a pack asks for between an import and its run, in seconds.
    pub fn debounce_s(&self) -> u64 {
        let after_import = self.packs.packs().iter().filter(|pack| pack.trigger.after_import);
        after_import.map(|pack| pack.trigger.debounce_s).max().unwrap_or(0)
    }

    fn cron_of(&self, pack: &JobPack) -> Option<(Cron, Tz)> {
        let cron = Cron::parse(pack.trigger.cron.as_ref()?).ok()?;
        let zone = pack.trigger.zone.as_ref().and_then(|zone| zone.parse().ok()).unwrap_or(self.zone);
        Some((cron, zone))
    }

    /// One pass over the packs in their order: those that `started_by` starts, and those that follow a good run of this pass.
    fn run_pass(
        &self,
        started_by: impl Fn(&JobPack) -> Result<Option<RunTrigger>, JobsError>,
    ) -> Result<Vec<RunReport>, JobsError> {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        let _at_work = self.begin_work();
        let mut good: BTreeSet<&str> = BTreeSet::new();
        let mut reports = Vec::new();
        for pack in self.packs.packs() {
            let follows = pack.trigger.after_job.as_deref().is_some_and(|job| good.contains(job));
            // Who follows a run of this pass has nothing else to start it; the others are due again at the next pass.
            let own = if self.is_winding_up() { None } else { started_by(pack)? };
            let Some(trigger) = own.or(follows.then_some(RunTrigger::Job)) else { continue };
            let report = self.run_recorded(pack, trigger, None)?;
            if report.error.is_none() {
                good.insert(&pack.name);
            }
            reports.push(report);
        }
        self.publish_history(&reports)?;
        Ok(reports)
    }

    /// Runs a job and keeps the ledger.
    fn run_recorded(
        &self,
        pack: &JobPack,
        trigger: RunTrigger,
        days: Option<(LocalDay, LocalDay)>,
    ) -> Result<RunReport, JobsError> {
        self.note_progress();
        let started = (self.clock)();
        let number = self.runs.fetch_add(1, Ordering::Relaxed);
        let run_id = format!("{}-{started:x}-{number}", pack.name);
        let plan = self.plan(pack, days, trigger == RunTrigger::Refit)?;
        self.ledger.record_run_start(&RunStart {
            run_id: run_id.clone(),
            job: pack.name.clone(),
            nominal_time: trigger.nominal(),
            trigger: trigger.word().into(),
            started,
            input_generations: plan.generations_text.clone(),
        })?;
        let result = self.bring_up_to_date(pack, &plan, &run_id, started);
        let finished = (self.clock)();
        let (outcome, done, error) = match result {
            Ok(done) if done.computed => (RunOutcome::Succeeded, done, None),
            Ok(done) => (RunOutcome::Unchanged, done, None),
            Err(error @ JobsError::Cancelled) => {
                (RunOutcome::Interrupted, crate::publication::Done::default(), Some(error))
            }
            Err(error) => (RunOutcome::Failed, crate::publication::Done::default(), Some(error)),
        };
        let message = error.as_ref().map(ToString::to_string);
        self.ledger.record_run_finish(&run_id, finished, outcome, message.as_deref(), Some(count(done.rows)))?;
        if outcome == RunOutcome::Interrupted {
            tracing::warn!(job = %pack.name, "job broken off; its last good output stays, and the next start runs it again");
        } else if let Some(message) = &message {
            tracing::warn!(job = %pack.name, error = %message, "job failed; its last good output stays");
        } else {
            tracing::info!(job = %pack.name, outcome = outcome.word(), rows = done.rows, "job ran");
        }
        let record = RunRecord {
            run_id,
            job: pack.name.clone(),
            job_version: pack.version.clone(),
            trigger: trigger.word().into(),
            nominal_at: trigger.nominal(),
            started_at: started,
            finished_at: finished,
            outcome,
            message,
            rows: count(done.rows),
            partitions_written: count(done.written),
            partitions_unchanged: count(done.unchanged),
            input_generations: plan.generations_text,
            local_date: local_day(started, self.zone),
        };
        Ok(RunReport { record, error })
    }

    fn publish_history(&self, reports: &[RunReport]) -> Result<(), JobsError> {
        if reports.is_empty() {
            return Ok(());
        }
        let records: Vec<RunRecord> = reports.iter().map(|report| report.record.clone()).collect();
        let provenance = self.provenance("job_runs", (self.clock)(), Vec::new());
        history::publish(self.engine.lake(), &records, &provenance)
    }

    pub(crate) fn provenance(&self, run_id: &str, created_micros: i64, extra: Vec<(String, String)>) -> Provenance {
        Provenance { writer: self.writer.clone(), run_id: run_id.to_owned(), created_micros, extra }
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
