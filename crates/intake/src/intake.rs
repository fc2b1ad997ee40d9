//! The handle on intake, and the round that a scan makes.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use chrono::{DateTime, Utc};
use files::{EntryKind, Files};
use formats::PackSet;
use lake::Lake;
use ledger::{FileState, Ledger, SightingState};

use crate::arrival::{Arrival, modified_micros};
use crate::basis::{Reading, RosterCheck};
use crate::grown::LatelyKept;
use crate::import::Taken;
use crate::look::Looks;
use crate::names::is_temporary;
use crate::report::{FileOutcome, Progress, ProgressFn, ProgressStep, ScanReport};
use crate::vitals::Turn;
use crate::{IntakeError, IntakeSettings, Moment, Roster, StopHandle, Vitals};

/// So many files are staged before they are published together: one partition is then written once for all of them, and
/// what a crash leaves to do again stays small.
const BATCH: usize = 1_000;

/// Intake of one site. All calls block; one at a time works, the others wait their turn.
pub struct Intake {
    pub(crate) settings: IntakeSettings,
    pub(crate) files: Files,
    pub(crate) ledger: Arc<Ledger>,
    pub(crate) lake: Arc<Lake>,
    pub(crate) packs: Arc<PackSet>,
    pub(crate) reading: Mutex<Reading>,
    pub(crate) roster_check: Option<RosterCheck>,
    /// Whether some month may be out of step with roster, corrections or strike marks.
    pub(crate) amending_due: AtomicBool,
    pub(crate) lately_kept: Mutex<LatelyKept>,
    progress: Option<ProgressFn>,
    pub(crate) vitals: Mutex<Vitals>,
    pub(crate) stop: StopHandle,
    looks: Mutex<Looks>,
}

impl std::fmt::Debug for Intake {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Intake").field("settings", &self.settings).finish_non_exhaustive()
    }
}

impl Intake {
    /// Opens intake: checks the settings, binds the ledger to the site and makes the folders that are ours. Import folders
    /// are not made: one that is missing may be a share that is not mounted. Call [`Intake::recover`] next.
    pub fn open(
        settings: IntakeSettings,
        files: Files,
        ledger: Arc<Ledger>,
        lake: Arc<Lake>,
        packs: Arc<PackSet>,
        roster: Arc<Roster>,
    ) -> Result<Intake, IntakeError> {
        settings.check()?;
        if lake.site_id() != settings.site_id {
            return Err(IntakeError::Settings {
                problem: format!("the lake is that of site {}, intake that of {}", lake.site_id(), settings.site_id),
                hint: "this is a fault of strikemill, report it".into(),
            });
        }
        ledger.bind_site(&settings.site_id)?;
        files.create_dir_all(&settings.archive_dir)?;
        files.create_dir_all(&settings.quarantine_dir)?;
        let noted = ledger.sightings()?;
        let sightings = noted.iter().map(|sighting| (sighting.path.clone(), sighting.clone())).collect();
        let looks = Mutex::new(Looks { sightings, noted, ..Looks::default() });
        Ok(Intake {
            settings,
            files,
            ledger,
            lake,
            packs,
            reading: Mutex::new(Reading::of(roster)),
            roster_check: None,
            amending_due: AtomicBool::new(true),
            lately_kept: Mutex::new(LatelyKept::default()),
            progress: None,
            vitals: Mutex::new(Vitals::at_start()),
            stop: StopHandle::default(),
            looks,
        })
    }

    /// Tells somebody about progress, for example a progress bar.
    #[must_use]
    pub fn with_progress(mut self, progress: ProgressFn) -> Intake {
        self.progress = Some(progress);
        self
    }

    /// The settings.
    pub fn settings(&self) -> &IntakeSettings {
        &self.settings
    }

    pub(crate) fn tell(&self, step: ProgressStep, files_done: usize, files_total: usize, shots: i64) {
        self.note_progress();
        if let Some(progress) = &self.progress {
            progress(Progress { step, files_done, files_total, shots });
        }
    }

