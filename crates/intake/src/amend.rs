//! Brings published rows into step with roster, corrections and strike marks: one month at a time, only where something
//! changed, and as often as it takes. What is done twice gives the same rows.

use std::collections::{BTreeSet, HashMap};
use std::sync::PoisonError;
use std::sync::atomic::Ordering;

use chrono::{DateTime, Utc};
use lake::{Manifest, Provenance, Replacement};
use ledger::{AmendedMonth, PartitionGeneration};
use shot::{Month, TableSchema};

use crate::corrections_parse::is_hash_prefix;
use crate::effective::Amender;
use crate::finish::writer;
use crate::link_rows::{Links, Noted};
use crate::linked_days::{link_month, name_of_group, strikes_of};
use crate::report::ScanReport;
use crate::shot_columns::with_linked_strikes;
use crate::{Intake, IntakeError};

/// The datasets that are amended, or made of what is.
const CONCERNED: [&str; 3] = ["shots", "strike_marks", "strike_links"];

impl Intake {
    /// From here on some month may be out of step; the next publication looks.
    pub(crate) fn demand_amending(&self) {
        self.amending_due.store(true, Ordering::SeqCst);
    }

    /// Roster and corrections as they are in force, ready to be applied.
    pub(crate) fn amender(&self) -> Result<Amender, IntakeError> {
        Amender::new(&self.basis(), &self.settings.site_id, |text| self.files_meant(text))
    }

    /// The files that a correction means by a name or by the beginning of a hash.
    fn files_meant(&self, text: &str) -> Result<Vec<String>, IntakeError> {
        let mut meant = self.ledger.files_named(text)?;
        if is_hash_prefix(text) {
            let by_hash = self.ledger.files_by_prefix(&text.to_lowercase())?;
            meant.extend(by_hash.into_iter().map(|entry| entry.source_file_id));
        }
        Ok(meant)
    }

    /// Amends every month that is out of step. The caller has the turn, and nothing waits in staging.
    pub(crate) fn amend_published(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        if !self.amending_due.load(Ordering::SeqCst) {
            return Ok(());
        }
        let amender = self.amender()?;
        let manifest = self.lake.manifest()?;
        let mut known: HashMap<String, AmendedMonth> = HashMap::new();
        for month in self.ledger.amended_months()? {
            known.insert(month.month.clone(), month);
        }
        let months: BTreeSet<Month> =
            CONCERNED.iter().flat_map(|dataset| manifest.of_dataset(dataset)).filter_map(|file| file.month).collect();
        let mut amended = 0;
        for month in months {
            if self.stop.is_stopping() {
                return Ok(()); // what is left stays due
            }
            self.note_progress();
            let state = state_of(&manifest, month, amender.fingerprint());
            let noted = known.remove(&state.month);
            if noted.as_ref() != Some(&state) {
                let links_stand = noted.is_some_and(|noted| noted.links_generation == state.links_generation);
                self.amend_month(&amender, &manifest, month, links_stand, now, report)?;
                amended += 1;
            }
        }
        // Months whose rows are all gone: their files were reprocessed into other months, or suppressed.
        for gone in known.keys() {
            self.ledger.forget_amended(gone)?;
        }
        self.amending_due.store(false, Ordering::SeqCst);
        if amended > 0 {
            self.tell_idle_corrections(&amender)?;
        }
        Ok(())
    }

