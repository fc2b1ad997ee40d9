//! What stands in archive and quarantine, whatever any ledger says: every file by the hash of its bytes.

use std::path::{Path, PathBuf};

use files::{EntryKind, Files, is_temporary_name};

use crate::IntakeError;
use crate::quarantine::REASON_SUFFIX;

/// A file and when it was last changed, as far as the disk tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct KeptFile {
    pub(crate) path: PathBuf,
    pub(crate) bytes: u64,
    pub(crate) modified: Option<i64>,
}

/// All files below a folder, by path; temporary ones, and our own notes, left out.
pub(crate) fn files_below(files: &Files, folder: &Path) -> Result<Vec<KeptFile>, IntakeError> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(folder) = waiting.pop() {
        for entry in files.list(&folder)? {
            let is_ours = entry.name.starts_with('.') || entry.name.ends_with(REASON_SUFFIX);
            if is_ours || is_temporary_name(&entry.name) {
                continue;
            }
            match entry.kind {
                EntryKind::Folder => waiting.push(entry.path),
                EntryKind::File => {
                    if let Some(stat) = files.stat(&entry.path)? {
                        let modified = crate::arrival::modified_micros(&stat);
                        found.push(KeptFile { path: entry.path, bytes: stat.bytes, modified });
                    }
                }
                _ => {}
            }
        }
    }
    found.sort_by(|left, right| left.path.cmp(&right.path));
    Ok(found)
}

/// What a reason beside a refused file tells.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct ReasonTold {
    pub(crate) source_file_id: String,
    pub(crate) name: String,
    pub(crate) folder: String,
    pub(crate) reason: String,
    pub(crate) format: Option<String>,
    pub(crate) format_version: Option<String>,
    pub(crate) refused_at: Option<i64>,
}

/// The reason beside a file; `None` where there is none that reads.
pub(crate) fn reason_beside(files: &Files, path: &Path) -> Result<Option<ReasonTold>, IntakeError> {
    const MOST_BYTES: u64 = 64 << 20;
    let mut beside = path.as_os_str().to_owned();
    beside.push(REASON_SUFFIX);
    let beside = Path::new(&beside);
    if files.stat(beside)?.is_none() {
        return Ok(None);
    }
    let bytes = files.read(beside, MOST_BYTES)?;
    let Ok(document) = serde_json::from_slice::<serde_json::Value>(&bytes) else { return Ok(None) };
    let text = |key: &str| document.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
    let refused_at = text("refused_at").and_then(|instant| chrono::DateTime::parse_from_rfc3339(&instant).ok());
    Ok(Some(ReasonTold {
        source_file_id: text("source_file_id").unwrap_or_default(),
        name: text("name").unwrap_or_default(),
        folder: text("folder").unwrap_or_default(),
        reason: text("reason").unwrap_or_default(),
        format: text("pack"),
        format_version: text("pack_version"),
        refused_at: refused_at.map(|instant| instant.timestamp_micros()),
    }))
}
