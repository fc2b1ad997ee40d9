//! Is the database itself sound? Asked before anything is believed, and before anything is repaired.

use std::path::Path;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::{Ledger, LedgerError};

/// Faults told of one database; more of them tell a person nothing new.
const MOST_FAULTS: u32 = 20;

/// What stands where the ledger should.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LedgerCondition {
    /// Nothing.
    Absent,
    /// A database that SQLite finds in order.
    Sound,
    /// A file that is no database, or one that contradicts itself: what SQLite says about it.
    Damaged(Vec<String>),
}

impl Ledger {
    /// What SQLite finds wrong with the database: one sentence each, none where all is well. Reads the whole database.
    pub fn integrity(&self) -> Result<Vec<String>, LedgerError> {
        self.read("be checked", faults_of)
    }

    /// Looks at a database that may be damaged. An error means that the disk or another program is in the way, not that the
    /// database is bad.
    pub fn condition(path: &Path) -> Result<LedgerCondition, LedgerError> {
        if !path.exists() {
            return Ok(LedgerCondition::Absent);
        }
        let looked =
            Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)
                .and_then(|connection| {
                    let faults = faults_of(&connection)?;
                    // A file of no bytes is an empty database to SQLite, and a lost ledger to us.
                    let tables: i64 = connection.query_row(
                        "SELECT count(*) FROM sqlite_schema WHERE name IN ('meta', 'files')",
                        [],
                        |row| row.get(0),
                    )?;
                    Ok((faults, tables))
                });
        match looked {
            Ok((faults, 2)) if faults.is_empty() => Ok(LedgerCondition::Sound),
            Ok((faults, 2)) => Ok(LedgerCondition::Damaged(faults)),
            Ok(_) => Ok(LedgerCondition::Damaged(vec!["it holds none of a ledger's tables".to_owned()])),
            Err(cause) => match cause.sqlite_error_code() {
                Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                    Ok(LedgerCondition::Damaged(vec![cause.to_string()]))
                }
                _ => Err(LedgerError::Database { path: path.to_owned(), operation: "be checked", cause }),
            },
        }
    }

    /// Ends the work on a database that is about to be moved: everything stands in the one file afterwards.
    pub fn close(self) -> Result<(), LedgerError> {
        self.read("be closed", |connection| {
            connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
            connection.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))
        })
    }
}

fn faults_of(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut faults: Vec<String> = connection
        .prepare(&format!("PRAGMA integrity_check({MOST_FAULTS})"))?
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    faults.retain(|fault| fault != "ok");
    let mut orphans = connection.prepare("PRAGMA foreign_key_check")?;
    let mut rows = orphans.query([])?;
    while let Some(row) = rows.next()? {
        if faults.len() >= MOST_FAULTS as usize {
            break;
        }
        let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
        faults.push(format!("a row of {table} hangs on one of {parent} that is gone"));
    }
    Ok(faults)
}
