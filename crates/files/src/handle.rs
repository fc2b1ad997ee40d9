//! The handle that every file operation goes through.

use std::fs::{self, File, TryLockError};
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::SystemTime;

use crate::fault::{Fate, FaultState, injected};
use crate::{DurableWriter, FaultPlan, FileError, Sha256Text, Volume, Written};

/// A cheap, shareable handle on the file system. Clones share one operation counter and one fault plan.
#[derive(Debug, Clone, Default)]
pub struct Files {
    faults: Arc<FaultState>,
}

/// What a path names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryKind {
    /// A regular file.
    File,
    /// A folder.
    Folder,
    /// A symbolic link; never followed.
    Link,
    /// A pipe, device or anything else.
    Other,
}

/// Which file a name stands for. A file that replaces another one under its name has an identity of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FileIdentity {
    /// The system's number of the volume.
    pub device: u64,
    /// The volume's number of the file.
    pub number: u64,
}

/// Size and time of a file or folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FileStat {
    /// What it is.
    pub kind: EntryKind,
    /// Size in bytes.
    pub bytes: u64,
    /// Last change, where the file system knows it.
    pub modified: Option<SystemTime>,
    /// Which file it is, where the system tells.
    pub identity: Option<FileIdentity>,
}

/// One entry of a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Full path.
    pub path: PathBuf,
    /// Name within its folder; characters that are not Unicode are replaced.
    pub name: String,
    /// What it is.
    pub kind: EntryKind,
}

impl Files {
    /// A handle without faults.
    pub fn new() -> Files {
        Files::default()
    }

    /// A handle whose operations fail as planned; for tests.
    pub fn with_faults(plan: FaultPlan) -> Files {
        Files { faults: Arc::new(FaultState::planned(plan)) }
    }

    /// Sets or lifts the fault plan of this handle and all its clones, and counts operations from 1 again.
    pub fn set_faults(&self, plan: Option<FaultPlan>) {
        self.faults.replace_plan(plan);
    }

    /// How many operations this handle and its clones were asked for.
    pub fn operations(&self) -> u64 {
        self.faults.operations()
    }

    /// Makes every operation on a path, and on whatever lies below it, fail as if the disk had answered so; `None` ends that.
    /// For tests of shares that vanish and folders without permission. A kind that means a full volume fails only what needs
    /// room. Concerns this handle and its clones.
    pub fn set_outage(&self, below: &Path, kind: Option<ErrorKind>) {
        self.faults.replace_outage(below.to_owned(), kind);
    }

    pub(crate) fn set_pretended(&self, below: PathBuf, volume: Option<Volume>) {
        self.faults.replace_volume(below, volume);
    }

    pub(crate) fn pretended_volume(&self, path: &Path) -> Option<Volume> {
        self.faults.volume(path)
    }

    pub(crate) fn fate(&self, operation: &'static str, path: &Path) -> Fate {
        self.faults.next(operation, path)
    }

    /// One counted operation.
    pub(crate) fn step<T>(
        &self,
        operation: &'static str,
        path: &Path,
        action: impl FnOnce() -> io::Result<T>,
    ) -> Result<T, FileError> {
        let result = match self.fate(operation, path) {
            Fate::Proceed => action(),
            Fate::Fail(kind) | Fate::Tear(kind) => Err(injected(kind)),
        };
        result.map_err(|cause| FileError::new(operation, path, cause))
    }

    /// Opens a file for reading. The reads themselves are not counted operations.
    pub fn open(&self, path: &Path) -> Result<File, FileError> {
        self.step("open", path, || File::open(path))
    }

    /// Reads a whole file of at most `most_bytes` bytes; a larger one is an error of kind `FileTooLarge`.
    pub fn read(&self, path: &Path, most_bytes: u64) -> Result<Vec<u8>, FileError> {
        let bytes = self.step("read", path, || {
            let mut bytes = Vec::new();
            // One byte more than allowed tells a file that is too large from one that just fits.
            File::open(path)?.take(most_bytes.saturating_add(1)).read_to_end(&mut bytes)?;
            Ok(bytes)
        })?;
        if bytes.len() as u64 > most_bytes {
            return Err(FileError::found(
                "read",
                path,
                ErrorKind::FileTooLarge,
                format!("the file is larger than {most_bytes} bytes"),
                "raise the limit in the configuration if a file of this size is meant to be read",
            ));
        }
        Ok(bytes)
    }

    /// Size, kind and time of a path, without following symbolic links; `None` where nothing stands.
    pub fn stat(&self, path: &Path) -> Result<Option<FileStat>, FileError> {
        self.step("look at", path, || match fs::symlink_metadata(path) {
            Ok(metadata) => Ok(Some(FileStat {
                kind: kind_of(metadata.file_type()),
                bytes: metadata.len(),
                modified: metadata.modified().ok(),
                identity: identity_of(&metadata),
            })),
            Err(cause) if cause.kind() == ErrorKind::NotFound => Ok(None),
            Err(cause) => Err(cause),
        })
    }

    /// Whether another program of this machine holds a lock on the file that keeps readers out, as some writers do until they
    /// are done. No answer (a volume without locks) counts as no lock.
    pub fn is_locked(&self, path: &Path) -> Result<bool, FileError> {
        self.step("look for a lock on", path, || {
            let file = File::open(path)?;
            match file.try_lock_shared() {
                Ok(()) => file.unlock().map(|()| false),
                Err(TryLockError::WouldBlock) => Ok(true),
                Err(TryLockError::Error(_)) => Ok(false),
            }
        })
    }

