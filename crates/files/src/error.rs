//! The one error of this crate.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// A file operation that failed: what was tried, where, why, and what a person can do.
#[derive(Debug, thiserror::Error)]
#[error("cannot {operation} {}: {cause}\nhint: {hint}", crate::readable_path(path))]
pub struct FileError {
    /// What was tried, as a verb phrase that fits behind "cannot".
    pub operation: &'static str,
    /// The file or folder concerned.
    pub path: PathBuf,
    /// What the system answered. Part of the message, therefore not repeated as the error's source.
    pub cause: io::Error,
    /// What to do about it.
    pub hint: String,
}

impl FileError {
    /// An error with the hint that its kind usually calls for.
    pub fn new(operation: &'static str, path: &Path, cause: io::Error) -> FileError {
        let hint = usual_hint(cause.kind()).to_owned();
        FileError { operation, path: path.to_owned(), cause, hint }
    }

    /// An error that this crate itself found, with a hint of its own.
    pub(crate) fn found(
        operation: &'static str,
        path: &Path,
        kind: ErrorKind,
        message: impl Into<String>,
        hint: &str,
    ) -> FileError {
        let cause = io::Error::new(kind, message.into());
        FileError { operation, path: path.to_owned(), cause, hint: hint.to_owned() }
    }

    /// The kind of the system's answer.
    pub fn kind(&self) -> ErrorKind {
        self.cause.kind()
    }

    /// Whether the volume, or this account's share of it, is full.
    pub fn is_full(&self) -> bool {
        is_full_kind(self.kind())
    }

    /// Whether waiting and trying again can help: the file is busy, locked by its writer, or the share is away.
    pub fn may_pass(&self) -> bool {
        matches!(
            self.kind(),
            ErrorKind::Interrupted
                | ErrorKind::WouldBlock
                | ErrorKind::TimedOut
                | ErrorKind::ResourceBusy
                | ErrorKind::PermissionDenied
                | ErrorKind::StaleNetworkFileHandle
                | ErrorKind::HostUnreachable
                | ErrorKind::NetworkUnreachable
                | ErrorKind::NetworkDown
                | ErrorKind::StorageFull
                | ErrorKind::QuotaExceeded
        )
    }
}

/// `Write` implementations can only answer `io::Error`; this keeps path and hint in its text.
impl From<FileError> for io::Error {
    fn from(error: FileError) -> io::Error {
        io::Error::new(error.kind(), error)
    }
}

pub(crate) fn is_full_kind(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::StorageFull | ErrorKind::QuotaExceeded)
}

fn usual_hint(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::NotFound => "check that the folder exists and that the network share is mounted",
        ErrorKind::PermissionDenied => "give the account that runs strikemill read and write access to this folder",
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "free space on this volume; nothing was lost",
        ErrorKind::ReadOnlyFilesystem => "mount the volume writable, or name another folder in the configuration",
        ErrorKind::AlreadyExists => "look at the file that stands there; strikemill never overwrites it",
        ErrorKind::NotADirectory | ErrorKind::IsADirectory => "a file and a folder compete for this name; rename one",
        ErrorKind::InvalidFilename => "use a shorter name, or one without special characters",
        _ => "try again; if it stays, check the disk, the network share and the system's log",
    }
}
