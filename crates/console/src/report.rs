//! The state of one home at one moment.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono_tz::Tz;
use lake::{Lake, LakeError};
use ledger::{Alert, Counts, DigestMade, FileEntry, JobRun, Ledger, LedgerError, Sighting, SightingState};

use crate::concern::Findings;
use crate::refused::Refused;
use crate::upkeep::Upkeep;
use crate::words::Clock;
use crate::{Concerns, DaemonVitals};

/// So many sightings, and so many refused files, are kept in a report: enough for every surface, and bounded in a flood.
const MOST_KEPT: usize = 200;
/// So many refused files are looked at for the alerts.
const MOST_REFUSED: u32 = 500;
/// Files imported last that are shown.
const RECENT: u32 = 8;
/// Refused files that are shown with all their names and what was proposed.
const IN_DETAIL: usize = 8;
/// Summaries that are kept.
const SUMMARIES: usize = 8;

/// How much of a dataset is published.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DatasetSize {
    /// Name of the dataset.
    pub dataset: String,
    /// Files, one a partition.
    pub files: usize,
    /// Rows over all files.
    pub rows: i64,
    /// Bytes over all files.
    pub bytes: i64,
}

/// Free space of one volume of the home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VolumeSpace {
    /// The folders of the home that lie on it, for example `archive` and `lake`.
    pub holds: Vec<String>,
    /// Kind of file system, for example `ext4`.
    pub kind: String,
    /// Bytes that may still be written.
    pub free_bytes: u64,
    /// Less is free than intake needs.
    pub is_low: bool,
}

/// What a report is gathered from.
#[derive(Debug)]
pub struct Sources<'a> {
    /// Name and version of the program.
    pub program: &'a str,
    /// The site's id, where it is known.
    pub site_id: Option<String>,
    /// The site's name for people.
    pub site_name: String,
    /// Zone in which times are shown.
    pub zone: Tz,
    /// The moment, UTC microseconds since 1970.
    pub now: i64,
    /// Process that holds the home's lock, where the daemon runs.
    pub daemon: Option<u32>,
    /// What the daemon tells about itself, or told last.
    pub vitals: Option<DaemonVitals>,
    /// The ledger, or why it cannot be opened; `None` where nothing was imported yet.
    pub ledger: Result<Option<&'a Ledger>, String>,
    /// The lake, where it can be opened.
    pub lake: Option<&'a Lake>,
    /// From then on a file or folder that stays as it is wants a person.
    pub waiting_too_long: Duration,
    /// Faults of configuration, head profiles, roster and packs as they are written now, with place and hint.
    pub configuration_faults: Vec<String>,
    /// Faults of packs that are left out.
    pub pack_faults: Vec<String>,
    /// Free space of the home's volumes.
    pub volumes: Vec<VolumeSpace>,
}

/// The state of one home at one moment.
#[derive(Debug, Clone)]
pub struct StatusReport {
    /// Name and version of the program.
    pub program: String,
    /// The site's id, where it is known.
    pub site_id: Option<String>,
    /// Name of the site.
    pub site_name: String,
    /// Zone in which times are shown.
    pub zone: Tz,
    /// The moment, UTC microseconds since 1970.
    pub at: i64,
    /// Process that holds the home's lock, where the daemon runs.
    pub daemon: Option<u32>,
    /// What the daemon tells about itself, or told last.
    pub vitals: Option<DaemonVitals>,
    /// What wants a person, gravest first.
    pub concerns: Concerns,
    /// Why the ledger cannot be read, or what of it.
    pub ledger_fault: Option<String>,
    /// Why the lake cannot be read.
    pub lake_fault: Option<String>,
    /// Faults of what people wrote, in full; they may quote a line of the roster, so they are for the people of the site.
    pub configuration_faults: Vec<String>,
    /// Faults of packs that are left out, in full.
    pub pack_faults: Vec<String>,
    /// Counts of files and rows.
    pub counts: Counts,
    /// Files and folders that wait, those that wait too long first; not more than some hundreds.
    pub sightings: Vec<Sighting>,
    /// Files in quarantine, newest first; not more than some hundreds.
    pub quarantined: Vec<Refused>,
    /// Files imported last, newest first.
    pub recent: Vec<FileEntry>,
    /// Last run of each job.
    pub runs: BTreeMap<String, JobRun>,
    /// The lake's generation.
    pub generation: Option<i64>,
    /// Published datasets.
    pub datasets: Vec<DatasetSize>,
    /// Summaries written, newest first.
    pub summaries: Vec<DigestMade>,
    /// What IT was told and what has not mended yet.
    pub alerts: Vec<Alert>,
    /// Free space of the home's volumes.
    pub volumes: Vec<VolumeSpace>,
    /// What the people of the site have to look after.
    pub upkeep: Upkeep,
}

