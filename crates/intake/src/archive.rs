//! Where bytes go when their rows are published, and how they get there without ever being the last copy at risk.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, Utc};
use files::{FileError, is_temporary_name};
use ledger::{FileEntry, FileState};

use crate::arrival::{Arrival, modified_micros};
use crate::names::{fitting, hash12, name_of, text_of};
use crate::quarantine::REASON_SUFFIX;
use crate::report::{ProgressStep, ScanReport};
use crate::{Intake, IntakeError};

impl Intake {
    /// Archives every file whose rows are published. What fails stays noted and is tried again by the next scan.
    pub(crate) fn archive_published(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        let entries = self.ledger.files_in_state(FileState::Published)?;
        for (number, entry) in entries.iter().enumerate() {
            if self.stop.is_stopping() {
                return Ok(());
            }
            match self.archive_one(entry, now) {
                Ok(()) => report.archived += 1,
                Err(IntakeError::Ledger(error)) => return Err(error.into()),
                Err(error) => {
                    let message = error.to_string();
                    let path = entry.source_path.clone().unwrap_or_default();
                    let file_id = hash12(&entry.source_file_id);
                    let file = files::readable_text(&entry.first_name);
                    tracing::debug!(file_id, file, error = %message, "a file cannot be archived yet");
                    self.pause_if_full(report, &error);
                    if entry.reason.as_deref() != Some(&message) {
                        let id = &entry.source_file_id;
                        self.ledger.note_archive_trouble(id, &path, entry.keep_source, Some(&message))?;
                    }
                    report.note_trouble(Path::new(&path), message);
                }
            }
            self.tell(ProgressStep::Archiving, number + 1, entries.len(), report.shots);
        }
        Ok(())
    }

    fn archive_one(&self, entry: &FileEntry, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let id = entry.source_file_id.as_str();
        let at = now.timestamp_micros();
        let target = self.archive_path(entry);
        let source = entry.source_path.as_ref().map_or_else(|| target.clone(), PathBuf::from);
        if source != target {
            match self.files.stat(&source)? {
                Some(stat) => {
                    let arrival = Arrival {
                        path: source.clone(),
                        bytes: stat.bytes,
                        modified: modified_micros(&stat),
                        identity: stat.identity,
                        keep_source: entry.keep_source,
                        patient: false,
                        named: true,
                    };
                    match self.place(&source, &target, id, entry.keep_source) {
                        // Something else stands where the file was; unless an earlier attempt got far enough, it is gone.
                        Err(IntakeError::File(error)) if error.kind() == ErrorKind::InvalidData => {
                            if self.files.stat(&target)?.is_none() {
                                let reason = "its device overwrote it after it was read and before it was archived";
                                tracing::warn!(file_id = hash12(id), file = %files::readable_path(&source), "{reason}");
                                return Ok(self.ledger.mark_archive_lost(id, reason, at)?);
                            }
                        }
                        Err(error) => return Err(error),
                        Ok(()) => {
                            if source.starts_with(&self.settings.quarantine_dir) {
                                self.clear_quarantine(&source, id)?;
                            }
                            arrival.remove(&self.files)?;
                            self.remove_if_empty(&source)?;
                        }
                    }
                }
                None if self.files.stat(&target)?.is_some() => {}
                None => {
                    let cause = std::io::Error::new(ErrorKind::NotFound, "it is gone, and no copy is in the archive");
                    let mut error = FileError::new("archive", &source, cause);
                    error.hint =
                        "its rows are in the lake; put the file back, or mount its share, to have it archived".into();
                    return Err(error.into());
                }
            }
        }
        self.ledger.mark_archived(id, &text_of(&target), at)?;
        tracing::debug!(file_id = hash12(id), file = %files::readable_text(&entry.first_name), "archived");
        if !entry.keep_source {
            self.watch_kept(id, &target, entry.bytes);
        }
        Ok(())
    }

