//! Where things stand. Everything else in this crate speaks of datasets, months and paths.
//!
//! One rule decides what an act works on: a path below the lake's root is published and goes over the [`Shelf`]; every other
//! one is in staging, which is always local.

use std::fs::File;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use files::{DurableWriter, Entry, EntryKind, Files, SealedFile, is_temporary_name};
use shot::Month;

use crate::LakeError;
use crate::folder::remove_unfinished;
use crate::shelf::{PutIf, Shelf};

/// No manifest or segment description is near this size.
const MOST_DOCUMENT_BYTES: u64 = 256 * 1024 * 1024;

#[derive(Debug)]
pub(crate) struct Store {
    /// For staging.
    pub(crate) files: Files,
    pub(crate) shelf: Arc<dyn Shelf>,
    pub(crate) lake_root: PathBuf,
    pub(crate) staging_root: PathBuf,
    pub(crate) site_id: String,
}

impl Store {
    /// Path of a partition file relative to the lake's root, with forward slashes on every system.
    pub(crate) fn relative_path(&self, dataset: &str, month: Option<Month>) -> String {
        let folder = self.dataset_key(dataset);
        match month {
            Some(month) => format!("{folder}/month={month}/{dataset}.parquet"),
            None => format!("{folder}/{dataset}.parquet"),
        }
    }

    pub(crate) fn partition_path(&self, dataset: &str, month: Option<Month>) -> PathBuf {
        self.lake_root.join(self.relative_path(dataset, month))
    }

    fn dataset_key(&self, dataset: &str) -> String {
        format!("{dataset}/site={}", self.site_id)
    }

    fn site_key(&self) -> String {
        format!("site={}", self.site_id)
    }

    /// Key of the folder of frozen files.
    pub(crate) fn moments_key(&self) -> String {
        format!("{}/moments", self.site_key())
    }

    /// Folder of this site's manifest and frozen files.
    pub(crate) fn site_folder(&self) -> PathBuf {
        self.lake_root.join(self.site_key())
    }

