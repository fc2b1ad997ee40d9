//! Archived files whose rows are gone from the lake are read again, under the numbers that their imports had: rows that later
//! imports have taken over stay taken over, in whatever order files are read.

use std::path::{Path, PathBuf};
use std::time::Instant;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use files::sha256_of_bytes;
use lake::PartitionName;
use ledger::{FileEntry, FileState};
use shot::Month;

use crate::import::{Accepted, Taken, rows_of};
use crate::imports_told::imports_told;
use crate::judge::{Judgement, judge, judge_with, site_context};
use crate::names::hash12;
use crate::report::{FileOutcome, ProgressStep, ScanReport, Trouble};
use crate::{Intake, IntakeError};

/// Files read before their rows are published together.
const FILES_AT_A_TIME: usize = 500;

/// Local dates differ from UTC by less than this; times of a re-export may be mended by about as much.
const MARGIN_DAYS: i64 = 2;

impl Intake {
    /// The published files that had, or may have had, rows in a partition of imports; all of them where the lake's own
    /// account of its imports does not tell. None for a partition that is computed from others.
    pub fn files_behind(&self, partitions: &[PartitionName]) -> Result<Vec<String>, IntakeError> {
        let (imports, _) = imports_told(&self.lake)?;
        let mut behind = Vec::new();
        for entry in self.ledger.files_in_state(FileState::Archived)? {
            let told = imports.get(&entry.source_file_id);
            let is_behind = partitions.iter().any(|(dataset, month)| {
                let Some(month) = month else { return false };
                match dataset.as_str() {
                    "shots" | "strike_marks" => {
                        let (from, to) = span_of(*month);
                        told.is_none_or(|told| told.may_touch(from, to))
                    }
                    "rejects" | "imports" => {
                        let imported_at = entry.staged_at.unwrap_or(entry.claimed_at);
                        let instant = DateTime::from_timestamp_micros(imported_at).unwrap_or_default();
                        Month::of_day(self.local_day(instant)) == *month
                    }
                    _ => false,
                }
            });
            if is_behind {
                behind.push(entry.source_file_id);
            }
        }
        Ok(behind)
    }

    /// Takes the note away that these months are in step with roster, corrections and strike marks, so that they are brought
    /// into step anew.
    pub fn demand_amending_of(&self, partitions: &[PartitionName]) -> Result<(), IntakeError> {
        for (_, month) in partitions {
            if let Some(month) = month {
                self.ledger.forget_amended(&month.to_string())?;
            }
        }
        self.demand_amending();
        Ok(())
    }

