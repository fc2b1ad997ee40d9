//! Files that their device wrote on after they had gone to the archive.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use ledger::{FileEntry, FileState};

use crate::arrival::modified_micros;
use crate::report::ScanReport;
use crate::{Intake, IntakeError};

/// How many of the files imported last are looked at again.
const LOOKED_AT: u32 = 200;

impl Intake {
    /// A device that keeps its file open and pauses for longer than the quiet period goes on writing into what is by then the
    /// archive's copy. Such a file is given back to its import folder under its name, where it settles and is imported like
    /// any other; its earlier rows are the same shots.
    pub(crate) fn bring_back_grown(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        for entry in self.ledger.recent_files(LOOKED_AT)? {
            let (FileState::Archived, Some(path)) = (entry.state, entry.archive_path.as_ref().map(PathBuf::from))
            else {
                continue;
            };
            match self.bring_back(&entry, &path, now) {
                Ok(()) => {}
                Err(IntakeError::Ledger(error)) => return Err(error.into()),
                Err(error) => report.note_trouble(&path, error.to_string()),
            }
        }
        Ok(())
    }

    fn bring_back(&self, entry: &FileEntry, archived: &Path, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let Some(stat) = self.files.stat(archived)? else { return Ok(()) };
        if i64::try_from(stat.bytes) == Ok(entry.bytes) {
            return Ok(());
        }
        let folder = PathBuf::from(&entry.folder);
        let target = folder.join(&entry.first_name);
        // What was imported by hand from elsewhere was copied, and a name in use is tried again at the next scan.
        if self.settings.folder_of(&target).is_none() || self.files.stat(&target)?.is_some() {
            return Ok(());
        }
        tracing::warn!(
            file = %target.display(),
            bytes_then = entry.bytes,
            bytes_now = stat.bytes,
            changed = modified_micros(&stat),
            "its device wrote on after it was archived; it is imported again"
        );
        self.files.rename_durable(archived, &target)?;
        let reason = "its device wrote on after it was archived; the longer file was imported again";
        Ok(self.ledger.mark_archive_lost(&entry.source_file_id, reason, now.timestamp_micros())?)
    }
}
