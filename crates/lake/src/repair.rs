//! Brings manifest and files back into agreement: what another name still holds is restored, what is newer than the manifest is
//! entered, and the rest is set aside, so that its rows can be read from their source files again. Nothing is deleted.
//!
//! Each act leaves a lake that a further repair can go on from. Whoever calls this notes first which partitions are concerned:
//! once one is set aside, the lake itself no longer tells that its rows are missing.

use std::collections::{BTreeSet, HashSet};
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use shot::{Month, TableSchema};

use crate::manifest::ManifestFile;
use crate::moments::{freeze, now_micros, retire};
use crate::store::Store;
use crate::verify::{LakeFault, LakeFaultKind};
use crate::verify_file::{fact, look_at, open};
use crate::{Lake, LakeError, Manifest, package, profile};

/// A partition by its dataset and month.
pub type PartitionName = (String, Option<Month>);

/// What a repair did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LakeRepair {
    /// The manifest could not be read and was written anew from the files' footers.
    pub manifest_rebuilt: bool,
    /// Partitions whose published bytes stood under their frozen name and are back.
    pub restored: Vec<PartitionName>,
    /// Partitions that were sound and newer than the manifest, and are in it now.
    pub entered: Vec<PartitionName>,
    /// Partitions that are out of the lake: their rows have to be read again.
    pub set_aside: Vec<PartitionName>,
    /// Where set-aside files stand.
    pub aside: Vec<PathBuf>,
    /// Generation of the manifest now.
    pub generation: i64,
}

impl Lake {
    /// Whether the manifest can be read; a lake without any files needs none.
    pub fn has_sound_manifest(&self) -> Result<bool, LakeError> {
        match self.manifest() {
            Ok(manifest) if manifest.generation > 0 => Ok(true),
            Ok(_) => Ok(self.standing()?.is_empty()),
            Err(LakeError::Document { .. }) => Ok(false),
            Err(error) => Err(error),
        }
    }

    /// Which partitions [`Lake::repair`] would be concerned with: those of the faults, or all of them where the manifest itself
    /// is lost.
    pub fn concerned_by(&self, faults: &[LakeFault]) -> Result<Vec<PartitionName>, LakeError> {
        let mut concerned: BTreeSet<PartitionName> =
            faults.iter().map(|fault| (fault.dataset.clone(), fault.month)).collect();
        if !self.has_sound_manifest()? {
            concerned.extend(self.standing()?);
        }
        Ok(concerned.into_iter().collect())
    }

    /// Repairs what the faults tell of. `label` names the folder for what is set aside, below the site's folder; `least` is a
    /// generation that was noted elsewhere, which the lake must be beyond afterwards.
    pub fn repair(
        &self,
        faults: &[LakeFault],
        schemas: &[TableSchema],
        label: &str,
        least: i64,
    ) -> Result<LakeRepair, LakeError> {
        let concerned = self.concerned_by(faults)?;
        let _turn = self.write_turn();
        let store = self.store();
        let mut done = LakeRepair::default();
        let aside = store.site_folder().join(label);
        let mut manifest = match self.manifest() {
            Ok(manifest) => manifest,
            Err(LakeError::Document { .. }) => {
                keep_copy(store, &store.site_folder().join("manifest.json"), &aside)?;
                Manifest::empty(&store.site_id)
            }
            Err(error) => return Err(error),
        };
        done.manifest_rebuilt = manifest.generation == 0 && !concerned.is_empty();
        let before = manifest.clone();
        let told_generation = manifest.generation;
        let mut generation = told_generation.max(least);
        for (dataset, month) in &concerned {
            let name = (dataset.clone(), *month);
            let kinds: HashSet<LakeFaultKind> = faults
                .iter()
                .filter(|fault| fault.dataset == *dataset && fault.month == *month)
                .map(|fault| fault.kind)
                .collect();
            let is_wrong_inside = kinds.contains(&LakeFaultKind::Unsound) || kinds.contains(&LakeFaultKind::Doubled);
            if !kinds.is_empty() && kinds.iter().all(|kind| *kind == LakeFaultKind::Frozen) {
                continue; // A new frozen name is all that it needs.
            }
            if !is_wrong_inside && let Some(entry) = manifest.file(dataset, *month) {
                let entry = entry.clone();
                if restore_frozen(store, &entry, &aside)? {
                    done.restored.push(name);
                    continue;
                }
            }
            if !is_wrong_inside && let Some(entry) = told_by_footer(store, dataset, *month, schemas)? {
                // An older file than the manifest speaks of would bring back rows that were replaced since.
                if entry.generation > told_generation {
                    generation = generation.max(entry.generation);
                    manifest.put(entry);
                    done.entered.push(name);
                    continue;
                }
            }
            let path = store.partition_path(dataset, *month);
            if store.bytes_of(&path)?.is_some() {
                done.aside.push(move_aside(store, &path, &aside)?);
            }
            manifest.drop_file(dataset, *month);
            done.set_aside.push(name);
        }
        let again: HashSet<PartitionName> = concerned.into_iter().collect();
        freeze(store, &mut manifest, &again)?;
        let _ = retire(&mut manifest, &before.files, now_micros(), std::time::Duration::MAX);
        if manifest != before || generation > told_generation {
            manifest.generation = generation + 1;
            manifest.write(store)?;
        }
        package::refresh(store, &manifest, schemas)?;
        done.generation = manifest.generation;
        Ok(done)
    }

