//! Taking one file: read once, hash, judge, stage - or recognise it as known.

use std::time::Instant;

use arrow::array::StringArray;
use chrono::{DateTime, Utc};
use files::sha256_of_bytes;
use formats::{Pack, ParsedFile};
use lake::SegmentHeader;
use ledger::{Claim, FileEntry, FileState, Staged};
use shot::{ImportRow, RejectRow};

use crate::arrival::Arrival;
use crate::judge::{Judgement, Refusal, judge, site_context};
use crate::names::{hash12, text_of};
use crate::report::FileOutcome;
use crate::rows::{Origin, mark_rows, shot_rows};
use crate::shot_columns::column;
use crate::unknown_names::texts_of;
use crate::{CorrectionAction, Intake, IntakeError};

/// How far taking a file came.
pub(crate) enum Taken {
    /// Its rows are durable in staging: `shots` of them shots, `rows` in all with what was rejected.
    Staged { source_file_id: String, shots: i64, rows: i64, note: Option<String> },
    /// Nothing more is to be done, or it is tried again by the next scan.
    Done(FileOutcome),
    /// The format's structural end is missing.
    Unfinished { note: String },
    /// The same bytes are in staging under another name.
    Later,
}

/// A file that was accepted, about to be staged.
pub(crate) struct Accepted<'a> {
    pub(crate) source_file_id: &'a str,
    pub(crate) name: &'a str,
    pub(crate) bytes: u64,
    pub(crate) pack: &'a Pack,
    pub(crate) import_sequence: i64,
    pub(crate) source_path: String,
    pub(crate) keep_source: bool,
    pub(crate) replaces_rows: bool,
    pub(crate) since: Instant,
}

impl Intake {
    pub(crate) fn take(&self, arrival: &Arrival, now: DateTime<Utc>) -> Result<Taken, IntakeError> {
        let since = Instant::now();
        if arrival.bytes > self.settings.largest_file() {
            return self.refuse_unread(arrival, now);
        }
        let bytes = self.files.read(&arrival.path, self.settings.largest_file())?;
        let source_file_id = sha256_of_bytes(&bytes);
        if !arrival.is_unchanged(&self.files)? {
            let note = "it changed while it was read".to_owned();
            return Ok(Taken::Done(FileOutcome::Waiting { note }));
        }
        let known = self.ledger.file(&source_file_id)?;
        match known {
            Some(entry) => match entry.state {
                FileState::Staged => return Ok(Taken::Later),
                FileState::Published | FileState::Archived => return self.take_duplicate(arrival, &entry, now),
                FileState::Quarantined if entry.quarantine_path.is_none() => {
                    // Removed by hand and here again: the copy in quarantine is the one that is tried.
                    let joined = self.join_quarantine(arrival, &entry, now)?;
                    return match self.ledger.file(&source_file_id)? {
                        Some(entry) if arrival.named => self.retry_entry(&entry, now),
                        _ => Ok(joined),
                    };
                }
                FileState::Quarantined if !arrival.named => {
                    return self.take_refused_again(arrival, &entry, &bytes, now);
                }
                // A person who names a refused file wants it tried again: the pack may have been mended.
                FileState::Quarantined => {
                    let taken = self.retry_entry(&entry, now)?;
                    if !arrival.keep_source && matches!(taken, Taken::Done(FileOutcome::Quarantined { .. })) {
                        // Refused again: what lies in the import folder is no longer wanted there.
                        self.join_quarantine(arrival, &entry, now)?;
                    }
                    return Ok(taken);
                }
                FileState::Claimed => {}
            },
            None if bytes.is_empty() => {
                let note = format!("{} is empty", files::readable_path(&arrival.path));
                return Ok(Taken::Done(FileOutcome::Waiting { note }));
            }
            None => {}
        }
        let name = arrival.name();
        let site = site_context(&self.settings, self.settings.folder_of(&arrival.path), &self.roster());
        match judge(&self.packs, &name, &bytes, arrival.patient, &site) {
            Judgement::Unfinished { note, is_rowless } => Ok(unfinished(&note, is_rowless)),
            Judgement::Refuse(refusal) if refusal.format.is_none() && !self.packs.left_out().is_empty() => {
                // It may well be an export of that very pack, which only a typing error or a busy disk keeps out.
                let packs = self.packs.left_out().join(", ");
                let note = format!(
                    "no mapping pack fits it, but {packs} cannot be used as it is now; it waits\n\
                     hint: mend the pack (strikemill check tells what is wrong), or take its folder out of plugins/formats"
                );
                Ok(Taken::Unfinished { note })
            }
            Judgement::Refuse(refusal) => self.quarantine(arrival, &source_file_id, &refusal, now),
            Judgement::Accept { pack, parsed, .. } => {
                let import_sequence = self.ledger.begin_import(&Claim {
                    source_file_id: source_file_id.clone(),
                    name: name.clone(),
                    folder: arrival.folder(),
                    bytes: i64::try_from(arrival.bytes).unwrap_or(i64::MAX),
                    source_path: text_of(&arrival.path),
                    keep_source: arrival.keep_source,
                    at: now.timestamp_micros(),
                })?;
                let accepted = Accepted {
                    source_file_id: &source_file_id,
                    name: &name,
                    bytes: arrival.bytes,
                    pack,
                    import_sequence,
                    source_path: text_of(&arrival.path),
                    keep_source: arrival.keep_source,
                    replaces_rows: false,
                    since,
                };
                let (rows, note) = (rows_of(&parsed), self.note_of_place(arrival, &parsed));
                let shots = self.stage(&accepted, parsed, now)?;
                Ok(Taken::Staged { source_file_id, shots, rows, note })
            }
        }
    }

