//! A lost ledger, rebuilt from what lake, archive and quarantine tell.
//!
//! What only the ledger knew does not come back: past runs of jobs, what was removed by hand and when, whom an alert told. The
//! names of players come back by reading the archived files again, and forgotten persons from the note beside the archive.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::{DateTime, Utc};
use files::{Files, sha256_of_bytes};
use formats::PackSet;
use lake::Lake;
use ledger::{FileEntry, FileName, FileState, Ledger, PartitionGeneration, PlayerText};

use crate::forgotten::Forgotten;
use crate::import_traces::{Trace, add_traces, packs_of_marks, refused_entry};
use crate::imports_told::{ImportTold, imports_told};
use crate::judge::{Judgement, judge, site_context};
use crate::kept_files::{KeptFile, ReasonTold, files_below, reason_beside};
use crate::names::{hash12, name_of, text_of};
use crate::unknown_names::texts_of;
use crate::{IntakeError, IntakeSettings, Roster};

/// Entries written in one transaction.
const ENTRIES_AT_A_TIME: usize = 500;

const NO_COPY: &str = "no copy of it stood in the archive when the ledger was rebuilt";

/// What a rebuilt ledger holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LedgerRebuilt {
    /// Files that the lake tells of.
    pub from_lake: usize,
    /// Files in the archive that the lake does not tell of; they are read again.
    pub unknown_to_the_lake: usize,
    /// Files of the lake without a copy in the archive.
    pub without_copy: usize,
    /// Refused files.
    pub refused: usize,
    /// The next import gets this number.
    pub next_import_sequence: i64,
    /// What could not be read and was passed over.
    pub passed_over: Vec<String>,
}

/// What a rebuild works on.
pub struct LedgerRebuild<'a> {
    /// The new, empty ledger.
    pub ledger: &'a Ledger,
    /// The lake.
    pub lake: &'a Lake,
    /// The file system.
    pub files: &'a Files,
    /// The settings of intake.
    pub settings: &'a IntakeSettings,
    /// The mapping packs.
    pub packs: &'a PackSet,
    /// The roster.
    pub roster: &'a Roster,
}

