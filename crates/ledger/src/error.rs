//! The one error of this crate.

use std::io::ErrorKind;
use std::path::PathBuf;

/// What can go wrong with the ledger.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// SQLite answered with an error.
    #[error("the ledger {} cannot {operation}: {cause}\nhint: {}", path.display(), sqlite_hint(cause))]
    Database {
        /// The database file.
        path: PathBuf,
        /// What was tried, as a verb phrase that fits behind "cannot".
        operation: &'static str,
        /// What SQLite answered. Part of the message, therefore not repeated as the error's source.
        cause: rusqlite::Error,
    },
    /// The database was written by a newer program.
    #[error(
        "the ledger {} has schema version {found}, this program knows versions up to {known}\n\
         hint: run the newer strikemill that wrote it, or restore the state folder from before that upgrade",
        path.display()
    )]
    TooNew {
        /// The database file.
        path: PathBuf,
        /// The version found.
        found: i64,
        /// The newest version this program knows.
        known: i64,
    },
    /// The database was written by an older program, and is only to be looked at.
    #[error(
        "the ledger {} has schema version {found}, this program reads version {known}\n\
         hint: start the daemon, which brings it up to date, or run `strikemill import` without a path; nothing is lost by that",
        path.display()
    )]
    TooOld {
        /// The database file.
        path: PathBuf,
        /// The version found.
        found: i64,
        /// The version this program reads.
        known: i64,
    },
    /// The ledger belongs to another site.
    #[error(
        "the ledger {} belongs to site \"{found}\", the configuration says \"{wanted}\"\n\
         hint: give each site a home of its own; the identity of every shot holds the site's id",
        path.display()
    )]
    OtherSite {
        /// The database file.
        path: PathBuf,
        /// The site in the ledger.
        found: String,
        /// The site asked for.
        wanted: String,
    },
    /// A step that does not follow from the file's present state.
    #[error(
        "the ledger {} has file {source_file_id} as \"{found}\", which cannot become \"{wanted}\"\n\
         hint: this is a fault of strikemill; nothing was changed, please report it with the log",
        path.display()
    )]
    WrongState {
        /// The database file.
        path: PathBuf,
        /// The file concerned.
        source_file_id: String,
        /// Its state, or `absent`.
        found: String,
        /// The state asked for.
        wanted: &'static str,
    },
    /// Another daemon works on this state folder.
    #[error(
        "another strikemill{} works on {}\n\
         hint: stop it first, or name another home with --home; two daemons on one state would double every import",
        holder.map_or_else(String::new, |pid| format!(" (process {pid})")),
        path.display()
    )]
    Held {
        /// The state folder.
        path: PathBuf,
        /// The process that holds the lock, where it could be read.
        holder: Option<u32>,
    },
    /// The lock file could not be used.
    #[error(
        "cannot lock {}: {cause}\nhint: {}",
        path.display(),
        lock_hint(cause)
    )]
    Lock {
        /// The lock file.
        path: PathBuf,
        /// What the system answered. Part of the message, therefore not repeated as the error's source.
        cause: std::io::Error,
    },
}

fn lock_hint(cause: &std::io::Error) -> &'static str {
    match cause.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "free space on the volume of the state folder; nothing was lost"
        }
        _ => "the state folder must be on a local disk that the account running strikemill may write to",
    }
}

fn sqlite_hint(cause: &rusqlite::Error) -> &'static str {
    use rusqlite::ErrorCode;
    match cause.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            "another program holds the ledger open for writing; close it and try again"
        }
        Some(ErrorCode::DiskFull) => "free space on the volume of the state folder; nothing was lost",
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
            "the state folder must exist and the account running strikemill must be allowed to write to it"
        }
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
            "stop the daemon, then `strikemill repair`: it moves the damaged ledger aside and rebuilds it from lake and archive"
        }
        _ => "try again; if it stays, check the disk and report the message with the log",
    }
}
