//! Opening the database and bringing it to the present schema.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior, params};

use crate::LedgerError;

/// The schema version this program writes.
pub const SCHEMA_VERSION: i64 = 3;

/// One script per version; the n-th leads from version n-1 to version n.
const MIGRATIONS: [&str; SCHEMA_VERSION as usize] =
    [include_str!("migrations/v1.sql"), include_str!("migrations/v2.sql"), include_str!("migrations/v3.sql")];

const BUSY_TIMEOUT: Duration = Duration::from_secs(10);

/// The open ledger. Shared between threads; calls queue for one connection.
#[derive(Debug)]
pub struct Ledger {
    path: PathBuf,
    connection: Mutex<Connection>,
}

impl Ledger {
    /// Opens or creates the database and migrates it. The folder must exist.
    pub fn open(path: &Path) -> Result<Ledger, LedgerError> {
        let failed = |operation, cause| LedgerError::Database { path: path.to_owned(), operation, cause };
        let mut connection = Connection::open(path).map_err(|cause| failed("open", cause))?;
        prepare(&connection).map_err(|cause| failed("be prepared", cause))?;
        let found = version_of(&connection).map_err(|cause| failed("tell its version", cause))?;
        if found > SCHEMA_VERSION {
            return Err(LedgerError::TooNew { path: path.to_owned(), found, known: SCHEMA_VERSION });
        }
        migrate(&mut connection).map_err(|cause| failed("be migrated", cause))?;
        Ok(Ledger { path: path.to_owned(), connection: Mutex::new(connection) })
    }

    /// Opens the database of a daemon that may be running, or of one that is not, to look only: nothing is made, migrated or
    /// written. `None` where there is none yet. Calls that write fail, and so do reads of what a later version brought.
    pub fn open_to_read(path: &Path) -> Result<Option<Ledger>, LedgerError> {
        if !path.exists() {
            return Ok(None);
        }
        let failed = |operation, cause| LedgerError::Database { path: path.to_owned(), operation, cause };
        let mut log = path.as_os_str().to_owned();
        log.push("-wal");
        // Without a log nobody has the database open and nothing is left to recover: it can be read as the file it is. Else
        // SQLite would lay log and index files beside it.
        let is_at_rest = std::fs::metadata(&log).is_ok_and(|log| log.len() == 0) || !Path::new(&log).exists();
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = if is_at_rest {
            let address = format!("file:{}?immutable=1", percent_encoded(path));
            Connection::open_with_flags(address, flags | OpenFlags::SQLITE_OPEN_URI)
        } else {
            Connection::open_with_flags(path, flags)
        };
        let connection = connection.map_err(|cause| failed("open", cause))?;
        connection.busy_timeout(BUSY_TIMEOUT).map_err(|cause| failed("be prepared", cause))?;
        let found = version_of(&connection).map_err(|cause| failed("tell its version", cause))?;
        if found > SCHEMA_VERSION {
            return Err(LedgerError::TooNew { path: path.to_owned(), found, known: SCHEMA_VERSION });
        }
        if found < SCHEMA_VERSION {
            return Err(LedgerError::TooOld { path: path.to_owned(), found, known: SCHEMA_VERSION });
        }
        Ok(Some(Ledger { path: path.to_owned(), connection: Mutex::new(connection) }))
    }

    /// The database file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Claims the ledger for a site at first use; later a different site is refused.
    pub fn bind_site(&self, site_id: &str) -> Result<(), LedgerError> {
        let found = self.write("note the site", |transaction| {
            transaction.execute(
                "INSERT INTO meta (key, value) VALUES ('site_id', ?1) ON CONFLICT (key) DO NOTHING",
                [site_id],
            )?;
            read_meta(transaction, "site_id")
        })?;
        match found {
            Some(found) if found != site_id => {
                Err(LedgerError::OtherSite { path: self.path.clone(), found, wanted: site_id.to_owned() })
            }
            _ => Ok(()),
        }
    }

    /// A remembered text, for example the fingerprint of the roster last published.
    pub fn remembered(&self, key: &str) -> Result<Option<String>, LedgerError> {
        self.read("read a note", |connection| read_meta(connection, &format!("note:{key}")))
    }

    /// Remembers a text under a key.
    pub fn remember(&self, key: &str, value: &str) -> Result<(), LedgerError> {
        self.write("keep a note", |transaction| write_meta(transaction, &format!("note:{key}"), value))
    }

    /// Takes the next import sequence number. A number is never given twice, whatever becomes of the import.
    pub fn next_import_sequence(&self) -> Result<i64, LedgerError> {
        self.write("take a sequence number", take_sequence)
    }

    /// One write transaction, durable on return.
    pub(crate) fn write<T>(
        &self,
        operation: &'static str,
        action: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        // A panic inside a call rolls its transaction back, so the connection behind a poisoned lock is sound.
        let mut connection = self.connection.lock().unwrap_or_else(PoisonError::into_inner);
        run_transaction(&mut connection, action).map_err(|cause| self.failed(operation, cause))
    }

    /// One read.
    pub(crate) fn read<T>(
        &self,
        operation: &'static str,
        action: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        let connection = self.connection.lock().unwrap_or_else(PoisonError::into_inner);
        action(&connection).map_err(|cause| self.failed(operation, cause))
    }

    pub(crate) fn failed(&self, operation: &'static str, cause: rusqlite::Error) -> LedgerError {
        LedgerError::Database { path: self.path.clone(), operation, cause }
    }
}

fn run_transaction<T>(
    connection: &mut Connection,
    action: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
) -> rusqlite::Result<T> {
    // Immediate: a transaction that starts as a reader may find at its first write that it can no longer become a writer.
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let value = action(&transaction)?;
    transaction.commit()?;
    Ok(value)
}

/// A path as it stands in a URI.
fn percent_encoded(path: &Path) -> String {
    let mut text = String::new();
    for byte in path.to_string_lossy().replace('\\', "/").bytes() {
        if byte.is_ascii_alphanumeric() || b"/._-:".contains(&byte) {
            text.push(char::from(byte));
        } else {
            let _ = write!(text, "%{byte:02X}"); // writing to a String cannot fail
        }
    }
    text
}

fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(BUSY_TIMEOUT)?;
    connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get::<_, String>(0))?;
    connection.execute_batch("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
}

fn version_of(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    run_transaction(connection, |transaction| {
        // Asked again inside the transaction: another process may have migrated in between.
        let found = version_of(transaction)?;
        for (leads_to, script) in (1_i64..).zip(MIGRATIONS) {
            if leads_to > found {
                transaction.execute_batch(script)?;
                transaction.execute_batch(&format!("PRAGMA user_version = {leads_to}"))?;
            }
        }
        Ok(())
    })
}

pub(crate) fn take_sequence(transaction: &Transaction<'_>) -> rusqlite::Result<i64> {
    let next = read_meta(transaction, "next_import_sequence")?.and_then(|text| text.parse().ok()).unwrap_or(1_i64);
    write_meta(transaction, "next_import_sequence", &(next + 1).to_string())?;
    Ok(next)
}

pub(crate) fn read_meta(connection: &Connection, key: &str) -> rusqlite::Result<Option<String>> {
    connection.query_row("SELECT value FROM meta WHERE key = ?1", [key], |row| row.get(0)).optional()
}

fn write_meta(transaction: &Transaction<'_>, key: &str, value: &str) -> rusqlite::Result<()> {
    transaction.execute(
        "INSERT INTO meta (key, value) VALUES (?1, ?2) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        params![key, value],
    )?;
    Ok(())
}
