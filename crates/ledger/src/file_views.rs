//! What one can ask about files.

use rusqlite::{OptionalExtension, params};

use crate::file_entry::{ENTRY_COLUMNS, entry_of};
use crate::{FileEntry, FileState, Ledger, LedgerError, SightingState};

/// A name under which a file's bytes arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileName {
    /// The name.
    pub name: String,
    /// The folder.
    pub folder: String,
    /// When it was noted.
    pub seen_at: i64,
}

/// Numbers for `status`, the status page and the metrics.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Files being read.
    pub claimed: i64,
    /// Files whose rows wait in staging.
    pub staged: i64,
    /// Files published and not yet archived.
    pub published: i64,
    /// Files done.
    pub archived: i64,
    /// Files refused.
    pub quarantined: i64,
    /// Rows taken, over all published files.
    pub rows_accepted: i64,
    /// Rows refused, over all published files.
    pub rows_rejected: i64,
    /// Arrivals that repeated known bytes under another name.
    pub duplicates: i64,
    /// Files in import folders that may still be written to.
    pub settling: i64,
    /// Files in import folders that have not become whole for too long.
    pub waiting: i64,
    /// Files or folders that could not be read.
    pub retrying: i64,
}

impl Ledger {
    /// The entry of a file.
    pub fn file(&self, source_file_id: &str) -> Result<Option<FileEntry>, LedgerError> {
        self.read("look up a file", |connection| {
            connection
                .prepare_cached(&format!("SELECT {ENTRY_COLUMNS} FROM files WHERE source_file_id = ?1"))?
                .query_row([source_file_id], entry_of)
                .optional()
        })
    }

    /// Entries whose hash starts with a text, for commands that name a file by its first digits.
    pub fn files_by_prefix(&self, prefix: &str) -> Result<Vec<FileEntry>, LedgerError> {
        self.read("look up files", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {ENTRY_COLUMNS} FROM files WHERE substr(source_file_id, 1, length(?1)) = ?1 \
                     ORDER BY source_file_id"
                ))?
                .query_map([prefix], entry_of)?
                .collect()
        })
    }

    /// Hashes of the files that arrived under a name.
    pub fn files_named(&self, name: &str) -> Result<Vec<String>, LedgerError> {
        self.read("look up files by name", |connection| {
            connection
                .prepare_cached(
                    "SELECT DISTINCT source_file_id FROM file_names WHERE name = ?1 ORDER BY source_file_id",
                )?
                .query_map([name], |row| row.get(0))?
                .collect()
        })
    }

    /// All files in a state, in the order of import.
    pub fn files_in_state(&self, state: FileState) -> Result<Vec<FileEntry>, LedgerError> {
        self.read("list files", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {ENTRY_COLUMNS} FROM files WHERE state = ?1 ORDER BY import_sequence, claimed_at, source_file_id"
                ))?
                .query_map([state.word()], entry_of)?
                .collect()
        })
    }

    /// The files that changed last, newest first.
    pub fn recent_files(&self, most: u32) -> Result<Vec<FileEntry>, LedgerError> {
        self.read("list files", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {ENTRY_COLUMNS} FROM files ORDER BY coalesce(archived_at, published_at, quarantined_at, \
                     staged_at, claimed_at) DESC, import_sequence DESC, source_file_id LIMIT ?1"
                ))?
                .query_map(params![most], entry_of)?
                .collect()
        })
    }

    /// All names under which a file's bytes arrived, oldest first.
    pub fn names_of(&self, source_file_id: &str) -> Result<Vec<FileName>, LedgerError> {
        self.read("list a file's names", |connection| {
            connection
                .prepare_cached(
                    "SELECT name, folder, seen_at FROM file_names WHERE source_file_id = ?1 \
                     ORDER BY seen_at, name, folder",
                )?
                .query_map([source_file_id], |row| {
                    Ok(FileName { name: row.get(0)?, folder: row.get(1)?, seen_at: row.get(2)? })
                })?
                .collect()
        })
    }

    /// Numbers of files, rows and sightings, from one moment.
    pub fn counts(&self) -> Result<Counts, LedgerError> {
        self.read("count", |connection| {
            // One transaction, so that all numbers are of one moment; it only reads, so that whoever may only look can count.
            let transaction = connection.unchecked_transaction()?;
            let mut counts = Counts::default();
            let mut by_state = transaction.prepare_cached(
                "SELECT state, count(*), sum(rows_accepted), sum(rows_rejected) FROM files GROUP BY state",
            )?;
            let mut rows = by_state.query([])?;
            while let Some(row) = rows.next()? {
                let (word, number): (String, i64) = (row.get(0)?, row.get(1)?);
                match FileState::parse(&word) {
                    Some(FileState::Claimed) => counts.claimed = number,
                    Some(FileState::Staged) => counts.staged = number,
                    Some(FileState::Published) => counts.published = number,
                    Some(FileState::Archived) => counts.archived = number,
                    Some(FileState::Quarantined) => counts.quarantined = number,
                    None => {}
                }
                if matches!(FileState::parse(&word), Some(FileState::Published | FileState::Archived)) {
                    counts.rows_accepted += row.get::<_, i64>(2)?;
                    counts.rows_rejected += row.get::<_, i64>(3)?;
                }
            }
            // What a person removed is known, but stands nowhere.
            let removed: i64 = transaction.query_row(
                "SELECT count(*) FROM files WHERE state = 'quarantined' AND quarantine_path IS NULL",
                [],
                |row| row.get(0),
            )?;
            counts.quarantined -= removed;
            counts.duplicates = transaction.query_row(
                "SELECT (SELECT count(*) FROM file_names) - (SELECT count(*) FROM files)",
                [],
                |row| row.get(0),
            )?;
            let mut by_sighting = transaction.prepare_cached("SELECT state, count(*) FROM sightings GROUP BY state")?;
            let mut rows = by_sighting.query([])?;
            while let Some(row) = rows.next()? {
                let (word, number): (String, i64) = (row.get(0)?, row.get(1)?);
                match SightingState::parse(&word) {
                    Some(SightingState::Settling) => counts.settling = number,
                    Some(SightingState::Waiting) => counts.waiting = number,
                    Some(SightingState::Retrying) => counts.retrying = number,
                    None => {}
                }
            }
            Ok(counts)
        })
    }
}