impl LedgerRebuild<'_> {
    /// Fills the ledger. `tell` hears how many archived files are done, and of how many.
    pub fn run(&self, now: DateTime<Utc>, tell: &dyn Fn(usize, usize)) -> Result<LedgerRebuilt, IntakeError> {
        let mut done = LedgerRebuilt::default();
        self.ledger.bind_site(&self.settings.site_id)?;
        self.ledger.settle_home(&self.settings.home)?;
        let (imports, unread) = imports_told(self.lake)?;
        done.passed_over.extend(unread);
        let mut traces = self.traces(&mut done)?;
        for (id, import) in &imports {
            let trace = traces.entry(id.clone()).or_default();
            trace.import_sequence = trace.import_sequence.max(import.import_sequence);
            trace.format.clone_from(&import.format);
            trace.format_version.clone_from(&import.format_version);
            trace.imported_at = import.imported_at;
        }
        let last = traces.values().map(|trace| trace.import_sequence).max().unwrap_or(0);
        self.ledger.raise_import_sequence(last + 1)?;

        let mut refused = self.refused(&mut done)?;
        let mut batch: Vec<Restored> = Vec::new();
        let mut copies = self.archived(&traces, tell, &mut done, &mut batch, now)?;
        let marks_only = packs_of_marks(&traces);
        for (id, trace) in &traces {
            let kept = copies.remove(id);
            let entry =
                self.entry(id, trace, imports.get(id), kept.as_ref(), refused.remove(id), &marks_only, &mut done);
            let (names, texts) = kept.map_or_else(Default::default, |kept| (kept.names, kept.texts));
            self.push(&mut batch, Restored { entry, names, texts })?;
            done.from_lake += 1;
        }
        for (id, (path, told)) in refused {
            let entry = refused_entry(&id, &path, &told, now);
            self.push(&mut batch, Restored { entry, names: Vec::new(), texts: Vec::new() })?;
            done.refused += 1;
        }
        self.write(&mut batch)?;
        let manifest = self.lake.manifest().ok();
        let generations: Vec<PartitionGeneration> = manifest
            .iter()
            .flat_map(|manifest| &manifest.files)
            .map(|file| PartitionGeneration {
                dataset: file.dataset.clone(),
                month: file.month.map_or_else(String::new, |month| month.to_string()),
                generation: file.generation,
                rows: file.rows,
            })
            .collect();
        self.ledger.record_generations(&generations, now.timestamp_micros())?;
        done.next_import_sequence = self.ledger.next_import_sequence()? + 1;
        Ok(done)
    }

    /// What the rows of the lake tell of their files, for the time when `imports` is damaged too.
    fn traces(&self, done: &mut LedgerRebuilt) -> Result<BTreeMap<String, Trace>, IntakeError> {
        const COLUMNS: [&str; 6] =
            ["source_file_id", "import_sequence", "format", "format_version", "imported_at", "bay"];
        let mut traces: BTreeMap<String, Trace> = BTreeMap::new();
        for dataset in ["shots", "strike_marks", "rejects"] {
            for month in self.lake.partitions(dataset)? {
                let mut fault = None;
                let read = self.lake.read_columns(dataset, month, &COLUMNS, |batch| {
                    if let Err(error) = add_traces(dataset, batch, &mut traces) {
                        fault = Some(error.to_string());
                    }
                    Ok(())
                });
                done.passed_over.extend(read.err().map(|error| error.to_string()).or(fault));
            }
        }
        Ok(traces)
    }

    /// Every archived file, hashed and its names of players read. Files that the lake does not tell of get entries at once.
    fn archived(
        &self,
        traces: &BTreeMap<String, Trace>,
        tell: &dyn Fn(usize, usize),
        done: &mut LedgerRebuilt,
        batch: &mut Vec<Restored>,
        now: DateTime<Utc>,
    ) -> Result<BTreeMap<String, Kept>, IntakeError> {
        // Whoever was forgotten stays so: the note beside the archive outlives the ledger.
        let forgotten = Forgotten::load(self.ledger, self.files, self.settings)?;
        let duplicates = self.settings.archive_dir.join("duplicates");
        let mut found = files_below(self.files, &self.settings.archive_dir)?;
        // Copies under another name come last; within a month the disk's times are the best order there is.
        found.sort_by_key(|file| {
            let folder = file.path.parent().map(Path::to_owned);
            (file.path.starts_with(&duplicates), folder, file.modified, file.path.clone())
        });
        let total = found.len();
        let mut copies: BTreeMap<String, Kept> = BTreeMap::new();
        let mut strangers: Vec<(String, Stranger)> = Vec::new();
        for (number, file) in found.into_iter().enumerate() {
            tell(number + 1, total);
            let id = match self.files.sha256_of_file(&file.path) {
                Ok(id) => id,
                Err(error) => {
                    done.passed_over.push(error.to_string());
                    continue;
                }
            };
            let name = original_name(&file.path, &id);
            if let Some(kept) = copies.get_mut(&id) {
                kept.names.push(FileName { name, folder: String::new(), seen_at: now.timestamp_micros() });
                continue;
            }
            let judged = self.read(&file, &id, &name, &forgotten, done);
            let texts = judged.as_ref().map(|judged| judged.texts.clone()).unwrap_or_default();
            let kept = Kept { path: text_of(&file.path), bytes: file.bytes, names: Vec::new(), texts };
            if !traces.contains_key(&id) && !file.path.starts_with(&duplicates) {
                strangers.push((id.clone(), Stranger { file, name, judged }));
            }
            copies.insert(id, kept);
        }
        for (id, stranger) in strangers {
            let kept = copies.remove(&id).unwrap_or_default();
            let entry = self.stranger_entry(&id, &stranger, now)?;
            self.push(batch, Restored { entry, names: kept.names, texts: kept.texts })?;
            done.unknown_to_the_lake += 1;
        }
        Ok(copies)
    }

    /// Reads an archived file for the names in it, and for its pack.
    fn read(
        &self,
        file: &KeptFile,
        id: &str,
        name: &str,
        forgotten: &Forgotten,
        done: &mut LedgerRebuilt,
    ) -> Option<Judged> {
        let bytes = match self.files.read(&file.path, self.settings.limits.max_file_bytes as u64) {
            Ok(bytes) if sha256_of_bytes(&bytes) == id => bytes,
            Ok(_) => return None,
            Err(error) => {
                done.passed_over.push(error.to_string());
                return None;
            }
        };
        match judge(self.packs, name, &bytes, false, &site_context(self.settings, None, self.roster)) {
            Judgement::Accept { pack, mut parsed, .. } => {
                forgotten.suppress(&mut parsed);
                Some(Judged {
                    format: pack.name().to_owned(),
                    format_version: pack.version().to_owned(),
                    texts: texts_of(&parsed),
                })
            }
            _ => None,
        }
    }

    /// Refused files by hash, with where they stand.
    fn refused(&self, done: &mut LedgerRebuilt) -> Result<BTreeMap<String, (KeptFile, ReasonTold)>, IntakeError> {
        let mut refused = BTreeMap::new();
        for file in files_below(self.files, &self.settings.quarantine_dir)? {
            let Some(told) = reason_beside(self.files, &file.path)? else { continue };
            let id = self.files.sha256_of_file(&file.path)?;
            if id == told.source_file_id {
                refused.insert(id, (file, told));
            } else {
                done.passed_over.push(format!("{} is not the file its reason speaks of", file.path.display()));
            }
        }
        Ok(refused)
    }

    #[allow(clippy::too_many_arguments)] // each is a place where a part of the entry is told
    fn entry(
        &self,
        id: &str,
        trace: &Trace,
        import: Option<&ImportTold>,
        kept: Option<&Kept>,
        refused: Option<(KeptFile, ReasonTold)>,
        marks_only: &BTreeSet<String>,
        done: &mut LedgerRebuilt,
    ) -> FileEntry {
        let accepted = import.map_or(trace.shots + trace.marks, |import| import.rows_accepted);
        let is_of_marks = trace.shots == 0 && (trace.marks > 0 || marks_only.contains(&trace.format));
        let name_by_copy = kept.map(|kept| original_name(Path::new(&kept.path), id));
        let mut entry = FileEntry {
            source_file_id: id.to_owned(),
            state: FileState::Archived,
            first_name: import.map(|import| import.file_name.clone()).or(name_by_copy).unwrap_or_default(),
            folder: kept
                .and_then(|kept| self.folder_told_by(Path::new(&kept.path)))
                .unwrap_or_else(|| self.folder_of_bays(&trace.bays)),
            bytes: import
                .map(|import| import.file_bytes)
                .or(kept.map(|kept| kept.bytes.cast_signed()))
                .unwrap_or_default(),
            format: Some(trace.format.clone()),
            format_version: Some(trace.format_version.clone()),
            import_sequence: Some(trace.import_sequence),
            rows_accepted: accepted,
            marks_accepted: if is_of_marks { accepted } else { trace.marks.min(accepted) },
            rows_rejected: import.map_or(0, |import| import.rows_rejected),
            reason: None,
            source_path: None,
            keep_source: false,
            replaces_rows: false,
            archive_path: kept.map(|kept| kept.path.clone()),
            quarantine_path: None,
            claimed_at: trace.imported_at,
            staged_at: Some(trace.imported_at),
            published_at: Some(trace.imported_at),
            archived_at: Some(trace.imported_at),
            quarantined_at: None,
        };
        if kept.is_some() {
            return entry;
        }
        if let Some((file, told)) = refused {
            // It was accepted on a retry and had not left quarantine yet: the next start archives it.
            entry.state = FileState::Published;
            entry.source_path = Some(text_of(&file.path));
            entry.quarantine_path = Some(text_of(&file.path));
            entry.folder = told.folder;
            entry.archived_at = None;
        } else {
            entry.reason = Some(NO_COPY.to_owned());
            done.without_copy += 1;
        }
        entry
    }

    /// A file that stands in the archive although the lake tells nothing of it: its rows are lost with the lake.
    fn stranger_entry(&self, id: &str, stranger: &Stranger, now: DateTime<Utc>) -> Result<FileEntry, IntakeError> {
        let at = stranger.file.modified.unwrap_or_else(|| now.timestamp_micros());
        let judged = stranger.judged.as_ref();
        Ok(FileEntry {
            source_file_id: id.to_owned(),
            state: FileState::Archived,
            first_name: stranger.name.clone(),
            folder: self.folder_told_by(&stranger.file.path).unwrap_or_else(|| self.folder_of_bays(&BTreeSet::new())),
            bytes: stranger.file.bytes.cast_signed(),
            format: judged.map(|judged| judged.format.clone()),
            format_version: judged.map(|judged| judged.format_version.clone()),
            import_sequence: Some(self.ledger.next_import_sequence()?),
            rows_accepted: 0,
            marks_accepted: 0,
            rows_rejected: 0,
            reason: None,
            source_path: None,
            keep_source: false,
            replaces_rows: false,
            archive_path: Some(text_of(&stranger.file.path)),
            quarantine_path: None,
            claimed_at: at,
            staged_at: Some(at),
            published_at: Some(at),
            archived_at: Some(at),
            quarantined_at: None,
        })
    }

    /// The import folder that a file came from, as its place in the archive tells.
    fn folder_told_by(&self, kept: &Path) -> Option<String> {
        let label = name_of(kept.parent()?);
        self.settings.folder_labelled(&label).map(|folder| text_of(&folder.path))
    }

    /// The folder in which a file most likely arrived: it gives the bay to exports that name none, which is part of the
    /// identity of their shots.
    fn folder_of_bays(&self, bays: &BTreeSet<Option<String>>) -> String {
        let folders = &self.settings.folders;
        let only = if bays.len() == 1 { bays.first().cloned().flatten() } else { None };
        let by_bay = only.and_then(|bay| folders.iter().find(|folder| folder.bay.as_ref() == Some(&bay)));
        let without_bay = || folders.iter().find(|folder| folder.bay.is_none());
        let any = || if folders.len() == 1 { folders.first() } else { None };
        by_bay.or_else(without_bay).or_else(any).map_or_else(String::new, |folder| text_of(&folder.path))
    }

    fn push(&self, batch: &mut Vec<Restored>, restored: Restored) -> Result<(), IntakeError> {
        batch.push(restored);
        if batch.len() >= ENTRIES_AT_A_TIME { self.write(batch) } else { Ok(()) }
    }

    fn write(&self, batch: &mut Vec<Restored>) -> Result<(), IntakeError> {
        let restored = std::mem::take(batch);
        let entries: Vec<(FileEntry, Vec<FileName>)> =
            restored.iter().map(|one| (one.entry.clone(), one.names.clone())).collect();
        self.ledger.restore_files(&entries)?;
        for one in restored.iter().filter(|one| !one.texts.is_empty()) {
            self.ledger.note_player_texts(&one.entry.source_file_id, &one.texts)?;
        }
        Ok(())
    }
}

/// A file in the archive.
#[derive(Debug, Clone, Default)]
struct Kept {
    path: String,
    bytes: u64,
    names: Vec<FileName>,
    texts: Vec<PlayerText>,
}

struct Restored {
    entry: FileEntry,
    names: Vec<FileName>,
    texts: Vec<PlayerText>,
}

struct Judged {
    format: String,
    format_version: String,
    texts: Vec<PlayerText>,
}

struct Stranger {
    file: KeptFile,
    name: String,
    judged: Option<Judged>,
}

/// The archive puts the beginning of the hash before each name.
fn original_name(path: &Path, id: &str) -> String {
    let name = name_of(path);
    name.strip_prefix(hash12(id)).and_then(|rest| rest.strip_prefix('-')).map_or(name.clone(), str::to_owned)
}
