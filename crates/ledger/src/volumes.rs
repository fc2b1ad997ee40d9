//! On which volumes the import folders were seen, and which files went to the archive lately.

use rusqlite::params;

use crate::file_entry::{ENTRY_COLUMNS, entry_of};
use crate::{FileEntry, Ledger, LedgerError};

/// An import folder and the volume it was last seen on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WatchedVolume {
    /// The import folder.
    pub folder: String,
    /// A word for the kind of volume.
    pub kind: String,
    /// Whether other machines can change it.
    pub is_network: bool,
    /// When it was seen on this kind of volume first.
    pub noted_at: i64,
}

impl Ledger {
    /// All import folders whose volume is known, by path.
    pub fn watched_volumes(&self) -> Result<Vec<WatchedVolume>, LedgerError> {
        self.read("list the volumes of import folders", |connection| {
            connection
                .prepare_cached("SELECT folder, kind, is_network, noted_at FROM watched_volumes ORDER BY folder")?
                .query_map([], |row| {
                    Ok(WatchedVolume {
                        folder: row.get(0)?,
                        kind: row.get(1)?,
                        is_network: row.get(2)?,
                        noted_at: row.get(3)?,
                    })
                })?
                .collect()
        })
    }

    /// Notes on which volume an import folder was seen.
    pub fn note_volume(&self, volume: &WatchedVolume) -> Result<(), LedgerError> {
        self.write("note the volume of an import folder", |transaction| {
            transaction
                .execute(
                    "INSERT INTO watched_volumes (folder, kind, is_network, noted_at) VALUES (?1, ?2, ?3, ?4) \
                     ON CONFLICT (folder) DO UPDATE SET kind = ?2, is_network = ?3, noted_at = ?4",
                    params![volume.folder, volume.kind, volume.is_network, volume.noted_at],
                )
                .map(|_| ())
        })
    }

    /// Files that went to the archive at an instant or later, latest first, at most so many. The cost does not depend on how
    /// many files there are in all.
    pub fn archived_since(&self, instant: i64, most: u32) -> Result<Vec<FileEntry>, LedgerError> {
        self.read("list files archived lately", |connection| {
            connection
                .prepare_cached(&format!(
                    "SELECT {ENTRY_COLUMNS} FROM files \
                     WHERE coalesce(archived_at, published_at, quarantined_at, staged_at, claimed_at) >= ?1 \
                     AND state = 'archived' \
                     ORDER BY coalesce(archived_at, published_at, quarantined_at, staged_at, claimed_at) DESC, \
                     import_sequence DESC, source_file_id LIMIT ?2"
                ))?
                .query_map(params![instant, most], entry_of)?
                .collect()
        })
    }
}

impl LedgerError {
    /// Whether the volume of the state folder is full.
    pub fn is_full(&self) -> bool {
        matches!(self, LedgerError::Database { cause, .. }
            if cause.sqlite_error_code() == Some(rusqlite::ErrorCode::DiskFull))
    }
}
