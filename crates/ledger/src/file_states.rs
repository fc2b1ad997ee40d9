//! The steps a file takes through the ledger.

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use crate::open::take_sequence;
use crate::{Claim, FileState, Ledger, LedgerError, PartitionGeneration, Quarantined, Staged};

/// A step either changed exactly one row or found the file in a state it does not follow from.
enum Step<T> {
    Done(T),
    WrongState { source_file_id: String, found: Option<String> },
}

impl Ledger {
    /// Claims a new file and gives it an import sequence number. A claim that a crash left behind is renewed.
    pub fn begin_import(&self, claim: &Claim) -> Result<i64, LedgerError> {
        self.step("claim a file", FileState::Claimed, |transaction| {
            let sequence = take_sequence(transaction)?;
            let changed = transaction.execute(
                "INSERT INTO files (source_file_id, state, first_name, folder, bytes, import_sequence, source_path, \
                 keep_source, claimed_at) VALUES (?1, 'claimed', ?2, ?3, ?4, ?5, ?6, ?7, ?8) \
                 ON CONFLICT (source_file_id) DO UPDATE SET first_name = ?2, folder = ?3, import_sequence = ?5, \
                 source_path = ?6, keep_source = ?7 WHERE state = 'claimed'",
                params![
                    claim.source_file_id,
                    claim.name,
                    claim.folder,
                    claim.bytes,
                    sequence,
                    claim.source_path,
                    claim.keep_source,
                    claim.at
                ],
            )?;
            if changed == 1 {
                insert_name(transaction, &claim.source_file_id, &claim.name, &claim.folder, claim.at)?;
            }
            one_row(transaction, changed, &claim.source_file_id, sequence)
        })
    }

    /// Notes that a file's rows are durable in staging: from a claim, from quarantine (a retry) or from the archive (a
    /// reprocess).
    pub fn mark_staged(&self, staged: &Staged) -> Result<(), LedgerError> {
        self.step("note a staged file", FileState::Staged, |transaction| {
            let changed = transaction.execute(
                "UPDATE files SET state = 'staged', import_sequence = ?2, format = ?3, format_version = ?4, \
                 rows_accepted = ?5, rows_rejected = ?6, source_path = ?7, keep_source = ?8, replaces_rows = ?9, \
                 staged_at = ?10, marks_accepted = ?11, reason = NULL \
                 WHERE source_file_id = ?1 AND state IN ('claimed', 'quarantined', 'archived')",
                params![
                    staged.source_file_id,
                    staged.import_sequence,
                    staged.format,
                    staged.format_version,
                    staged.rows_accepted,
                    staged.rows_rejected,
                    staged.source_path,
                    staged.keep_source,
                    staged.replaces_rows,
                    staged.at,
                    staged.marks_accepted
                ],
            )?;
            one_row(transaction, changed, &staged.source_file_id, ())
        })
    }

    /// Notes that a batch of staged files is in the lake, with the generations of the partitions this touched: all in one
    /// transaction.
    pub fn mark_published(
        &self,
        source_file_ids: &[String],
        partitions: &[PartitionGeneration],
        at: i64,
    ) -> Result<(), LedgerError> {
        self.step("note published files", FileState::Published, |transaction| {
            for source_file_id in source_file_ids {
                let changed = transaction.execute(
                    "UPDATE files SET state = 'published', published_at = ?2, replaces_rows = 0, reason = NULL \
                     WHERE source_file_id = ?1 AND state IN ('staged', 'published')",
                    params![source_file_id, at],
                )?;
                if let Step::WrongState { source_file_id, found } = one_row(transaction, changed, source_file_id, ())? {
                    return Ok(Step::WrongState { source_file_id, found });
                }
            }
            crate::runs::upsert_generations(transaction, partitions, at)?;
            Ok(Step::Done(()))
        })
    }

    /// Notes that a published file's bytes stand in the archive.
    pub fn mark_archived(&self, source_file_id: &str, archive_path: &str, at: i64) -> Result<(), LedgerError> {
        self.step("note an archived file", FileState::Archived, |transaction| {
            let changed = transaction.execute(
                "UPDATE files SET state = 'archived', archive_path = ?2, archived_at = ?3, source_path = NULL, \
                 keep_source = 0, quarantine_path = NULL, reason = NULL \
                 WHERE source_file_id = ?1 AND state IN ('published', 'archived')",
                params![source_file_id, archive_path, at],
            )?;
            one_row(transaction, changed, source_file_id, ())
        })
    }

