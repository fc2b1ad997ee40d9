//! A second name, or a verified copy, for a file whose only copy must never be at risk.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::Path;

use crate::fault::{Fate, injected};
use crate::{FileError, Files};

/// How a file came to stand at its second place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placement {
    /// A hard link: no bytes moved.
    Linked,
    /// A copy, synced and verified.
    Copied,
    /// The very same bytes stood there already.
    AlreadyThere,
}

impl Files {
    /// Puts the file `from`, known to have this SHA-256, at `to` as well: a hard link, or across file systems a copy that is
    /// synced and verified. Both are durable on return. A different file at `to` is never overwritten: the error then has
    /// kind `AlreadyExists`. If `from` no longer has the hash, nothing is placed and the error has kind `InvalidData`.
    pub fn link_or_copy_verified(&self, from: &Path, to: &Path, sha256: &str) -> Result<Placement, FileError> {
        if self.stat(to)?.is_some() {
            return self.accept_equal(to, sha256);
        }
        match self.step("link to", to, || fs::hard_link(from, to)) {
            Ok(()) => {}
            Err(error) if error.kind() == ErrorKind::AlreadyExists => return self.accept_equal(to, sha256),
            Err(error) if error.kind() == ErrorKind::NotFound => return Err(error),
            // Another file system, or one without hard links: each says so with a different error.
            Err(_) => return self.copy_verified(from, to, sha256),
        }
        if self.sha256_of_file(to)? != sha256 {
            self.remove(to)?;
            return Err(changed("link", from));
        }
        // A link shares the bytes, which the device may have written a moment ago: only a sync makes them safe.
        self.step("sync", to, || sync_file(to))?;
        self.sync_parent(to)?;
        Ok(Placement::Linked)
    }

    fn accept_equal(&self, to: &Path, sha256: &str) -> Result<Placement, FileError> {
        if self.sha256_of_file(to)? != sha256 {
            return Err(FileError::found(
                "place a file at",
                to,
                ErrorKind::AlreadyExists,
                "another file with different content stands there",
                "move that file away, or rename the new one; strikemill never overwrites it",
            ));
        }
        self.step("sync", to, || sync_file(to))?;
        self.sync_parent(to)?;
        Ok(Placement::AlreadyThere)
    }

    /// Copies across file systems; the copy shows only after its bytes were read back and have the hash.
    pub(crate) fn copy_verified(&self, from: &Path, to: &Path, sha256: &str) -> Result<Placement, FileError> {
        let mut source = self.open(from)?;
        let mut writer = self.writer(to)?;
        io::copy(&mut source, &mut writer).map_err(|cause| FileError::new("copy", from, cause))?;
        let sealed = writer.seal()?;
        if self.sha256_of_file(sealed.temporary_path())? != sha256 {
            return Err(changed("copy", from));
        }
        // A link fails where a file stands, a rename would replace it.
        let linked = match self.fate("link to", to) {
            Fate::Proceed => fs::hard_link(sealed.temporary_path(), to),
            Fate::Fail(kind) | Fate::Tear(kind) => Err(injected(kind)),
        };
        match linked {
            Ok(()) => self.sync_parent(to)?, // dropping `sealed` removes the temporary name
            Err(cause) if cause.kind() == ErrorKind::AlreadyExists => return self.accept_equal(to, sha256),
            Err(_) if self.stat(to)?.is_none() => {
                sealed.show()?; // no hard links here; the daemon's lock keeps rivals away
            }
            Err(_) => return self.accept_equal(to, sha256),
        }
        Ok(Placement::Copied)
    }
}

fn changed(operation: &'static str, from: &Path) -> FileError {
    FileError::found(
        operation,
        from,
        ErrorKind::InvalidData,
        "its bytes are not those that were read before",
        "the device is probably still writing; the file is looked at again when it has settled",
    )
}

#[cfg(unix)]
fn sync_file(path: &Path) -> io::Result<()> {
    fs::File::open(path)?.sync_all()
}

#[cfg(not(unix))]
fn sync_file(path: &Path) -> io::Result<()> {
    // Windows syncs only through a handle that may write.
    fs::OpenOptions::new().write(true).open(path)?.sync_all()
}
