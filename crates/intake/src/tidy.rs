//! What a crash leaves half written in archive and quarantine, removed at the next start.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, Months, Utc};
use files::{EntryKind, is_temporary_name};

use crate::{Intake, IntakeError};

impl Intake {
    /// Removes our own unfinished files: copies for the archive, and reasons. Whoever was writing them is gone, for one program
    /// at a time works on a home; what they were to become is made anew from the source, which still stands.
    ///
    /// Only the archive's folders of this month and the one before are looked through: a copy is written there at the time of
    /// its staging, and older folders were looked through by earlier starts.
    pub(crate) fn remove_unfinished(&self, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let mut folders = vec![self.settings.archive_dir.join("duplicates")];
        let today = now.with_timezone(&self.settings.zone).date_naive();
        for month in [Some(today), today.checked_sub_months(Months::new(1))].into_iter().flatten() {
            let year = self.settings.archive_dir.join(format!("{:04}", month.year()));
            let month = year.join(format!("{:02}", month.month()));
            let of_import_folders =
                self.files.list(&month)?.into_iter().filter(|entry| entry.kind == EntryKind::Folder);
            folders.extend(of_import_folders.map(|entry| entry.path));
            folders.push(month);
        }
        for entry in self.files.list(&self.settings.quarantine_dir)? {
            if entry.kind == EntryKind::Folder {
                folders.push(entry.path);
            }
        }
        for folder in folders {
            for path in self.unfinished_in(&folder)? {
                tracing::info!(path = %files::readable_path(&path), "removes what a crash left half written");
                self.files.remove(&path)?;
                self.remove_if_empty(&path)?;
            }
        }
        Ok(())
    }

    fn unfinished_in(&self, folder: &Path) -> Result<Vec<PathBuf>, IntakeError> {
        let entries = self.files.list(folder)?.into_iter();
        let unfinished = entries.filter(|entry| entry.kind == EntryKind::File && is_temporary_name(&entry.name));
        Ok(unfinished.map(|entry| entry.path).collect())
    }
}
