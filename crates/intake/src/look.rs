//! One look at the import folders: by stat only, so that it costs the same however large the files are.

use std::borrow::Cow;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use files::{Entry, EntryKind, FileStat};
use ledger::SightingState;

use crate::arrival::{Arrival, modified_micros};
use crate::looks::{Looks, Seen};
use crate::names::{fits, is_temporary, text_of};
use crate::report::ScanReport;
use crate::settings::WatchedFolder;
use crate::shares::Standing;
use crate::{Intake, IntakeError, Moment};

/// After so many quiet periods a file is taken even where its format's usual end is missing, or where its writer was never
/// heard to close it.
const PATIENCE: i64 = 20;

/// Subfolders are followed this deep.
const DEEPEST: usize = 8;

/// So many files are looked at between two signs of life.
const SIGN_OF_LIFE: usize = 1_000;

impl Intake {
    /// Looks at every import folder whose turn it is. Answers the files that have settled, in the order in which they were
    /// written last.
    pub(crate) fn look(
        &self,
        looks: &mut Looks,
        now: Moment,
        report: &mut ScanReport,
    ) -> Result<Vec<Arrival>, IntakeError> {
        looks.keep_time(now);
        let before = std::mem::take(&mut looks.seen);
        let mut round =
            Round { intake: self, before, looks, report, now, unstable: false, looked_at: 0, settled: Vec::new() };
        let result = round.look_at_all();
        let Round { before, mut settled, .. } = round;
        if result.is_err() || self.stop.is_stopping() {
            // What was not looked at any more stays as it was.
            looks.seen.extend(before);
            settled.clear();
        }
        let seen = &looks.seen;
        looks.unfinished.retain(|path, _| seen.contains_key(path));
        self.open_files.keep_only(|path| seen.contains_key(path));
        self.note_folders(looks);
        settled.sort_by(|one, other| (one.modified, &one.path).cmp(&(other.modified, &other.path)));
        result.map(|()| settled)
    }
}

/// One look in progress.
struct Round<'a> {
    intake: &'a Intake,
    /// What the last look saw and this one has not come upon yet.
    before: HashMap<String, Seen>,
    looks: &'a mut Looks,
    report: &'a mut ScanReport,
    now: Moment,
    /// The numbers of files on the volume at hand mean nothing.
    unstable: bool,
    looked_at: usize,
    settled: Vec<Arrival>,
}