    pub(crate) fn manifest_path(&self) -> PathBuf {
        self.site_folder().join("manifest.json")
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

    /// The key of a published file; `None` for a path in staging.
    fn key_of(&self, path: &Path) -> Option<String> {
        let mut key = String::new();
        for component in path.strip_prefix(&self.lake_root).ok()?.components() {
            let Component::Normal(name) = component else { return None };
            if !key.is_empty() {
                key.push('/');
            }
            key.push_str(name.to_str()?);
        }
        Some(key)
    }

    /// Begins a file, making its folder.
    pub(crate) fn writer(&self, path: &Path) -> Result<DurableWriter, LakeError> {
        if let Some(key) = self.key_of(path) {
            return Ok(self.shelf.begin(&key)?);
        }
        if let Some(folder) = path.parent() {
            self.files.create_dir_all(folder)?;
        }
        Ok(self.files.writer(path)?)
    }

    /// Shows a sealed file under its final name, replacing the old one in one act.
    pub(crate) fn show(&self, path: &Path, sealed: SealedFile) -> Result<(), LakeError> {
        match self.key_of(path) {
            Some(key) => self.shelf.show(&key, sealed)?,
            None => drop(sealed.show()?),
        }
        Ok(())
    }

    /// Opens a file for reading.
    pub(crate) fn open(&self, path: &Path) -> Result<File, LakeError> {
        Ok(match self.key_of(path) {
            Some(key) => self.shelf.open(&key)?,
            None => self.files.open(path)?,
        })
    }

    /// SHA-256 of a file's bytes.
    pub(crate) fn sha256_of(&self, path: &Path) -> Result<String, LakeError> {
        Ok(match self.key_of(path) {
            Some(key) => self.shelf.sha256(&key)?,
            None => self.files.sha256_of_file(path)?,
        })
    }

    pub(crate) fn write_document(&self, path: &Path, bytes: &[u8]) -> Result<(), LakeError> {
        if let Some(key) = self.key_of(path) {
            self.shelf.put(&key, bytes, &PutIf::Always)?;
            return Ok(());
        }
        let mut writer = self.writer(path)?;
        writer.append(bytes)?;
        writer.finish()?;
        Ok(())
    }

    /// A small file's bytes; `None` where it does not stand.
    pub(crate) fn read_document(&self, path: &Path) -> Result<Option<Vec<u8>>, LakeError> {
        if let Some(key) = self.key_of(path) {
            return Ok(self.shelf.read(&key, MOST_DOCUMENT_BYTES)?);
        }
        if self.files.stat(path)?.is_none() {
            return Ok(None);
        }
        Ok(Some(self.files.read(path, MOST_DOCUMENT_BYTES)?))
    }

    /// Size of a file; `None` where it does not stand.
    pub(crate) fn bytes_of(&self, path: &Path) -> Result<Option<u64>, LakeError> {
        Ok(match self.key_of(path) {
            Some(key) => self.shelf.stat(&key)?.map(|stat| stat.bytes),
            None => self.files.stat(path)?.map(|stat| stat.bytes),
        })
    }

    /// Version of a published file; `None` where it does not stand.
    pub(crate) fn version_of(&self, path: &Path) -> Result<Option<String>, LakeError> {
        let Some(key) = self.key_of(path) else { return Ok(None) };
        Ok(self.shelf.stat(&key)?.map(|stat| stat.version))
    }

    /// Writes a published document if the condition holds, and answers whether it did.
    pub(crate) fn replace_document(&self, path: &Path, bytes: &[u8], condition: &PutIf) -> Result<bool, LakeError> {
        let Some(key) = self.key_of(path) else { return self.write_document(path, bytes).map(|()| true) };
        Ok(self.shelf.put(&key, bytes, condition)?)
    }

    /// Removes a file; one that is gone already is fine.
    pub(crate) fn remove(&self, path: &Path) -> Result<(), LakeError> {
        match self.key_of(path) {
            Some(key) => self.shelf.remove(&key)?,
            None => self.files.remove(path)?,
        }
        Ok(())
    }

    /// The months of a dataset that have a file, ascending; `None` stands for a file without month.
    pub(crate) fn partitions(&self, dataset: &str) -> Result<Vec<Option<Month>>, LakeError> {
        let file_name = format!("{dataset}.parquet");
        let mut months = Vec::new();
        for entry in self.shelf.list(&self.dataset_key(dataset))? {
            if !entry.is_folder && entry.name == file_name {
                months.push(None);
            }
            let Some(month) = entry.name.strip_prefix("month=").and_then(Month::parse) else { continue };
            if entry.is_folder && self.shelf.stat(&self.relative_path(dataset, Some(month)))?.is_some() {
                months.push(Some(month));
            }
        }
        months.sort();
        Ok(months)
    }

    /// Names of the datasets that have a folder for this site.
    pub(crate) fn datasets(&self) -> Result<Vec<String>, LakeError> {
        let mut names = Vec::new();
        for entry in self.shelf.list("")? {
            let is_dataset = entry.is_folder && !entry.name.contains('=');
            if is_dataset && !self.shelf.list(&self.dataset_key(&entry.name))?.is_empty() {
                names.push(entry.name);
            }
        }
        Ok(names)
    }

    /// Removes what an interrupted run left under temporary names.
    pub(crate) fn remove_strays(&self) -> Result<(), LakeError> {
        let mut published = vec![self.site_key(), self.moments_key()];
        for entry in self.shelf.list("")?.into_iter().filter(|entry| entry.is_folder && !entry.name.contains('=')) {
            let folder = self.dataset_key(&entry.name);
            let months = self.shelf.list(&folder)?.into_iter().filter(|month| month.is_folder);
            published.extend(months.map(|month| format!("{folder}/{}", month.name)));
            published.push(folder);
        }
        self.shelf.clear_unfinished(&published, &self.package_name())?;
        let segments = self.files.list(&self.segments_folder())?;
        let mut staged = vec![self.segments_folder()];
        staged.extend(segments.into_iter().filter(is_folder).map(|entry| entry.path));
        for folder in staged {
            remove_unfinished(&self.files, &folder)?;
        }
        Ok(())
    }
}

fn is_folder(entry: &Entry) -> bool {
    entry.kind == EntryKind::Folder && !is_temporary_name(&entry.name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::folder::FolderShelf;

    #[test]
    fn what_is_below_the_lake_goes_over_the_shelf_and_nothing_else() {
        let store = Store {
            files: Files::new(),
            shelf: Arc::new(FolderShelf::new(Files::new(), Path::new("/srv/lake"))),
            lake_root: "/srv/lake".into(),
            staging_root: "/srv/state/staging".into(),
            site_id: "north".into(),
        };
        let key = |path: &str| store.key_of(Path::new(path));
        let partition = store.partition_path("shots", Some(Month { year: 2026, month: 1 }));
        assert_eq!(store.key_of(&partition).as_deref(), Some("shots/site=north/month=2026-01/shots.parquet"));
        assert_eq!(store.key_of(&store.manifest_path()).as_deref(), Some("site=north/manifest.json"));
        assert_eq!(key("/srv/state/staging/segments/1/segment.json"), None);
        assert_eq!(key("/srv/lake/../secret"), None, "a key never climbs out");
        assert_eq!(key("/srv/lakeside/x"), None);
    }
}