    /// Reads archived files again and publishes their rows, in the order of their imports. Rows that stand already stay.
    pub fn read_again(
        &self,
        source_file_ids: &[String],
        now: DateTime<Utc>,
    ) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let _turn = self.turn();
        let mut report = ScanReport::default();
        self.finish_in_flight(now, &mut report)?;
        let mut entries = Vec::new();
        for id in source_file_ids {
            entries.extend(self.ledger.file(id)?);
        }
        entries.sort_by_key(|entry| entry.import_sequence);
        let mut outcomes = Vec::new();
        let total = entries.len();
        for (number, chunk) in entries.chunks(FILES_AT_A_TIME).enumerate() {
            let mut taken = Vec::new();
            for (position, entry) in chunk.iter().enumerate() {
                let path = PathBuf::from(entry.archive_path.clone().unwrap_or_default());
                let one = match self.read_entry_again(entry) {
                    Err(IntakeError::Ledger(error)) => return Err(error.into()),
                    Err(error) => Taken::Done(FileOutcome::Failed { message: error.to_string() }),
                    Ok(one) => one,
                };
                taken.push((path, one));
                self.tell(ProgressStep::Reading, number * FILES_AT_A_TIME + position + 1, total, 0);
            }
            self.publish_and_archive(now, &mut report)?;
            for (path, one) in taken {
                outcomes.push((path, self.outcome_of(one, &report)?));
            }
        }
        Ok(outcomes)
    }

    fn read_entry_again(&self, entry: &FileEntry) -> Result<Taken, IntakeError> {
        let since = Instant::now();
        let failed = |message: String| Ok(Taken::Done(FileOutcome::Failed { message }));
        let id = &entry.source_file_id;
        if entry.state != FileState::Archived {
            return failed(format!("{} is {} and was not read again", entry.first_name, entry.state.word()));
        }
        let Some((path, bytes)) = self.kept_bytes(entry)? else {
            return failed(format!(
                "{} ({}): no copy of it stands in the archive, so its rows cannot be read again\n\
                 hint: put the original into the archive from a backup, or into an import folder",
                entry.first_name,
                hash12(id)
            ));
        };
        let site = site_context(&self.settings, self.settings.folder_of(Path::new(&entry.folder)), &self.roster());
        let named_pack = entry.format.as_deref().and_then(|name| self.packs.pack(name));
        let judgement = match named_pack {
            Some(pack) => judge_with(pack, &entry.first_name, &bytes, Vec::new(), &site),
            None => judge(&self.packs, &entry.first_name, &bytes, false, &site),
        };
        let (pack, parsed) = match judgement {
            Judgement::Accept { pack, parsed, .. } => (pack, parsed),
            Judgement::Unfinished { note, .. } => return failed(format!("{}: {note}", entry.first_name)),
            Judgement::Refuse(refusal) => {
                return failed(format!(
                    "{} ({}) is refused now: {}\nhint: put back the pack that read it, then `strikemill repair` again",
                    entry.first_name,
                    hash12(id),
                    refusal.reason
                ));
            }
        };
        let is_same_pack = entry.format.as_deref() == Some(pack.name());
        let import_sequence = match entry.import_sequence {
            Some(sequence) => sequence,
            None => self.ledger.next_import_sequence()?,
        };
        let accepted = Accepted {
            source_file_id: id,
            name: &entry.first_name,
            bytes: bytes.len() as u64,
            pack,
            import_sequence,
            source_path: path.to_string_lossy().into_owned(),
            keep_source: true,
            // Rows of another version may stand in months that are sound; of one version they are the very same.
            replaces_rows: !is_same_pack || entry.format_version.as_deref() != Some(pack.version()),
            since,
        };
        let imported_at = DateTime::from_timestamp_micros(entry.staged_at.unwrap_or(entry.claimed_at));
        let rows = rows_of(&parsed);
        let shots = self.stage(&accepted, parsed, imported_at.unwrap_or_default())?;
        Ok(Taken::Staged { source_file_id: id.clone(), shots, rows, note: None })
    }

    /// The bytes of an archived file, from where the ledger has it or from a copy that arrived under another name.
    fn kept_bytes(&self, entry: &FileEntry) -> Result<Option<(PathBuf, Vec<u8>)>, IntakeError> {
        let mut places: Vec<PathBuf> = entry.archive_path.iter().map(PathBuf::from).collect();
        for copy in self.files.list(&self.settings.archive_dir.join("duplicates"))? {
            if copy.name.starts_with(hash12(&entry.source_file_id)) {
                places.push(copy.path);
            }
        }
        for place in places {
            if self.files.stat(&place)?.is_none() {
                continue;
            }
            let bytes = self.files.read(&place, self.settings.largest_file())?;
            if sha256_of_bytes(&bytes) == entry.source_file_id {
                return Ok(Some((place, bytes)));
            }
        }
        Ok(None)
    }
}

/// A month as it is noted, `YYYY-MM`; empty for a dataset without months.
pub fn month_of_text(text: &str) -> Option<Month> {
    Month::parse(text)
}

/// What a start does, for a lake that was repaired: finishes what was in flight, applies roster and corrections, and writes the
/// datasets that describe. Answers what failed.
pub fn start_after_repair(intake: &Intake, now: DateTime<Utc>) -> Result<Vec<Trouble>, IntakeError> {
    let report = intake.recover(now)?;
    intake.publish_dimensions(now)?;
    Ok(report.troubles)
}

/// The instants between which shots of a month lie, generously, UTC microseconds.
fn span_of(month: Month) -> (i64, i64) {
    let first = NaiveDate::from_ymd_opt(month.year, month.month, 1).unwrap_or_default();
    let next = first.checked_add_months(chrono::Months::new(1)).unwrap_or(first);
    let micros = |day: NaiveDate| day.and_time(chrono::NaiveTime::MIN).and_utc().timestamp_micros();
    let margin = TimeDelta::days(MARGIN_DAYS).num_microseconds().unwrap_or(0);
    (micros(first).saturating_sub(margin), micros(next).saturating_add(margin))
}
