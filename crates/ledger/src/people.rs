//! Names as devices write them. They are private: they stand in the ledger and nowhere else.

use rusqlite::params;

use crate::{Ledger, LedgerError};

/// One name in one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlayerText {
    /// The name as the device writes it.
    pub text: String,
    /// Rows of the file that bear it.
    pub rows: i64,
    /// First of these rows by the device's time.
    pub first_seen: i64,
    /// Last of them.
    pub last_seen: i64,
}

impl Ledger {
    /// Notes the names of a file that the ledger knows, in place of those noted before.
    pub fn note_player_texts(&self, source_file_id: &str, texts: &[PlayerText]) -> Result<(), LedgerError> {
        self.write("note the names in a file", |transaction| {
            transaction.execute("DELETE FROM player_texts WHERE source_file_id = ?1", [source_file_id])?;
            let mut insert = transaction.prepare_cached(
                "INSERT INTO player_texts (source_file_id, text, rows, first_seen, last_seen) \
                 VALUES (?1, ?2, ?3, ?4, ?5)",
            )?;
            for text in texts {
                insert.execute(params![source_file_id, text.text, text.rows, text.first_seen, text.last_seen])?;
            }
            Ok(())
        })
    }

    /// The names of all files whose rows are in the lake or on their way, each once, seen last first.
    pub fn player_texts(&self) -> Result<Vec<PlayerText>, LedgerError> {
        self.read("list the names that devices wrote", |connection| {
            connection
                .prepare_cached(
                    "SELECT text, sum(rows), min(first_seen), max(last_seen) AS seen FROM player_texts \
                     JOIN files USING (source_file_id) WHERE state IN ('staged', 'published', 'archived') \
                     GROUP BY text ORDER BY seen DESC, text",
                )?
                .query_map([], |row| {
                    Ok(PlayerText {
                        text: row.get(0)?,
                        rows: row.get(1)?,
                        first_seen: row.get(2)?,
                        last_seen: row.get(3)?,
                    })
                })?
                .collect()
        })
    }
}