    /// What a file loses that does not lie in an import folder: nobody tells in which bay it was recorded.
    fn note_of_place(&self, arrival: &Arrival, parsed: &ParsedFile) -> Option<String> {
        if self.settings.folder_of(&arrival.path).is_some() {
            return None;
        }
        let no_bay = parsed.shots.iter().filter(|shot| shot.bay.is_none()).count()
            + parsed.marks.iter().filter(|mark| mark.bay.is_none()).count();
        let no_environment = parsed.shots.iter().filter(|shot| shot.environment.is_none()).count();
        if no_bay + no_environment == 0 {
            return None;
        }
        Some(format!(
            "it lies in no import folder, so that the bay of {no_bay} rows and the environment (indoor, outdoor) of \
             {no_environment} stay unknown\nhint: a file that is put into its bay's import folder takes both from there"
        ))
    }

    /// Bytes that were refused before join those in quarantine, unless they are the head of an export that goes on.
    fn take_refused_again(
        &self,
        arrival: &Arrival,
        entry: &FileEntry,
        bytes: &[u8],
        now: DateTime<Utc>,
    ) -> Result<Taken, IntakeError> {
        let site = site_context(&self.settings, self.settings.folder_of(&arrival.path), &self.roster());
        match judge(&self.packs, &arrival.name(), bytes, false, &site) {
            Judgement::Unfinished { note, is_rowless: true } => Ok(unfinished(&note, true)),
            _ => self.join_quarantine(arrival, entry, now),
        }
    }

    fn refuse_unread(&self, arrival: &Arrival, now: DateTime<Utc>) -> Result<Taken, IntakeError> {
        let source_file_id = self.files.sha256_of_file(&arrival.path)?;
        let refusal = Refusal {
            reason: format!("it has {} bytes, the limit is {}", arrival.bytes, self.settings.largest_file()),
            hint: "raise the limit in the configuration if a file of this size is an export, then use retry".into(),
            ..Refusal::default()
        };
        match self.ledger.file(&source_file_id)? {
            Some(entry) if entry.state == FileState::Quarantined => self.join_quarantine(arrival, &entry, now),
            Some(entry) if matches!(entry.state, FileState::Published | FileState::Archived) => {
                self.take_duplicate(arrival, &entry, now)
            }
            Some(entry) if entry.state == FileState::Staged => Ok(Taken::Later),
            _ => self.quarantine(arrival, &source_file_id, &refusal, now),
        }
    }

