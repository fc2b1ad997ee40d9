//! `state/repair.json`: what a repair has begun and not finished. Once a damaged partition is set aside the lake no longer tells
//! that its rows are missing, so this is written before the first act and goes with the last one.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use files::Files;
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

/// Refuses to work on a home whose ledger is gone while its lake stands, or whose repair was cut off: new imports would be
/// numbered from 1 again and lose against the old rows.
pub fn refuse_unrepaired(configuration: &Configuration) -> anyhow::Result<()> {
    let state = configuration.place("state");
    let manifest = configuration.place("lake").join(format!("site={}", configuration.site_id)).join("manifest.json");
    if !state.join("ledger.sqlite").exists() && manifest.exists() {
        bail!(
            "{} has no ledger, but the lake at {} holds rows\n\
             hint: `strikemill repair` rebuilds the ledger from lake and archive; or put the state folder back from a backup",
            state.display(),
            configuration.place("lake").display()
        );
    }
    if place(&state).exists() {
        bail!(
            "a repair of this home is under way, or was cut off\nhint: if it does not run any more, give `strikemill repair` again; it goes on where it was"
        );
    }
    Ok(())
}
