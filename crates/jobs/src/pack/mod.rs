//! Job packs: `plugins/jobs/<name>/{job.toml, query.sql}`.
//!
//! A pack names its input datasets with how far back each is looked at, the contract of its one output dataset, and what
//! starts it. `[parameters]` gives values that `query.sql` writes as `$name`; they are put into the parsed statement as
//! literals, never into its text, so a value cannot change the statement.

mod append_only;
mod check;
mod fault;
mod file;
mod order;
#[cfg(test)]
mod schema;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use files::Files;
use shot::TableSchema;

pub use fault::PackFault;

/// A value of `[parameters]`.
#[derive(Debug, Clone, PartialEq)]
pub enum Parameter {
    /// A whole number.
    Integer(i64),
    /// A number with a fraction.
    Real(f64),
    /// A text.
    Text(String),
    /// True or false.
    Flag(bool),
}

/// One dataset a job reads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobInput {
    /// Name of the dataset.
    pub dataset: String,
    /// How many weeks before a row's day the job looks at to make that row. A change in the input makes every output
    /// month it can reach this way be computed anew.
    pub look_back_weeks: u32,
}

/// What starts a job. Several may be given.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trigger {
    /// A cron expression of five fields.
    pub cron: Option<String>,
    /// IANA zone of the cron expression; the site's zone where missing.
    pub zone: Option<String>,
    /// Whether the job runs after an import.
    pub after_import: bool,
    /// Seconds without a further import before it runs.
    pub debounce_s: u64,
    /// The job after whose success it runs.
    pub after_job: Option<String>,
}

/// The contract of an output whose rows, once settled, stay as they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AppendOnly {
    /// The instant column that says when a row was made first.
    pub made_at: String,
    /// Hours after which a row no longer follows its inputs.
    pub settles_after_h: u32,
    /// The column with the alias of the player without whose consent a row must go.
    pub consent_of: Option<String>,
}

/// Limits a pack sets for itself; the engine's own where missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PackLimits {
    /// Memory for sorting, grouping and joining, in MiB; beyond it the engine spills to disk.
    pub memory_mib: Option<u64>,
    /// Longest run of one query, in seconds.
    pub seconds: Option<u64>,
    /// Most months of output that one query makes; all at once where missing.
    pub months_at_once: Option<u32>,
}

/// A checked job pack.
#[derive(Debug, Clone, PartialEq)]
pub struct JobPack {
    /// Name, also of its folder.
    pub name: String,
    /// Version of the pack as text.
    pub version: String,
    /// What the job is for.
    pub description: String,
    /// The datasets it reads.
    pub inputs: Vec<JobInput>,
    /// The dataset it makes.
    pub output: TableSchema,
    /// The `Day` column whose weeks carry the integer column `revision`, where the output has revisions.
    pub revision_by: Option<String>,
    /// How its rows stay, where they do.
    pub append_only: Option<AppendOnly>,
    /// What starts it.
    pub trigger: Trigger,
    /// Values for the `$name` of the query.
    pub parameters: BTreeMap<String, Parameter>,
    /// Its own limits.
    pub limits: PackLimits,
    /// The SQL text.
    pub sql: String,
    /// The file the SQL text came from.
    pub sql_path: PathBuf,
}

/// The packs of a site, in an order in which each stands after those it builds on.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct JobPackSet {
    packs: Vec<JobPack>,
}

impl JobPackSet {
    /// Reads every folder of `folder` that holds a `job.toml`. Faulty packs, and packs that need them, are left out and
    /// told as faults; a missing folder is an empty set.
    pub fn load(folder: &Path) -> (JobPackSet, Vec<PackFault>) {
        let mut faults = Vec::new();
        let mut loaded = Vec::new();
        for pack_folder in pack_folders(folder, &mut faults) {
            match check::read(&pack_folder) {
                Ok(draft) => loaded.push(draft),
                Err(mut found) => faults.append(&mut found),
            }
        }
        let drafts = order::sound(loaded, &mut faults);
        (JobPackSet { packs: drafts.into_iter().map(|draft| draft.pack).collect() }, faults)
    }

    /// The packs, each after those it builds on.
    pub fn packs(&self) -> &[JobPack] {
        &self.packs
    }

    /// The pack of a name.
    pub fn get(&self, name: &str) -> Option<&JobPack> {
        self.packs.iter().find(|pack| pack.name == name)
    }

    /// The datasets that the jobs make.
    pub fn datasets(&self) -> Vec<TableSchema> {
        self.packs.iter().map(|pack| pack.output.clone()).collect()
    }
}

/// The folders that look like packs, by name.
fn pack_folders(folder: &Path, faults: &mut Vec<PackFault>) -> Vec<PathBuf> {
    let files = Files::new();
    let looked = files.stat(folder).and_then(|stat| match stat {
        Some(_) => files.list(folder),
        None => Ok(Vec::new()),
    });
    let mut found = Vec::new();
    match looked {
        Ok(entries) => {
            for entry in entries {
                if matches!(files.stat(&entry.path.join("job.toml")), Ok(Some(_))) {
                    found.push(entry.path);
                }
            }
        }
        Err(error) => {
            let message = format!("cannot {} the folder of job packs: {}", error.operation, error.cause);
            faults.push(PackFault::at(folder, "", None, message, &error.hint));
        }
    }
    found.sort();
    found
}
