//! A file that is about to be taken.

use std::path::PathBuf;
use std::time::UNIX_EPOCH;

use files::{EntryKind, FileIdentity, FileStat, Files};

use crate::IntakeError;
use crate::names::{name_of, text_of};

/// A file as the last look found it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Arrival {
    pub(crate) path: PathBuf,
    pub(crate) bytes: u64,
    pub(crate) modified: Option<i64>,
    /// Which file it was; nothing where the volume's numbers cannot be relied on.
    pub(crate) identity: Option<FileIdentity>,
    /// True = the file belongs to somebody else: it is copied, never removed.
    pub(crate) keep_source: bool,
    /// True = the format's structural end must be there.
    pub(crate) patient: bool,
    /// True = a person named the file, who does not want to wait and wants a refused file tried again.
    pub(crate) named: bool,
}

impl Arrival {
    pub(crate) fn name(&self) -> String {
        name_of(&self.path)
    }

    pub(crate) fn folder(&self) -> String {
        self.path.parent().map_or_else(String::new, text_of)
    }

    /// Whether the file still looks as it did.
    pub(crate) fn is_unchanged(&self, files: &Files) -> Result<bool, IntakeError> {
        let Some(stat) = files.stat(&self.path)? else { return Ok(false) };
        let is_same = self.identity.is_none() || stat.identity == self.identity;
        let is_unchanged = stat.bytes == self.bytes && modified_micros(&stat) == self.modified;
        Ok(stat.kind == EntryKind::File && is_same && is_unchanged)
    }

    /// Removes the source, unless it is not ours to remove or something else stands there by now.
    pub(crate) fn remove(&self, files: &Files) -> Result<(), IntakeError> {
        if !self.keep_source && self.is_unchanged(files)? {
            files.remove(&self.path)?;
        }
        Ok(())
    }
}

/// Time of last change in microseconds since 1970.
pub(crate) fn modified_micros(stat: &FileStat) -> Option<i64> {
    let modified = stat.modified?;
    match modified.duration_since(UNIX_EPOCH) {
        Ok(after) => i64::try_from(after.as_micros()).ok(),
        Err(before) => i64::try_from(before.duration().as_micros()).ok().map(|micros| -micros),
    }
}
