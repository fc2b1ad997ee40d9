//! Do ledger, lake, archive and quarantine tell one story? Looks only, and works beside a running daemon: the ledger is asked
//! first and the lake after it, and what seems wrong about a file is believed only if its entry has stayed the same.

use std::collections::{HashMap, HashSet};
use std::path::Path;
use std::time::Duration;

use files::Files;
use lake::{Examination, Examined, Lake, LakeFaultKind};
use ledger::{FileEntry, FileState, Ledger};
use shot::TableSchema;

use crate::IntakeError;
use crate::imports_told::{ImportTold, imports_told};
use crate::kept_files::files_below;
use crate::names::{hash12, name_of};

/// A re-export may come with mended times: so far apart two imports of one shot may lie.
const DAY_MICROS: i64 = 86_400_000_000;

/// One thing that is wrong, in a sentence, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditFault {
    /// The file or folder concerned.
    pub subject: String,
    /// What is wrong, as the end of a sentence that begins with the subject.
    pub problem: String,
    /// What to do.
    pub hint: String,
}

impl std::fmt::Display for AuditFault {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{} {}\nhint: {}", self.subject, self.problem, self.hint)
    }
}

/// How far an audit has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AuditProgress {
    /// Files of the lake.
    Lake(Examined),
    /// Files in archive and quarantine: how many are done, and of how many.
    Kept(usize, usize),
}

/// What an audit found.
#[derive(Debug, Default)]
pub struct Audit {
    /// What is wrong.
    pub faults: Vec<AuditFault>,
    /// What is worth knowing and not wrong.
    pub notes: Vec<String>,
    /// The lake, looked at by itself.
    pub lake: Examination,
    /// Published files whose rows in the lake are not what the ledger tells, by hash.
    pub files_to_read_again: Vec<String>,
    /// Files in archive and quarantine that were hashed.
    pub kept_files: usize,
    /// Files of ours without a copy in the archive: removed by hand, or lost before they could be archived.
    pub without_copy: usize,
}

/// What an audit looks at.
pub struct AuditSubject<'a> {
    /// The ledger.
    pub ledger: &'a Ledger,
    /// The lake.
    pub lake: &'a Lake,
    /// The file system.
    pub files: &'a Files,
    /// Where the originals stand.
    pub archive_dir: &'a Path,
    /// All datasets that are known, those of the jobs too.
    pub schemas: &'a [TableSchema],
    /// How long something may seem wrong before it is called wrong; zero where nobody writes.
    pub patience: Duration,
}

const REPAIR: &str = "stop the daemon, then `strikemill repair`";

