//! Publishing what is staged, and finishing what was left in flight. A scan and a restart run the very same code.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use lake::{Provenance, PublishReport, Segment};
use ledger::{FileEntry, FileState, PartitionGeneration};

use crate::names::hash12;
use crate::report::{ProgressStep, ScanReport};
use crate::{Intake, IntakeError};

impl Intake {
    /// Brings ledger, staging and lake into step. Nothing else works on them meanwhile: the caller has the turn.
    pub(crate) fn finish_in_flight(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        // Nothing is being read now, so a claim is what a crash left behind; its file is still where it was.
        for entry in self.ledger.files_in_state(FileState::Claimed)? {
            self.ledger.release_claim(&entry.source_file_id)?;
        }
        let staged = self.ledger.files_in_state(FileState::Staged)?;
        for damaged in self.lake.set_aside_damaged_segments()? {
            // Its entry is among those below whose segment is gone: the file is read again.
            let folder = damaged.folder.display();
            tracing::warn!(%folder, problem = %damaged.problem, "a staged segment was damaged and is set aside");
        }
        let segments = self.lake.segments()?;
        let is_of = |segment: &Segment, entry: &FileEntry| {
            segment.header.source_file_id == entry.source_file_id
                && Some(segment.header.import_sequence) == entry.import_sequence
        };
        for segment in &segments {
            // Staged but never noted, or published and noted but not yet cleared away.
            if !staged.iter().any(|entry| is_of(segment, entry)) {
                self.lake.discard_segment(segment)?;
            }
        }
        for entry in &staged {
            if !segments.iter().any(|segment| is_of(segment, entry)) {
                let (file_id, file) = (hash12(&entry.source_file_id), files::readable_text(&entry.first_name));
                tracing::warn!(file_id, file, "its segment is gone from staging; the file is read again");
                self.ledger.unstage(&entry.source_file_id)?;
                // Back to a bare claim, if it was a new file: the scan finds it where it stands.
                self.ledger.release_claim(&entry.source_file_id)?;
            }
        }
        self.publish_and_archive(now, report)
    }

    /// Publishes everything that is staged, amends, and archives everything that is published. What the lake or a disk refuses
    /// stands in the report and is tried again.
    pub(crate) fn publish_and_archive(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        if self.publish_or_tell(now, report)?
            && let Err(error) = self.amend_published(now, report)
        {
            self.tell_trouble_of_lake(error, "published rows cannot be amended yet", report)?;
        }
        self.archive_published(now, report)
    }

    /// Whether everything that was staged is published.
    pub(crate) fn publish_or_tell(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<bool, IntakeError> {
        if self.stop.is_stopping() || report.paused.is_some() {
            return Ok(false);
        }
        if let Some(why) = self.shortage(0) {
            self.pause(report, why);
            return Ok(false);
        }
        match self.publish_staged(now, report) {
            Ok(()) => {
                report.publication_failed = None;
                Ok(true)
            }
            Err(error) => {
                report.publication_failed = Some(format!("rows of other files cannot be published yet: {error}"));
                self.tell_trouble_of_lake(error, "staged rows cannot be published yet", report)?;
                Ok(false)
            }
        }
    }

    fn tell_trouble_of_lake(&self, error: IntakeError, what: &str, report: &mut ScanReport) -> Result<(), IntakeError> {
        if matches!(error, IntakeError::Ledger(_)) {
            return Err(error);
        }
        self.pause_if_full(report, &error);
        let message = error.to_string();
        tracing::debug!(error = %message, "{what}");
        report.note_trouble(&self.settings.lake_dir, message);
        Ok(())
    }

    fn publish_staged(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        let staged = self.ledger.files_in_state(FileState::Staged)?;
        if staged.is_empty() {
            return Ok(());
        }
        let mut segments_by_import: HashMap<(String, i64), Segment> = HashMap::new();
        for segment in self.lake.segments()? {
            segments_by_import.insert((segment.header.source_file_id.clone(), segment.header.import_sequence), segment);
        }
        let mut segments = Vec::new();
        let mut source_file_ids = Vec::new();
        let mut retracted = Vec::new();
        let (mut shots, mut rejected) = (0, 0);
        for entry in &staged {
            let Some(import_sequence) = entry.import_sequence else { continue };
            // One that is missing is dealt with when the next round begins.
            let key = (entry.source_file_id.clone(), import_sequence);
            let Some(segment) = segments_by_import.remove(&key) else { continue };
            segments.push(segment);
            source_file_ids.push(entry.source_file_id.clone());
            if entry.replaces_rows {
                retracted.push(entry.source_file_id.clone());
            }
            shots += entry.rows_accepted - entry.marks_accepted;
            rejected += entry.rows_rejected;
        }
        self.tell(ProgressStep::Publishing, 0, segments.len(), shots);
        self.demand_amending();
        let published = self.lake.publish(&segments, &retracted, &provenance(&segments, now))?;
        self.ledger.mark_published(&source_file_ids, &generations(&published), now.timestamp_micros())?;
        report.files_published += segments.len();
        report.shots += shots;
        report.rejected += rejected;
        report.generation = Some(published.generation);
        self.note_vitals(|vitals| vitals.last_publication = Some(now.timestamp_micros()));
        for segment in &segments {
            let (header, file_id) = (&segment.header, hash12(&segment.header.source_file_id));
            let file = files::readable_text(&header.file_name);
            tracing::debug!(file_id, file, generation = published.generation, "its rows are published");
        }
        tracing::info!(files = segments.len(), shots, generation = published.generation, "published");
        self.tell(ProgressStep::Publishing, segments.len(), segments.len(), shots);
        for segment in &segments {
            self.lake.discard_segment(segment)?;
        }
        Ok(())
    }
}

fn provenance(segments: &[Segment], now: DateTime<Utc>) -> Provenance {
    let sequences = segments.iter().map(|segment| segment.header.import_sequence);
    let (first, last) = (sequences.clone().min().unwrap_or(0), sequences.max().unwrap_or(0));
    Provenance {
        writer: writer(),
        run_id: format!("import-{first}-{last}"),
        created_micros: now.timestamp_micros(),
        extra: Vec::new(),
    }
}

/// Name and version of this program, as files carry it.
pub(crate) fn writer() -> String {
    format!("strikemill {}", env!("CARGO_PKG_VERSION"))
}

fn generations(published: &PublishReport) -> Vec<PartitionGeneration> {
    let changed = published.partitions.iter();
    changed
        .map(|partition| PartitionGeneration {
            dataset: partition.dataset.clone(),
            month: partition.month.map_or_else(String::new, |month| month.to_string()),
            generation: partition.generation,
            rows: partition.rows,
        })
        .collect()
}