impl Round<'_> {
    fn look_at_all(&mut self) -> Result<(), IntakeError> {
        let intake = self.intake;
        for watched in &intake.settings.folders {
            if intake.stop.is_stopping() {
                return Ok(());
            }
            intake.note_progress();
            let folder = &watched.path;
            match intake.standing_of(watched, self.looks, self.now)? {
                Standing::NotDue => self.keep_what_was_seen_in(folder, None),
                Standing::Away(error) => {
                    self.note_unreadable(folder, &error, true);
                    self.looks.note_looked_at(folder, self.now, true);
                }
                Standing::Here { is_polled } => {
                    self.unstable = is_polled;
                    self.look_into(watched, folder, 0);
                    let is_restless = self.looks.seen.keys().any(|path| Path::new(path).starts_with(folder));
                    self.looks.note_looked_at(folder, self.now, is_restless);
                }
            }
        }
        Ok(())
    }

    fn look_into(&mut self, watched: &WatchedFolder, folder: &Path, depth: usize) {
        let entries = match self.intake.entries_of(folder) {
            Ok(entries) => entries,
            Err(error) => return self.note_unreadable(folder, &error, true),
        };
        for entry in entries {
            if is_temporary(&entry.name) || watched.ignore.iter().any(|pattern| fits(pattern, &entry.name)) {
                continue;
            }
            self.looked_at += 1;
            if self.looked_at.is_multiple_of(SIGN_OF_LIFE) {
                self.intake.note_progress();
            }
            if self.intake.stop.is_stopping() {
                return;
            }
            self.look_at(watched, entry, depth);
        }
    }

    fn look_at(&mut self, watched: &WatchedFolder, entry: Entry, depth: usize) {
        match entry.kind {
            EntryKind::Folder if depth < DEEPEST => self.look_into(watched, &entry.path, depth + 1),
            EntryKind::Folder => {
                self.sight_oddity(&entry.path, "folders are followed 8 deep; move its files further up");
            }
            EntryKind::Link => {
                self.sight_oddity(
                    &entry.path,
                    "it is a symbolic link, which is not followed; put the file itself here",
                );
            }
            EntryKind::Other => self.sight_oddity(&entry.path, "it is a pipe or device and no file; remove it"),
            EntryKind::File => match self.intake.files.stat(&entry.path) {
                Ok(Some(stat)) if stat.kind == EntryKind::File => self.sight(entry.path, &stat),
                // It vanished or was replaced between listing and looking; the next look sees what is there then.
                Ok(_) => {}
                Err(error) => self.note_unreadable(&entry.path, &error.into(), false),
            },
        }
    }

    /// Compares a file with the last look.
    fn sight(&mut self, path: PathBuf, stat: &FileStat) {
        let now = self.now.steady;
        let key = text_of(&path);
        let quiet_period = micros(self.intake.settings.quiet_period);
        let bytes = i64::try_from(stat.bytes).unwrap_or(i64::MAX);
        let modified = modified_micros(stat);
        // Some servers and programs number files anew at every look.
        let identity = if self.unstable { None } else { stat.identity };
        let earlier = self.before.remove(&key);
        let (mut first, mut unchanged_since) = (now, None);
        if let Some(earlier) = &earlier {
            let is_replaced = matches!((earlier.identity, identity), (Some(one), Some(other)) if one != other);
            if !is_replaced {
                first = earlier.first;
                let is_same = earlier.bytes == bytes && earlier.modified == modified;
                unchanged_since = is_same.then_some(earlier.stable_since);
            }
        }
        if unchanged_since.is_none() {
            self.looks.unfinished.remove(&key);
        }
        let unchanged_for = unchanged_since.map_or(0, |since| now - since);
        // Some devices end a file without its usual end. One that has stood still this long is taken as it is; should it grow
        // after all, it is imported again and its rows merge.
        let patience_is_over = unchanged_since.is_some() && unchanged_for >= quiet_period.saturating_mul(PATIENCE);
        let is_quiet = unchanged_since.is_some() && unchanged_for >= quiet_period && self.is_old_enough(modified);
        let obstacle = self.obstacle(&path, &key, stat, patience_is_over, is_quiet);
        let is_whole = is_quiet && obstacle.is_none();
        let waits_too_long = now - first >= micros(self.intake.settings.waiting_too_long);
        let note = match obstacle {
            Some(obstacle) => obstacle,
            None if is_whole => Cow::Borrowed("it is whole and about to be taken"),
            None if earlier.is_some() && unchanged_since.is_none() => Cow::Borrowed("it is still being written to"),
            None => Cow::Borrowed("it may still be written to"),
        };
        let state = if waits_too_long { SightingState::Waiting } else { SightingState::Settling };
        let stable_since = unchanged_since.unwrap_or(now);
        self.looks.seen.insert(key, Seen { bytes, modified, identity, first, stable_since, state, note });
        if is_whole {
            self.settled.push(Arrival {
                path,
                bytes: stat.bytes,
                modified,
                identity,
                keep_source: false,
                patient: !patience_is_over,
                named: false,
            });
        }
    }

    /// Whether the file's own time is further back than the quiet period. A time that lies ahead says nothing: the clock of
    /// its writer differs from ours.
    fn is_old_enough(&self, modified: Option<i64>) -> bool {
        let Some(modified) = modified else { return true };
        let age = self.now.wall.timestamp_micros() - modified;
        age < 0 || age >= micros(self.intake.settings.quiet_period)
    }

    /// Why a file cannot be taken, however long it has stood still.
    fn obstacle(
        &self,
        path: &Path,
        key: &str,
        stat: &FileStat,
        patience_is_over: bool,
        is_quiet: bool,
    ) -> Option<Cow<'static, str>> {
        if path.to_str().is_none() {
            return Some(Cow::Borrowed("its name is no Unicode text; rename it"));
        }
        if stat.bytes == 0 {
            return Some(Cow::Borrowed("it is empty"));
        }
        if !patience_is_over {
            if self.intake.open_files.is_open(key) {
                return Some(Cow::Borrowed("the program that writes it has it open"));
            }
            if let Some(note) = self.looks.unfinished.get(key) {
                return Some(Cow::Owned(note.clone()));
            }
        }
        // A file that cannot be opened is told about when it is read.
        if is_quiet && self.intake.files.is_locked(path).unwrap_or(false) {
            return Some(Cow::Borrowed("the program that writes it has locked it"));
        }
        None
    }

    /// Something that will never be taken as it is, and that nobody should have to search for.
    fn sight_oddity(&mut self, path: &Path, note: &'static str) {
        let key = text_of(path);
        let first = self.before.remove(&key).map_or(self.now.steady, |earlier| earlier.first);
        let waits_too_long = self.now.steady - first >= micros(self.intake.settings.waiting_too_long);
        let state = if waits_too_long { SightingState::Waiting } else { SightingState::Settling };
        self.insert_pathless(key, first, state, Cow::Borrowed(note));
    }

    /// What cannot be read is never taken for empty or gone: what was seen there stays seen.
    fn note_unreadable(&mut self, path: &Path, error: &IntakeError, is_folder: bool) {
        if is_folder {
            self.keep_what_was_seen_in(path, Some("its folder cannot be read at the moment"));
        }
        let key = text_of(path);
        let first = self.before.remove(&key).map_or(self.now.steady, |earlier| earlier.first);
        let note = error.to_string();
        tracing::debug!(path = %files::readable_path(path), error = %note, "cannot look there now; what was seen there stays noted");
        self.report.note_trouble(path, note.clone());
        self.insert_pathless(key, first, SightingState::Retrying, Cow::Owned(note));
    }

    /// Takes over what the last look saw below a folder; with a reason where it cannot be read.
    fn keep_what_was_seen_in(&mut self, folder: &Path, unreadable: Option<&'static str>) {
        let own = text_of(folder);
        let inside = self.before.extract_if(|path, _| Path::new(path).starts_with(folder) && *path != own);
        for (path, mut seen) in inside {
            if let Some(note) = unreadable {
                seen.state = SightingState::Retrying;
                seen.note = Cow::Borrowed(note);
            }
            self.looks.seen.insert(path, seen);
        }
        if unreadable.is_none()
            && let Some(seen) = self.before.remove(&own)
        {
            self.looks.seen.insert(own, seen);
        }
    }

    fn insert_pathless(&mut self, key: String, first: i64, state: SightingState, note: Cow<'static, str>) {
        let seen = Seen { bytes: 0, modified: None, identity: None, first, stable_since: first, state, note };
        self.looks.seen.insert(key, seen);
    }
}

fn micros(duration: Duration) -> i64 {
    i64::try_from(duration.as_micros()).unwrap_or(i64::MAX)
}
