//! Generations of partitions, runs of jobs, digests made.

use rusqlite::{OptionalExtension, Row, Transaction, params};

use crate::{Ledger, LedgerError};

/// The newest state of one partition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartitionGeneration {
    /// The dataset.
    pub dataset: String,
    /// `YYYY-MM`, or empty for a dataset without months.
    pub month: String,
    /// Rises with every change of the partition.
    pub generation: i64,
    /// Rows in the partition.
    pub rows: i64,
}

/// A run that begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunStart {
    /// Identity of the run.
    pub run_id: String,
    /// Name of the job.
    pub job: String,
    /// The planned instant this run stands for; `None` for a run that no schedule asked for.
    pub nominal_time: Option<i64>,
    /// What set it off: a schedule, an import, another job, a person.
    pub trigger: String,
    /// When.
    pub started: i64,
    /// Generations of the inputs, as JSON.
    pub input_generations: String,
}

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RunOutcome {
    /// Its output stands in the lake.
    Succeeded,
    /// It gave nothing; the output is that of the run before.
    Failed,
    /// Its inputs had not changed.
    Unchanged,
    /// The daemon ended before it did.
    Interrupted,
}

impl RunOutcome {
    /// All outcomes with the word used in the ledger and in reports.
    pub const WORDS: [(RunOutcome, &'static str); 4] = [
        (RunOutcome::Succeeded, "succeeded"),
        (RunOutcome::Failed, "failed"),
        (RunOutcome::Unchanged, "unchanged"),
        (RunOutcome::Interrupted, "interrupted"),
    ];

    /// The word used in the ledger and in reports.
    pub fn word(self) -> &'static str {
        RunOutcome::WORDS.iter().find(|(outcome, _)| *outcome == self).map_or("failed", |(_, word)| word)
    }

    /// The outcome of a word.
    pub fn parse(text: &str) -> Option<RunOutcome> {
        RunOutcome::WORDS.iter().find(|(_, word)| *word == text).map(|(outcome, _)| *outcome)
    }
}

/// One run of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobRun {
    /// How it began.
    pub start: RunStart,
    /// When it ended; `None` while it runs.
    pub finished: Option<i64>,
    /// How it ended.
    pub outcome: Option<RunOutcome>,
    /// A sentence about it, for example the error.
    pub message: Option<String>,
    /// Rows written.
    pub rows: Option<i64>,
}

/// A weekly digest that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DigestMade {
    /// Alias of the coach.
    pub coach: String,
    /// Monday of the week, `YYYY-MM-DD`.
    pub week: String,
    /// Where it stands.
    pub path: String,
    /// When it was made.
    pub made_at: i64,
}

pub(crate) const RUN_COLUMNS: &str =
    "run_id, job, nominal_time, trigger, started, input_generations, finished, outcome, message, rows";

pub(crate) fn run_of(row: &Row<'_>) -> rusqlite::Result<JobRun> {
    let outcome: Option<String> = row.get(7)?;
    Ok(JobRun {
        start: RunStart {
            run_id: row.get(0)?,
            job: row.get(1)?,
            nominal_time: row.get(2)?,
            trigger: row.get(3)?,
            started: row.get(4)?,
            input_generations: row.get(5)?,
        },
        finished: row.get(6)?,
        outcome: outcome.as_deref().and_then(RunOutcome::parse),
        message: row.get(8)?,
        rows: row.get(9)?,
    })
}

impl Ledger {
    /// Notes the newest generations of partitions, for example those a job replaced.
    pub fn record_generations(&self, partitions: &[PartitionGeneration], at: i64) -> Result<(), LedgerError> {
        self.write("note generations", |transaction| upsert_generations(transaction, partitions, at))
    }

    /// The newest generation of every partition, by dataset and month.
    pub fn generations(&self) -> Result<Vec<PartitionGeneration>, LedgerError> {
        self.read("list generations", |connection| {
            connection
                .prepare_cached("SELECT dataset, month, generation, rows FROM generations ORDER BY dataset, month")?
                .query_map([], |row| {
                    Ok(PartitionGeneration {
                        dataset: row.get(0)?,
                        month: row.get(1)?,
                        generation: row.get(2)?,
                        rows: row.get(3)?,
                    })
                })?
                .collect()
        })
    }

