//! What can go wrong in the lake.

use std::path::{Path, PathBuf};

use arrow::error::ArrowError;
use files::FileError;
use parquet::errors::ParquetError;

/// An error of the lake; its text ends in a line that starts with `hint:`.
#[derive(Debug, thiserror::Error)]
pub enum LakeError {
    /// A file operation failed.
    #[error(transparent)]
    File(#[from] FileError),
    /// A Parquet file could not be written or read.
    #[error("cannot {operation} {}: {cause}\nhint: {hint}", path.display())]
    Parquet {
        /// What was tried.
        operation: &'static str,
        /// Which file.
        path: PathBuf,
        /// What the Parquet library answered.
        cause: ParquetError,
        /// What to do about it.
        hint: String,
    },
    /// Rows could not be computed on.
    #[error(
        "cannot {operation} rows of dataset \"{dataset}\": {cause}\nhint: this is a fault of strikemill, report it"
    )]
    Rows {
        /// What was tried.
        operation: &'static str,
        /// Which dataset.
        dataset: String,
        /// What the Arrow library answered.
        cause: ArrowError,
    },
    /// The key index could not be used; what is published does not depend on it.
    #[error("cannot {operation} the key index {}: {cause}\nhint: {hint}", path.display())]
    Index {
        /// What was tried.
        operation: &'static str,
        /// Its file.
        path: PathBuf,
        /// What SQLite answered.
        cause: Box<rusqlite::Error>,
        /// What to do about it.
        hint: String,
    },
    /// A column breaks its dataset's schema.
    #[error("dataset \"{dataset}\", column \"{column}\": {problem}\nhint: {hint}")]
    Column {
        /// Which dataset.
        dataset: String,
        /// Which column.
        column: String,
        /// What is wrong.
        problem: String,
        /// What to do about it.
        hint: String,
    },
    /// Rows or a request break a rule of the dataset as a whole.
    #[error("dataset \"{dataset}\": {problem}\nhint: {hint}")]
    Dataset {
        /// Which dataset.
        dataset: String,
        /// What is wrong.
        problem: String,
        /// What to do about it.
        hint: String,
    },
    /// A manifest or segment description does not read.
    #[error("{}: {problem}\nhint: {hint}", path.display())]
    Document {
        /// Which file.
        path: PathBuf,
        /// What is wrong, with line and column where known.
        problem: String,
        /// What to do about it.
        hint: String,
    },
}

impl LakeError {
    pub(crate) fn column(
        dataset: &str,
        column: &str,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> LakeError {
        LakeError::Column { dataset: dataset.into(), column: column.into(), problem: problem.into(), hint: hint.into() }
    }

    pub(crate) fn dataset(dataset: &str, problem: impl Into<String>, hint: impl Into<String>) -> LakeError {
        LakeError::Dataset { dataset: dataset.into(), problem: problem.into(), hint: hint.into() }
    }

    pub(crate) fn document(path: &Path, problem: impl Into<String>, hint: impl Into<String>) -> LakeError {
        LakeError::Document { path: path.to_owned(), problem: problem.into(), hint: hint.into() }
    }

    pub(crate) fn rows(operation: &'static str, dataset: &str, cause: ArrowError) -> LakeError {
        LakeError::Rows { operation, dataset: dataset.into(), cause }
    }

    pub(crate) fn index(operation: &'static str, path: &Path, cause: rusqlite::Error) -> LakeError {
        let hint = "check free space and rights of the staging folder; the file may be deleted, it is built anew";
        LakeError::Index { operation, path: path.to_owned(), cause: Box::new(cause), hint: hint.into() }
    }

    pub(crate) fn reading(path: &Path, cause: ParquetError) -> LakeError {
        LakeError::Parquet {
            operation: "read",
            path: path.to_owned(),
            cause,
            hint: "restore this file from a backup, or remove it and import its archived source files again".into(),
        }
    }

    pub(crate) fn writing(path: &Path, cause: ParquetError) -> LakeError {
        LakeError::Parquet {
            operation: "write",
            path: path.to_owned(),
            cause,
            hint: "check free space and the disk's health, then try again; what was published stays as it was".into(),
        }
    }
}
