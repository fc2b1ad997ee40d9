//! Entries written as a whole: when a lost ledger is rebuilt from what lake, archive and quarantine tell.

use rusqlite::params;

use crate::file_entry::ENTRY_COLUMNS;
use crate::{FileEntry, FileName, Ledger, LedgerError};

impl Ledger {
    /// Writes entries with their names, in one transaction. An entry of the same file is replaced.
    pub fn restore_files(&self, entries: &[(FileEntry, Vec<FileName>)]) -> Result<(), LedgerError> {
        self.write("restore files", |transaction| {
            let mut remove = transaction.prepare_cached("DELETE FROM files WHERE source_file_id = ?1")?;
            let mut insert = transaction.prepare_cached(&format!(
                "INSERT INTO files ({ENTRY_COLUMNS}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, \
                 ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22)"
            ))?;
            let mut insert_name = transaction.prepare_cached(
                "INSERT INTO file_names (source_file_id, name, folder, seen_at) VALUES (?1, ?2, ?3, ?4) \
                 ON CONFLICT DO NOTHING",
            )?;
            for (entry, names) in entries {
                remove.execute([&entry.source_file_id])?;
                insert.execute(params![
                    entry.source_file_id,
                    entry.state.word(),
                    entry.first_name,
                    entry.folder,
                    entry.bytes,
                    entry.format,
                    entry.format_version,
                    entry.import_sequence,
                    entry.rows_accepted,
                    entry.rows_rejected,
                    entry.reason,
                    entry.source_path,
                    entry.keep_source,
                    entry.replaces_rows,
                    entry.archive_path,
                    entry.quarantine_path,
                    entry.claimed_at,
                    entry.staged_at,
                    entry.published_at,
                    entry.archived_at,
                    entry.quarantined_at,
                    entry.marks_accepted
                ])?;
                insert_name.execute(params![entry.source_file_id, entry.first_name, entry.folder, entry.claimed_at])?;
                for name in names {
                    insert_name.execute(params![entry.source_file_id, name.name, name.folder, name.seen_at])?;
                }
            }
            Ok(())
        })
    }

    /// Makes sure that the next import sequence number is at least this one.
    pub fn raise_import_sequence(&self, least_next: i64) -> Result<(), LedgerError> {
        self.write("raise the sequence number", |transaction| {
            transaction
                .execute(
                    "INSERT INTO meta (key, value) VALUES ('next_import_sequence', ?1) ON CONFLICT (key) DO UPDATE \
                     SET value = excluded.value WHERE CAST(value AS INTEGER) < CAST(excluded.value AS INTEGER)",
                    [least_next.to_string()],
                )
                .map(|_| ())
        })
    }

    /// The site that the ledger belongs to, once it belongs to one.
    pub fn bound_site(&self) -> Result<Option<String>, LedgerError> {
        self.read("tell its site", |connection| crate::open::read_meta(connection, "site_id"))
    }
}
