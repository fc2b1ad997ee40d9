//! Where published files live: a local folder, or an object store, behind one trait.
//!
//! Everything published (partitions, frozen files, manifest, data package) goes over a [`Shelf`]; staged segments and the key
//! index are always local. A shelf knows nothing of datasets and months. It holds files under keys: relative paths with forward
//! slashes, the same on every system.
//!
//! The acts are those that a folder and an object store have in common. There is no renaming, no appending and no locking
//! among them; every act that changes something changes one file, in one step, and has happened when it returns:
//!
//! | act | in a folder | in an object store |
//! |---|---|---|
//! | [`stat`](Shelf::stat) | size; size, time and number of the file as version | HEAD; size and entity tag |
//! | [`list`](Shelf::list) | the entries of a folder | listing by prefix with `/` as delimiter, page by page |
//! | [`read`](Shelf::read) | read | GET |
//! | [`open`](Shelf::open) | open | GET by ranges into an unnamed local file; a merge reads all of it anyway |
//! | [`sha256`](Shelf::sha256) | read and hash | the checksum kept with the object, else GET and hash |
//! | [`put`](Shelf::put) | write beside, sync, rename | PUT, with `If-None-Match: *` or `If-Match` as asked |
//! | [`begin`](Shelf::begin), [`show`](Shelf::show) | write beside and sync; rename | write to a local folder; upload in parts, complete |
//! | [`freeze`](Shelf::freeze) | link, or verified copy | copy within the store with `If-None-Match: *`, checksum compared |
//! | [`remove`](Shelf::remove) | unlink, sync the folder | DELETE |
//! | [`clear_unfinished`](Shelf::clear_unfinished) | remove temporary names | abort uploads that were never completed |

use std::fmt::Debug;
use std::fs::File;
use std::path::Path;

use files::{DurableWriter, FileError, SealedFile};

/// What a shelf tells of a file without reading it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShelfStat {
    /// Size in bytes.
    pub bytes: u64,
    /// Differs whenever the file was replaced; says nothing else.
    pub version: String,
}

/// One entry below a folder of keys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShelfEntry {
    /// Its name within the folder.
    pub name: String,
    /// Whether it is a folder, that is a longer prefix of keys.
    pub is_folder: bool,
}

/// The condition under which [`Shelf::put`] writes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PutIf {
    /// In any case.
    Always,
    /// Only if nothing stands under the key.
    Absent,
    /// Only if the file of this version stands under the key.
    Version(String),
}

/// Where published files live. See the [module's table](self) for what each act is in an object store.
///
/// Errors name the operation and the path, and end in a `hint:`; those that waiting can mend answer
/// [`FileError::may_pass`] with true.
pub trait Shelf: Debug + Send + Sync {
    /// The folder, or a path that names the store in messages; keys are told as paths below it.
    fn root(&self) -> &Path;

    /// Size and version of a file; `None` where none stands.
    fn stat(&self, key: &str) -> Result<Option<ShelfStat>, FileError>;

    /// What stands directly below a folder of keys, sorted by name; `""` is the root. Empty where there is nothing. Files that
    /// are not shown yet are left out.
    fn list(&self, folder: &str) -> Result<Vec<ShelfEntry>, FileError>;

    /// A whole file of at most so many bytes; a larger one is an error. `None` where none stands.
    fn read(&self, key: &str, most_bytes: u64) -> Result<Option<Vec<u8>>, FileError>;

    /// A file to read in any order. It keeps its bytes though the key is replaced or removed meanwhile.
    fn open(&self, key: &str) -> Result<File, FileError>;

    /// SHA-256 of a file's bytes, 64 hexadecimal digits.
    fn sha256(&self, key: &str) -> Result<String, FileError>;

    /// Writes a small file whole, replacing what stands there in one step. Answers whether the condition held; if not, nothing
    /// was written.
    fn put(&self, key: &str, bytes: &[u8], condition: &PutIf) -> Result<bool, FileError>;

    /// Begins a large file. Nothing shows under the key until [`Shelf::show`]; meanwhile it can be sealed, read back and
    /// checked, all of it on local disk.
    fn begin(&self, key: &str) -> Result<DurableWriter, FileError>;

    /// Shows a file that [`Shelf::begin`] began for this key, replacing what stands there in one step.
    fn show(&self, key: &str, sealed: SealedFile) -> Result<(), FileError>;

    /// Lets the bytes under `key`, known to have this SHA-256, stand under `frozen` as well, whatever becomes of `key`. The
    /// same bytes standing there already are fine; others are an error of kind `AlreadyExists`. If `key` has other bytes,
    /// nothing is frozen and the error has kind `InvalidData`.
    fn freeze(&self, key: &str, frozen: &str, sha256: &str) -> Result<(), FileError>;

    /// Removes a file. One that is gone already is fine.
    fn remove(&self, key: &str) -> Result<(), FileError>;

    /// Removes what an interrupted writer of these folders, and of files at the root whose names begin so, left unfinished.
    /// Only the one writer of a site may ask for it.
    fn clear_unfinished(&self, folders: &[String], root_names: &str) -> Result<(), FileError>;
}
