//! `state/repair.json`: what a repair has begun and not finished. Once a damaged partition is set aside the lake no longer tells
//! that its rows are missing, so this is written before the first act and goes with the last one.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use files::Files;
use lake::Lake;
use ledger::Ledger;
use serde::{Deserialize, Serialize};

use crate::config::Configuration;

const MOST_BYTES: u64 = 256 << 20;

/// A repair under way.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairNote {
    /// Partitions whose rows have to be made anew: dataset and month, which is empty for a dataset without months.
    pub partitions: Vec<(String, String)>,
    /// Files to read again, by SHA-256.
    pub files: Vec<String>,
}

impl RepairNote {
    /// The note of a state folder; an empty one where no repair was begun.
    pub fn read(files: &Files, state: &Path) -> anyhow::Result<RepairNote> {
        let path = place(state);
        if files.stat(&path)?.is_none() {
            return Ok(RepairNote::default());
        }
        let bytes = files.read(&path, MOST_BYTES)?;
        serde_json::from_slice(&bytes).with_context(|| {
            format!(
                "{} cannot be read\nhint: move it away; `strikemill check --deep` then tells what is left to repair",
                path.display()
            )
        })
    }

    /// Adds what a further look found, each thing once.
    pub fn add(&mut self, partitions: Vec<(String, String)>, files: Vec<String>) {
        self.partitions.extend(partitions);
        self.partitions.sort();
        self.partitions.dedup();
        self.files.extend(files);
        self.files.sort();
        self.files.dedup();
    }

    /// Nothing is left to do.
    pub fn is_empty(&self) -> bool {
        self.partitions.is_empty() && self.files.is_empty()
    }

    pub fn write(&self, files: &Files, state: &Path) -> anyhow::Result<()> {
        let bytes = serde_json::to_vec_pretty(self).context("a note of hashes and months is plain JSON")?;
        files.write_durable(&place(state), &bytes)?;
        Ok(())
    }

    pub fn remove(files: &Files, state: &Path) -> anyhow::Result<()> {
        Ok(files.remove(&place(state))?)
    }
}

fn place(state: &Path) -> PathBuf {
    state.join("repair.json")
}

/// Refuses to work on a home of which a part is gone or older than the rest: imports would be numbered from 1 again and lose
/// against the old rows, files would be taken for new ones, and pages would be written from an empty lake. Reads the ledger
/// before the manifest, so that it holds beside a running daemon too.
pub fn refuse_unrepaired(configuration: &Configuration) -> anyhow::Result<()> {
    let state = configuration.place("state");
    let lake = configuration.place("lake");
    let ledger_file = state.join("ledger.sqlite");
    let manifest_file = lake.join(format!("site={}", configuration.site_id)).join("manifest.json");
    if place(&state).exists() {
        bail!(
            "a repair of this home is under way, or was cut off\nhint: if it does not run any more, give `strikemill repair` again; it goes on where it was"
        );
    }
    // SQLite takes a file without bytes for an empty database.
    if std::fs::metadata(&ledger_file).map_or(true, |metadata| metadata.len() == 0) {
        let archive = configuration.place("archive");
        let what_stands = if manifest_file.exists() {
            format!("the lake at {} holds rows", lake.display())
        } else if holds_a_file(&archive, ARCHIVE_DEPTH) {
            format!("originals stand in {}", archive.display())
        } else {
            return Ok(());
        };
        bail!(
            "{} has no ledger, but {what_stands}\n\
             hint: `strikemill repair` rebuilds ledger and lake from what stands; or put the state folder back from a backup",
            state.display()
        );
    }
    // A ledger that cannot be read is told by whoever opens it.
    let Ok(Some(ledger)) = Ledger::open_to_read(&ledger_file) else { return Ok(()) };
    let Ok(generations) = ledger.generations() else { return Ok(()) };
    let newest = generations.iter().map(|partition| partition.generation).max().unwrap_or(0);
    let lake_handle = Lake::open_to_read(Files::new(), &lake, &state.join("staging"), &configuration.site_id)?;
    let Ok(manifest) = lake_handle.manifest() else { return Ok(()) };
    if manifest.generation == 0 && newest > 0 {
        bail!(
            "the manifest of the lake at {} is gone, but the ledger knows rows there\n\
             hint: `strikemill repair` brings it back from the files that stand and from the archive; or put the lake back from a backup",
            lake.display()
        );
    }
    if manifest.generation < newest {
        bail!(
            "the lake at {} is at generation {}, older than its ledger, which knows generation {newest}\n\
             hint: `strikemill repair` brings it up to date from the archive; or put lake and state back from one backup",
            lake.display(),
            manifest.generation
        );
    }
    Ok(())
}

/// Refuses to look at a home that was moved or copied since its ledger was written: its paths lead to the old one.
pub fn refuse_other_home(configuration: &Configuration) -> anyhow::Result<()> {
    let ledger_file = configuration.place("state/ledger.sqlite");
    let Ok(Some(ledger)) = Ledger::open_to_read(&ledger_file) else { return Ok(()) };
    match ledger.home() {
        Ok(Some(noted)) if Path::new(&noted) != configuration.home => bail!(
            "the ledger of {} was last written when this home stood at {noted}\n\
             hint: the daemon's start, or `strikemill import` without a path, makes this its home; the other one is left alone",
            configuration.home.display()
        ),
        _ => Ok(()),
    }
}

/// Year, month, import folder, file.
const ARCHIVE_DEPTH: usize = 4;

fn holds_a_file(folder: &Path, depth: usize) -> bool {
    let Ok(entries) = std::fs::read_dir(folder) else { return false };
    entries.flatten().any(|entry| match entry.file_type() {
        Ok(kind) if kind.is_dir() => depth > 1 && holds_a_file(&entry.path(), depth - 1),
        Ok(kind) => kind.is_file() && !entry.file_name().to_string_lossy().starts_with('.'),
        Err(_) => false,
    })
}
