//! What the rows of the lake tell about the files they came from, and what a reason tells about a refused one.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use arrow::array::{Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use chrono::{DateTime, Utc};
use ledger::{FileEntry, FileState};

use crate::IntakeError;
use crate::kept_files::{KeptFile, ReasonTold};
use crate::names::text_of;
use crate::shot_columns::column;

/// What the rows of a file tell about its import.
#[derive(Debug, Clone, Default)]
pub(crate) struct Trace {
    pub(crate) import_sequence: i64,
    pub(crate) format: String,
    pub(crate) format_version: String,
    pub(crate) imported_at: i64,
    pub(crate) shots: i64,
    pub(crate) marks: i64,
    pub(crate) bays: BTreeSet<Option<String>>,
}

/// Packs of whose files no shot stands and some mark does.
pub(crate) fn packs_of_marks(traces: &BTreeMap<String, Trace>) -> BTreeSet<String> {
    let mut rows: HashMap<&str, (i64, i64)> = HashMap::new();
    for trace in traces.values() {
        let of_pack = rows.entry(&trace.format).or_default();
        of_pack.0 += trace.shots;
        of_pack.1 += trace.marks;
    }
    rows.into_iter().filter(|(_, (shots, marks))| *shots == 0 && *marks > 0).map(|(pack, _)| pack.to_owned()).collect()
}

/// The entry of a refused file.
pub(crate) fn refused_entry(id: &str, file: &KeptFile, told: &ReasonTold, now: DateTime<Utc>) -> FileEntry {
    let at = told.refused_at.unwrap_or_else(|| now.timestamp_micros());
    FileEntry {
        source_file_id: id.to_owned(),
        state: FileState::Quarantined,
        first_name: told.name.clone(),
        folder: told.folder.clone(),
        bytes: file.bytes.cast_signed(),
        format: told.format.clone(),
        format_version: told.format_version.clone(),
        import_sequence: None,
        rows_accepted: 0,
        marks_accepted: 0,
        rows_rejected: 0,
        reason: Some(told.reason.clone()),
        source_path: None,
        keep_source: false,
        replaces_rows: false,
        archive_path: None,
        quarantine_path: Some(text_of(&file.path)),
        claimed_at: at,
        staged_at: None,
        published_at: None,
        archived_at: None,
        quarantined_at: Some(at),
    }
}

/// Adds what a batch tells.
pub(crate) fn add_traces(
    dataset: &'static str,
    batch: &RecordBatch,
    traces: &mut BTreeMap<String, Trace>,
) -> Result<(), IntakeError> {
    let sources: &StringArray = column(dataset, batch, "source_file_id")?;
    let sequences: &Int64Array = column(dataset, batch, "import_sequence")?;
    let formats: &StringArray = column(dataset, batch, "format")?;
    let versions: &StringArray = column(dataset, batch, "format_version")?;
    let instants: &TimestampMicrosecondArray = column(dataset, batch, "imported_at")?;
    let bays: Option<&StringArray> = column(dataset, batch, "bay").ok();
    for row in 0..batch.num_rows() {
        let source = sources.value(row);
        if !traces.contains_key(source) {
            traces.insert(source.to_owned(), Trace::default());
        }
        let Some(trace) = traces.get_mut(source) else { continue };
        if sequences.value(row) >= trace.import_sequence {
            trace.import_sequence = sequences.value(row);
            trace.imported_at = instants.value(row);
            if trace.format_version != versions.value(row) || trace.format != formats.value(row) {
                formats.value(row).clone_into(&mut trace.format);
                versions.value(row).clone_into(&mut trace.format_version);
            }
        }
        match dataset {
            "shots" => trace.shots += 1,
            "strike_marks" => trace.marks += 1,
            _ => {}
        }
        if let Some(bays) = bays
            && trace.bays.len() < 2
        {
            let bay = bays.is_valid(row).then(|| bays.value(row).to_owned());
            trace.bays.insert(bay);
        }
    }
    Ok(())
}