    /// Waits for the turn of this call.
    pub(crate) fn turn(&self) -> Turn<'_> {
        // After a panic the looks may lack a file; the next look finds it again.
        Turn::begin(self, self.looks.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Finishes whatever a crash or a failed step left in flight. Doing it twice does nothing more. Every scan begins with
    /// the same.
    pub fn recover(&self, now: DateTime<Utc>) -> Result<ScanReport, IntakeError> {
        let _turn = self.turn();
        let mut report = ScanReport::default();
        self.finish_in_flight(now, &mut report)?;
        Ok(report)
    }

    /// One look at every import folder; every file goes as far as it can. What fails for one file or folder stands in the
    /// report and is tried again by the next scan; an error means that the ledger or staging failed and nothing went on.
    ///
    /// `now` is a [`Moment`], or an instant of the only clock there is.
    pub fn scan_once(&self, now: impl Into<Moment>) -> Result<ScanReport, IntakeError> {
        let now = now.into();
        let mut looks = self.turn();
        self.note_vitals(|vitals| vitals.scan_started = Some(now.wall.timestamp_micros()));
        let result = self.scan(&mut looks, now);
        self.note_scan(&looks, &result);
        result
    }

    fn scan(&self, looks: &mut Looks, now: Moment) -> Result<ScanReport, IntakeError> {
        let mut report = ScanReport::default();
        let (moment, now) = (now, now.wall);
        self.refresh_basis(now, &mut report)?;
        self.finish_in_flight(now, &mut report)?;
        self.bring_back_grown(moment, &mut report)?;
        let settled = self.look(looks, now, &mut report);
        let mut later = self.take_all(&settled, looks, now, &mut report)?;
        if !later.is_empty() {
            // Files that repeat the bytes of a file of this very scan: by now that one is published.
            later = self.take_all(&later, looks, now, &mut report)?;
        }
        for arrival in later {
            looks.explain(&arrival.path, SightingState::Retrying, "its rows wait for publication".to_owned());
        }
        self.note_sightings(looks, &mut report)?;
        Ok(report)
    }

    /// What a scan that ended says about how intake is doing.
    fn note_scan(&self, looks: &Looks, result: &Result<ScanReport, IntakeError>) {
        let mut counts = [0; 3];
        let mut oldest: Option<(&str, i64)> = None;
        for sighting in looks.sightings.values() {
            let place = match sighting.state {
                SightingState::Settling => 0,
                SightingState::Waiting => 1,
                SightingState::Retrying => 2,
            };
            counts[place] += 1;
            let is_oldest = oldest.is_none_or(|(_, first_seen)| sighting.first_seen < first_seen);
            if sighting.state != SightingState::Settling && is_oldest {
                oldest = Some((&sighting.path, sighting.first_seen));
            }
        }
        let oldest = oldest.map(|(path, first_seen)| (path.to_owned(), first_seen));
        self.note_vitals(|vitals| {
            [vitals.settling, vitals.waiting, vitals.retrying] = counts;
            vitals.oldest_wait = oldest;
            vitals.failing = result.as_ref().err().map(IntakeError::to_string);
            vitals.scan_finished = Some(Utc::now().timestamp_micros());
            vitals.scan_finished_at = Some(Instant::now());
        });
    }

    /// Takes settled files in batches. Answers those that must wait for the publication of their twins.
    fn take_all(
        &self,
        settled: &[Arrival],
        looks: &mut Looks,
        now: DateTime<Utc>,
        report: &mut ScanReport,
    ) -> Result<Vec<Arrival>, IntakeError> {
        let mut later = Vec::new();
        let mut shots = 0;
        for (number, arrival) in settled.iter().enumerate() {
            match self.take(arrival, now) {
                Ok(Taken::Staged { shots: staged, .. }) => {
                    shots += staged;
                    looks.forget(&arrival.path);
                }
                Ok(Taken::Done(FileOutcome::Duplicate { .. })) => {
                    report.duplicates += 1;
                    looks.forget(&arrival.path);
                }
                Ok(Taken::Done(FileOutcome::Quarantined { .. })) => {
                    report.quarantined += 1;
                    looks.forget(&arrival.path);
                }
                Ok(Taken::Done(_)) => {}
                Ok(Taken::Unfinished { note }) => {
                    looks.explain(&arrival.path, SightingState::Settling, note.clone());
                    looks.unfinished.insert(crate::names::text_of(&arrival.path), note);
                }
                Ok(Taken::Later) => later.push(arrival.clone()),
                // The ledger is our memory: without it nothing may go on.
                Err(IntakeError::Ledger(error)) => return Err(error.into()),
                Err(error) => {
                    let message = error.to_string();
                    tracing::debug!(file = %arrival.path.display(), error = %message, "a file is tried again later");
                    looks.explain(&arrival.path, SightingState::Retrying, message.clone());
                    report.note_trouble(&arrival.path, message);
                }
            }
            self.tell(ProgressStep::Reading, number + 1, settled.len(), shots);
            if (number + 1) % BATCH == 0 {
                self.publish_and_archive(now, report)?;
            }
        }
        self.publish_and_archive(now, report)?;
        Ok(later)
    }

    /// Imports files and folders that a person names, without waiting for them to settle. A file outside the import folders
    /// is copied and stays where it is.
    pub fn import_now(
        &self,
        paths: &[PathBuf],
        now: DateTime<Utc>,
    ) -> Result<Vec<(PathBuf, FileOutcome)>, IntakeError> {
        let mut looks = self.turn();
        let mut report = ScanReport::default();
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
        let mut shots = 0;
        let mut pending: Vec<(Arrival, Taken)> = Vec::new();
        for (number, arrival) in arrivals.into_iter().enumerate() {
            let taken = self.take_or_tell(&arrival, now)?;
            if let Taken::Staged { shots: staged, .. } = &taken {
                shots += staged;
            }
            pending.push((arrival, taken));
            self.tell(ProgressStep::Reading, number + 1, total, shots);
            if (number + 1) % BATCH == 0 {
                self.publish_and_archive(now, &mut report)?;
            }
        }
        self.publish_and_archive(now, &mut report)?;
        for (arrival, mut taken) in pending {
            if matches!(taken, Taken::Later) {
                taken = self.take_or_tell(&arrival, now)?;
            }
            looks.forget(&arrival.path);
            let outcome = self.outcome_of(taken, &report)?;
            outcomes.push((arrival.path, outcome));
        }
        Ok(outcomes)
    }

    fn take_or_tell(&self, arrival: &Arrival, now: DateTime<Utc>) -> Result<Taken, IntakeError> {
        match self.take(arrival, now) {
            Err(IntakeError::Ledger(error)) => Err(error.into()),
            Err(error) => Ok(Taken::Done(FileOutcome::Failed { message: error.to_string() })),
            Ok(taken) => Ok(taken),
        }
    }

    /// What to tell about a taken file once publication has been tried.
    pub(crate) fn outcome_of(&self, taken: Taken, report: &ScanReport) -> Result<FileOutcome, IntakeError> {
        let source_file_id = match taken {
            Taken::Done(outcome) => return Ok(outcome),
            Taken::Unfinished { note } => return Ok(FileOutcome::Waiting { note }),
            Taken::Later => return Ok(FileOutcome::Waiting { note: "its rows wait for publication".to_owned() }),
            Taken::Staged { source_file_id, .. } => source_file_id,
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
                })
            }
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
                    keep_source: self.settings.folder_of(path).is_none(),
                    patient: false,
                    named: true,
                });
                Ok(())
            }
            Some(stat) if stat.kind == EntryKind::Folder => {
                for entry in self.files.list(path).map_err(|error| error.to_string())? {
                    if !matches!(entry.kind, EntryKind::Link | EntryKind::Other) && !is_temporary(&entry.name) {
                        self.gather(&entry.path, arrivals)?;
                    }
                }
                Ok(())
            }
            Some(_) => {
                Err(format!("{} is neither a file nor a folder\nhint: name the file a link points to", path.display()))
            }
            None => Err(format!("{} does not exist\nhint: check the spelling", path.display())),
        }
    }
}