    /// `archive/<year>/<month>/<import folder>/<hash>-<name>`, by the time of staging: the same at every attempt. The folder's
    /// name is there because bay and surroundings of a shot come from it, should the archive be all that is left one day.
    fn archive_path(&self, entry: &FileEntry) -> PathBuf {
        if let Some(path) = &entry.archive_path {
            return PathBuf::from(path);
        }
        let staged_at = entry.staged_at.unwrap_or(entry.claimed_at);
        let moment = DateTime::from_timestamp_micros(staged_at).unwrap_or(DateTime::UNIX_EPOCH);
        let local = moment.with_timezone(&self.settings.zone);
        let mut folder =
            self.settings.archive_dir.join(format!("{:04}", local.year())).join(format!("{:02}", local.month()));
        if let Some(watched) = self.settings.folder_of(Path::new(&entry.folder)) {
            folder.push(watched.label());
        }
        folder.join(format!("{}-{}", hash12(&entry.source_file_id), fitting(&entry.first_name)))
    }

    /// A further copy of archived bytes: beside the archive proper, or in place of an archive copy that is missing.
    pub(crate) fn archive_duplicate(
        &self,
        arrival: &Arrival,
        entry: &FileEntry,
        now: DateTime<Utc>,
    ) -> Result<(), IntakeError> {
        let id = entry.source_file_id.as_str();
        let first = self.archive_path(entry);
        let has_first = self.files.stat(&first)?.is_some();
        let awaits_source = entry.state == FileState::Published
            && match &entry.source_path {
                Some(source) => self.files.stat(Path::new(source))?.is_some(),
                None => false,
            };
        if !has_first && !awaits_source {
            self.place(&arrival.path, &first, id, arrival.keep_source)?;
            self.ledger.mark_archived(id, &text_of(&first), now.timestamp_micros())?;
        } else if !arrival.keep_source {
            let second = self.settings.archive_dir.join("duplicates").join(format!(
                "{}-{}",
                hash12(id),
                fitting(&arrival.name())
            ));
            self.place(&arrival.path, &second, id, false)?;
        }
        arrival.remove(&self.files)
    }

    /// Puts the file at `to` as well: durable, verified, never over another file.
    pub(crate) fn place(&self, from: &Path, to: &Path, id: &str, keep_source: bool) -> Result<(), IntakeError> {
        if let Some(folder) = to.parent() {
            self.files.create_dir_all(folder)?;
        }
        if !keep_source || self.files.stat(to)?.is_some() {
            self.files.link_or_copy_verified(from, to, id)?;
            return Ok(());
        }
        // The source stays its owner's, who may edit it in place: a link would let that reach into the archive.
        let bytes = self.files.read(from, u64::MAX)?;
        if files::sha256_of_bytes(&bytes) != id {
            let cause = std::io::Error::new(ErrorKind::InvalidData, "its bytes are not those that were read before");
            return Err(FileError::new("copy", from, cause).into());
        }
        self.files.write_durable(to, &bytes)?;
        if self.files.sha256_of_file(to)? != id {
            let cause = std::io::Error::new(ErrorKind::InvalidData, "the copy differs from what was written");
            return Err(FileError::new("verify", to, cause).into());
        }
        Ok(())
    }

    /// Empties the quarantine folder of a file that was accepted after all, except for the file itself.
    fn clear_quarantine(&self, source: &Path, id: &str) -> Result<(), IntakeError> {
        let Some(folder) = source.parent() else { return Ok(()) };
        let own_reason = format!("{}{REASON_SUFFIX}", name_of(source));
        for entry in self.files.list(folder)? {
            if entry.path == *source {
                continue;
            }
            if entry.name == own_reason || is_temporary_name(&entry.name) {
                self.files.remove(&entry.path)?;
                continue;
            }
            // The same bytes under another name.
            let further = self.settings.archive_dir.join("duplicates").join(format!("{}-{}", hash12(id), entry.name));
            self.place(&entry.path, &further, id, false)?;
            self.files.remove(&entry.path)?;
        }
        Ok(())
    }

    /// Removes the quarantine folder that a file has left.
    pub(crate) fn remove_if_empty(&self, left: &Path) -> Result<(), IntakeError> {
        let Some(folder) = left.parent() else { return Ok(()) };
        if folder.parent() == Some(self.settings.quarantine_dir.as_path()) && self.files.list(folder)?.is_empty() {
            self.files.remove_dir_all(folder)?;
            self.forget_quarantine_folders();
        }
        Ok(())
    }
}
