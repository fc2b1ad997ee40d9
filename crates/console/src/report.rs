//! The state of one home.

use std::collections::BTreeMap;
use std::fmt;

use chrono::DateTime;
use chrono_tz::Tz;
use lake::{Lake, LakeError};
use ledger::{Counts, DigestMade, FileEntry, FileState, JobRun, Ledger, LedgerError, RunOutcome, Sighting};

use crate::DaemonVitals;
use crate::upkeep::Upkeep;

/// How much of a dataset is published.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DatasetSize {
    /// Name of the dataset.
    pub dataset: String,
    /// Files, one a partition.
    pub files: usize,
    /// Rows over all files.
    pub rows: i64,
    /// Bytes over all files.
    pub bytes: i64,
}

/// The state of one home at one moment.
#[derive(Debug, Clone)]
pub struct StatusReport {
    /// Name of the site.
    pub site_name: String,
    /// Zone in which times are shown.
    pub zone: Tz,
    /// Process that holds the home's lock, where the daemon runs.
    pub daemon: Option<u32>,
    /// What the daemon tells about itself, where it runs.
    pub vitals: Option<DaemonVitals>,
    /// Counts of files and rows.
    pub counts: Counts,
    /// Files and folders that wait, with the reason.
    pub sightings: Vec<Sighting>,
    /// Files in quarantine, newest first.
    pub quarantined: Vec<FileEntry>,
    /// Files imported last, newest first.
    pub recent: Vec<FileEntry>,
    /// Last run of each job.
    pub runs: BTreeMap<String, JobRun>,
    /// Published datasets.
    pub datasets: Vec<DatasetSize>,
    /// Summaries written, newest first.
    pub summaries: Vec<DigestMade>,
    /// What the people of the site have to look after.
    pub upkeep: Upkeep,
}

/// How many lines of each list are shown.
const SHOWN: usize = 8;

impl StatusReport {
    /// Reads ledger and manifest.
    pub fn gather(
        site_name: &str,
        zone: Tz,
        daemon: Option<u32>,
        ledger: &Ledger,
        lake: &Lake,
    ) -> Result<StatusReport, StatusError> {
        let mut quarantined = ledger.files_in_state(FileState::Quarantined)?;
        quarantined.sort_by_key(|file| std::cmp::Reverse(file.claimed_at));
        let mut runs = BTreeMap::new();
        for run in ledger.last_runs(None, 500)? {
            // Newest first: the first one seen of each job is its last.
            runs.entry(run.start.job.clone()).or_insert(run);
        }
        let mut sizes: BTreeMap<String, DatasetSize> = BTreeMap::new();
        for file in &lake.manifest()?.files {
            let size = sizes.entry(file.dataset.clone()).or_insert_with(|| DatasetSize {
                dataset: file.dataset.clone(),
                files: 0,
                rows: 0,
                bytes: 0,
            });
            size.files += 1;
            size.rows += file.rows;
            size.bytes += file.bytes;
        }
        let mut summaries = ledger.digests()?;
        summaries.sort_by_key(|made| std::cmp::Reverse(made.made_at));
        Ok(StatusReport {
            site_name: site_name.to_owned(),
            zone,
            daemon,
            vitals: None,
            counts: ledger.counts()?,
            sightings: ledger.sightings()?,
            quarantined,
            recent: ledger.recent_files(SHOWN as u32)?,
            runs,
            datasets: sizes.into_values().collect(),
            summaries,
            upkeep: Upkeep::default(),
        })
    }

    /// Adds what the people of the site have to look after.
    #[must_use]
    pub fn with_upkeep(mut self, upkeep: Upkeep) -> StatusReport {
        self.upkeep = upkeep;
        self
    }

    /// Whether something wants a person: files that wait too long, stand in quarantine or cannot be read, a failed job.
    pub fn wants_attention(&self) -> bool {
        let failed = self.runs.values().any(|run| run.outcome == Some(RunOutcome::Failed));
        self.counts.waiting > 0 || self.counts.retrying > 0 || self.counts.quarantined > 0 || failed
    }

    fn when(&self, micros: i64) -> String {
        DateTime::from_timestamp_micros(micros).map_or_else(String::new, |instant| {
            instant.with_timezone(&self.zone).format("%Y-%m-%d %H:%M:%S").to_string()
        })
    }
}

