//! One look at the import folders: by stat only, so that it costs the same however large the files are.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// After so many quiet periods a file is taken even where its format's usual end is missing.
const PATIENCE: i64 = 20;

use chrono::{DateTime, Utc};
use files::{Entry, EntryKind, FileStat};
use ledger::{Sighting, SightingState};

use crate::arrival::{Arrival, is_reachable_folder, modified_micros};
use crate::names::{fits, is_temporary, text_of};
use crate::report::ScanReport;
use crate::settings::WatchedFolder;
use crate::{Intake, IntakeError};

/// Subfolders are followed this deep; a loop of links ends here.
const DEEPEST: usize = 8;

/// What the last looks found, by path, and which of it is whole but for the format's end.
#[derive(Debug, Default)]
pub(crate) struct Looks {
    pub(crate) sightings: HashMap<String, Sighting>,
    /// Files that were read at this size and time and had no structural end: reading them again would change nothing.
    pub(crate) unfinished: HashMap<String, String>,
    /// What the ledger holds, so that an unchanged look writes nothing.
    pub(crate) noted: Vec<Sighting>,
}

impl Looks {
    /// Why a file is not taken yet.
    pub(crate) fn explain(&mut self, path: &Path, state: SightingState, note: String) {
        if let Some(sighting) = self.sightings.get_mut(&text_of(path)) {
            // Whoever waits too long does so for whatever reason.
            if state != SightingState::Settling || sighting.state != SightingState::Waiting {
                sighting.state = state;
            }
            sighting.note = note;
        }
    }

    /// The file has left the import folder.
    pub(crate) fn forget(&mut self, path: &Path) {
        let path = text_of(path);
        self.sightings.remove(&path);
        self.unfinished.remove(&path);
    }
}

impl Intake {
    /// Looks at every import folder. Answers the files that have settled.
    pub(crate) fn look(&self, looks: &mut Looks, now: DateTime<Utc>, report: &mut ScanReport) -> Vec<Arrival> {
        let mut round = Round {
            intake: self,
            before: std::mem::take(&mut looks.sightings),
            looks,
            report,
            now: now.timestamp_micros(),
            settled: Vec::new(),
        };
        for folder in &self.settings.folders {
            round.look_into(folder, &folder.path, 0);
        }
        let mut settled = round.settled;
        let sightings = &looks.sightings;
        looks.unfinished.retain(|path, _| sightings.contains_key(path));
        settled.sort_by(|one, other| (one.modified, &one.path).cmp(&(other.modified, &other.path)));
        settled
    }

    /// Writes what the look found into the ledger, if anything but the time of the look has changed.
    pub(crate) fn note_sightings(&self, looks: &mut Looks, report: &mut ScanReport) -> Result<(), IntakeError> {
        let mut present: Vec<Sighting> = looks.sightings.values().cloned().collect();
        present.sort_by(|one, other| one.path.cmp(&other.path));
        for sighting in &present {
            match sighting.state {
                SightingState::Settling => report.settling += 1,
                SightingState::Waiting => report.waiting += 1,
                SightingState::Retrying => {}
            }
        }
        let same = |one: &Sighting, other: &Sighting| Sighting { last_seen: other.last_seen, ..one.clone() } == *other;
        let changed = present.len() != looks.noted.len() || present.iter().zip(&looks.noted).any(|(a, b)| !same(a, b));
        if changed {
            let gone: Vec<String> = looks
                .noted
                .iter()
                .filter(|noted| !looks.sightings.contains_key(&noted.path))
                .map(|noted| noted.path.clone())
                .collect();
            self.ledger.update_sightings(&present, &gone)?;
            looks.noted = present;
        }
        Ok(())
    }
}

/// One look in progress.
struct Round<'a> {
    intake: &'a Intake,
    /// Sightings of the last look that this one has not come upon yet.
    before: HashMap<String, Sighting>,
    looks: &'a mut Looks,
    report: &'a mut ScanReport,
    now: i64,
    settled: Vec<Arrival>,
}

