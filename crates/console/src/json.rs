//! The report for programs. Names of players stand nowhere in it: what the people of the site have to look after, which is
//! about players, stands in the text alone.

use ledger::RunOutcome;
use serde_json::{Value, json};

use crate::concern::places;
use crate::words::{one_line, utc};
use crate::{ConcernKind, Phase, StatusReport};

/// Raised when a key changes its meaning or goes; new keys do not raise it.
const FORMAT_VERSION: u32 = 1;

impl StatusReport {
    /// The report as one JSON object; instants are UTC text.
    pub fn to_json(&self) -> Value {
        let counts = &self.counts;
        json!({
            "format_version": FORMAT_VERSION,
            "program": self.program,
            "site": { "id": self.site_id, "name": self.site_name, "zone": self.zone.name() },
            "at": utc(self.at),
            "ready": self.is_ready(),
            "daemon": self.daemon_json(),
            "concerns_total": self.concerns.total(),
            "concerns": self.concerns_json(),
            "files": {
                "claimed": counts.claimed,
                "staged": counts.staged,
                "published": counts.published,
                "archived": counts.archived,
                "quarantined": counts.quarantined,
                "known_under_another_name": counts.duplicates,
            },
            "rows": { "accepted": counts.rows_accepted, "rejected": counts.rows_rejected },
            "import_folders": {
                "settling": counts.settling,
                "waiting": counts.waiting,
                "retrying": counts.retrying,
                "paths": self.sightings_json(),
            },
            "quarantine": self.quarantine_json(),
            "recent": self.recent_json(),
            "jobs": self.jobs_json(),
            "lake": {
                "generation": self.generation,
                "fault": self.lake_fault.as_deref().map(one_line),
                "datasets": self.datasets.iter().map(|size| json!({
                    "dataset": size.dataset, "files": size.files, "rows": size.rows, "bytes": size.bytes,
                })).collect::<Vec<_>>(),
            },
            "ledger": { "fault": self.ledger_fault.as_deref().map(one_line) },
            "configuration": {
                "faults": self.configuration_faults.len(),
                "places": places(&self.configuration_faults).trim_start_matches(": "),
            },
            "volumes": self.volumes.iter().map(|volume| json!({
                "holds": volume.holds, "kind": volume.kind, "free_bytes": volume.free_bytes, "is_low": volume.is_low,
            })).collect::<Vec<_>>(),
            "alerts": self.alerts.iter().map(|alert| json!({
                "subject": alert.about.subject,
                "kind": alert.about.kind,
                "message": alert.about.message,
                "first_at": utc(alert.first_at),
                "told_at": alert.told_at.and_then(utc),
                "mended_at": alert.resolved_at.and_then(utc),
            })).collect::<Vec<_>>(),
            "summaries": self.summaries.iter().map(|made| json!({
                "week": made.week, "coach": made.coach, "path": made.path, "made_at": utc(made.made_at),
            })).collect::<Vec<_>>(),
        })
    }

    fn daemon_json(&self) -> Value {
        let Some(vitals) = &self.vitals else {
            return json!({ "running": self.daemon.is_some(), "process": self.daemon });
        };
        let phase = match vitals.phase {
            _ if self.daemon.is_none() => "down",
            Phase::Starting => "starting",
            Phase::Running => "running",
            Phase::Stopping => "stopping",
            Phase::Stopped => "stopped",
        };
        json!({
            "running": self.daemon.is_some(),
            "process": self.daemon,
            "phase": phase,
            "version": vitals.version,
            "started_at": utc(vitals.started_at),
            "told_at": utc(vitals.written_at),
            "scan_started": vitals.scan_started.and_then(utc),
            "scan_finished": vitals.scan_finished.and_then(utc),
            "last_progress": vitals.last_progress.and_then(utc),
            "last_publication": vitals.last_publication.and_then(utc),
            "schedule_looked_at": vitals.schedule_looked_at.and_then(utc),
            "configured_at": vitals.configured_at.and_then(utc),
            "paused": vitals.paused.as_deref().map(one_line),
            "failing": vitals.failing.as_deref().map(one_line),
            "stalled": vitals.stalled,
        })
    }

    fn concerns_json(&self) -> Vec<Value> {
        let mut concerns = Vec::new();
        for concern in &self.concerns.list {
            concerns.push(json!({
                "kind": concern.kind.word(),
                "subject": concern.subject,
                "message": concern.message,
                "hint": concern.hint,
                "since": concern.since.and_then(utc),
                "impairs": concern.kind.impairs(),
            }));
        }
        concerns
    }

    fn sightings_json(&self) -> Vec<Value> {
        let mut paths = Vec::new();
        for sighting in &self.sightings {
            paths.push(json!({
                "path": sighting.path,
                "state": sighting.state.word(),
                "bytes": sighting.bytes,
                "first_seen": utc(sighting.first_seen),
                "unchanged_since": utc(sighting.stable_since),
                "note": one_line(&sighting.note),
            }));
        }
        paths
    }

    fn quarantine_json(&self) -> Vec<Value> {
        let mut files = Vec::new();
        for refused in &self.quarantined {
            let file = &refused.file;
            files.push(json!({
                "file_id": file.source_file_id,
                "name": file.first_name,
                "further_names": refused.further_names(),
                "folder": file.folder,
                "bytes": file.bytes,
                "refused_at": file.quarantined_at.and_then(utc),
                "reason": refused.reason(),
                "hint": refused.hint,
                "edits": refused.edits,
                "path": file.quarantine_path,
            }));
        }
        files
    }

    fn recent_json(&self) -> Vec<Value> {
        let mut files = Vec::new();
        for file in &self.recent {
            files.push(json!({
                "file_id": file.source_file_id,
                "name": file.first_name,
                "state": file.state.word(),
                "claimed_at": utc(file.claimed_at),
                "rows_accepted": file.rows_accepted,
                "marks_accepted": file.marks_accepted,
                "rows_rejected": file.rows_rejected,
            }));
        }
        files
    }

    fn jobs_json(&self) -> Vec<Value> {
        let mut jobs = Vec::new();
        for (job, run) in &self.runs {
            jobs.push(json!({
                "job": job,
                "outcome": run.outcome.map_or("running", RunOutcome::word),
                "started": utc(run.start.started),
                "finished": run.finished.and_then(utc),
                "rows": run.rows,
            }));
        }
        jobs
    }

    /// Why the daemon is not ready, one line a reason; empty where it is.
    pub fn reasons_not_ready(&self) -> Vec<String> {
        let mut reasons: Vec<String> = Vec::new();
        for concern in self.concerns.impairing() {
            reasons.push(format!("{}: {}", concern.kind.title(), concern.message));
        }
        let is_down = self.concerns.list.iter().any(|concern| concern.kind == ConcernKind::DaemonDown);
        if let Some(phase) = self.phase_fault().filter(|_| !is_down) {
            reasons.push(phase.to_owned());
        }
        reasons
    }
}
