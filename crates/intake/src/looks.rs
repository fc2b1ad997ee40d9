//! What the last looks found and remember of it, and how the ledger is told.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use files::FileIdentity;
use ledger::{Sighting, SightingState, WatchedVolume};

use crate::names::text_of;
use crate::report::ScanReport;
use crate::{Intake, IntakeError, Moment};

/// A wall clock that moves by more than this between two looks, against the steady one, was set by somebody.
const JUMP: i64 = 2_000_000;

/// A path as the last looks found it. Instants are of the steady clock.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    pub(crate) bytes: i64,
    pub(crate) modified: Option<i64>,
    pub(crate) identity: Option<FileIdentity>,
    /// First look.
    pub(crate) first: i64,
    /// First look since which it has not changed.
    pub(crate) stable_since: i64,
    pub(crate) state: SightingState,
    pub(crate) note: Cow<'static, str>,
}

/// Where an import folder was last found.
#[derive(Debug, Clone, Default)]
pub(crate) struct FolderStanding {
    /// It is on a volume that tells of no changes: it is looked at from time to time.
    pub(crate) is_polled: bool,
    /// Something stands there.
    pub(crate) is_there: bool,
    /// Which folder, where the system tells.
    pub(crate) identity: Option<FileIdentity>,
    /// Last look, on the steady clock.
    pub(crate) looked_at: Option<i64>,
    /// Something in it is not taken yet, so that the next scan looks again.
    pub(crate) is_restless: bool,
}

/// The memory of the looks.
#[derive(Debug, Default)]
pub(crate) struct Looks {
    pub(crate) seen: HashMap<String, Seen>,
    /// Files that were read at this size and time and had no structural end: reading them again would change nothing.
    pub(crate) unfinished: HashMap<String, String>,
    pub(crate) folders: HashMap<PathBuf, FolderStanding>,
    /// On which volumes the folders were seen, once the ledger was asked.
    pub(crate) volumes: Option<Vec<WatchedVolume>>,
    /// What the ledger holds, so that only changes are written. Instants are of the wall clock.
    noted: HashMap<String, Sighting>,
    /// What a ledger of before this start held, until the first look brings it onto the steady clock.
    inherited: Vec<Sighting>,
    /// The difference between wall clock and steady clock by which stamps for people are made.
    offset: Option<i64>,
    /// The same at the last look.
    last_ahead: Option<i64>,
}

impl Looks {
    pub(crate) fn inherit(sightings: Vec<Sighting>) -> Looks {
        let noted = sightings.iter().map(|sighting| (sighting.path.clone(), sighting.clone())).collect();
        Looks { noted, inherited: sightings, ..Looks::default() }
    }

    /// Why a file is not taken yet.
    pub(crate) fn explain(&mut self, path: &Path, state: SightingState, note: impl Into<Cow<'static, str>>) {
        if let Some(seen) = self.seen.get_mut(&text_of(path)) {
            // Whoever waits too long does so for whatever reason.
            if state != SightingState::Settling || seen.state != SightingState::Waiting {
                seen.state = state;
            }
            seen.note = note.into();
        }
    }

    /// The file has left the import folder.
    pub(crate) fn forget(&mut self, path: &Path) {
        let path = text_of(path);
        self.seen.remove(&path);
        self.unfinished.remove(&path);
    }

    /// Takes note of the two clocks, and tells once when somebody has set the one that can be set.
    pub(crate) fn keep_time(&mut self, now: Moment) {
        let ahead = now.ahead();
        let offset = *self.offset.get_or_insert(ahead);
        if let Some(last) = self.last_ahead
            && (ahead - last).abs() > JUMP
        {
            let seconds = (ahead - last) / 1_000_000;
            tracing::warn!(seconds, "the time of this machine was set, or it slept; waiting files are not affected");
        }
        self.last_ahead = Some(ahead);
        if (ahead - offset).abs() > JUMP {
            self.offset = Some(ahead);
        }
        for sighting in std::mem::take(&mut self.inherited) {
            // Of a later instant than now after the time was set back while nobody worked here.
            let steady = |wall: i64| wall.saturating_sub(ahead).min(now.steady);
            let seen = Seen {
                bytes: sighting.bytes,
                modified: sighting.modified,
                identity: None,
                first: steady(sighting.first_seen),
                stable_since: steady(sighting.stable_since),
                state: sighting.state,
                note: Cow::Owned(sighting.note),
            };
            self.seen.insert(sighting.path, seen);
        }
    }