    /// Named columns of a partition as it stands, batch by batch; columns that the file lacks are left out.
    pub fn read_columns(
        &self,
        dataset: &str,
        month: Option<Month>,
        columns: &[&str],
        take: impl FnMut(&RecordBatch) -> Result<(), LakeError>,
    ) -> Result<(), LakeError> {
        profile::read_columns(self.store(), &self.partition_path(dataset, month), columns, take)
    }

    /// Every partition that stands, whatever the manifest tells.
    fn standing(&self) -> Result<Vec<PartitionName>, LakeError> {
        let mut standing = Vec::new();
        for dataset in self.store().datasets()? {
            for month in self.store().partitions(&dataset)? {
                standing.push((dataset.clone(), month));
            }
        }
        Ok(standing)
    }
}

/// Puts the published bytes back from their frozen name, if that still holds them.
fn restore_frozen(store: &Store, entry: &ManifestFile, aside: &Path) -> Result<bool, LakeError> {
    let Some(frozen) = &entry.frozen else { return Ok(false) };
    let frozen = store.lake_root.join(frozen);
    if store.files.stat(&frozen)?.is_none() || store.files.sha256_of_file(&frozen)? != entry.sha256 {
        return Ok(false);
    }
    let path = store.partition_path(&entry.dataset, entry.month);
    if store.bytes_of(&path)?.is_some() {
        keep_copy(store, &path, aside)?;
    }
    // A copy, not a link: whatever damaged the one name must not reach the other again.
    let bytes = store.files.read(&frozen, u64::MAX)?;
    store.write_document(&path, &bytes)?;
    Ok(true)
}

/// What a sound file tells of itself, as the manifest would.
fn told_by_footer(
    store: &Store,
    dataset: &str,
    month: Option<Month>,
    schemas: &[TableSchema],
) -> Result<Option<ManifestFile>, LakeError> {
    let path = store.partition_path(dataset, month);
    let Some(bytes) = store.bytes_of(&path)? else { return Ok(None) };
    let Ok(reader) = open(store, &path)? else { return Ok(None) };
    let number = |name| fact(&reader, name).and_then(|text| text.parse::<i64>().ok());
    let (Some(generation), Some(schema_version)) = (number("generation"), number("schema_version")) else {
        return Ok(None);
    };
    let entry = ManifestFile {
        dataset: dataset.to_owned(),
        month,
        path: store.relative_path(dataset, month),
        rows: reader.metadata().file_metadata().num_rows(),
        bytes: bytes.cast_signed(),
        sha256: store.files.sha256_of_file(&path)?,
        generation,
        schema_version,
        frozen: None,
    };
    let schema = schemas.iter().find(|schema| schema.name == dataset);
    Ok(look_at(store, &entry, schema)?.faults.is_empty().then_some(entry))
}

/// A name for a file that is set aside: its path below the lake in one word, which no glob of the lake takes for a partition.
fn aside_path(store: &Store, path: &Path, aside: &Path) -> Result<PathBuf, LakeError> {
    let below = path.strip_prefix(&store.lake_root).unwrap_or(path);
    let words: Vec<String> = below.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    let name = words.join("+");
    let mut number = 0;
    loop {
        let candidate =
            aside.join(if number == 0 { format!("{name}.damaged") } else { format!("{name}.damaged-{number}") });
        if store.bytes_of(&candidate)?.is_none() {
            return Ok(candidate);
        }
        number += 1;
    }
}

fn move_aside(store: &Store, path: &Path, aside: &Path) -> Result<PathBuf, LakeError> {
    store.files.create_dir_all(aside)?;
    let target = aside_path(store, path, aside)?;
    store.files.rename_durable(path, &target)?;
    Ok(target)
}

/// A copy of a file that is about to be replaced in one act.
fn keep_copy(store: &Store, path: &Path, aside: &Path) -> Result<(), LakeError> {
    store.files.create_dir_all(aside)?;
    let target = aside_path(store, path, aside)?;
    let bytes = store.files.read(path, u64::MAX)?;
    store.files.write_durable(&target, &bytes)?;
    Ok(())
}