    /// Notes that a run begins.
    pub fn record_run_start(&self, start: &RunStart) -> Result<(), LedgerError> {
        self.write("note a job's start", |transaction| {
            transaction
                .execute(
                    "INSERT INTO job_runs (run_id, job, nominal_time, trigger, started, input_generations) \
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                    params![
                        start.run_id,
                        start.job,
                        start.nominal_time,
                        start.trigger,
                        start.started,
                        start.input_generations
                    ],
                )
                .map(|_| ())
        })
    }

    /// Notes how a run ended. A run that has an end already keeps it.
    pub fn record_run_finish(
        &self,
        run_id: &str,
        finished: i64,
        outcome: RunOutcome,
        message: Option<&str>,
        rows: Option<i64>,
    ) -> Result<(), LedgerError> {
        self.write("note a job's end", |transaction| {
            transaction
                .execute(
                    "UPDATE job_runs SET finished = ?2, outcome = ?3, message = ?4, rows = ?5 \
                     WHERE run_id = ?1 AND finished IS NULL",
                    params![run_id, finished, outcome.word(), message, rows],
                )
                .map(|_| ())
        })
    }

    /// Marks runs that a crash or a stop left open. Called at start, before any job runs. Returns how many there were.
    pub fn close_interrupted_runs(&self, at: i64) -> Result<usize, LedgerError> {
        self.write("close interrupted runs", |transaction| {
            transaction.execute(
                "UPDATE job_runs SET finished = ?1, outcome = 'interrupted', \
                 message = 'the daemon ended before the run did' WHERE finished IS NULL",
                [at],
            )
        })
    }

    /// The last runs, newest first; of one job, or of all.
    pub fn last_runs(&self, job: Option<&str>, most: u32) -> Result<Vec<JobRun>, LedgerError> {
        self.read("list job runs", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {RUN_COLUMNS} FROM job_runs WHERE ?1 IS NULL OR job = ?1 \
                     ORDER BY started DESC, run_id DESC LIMIT ?2"
                ))?
                .query_map(params![job, most], run_of)?
                .collect()
        })
    }

    /// The last run of a job that ended with an outcome that counts as done: succeeded, or nothing to do.
    pub fn last_good_run(&self, job: &str) -> Result<Option<JobRun>, LedgerError> {
        self.read("look up a job's last good run", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {RUN_COLUMNS} FROM job_runs WHERE job = ?1 AND outcome IN ('succeeded', 'unchanged') \
                     ORDER BY started DESC, run_id DESC LIMIT 1"
                ))?
                .query_row([job], run_of)
                .optional()
        })
    }

    /// The latest planned instant that a job has done, so that a schedule neither misses nor repeats one.
    pub fn last_nominal_time(&self, job: &str) -> Result<Option<i64>, LedgerError> {
        self.read("look up a job's last planned instant", |connection| {
            connection.query_row(
                "SELECT max(nominal_time) FROM job_runs WHERE job = ?1 AND outcome IN ('succeeded', 'unchanged')",
                [job],
                |row| row.get(0),
            )
        })
    }

    /// Notes that a digest was made; a later one for the same coach and week replaces it.
    pub fn record_digest(&self, digest: &DigestMade) -> Result<(), LedgerError> {
        self.write("note a digest", |transaction| {
            transaction
                .execute(
                    "INSERT INTO digests (coach, week, path, made_at) VALUES (?1, ?2, ?3, ?4) \
                     ON CONFLICT (coach, week) DO UPDATE SET path = excluded.path, made_at = excluded.made_at",
                    params![digest.coach, digest.week, digest.path, digest.made_at],
                )
                .map(|_| ())
        })
    }

    /// Digests, newest week first.
    pub fn digests(&self) -> Result<Vec<DigestMade>, LedgerError> {
        self.read("list digests", |connection| {
            connection
                .prepare_cached("SELECT coach, week, path, made_at FROM digests ORDER BY week DESC, coach")?
                .query_map([], |row| {
                    Ok(DigestMade { coach: row.get(0)?, week: row.get(1)?, path: row.get(2)?, made_at: row.get(3)? })
                })?
                .collect()
        })
    }
}

pub(crate) fn upsert_generations(
    transaction: &Transaction<'_>,
    partitions: &[PartitionGeneration],
    at: i64,
) -> rusqlite::Result<()> {
    let mut upsert = transaction.prepare_cached(
        "INSERT INTO generations (dataset, month, generation, rows, published_at) VALUES (?1, ?2, ?3, ?4, ?5) \
         ON CONFLICT (dataset, month) DO UPDATE SET generation = excluded.generation, rows = excluded.rows, \
         published_at = excluded.published_at",
    )?;
    for partition in partitions {
        upsert.execute(params![partition.dataset, partition.month, partition.generation, partition.rows, at])?;
    }
    Ok(())
}
