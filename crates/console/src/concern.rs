//! What wants a person: told first by `status`, on the page, to monitoring, and by the alerts.

use std::collections::BTreeMap;
use std::time::Duration;

use ledger::{FileEntry, JobRun, RunOutcome, Sighting, SightingState};

use crate::words::{count, one_line, without_hint};
use crate::{DaemonVitals, Phase, VolumeSpace};

/// So many concerns of one kind are told one by one; of more the number is told.
const MOST_OF_A_KIND: usize = 500;

/// Of what kind a concern is, gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ConcernKind {
    /// The ledger cannot be read or written: nothing is taken.
    LedgerFailing,
    /// The lake's manifest cannot be read.
    LakeUnreadable,
    /// A daemon ran here and runs no more.
    DaemonDown,
    /// A part of the daemon does not come on.
    Stalled,
    /// Intake takes no files for now, for example for want of space.
    IntakePaused,
    /// What was written last is not in force.
    ConfigurationFaulty,
    /// A pack is left out.
    PackLeftOut,
    /// A folder or file has not been readable for too long; a share may not be mounted.
    Unreachable,
    /// A file has not become whole for too long.
    WaitingTooLong,
    /// A file was refused.
    Quarantined,
    /// The last run of a job failed.
    JobFailed,
    /// The command that tells IT does not work.
    AlertFailing,
}

impl ConcernKind {
    /// All kinds with their words in JSON, metrics and the ledger, gravest first.
    pub const WORDS: [(ConcernKind, &'static str); 12] = [
        (ConcernKind::LedgerFailing, "ledger-failing"),
        (ConcernKind::LakeUnreadable, "lake-unreadable"),
        (ConcernKind::DaemonDown, "daemon-down"),
        (ConcernKind::Stalled, "stalled"),
        (ConcernKind::IntakePaused, "intake-paused"),
        (ConcernKind::ConfigurationFaulty, "configuration-faulty"),
        (ConcernKind::PackLeftOut, "pack-left-out"),
        (ConcernKind::Unreachable, "unreachable"),
        (ConcernKind::WaitingTooLong, "waiting-too-long"),
        (ConcernKind::Quarantined, "quarantined"),
        (ConcernKind::JobFailed, "job-failed"),
        (ConcernKind::AlertFailing, "alert-failing"),
    ];

    /// The word in JSON, metrics and the ledger.
    pub fn word(self) -> &'static str {
        ConcernKind::WORDS.iter().find(|(kind, _)| *kind == self).map_or("stalled", |(_, word)| word)
    }

    /// The words for people.
    pub fn title(self) -> &'static str {
        match self {
            ConcernKind::LedgerFailing => "ledger does not work",
            ConcernKind::LakeUnreadable => "lake cannot be read",
            ConcernKind::DaemonDown => "daemon is down",
            ConcernKind::Stalled => "daemon stands still",
            ConcernKind::IntakePaused => "intake pauses",
            ConcernKind::ConfigurationFaulty => "configuration is faulty",
            ConcernKind::PackLeftOut => "pack is left out",
            ConcernKind::Unreachable => "cannot be reached",
            ConcernKind::WaitingTooLong => "waiting too long",
            ConcernKind::Quarantined => "in quarantine",
            ConcernKind::JobFailed => "job failed",
            ConcernKind::AlertFailing => "alert not delivered",
        }
    }

    /// Whether new files are not taken as they should be, so that the daemon is not ready.
    pub fn impairs(self) -> bool {
        self <= ConcernKind::ConfigurationFaulty
    }
}

/// One thing that wants a person. It names files and folders, never players.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Concern {
    /// Of what kind it is.
    pub kind: ConcernKind,
    /// The same text as long as it is the same event.
    pub subject: String,
    /// What it is, in one line without any age, so that it stays the same while nothing changes.
    pub message: String,
    /// What to do.
    pub hint: Option<String>,
    /// Since when, where that is known.
    pub since: Option<i64>,
}

/// All concerns of one look, gravest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Concerns {
    /// One by one.
    pub list: Vec<Concern>,
    /// How many more there are of a kind than are listed.
    pub beyond: BTreeMap<ConcernKind, usize>,
}

impl Concerns {
    /// Whether nothing wants a person.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// How many there are, listed or not.
    pub fn total(&self) -> usize {
        self.list.len() + self.beyond.values().sum::<usize>()
    }

