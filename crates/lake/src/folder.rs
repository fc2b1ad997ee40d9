//! The shelf in a local folder, or in one that the system mounts like a local one.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use files::{DurableWriter, EntryKind, FileError, FileStat, Files, SealedFile, is_temporary_name};

use crate::shelf::{PutIf, Shelf, ShelfEntry, ShelfStat};

/// Published files in a folder.
///
/// The conditions of [`Shelf::put`] are looked at before the rename and not together with it: a folder has no such act. The
/// lock on the state folder keeps a second daemon away, and the look still finds one that has another state folder.
#[derive(Debug, Clone)]
pub struct FolderShelf {
    files: Files,
    root: PathBuf,
}

impl FolderShelf {
    /// A shelf in a folder, which is made when first needed.
    pub fn new(files: Files, root: &Path) -> FolderShelf {
        FolderShelf { files, root: root.to_owned() }
    }

    fn path(&self, key: &str) -> PathBuf {
        if key.is_empty() { self.root.clone() } else { self.root.join(key) }
    }
}

impl Shelf for FolderShelf {
    fn root(&self) -> &Path {
        &self.root
    }

    fn stat(&self, key: &str) -> Result<Option<ShelfStat>, FileError> {
        Ok(self.files.stat(&self.path(key))?.map(|stat| ShelfStat { bytes: stat.bytes, version: version_of(&stat) }))
    }

    fn list(&self, folder: &str) -> Result<Vec<ShelfEntry>, FileError> {
        let mut entries = Vec::new();
        for entry in self.files.list(&self.path(folder))? {
            if !is_temporary_name(&entry.name) {
                entries.push(ShelfEntry { name: entry.name, is_folder: entry.kind == EntryKind::Folder });
            }
        }
        Ok(entries)
    }

    fn read(&self, key: &str, most_bytes: u64) -> Result<Option<Vec<u8>>, FileError> {
        let path = self.path(key);
        if self.files.stat(&path)?.is_none() {
            return Ok(None);
        }
        self.files.read(&path, most_bytes).map(Some)
    }

    fn open(&self, key: &str) -> Result<File, FileError> {
        self.files.open(&self.path(key))
    }

    fn sha256(&self, key: &str) -> Result<String, FileError> {
        self.files.sha256_of_file(&self.path(key))
    }

    fn put(&self, key: &str, bytes: &[u8], condition: &PutIf) -> Result<bool, FileError> {
        let holds = match condition {
            PutIf::Always => true,
            PutIf::Absent => self.stat(key)?.is_none(),
            PutIf::Version(version) => self.stat(key)?.is_some_and(|stat| stat.version == *version),
        };
        if holds {
            let mut writer = self.begin(key)?;
            writer.append(bytes)?;
            writer.finish()?;
        }
        Ok(holds)
    }

    fn begin(&self, key: &str) -> Result<DurableWriter, FileError> {
        let path = self.path(key);
        if let Some(folder) = path.parent() {
            self.files.create_dir_all(folder)?;
        }
        self.files.writer(&path)
    }

    fn show(&self, _key: &str, sealed: SealedFile) -> Result<(), FileError> {
        sealed.show()?;
        Ok(())
    }

    fn freeze(&self, key: &str, frozen: &str, sha256: &str) -> Result<(), FileError> {
        let to = self.path(frozen);
        if let Some(folder) = to.parent() {
            self.files.create_dir_all(folder)?;
        }
        self.files.link_or_copy_verified(&self.path(key), &to, sha256)?;
        Ok(())
    }

    fn remove(&self, key: &str) -> Result<(), FileError> {
        self.files.remove(&self.path(key))
    }

    fn clear_unfinished(&self, folders: &[String], root_names: &str) -> Result<(), FileError> {
        // The root is shared with other sites, whose daemons may be writing just now.
        let ours = format!(".{root_names}.");
        for entry in self.files.list(&self.root)? {
            if is_temporary_name(&entry.name) && entry.name.starts_with(&ours) {
                self.files.remove(&entry.path)?;
            }
        }
        for folder in folders {
            remove_unfinished(&self.files, &self.path(folder))?;
        }
        Ok(())
    }
}

/// Removes what stands under temporary names in a folder.
pub(crate) fn remove_unfinished(files: &Files, folder: &Path) -> Result<(), FileError> {
    for entry in files.list(folder)? {
        match entry.kind {
            _ if !is_temporary_name(&entry.name) => {}
            EntryKind::Folder => files.remove_dir_all(&entry.path)?,
            _ => files.remove(&entry.path)?,
        }
    }
    Ok(())
}

/// Every replacement is a rename of a new file, which has a number and a time of its own.
fn version_of(stat: &FileStat) -> String {
    let nanos = stat.modified.and_then(|at| at.duration_since(UNIX_EPOCH).ok()).map_or(0, |since| since.as_nanos());
    let number = stat.identity.map_or(0, |identity| identity.number);
    format!("{}-{nanos}-{number}", stat.bytes)
}
