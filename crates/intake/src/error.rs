//! What stops intake as a whole. What concerns one file stands in the report instead.

use files::FileError;
use lake::LakeError;
use ledger::LedgerError;

/// An error of intake; its text ends in a line that starts with `hint:`.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// A file operation failed.
    #[error(transparent)]
    File(#[from] FileError),
    /// The ledger did not answer.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The lake refused.
    #[error(transparent)]
    Lake(#[from] LakeError),
    /// Rows could not be put into columns.
    #[error("cannot put the rows of {dataset} into columns: {cause}\nhint: this is a fault of strikemill, report it")]
    Rows {
        /// The dataset.
        dataset: &'static str,
        /// What the Arrow library answered.
        cause: arrow::error::ArrowError,
    },
    /// The settings contradict each other.
    #[error("{problem}\nhint: {hint}")]
    Settings {
        /// What is wrong.
        problem: String,
        /// What to do about it.
        hint: String,
    },
    /// A scan ended in a panic.
    #[error("a scan of the import folders broke off: {0}\nhint: this is a fault of strikemill, report it with the log")]
    BrokenScan(String),
}
