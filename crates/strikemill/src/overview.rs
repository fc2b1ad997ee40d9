//! The state of a home, gathered the same way for the command, for the status page and for the alerts.

use std::path::Path;
use std::time::Duration;

use chrono::Utc;
use console::{DaemonVitals, Sources, StatusReport, VolumeSpace};
use files::Files;
use lake::Lake;
use ledger::{InstanceLock, Ledger};

use crate::config::Configuration;
use crate::studio::{Studio, WRITER, Written};

/// The folders of a home whose volumes must not fill up.
const KEPT_FOLDERS: [&str; 4] = ["archive", "quarantine", "state", "lake"];
/// Where the configuration cannot be read, what it would say where it said nothing.
const WAITING_TOO_LONG: Duration = Duration::from_mins(15);

/// As the daemon sees its home. Blocks.
pub fn seen_by_daemon(studio: &Studio, vitals: DaemonVitals) -> StatusReport {
    let configuration = &studio.configuration;
    StatusReport::gather(Sources {
        program: WRITER,
        site_id: Some(configuration.site_id.clone()),
        site_name: configuration.site_name.clone(),
        zone: configuration.zone,
        now: Utc::now().timestamp_micros(),
        daemon: Some(std::process::id()),
        vitals: Some(vitals),
        ledger: Ok(Some(&studio.ledger)),
        lake: Some(&studio.lake),
        waiting_too_long: configuration.waiting_too_long,
        // Those that count stand in the vitals: the daemon works by what it has read, not by what is written now.
        configuration_faults: Vec::new(),
        pack_faults: Vec::new(),
        volumes: volumes(&configuration.home, configuration.least_free),
    })
}

/// A home as somebody sees it who only looks, with what people wrote where that is sound.
pub struct Seen {
    pub report: StatusReport,
    pub written: Option<Written>,
    pub ledger: Option<Ledger>,
    pub lake: Option<Lake>,
}

/// Looks at a home beside its daemon, or without one. Nothing is written, and whatever can be told is told.
pub fn seen_from_outside(home: &Path) -> anyhow::Result<Seen> {
    let state = home.join("state");
    let ledger_path = state.join("ledger.sqlite");
    let exists = ledger_path.try_exists();
    let configuration = Configuration::load(home).ok();
    if configuration.is_none() && matches!(exists, Ok(false)) {
        anyhow::bail!(
            "{} holds neither a sound configuration nor a ledger\nhint: name the home with --home DIR; `strikemill check` \
             shows the faults of its configuration",
            home.display()
        );
    }
    let (written, faults) = match Written::load(home) {
        Ok(written) => (Some(written), Vec::new()),
        Err(faults) => (None, faults),
    };
    let mut again = true;
    loop {
        let daemon = InstanceLock::holder(&state);
        let opened = match &exists {
            Ok(_) => Ledger::open_to_read(&ledger_path).map_err(|error| error.to_string()),
            Err(error) => Err(format!(
                "the ledger {} cannot be looked at: {error}\nhint: ask as the account that strikemill runs under",
                ledger_path.display()
            )),
        };
        let unrepaired = configuration.as_ref().and_then(|sound| {
            let unrepaired = crate::repair_note::refuse_unrepaired(sound).err();
            unrepaired.or_else(|| crate::repair_note::refuse_other_home(sound).err())
        });
        let (ledger, fault) = match opened {
            Ok(ledger) => (ledger, unrepaired.map(|error| error.to_string())),
            Err(fault) => (None, Some(fault)),
        };
        let bound = ledger.as_ref().and_then(|ledger| ledger.site().ok().flatten());
        let site_id = configuration.as_ref().map(|configuration| configuration.site_id.clone()).or(bound);
        let lake = site_id.as_ref().and_then(|site_id| {
            Lake::open_to_read(Files::new(), &home.join("lake"), &state.join("staging"), site_id).ok()
        });
        let shown = configuration.as_ref().map(|configuration| configuration.site_name.clone());
        let report = StatusReport::gather(Sources {
            program: WRITER,
            site_name: shown.or_else(|| site_id.clone()).unwrap_or_else(|| home.display().to_string()),
            site_id,
            zone: configuration.as_ref().map_or(chrono_tz::UTC, |configuration| configuration.zone),
            now: Utc::now().timestamp_micros(),
            daemon,
            // What another process than the one that holds the home left behind is no longer true.
            vitals: DaemonVitals::read(&state).filter(|vitals| daemon.is_none_or(|holder| holder == vitals.process)),
            ledger: fault.map_or(Ok(ledger.as_ref()), Err),
            lake: lake.as_ref(),
            waiting_too_long: configuration.as_ref().map_or(WAITING_TOO_LONG, |found| found.waiting_too_long),
            configuration_faults: faults.clone(),
            pack_faults: written.as_ref().map_or_else(Vec::new, |written| written.pack_faults.clone()),
            volumes: volumes(home, configuration.as_ref().map_or(0, |configuration| configuration.least_free)),
        });
        // A ledger at rest is read as the file it is; a daemon that starts writing at that very moment spoils one reading.
        if report.ledger_fault.is_none() || !std::mem::take(&mut again) {
            return Ok(Seen { report, written, ledger, lake });
        }
    }
}

/// Free space of the volumes of a home, one entry a volume.
fn volumes(home: &Path, least_free: u64) -> Vec<VolumeSpace> {
    // A handle of its own: what is looked at here is no progress of intake.
    let files = Files::new();
    let mut found: Vec<(u64, VolumeSpace)> = Vec::new();
    for folder in KEPT_FOLDERS {
        let Ok(Some(volume)) = files.volume_to_be(&home.join(folder)) else { continue };
        match found.iter_mut().find(|(device, _)| *device == volume.device) {
            Some((_, space)) => space.holds.push(folder.to_owned()),
            None => found.push((
                volume.device,
                VolumeSpace {
                    holds: vec![folder.to_owned()],
                    kind: volume.kind,
                    free_bytes: volume.free_bytes,
                    is_low: volume.free_bytes < least_free,
                },
            )),
        }
    }
    found.into_iter().map(|(_, space)| space).collect()
}
