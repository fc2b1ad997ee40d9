//! Refused files that their device wrote on: what was refused is then no more.

use rusqlite::params;

use crate::{Ledger, LedgerError};

impl Ledger {
    /// Forgets a refused file, because its bytes have become another file. Nothing happens unless it is refused now.
    pub fn forget_quarantined(&self, source_file_id: &str) -> Result<(), LedgerError> {
        self.write("forget a quarantined file", |transaction| {
            transaction
                .execute("DELETE FROM files WHERE source_file_id = ?1 AND state = 'quarantined'", [source_file_id])
                .map(|_| ())
        })
    }

    /// Notes that a refused file's bytes stand under another name. Nothing happens unless it is refused now.
    pub fn move_quarantined(&self, source_file_id: &str, path: &str, at: i64) -> Result<(), LedgerError> {
        self.write("note where a quarantined file stands", |transaction| {
            transaction
                .execute(
                    "UPDATE files SET quarantine_path = ?2, quarantined_at = ?3 \
                     WHERE source_file_id = ?1 AND state = 'quarantined'",
                    params![source_file_id, path, at],
                )
                .map(|_| ())
        })
    }
}