    /// How many there are of a kind, listed or not.
    pub fn of_kind(&self, kind: ConcernKind) -> usize {
        let listed = self.list.iter().filter(|concern| concern.kind == kind).count();
        listed + self.beyond.get(&kind).copied().unwrap_or(0)
    }

    /// Those for which the daemon is not ready.
    pub fn impairing(&self) -> impl Iterator<Item = &Concern> {
        self.list.iter().filter(|concern| concern.kind.impairs())
    }

    fn add(&mut self, kind: ConcernKind, subject: &str, message: &str, since: Option<i64>) {
        let (message, hint) = without_hint(message);
        self.list.push(Concern { kind, subject: subject.to_owned(), message, hint, since });
    }

    /// Adds so many as are told one by one.
    fn add_each(&mut self, kind: ConcernKind, each: Vec<Concern>) {
        let beyond = each.len().saturating_sub(MOST_OF_A_KIND);
        if beyond > 0 {
            *self.beyond.entry(kind).or_default() += beyond;
        }
        self.list.extend(each.into_iter().take(MOST_OF_A_KIND));
    }
}

/// What one look at a home found, to be judged.
pub(crate) struct Findings<'a> {
    /// UTC microseconds since 1970.
    pub(crate) now: i64,
    pub(crate) daemon: Option<u32>,
    pub(crate) vitals: Option<&'a DaemonVitals>,
    pub(crate) ledger_fault: Option<&'a str>,
    pub(crate) lake_fault: Option<&'a str>,
    pub(crate) configuration_faults: &'a [String],
    pub(crate) pack_faults: &'a [String],
    pub(crate) sightings: &'a [Sighting],
    pub(crate) quarantined: &'a [FileEntry],
    /// Files in quarantine, listed or not.
    pub(crate) in_quarantine: usize,
    pub(crate) runs: &'a BTreeMap<String, JobRun>,
    pub(crate) volumes: &'a [VolumeSpace],
    pub(crate) waiting_too_long: Duration,
}