impl AuditSubject<'_> {
    /// Looks at everything. Reads every file of lake, archive and quarantine.
    pub fn audit(&self, tell: &dyn Fn(AuditProgress)) -> Result<Audit, IntakeError> {
        let mut audit = self.audit_rows(tell)?;
        self.check_kept(&mut audit, tell)?;
        Ok(audit)
    }

    /// Looks at ledger and lake, and not at the files in archive and quarantine.
    pub fn audit_rows(&self, tell: &dyn Fn(AuditProgress)) -> Result<Audit, IntakeError> {
        let mut audit = Audit::default();
        for problem in self.ledger.integrity()? {
            audit.faults.push(AuditFault {
                subject: self.ledger.path().display().to_string(),
                problem: format!("is damaged: {problem}"),
                hint: REPAIR.to_owned(),
            });
        }
        let entries = self.published_entries()?;
        let newest_noted = self.ledger.generations()?.iter().map(|partition| partition.generation).max().unwrap_or(0);
        audit.lake = self.lake.examine(self.schemas, self.patience, &|examined| tell(AuditProgress::Lake(examined)))?;
        for fault in &audit.lake.faults {
            audit.faults.push(AuditFault {
                subject: self.lake.root().join(&fault.path).display().to_string(),
                problem: fault.problem.clone(),
                hint: hint_for(fault.kind).to_owned(),
            });
        }
        if newest_noted > self.lake.manifest()?.generation {
            audit.faults.push(AuditFault {
                subject: self.lake.root().display().to_string(),
                problem: format!(
                    "is at generation {}, but the ledger has noted generation {newest_noted}: the lake is older than its ledger",
                    audit.lake.generation
                ),
                hint: "was a backup put back? `strikemill repair` (the daemon stopped) reads what is missing from the archive".to_owned(),
            });
        }
        self.check_rows(&entries, &mut audit)?;
        Ok(audit)
    }

    fn published_entries(&self) -> Result<Vec<FileEntry>, IntakeError> {
        let mut entries = self.ledger.files_in_state(FileState::Published)?;
        entries.extend(self.ledger.files_in_state(FileState::Archived)?);
        Ok(entries)
    }

    /// Compares what the ledger tells of each published file with the rows that stand.
    fn check_rows(&self, entries: &[FileEntry], audit: &mut Audit) -> Result<(), IntakeError> {
        // Partitions that do not read are faults already.
        let (imports, _) = imports_told(self.lake)?;
        let latest = LatestImports::of(&imports);
        for entry in entries {
            let id = &entry.source_file_id;
            let told = imports.get(id);
            let standing = audit.lake.rows_of(id, "shots") + audit.lake.rows_of(id, "strike_marks");
            let Some(problem) = problem_of_rows(entry, told, standing, &latest) else { continue };
            if self.ledger.file(id)?.as_ref() != Some(entry) {
                continue; // It was read again meanwhile.
            }
            audit.files_to_read_again.push(id.clone());
            audit.faults.push(AuditFault {
                subject: named(entry),
                problem,
                hint: format!("{REPAIR}: it reads the file from the archive again"),
            });
        }
        let known: std::collections::HashSet<&str> =
            entries.iter().map(|entry| entry.source_file_id.as_str()).collect();
        let with_rows = audit.lake.rows_by_source.keys().chain(imports.keys());
        let mut strangers: Vec<&String> = with_rows.filter(|id| !known.contains(id.as_str())).collect();
        strangers.sort();
        strangers.dedup();
        for id in strangers {
            let is_known = self.ledger.file(id)?.is_some_and(|entry| {
                matches!(entry.state, FileState::Staged | FileState::Published | FileState::Archived)
            });
            if !is_known {
                let name = imports.get(id).map_or("?", |import| import.file_name.as_str());
                audit.faults.push(AuditFault {
                    subject: format!("{name} ({})", hash12(id)),
                    problem: "has rows in the lake, but the ledger does not know it as published".to_owned(),
                    hint: "was an older ledger put back? move state/ledger.sqlite aside, then `strikemill repair` rebuilds it from the lake".to_owned(),
                });
            }
        }
        Ok(())
    }

    /// Every archived and every refused file stands with its hash.
    fn check_kept(&self, audit: &mut Audit, tell: &dyn Fn(AuditProgress)) -> Result<(), IntakeError> {
        let archived = self.ledger.files_in_state(FileState::Archived)?;
        let refused = self.ledger.files_in_state(FileState::Quarantined)?;
        let total = archived.len() + refused.len();
        for (number, entry) in archived.iter().chain(&refused).enumerate() {
            let is_archived = entry.state == FileState::Archived;
            let path = if is_archived { &entry.archive_path } else { &entry.quarantine_path };
            let Some(path) = path else {
                audit.without_copy += 1;
                continue;
            };
            if let Some(problem) = self.problem_of_bytes(Path::new(path), entry)?
                && self.ledger.file(&entry.source_file_id)?.as_ref() == Some(entry)
            {
                let hint = if is_archived {
                    "put the original back from a backup; its rows stay in the lake, but cannot be read again without it"
                } else {
                    "put the file back from a backup, or drop it into an import folder again"
                };
                let (subject, hint) = (path.clone(), hint.to_owned());
                audit.faults.push(AuditFault { subject, problem, hint });
            }
            audit.kept_files += 1;
            tell(AuditProgress::Kept(number + 1, total));
        }
        self.check_strangers(audit)?;
        if audit.without_copy > 0 {
            audit.notes.push(format!(
                "{} file(s) have no copy any more: removed by hand, or lost earlier",
                audit.without_copy
            ));
        }
        Ok(())
    }

    /// Originals that the ledger knows nothing of: it comes from an older backup, and their rows are missing or in danger.
    fn check_strangers(&self, audit: &mut Audit) -> Result<(), IntakeError> {
        let duplicates = self.archive_dir.join("duplicates");
        let mut known: HashSet<String> = HashSet::new();
        for (state, _) in FileState::WORDS {
            for entry in self.ledger.files_in_state(state)? {
                known.insert(hash12(&entry.source_file_id).to_owned());
            }
        }
        let mut strangers = Vec::new();
        for file in files_below(self.files, self.archive_dir)? {
            let name = name_of(&file.path);
            let is_known = name.get(..12).is_none_or(|start| known.contains(start));
            // Asked once more: it may have been archived since.
            if !is_known
                && !file.path.starts_with(&duplicates)
                && self.ledger.files_by_prefix(name.get(..12).unwrap_or_default())?.is_empty()
            {
                strangers.push(file.path);
            }
        }
        if let Some(first) = strangers.first() {
            audit.faults.push(AuditFault {
                subject: self.archive_dir.display().to_string(),
                problem: format!(
                    "holds {} original(s) that the ledger does not know, for example {}",
                    strangers.len(),
                    files::readable_path(first)
                ),
                hint: "was an older backup put back? stop the daemon, move state/ledger.sqlite aside, then `strikemill repair` rebuilds it and reads what is missing".to_owned(),
            });
        }
        Ok(())
    }

    fn problem_of_bytes(&self, path: &Path, entry: &FileEntry) -> Result<Option<String>, IntakeError> {
        let Some(stat) = self.files.stat(path)? else { return Ok(Some("is missing".to_owned())) };
        if i64::try_from(stat.bytes) != Ok(entry.bytes) {
            return Ok(Some(format!("has {} bytes, not {}", stat.bytes, entry.bytes)));
        }
        match self.files.sha256_of_file(path) {
            Ok(hash) if hash == entry.source_file_id => Ok(None),
            Ok(_) => Ok(Some("has other bytes than were imported".to_owned())),
            Err(error) => Ok(Some(format!("cannot be read: {}", error.cause))),
        }
    }
}