    /// Notes that a file was refused and where its bytes stand.
    pub fn mark_quarantined(&self, refused: &Quarantined) -> Result<(), LedgerError> {
        self.step("note a quarantined file", FileState::Quarantined, |transaction| {
            let changed = transaction.execute(
                "INSERT INTO files (source_file_id, state, first_name, folder, bytes, format, format_version, reason, \
                 quarantine_path, claimed_at, quarantined_at) \
                 VALUES (?1, 'quarantined', ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?9) \
                 ON CONFLICT (source_file_id) DO UPDATE SET state = 'quarantined', format = ?5, format_version = ?6, \
                 reason = ?7, quarantine_path = ?8, quarantined_at = ?9, source_path = NULL, import_sequence = NULL, \
                 rows_accepted = 0, marks_accepted = 0, rows_rejected = 0 WHERE state IN ('claimed', 'quarantined')",
                params![
                    refused.source_file_id,
                    refused.name,
                    refused.folder,
                    refused.bytes,
                    refused.format,
                    refused.format_version,
                    refused.reason,
                    refused.quarantine_path,
                    refused.at
                ],
            )?;
            if changed == 1 {
                insert_name(transaction, &refused.source_file_id, &refused.name, &refused.folder, refused.at)?;
            }
            one_row(transaction, changed, &refused.source_file_id, ())
        })
    }

    /// Notes that a published file's bytes are gone before they could be archived, for example overwritten by their device.
    pub fn mark_archive_lost(&self, source_file_id: &str, reason: &str, at: i64) -> Result<(), LedgerError> {
        self.step("note a file without archive copy", FileState::Archived, |transaction| {
            let changed = transaction.execute(
                "UPDATE files SET state = 'archived', archive_path = NULL, archived_at = ?3, source_path = NULL, \
                 keep_source = 0, quarantine_path = NULL, reason = ?2 WHERE source_file_id = ?1 AND state IN ('published', 'archived')",
                params![source_file_id, reason, at],
            )?;
            one_row(transaction, changed, source_file_id, ())
        })
    }

    /// Forgets a claim whose rows never became durable, so that the file is taken anew.
    pub fn release_claim(&self, source_file_id: &str) -> Result<(), LedgerError> {
        self.write("release a claim", |transaction| {
            transaction
                .execute("DELETE FROM files WHERE source_file_id = ?1 AND state = 'claimed'", [source_file_id])
                .map(|_| ())
        })
    }

    /// Takes a staged file back to where it came from, because its segment is gone from staging.
    pub fn unstage(&self, source_file_id: &str) -> Result<(), LedgerError> {
        self.step("take back a staged file", FileState::Claimed, |transaction| {
            let changed = transaction.execute(
                "UPDATE files SET replaces_rows = 0, state = CASE WHEN archive_path IS NOT NULL THEN 'archived' \
                 WHEN quarantine_path IS NOT NULL THEN 'quarantined' ELSE 'claimed' END \
                 WHERE source_file_id = ?1 AND state = 'staged'",
                [source_file_id],
            )?;
            one_row(transaction, changed, source_file_id, ())
        })
    }

    /// Notes another place where a published but not yet archived file's bytes stand, or why archiving failed.
    pub fn note_archive_trouble(
        &self,
        source_file_id: &str,
        source_path: &str,
        keep_source: bool,
        reason: Option<&str>,
    ) -> Result<(), LedgerError> {
        self.step("note trouble with archiving", FileState::Published, |transaction| {
            let changed = transaction.execute(
                "UPDATE files SET source_path = ?2, keep_source = ?3, reason = ?4 \
                 WHERE source_file_id = ?1 AND state = 'published'",
                params![source_file_id, source_path, keep_source, reason],
            )?;
            one_row(transaction, changed, source_file_id, ())
        })
    }

    /// Records a further name under which the same bytes arrived. True if the name is new.
    pub fn add_alias(&self, source_file_id: &str, name: &str, folder: &str, at: i64) -> Result<bool, LedgerError> {
        self.write("note a further name", |transaction| insert_name(transaction, source_file_id, name, folder, at))
    }

    fn step<T>(
        &self,
        operation: &'static str,
        wanted: FileState,
        action: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<Step<T>>,
    ) -> Result<T, LedgerError> {
        let mut refused = None;
        let outcome = self.write(operation, |transaction| match action(transaction)? {
            Step::Done(value) => Ok(value),
            Step::WrongState { source_file_id, found } => {
                refused = Some((source_file_id, found));
                // An error, so that the transaction rolls back.
                Err(rusqlite::Error::StatementChangedRows(0))
            }
        });
        match refused {
            Some((source_file_id, found)) => Err(LedgerError::WrongState {
                path: self.path().to_owned(),
                source_file_id,
                found: found.unwrap_or_else(|| "absent".to_owned()),
                wanted: wanted.word(),
            }),
            None => outcome,
        }
    }
}

fn one_row<T>(connection: &Connection, changed: usize, source_file_id: &str, value: T) -> rusqlite::Result<Step<T>> {
    if changed == 1 {
        return Ok(Step::Done(value));
    }
    let found = connection
        .query_row("SELECT state FROM files WHERE source_file_id = ?1", [source_file_id], |row| row.get(0))
        .optional()?;
    Ok(Step::WrongState { source_file_id: source_file_id.to_owned(), found })
}

fn insert_name(
    transaction: &Transaction<'_>,
    source_file_id: &str,
    name: &str,
    folder: &str,
    at: i64,
) -> rusqlite::Result<bool> {
    let added = transaction.execute(
        "INSERT INTO file_names (source_file_id, name, folder, seen_at) VALUES (?1, ?2, ?3, ?4) \
         ON CONFLICT DO NOTHING",
        params![source_file_id, name, folder, at],
    )?;
    Ok(added == 1)
}
