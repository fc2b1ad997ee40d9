//! Refused files: kept whole, with the reason beside them.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::PoisonError;

use chrono::{DateTime, Utc};
use files::EntryKind;
use ledger::{FileEntry, Quarantined};
use serde_json::json;

use crate::arrival::Arrival;
use crate::import::Taken;
use crate::judge::Refusal;
use crate::names::{fitting, hash12, text_of};
use crate::report::FileOutcome;
use crate::{Intake, IntakeError};

/// What the name of a refused file is continued with for its reason.
pub(crate) const REASON_SUFFIX: &str = ".reason.json";

/// Problems told in the reason; more of them tell a person nothing new.
const MOST_PROBLEMS_TOLD: usize = 200;

/// Further names told in the reason; the ledger has them all.
const MOST_NAMES_TOLD: usize = 100;
/// The key of the reason under which they stand.
const FURTHER_NAMES: &str = "also_arrived_as";
/// More than any reason of ours has.
const LARGEST_REASON: u64 = 16 << 20;

/// Where the reason of a refused file stands.
pub(crate) fn reason_path(kept: &Path) -> PathBuf {
    let mut beside = kept.as_os_str().to_owned();
    beside.push(REASON_SUFFIX);
    PathBuf::from(beside)
}

impl Intake {
    /// Puts a refused file into quarantine.
    pub(crate) fn quarantine(
        &self,
        arrival: &Arrival,
        source_file_id: &str,
        refusal: &Refusal,
        now: DateTime<Utc>,
    ) -> Result<Taken, IntakeError> {
        let folder = self.quarantine_folder(source_file_id, now)?;
        let path = folder.join(fitting(&arrival.name()));
        self.place(&arrival.path, &path, source_file_id, arrival.keep_source)?;
        let refused = Quarantined {
            source_file_id: source_file_id.to_owned(),
            name: arrival.name(),
            folder: arrival.folder(),
            bytes: i64::try_from(arrival.bytes).unwrap_or(i64::MAX),
            format: refusal.format.clone(),
            format_version: refusal.format_version.clone(),
            reason: refusal.reason.clone(),
            quarantine_path: text_of(&path),
            at: now.timestamp_micros(),
        };
        self.write_reason(&path, &refused, refusal, now)?;
        self.ledger.mark_quarantined(&refused)?;
        arrival.remove(&self.files)?;
        if !arrival.keep_source {
            self.watch_kept(source_file_id, &path, refused.bytes);
        }
        tracing::warn!(
            file_id = hash12(source_file_id),
            file = %files::readable_path(&arrival.path),
            reason = %refusal.reason,
            "a file went to quarantine"
        );
        Ok(Taken::Done(FileOutcome::Quarantined {
            source_file_id: source_file_id.to_owned(),
            reason: refusal.reason.clone(),
            path,
        }))
    }

    /// Bytes that were refused before: the new name joins them.
    pub(crate) fn join_quarantine(
        &self,
        arrival: &Arrival,
        entry: &FileEntry,
        now: DateTime<Utc>,
    ) -> Result<Taken, IntakeError> {
        let id = entry.source_file_id.as_str();
        let folder = match entry.quarantine_path.as_deref().and_then(|path| Path::new(path).parent()) {
            Some(folder) => folder.to_owned(),
            None => self.quarantine_folder(id, now)?,
        };
        let path = folder.join(fitting(&arrival.name()));
        let is_gone = entry.quarantine_path.is_none();
        if is_gone || !arrival.keep_source {
            self.place(&arrival.path, &path, id, arrival.keep_source)?;
        }
        if !arrival.keep_source {
            self.watch_kept(id, &path, entry.bytes);
        }
        self.ledger.add_alias(id, &arrival.name(), &arrival.folder(), now.timestamp_micros())?;
        if is_gone {
            // It had been removed by hand and is here again.
            self.ledger.note_quarantine_path(id, &text_of(&path))?;
        }
        self.tell_further_names(entry)?;
        arrival.remove(&self.files)?;
        tracing::warn!(
            file_id = hash12(id),
            file = %files::readable_path(&arrival.path),
            first = %files::readable_text(&entry.first_name),
            reason = entry.reason.as_deref(),
            "the same bytes are in quarantine already; the file joins them"
        );
        Ok(Taken::Done(FileOutcome::Quarantined {
            source_file_id: id.to_owned(),
            reason: entry.reason.clone().unwrap_or_default(),
            path,
        }))
    }