    /// A folder was looked at. A restless one is looked at again by the next scan, whatever it lies on.
    pub(crate) fn note_looked_at(&mut self, folder: &Path, now: Moment, is_restless: bool) {
        let standing = self.folders.entry(folder.to_owned()).or_default();
        standing.looked_at = Some(now.steady);
        standing.is_restless = is_restless;
    }

    /// An instant of the steady clock as people read it.
    pub(crate) fn on_the_wall(&self, steady: i64) -> i64 {
        steady.saturating_add(self.offset.unwrap_or(0))
    }

    /// The path that cannot be taken for longest, and since when by the wall clock.
    pub(crate) fn oldest_wait(&self) -> Option<(String, i64)> {
        let waiting = self.seen.iter().filter(|(_, seen)| seen.state != SightingState::Settling);
        let oldest = waiting.min_by_key(|(path, seen)| (seen.first, *path));
        oldest.map(|(path, seen)| (path.clone(), self.on_the_wall(seen.first)))
    }

    /// Numbers of paths that settle, wait too long, and cannot be read.
    pub(crate) fn counts(&self) -> [usize; 3] {
        let mut counts = [0; 3];
        for seen in self.seen.values() {
            counts[match seen.state {
                SightingState::Settling => 0,
                SightingState::Waiting => 1,
                SightingState::Retrying => 2,
            }] += 1;
        }
        counts
    }

    fn as_noted(&self, path: &str, seen: &Seen, now: Moment) -> Sighting {
        Sighting {
            path: path.to_owned(),
            bytes: seen.bytes,
            modified: seen.modified,
            first_seen: self.on_the_wall(seen.first),
            stable_since: self.on_the_wall(seen.stable_since),
            last_seen: self.on_the_wall(now.steady),
            state: seen.state,
            note: seen.note.clone().into_owned(),
        }
    }

    fn is_as_noted(&self, seen: &Seen, noted: &Sighting) -> bool {
        seen.bytes == noted.bytes
            && seen.modified == noted.modified
            && seen.state == noted.state
            && self.on_the_wall(seen.first) == noted.first_seen
            && self.on_the_wall(seen.stable_since) == noted.stable_since
            && seen.note == noted.note
    }
}

/// Said aloud once, however long it lasts and however often the program starts.
fn tell_long_waits(noted: &HashMap<String, Sighting>, changed: &[Sighting]) {
    for sighting in changed {
        let known = noted.get(&sighting.path).is_some_and(|noted| noted.state == SightingState::Waiting);
        if sighting.state == SightingState::Waiting && !known {
            let (file, note) = (files::readable_text(&sighting.path), &sighting.note);
            tracing::warn!(
                file,
                note,
                bytes = sighting.bytes,
                "a file has been waiting too long; somebody should look"
            );
        }
    }
}

impl Intake {
    /// Writes into the ledger what changed since it was last told. A look that found nothing new costs no write.
    pub(crate) fn note_sightings(
        &self,
        looks: &mut Looks,
        now: Moment,
        report: &mut ScanReport,
    ) -> Result<(), IntakeError> {
        [report.settling, report.waiting, _] = looks.counts();
        let mut changed = Vec::new();
        for (path, seen) in &looks.seen {
            if !looks.noted.get(path).is_some_and(|noted| looks.is_as_noted(seen, noted)) {
                changed.push(looks.as_noted(path, seen, now));
            }
        }
        let mut gone: HashSet<String> = HashSet::new();
        for path in looks.noted.keys().filter(|path| !looks.seen.contains_key(*path)) {
            gone.insert(path.clone());
        }
        if changed.is_empty() && gone.is_empty() {
            return Ok(());
        }
        let paths: Vec<String> = gone.iter().cloned().collect();
        self.ledger.update_sightings(&changed, &paths)?;
        tell_long_waits(&looks.noted, &changed);
        looks.noted.retain(|path, _| !gone.contains(path));
        for sighting in changed {
            looks.noted.insert(sighting.path.clone(), sighting);
        }
        Ok(())
    }
}
