//! The home that the paths in the ledger lie in, and what happens when it is moved or copied.

use std::path::{MAIN_SEPARATOR, Path};

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use crate::{Ledger, LedgerError};

/// Every column that holds a full path.
const PATH_COLUMNS: [(&str, &str); 8] = [
    ("files", "archive_path"),
    ("files", "quarantine_path"),
    ("files", "source_path"),
    ("files", "folder"),
    ("file_names", "folder"),
    ("sightings", "path"),
    ("watched_volumes", "folder"),
    ("digests", "path"),
];

impl Ledger {
    /// The home in which the ledger was last written.
    pub fn home(&self) -> Result<Option<String>, LedgerError> {
        self.read("tell its home", noted_home)
    }

    /// Notes the home, a full path. If the ledger was last written in another one, the home was moved or copied: every path below
    /// the old home then becomes the one below the new, in one transaction. Answers the old home in that case.
    ///
    /// Without this a copy of a home would work on the files of the home it was copied from.
    pub fn settle_home(&self, home: &Path) -> Result<Option<String>, LedgerError> {
        let home = home.to_string_lossy().into_owned();
        self.write("note its home", |transaction| {
            let before = noted_home(transaction)?.filter(|before| *before != home);
            if let Some(before) = &before {
                move_paths(transaction, before, &home)?;
            }
            transaction.execute(
                "INSERT INTO meta (key, value) VALUES ('home', ?1) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
                [&home],
            )?;
            Ok(before)
        })
    }
}

fn noted_home(connection: &Connection) -> rusqlite::Result<Option<String>> {
    connection.query_row("SELECT value FROM meta WHERE key = 'home'", [], |row| row.get(0)).optional()
}

fn move_paths(transaction: &Transaction<'_>, before: &str, after: &str) -> rusqlite::Result<()> {
    let (old, new) = (format!("{before}{MAIN_SEPARATOR}"), format!("{after}{MAIN_SEPARATOR}"));
    for (table, column) in PATH_COLUMNS {
        transaction.execute(
            &format!(
                "UPDATE {table} SET {column} = ?2 || substr({column}, length(?1) + 1) WHERE substr({column}, 1, length(?1)) = ?1"
            ),
            params![old, new],
        )?;
    }
    Ok(())
}
