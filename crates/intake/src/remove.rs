//! Removing originals at a person's explicit word: nothing else in strikemill ever deletes one.
//!
//! A removal is noted in the ledger before the bytes go. One that is cut off is finished by the next.

use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, Utc};
use files::EntryKind;
use ledger::{FileEntry, FileState, Removal};

use crate::audit::AuditSubject;
use crate::names::{hash12, text_of};
use crate::quarantine::REASON_SUFFIX;
use crate::report::ScanReport;
use crate::{AuditFault, Intake, IntakeError};

/// Which originals are to go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RemovalChoice {
    /// Those archived before an instant, UTC microseconds.
    ArchivedBefore(i64),
    /// Those refused before an instant, UTC microseconds.
    QuarantinedBefore(i64),
    /// Those whose SHA-256 begins so.
    File(String),
}

/// What a removal did, or would do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RemovalReport {
    /// Files that went, or would go, with their sizes.
    pub files: Vec<(PathBuf, u64)>,
    /// Why nothing went: what is wrong with the lake, or with single files.
    pub refused: Vec<String>,
    /// Files of an earlier removal that was cut off, and went now.
    pub finished: usize,
}

impl Intake {
    /// Removes originals from archive and quarantine. The rows in the lake stay, and the bytes stay known: they are recognised
    /// when they arrive again. Archived files go only if the lake is sound and holds their rows. `command` is what the ledger
    /// notes as the reason; with `dry_run` nothing changes.
    pub fn remove_originals(
        &self,
        choice: &RemovalChoice,
        command: &str,
        dry_run: bool,
        now: DateTime<Utc>,
    ) -> Result<RemovalReport, IntakeError> {
        let _turn = self.turn();
        let mut report = RemovalReport::default();
        if !dry_run {
            self.finish_in_flight(now, &mut ScanReport::default())?;
            report.finished = self.finish_removals()?;
        }
        let chosen = self.chosen(choice)?;
        let wants_lake = chosen.iter().any(|entry| entry.state == FileState::Archived);
        let doubted = if wants_lake { self.doubted_files(&mut report)? } else { Vec::new() };
        if wants_lake && doubted.is_empty() && !report.refused.is_empty() {
            return Ok(report);
        }
        for entry in &chosen {
            if doubted.contains(&entry.source_file_id) {
                report.refused.push(format!(
                    "{} ({}): its rows in the lake are not what was imported, so its original stays",
                    entry.first_name,
                    hash12(&entry.source_file_id)
                ));
                continue;
            }
            self.remove_one(entry, command, dry_run, now, &mut report)?;
        }
        Ok(report)
    }

    fn chosen(&self, choice: &RemovalChoice) -> Result<Vec<FileEntry>, IntakeError> {
        let chosen = match choice {
            RemovalChoice::ArchivedBefore(instant) => {
                let mut entries = self.ledger.files_in_state(FileState::Archived)?;
                entries.retain(|entry| entry.archived_at.is_some_and(|at| at < *instant));
                entries
            }
            RemovalChoice::QuarantinedBefore(instant) => {
                let mut entries = self.ledger.files_in_state(FileState::Quarantined)?;
                entries.retain(|entry| entry.quarantined_at.is_some_and(|at| at < *instant));
                entries
            }
            RemovalChoice::File(prefix) => self.ledger.files_by_prefix(&prefix.to_lowercase())?,
        };
        let has_copy = |entry: &FileEntry| match entry.state {
            FileState::Archived => entry.archive_path.is_some(),
            FileState::Quarantined => entry.quarantine_path.is_some(),
            _ => false,
        };
        Ok(chosen.into_iter().filter(has_copy).collect())
    }

    /// Files whose rows are in doubt. Damage to the lake itself puts all of them in doubt: it may need every original.
    fn doubted_files(&self, report: &mut RemovalReport) -> Result<Vec<String>, IntakeError> {
        let schemas = shot::published_datasets();
        let subject = AuditSubject {
            ledger: &self.ledger,
            lake: &self.lake,
            files: &self.files,
            archive_dir: &self.settings.archive_dir,
            schemas: &schemas,
            patience: Duration::ZERO,
        };
        let audit = subject.audit_rows(&|_| {})?;
        if audit.faults.len() > audit.files_to_read_again.len() {
            report.refused.extend(audit.faults.iter().map(AuditFault::to_string));
            report.refused.push("no original goes while the lake is not sound".to_owned());
            return Ok(Vec::new());
        }
        Ok(audit.files_to_read_again)
    }

