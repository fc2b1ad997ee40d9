//! What a person who looks at the state of a home asks first.

use rusqlite::OptionalExtension;

use crate::file_entry::{ENTRY_COLUMNS, entry_of};
use crate::runs::{RUN_COLUMNS, run_of};
use crate::{FileEntry, JobRun, Ledger, LedgerError};

impl Ledger {
    /// The site that the ledger belongs to; `None` before its first use.
    pub fn site(&self) -> Result<Option<String>, LedgerError> {
        self.read("tell its site", |connection| {
            connection.query_row("SELECT value FROM meta WHERE key = 'site_id'", [], |row| row.get(0)).optional()
        })
    }

    /// Files in quarantine, refused last first; without those that a person removed.
    pub fn newest_quarantined(&self, most: u32) -> Result<Vec<FileEntry>, LedgerError> {
        self.read("list files", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {ENTRY_COLUMNS} FROM files WHERE state = 'quarantined' AND quarantine_path IS NOT NULL \
                     ORDER BY quarantined_at DESC, source_file_id LIMIT ?1"
                ))?
                .query_map([most], entry_of)?
                .collect()
        })
    }

    /// The last run of every job, by the job's name.
    pub fn last_run_of_each_job(&self) -> Result<Vec<JobRun>, LedgerError> {
        self.read("list the jobs' last runs", |connection| {
            // Steps from name to name along the index, so that years of runs cost nothing.
            let jobs: Vec<String> = connection
                .prepare_cached(
                    "WITH RECURSIVE names (job) AS (SELECT min(job) FROM job_runs UNION ALL \
                     SELECT (SELECT min(job) FROM job_runs WHERE job > names.job) FROM names WHERE names.job IS NOT NULL) \
                     SELECT job FROM names WHERE job IS NOT NULL",
                )?
                .query_map([], |row| row.get(0))?
                .collect::<rusqlite::Result<_>>()?;
            let mut last = connection.prepare_cached(&format!(
                "SELECT {RUN_COLUMNS} FROM job_runs WHERE job = ?1 ORDER BY started DESC, run_id DESC LIMIT 1"
            ))?;
            jobs.iter().map(|job| last.query_row([job], run_of)).collect()
        })
    }
}