    /// Creates a folder and its missing parents, durably. A folder that stands already is fine.
    pub fn create_dir_all(&self, folder: &Path) -> Result<(), FileError> {
        let mut missing = Vec::new();
        let mut cursor = Some(folder);
        while let Some(path) = cursor {
            if path.as_os_str().is_empty() || path.is_dir() {
                break;
            }
            missing.push(path);
            cursor = path.parent();
        }
        for path in missing.iter().rev() {
            self.step("create folder", path, || match fs::create_dir(path) {
                Err(cause) if cause.kind() == ErrorKind::AlreadyExists && path.is_dir() => Ok(()),
                other => other,
            })?;
            self.sync_parent(path)?;
        }
        if missing.is_empty() {
            self.step("create folder", folder, || Ok(()))?;
        }
        Ok(())
    }

    /// The entries of a folder, sorted by name; an empty list where the folder does not exist.
    pub fn list(&self, folder: &Path) -> Result<Vec<Entry>, FileError> {
        self.step("list", folder, || {
            let reader = match fs::read_dir(folder) {
                Err(cause) if cause.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
                other => other?,
            };
            let mut entries = Vec::new();
            for entry in reader {
                let entry = entry?;
                // An entry may vanish between listing and looking: it is then no entry any more.
                let Ok(kind) = entry.file_type() else { continue };
                let name = entry.file_name().to_string_lossy().into_owned();
                entries.push(Entry { path: entry.path(), name, kind: kind_of(kind) });
            }
            entries.sort_by(|left, right| left.name.cmp(&right.name));
            Ok(entries)
        })
    }

    /// Begins a file that becomes visible, whole and durable, only when it is finished.
    pub fn writer(&self, path: &Path) -> Result<DurableWriter, FileError> {
        DurableWriter::begin(self.clone(), path)
    }

    /// Writes a file durably, replacing one that stands there in one act.
    pub fn write_durable(&self, path: &Path, bytes: &[u8]) -> Result<Written, FileError> {
        let mut writer = self.writer(path)?;
        writer.append(bytes)?;
        writer.finish()
    }

    /// Renames within one file system and syncs both folders. A file at `to` is replaced in one act.
    pub fn rename_durable(&self, from: &Path, to: &Path) -> Result<(), FileError> {
        self.step("rename to", to, || fs::rename(from, to))?;
        self.sync_parent(to)?;
        if from.parent() != to.parent() {
            self.sync_parent(from)?;
        }
        Ok(())
    }

    /// Removes a file and syncs its folder. A file that is gone already is fine.
    pub fn remove(&self, path: &Path) -> Result<(), FileError> {
        let removed = self.step("remove", path, || forgive_missing(fs::remove_file(path)))?;
        if removed { self.sync_parent(path) } else { Ok(()) }
    }

    /// Removes a folder with everything in it and syncs its parent. A folder that is gone already is fine.
    pub fn remove_dir_all(&self, folder: &Path) -> Result<(), FileError> {
        let removed = self.step("remove folder", folder, || forgive_missing(fs::remove_dir_all(folder)))?;
        if removed { self.sync_parent(folder) } else { Ok(()) }
    }

    /// SHA-256 of a file's bytes, read in pieces; 64 hexadecimal digits.
    pub fn sha256_of_file(&self, path: &Path) -> Result<String, FileError> {
        self.step("hash", path, || {
            let mut file = File::open(path)?;
            let mut hash = Sha256Text::default();
            let mut piece = vec![0; 64 * 1024];
            loop {
                match file.read(&mut piece) {
                    Ok(0) => return Ok(hash.finish()),
                    Ok(count) => hash.update(&piece[..count]),
                    Err(cause) if cause.kind() == ErrorKind::Interrupted => {}
                    Err(cause) => return Err(cause),
                }
            }
        })
    }

    /// Makes the names in a folder durable. Where a system cannot sync folders (Windows), this does nothing.
    pub fn sync_dir(&self, folder: &Path) -> Result<(), FileError> {
        self.step("sync folder", folder, || sync_folder(folder))
    }

    pub(crate) fn sync_parent(&self, path: &Path) -> Result<(), FileError> {
        match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => self.sync_dir(parent),
            _ => self.sync_dir(Path::new(".")),
        }
    }
}

fn kind_of(kind: fs::FileType) -> EntryKind {
    if kind.is_file() {
        EntryKind::File
    } else if kind.is_dir() {
        EntryKind::Folder
    } else if kind.is_symlink() {
        EntryKind::Link
    } else {
        EntryKind::Other
    }
}

#[cfg(unix)]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn identity_of(metadata: &fs::Metadata) -> Option<FileIdentity> {
    use std::os::unix::fs::MetadataExt as _;

    Some(FileIdentity { device: metadata.dev(), number: metadata.ino() })
}

#[cfg(not(unix))]
fn identity_of(_metadata: &fs::Metadata) -> Option<FileIdentity> {
    None
}

/// Whether something was removed.
fn forgive_missing(result: io::Result<()>) -> io::Result<bool> {
    match result {
        Ok(()) => Ok(true),
        Err(cause) if cause.kind() == ErrorKind::NotFound => Ok(false),
        Err(cause) => Err(cause),
    }
}

#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    match File::open(folder)?.sync_all() {
        // Some network file systems refuse to sync folders; they are no less durable for our being told.
        Err(cause) if matches!(cause.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => Ok(()),
        other => other,
    }
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn sync_folder(_folder: &Path) -> io::Result<()> {
    Ok(())
}
