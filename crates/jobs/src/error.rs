//! What can go wrong with a job or a query, always with a `hint:` a person can act on.

use std::fmt;

use datafusion::error::DataFusionError;

/// A fault of an SQL text, with its place where the engine knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SqlFault {
    /// What is wrong.
    pub message: String,
    /// Line of the SQL text, from 1.
    pub line: Option<u64>,
    /// Column in that line, from 1.
    pub column: Option<u64>,
    /// The line itself.
    pub snippet: Option<String>,
    /// What to do about it.
    pub hint: String,
}

impl fmt::Display for SqlFault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.line, self.column) {
            (Some(line), Some(column)) => write!(formatter, "line {line}, column {column}: {}", self.message)?,
            _ => write!(formatter, "{}", self.message)?,
        }
        if let Some(snippet) = &self.snippet {
            write!(formatter, "\n    {snippet}")?;
            if let Some(column) = self.column {
                write!(formatter, "\n    {}^", " ".repeat(column.saturating_sub(1) as usize))?;
            }
        }
        write!(formatter, "\nhint: {}", self.hint)
    }
}

/// Errors of jobs and queries.
#[derive(Debug, thiserror::Error)]
pub enum JobsError {
    /// The SQL text cannot be planned, or fails while it runs.
    #[error("{0}")]
    Sql(SqlFault),
    /// A file that the manifest names is gone or has another size.
    #[error(
        "the lake is not what its manifest says: {file} is missing or has another size\nhint: if the daemon was just \
         publishing, ask again; else restore the file from a backup of the lake"
    )]
    LakeDamaged {
        /// The file, relative to the lake's root.
        file: String,
    },
    /// The rows of a job do not keep the contract of its pack.
    #[error("job {job}: {message}\nhint: {hint}")]
    Contract {
        /// Name of the job.
        job: String,
        /// What is wrong, naming the column.
        message: String,
        /// What to do about it.
        hint: String,
    },
    /// A limit on memory or time was reached, or the lake changed under a query.
    #[error("{message}\nhint: {hint}")]
    Limit {
        /// What happened, with the value of a limit.
        message: String,
        /// What to do about it.
        hint: String,
    },
    /// No pack has that name.
    #[error("no job is called {name}\nhint: the jobs are {known}")]
    UnknownJob {
        /// The name asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The lake could not be read or written.
    #[error(transparent)]
    Lake(#[from] lake::LakeError),
    /// The ledger could not be read or written.
    #[error(transparent)]
    Ledger(#[from] ledger::LedgerError),
    /// The output of a query could not be written.
    #[error("cannot write the result: {0}\nhint: check the place the output goes to")]
    Output(#[source] std::io::Error),
    /// What a process of its own told, which computed for this one.
    #[error("{0}")]
    Apart(String),
    /// The daemon is ending and does not wait for it.
    #[error("it was broken off, since the daemon stops\nhint: the next start runs it again")]
    Cancelled,
    /// The engine failed in a way that is no fault of the SQL text.
    #[error("engine: {0}\nhint: this is not a fault of the SQL text; report it with the query")]
    Engine(String),
}

impl From<arrow::error::ArrowError> for JobsError {
    fn from(error: arrow::error::ArrowError) -> Self {
        match error {
            arrow::error::ArrowError::IoError(_, source) => JobsError::Output(source),
            other => JobsError::Engine(other.to_string()),
        }
    }
}

impl From<DataFusionError> for JobsError {
    fn from(error: DataFusionError) -> Self {
        JobsError::Engine(error.strip_backtrace())
    }
}
