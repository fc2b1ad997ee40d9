//! Files that their device wrote on after they had gone to the archive or to quarantine.

use std::path::{Path, PathBuf};
use std::sync::PoisonError;

use chrono::{DateTime, Utc};
use files::{EntryKind, is_temporary_name};
use ledger::{FileEntry, FileState};

use crate::arrival::modified_micros;
use crate::names::{fitting, hash12, name_of};
use crate::quarantine::{REASON_SUFFIX, reason_path};
use crate::report::ScanReport;
use crate::{Intake, IntakeError, Moment};

/// How long a file is looked at again, counted from the first such look.
const LOOKED_AT_FOR: i64 = 6 * 3_600_000_000;
/// The longest time between two such looks.
const LONGEST_PAUSE: i64 = 2 * 60_000_000;
/// Files that are looked at again at most; of more, those put away last.
const MOST: usize = 10_000;
/// At a start so many are looked at whenever they were archived: a device may have written while nobody ran.
const AT_A_START: u32 = 200;

/// The files put away lately.
#[derive(Debug, Default)]
pub(crate) struct LatelyKept {
    /// Whether the ledger was asked what was put away before this start.
    is_complete: bool,
    files: Vec<Watched>,
}

#[derive(Debug)]
struct Watched {
    source_file_id: String,
    path: PathBuf,
    bytes: i64,
    /// When it was looked at first and when it is next, on the steady clock.
    since: Option<i64>,
    next: i64,
}

impl Watched {
    fn new(source_file_id: &str, path: &Path, bytes: i64) -> Watched {
        let (source_file_id, path) = (source_file_id.to_owned(), path.to_owned());
        Watched { source_file_id, path, bytes, since: None, next: i64::MIN }
    }
}

impl Intake {
    /// From here on a file in our keeping is looked at now and then: its device may have it open.
    pub(crate) fn watch_kept(&self, source_file_id: &str, path: &Path, bytes: i64) {
        let mut lately = self.lately_kept.lock().unwrap_or_else(PoisonError::into_inner);
        if lately.files.len() >= MOST {
            lately.files.remove(0);
        }
        lately.files.push(Watched::new(source_file_id, path, bytes));
    }

    /// A device that keeps its file open and pauses for longer than the quiet period goes on writing into what is by then our
    /// copy in archive or quarantine. Such a file is given back to its import folder under its name, where it settles and is
    /// judged like any other; rows that are in the lake already are the same shots.
    ///
    /// A file is looked at the more seldom the longer it has lain there, and not at all after some hours: what this costs does
    /// not grow with the archive.
    pub(crate) fn bring_back_grown(&self, now: Moment, report: &mut ScanReport) -> Result<(), IntakeError> {
        let mut lately = self.lately_kept.lock().unwrap_or_else(PoisonError::into_inner);
        if !lately.is_complete {
            let mut files = self.kept_before_this_start(now)?;
            files.append(&mut lately.files);
            lately.files = files;
            lately.is_complete = true;
        }
        let mut failed = None;
        lately.files.retain_mut(|file| {
            if failed.is_some() || now.steady < file.next {
                return true;
            }
            let since = *file.since.get_or_insert(now.steady);
            file.next = now.steady.saturating_add((now.steady - since).clamp(1, LONGEST_PAUSE));
            match self.bring_back(file, now.wall) {
                Ok(is_done) => !is_done && now.steady - since < LOOKED_AT_FOR,
                Err(IntakeError::Ledger(error)) => {
                    failed = Some(error);
                    true
                }
                Err(error) => {
                    report.note_trouble(&file.path, error.to_string());
                    true
                }
            }
        });
        failed.map_or(Ok(()), |error| Err(error.into()))
    }

    fn kept_before_this_start(&self, now: Moment) -> Result<Vec<Watched>, IntakeError> {
        let most = u32::try_from(MOST).unwrap_or(u32::MAX);
        let since = now.wall.timestamp_micros().saturating_sub(LOOKED_AT_FOR);
        let mut archived = self.ledger.archived_since(since, most)?;
        if archived.len() < AT_A_START as usize {
            archived = self.ledger.archived_since(i64::MIN, AT_A_START)?;
        }
        let mut files = Vec::new();
        for entry in archived.into_iter().rev() {
            if let Some(path) = &entry.archive_path {
                files.push(Watched::new(&entry.source_file_id, Path::new(path), entry.bytes));
            }
        }
        let mut refused = self.ledger.files_in_state(FileState::Quarantined)?;
        refused.sort_by_key(|entry| entry.quarantined_at);
        let passed_over = refused.len().saturating_sub(MOST);
        for entry in refused.iter().skip(passed_over) {
            let Some(path) = entry.quarantine_path.as_deref().map(Path::new) else { continue };
            for path in self.twins_of(path)?.into_iter().chain([path.to_owned()]) {
                files.push(Watched::new(&entry.source_file_id, &path, entry.bytes));
            }
        }
        Ok(files)
    }

