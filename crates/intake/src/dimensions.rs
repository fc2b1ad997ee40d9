//! The datasets that describe rather than record: players, clubs, devices.

use std::collections::HashSet;

use arrow::array::{AsArray, BooleanArray, RecordBatch};
use arrow::compute::filter_record_batch;
use chrono::{DateTime, Utc};
use lake::{Provenance, Replacement};
use ledger::PartitionGeneration;
use shot::DeviceRow;

use crate::finish::writer;
use crate::report::ScanReport;
use crate::{Intake, IntakeError};

impl Intake {
    /// Publishes players, clubs and devices as roster and packs stand now, in one generation. What has not changed stays
    /// untouched, so that no job runs for nothing. Called at start and after the roster or a pack changed.
    pub fn publish_dimensions(&self, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let _turn = self.turn();
        self.replace_dimensions(now, &mut ScanReport::default())
    }

    /// The same for a caller that has the turn.
    pub(crate) fn replace_dimensions(&self, now: DateTime<Utc>, report: &mut ScanReport) -> Result<(), IntakeError> {
        let roster = self.roster();
        let site_id = &self.settings.site_id;
        let devices: Vec<DeviceRow> = self.packs.packs().iter().flat_map(formats::Pack::devices).collect();
        let devices =
            shot::devices_batch(site_id, &devices).map_err(|cause| IntakeError::Rows { dataset: "devices", cause })?;
        let mut device_rows = self.retired_devices(&devices)?;
        device_rows.push(devices);
        let tables = [
            (shot::players(), vec![roster.players_batch(site_id)?]),
            (shot::clubs(), vec![roster.clubs_batch(site_id)?]),
            (shot::devices(), device_rows),
        ];
        let mut replacements = Vec::new();
        for (schema, batches) in tables {
            replacements.push(Replacement { schema, month: None, batches });
        }
        let at = now.timestamp_micros();
        let provenance =
            Provenance { writer: writer(), run_id: format!("dimensions-{at}"), created_micros: at, extra: Vec::new() };
        let changes = self.lake.replace_many(&replacements, &provenance)?;
        let mut generations = Vec::new();
        for change in changes.into_iter().filter(|change| !change.unchanged) {
            report.amended += 1;
            report.generation = Some(change.generation);
            generations.push(PartitionGeneration {
                dataset: change.dataset,
                month: String::new(),
                generation: change.generation,
                rows: change.rows,
            });
        }
        Ok(self.ledger.record_generations(&generations, at)?)
    }

    /// Published rows of packs or versions that are no longer installed: shots in the lake still rest on them.
    fn retired_devices(&self, installed: &RecordBatch) -> Result<Vec<RecordBatch>, IntakeError> {
        let broken = |cause| IntakeError::Rows { dataset: "devices", cause };
        let known: HashSet<(String, String)> = versions(installed).into_iter().collect();
        let mut retired = Vec::new();
        for batch in self.lake.read_partition(&shot::devices(), None)? {
            let keep: BooleanArray =
                versions(&batch).into_iter().map(|version| Some(!known.contains(&version))).collect();
            retired.push(filter_record_batch(&batch, &keep).map_err(broken)?);
        }
        Ok(retired)
    }
}

/// Format and version of each row.
fn versions(batch: &RecordBatch) -> Vec<(String, String)> {
    let text = |name: &str| batch.column_by_name(name).and_then(|column| column.as_string_opt::<i32>());
    let (Some(formats), Some(versions)) = (text("format"), text("format_version")) else { return Vec::new() };
    (0..batch.num_rows()).map(|row| (formats.value(row).to_owned(), versions.value(row).to_owned())).collect()
}