    /// Makes an accepted file's rows durable in staging and notes it. Answers how many shots it has.
    pub(crate) fn stage(
        &self,
        accepted: &Accepted<'_>,
        mut parsed: ParsedFile,
        now: DateTime<Utc>,
    ) -> Result<i64, IntakeError> {
        let mut suppressed = self.basis().forgotten.suppress(&mut parsed);
        let imported_at = now.timestamp_micros();
        let import_day = self.local_day(now);
        let origin = Origin {
            site_id: self.settings.site_id.clone(),
            source_file_id: accepted.source_file_id.to_owned(),
            format: accepted.pack.name().to_owned(),
            format_version: accepted.pack.version().to_owned(),
            import_sequence: accepted.import_sequence,
            imported_at,
        };
        let refused_by_the_pack = parsed.rows_rejected();
        let texts = texts_of(&parsed);
        let (mut shots, mut repetitions) = shot_rows(parsed.shots, &origin);
        suppressed += self.suppress_corrected(&mut shots)?;
        let (marks, repeated_marks) = mark_rows(parsed.marks, &origin);
        repetitions.extend(repeated_marks);
        let rows_rejected = i64::try_from(refused_by_the_pack + repetitions.len() as u64).unwrap_or(i64::MAX);
        let marks_accepted = i64::try_from(marks.len()).unwrap_or(i64::MAX);
        let rows_accepted = i64::try_from(shots.len() + marks.len()).unwrap_or(i64::MAX);
        let mut rejects = Vec::new();
        for problem in parsed.problems.into_iter().chain(repetitions) {
            rejects.push(RejectRow {
                site_id: origin.site_id.clone(),
                source_file_id: origin.source_file_id.clone(),
                file_name: accepted.name.to_owned(),
                format: origin.format.clone(),
                format_version: origin.format_version.clone(),
                problem,
                local_date: import_day,
                import_sequence: origin.import_sequence,
                imported_at,
            });
        }
        let import = ImportRow {
            source_file_id: origin.source_file_id.clone(),
            site_id: origin.site_id.clone(),
            file_name: accepted.name.to_owned(),
            file_bytes: i64::try_from(accepted.bytes).unwrap_or(i64::MAX),
            format: origin.format.clone(),
            format_version: origin.format_version.clone(),
            rows_accepted,
            rows_rejected,
            first_struck_at: shots.iter().map(|shot| shot.parsed.struck_at).min(),
            last_struck_at: shots.iter().map(|shot| shot.parsed.struck_at).max(),
            local_date: import_day,
            import_sequence: origin.import_sequence,
            imported_at,
            duration_s: accepted.since.elapsed().as_secs_f64(),
        };
        let in_columns = |dataset| move |cause| IntakeError::Rows { dataset, cause };
        let mut tables = Vec::new();
        if !shots.is_empty() || marks.is_empty() {
            // Roster and corrections are applied here already, so that no reader ever sees the rows without them.
            let recorded = shot::shots_batch(&shots).map_err(in_columns("shots"))?;
            tables.push((shot::shots(), self.amender()?.shots(&recorded)?.batch));
        }
        if !marks.is_empty() {
            let recorded = shot::strike_marks_batch(&marks).map_err(in_columns("strike_marks"))?;
            tables.push((shot::strike_marks(), self.amender()?.marks(&recorded)?));
        }
        if !rejects.is_empty() {
            tables.push((shot::rejects(), shot::rejects_batch(&rejects).map_err(in_columns("rejects"))?));
        }
        tables.push((shot::imports(), shot::imports_batch(&[import]).map_err(in_columns("imports"))?));
        let header = SegmentHeader {
            import_sequence: origin.import_sequence,
            source_file_id: origin.source_file_id.clone(),
            file_name: accepted.name.to_owned(),
            format: origin.format.clone(),
            format_version: origin.format_version.clone(),
        };
        self.lake.stage(header, &tables)?;
        self.ledger.note_player_texts(&origin.source_file_id, &texts)?;
        self.ledger.mark_staged(&Staged {
            source_file_id: origin.source_file_id,
            import_sequence: origin.import_sequence,
            format: origin.format,
            format_version: origin.format_version,
            rows_accepted,
            marks_accepted,
            rows_rejected,
            source_path: accepted.source_path.clone(),
            keep_source: accepted.keep_source,
            replaces_rows: accepted.replaces_rows,
            at: imported_at,
        })?;
        let shots = rows_accepted - marks_accepted;
        tracing::info!(
            file_id = hash12(accepted.source_file_id),
            file = %files::readable_text(accepted.name),
            format = accepted.pack.name(),
            shots,
            marks = marks_accepted,
            rejected = rows_rejected,
            suppressed,
            "staged a file"
        );
        Ok(shots)
    }

