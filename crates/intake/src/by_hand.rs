//! Files that a person names, taken at once.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use files::EntryKind;
use ledger::FileState;

use crate::arrival::{Arrival, modified_micros};
use crate::import::Taken;
use crate::names::is_temporary;
use crate::report::{FileOutcome, ProgressStep, ScanReport};
use crate::scan::Batch;
use crate::{Intake, IntakeError};

impl Intake {
    /// Imports files and folders that a person names, without waiting for them to settle. A file outside the import folders
    /// is copied and stays where it is.
    pub fn import_now(
        &self,
        paths: &[PathBuf],
        now: DateTime<Utc>,
    ) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let mut looks = self.turn();
        let mut report = ScanReport::default();
        if let Some(why) = self.shortage(0) {
            self.pause(&mut report, why);
        }
        self.finish_in_flight(now, &mut report)?;
        let mut outcomes = Vec::new();
        let mut arrivals = Vec::new();
        for path in paths {
            // The ledger holds full paths: a relative one means something else tomorrow.
            let path = std::path::absolute(path).unwrap_or_else(|_| path.clone());
            if let Err(message) = self.gather(&path, &mut arrivals) {
                outcomes.push((path, FileOutcome::Failed { message }));
            }
        }
        let total = arrivals.len();
        let (mut shots, mut batch) = (0, Batch::default());
        let mut pending: Vec<(Arrival, Taken)> = Vec::new();
        for (number, arrival) in arrivals.into_iter().enumerate() {
            let taken = match self.hindrance(&report, arrival.bytes) {
                Some(hindrance) => Taken::Done(hindrance),
                None => self.take_or_tell(&arrival, now, &mut report)?,
            };
            batch.add(&taken);
            if let Taken::Staged { shots: staged, .. } = &taken {
                shots += staged;
            }
            pending.push((arrival, taken));
            self.tell(ProgressStep::Reading, number + 1, total, shots);
            self.publish_if_full(&mut batch, now, &mut report)?;
        }
        self.publish_and_archive(now, &mut report)?;
        for (arrival, mut taken) in pending {
            if matches!(taken, Taken::Later) {
                taken = self.take_or_tell(&arrival, now, &mut report)?;
            }
            let is_gone = matches!(self.files.stat(&arrival.path), Ok(None));
            if is_gone {
                looks.forget(&arrival.path);
            }
            let outcome = self.outcome_of(taken, &report)?;
            outcomes.push((arrival.path, outcome));
        }
        Ok(outcomes)
    }

    fn take_or_tell(
        &self,
        arrival: &Arrival,
        now: DateTime<Utc>,
        report: &mut ScanReport,
    ) -> Result<Taken, IntakeError> {
        self.tell_file_errors(self.take(arrival, now), report)
    }

    /// One file that cannot be read does not stop the others.
    pub(crate) fn tell_file_errors(
        &self,
        result: Result<Taken, IntakeError>,
        report: &mut ScanReport,
    ) -> Result<Taken, IntakeError> {
        match result {
            Err(IntakeError::Ledger(error)) => Err(error.into()),
            Err(error) => {
                self.pause_if_full(report, &error);
                Ok(Taken::Done(FileOutcome::Failed { message: error.to_string() }))
            }
            Ok(taken) => Ok(taken),
        }
    }

    /// Why a file of so many bytes cannot be taken now, whatever is in it.
    pub(crate) fn hindrance(&self, report: &ScanReport, bytes: u64) -> Option<FileOutcome> {
        if self.stop.is_stopping() {
            let note = "strikemill is stopping; give the command again once it runs".to_owned();
            return Some(FileOutcome::Waiting { note });
        }
        let cannot_go_on = report.paused.as_ref().or(report.publication_failed.as_ref());
        let message = cannot_go_on.cloned().or_else(|| self.shortage(bytes))?;
        Some(FileOutcome::Failed { message })
    }

    /// What to tell about a taken file once publication has been tried.
    pub(crate) fn outcome_of(&self, taken: Taken, report: &ScanReport) -> Result<FileOutcome, IntakeError> {
        let (source_file_id, note) = match taken {
            Taken::Done(outcome) => return Ok(outcome),
            Taken::Unfinished { note } => return Ok(FileOutcome::Waiting { note }),
            Taken::Later => return Ok(FileOutcome::Waiting { note: "its rows wait for publication".to_owned() }),
            Taken::Staged { source_file_id, note, .. } => (source_file_id, note),
        };
        let entry = self.ledger.file(&source_file_id)?;
        match entry {
            Some(entry) if matches!(entry.state, FileState::Published | FileState::Archived) => {
                Ok(FileOutcome::Imported {
                    source_file_id,
                    format: entry.format.unwrap_or_default(),
                    shots: entry.rows_accepted - entry.marks_accepted,
                    marks: entry.marks_accepted,
                    rejected: entry.rows_rejected,
                    note,
                })
            }
            _ if self.stop.is_stopping() => Ok(FileOutcome::Waiting {
                note: "strikemill is stopping; its rows come in at the next start".to_owned(),
            }),
            _ => {
                let why = report.troubles.first().map_or("its rows wait for publication", |trouble| &trouble.message);
                Ok(FileOutcome::Failed { message: why.to_owned() })
            }
        }
    }

    fn gather(&self, path: &Path, arrivals: &mut Vec<Arrival>) -> Result<(), String> {
        let stat = self.files.stat(path).map_err(|error| error.to_string())?;
        match stat {
            Some(stat) if stat.kind == EntryKind::File => {
                arrivals.push(Arrival {
                    path: path.to_owned(),
                    bytes: stat.bytes,
                    modified: modified_micros(&stat),
                    identity: stat.identity,
                    keep_source: self.settings.folder_of(path).is_none(),
                    patient: false,
                    named: true,
                });
                Ok(())
            }
            Some(stat) if stat.kind == EntryKind::Folder => {
                for entry in self.files.list(path).map_err(|error| error.to_string())? {
                    if matches!(entry.kind, EntryKind::File | EntryKind::Folder) && !is_temporary(&entry.name) {
                        self.gather(&entry.path, arrivals)?;
                    }
                }
                Ok(())
            }
            Some(_) => Err(format!(
                "{} is neither a file nor a folder\nhint: name the file a link points to",
                files::readable_path(path)
            )),
            None => Err(format!("{} does not exist\nhint: check the spelling", files::readable_path(path))),
        }
    }
}