impl StatusReport {
    /// Reads ledger and manifest. Whatever cannot be read is told as a fault, and the rest stands all the same. Blocks.
    pub fn gather(sources: Sources<'_>) -> StatusReport {
        let mut report = StatusReport {
            program: sources.program.to_owned(),
            site_id: sources.site_id,
            site_name: sources.site_name,
            zone: sources.zone,
            at: sources.now,
            daemon: sources.daemon,
            vitals: sources.vitals,
            concerns: Concerns::default(),
            ledger_fault: None,
            lake_fault: None,
            configuration_faults: sources.configuration_faults,
            pack_faults: sources.pack_faults,
            counts: Counts::default(),
            sightings: Vec::new(),
            quarantined: Vec::new(),
            recent: Vec::new(),
            runs: BTreeMap::new(),
            generation: None,
            datasets: Vec::new(),
            summaries: Vec::new(),
            alerts: Vec::new(),
            volumes: sources.volumes,
            upkeep: Upkeep::default(),
        };
        let mut refused = Vec::new();
        match sources.ledger {
            Ok(Some(ledger)) => {
                if let Err(error) = report.read_ledger(ledger, &mut refused) {
                    report.ledger_fault = Some(error.to_string());
                }
            }
            Ok(None) => {}
            Err(fault) => report.ledger_fault = Some(fault),
        }
        if let Some(lake) = sources.lake
            && let Err(error) = report.read_lake(lake)
        {
            report.lake_fault = Some(error.to_string());
        }
        report.concerns = Findings {
            now: report.at,
            daemon: report.daemon,
            vitals: report.vitals.as_ref(),
            ledger_fault: report.ledger_fault.as_deref(),
            lake_fault: report.lake_fault.as_deref(),
            configuration_faults: &report.configuration_faults,
            pack_faults: &report.pack_faults,
            sightings: &report.sightings,
            quarantined: &refused,
            in_quarantine: usize::try_from(report.counts.quarantined).unwrap_or(0),
            runs: &report.runs,
            volumes: &report.volumes,
            waiting_too_long: sources.waiting_too_long,
        }
        .judge();
        // Only now: a concern is judged by all of them.
        report.sightings.sort_by_key(|sighting| (rank(sighting.state), sighting.first_seen));
        report.sightings.truncate(MOST_KEPT);
        report
    }

    fn read_ledger(&mut self, ledger: &Ledger, refused: &mut Vec<FileEntry>) -> Result<(), LedgerError> {
        self.counts = ledger.counts()?;
        self.sightings = ledger.sightings()?;
        *refused = ledger.newest_quarantined(MOST_REFUSED)?;
        for (position, file) in refused.iter().take(MOST_KEPT).enumerate() {
            let mut shown = Refused::of(file.clone());
            if position < IN_DETAIL {
                shown.names = ledger.names_of(&file.source_file_id)?;
                shown.read_reason();
            }
            self.quarantined.push(shown);
        }
        for run in ledger.last_run_of_each_job()? {
            self.runs.insert(run.start.job.clone(), run);
        }
        self.recent = ledger.recent_files(RECENT)?;
        self.alerts = ledger.alerts()?;
        self.summaries = ledger.digests()?;
        self.summaries.sort_by_key(|made| std::cmp::Reverse(made.made_at));
        self.summaries.truncate(SUMMARIES);
        Ok(())
    }

    fn read_lake(&mut self, lake: &Lake) -> Result<(), LakeError> {
        let manifest = lake.manifest()?;
        let mut sizes: BTreeMap<String, DatasetSize> = BTreeMap::new();
        for file in &manifest.files {
            let size = sizes.entry(file.dataset.clone()).or_insert_with(|| DatasetSize {
                dataset: file.dataset.clone(),
                files: 0,
                rows: 0,
                bytes: 0,
            });
            size.files += 1;
            size.rows += file.rows;
            size.bytes += file.bytes;
        }
        self.generation = Some(manifest.generation);
        self.datasets = sizes.into_values().collect();
        Ok(())
    }

    /// Adds what the people of the site have to look after.
    #[must_use]
    pub fn with_upkeep(mut self, upkeep: Upkeep) -> StatusReport {
        self.upkeep = upkeep;
        self
    }

    /// Whether new files are taken as they should be: nothing impairs it, and a daemon that is here says that it runs.
    pub fn is_ready(&self) -> bool {
        self.concerns.impairing().next().is_none() && self.phase_fault().is_none()
    }

    /// Why the daemon is not ready though nothing is wrong.
    pub(crate) fn phase_fault(&self) -> Option<&'static str> {
        use crate::Phase;
        match self.vitals.as_ref().map(|vitals| vitals.phase) {
            Some(Phase::Running) => None,
            Some(Phase::Starting) => Some("it still starts"),
            Some(Phase::Stopping | Phase::Stopped) => Some("it stops"),
            None => Some("the daemon does not run"),
        }
    }

    /// How long the path that waits longest, too long or unreadable, has been waiting: microseconds.
    pub fn oldest_wait(&self) -> Option<i64> {
        let waiting = self.sightings.iter().filter(|sighting| sighting.state != SightingState::Settling);
        waiting.map(|sighting| self.at.saturating_sub(sighting.first_seen).max(0)).max()
    }

    pub(crate) fn clock(&self) -> Clock {
        Clock { zone: self.zone, now: self.at }
    }
}

fn rank(state: SightingState) -> u8 {
    match state {
        SightingState::Waiting => 0,
        SightingState::Retrying => 1,
        SightingState::Settling => 2,
    }
}