impl Round<'_> {
    fn look_into(&mut self, watched: &WatchedFolder, folder: &Path, depth: usize) {
        let entries = match self.entries(folder) {
            Ok(entries) => entries,
            Err(error) => return self.note_unreadable(folder, &error),
        };
        for entry in entries {
            if is_temporary(&entry.name) || watched.ignore.iter().any(|pattern| fits(pattern, &entry.name)) {
                continue;
            }
            match entry.kind {
                EntryKind::Folder if depth < DEEPEST => self.look_into(watched, &entry.path, depth + 1),
                EntryKind::File => match self.intake.files.stat(&entry.path) {
                    Ok(Some(stat)) => self.sight(entry.path, &stat),
                    // It vanished between listing and looking: it is no file any more.
                    Ok(None) => {}
                    Err(error) => self.note_unreadable(&entry.path, &error.into()),
                },
                EntryKind::Folder | EntryKind::Link | EntryKind::Other => {}
            }
        }
    }

    fn entries(&self, folder: &Path) -> Result<Vec<Entry>, IntakeError> {
        let files = &self.intake.files;
        if !is_reachable_folder(files, folder)? {
            return Err(IntakeError::Settings {
                problem: format!("the import folder {} does not exist", folder.display()),
                hint: "create it, or mount the share; files in it are imported as soon as it is back".into(),
            });
        }
        Ok(files.list(folder)?)
    }

    /// Compares a file with the last look.
    fn sight(&mut self, path: PathBuf, stat: &FileStat) {
        let (now, settings) = (self.now, &self.intake.settings);
        let key = text_of(&path);
        let bytes = i64::try_from(stat.bytes).unwrap_or(i64::MAX);
        let modified = modified_micros(stat);
        let earlier = self.before.remove(&key);
        let (first_seen, unchanged_since) = match &earlier {
            Some(earlier) if earlier.bytes == bytes && earlier.modified == modified => {
                // A clock that was set back must not keep a file waiting for hours.
                (earlier.first_seen.min(now), Some(earlier.stable_since.min(now)))
            }
            Some(earlier) => (earlier.first_seen.min(now), None),
            None => (now, None),
        };
        if unchanged_since.is_none() {
            self.looks.unfinished.remove(&key);
        }
        let quiet = unchanged_since.is_some_and(|since| now - since >= micros(settings.quiet_period));
        // Some devices end a file without its usual end. One that has stood still this long is taken as it is; should it grow
        // after all, it is imported again and its rows merge.
        let patience = micros(settings.quiet_period) * PATIENCE;
        let patience_is_over = unchanged_since.is_some_and(|since| now - since >= patience);
        let obstacle = if path.to_str().is_none() {
            Some("its name is no Unicode text; rename it".to_owned())
        } else if stat.bytes == 0 {
            Some("it is empty".to_owned())
        } else if patience_is_over {
            None
        } else {
            self.looks.unfinished.get(&key).cloned()
        };
        let waits_too_long = now - first_seen >= micros(settings.waiting_too_long);
        self.looks.sightings.insert(
            key.clone(),
            Sighting {
                path: key,
                bytes,
                modified,
                first_seen,
                stable_since: unchanged_since.unwrap_or(now),
                last_seen: now,
                state: if waits_too_long { SightingState::Waiting } else { SightingState::Settling },
                note: obstacle.clone().unwrap_or_else(|| "it may still be written to".to_owned()),
            },
        );
        if quiet && obstacle.is_none() {
            self.settled.push(Arrival {
                path,
                bytes: stat.bytes,
                modified,
                keep_source: false,
                patient: !patience_is_over,
                named: false,
            });
        }
    }

    /// A folder that cannot be read is never an empty one: what was seen in it stays seen.
    fn note_unreadable(&mut self, path: &Path, error: &IntakeError) {
        let key = text_of(path);
        let first_seen = self.before.remove(&key).map_or(self.now, |earlier| earlier.first_seen);
        let within: Vec<String> =
            self.before.keys().filter(|inner| Path::new(inner).starts_with(path)).cloned().collect();
        for inner in within {
            if let Some(sighting) = self.before.remove(&inner) {
                let note = "its folder cannot be read at the moment".to_owned();
                let sighting = Sighting { state: SightingState::Retrying, note, ..sighting };
                self.looks.sightings.insert(inner, sighting);
            }
        }
        let note = error.to_string();
        tracing::debug!(path = %path.display(), error = %note, "cannot look there now; what was seen there stays noted");
        self.report.note_trouble(path, note.clone());
        let sighting = Sighting {
            path: key.clone(),
            bytes: 0,
            modified: None,
            first_seen,
            stable_since: first_seen,
            last_seen: self.now,
            state: SightingState::Retrying,
            note,
        };
        self.looks.sightings.insert(key, sighting);
    }
}

fn micros(duration: std::time::Duration) -> i64 {
    i64::try_from(duration.as_micros()).unwrap_or(i64::MAX)
}