/// The newest imports of each pack, to know whether another file may have taken a row over.
struct LatestImports<'a> {
    by_format: HashMap<&'a str, Vec<&'a ImportTold>>,
}

impl<'a> LatestImports<'a> {
    fn of(imports: &'a HashMap<String, ImportTold>) -> LatestImports<'a> {
        let mut by_format: HashMap<&str, Vec<&ImportTold>> = HashMap::new();
        for import in imports.values() {
            by_format.entry(&import.format).or_default().push(import);
        }
        for of_format in by_format.values_mut() {
            of_format.sort_by_key(|import| std::cmp::Reverse(import.import_sequence));
        }
        LatestImports { by_format }
    }

    /// Whether a later import of the same pack may hold the same rows.
    fn may_have_taken_over(&self, import: &ImportTold) -> bool {
        let Some(of_format) = self.by_format.get(import.format.as_str()) else { return false };
        let (from, to) = (import.first_struck_at.unwrap_or(i64::MIN), import.last_struck_at.unwrap_or(i64::MAX));
        let later = of_format.iter().take_while(|other| other.import_sequence > import.import_sequence);
        later.into_iter().any(|other| other.may_touch(from.saturating_sub(DAY_MICROS), to.saturating_add(DAY_MICROS)))
    }
}

fn problem_of_rows(
    entry: &FileEntry,
    told: Option<&ImportTold>,
    standing: i64,
    latest: &LatestImports<'_>,
) -> Option<String> {
    let Some(told) = told else {
        return Some(format!(
            "is published by the ledger with {} rows, but the lake's imports do not name it",
            entry.rows_accepted
        ));
    };
    let by_ledger = (entry.rows_accepted, entry.rows_rejected, entry.import_sequence);
    let by_lake = (told.rows_accepted, told.rows_rejected, Some(told.import_sequence));
    if by_ledger != by_lake {
        return Some(format!(
            "has {} accepted and {} refused rows by the ledger, {} and {} by the lake's imports",
            by_ledger.0, by_ledger.1, by_lake.0, by_lake.1
        ));
    }
    if standing > told.rows_accepted {
        return Some(format!("has {standing} rows in the lake, but only {} were accepted", told.rows_accepted));
    }
    if standing < told.rows_accepted && !latest.may_have_taken_over(told) {
        return Some(format!(
            "has {standing} of its {} rows in the lake, and no later file can have taken the others over",
            told.rows_accepted
        ));
    }
    None
}

fn named(entry: &FileEntry) -> String {
    format!("{} ({})", entry.first_name, crate::names::hash12(&entry.source_file_id))
}

fn hint_for(kind: LakeFaultKind) -> &'static str {
    match kind {
        LakeFaultKind::Missing | LakeFaultKind::Altered | LakeFaultKind::Unreadable => {
            "stop the daemon, then `strikemill repair`: it reads the rows from the archive again"
        }
        LakeFaultKind::Unnamed => {
            "start the daemon, which finishes what was cut off; if it stays, stop it and `strikemill repair`"
        }
        LakeFaultKind::Frozen => "the next publication into it, or `strikemill repair`, gives it one again",
        LakeFaultKind::Unsound | LakeFaultKind::Doubled => {
            "stop the daemon, then `strikemill repair`; keep a copy of the file and report it"
        }
    }
}
