//! Does the lake hold what its manifest tells?
//!
//! Everything here only looks, and works beside the process that writes the lake: what seems wrong about a partition that is
//! being replaced is looked at again.

use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use shot::{Month, TableSchema};

use crate::verify_file::{FileLook, look_at};
use crate::verify_keys::rows_that_stand_twice;
use crate::{Lake, LakeError, Manifest, ManifestFile};

/// How often a partition that seems wrong is looked at again while somebody may be replacing it.
const SECOND_LOOK: Duration = Duration::from_millis(300);

/// What kind of thing is wrong with a file of the lake.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LakeFaultKind {
    /// The manifest names a file that does not stand.
    Missing,
    /// A partition stands that the manifest does not name.
    Unnamed,
    /// The file has other bytes than were published.
    Altered,
    /// The file is no Parquet file that can be read.
    Unreadable,
    /// The file reads, but breaks a rule of its dataset: footer, columns, order, months.
    Unsound,
    /// The second name, under which readers find these very bytes, is missing or holds others.
    Frozen,
    /// One row stands in two places.
    Doubled,
}

/// One thing that is wrong with a file of the lake.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LakeFault {
    /// What kind of thing.
    pub kind: LakeFaultKind,
    /// The dataset.
    pub dataset: String,
    /// The month; `None` for a dataset without months.
    pub month: Option<Month>,
    /// Path of the file relative to the lake's root.
    pub path: String,
    /// What is wrong, as the end of a sentence that begins with the path.
    pub problem: String,
}

impl std::fmt::Display for LakeFault {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{} {}", self.path, self.problem)
    }
}

/// How far an examination has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Examined {
    /// Files looked at.
    pub files: usize,
    /// Files to look at.
    pub files_total: usize,
    /// Bytes looked at.
    pub bytes: u64,
    /// Bytes to look at.
    pub bytes_total: u64,
}

/// What an examination found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Examination {
    /// Generation of the manifest when the examination began.
    pub generation: i64,
    /// Files that the manifest names.
    pub files: usize,
    /// Their size in bytes.
    pub bytes: u64,
    /// Their rows.
    pub rows: i64,
    /// Rows by source file and dataset, for the datasets whose rows come from files.
    pub rows_by_source: BTreeMap<String, BTreeMap<String, i64>>,
    /// What is wrong.
    pub faults: Vec<LakeFault>,
}

impl Examination {
    /// Rows of a source file in a dataset.
    pub fn rows_of(&self, source_file_id: &str, dataset: &str) -> i64 {
        self.rows_by_source.get(source_file_id).and_then(|rows| rows.get(dataset)).copied().unwrap_or(0)
    }
}

impl Lake {
    /// Compares the manifest with the files: every live file stands, with its size and hash, and no other partition stands.
    /// Answers one sentence per difference; none means that all is well. Reads every file.
    pub fn differences(&self) -> Result<Vec<String>, LakeError> {
        let manifest = self.manifest()?;
        let mut differences = Vec::new();
        for entry in &manifest.files {
            let look = look_at(self.store(), entry, None)?;
            differences.extend(look.faults.iter().map(LakeFault::to_string));
        }
        differences.extend(self.unnamed(&manifest)?.iter().map(LakeFault::to_string));
        Ok(differences)
    }

    /// Looks at every file of the lake with all that can be known about it: bytes, footer, columns, facts, order, months, and
    /// that no row of an import stands twice. `schemas` describe the datasets that are known; of others only the bytes and the
    /// footer are looked at. While another process may write, `patience` is how long a partition may seem wrong before it is
    /// called wrong. Memory: a bounded number of keys, and a few numbers per source file.
    pub fn examine(
        &self,
        schemas: &[TableSchema],
        patience: Duration,
        tell: &dyn Fn(Examined),
    ) -> Result<Examination, LakeError> {
        let manifest = self.manifest()?;
        let mut found = Examination { generation: manifest.generation, ..Examination::default() };
        let bytes_total = manifest.files.iter().map(|file| file.bytes.max(0).cast_unsigned()).sum();
        let mut so_far = Examined { files: 0, files_total: manifest.files.len(), bytes: 0, bytes_total };
        for entry in &manifest.files {
            let schema = schemas.iter().find(|schema| schema.name == entry.dataset);
            let look = self.patient_look(entry, schema, patience)?;
            so_far.files += 1;
            so_far.bytes += entry.bytes.max(0).cast_unsigned();
            found.rows += look.rows;
            found.faults.extend(look.faults);
            for (source, rows) in look.rows_by_source {
                let of_source = found.rows_by_source.entry(source).or_default();
                *of_source.entry(entry.dataset.clone()).or_default() += rows;
            }
            tell(so_far);
        }
        (found.files, found.bytes) = (so_far.files, so_far.bytes);
        found.faults.extend(self.patient_unnamed(patience)?);
        for schema in schemas {
            found.faults.extend(rows_that_stand_twice(self, schema)?);
        }
        Ok(found)
    }

    /// Looks at one file; at one that seems wrong again, since it may just be replaced.
    fn patient_look(
        &self,
        entry: &ManifestFile,
        schema: Option<&TableSchema>,
        patience: Duration,
    ) -> Result<FileLook, LakeError> {
        let began = Instant::now();
        let mut entry = entry.clone();
        loop {
            let look = look_at(self.store(), &entry, schema)?;
            if look.faults.is_empty() || began.elapsed() >= patience {
                return Ok(look);
            }
            std::thread::sleep(SECOND_LOOK);
            match self.manifest()?.file(&entry.dataset, entry.month) {
                Some(newer) => entry = newer.clone(),
                // All its rows are gone since, and the file with them.
                None => return Ok(FileLook::default()),
            }
        }
    }

    fn patient_unnamed(&self, patience: Duration) -> Result<Vec<LakeFault>, LakeError> {
        let began = Instant::now();
        loop {
            let faults = self.unnamed(&self.manifest()?)?;
            if faults.is_empty() || began.elapsed() >= patience {
                return Ok(faults);
            }
            std::thread::sleep(SECOND_LOOK);
        }
    }

    /// Partitions that stand without being named.
    fn unnamed(&self, manifest: &Manifest) -> Result<Vec<LakeFault>, LakeError> {
        let store = self.store();
        let named: BTreeSet<(&str, Option<Month>)> =
            manifest.files.iter().map(|file| (file.dataset.as_str(), file.month)).collect();
        let mut faults = Vec::new();
        for dataset in store.datasets()? {
            for month in store.partitions(&dataset)? {
                if !named.contains(&(dataset.as_str(), month)) {
                    faults.push(LakeFault {
                        kind: LakeFaultKind::Unnamed,
                        path: store.relative_path(&dataset, month),
                        dataset: dataset.clone(),
                        month,
                        problem: "stands, but the manifest does not name it".to_owned(),
                    });
                }
            }
        }
        Ok(faults)
    }
}
