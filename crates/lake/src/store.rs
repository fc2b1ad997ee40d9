//! Where things stand, and the few acts on stored files that the lake needs.
//!
//! Everything else in this crate speaks of datasets and months. A store over an object service would replace this module:
//! `show` becomes a conditional PUT, folders need no making, and there is nothing to sync.

use std::path::{Path, PathBuf};

use files::{DurableWriter, Entry, EntryKind, Files, SealedFile, is_temporary_name};
use shot::Month;

use crate::LakeError;

/// No manifest or segment description is near this size.
const MOST_DOCUMENT_BYTES: u64 = 256 * 1024 * 1024;

#[derive(Debug)]
pub(crate) struct Store {
    pub(crate) files: Files,
    pub(crate) lake_root: PathBuf,
    pub(crate) staging_root: PathBuf,
    pub(crate) site_id: String,
}

impl Store {
    /// Path of a partition file relative to the lake's root, with forward slashes on every system.
    pub(crate) fn relative_path(&self, dataset: &str, month: Option<Month>) -> String {
        match month {
            Some(month) => format!("{dataset}/site={}/month={month}/{dataset}.parquet", self.site_id),
            None => format!("{dataset}/site={}/{dataset}.parquet", self.site_id),
        }
    }

    pub(crate) fn partition_path(&self, dataset: &str, month: Option<Month>) -> PathBuf {
        self.lake_root.join(self.relative_path(dataset, month))
    }

    pub(crate) fn dataset_folder(&self, dataset: &str) -> PathBuf {
        self.lake_root.join(dataset).join(format!("site={}", self.site_id))
    }

    /// Folder of this site's manifest and frozen files.
    pub(crate) fn site_folder(&self) -> PathBuf {
        self.lake_root.join(format!("site={}", self.site_id))
    }

    /// Where the site's data package stands: at the root, above all files that it names.
    pub(crate) fn package_path(&self) -> PathBuf {
        self.lake_root.join(self.package_name())
    }

    fn package_name(&self) -> String {
        format!("{}.datapackage.json", self.site_id)
    }

    pub(crate) fn segments_folder(&self) -> PathBuf {
        self.staging_root.join("segments")
    }

    /// Folder of segments that cannot be published.
    pub(crate) fn damaged_folder(&self) -> PathBuf {
        self.staging_root.join("damaged")
    }

    /// Begins a file, making its folder.
    pub(crate) fn writer(&self, path: &Path) -> Result<DurableWriter, LakeError> {
        if let Some(folder) = path.parent() {
            self.files.create_dir_all(folder)?;
        }
        Ok(self.files.writer(path)?)
    }

    /// Shows a sealed file under its final name, replacing the old one in one act.
    pub(crate) fn show(sealed: SealedFile) -> Result<(), LakeError> {
        sealed.show()?;
        Ok(())
    }

    pub(crate) fn write_document(&self, path: &Path, bytes: &[u8]) -> Result<(), LakeError> {
        let mut writer = self.writer(path)?;
        writer.append(bytes)?;
        writer.finish()?;
        Ok(())
    }

    /// A small file's bytes; `None` where it does not stand.
    pub(crate) fn read_document(&self, path: &Path) -> Result<Option<Vec<u8>>, LakeError> {
        if self.files.stat(path)?.is_none() {
            return Ok(None);
        }
        Ok(Some(self.files.read(path, MOST_DOCUMENT_BYTES)?))
    }

    /// Size of a file; `None` where it does not stand.
    pub(crate) fn bytes_of(&self, path: &Path) -> Result<Option<u64>, LakeError> {
        Ok(self.files.stat(path)?.map(|stat| stat.bytes))
    }

    /// The months of a dataset that have a file, ascending; `None` stands for a file without month.
    pub(crate) fn partitions(&self, dataset: &str) -> Result<Vec<Option<Month>>, LakeError> {
        let file_name = format!("{dataset}.parquet");
        let mut months = Vec::new();
        for entry in self.files.list(&self.dataset_folder(dataset))? {
            if entry.kind == EntryKind::File && entry.name == file_name {
                months.push(None);
            }
            let Some(month) = entry.name.strip_prefix("month=").and_then(Month::parse) else { continue };
            if entry.kind == EntryKind::Folder && self.files.stat(&entry.path.join(&file_name))?.is_some() {
                months.push(Some(month));
            }
        }
        months.sort();
        Ok(months)
    }

    /// Names of the datasets that have a folder for this site.
    pub(crate) fn datasets(&self) -> Result<Vec<String>, LakeError> {
        let mut names = Vec::new();
        for entry in self.files.list(&self.lake_root)? {
            let is_dataset = entry.kind == EntryKind::Folder && !entry.name.contains('=');
            if is_dataset && self.files.stat(&self.dataset_folder(&entry.name))?.is_some() {
                names.push(entry.name);
            }
        }
        Ok(names)
    }

    /// Removes what an interrupted run left under temporary names.
    pub(crate) fn remove_strays(&self) -> Result<(), LakeError> {
        let mut folders = vec![self.site_folder(), self.moments_folder(), self.segments_folder()];
        for dataset in self.datasets()? {
            let folder = self.dataset_folder(&dataset);
            folders.extend(self.files.list(&folder)?.into_iter().filter(is_folder).map(|entry| entry.path));
            folders.push(folder);
        }
        let segments = self.files.list(&self.segments_folder())?;
        folders.extend(segments.into_iter().filter(is_folder).map(|entry| entry.path));
        // The root is shared with other sites, whose daemons may be writing just now.
        let ours = format!(".{}.", self.package_name());
        for entry in self.files.list(&self.lake_root)? {
            if is_temporary_name(&entry.name) && entry.name.starts_with(&ours) {
                self.files.remove(&entry.path)?;
            }
        }
        for folder in folders {
            for entry in self.files.list(&folder)? {
                match entry.kind {
                    _ if !is_temporary_name(&entry.name) => {}
                    EntryKind::Folder => self.files.remove_dir_all(&entry.path)?,
                    _ => self.files.remove(&entry.path)?,
                }
            }
        }
        Ok(())
    }
}

fn is_folder(entry: &Entry) -> bool {
    entry.kind == EntryKind::Folder && !is_temporary_name(&entry.name)
}
