//! The handle on one site's lake.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use arrow::array::RecordBatch;
use files::Files;
use shot::{Month, TableSchema};

use crate::conform::check_schema;
use crate::folder::FolderShelf;
use crate::shelf::Shelf;
use crate::store::Store;
use crate::{LakeError, Manifest, moments, profile};

/// One site's lake and staging area. Clones share one lock, so that publications and job outputs of one process take turns;
/// the daemon's lock on its state folder keeps other processes out.
#[derive(Debug, Clone)]
pub struct Lake {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    store: Store,
    writing: Mutex<()>,
}

impl Lake {
    /// Opens a lake for the one process that writes it, and removes what an interrupted run left under temporary names,
    /// and frozen files that no manifest names.
    /// Writes nothing else; folders are made when first needed. Open it once and clone the handle: a second `open` beside a
    /// running publication would take its temporary files away. To look only, use [`Lake::open_to_read`].
    pub fn open(files: Files, lake_root: &Path, staging_root: &Path, site_id: &str) -> Result<Lake, LakeError> {
        let shelf = Arc::new(FolderShelf::new(files.clone(), lake_root));
        Lake::open_on(shelf, files, staging_root, site_id)
    }

    /// Opens a lake without touching it: safe beside a running daemon.
    pub fn open_to_read(files: Files, lake_root: &Path, staging_root: &Path, site_id: &str) -> Result<Lake, LakeError> {
        let shelf = Arc::new(FolderShelf::new(files.clone(), lake_root));
        Lake::open_on_to_read(shelf, files, staging_root, site_id)
    }

    /// Like [`Lake::open`], with the published files on another shelf than a folder. Staging stays local.
    pub fn open_on(shelf: Arc<dyn Shelf>, files: Files, staging_root: &Path, site_id: &str) -> Result<Lake, LakeError> {
        let lake = Lake::open_on_to_read(shelf, files, staging_root, site_id)?;
        lake.store().remove_strays()?;
        moments::remove_strays(lake.store())?;
        Ok(lake)
    }

    /// Like [`Lake::open_to_read`], with the published files on another shelf than a folder.
    pub fn open_on_to_read(
        shelf: Arc<dyn Shelf>,
        files: Files,
        staging_root: &Path,
        site_id: &str,
    ) -> Result<Lake, LakeError> {
        let lake_root = shelf.root().to_owned();
        let is_plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_';
        if site_id.is_empty() || !site_id.chars().all(is_plain) {
            let problem = format!("\"{site_id}\" cannot name the site's folders");
            let hint = "use lower-case letters, digits, - and _ only";
            return Err(LakeError::document(&lake_root, problem, hint));
        }
        let store =
            Store { files, shelf, lake_root, staging_root: staging_root.to_owned(), site_id: site_id.to_owned() };
        Ok(Lake { inner: Arc::new(Inner { store, writing: Mutex::new(()) }) })
    }

    pub(crate) fn store(&self) -> &Store {
        &self.inner.store
    }

    /// Waits for this process's other writers of the lake.
    pub(crate) fn write_turn(&self) -> MutexGuard<'_, ()> {
        // The lock guards no data: after a panic the files are as after a crash, which every writer can take.
        self.inner.writing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The site.
    pub fn site_id(&self) -> &str {
        &self.store().site_id
    }

    /// The lake's root folder.
    pub fn root(&self) -> &Path {
        &self.store().lake_root
    }

    /// The manifest as it stands; an empty one of generation 0 before the first publication.
    pub fn manifest(&self) -> Result<Manifest, LakeError> {
        Manifest::read(self.store())
    }

    /// Where a partition stands or would stand.
    pub fn partition_path(&self, dataset: &str, month: Option<Month>) -> PathBuf {
        self.store().partition_path(dataset, month)
    }

    /// The months of a dataset that have a file, ascending; `None` stands for the file of a dataset without months.
    pub fn partitions(&self, dataset: &str) -> Result<Vec<Option<Month>>, LakeError> {
        self.store().partitions(dataset)
    }

    /// A partition's rows in the dataset's order, in the schema given; optional columns that an older file lacks read as null.
    /// Empty where the partition does not exist.
    pub fn read_partition(&self, schema: &TableSchema, month: Option<Month>) -> Result<Vec<RecordBatch>, LakeError> {
        check_schema(schema)?;
        let path = self.partition_path(&schema.name, month);
        if self.store().bytes_of(&path)?.is_none() {
            return Ok(Vec::new());
        }
        Ok(profile::read_all(self.store(), &path, schema)?.batches)
    }
}