    /// Writes into the reason beside a refused file under which other names its bytes arrived. A reason that is gone or that
    /// somebody edited is left alone: the ledger knows the names as well.
    fn tell_further_names(&self, entry: &FileEntry) -> Result<(), IntakeError> {
        let Some(path) = &entry.quarantine_path else { return Ok(()) };
        let beside = reason_path(Path::new(path));
        if self.files.stat(&beside)?.is_none() {
            return Ok(());
        }
        let bytes = self.files.read(&beside, LARGEST_REASON)?;
        let Ok(mut reason) = serde_json::from_slice::<serde_json::Value>(&bytes) else { return Ok(()) };
        let Some(keys) = reason.as_object_mut() else { return Ok(()) };
        keys.insert(FURTHER_NAMES.to_owned(), self.further_names(&entry.source_file_id)?);
        self.files.write_durable(&beside, format!("{reason:#}\n").as_bytes())?;
        Ok(())
    }

    /// The names under which a file's bytes arrived after the first, the latest of them.
    fn further_names(&self, source_file_id: &str) -> Result<serde_json::Value, IntakeError> {
        let names = self.ledger.names_of(source_file_id)?;
        let further = names.iter().skip(1);
        let told = further.rev().take(MOST_NAMES_TOLD).map(|name| {
            let seen_at = DateTime::from_timestamp_micros(name.seen_at).unwrap_or_default();
            let seen_at = seen_at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
            json!({ "name": name.name, "folder": name.folder, "seen_at": seen_at })
        });
        Ok(told.collect())
    }

    /// Writes the reason beside a refused file.
    pub(crate) fn write_reason(
        &self,
        path: &Path,
        refused: &Quarantined,
        refusal: &Refusal,
        now: DateTime<Utc>,
    ) -> Result<(), IntakeError> {
        let scores: Vec<serde_json::Value> = refusal
            .scores
            .iter()
            .map(|score| json!({ "pack": score.pack, "score": score.score, "because": score.because }))
            .collect();
        let problems: Vec<serde_json::Value> = refusal
            .problems
            .iter()
            .take(MOST_PROBLEMS_TOLD)
            .map(|problem| {
                json!({
                    "severity": problem.severity.word(),
                    "line": problem.line,
                    "column": problem.column,
                    "text": problem.text,
                    "rule": problem.rule,
                    "message": problem.message,
                    "hint": problem.hint,
                })
            })
            .collect();
        let reason = json!({
            "format_version": 1,
            "site_id": self.settings.site_id,
            "source_file_id": refused.source_file_id,
            "name": refused.name,
            "folder": refused.folder,
            "bytes": refused.bytes,
            "refused_at": now.to_rfc3339_opts(chrono::SecondsFormat::Secs, true),
            "reason": refusal.reason,
            "hint": refusal.hint,
            "pack": refusal.format,
            "pack_version": refusal.format_version,
            "scores": scores,
            "changes": refusal.drift.as_ref().map_or(&[][..], |drift| &drift.changes),
            "edits": refusal.drift.as_ref().map_or(&[][..], |drift| &drift.edits),
            FURTHER_NAMES: self.further_names(&refused.source_file_id)?,
            "rows_seen": refusal.rows_seen,
            "rows_that_could_be_taken": refusal.rows_accepted,
            "problems_total": refusal.problems.len(),
            "problems": problems,
        });
        self.files.write_durable(&reason_path(path), format!("{reason:#}\n").as_bytes())?;
        Ok(())
    }

    /// `quarantine/<date>-<hash>`; the folder of an earlier, interrupted attempt where there is one.
    fn quarantine_folder(&self, source_file_id: &str, now: DateTime<Utc>) -> Result<PathBuf, IntakeError> {
        let ending = hash12(source_file_id).to_owned();
        let mut known = self.quarantine_folders.lock().unwrap_or_else(PoisonError::into_inner);
        let known = match &mut *known {
            Some(known) => known,
            // Listed once: a flood of refused files must not list them all again and again.
            unread => {
                let mut folders = HashMap::new();
                for entry in self.files.list(&self.settings.quarantine_dir)? {
                    if let (EntryKind::Folder, Some((_, ending))) = (entry.kind, entry.name.rsplit_once('-')) {
                        folders.insert(ending.to_owned(), entry.path);
                    }
                }
                unread.insert(folders)
            }
        };
        let date = now.with_timezone(&self.settings.zone).format("%Y-%m-%d");
        let new = || self.settings.quarantine_dir.join(format!("{date}-{}", hash12(source_file_id)));
        Ok(known.entry(ending).or_insert_with(new).clone())
    }

    /// The folders changed; they are listed again when the next file is refused.
    pub(crate) fn forget_quarantine_folders(&self) {
        *self.quarantine_folders.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}