    /// Takes out the shots that a correction gives to a forgotten person; answers how many.
    fn suppress_corrected(&self, shots: &mut Vec<shot::ShotRow>) -> Result<usize, IntakeError> {
        let basis = self.basis();
        let given_to: Vec<String> = basis
            .corrections
            .lines()
            .iter()
            .filter_map(|line| match &line.action {
                CorrectionAction::Player(text) if basis.forgotten.holds(text) => {
                    Some(shot::placeholder_player(&self.settings.site_id, text))
                }
                _ => None,
            })
            .collect();
        if given_to.is_empty() {
            return Ok(0);
        }
        let recorded = shot::shots_batch(shots).map_err(|cause| IntakeError::Rows { dataset: "shots", cause })?;
        let amended = self.amender()?.shots(&recorded)?.batch;
        let players: &StringArray = column("shots", &amended, "player_id")?;
        let mut players = players.iter();
        let before = shots.len();
        shots.retain(|_| {
            let player = players.next().flatten();
            !player.is_some_and(|player| given_to.iter().any(|gone| gone == player))
        });
        Ok(before - shots.len())
    }

    /// Bytes that are in the lake already: only the name is new.
    fn take_duplicate(&self, arrival: &Arrival, entry: &FileEntry, now: DateTime<Utc>) -> Result<Taken, IntakeError> {
        let duplicate = FileOutcome::Duplicate {
            source_file_id: entry.source_file_id.clone(),
            first_name: entry.first_name.clone(),
        };
        let own_source = entry.source_path.as_deref() == Some(text_of(&arrival.path).as_str());
        if entry.state == FileState::Published && own_source {
            // Not a second copy but the first one, which could not be archived yet: the end of the scan tries again.
            let note = "it is imported; archiving is tried again".to_owned();
            return Ok(Taken::Done(FileOutcome::Waiting { note }));
        }
        self.ledger.add_alias(&entry.source_file_id, &arrival.name(), &arrival.folder(), now.timestamp_micros())?;
        self.archive_duplicate(arrival, entry, now)?;
        tracing::info!(
            file_id = hash12(&entry.source_file_id),
            file = %files::readable_path(&arrival.path),
            first = %files::readable_text(&entry.first_name),
            "known bytes under another name"
        );
        Ok(Taken::Done(duplicate))
    }

    /// The calendar day of an instant in the site's zone.
    pub(crate) fn local_day(&self, instant: DateTime<Utc>) -> shot::LocalDay {
        let local = instant.with_timezone(&self.settings.zone).date_naive();
        let days = local.signed_duration_since(DateTime::UNIX_EPOCH.date_naive()).num_days();
        i32::try_from(days).unwrap_or(i32::MAX)
    }
}

/// All rows of a file, with those that were rejected.
pub(crate) fn rows_of(parsed: &ParsedFile) -> i64 {
    let rows = parsed.shots.len() + parsed.marks.len() + parsed.problems.len();
    i64::try_from(rows).unwrap_or(i64::MAX)
}

fn unfinished(note: &str, is_rowless: bool) -> Taken {
    let outlook = if is_rowless {
        "It is taken as soon as its device writes one; delete it if its session is over"
    } else {
        "It is taken as it is once it has stood still for long, or at once with the command import"
    };
    Taken::Unfinished { note: format!("{note}; the device may still be writing. {outlook}") }
}