impl Findings<'_> {
    pub(crate) fn judge(&self) -> Concerns {
        let mut concerns = Concerns::default();
        self.judge_daemon(&mut concerns);
        self.judge_texts(&mut concerns);
        self.judge_folders(&mut concerns);
        let mut refused = Vec::new();
        for file in self.quarantined {
            let reason = one_line(file.reason.as_deref().unwrap_or("").lines().next().unwrap_or(""));
            refused.push(Concern {
                kind: ConcernKind::Quarantined,
                subject: format!("quarantined:{}", file.source_file_id),
                message: format!("{}: {reason}, from {}", one_line(&file.first_name), one_line(&file.folder)),
                hint: Some(format!(
                    "{}.reason.json tells more; once its pack is mended give `strikemill retry`, and if it is no export `strikemill remove --file {}`",
                    one_line(file.quarantine_path.as_deref().unwrap_or("its")),
                    file.source_file_id.get(..12).unwrap_or(&file.source_file_id)
                )),
                since: file.quarantined_at,
            });
        }
        let beyond = self.in_quarantine.saturating_sub(refused.len());
        if beyond > 0 {
            concerns.beyond.insert(ConcernKind::Quarantined, beyond);
        }
        concerns.add_each(ConcernKind::Quarantined, refused);
        for (job, run) in self.runs {
            if run.outcome == Some(RunOutcome::Failed) {
                // Not the error itself: it may quote a value of the lake.
                let message = format!("{job}\nhint: `strikemill status` on the server tells what it said");
                concerns.add(ConcernKind::JobFailed, &format!("job:{job}"), &message, Some(run.start.started));
            }
        }
        if let Some(why) = self.vitals.and_then(|vitals| vitals.alert_failing.as_deref()) {
            concerns.add(ConcernKind::AlertFailing, "alert", why, None);
        }
        // Stable: within a kind the order of the look stays.
        concerns.list.sort_by_key(|concern| concern.kind);
        concerns
    }

    fn judge_daemon(&self, concerns: &mut Concerns) {
        if let Some(fault) = self.ledger_fault {
            concerns.add(ConcernKind::LedgerFailing, "ledger", fault, None);
        }
        if let Some(fault) = self.lake_fault {
            concerns.add(ConcernKind::LakeUnreadable, "lake", fault, None);
        }
        let Some(vitals) = self.vitals else { return };
        if self.daemon.is_none() {
            let what = match vitals.phase {
                Phase::Stopped => "it was stopped",
                _ => "it ended without being told to",
            };
            let message = format!("{what}\nhint: start it with `strikemill run`, or as the service that it is");
            return concerns.add(ConcernKind::DaemonDown, "daemon", &message, Some(vitals.written_at));
        }
        if let Some(why) = &vitals.failing
            && self.ledger_fault.is_none()
        {
            concerns.add(ConcernKind::LedgerFailing, "ledger", why, None);
        }
        if let Some(why) = &vitals.paused {
            let why = why.strip_prefix("intake pauses: ").unwrap_or(why);
            concerns.add(ConcernKind::IntakePaused, "paused", why, None);
        } else if let Some(volume) = self.volumes.iter().find(|volume| volume.is_low) {
            // On a full disk the daemon may not even be able to write down that it pauses.
            let message = format!(
                "the volume of {} is nearly full\nhint: free space there; intake goes on by itself",
                volume.holds.join(", ")
            );
            concerns.add(ConcernKind::IntakePaused, "paused", &message, None);
        }
        if !vitals.stalled.is_empty() {
            let message = format!("{}\nhint: the log tells what it was doing last", vitals.stalled.join("; "));
            concerns.add(ConcernKind::Stalled, "stalled", &message, None);
        }
    }

    fn judge_texts(&self, concerns: &mut Concerns) {
        let told = self.vitals.filter(|_| self.daemon.is_some());
        let faults = joined(self.configuration_faults, told.map(|vitals| vitals.configuration_faults.as_slice()));
        if !faults.is_empty() {
            let in_force = if self.daemon.is_some() { "; the daemon goes on with the one before" } else { "" };
            let message = format!(
                "{}{}{in_force}\nhint: `strikemill check` shows each with its line and what to do",
                count(faults.len(), "fault", "faults"),
                places(&faults)
            );
            concerns.add(ConcernKind::ConfigurationFaulty, "configuration", &message, None);
        }
        let faults = joined(self.pack_faults, told.map(|vitals| vitals.pack_faults.as_slice()));
        if !faults.is_empty() {
            let message = format!(
                "{}{}\nhint: `strikemill check` shows each with its line and what to do",
                count(faults.len(), "fault", "faults"),
                places(&faults)
            );
            concerns.add(ConcernKind::PackLeftOut, "packs", &message, None);
        }
    }

    fn judge_folders(&self, concerns: &mut Concerns) {
        let limit = i64::try_from(self.waiting_too_long.as_micros()).unwrap_or(i64::MAX);
        let (mut unreachable, mut waiting) = (Vec::new(), Vec::new());
        for sighting in self.sightings {
            let kind = match sighting.state {
                SightingState::Waiting => ConcernKind::WaitingTooLong,
                SightingState::Retrying if self.now.saturating_sub(sighting.first_seen) >= limit => {
                    ConcernKind::Unreachable
                }
                SightingState::Settling | SightingState::Retrying => continue,
            };
            let (note, hint) = without_hint(&sighting.note);
            let path = one_line(&sighting.path);
            // Notes of folders name them already.
            let message = if note.contains(&path) { note } else { format!("{path}: {note}") };
            let subject = format!("{}:{}", kind.word(), sighting.path);
            let concern = Concern { kind, subject, message, hint, since: Some(sighting.first_seen) };
            if kind == ConcernKind::WaitingTooLong { waiting.push(concern) } else { unreachable.push(concern) }
        }
        for (kind, mut each) in [(ConcernKind::Unreachable, unreachable), (ConcernKind::WaitingTooLong, waiting)] {
            each.sort_by_key(|concern| concern.since);
            concerns.add_each(kind, each);
        }
    }
}

/// The faults found by this look and those that the daemon tells, each once.
fn joined(found: &[String], told: Option<&[String]>) -> Vec<String> {
    let mut all = found.to_vec();
    for fault in told.unwrap_or_default() {
        if !all.contains(fault) {
            all.push(fault.clone());
        }
    }
    all
}

/// Where faults stand, without the lines themselves: a line of the roster names a player.
pub(crate) fn places(faults: &[String]) -> String {
    let mut places: Vec<&str> = Vec::new();
    for fault in faults {
        let place = fault.lines().find_map(|line| line.trim_start().strip_prefix("--> "));
        if let Some(place) = place.map(str::trim)
            && !places.contains(&place)
        {
            places.push(place);
        }
    }
    if places.is_empty() {
        return String::new();
    }
    let more = places.len().saturating_sub(3);
    places.truncate(3);
    let listed = one_line(&places.join(", "));
    if more == 0 { format!(": {listed}") } else { format!(": {listed} and {more} more places") }
}
