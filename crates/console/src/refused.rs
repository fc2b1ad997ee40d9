//! A file in quarantine as people see it: all its names, and what was proposed to mend it.

use std::fs::File;
use std::io::Read;

use ledger::{FileEntry, FileName};
use serde::Deserialize;

use crate::words::one_line;

/// So many proposed lines are kept.
const MOST_EDITS: usize = 3;
/// A reason holds some hundreds of problems at most; what is larger is not ours.
const MOST_BYTES: u64 = 4 * 1024 * 1024;

/// A file in quarantine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Its entry.
    pub file: FileEntry,
    /// All names under which its bytes arrived, oldest first; only of the newest files.
    pub names: Vec<FileName>,
    /// The first changes that would let a pack read it, as the reason beside it proposes; only of the newest files.
    pub edits: Vec<String>,
    /// What to do, as the reason beside it says; only of the newest files.
    pub hint: Option<String>,
}

/// The part of a reason that is shown.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Reason {
    hint: Option<String>,
    edits: Vec<String>,
}

impl Refused {
    pub(crate) fn of(file: FileEntry) -> Refused {
        Refused { file, names: Vec::new(), edits: Vec::new(), hint: None }
    }

    /// Why, in one line.
    pub fn reason(&self) -> String {
        one_line(self.file.reason.as_deref().unwrap_or("").lines().next().unwrap_or(""))
    }

    /// The names that arrived after the first one.
    pub fn further_names(&self) -> Vec<&str> {
        self.names.iter().map(|name| name.name.as_str()).filter(|name| *name != self.file.first_name).collect()
    }

    /// Adds what the reason beside the file says. A reason that is gone or unreadable adds nothing: a person may have moved
    /// the file by hand.
    pub(crate) fn read_reason(&mut self) {
        let Some(path) = &self.file.quarantine_path else { return };
        let Ok(file) = File::open(format!("{path}.reason.json")) else { return };
        let mut text = String::new();
        if file.take(MOST_BYTES).read_to_string(&mut text).is_err() {
            return;
        }
        let reason: Reason = serde_json::from_str(&text).unwrap_or_default();
        self.hint = reason.hint.as_deref().map(one_line).filter(|hint| !hint.is_empty());
        self.edits = reason.edits.iter().take(MOST_EDITS).map(|edit| one_line(edit)).collect();
    }
}