    fn amend_month(
        &self,
        amender: &Amender,
        manifest: &Manifest,
        month: Month,
        links_stand: bool,
        now: DateTime<Utc>,
        report: &mut ScanReport,
    ) -> Result<(), IntakeError> {
        let mut counts: Vec<(String, i64)> = amender.corrections().map(|line| (line.key.clone(), 0)).collect();
        let recorded_shots = self.lake.read_partition(&shot::shots(), Some(month))?;
        let mut shots = Vec::with_capacity(recorded_shots.len());
        for batch in &recorded_shots {
            let amended = amender.shots(batch)?;
            for ((_, count), touched) in counts.iter_mut().zip(amended.touched) {
                *count += touched;
            }
            shots.push(amended.batch);
        }
        let recorded_marks = self.lake.read_partition(&shot::strike_marks(), Some(month))?;
        let mut marks = Vec::with_capacity(recorded_marks.len());
        for batch in &recorded_marks {
            marks.push(amender.marks(batch)?);
        }
        let mut replacements = Vec::new();
        let mut groups = Vec::new();
        let has_marks = marks.iter().any(|batch| batch.num_rows() > 0);
        if has_marks || manifest.file("strike_links", Some(month)).is_some() {
            let noted = self.noted_links(month, links_stand)?;
            let linked = link_month(&shots, &marks, &noted)?;
            let strikes = strikes_of(&linked);
            for batch in &mut shots {
                *batch = with_linked_strikes(batch, &strikes)?;
            }
            let rows = Links::of(&self.settings.site_id, &linked)?;
            for (schema, rows) in [(shot::strike_links(), rows.links), (shot::bay_clocks(), rows.clocks)] {
                replacements.push(Replacement { schema, month: Some(month), batches: vec![rows] });
            }
            groups.extend(linked.iter().map(|group| (name_of_group(&group.key), group.fingerprint.clone())));
        }
        for (schema, before, after) in
            [(shot::shots(), recorded_shots, shots), (shot::strike_marks(), recorded_marks, marks)]
        {
            if before != after || !self.is_as_told(manifest, &schema, month)? {
                replacements.push(Replacement { schema, month: Some(month), batches: after });
            }
        }
        let mut state = state_of(manifest, month, amender.fingerprint());
        if !replacements.is_empty() {
            // A crash from here on leaves no note behind, so that the month is looked at again, come what may.
            self.ledger.forget_amended(&state.month)?;
            let at = now.timestamp_micros();
            let provenance =
                Provenance { writer: writer(), run_id: format!("amend-{at}"), created_micros: at, extra: Vec::new() };
            let changes = self.lake.replace_many(&replacements, &provenance)?;
            let mut generations = Vec::new();
            for change in changes {
                match change.dataset.as_str() {
                    "shots" => state.shots_generation = change.generation,
                    "strike_marks" => state.marks_generation = change.generation,
                    "strike_links" => state.links_generation = change.generation,
                    _ => {}
                }
                if change.unchanged {
                    continue;
                }
                report.amended += 1;
                report.generation = Some(change.generation);
                generations.push(PartitionGeneration {
                    dataset: change.dataset,
                    month: state.month.clone(),
                    generation: change.generation,
                    rows: change.rows,
                });
            }
            tracing::info!(month = %state.month, partitions = generations.len(), "amended");
            self.ledger.record_generations(&generations, at)?;
        }
        Ok(self.ledger.note_amended(&state, &counts, &groups, now.timestamp_micros())?)
    }

    /// What is published of a month's links; nothing where it may not be what the ledger's fingerprints speak of.
    fn noted_links(&self, month: Month, links_stand: bool) -> Result<Noted, IntakeError> {
        if !links_stand {
            return Ok(Noted::default());
        }
        let links = self.lake.read_partition(&shot::strike_links(), Some(month))?;
        let clocks = self.lake.read_partition(&shot::bay_clocks(), Some(month))?;
        Noted::read(self.ledger.linked_groups(&month.to_string())?, &links, &clocks)
    }

    /// Whether the manifest tells of the very file that stands: after an interrupted replacement it does not, and a further
    /// replacement by the same rows puts it right.
    fn is_as_told(&self, manifest: &Manifest, schema: &TableSchema, month: Month) -> Result<bool, IntakeError> {
        let path = self.lake.partition_path(&schema.name, Some(month));
        let stands = self.files.stat(&path)?.is_some();
        match manifest.file(&schema.name, Some(month)) {
            Some(told) if stands => Ok(self.files.sha256_of_file(&path)? == told.sha256),
            Some(_) => Ok(false),
            None => Ok(!stands),
        }
    }

    /// A correction that selects nothing is most often a slip of the pen.
    fn tell_idle_corrections(&self, amender: &Amender) -> Result<(), IntakeError> {
        let counts = self.ledger.correction_counts()?;
        let mut reading = self.reading.lock().unwrap_or_else(PoisonError::into_inner);
        for line in amender.corrections() {
            let is_idle = counts.get(&line.key).is_none_or(|shots| *shots == 0);
            if is_idle && reading.told_idle.insert(line.key.clone()) {
                // Only the line's number: its text may hold a name.
                tracing::warn!(line = line.line, "a line of the corrections selects no shot");
            }
        }
        Ok(())
    }
}

fn state_of(manifest: &Manifest, month: Month, fingerprint: &str) -> AmendedMonth {
    let generation = |dataset| manifest.file(dataset, Some(month)).map_or(0, |file| file.generation);
    AmendedMonth {
        month: month.to_string(),
        fingerprint: fingerprint.to_owned(),
        shots_generation: generation("shots"),
        marks_generation: generation("strike_marks"),
        links_generation: generation("strike_links"),
    }
}
