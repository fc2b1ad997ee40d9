//! What the generator knows and the lake must confirm.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use super::exports::{Kind, Row};

/// Everything that was dropped, and what must have become of it.
#[derive(Debug, Default)]
pub struct Truth {
    /// Rows that must stand in the lake exactly once, by identity, with their ball speed in metres a second.
    pub required: BTreeMap<String, f64>,
    /// SHA-256 of every finished export, with its name: its bytes must stand in the archive, and in `imports`.
    pub accepted: BTreeMap<String, String>,
    /// SHA-256 of every file that is no export: its bytes must stand in quarantine, with a reason.
    pub refused: BTreeMap<String, String>,
    /// What must still stand in its import folder.
    pub waiting: BTreeSet<PathBuf>,
    /// Exports that may be corrected or repeated later.
    pub settled: Vec<Dropped>,
    /// Files dropped so far.
    pub files: usize,
    /// Rows written so far, repetitions included.
    pub rows_offered: usize,
}

/// An export that was dropped whole.
#[derive(Debug, Clone)]
pub struct Dropped {
    pub kind: Kind,
    pub rows: Vec<Row>,
    pub path: PathBuf,
}

impl Truth {
    /// Takes in what another generator knows; no two of them know of the same row.
    pub fn join(&mut self, other: Truth) {
        self.required.extend(other.required);
        self.accepted.extend(other.accepted);
        self.refused.extend(other.refused);
        self.waiting.extend(other.waiting);
        self.settled.extend(other.settled);
        self.files += other.files;
        self.rows_offered += other.rows_offered;
    }

    /// Notes the final content of an export: from now on its sound rows are required.
    pub fn accept(&mut self, kind: Kind, rows: &[Row], text: &str, name: &str) {
        for row in rows.iter().filter(|row| !row.broken) {
            self.required.insert(row.identity(kind), row.speed_mps(kind));
        }
        self.rows_offered += rows.len();
        self.accepted.insert(sha256(text.as_bytes()), name.to_owned());
    }

    /// Notes a file that must end in quarantine.
    pub fn refuse(&mut self, content: &[u8], name: &str) {
        self.refused.insert(sha256(content), name.to_owned());
    }
}

/// SHA-256 as `sha256sum` prints it.
pub fn sha256(bytes: &[u8]) -> String {
    files::sha256_of_bytes(bytes)
}
