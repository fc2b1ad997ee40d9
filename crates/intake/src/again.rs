//! Reading files again: refused ones after a pack was mended, archived ones under a newer pack.

use std::path::{Path, PathBuf};
use std::time::Instant;

use chrono::{DateTime, Utc};
use files::sha256_of_bytes;
use ledger::{FileEntry, FileState, Quarantined};

use crate::import::{Accepted, Taken, rows_of};
use crate::judge::{Judgement, judge, judge_with, site_context};
use crate::report::{FileOutcome, ScanReport};
use crate::scan::Batch;
use crate::{Intake, IntakeError};

/// What the ledger remembers of a reprocess between its first file and its last.
const UNDER_WAY: &str = "under way";

impl Intake {
    /// Tries refused files again: all of them, or those whose hash starts with `prefix`.
    pub fn retry(&self, prefix: &str, now: DateTime<Utc>) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let _turn = self.turn();
        let mut report = ScanReport::default();
        self.finish_in_flight(now, &mut report)?;
        let (mut taken, mut batch) = (Vec::new(), Batch::default());
        for entry in self.ledger.files_in_state(FileState::Quarantined)? {
            // Without a hash, what was removed by hand is no longer there to be tried.
            let is_there = entry.quarantine_path.is_some() || !prefix.is_empty();
            if is_there && entry.source_file_id.starts_with(prefix) {
                let path = PathBuf::from(entry.quarantine_path.clone().unwrap_or_default());
                taken.push((path, self.again(&entry, &mut report, || self.retry_entry(&entry, now))?));
                batch.add(&taken[taken.len() - 1].1);
                self.publish_if_full(&mut batch, now, &mut report)?;
            }
        }
        self.publish_and_archive(now, &mut report)?;
        self.outcomes(taken, &report)
    }

    /// Reads archived files again with the present version of a pack and replaces their rows, in the order in which they
    /// were imported. Files read with this version already are left alone, unless a stale file came before them: their rows
    /// must win over its rows again. `since` leaves out files imported earlier.
    pub fn reprocess(
        &self,
        pack_name: &str,
        since: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let _turn = self.turn();
        let Some(pack) = self.packs.pack(pack_name) else {
            let known: Vec<&str> = self.packs.packs().iter().map(formats::Pack::name).collect();
            return Err(IntakeError::Settings {
                problem: format!("there is no sound mapping pack \"{pack_name}\""),
                hint: format!("packs that loaded: {}", known.join(", ")),
            });
        };
        let mut report = ScanReport::default();
        self.finish_in_flight(now, &mut report)?;
        // Files that were read anew took new numbers. If the rest of them never followed, their order is that of their arrival,
        // and all of them are read once more: a later file must win over the rows of an earlier one again.
        let note = format!("reprocess.{pack_name}");
        let mut stale = self.ledger.remembered(&note)?.as_deref() == Some(UNDER_WAY);
        let mut entries = self.ledger.files_in_state(FileState::Archived)?;
        if stale {
            entries.sort_by_key(|entry| (entry.claimed_at, entry.import_sequence));
        }
        let (mut taken, mut batch) = (Vec::new(), Batch::default());
        for entry in entries {
            let imported_at = entry.staged_at.unwrap_or(entry.claimed_at);
            let too_early = since.is_some_and(|since| imported_at < since.timestamp_micros());
            if entry.format.as_deref() != Some(pack_name) || too_early {
                continue;
            }
            if !stale && entry.format_version.as_deref() != Some(pack.version()) {
                self.ledger.remember(&note, UNDER_WAY)?;
                stale = true;
            }
            if stale {
                let path = PathBuf::from(entry.archive_path.clone().unwrap_or_default());
                taken.push((path, self.again(&entry, &mut report, || self.reprocess_entry(&entry, pack, now))?));
                batch.add(&taken[taken.len() - 1].1);
                self.publish_if_full(&mut batch, now, &mut report)?;
            }
        }
        self.publish_and_archive(now, &mut report)?;
        let is_cut_short = self.stop.is_stopping() || report.paused.is_some() || report.publication_failed.is_some();
        if stale && !is_cut_short {
            self.ledger.remember(&note, "done")?;
        }
        self.outcomes(taken, &report)
    }

    /// One file again, unless there is no time or no room for it.
    fn again(
        &self,
        entry: &FileEntry,
        report: &mut ScanReport,
        work: impl FnOnce() -> Result<Taken, IntakeError>,
    ) -> Result<Taken, IntakeError> {
        self.note_progress();
        match self.hindrance(report, u64::try_from(entry.bytes).unwrap_or(0)) {
            Some(hindrance) => Ok(Taken::Done(hindrance)),
            None => self.tell_file_errors(work(), report),
        }
    }

    pub(crate) fn retry_entry(&self, entry: &FileEntry, now: DateTime<Utc>) -> Result<Taken, IntakeError> {
        let since = Instant::now();
        let path = PathBuf::from(entry.quarantine_path.clone().unwrap_or_default());
        let bytes = match self.read_kept(entry, &path)? {
            Ok(bytes) => bytes,
            Err(message) => return Ok(Taken::Done(FileOutcome::Failed { message })),
        };
        let site = site_context(&self.settings, self.settings.folder_of(Path::new(&entry.folder)), &self.roster());
        match judge(&self.packs, &entry.first_name, &bytes, false, &site) {
            Judgement::Accept { pack, parsed, .. } => {
                let accepted = Accepted {
                    source_file_id: &entry.source_file_id,
                    name: &entry.first_name,
                    bytes: bytes.len() as u64,
                    pack,
                    import_sequence: self.ledger.next_import_sequence()?,
                    source_path: path.to_string_lossy().into_owned(),
                    keep_source: false,
                    replaces_rows: false,
                    since,
                };
                let rows = rows_of(&parsed);
                let shots = self.stage(&accepted, parsed, now)?;
                Ok(Taken::Staged { source_file_id: entry.source_file_id.clone(), shots, rows, note: None })
            }
            Judgement::Unfinished { note, .. } => Ok(Taken::Unfinished { note }),
            Judgement::Refuse(refusal) => {
                let refused = Quarantined {
                    source_file_id: entry.source_file_id.clone(),
                    name: entry.first_name.clone(),
                    folder: entry.folder.clone(),
                    bytes: entry.bytes,
                    format: refusal.format.clone(),
                    format_version: refusal.format_version.clone(),
                    reason: refusal.reason.clone(),
                    quarantine_path: path.to_string_lossy().into_owned(),
                    at: now.timestamp_micros(),
                };
                self.write_reason(&path, &refused, &refusal, now)?;
                self.ledger.mark_quarantined(&refused)?;
                Ok(Taken::Done(FileOutcome::Quarantined {
                    source_file_id: refused.source_file_id,
                    reason: refused.reason,
                    path,
                }))
            }
        }
    }

    fn reprocess_entry(
        &self,
        entry: &FileEntry,
        pack: &formats::Pack,
        now: DateTime<Utc>,
    ) -> Result<Taken, IntakeError> {
        let since = Instant::now();
        let path = PathBuf::from(entry.archive_path.clone().unwrap_or_default());
        let bytes = match self.read_kept(entry, &path)? {
            Ok(bytes) => bytes,
            Err(message) => return Ok(Taken::Done(FileOutcome::Failed { message })),
        };
        let site = site_context(&self.settings, self.settings.folder_of(Path::new(&entry.folder)), &self.roster());
        match judge_with(pack, &entry.first_name, &bytes, Vec::new(), &site) {
            Judgement::Accept { parsed, .. } => {
                let accepted = Accepted {
                    source_file_id: &entry.source_file_id,
                    name: &entry.first_name,
                    bytes: bytes.len() as u64,
                    pack,
                    import_sequence: self.ledger.next_import_sequence()?,
                    source_path: path.to_string_lossy().into_owned(),
                    keep_source: true,
                    replaces_rows: true,
                    since,
                };
                let rows = rows_of(&parsed);
                let shots = self.stage(&accepted, parsed, now)?;
                Ok(Taken::Staged { source_file_id: entry.source_file_id.clone(), shots, rows, note: None })
            }
            Judgement::Unfinished { note, .. } => {
                let message = format!("{note}\nhint: its rows stay as they are; mend the pack and try again");
                Ok(Taken::Done(FileOutcome::Failed { message }))
            }
            // Rows that an older version of the pack could read are worth more than none.
            Judgement::Refuse(refusal) => {
                let message = format!(
                    "version {} of the pack refuses it: {}\nhint: its rows stay as they are; mend the pack and try again",
                    pack.version(),
                    refusal.reason
                );
                Ok(Taken::Done(FileOutcome::Failed { message }))
            }
        }
    }

    /// The bytes of a file in our keeping, or why they are not what the ledger says.
    fn read_kept(&self, entry: &FileEntry, path: &Path) -> Result<Result<Vec<u8>, String>, IntakeError> {
        if path.as_os_str().is_empty() {
            let reason = entry.reason.as_deref().unwrap_or("the ledger knows no copy of it");
            return Ok(Err(format!("{}: {reason}\nhint: import the file again", entry.first_name)));
        }
        let bytes = self.files.read(path, self.settings.largest_file())?;
        if sha256_of_bytes(&bytes) == entry.source_file_id {
            return Ok(Ok(bytes));
        }
        Ok(Err(format!(
            "{} was changed since it was imported\nhint: put the original back; its SHA-256 is {}",
            files::readable_path(path),
            entry.source_file_id
        )))
    }

    fn outcomes(
        &self,
        taken: Vec<(PathBuf, Taken)>,
        report: &ScanReport,
    ) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let mut outcomes = Vec::new();
        for (path, taken) in taken {
            outcomes.push((path, self.outcome_of(taken, report)?));
        }
        Ok(outcomes)
    }
}