    /// Whether nothing is left to watch: the file went back, or it is no longer ours.
    fn bring_back(&self, file: &Watched, now: DateTime<Utc>) -> Result<bool, IntakeError> {
        let stat = self.files.stat(&file.path)?;
        if stat.is_some_and(|stat| i64::try_from(stat.bytes) == Ok(file.bytes)) {
            return Ok(false);
        }
        let Some(entry) = self.ledger.file(&file.source_file_id)? else { return Ok(true) };
        let own_path = match entry.state {
            FileState::Archived => entry.archive_path.as_deref(),
            FileState::Quarantined => entry.quarantine_path.as_deref(),
            // Being published again: what is to be done then shows when it is done.
            _ => return Ok(false),
        };
        let is_own = own_path.map(Path::new) == Some(&file.path);
        let is_refused = entry.state == FileState::Quarantined;
        if !is_own && !is_refused {
            return Ok(true);
        }
        let Some(stat) = stat else {
            // Gone by hand, or given back just before a crash. The reason beside it says that its folder can be seen.
            if is_own && is_refused && self.files.stat(&reason_path(&file.path))?.is_some() {
                self.leave_quarantine(&entry, &file.path, now)?;
            }
            return Ok(true);
        };
        let Some(target) = self.place_of_arrival(&entry, &file.path)? else { return Ok(true) };
        if self.files.stat(&target)?.is_some() {
            // The name is in use; a later look finds it free.
            return Ok(false);
        }
        tracing::warn!(
            file_id = hash12(&entry.source_file_id),
            file = %name_of(&target),
            bytes_then = entry.bytes,
            bytes_now = stat.bytes,
            changed = modified_micros(&stat),
            "its device wrote on after it was put away; it is looked at again"
        );
        self.files.rename_durable(&file.path, &target)?;
        if is_refused {
            if is_own {
                self.leave_quarantine(&entry, &file.path, now)?;
            }
        } else {
            let reason = "its device wrote on after it was archived; the longer file was imported again";
            self.ledger.mark_archive_lost(&entry.source_file_id, reason, now.timestamp_micros())?;
        }
        Ok(true)
    }

    /// Where a kept file arrived; nothing where that was no import folder: such files were copied.
    fn place_of_arrival(&self, entry: &FileEntry, kept: &Path) -> Result<Option<PathBuf>, IntakeError> {
        let mut target = PathBuf::from(&entry.folder).join(&entry.first_name);
        let kept_name = name_of(kept);
        if entry.state == FileState::Quarantined && fitting(&entry.first_name) != kept_name {
            let names = self.ledger.names_of(&entry.source_file_id)?;
            let Some(further) = names.iter().find(|further| fitting(&further.name) == kept_name) else {
                return Ok(None);
            };
            target = PathBuf::from(&further.folder).join(&further.name);
        }
        Ok(self.settings.folder_of(&target).is_some().then_some(target))
    }

    /// A refused file is no longer what was refused. If the same bytes stand there under another name they take its place,
    /// else nothing is left to keep.
    fn leave_quarantine(&self, entry: &FileEntry, left: &Path, now: DateTime<Utc>) -> Result<(), IntakeError> {
        let reason = reason_path(left);
        for twin in self.twins_of(left)? {
            if self.files.sha256_of_file(&twin)? == entry.source_file_id {
                if self.files.stat(&reason)?.is_some() {
                    self.files.rename_durable(&reason, &reason_path(&twin))?;
                }
                self.ledger.move_quarantined(&entry.source_file_id, &twin.to_string_lossy(), now.timestamp_micros())?;
                return Ok(());
            }
        }
        self.ledger.forget_quarantined(&entry.source_file_id)?;
        self.files.remove(&reason)?;
        self.remove_if_empty(left)
    }

    /// The files that joined a refused one under further names.
    pub(crate) fn twins_of(&self, kept: &Path) -> Result<Vec<PathBuf>, IntakeError> {
        let mut twins = Vec::new();
        let Some(folder) = kept.parent() else { return Ok(twins) };
        for entry in self.files.list(folder)? {
            let is_note = entry.name.ends_with(REASON_SUFFIX) || is_temporary_name(&entry.name);
            if entry.kind == EntryKind::File && !is_note && entry.path != kept {
                twins.push(entry.path);
            }
        }
        Ok(twins)
    }
}