    fn remove_one(
        &self,
        entry: &FileEntry,
        command: &str,
        dry_run: bool,
        now: DateTime<Utc>,
        report: &mut RemovalReport,
    ) -> Result<(), IntakeError> {
        let id = &entry.source_file_id;
        let is_refused = entry.state == FileState::Quarantined;
        let path = if is_refused { &entry.quarantine_path } else { &entry.archive_path };
        let Some(path) = path.as_ref().map(PathBuf::from) else { return Ok(()) };
        let mut places = vec![path.clone()];
        places.extend(if is_refused { self.beside_refused(&path)? } else { self.further_copies(id)? });
        for place in &places {
            let bytes = match self.files.stat(place)? {
                Some(stat) => stat.bytes,
                // Deleted past us: noted all the same, so that nobody is told of it for ever.
                None if is_refused && *place == path => 0,
                None => continue,
            };
            report.files.push((place.clone(), bytes));
            if dry_run {
                continue;
            }
            let day = now.with_timezone(&self.settings.zone).format("%Y-%m-%d");
            let reason = match &entry.reason {
                Some(before) if is_refused => format!("removed by hand on {day}; it was refused: {before}"),
                _ => format!("removed by hand on {day}"),
            };
            let removal = Removal {
                removed_at: now.timestamp_micros(),
                command: command.to_owned(),
                source_file_id: id.clone(),
                path: text_of(place),
                bytes: i64::try_from(bytes).unwrap_or(i64::MAX),
            };
            self.ledger.note_removal(entry, &removal, &reason)?;
        }
        if dry_run {
            return Ok(());
        }
        for place in &places {
            self.files.remove(place)?;
            // The names of files may be names of people: only the hash goes into the log.
            tracing::info!(file_id = hash12(id), "an original was removed by hand");
        }
        self.leave_no_empty_folder(&path)
    }

    /// The reason of a refused file, and the same bytes under further names.
    fn beside_refused(&self, path: &Path) -> Result<Vec<PathBuf>, IntakeError> {
        let Some(folder) = path.parent() else { return Ok(Vec::new()) };
        if folder.parent() != Some(self.settings.quarantine_dir.as_path()) {
            return Ok(Vec::new());
        }
        let entries = self.files.list(folder)?.into_iter();
        Ok(entries
            .filter(|entry| entry.kind == EntryKind::File && entry.path != path)
            .map(|entry| entry.path)
            .collect())
    }

    fn further_copies(&self, id: &str) -> Result<Vec<PathBuf>, IntakeError> {
        let mut copies = Vec::new();
        for entry in self.files.list(&self.settings.archive_dir.join("duplicates"))? {
            let is_ours = entry.kind == EntryKind::File && entry.name.starts_with(hash12(id));
            if is_ours && self.files.sha256_of_file(&entry.path)? == id {
                copies.push(entry.path);
            }
        }
        Ok(copies)
    }

    fn leave_no_empty_folder(&self, path: &Path) -> Result<(), IntakeError> {
        if let Some(folder) = path.parent()
            && folder.parent() == Some(self.settings.quarantine_dir.as_path())
            && self.files.list(folder)?.is_empty()
        {
            self.files.remove_dir_all(folder)?;
        }
        Ok(())
    }

    /// Removes what an earlier removal noted and did not come to. Bytes that arrived again since have an entry that names
    /// their place, and stay.
    fn finish_removals(&self) -> Result<usize, IntakeError> {
        let mut finished = 0;
        for removal in self.ledger.removals()? {
            let path = PathBuf::from(&removal.path);
            if self.files.stat(&path)?.is_none() {
                continue;
            }
            let is_named_again = self.ledger.file(&removal.source_file_id)?.is_none_or(|entry| {
                entry.archive_path.is_some() || entry.quarantine_path.is_some() || entry.source_path.is_some()
            });
            let is_reason = removal.path.ends_with(REASON_SUFFIX);
            if !is_named_again && (is_reason || self.files.sha256_of_file(&path)? == removal.source_file_id) {
                self.files.remove(&path)?;
                self.leave_no_empty_folder(&path)?;
                finished += 1;
            }
        }
        Ok(finished)
    }
}
