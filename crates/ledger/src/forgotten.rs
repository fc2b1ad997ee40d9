//! Persons whose rows must never come back: known by salted digests only, so that the ledger does not remember their names.

use rusqlite::params;

use crate::{Ledger, LedgerError};

impl Ledger {
    /// The digests of all forgotten texts.
    pub fn forgotten_digests(&self) -> Result<Vec<String>, LedgerError> {
        self.read("list forgotten persons", |connection| {
            connection
                .prepare_cached("SELECT digest FROM forgotten_persons ORDER BY digest")?
                .query_map([], |row| row.get(0))?
                .collect()
        })
    }

    /// Adds digests, in one transaction. Those that are known stay as they are.
    pub fn note_forgotten(&self, digests: &[String], at: i64) -> Result<(), LedgerError> {
        self.write("note a forgotten person", |transaction| {
            let mut insert = transaction.prepare_cached(
                "INSERT INTO forgotten_persons (digest, forgotten_at) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            )?;
            for digest in digests {
                insert.execute(params![digest, at])?;
            }
            Ok(())
        })
    }

    /// The files whose names of players include one that is meant, with those names.
    pub fn files_with_player_text(
        &self,
        is_meant: &dyn Fn(&str) -> bool,
    ) -> Result<Vec<(String, String)>, LedgerError> {
        self.read("look names up", |connection| {
            let mut statement =
                connection.prepare_cached("SELECT source_file_id, text FROM player_texts ORDER BY 1, 2")?;
            let mut rows = statement.query([])?;
            let mut found = Vec::new();
            while let Some(row) = rows.next()? {
                let (source_file_id, text): (String, String) = (row.get(0)?, row.get(1)?);
                if is_meant(&text) {
                    found.push((source_file_id, text));
                }
            }
            Ok(found)
        })
    }

    /// Takes the names that are meant out of the ledger, and the pages that showed them.
    pub fn erase_player_texts(&self, is_meant: &dyn Fn(&str) -> bool, pages: &[String]) -> Result<usize, LedgerError> {
        let found = self.files_with_player_text(is_meant)?;
        self.write("erase names", |transaction| {
            let mut remove =
                transaction.prepare_cached("DELETE FROM player_texts WHERE source_file_id = ?1 AND text = ?2")?;
            for (source_file_id, text) in &found {
                remove.execute(params![source_file_id, text])?;
            }
            let mut remove = transaction.prepare_cached("DELETE FROM digests WHERE path = ?1")?;
            for page in pages {
                remove.execute([page])?;
            }
            Ok(found.len())
        })
    }

    /// Notes how many rows a file has in the lake since some of them were erased.
    pub fn lower_row_counts(&self, source_file_id: &str, shots: i64, marks: i64) -> Result<(), LedgerError> {
        self.write("lower the counts of a file", |transaction| {
            transaction
                .execute(
                    "UPDATE files SET rows_accepted = max(rows_accepted - ?2 - ?3, 0), \
                     marks_accepted = max(marks_accepted - ?3, 0) WHERE source_file_id = ?1",
                    params![source_file_id, shots, marks],
                )
                .map(|_| ())
        })
    }

    /// Writes the database anew without what was deleted from it: until then deleted texts can still be read from its file.
    pub fn wipe_deleted(&self) -> Result<(), LedgerError> {
        self.read("be written anew", |connection| {
            connection.execute_batch("VACUUM")?;
            connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        })
    }
}
