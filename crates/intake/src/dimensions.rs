//! The datasets that describe rather than record: players, clubs, devices.

use chrono::{DateTime, Utc};
use lake::{Provenance, Replacement};
use ledger::PartitionGeneration;
use shot::DeviceRow;

use crate::finish::writer;
use crate::{Intake, IntakeError};

impl Intake {
    /// Publishes players, clubs and devices as roster and packs stand now, in one generation. What has not changed stays
    /// untouched, so that no job runs for nothing. Called at start and after the roster or a pack changed.
    pub fn publish_dimensions(&self, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let _turn = self.turn();
        let site_id = &self.settings.site_id;
        let devices: Vec<DeviceRow> = self.packs.packs().iter().flat_map(formats::Pack::devices).collect();
        let devices =
            shot::devices_batch(site_id, &devices).map_err(|cause| IntakeError::Rows { dataset: "devices", cause })?;
        let tables = [
            (shot::players(), self.roster.players_batch(site_id)?),
            (shot::clubs(), self.roster.clubs_batch(site_id)?),
            (shot::devices(), devices),
        ];
        let mut replacements = Vec::new();
        for (schema, batch) in tables {
            replacements.push(Replacement { schema, month: None, batches: vec![batch] });
        }
        let at = now.timestamp_micros();
        let provenance =
            Provenance { writer: writer(), run_id: format!("dimensions-{at}"), created_micros: at, extra: Vec::new() };
        let changes = self.lake.replace_many(&replacements, &provenance)?;
        let mut generations = Vec::new();
        for change in changes.into_iter().filter(|change| !change.unchanged) {
            generations.push(PartitionGeneration {
                dataset: change.dataset,
                month: String::new(),
                generation: change.generation,
                rows: change.rows,
            });
        }
        Ok(self.ledger.record_generations(&generations, at)?)
    }
}
