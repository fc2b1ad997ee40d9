//! What a scan or an import did.

use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What is being done, for a progress bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProgressStep {
    /// Files are read and staged.
    Reading,
    /// Staged rows are written into the lake.
    Publishing,
    /// Source files go to the archive.
    Archiving,
}

/// How far the work has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub step: ProgressStep,
    /// Files done in this step.
    pub files_done: usize,
    /// Files to do in this step.
    pub files_total: usize,
    /// Shots staged so far.
    pub shots: i64,
}

/// Told about progress; must return soon.
pub type ProgressFn = Arc<dyn Fn(Progress) + Send + Sync>;

/// What became of one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileOutcome {
    /// Its rows are in the lake.
    Imported {
        /// SHA-256 of the file.
        source_file_id: String,
        /// The pack that read it.
        format: String,
        /// Shots taken.
        shots: i64,
        /// Strike marks taken.
        marks: i64,
        /// Rows refused.
        rejected: i64,
        /// What a person should know about it, with a hint; nothing mostly.
        note: Option<String>,
    },
    /// The same bytes were imported before.
    Duplicate {
        /// SHA-256 of the file.
        source_file_id: String,
        /// Name under which they came first.
        first_name: String,
    },
    /// It was refused and stands in quarantine.
    Quarantined {
        /// SHA-256 of the file.
        source_file_id: String,
        /// Why.
        reason: String,
        /// Where its bytes stand.
        path: PathBuf,
    },
    /// It is not taken yet.
    Waiting {
        /// Why.
        note: String,
    },
    /// Something failed; it is tried again.
    Failed {
        /// What, with a hint.
        message: String,
    },
}

/// Something that failed and will be tried again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// The file or folder concerned.
    pub path: PathBuf,
    /// What failed, with a hint.
    pub message: String,
}

/// What one scan did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScanReport {
    /// Files whose rows came into the lake.
    pub files_published: usize,
    /// Shots in those files.
    pub shots: i64,
    /// Rows of those files that were refused.
    pub rejected: i64,
    /// Files that repeated known bytes.
    pub duplicates: usize,
    /// Files that were refused.
    pub quarantined: usize,
    /// Files that went to the archive.
    pub archived: usize,
    /// Files that may still be written to.
    pub settling: usize,
    /// Files that have not become whole for too long.
    pub waiting: usize,
    /// Partitions that roster, corrections or strike marks changed.
    pub amended: usize,
    /// The lake's generation after the last publication of this scan.
    pub generation: Option<i64>,
    /// What failed and will be tried again.
    pub troubles: Vec<Trouble>,
    /// Why intake took no files, or no more, with a hint.
    pub paused: Option<String>,
    /// Why staged rows could not be published: nothing more is staged before they are.
    pub(crate) publication_failed: Option<String>,
    /// Somebody asked to stop, and the scan ended before its end.
    pub stopped: bool,
}

impl ScanReport {
    /// Notes something that failed; the same failure of two attempts within one scan is told once.
    pub(crate) fn note_trouble(&mut self, path: &Path, message: String) {
        let trouble = Trouble { path: path.to_owned(), message };
        if !self.troubles.contains(&trouble) {
            self.troubles.push(trouble);
        }
    }
}
