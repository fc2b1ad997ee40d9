//! Files that a person removed by an explicit command. Their entries stay, so that their bytes stay known.

use rusqlite::params;

use crate::{FileEntry, FileState, Ledger, LedgerError};

/// One file that was removed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Removal {
    /// When.
    pub removed_at: i64,
    /// By which command, in the words of the command line.
    pub command: String,
    /// SHA-256 of the bytes.
    pub source_file_id: String,
    /// Where they stood.
    pub path: String,
    /// How many they were.
    pub bytes: i64,
}

impl Ledger {
    /// Notes that a person removes a file from the archive or from quarantine, before its bytes go: a removal that is cut off
    /// is then known and finished by the next one. `reason` is what the entry tells from here on.
    pub fn note_removal(&self, entry: &FileEntry, removal: &Removal, reason: &str) -> Result<(), LedgerError> {
        self.write("note a removal", |transaction| {
            transaction.execute(
                "INSERT INTO removals (removed_at, command, source_file_id, path, bytes) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![removal.removed_at, removal.command, removal.source_file_id, removal.path, removal.bytes],
            )?;
            let forget_path = if entry.state == FileState::Quarantined {
                "UPDATE files SET quarantine_path = NULL, reason = ?2 WHERE source_file_id = ?1"
            } else {
                "UPDATE files SET archive_path = NULL, reason = ?2 WHERE source_file_id = ?1"
            };
            transaction.execute(forget_path, params![entry.source_file_id, reason])?;
            Ok(())
        })
    }

    /// All removals, the first one first.
    pub fn removals(&self) -> Result<Vec<Removal>, LedgerError> {
        self.read("list removals", |connection| {
            connection
                .prepare_cached(
                    "SELECT removed_at, command, source_file_id, path, bytes FROM removals ORDER BY number",
                )?
                .query_map([], |row| {
                    Ok(Removal {
                        removed_at: row.get(0)?,
                        command: row.get(1)?,
                        source_file_id: row.get(2)?,
                        path: row.get(3)?,
                        bytes: row.get(4)?,
                    })
                })?
                .collect()
        })
    }

    /// Notes where a refused file's bytes stand again, after they had been removed and arrived once more.
    pub fn note_quarantine_path(&self, source_file_id: &str, path: &str) -> Result<(), LedgerError> {
        self.write("note a refused file's place", |transaction| {
            transaction
                .execute(
                    "UPDATE files SET quarantine_path = ?2 WHERE source_file_id = ?1 AND state = 'quarantined'",
                    params![source_file_id, path],
                )
                .map(|_| ())
        })
    }
}
