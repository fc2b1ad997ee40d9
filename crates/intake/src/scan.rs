//! The round that a scan makes.

use std::time::Instant;

use chrono::{DateTime, Utc};
use ledger::SightingState;

use crate::arrival::Arrival;
use crate::import::Taken;
use crate::looks::Looks;
use crate::report::{FileOutcome, ProgressStep, ScanReport};
use crate::{Intake, IntakeError, Moment};

/// What is staged and waits for its publication.
#[derive(Debug, Default)]
pub(crate) struct Batch {
    files: usize,
    rows: i64,
}

impl Batch {
    pub(crate) fn add(&mut self, taken: &Taken) {
        if let Taken::Staged { rows, .. } = taken {
            self.files += 1;
            self.rows += rows;
        }
    }
}

impl Intake {
    /// Finishes whatever a crash or a failed step left in flight. Doing it twice does nothing more. Every scan begins with
    /// the same.
    pub fn recover(&self, now: DateTime<Utc>) -> Result<ScanReport, IntakeError> {
        let _turn = self.turn();
        let mut report = ScanReport::default();
        if let Err(error) = self.remove_unfinished(now) {
            // They are in nobody's way; the next start tries again.
            tracing::warn!(error = %error, "cannot remove what a crash left half written");
        }
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
        if self.vitals().failing.is_some() {
            // Reading may still work where writing does not: only a write shows that the ledger is well again.
            self.ledger.remember("intake.works_again", &now.wall.timestamp_micros().to_string())?;
        }
        if let Some(why) = self.shortage(0) {
            self.pause(&mut report, why);
        }
        self.refresh_basis(now.wall, &mut report)?;
        self.finish_in_flight(now.wall, &mut report)?;
        self.bring_back_grown(now, &mut report)?;
        let settled = self.look(looks, now, &mut report)?;
        let mut later = self.take_all(&settled, looks, now.wall, &mut report)?;
        if !later.is_empty() {
            // Files that repeat the bytes of a file of this very scan: by now that one is published.
            later = self.take_all(&later, looks, now.wall, &mut report)?;
        }
        for arrival in later {
            looks.explain(&arrival.path, SightingState::Retrying, "its rows wait for publication");
        }
        report.stopped |= self.stop.is_stopping();
        self.note_sightings(looks, now, &mut report)?;
        self.end_pause(&report);
        Ok(report)
    }

    /// What a scan that ended says about how intake is doing. A failure is told when it begins and when it ends, not at every
    /// attempt.
    fn note_scan(&self, looks: &Looks, result: &Result<ScanReport, IntakeError>) {
        let counts = looks.counts();
        let oldest_wait = looks.oldest_wait();
        let failing = result.as_ref().err().map(IntakeError::to_string);
        let mut failed_before = false;
        self.note_vitals(|vitals| {
            failed_before = vitals.failing.is_some();
            [vitals.settling, vitals.waiting, vitals.retrying] = counts;
            vitals.oldest_wait = oldest_wait;
            vitals.failing.clone_from(&failing);
            if let Err(error) = result
                && crate::room::is_full(error)
            {
                vitals.paused = Some(format!("intake pauses: {error}"));
            }
            vitals.scan_finished = Some(Utc::now().timestamp_micros());
            vitals.scan_finished_at = Some(Instant::now());
        });
        match failing {
            Some(error) if !failed_before => {
                tracing::error!(
                    "intake cannot work, no file is taken until this is mended; it is tried again: {error}"
                );
            }
            Some(error) => tracing::debug!(error = %error, "intake still cannot work"),
            None if failed_before => tracing::info!("intake works again"),
            None => {}
        }
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
        let (mut shots, mut batch) = (0, Batch::default());
        for (number, arrival) in settled.iter().enumerate() {
            if let Some(why) = self.reason_to_end(report) {
                for waiting in &settled[number..] {
                    looks.explain(&waiting.path, SightingState::Settling, why.clone());
                }
                break;
            }
            if let Some(why) = self.shortage(arrival.bytes) {
                // For this file there is too little room; smaller ones may still find enough.
                looks.explain(&arrival.path, SightingState::Retrying, why.clone());
                report.note_trouble(&arrival.path, why);
                continue;
            }
            let taken = self.take(arrival, now);
            if let Ok(taken) = &taken {
                batch.add(taken);
            }
            match taken {
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
                Ok(Taken::Done(FileOutcome::Waiting { note })) => {
                    looks.explain(&arrival.path, SightingState::Settling, note);
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
                    let file = files::readable_path(&arrival.path);
                    tracing::debug!(file, error = %message, "a file is tried again later");
                    self.pause_if_full(report, &error);
                    looks.explain(&arrival.path, SightingState::Retrying, message.clone());
                    report.note_trouble(&arrival.path, message);
                }
            }
            self.tell(ProgressStep::Reading, number + 1, settled.len(), shots);
            self.publish_if_full(&mut batch, now, report)?;
        }
        self.publish_and_archive(now, report)?;
        Ok(later)
    }

    /// Why no further file may be taken in this round.
    fn reason_to_end(&self, report: &ScanReport) -> Option<String> {
        if self.stop.is_stopping() {
            return Some("strikemill is stopping; it is taken after the next start".to_owned());
        }
        // What cannot be published would only pile up in staging.
        report.paused.clone().or_else(|| report.publication_failed.clone())
    }

    /// Publishes what is staged once it is enough: one partition is then written once for many files, and what must be held
    /// in memory, or done again after a crash, stays bounded. Amending waits for the last batch.
    pub(crate) fn publish_if_full(
        &self,
        batch: &mut Batch,
        now: DateTime<Utc>,
        report: &mut ScanReport,
    ) -> Result<(), IntakeError> {
        let limits = self.settings.batch;
        if batch.files < limits.files && batch.rows < limits.rows {
            return Ok(());
        }
        *batch = Batch::default();
        if self.publish_or_tell(now, report)? {
            self.archive_published(now, report)?;
        }
        Ok(())
    }
}