/// Why the state could not be told.
#[derive(Debug)]
pub enum StatusError {
    /// The ledger could not be read.
    Ledger(LedgerError),
    /// The manifest could not be read.
    Lake(LakeError),
}

impl From<LedgerError> for StatusError {
    fn from(error: LedgerError) -> Self {
        StatusError::Ledger(error)
    }
}

impl From<LakeError> for StatusError {
    fn from(error: LakeError) -> Self {
        StatusError::Lake(error)
    }
}

impl fmt::Display for StatusError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StatusError::Ledger(error) => error.fmt(out),
            StatusError::Lake(error) => error.fmt(out),
        }
    }
}

impl std::error::Error for StatusError {}

impl fmt::Display for StatusReport {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let counts = &self.counts;
        match self.daemon {
            Some(process) => writeln!(out, "{}: the daemon runs (process {process})", self.site_name)?,
            None => writeln!(out, "{}: the daemon does not run", self.site_name)?,
        }
        writeln!(
            out,
            "files    {} archived, {} known under another name, {} in quarantine, {} under way",
            counts.archived,
            counts.duplicates,
            counts.quarantined,
            counts.claimed + counts.staged + counts.published
        )?;
        writeln!(out, "rows     {} read from these files, {} rejected", counts.rows_accepted, counts.rows_rejected)?;
        if counts.rows_rejected > 0 {
            writeln!(out, "         the dataset rejects tells which and why: SELECT * FROM rejects")?;
        }
        writeln!(
            out,
            "folders  {} files settling, {} waiting too long, {} unreachable",
            counts.settling, counts.waiting, counts.retrying
        )?;
        self.show_waiting(out)?;
        self.upkeep.show(out, &|micros| self.when(micros))?;
        self.show_runs(out)?;
        if !self.datasets.is_empty() {
            writeln!(out, "\nlake")?;
            for size in &self.datasets {
                let (rows, files, kib) = (size.rows, size.files, (size.bytes + 1023) / 1024);
                writeln!(out, "  {:<16} {rows:>9} rows in {files:>3} files, {kib:>7} KiB", size.dataset)?;
            }
        }
        if !self.summaries.is_empty() {
            writeln!(out, "\nsummaries")?;
            for made in self.summaries.iter().take(SHOWN) {
                writeln!(out, "  week of {}  {:<12} {}", made.week, made.coach, made.path)?;
            }
        }
        Ok(())
    }
}

impl StatusReport {
    fn show_waiting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for sighting in self.sightings.iter().take(SHOWN) {
            writeln!(
                out,
                "  {:<9} {} since {}: {}",
                sighting.state.word(),
                sighting.path,
                self.when(sighting.first_seen),
                sighting.note
            )?;
        }
        if self.sightings.len() > SHOWN {
            writeln!(out, "  and {} more", self.sightings.len() - SHOWN)?;
        }
        if !self.quarantined.is_empty() {
            writeln!(out, "\nquarantine")?;
            for file in self.quarantined.iter().take(SHOWN) {
                let reason = file.reason.as_deref().unwrap_or("").lines().next().unwrap_or("");
                writeln!(out, "  {}  {}: {reason}", self.when(file.claimed_at), file.first_name)?;
                if let Some(path) = &file.quarantine_path {
                    writeln!(out, "      {path}")?;
                }
            }
        }
        if !self.recent.is_empty() {
            writeln!(out, "\nlast files")?;
            for file in &self.recent {
                let what = if file.marks_accepted > 0 { "marks" } else { "shots" };
                writeln!(
                    out,
                    "  {}  {:<12} {:>5} {what} {:>4} rejected  {}",
                    self.when(file.claimed_at),
                    file.state.word(),
                    file.rows_accepted,
                    file.rows_rejected,
                    file.first_name
                )?;
            }
        }
        Ok(())
    }

    fn show_runs(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.runs.is_empty() {
            return Ok(());
        }
        writeln!(out, "\njobs")?;
        for (job, run) in &self.runs {
            let outcome = run.outcome.map_or("runs now", RunOutcome::word);
            writeln!(out, "  {job:<16} {outcome:<12} {}", self.when(run.start.started))?;
            if run.outcome == Some(RunOutcome::Failed)
                && let Some(message) = &run.message
            {
                writeln!(out, "      {message}")?;
            }
        }
        Ok(())
    }
}
