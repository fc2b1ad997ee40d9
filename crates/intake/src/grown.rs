//! Files that their device wrote on after they had gone to the archive.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::PoisonError;

use chrono::{DateTime, Utc};
use ledger::{FileEntry, FileState};

use crate::arrival::modified_micros;
use crate::names::{hash12, name_of};
use crate::report::ScanReport;
use crate::{Intake, IntakeError, Moment};

/// How long after its archiving a file is looked at again.
const LOOKED_AT_FOR: i64 = 6 * 3_600_000_000;
/// The longest time between two such looks.
const LONGEST_PAUSE: i64 = 10 * 60_000_000;
/// Files that are looked at again at most; of more, those archived last.
const MOST: usize = 10_000;

/// The files archived lately.
#[derive(Debug, Default)]
pub(crate) struct LatelyArchived {
    /// Whether the ledger was asked what was archived before this start.
    is_complete: bool,
    files: VecDeque<Watched>,
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

impl Intake {
    /// From here on an archived file is looked at now and then.
    pub(crate) fn watch_archived(&self, entry: &FileEntry, path: &Path) {
        let mut lately = self.lately_archived.lock().unwrap_or_else(PoisonError::into_inner);
        if lately.files.len() >= MOST {
            lately.files.pop_front();
        }
        lately.files.push_back(Watched {
            source_file_id: entry.source_file_id.clone(),
            path: path.to_owned(),
            bytes: entry.bytes,
            since: None,
            next: i64::MIN,
        });
    }

    /// A device that keeps its file open and pauses for longer than the quiet period goes on writing into what is by then the
    /// archive's copy. Such a file is given back to its import folder under its name, where it settles and is imported like
    /// any other; its earlier rows are the same shots.
    ///
    /// A file is looked at the more seldom the longer it has lain there, and not at all after some hours: what this costs
    /// does not grow with the archive.
    pub(crate) fn bring_back_grown(&self, now: Moment, report: &mut ScanReport) -> Result<(), IntakeError> {
        let mut lately = self.lately_archived.lock().unwrap_or_else(PoisonError::into_inner);
        if !lately.is_complete {
            let most = u32::try_from(MOST).unwrap_or(u32::MAX);
            let since = now.wall.timestamp_micros().saturating_sub(LOOKED_AT_FOR);
            let mut files = VecDeque::new();
            for entry in self.ledger.archived_since(since, most)?.into_iter().rev() {
                let Some(path) = entry.archive_path.map(PathBuf::from) else { continue };
                let (source_file_id, bytes) = (entry.source_file_id, entry.bytes);
                files.push_back(Watched { source_file_id, path, bytes, since: None, next: i64::MIN });
            }
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
                Ok(is_back) => !is_back && now.steady - since < LOOKED_AT_FOR,
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

    /// Whether the file went back, or is no longer ours to watch.
    fn bring_back(&self, file: &Watched, now: DateTime<Utc>) -> Result<bool, IntakeError> {
        let Some(stat) = self.files.stat(&file.path)? else { return Ok(true) };
        if i64::try_from(stat.bytes) == Ok(file.bytes) {
            return Ok(false);
        }
        let archived_here = |entry: &FileEntry| {
            entry.state == FileState::Archived && entry.archive_path.as_deref().map(Path::new) == Some(&file.path)
        };
        let Some(entry) = self.ledger.file(&file.source_file_id)?.filter(archived_here) else { return Ok(true) };
        let target = PathBuf::from(&entry.folder).join(&entry.first_name);
        // What was imported by hand from elsewhere was copied, and a name in use is tried again at a later look.
        if self.settings.folder_of(&target).is_none() {
            return Ok(true);
        }
        if self.files.stat(&target)?.is_some() {
            return Ok(false);
        }
        tracing::warn!(
            file_id = hash12(&entry.source_file_id),
            file = %files::readable_text(&name_of(&target)),
            bytes_then = entry.bytes,
            bytes_now = stat.bytes,
            changed = modified_micros(&stat),
            "its device wrote on after it was archived; it is imported again"
        );
        self.files.rename_durable(&file.path, &target)?;
        let reason = "its device wrote on after it was archived; the longer file was imported again";
        self.ledger.mark_archive_lost(&entry.source_file_id, reason, now.timestamp_micros())?;
        Ok(true)
    }
}
