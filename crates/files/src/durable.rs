//! Files that appear whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use crate::fault::{Fate, injected};
use crate::{FileError, Files, Sha256Text};

static NEXT_NUMBER: AtomicU64 = AtomicU64::new(0);
const BUFFER_BYTES: usize = 256 * 1024;

/// A name in the same folder for a file or folder under construction: `.name.<process>-<number>.part`.
pub fn temporary_sibling(path: &Path) -> PathBuf {
    let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let number = NEXT_NUMBER.fetch_add(1, Ordering::Relaxed);
    path.with_file_name(format!(".{name}.{}-{number}.part", std::process::id()))
}

/// Whether a name is one that [`temporary_sibling`] gives.
pub fn is_temporary_name(name: &str) -> bool {
    let Some(inner) = name.strip_prefix('.').and_then(|rest| rest.strip_suffix(".part")) else { return false };
    let Some((_, numbers)) = inner.rsplit_once('.') else { return false };
    let Some((process, number)) = numbers.split_once('-') else { return false };
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    is_number(process) && is_number(number)
}

/// What a finished file holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256, 64 hexadecimal digits.
    pub sha256: String,
}

/// A file under construction. Dropping it unfinished removes it.
#[derive(Debug)]
pub struct DurableWriter {
    files: Files,
    target: PathBuf,
    temporary: PathBuf,
    /// `None` once the writer is sealed.
    file: Option<File>,
    buffer: Vec<u8>,
    hash: Sha256Text,
    bytes: u64,
    /// An earlier write failed: the file has a hole and must never show.
    broken: bool,
}

impl DurableWriter {
    pub(crate) fn begin(files: Files, target: &Path) -> Result<DurableWriter, FileError> {
        let temporary = temporary_sibling(target);
        let file = files.step("create", &temporary, || File::create(&temporary))?;
        Ok(DurableWriter {
            files,
            target: target.to_owned(),
            temporary,
            file: Some(file),
            buffer: Vec::new(),
            hash: Sha256Text::default(),
            bytes: 0,
            broken: false,
        })
    }

    /// Adds bytes. The same as `write_all`, with our own error.
    pub fn append(&mut self, bytes: &[u8]) -> Result<(), FileError> {
        self.hash.update(bytes);
        self.bytes += bytes.len() as u64;
        self.buffer.extend_from_slice(bytes);
        if self.buffer.len() >= BUFFER_BYTES { self.flush_buffer() } else { Ok(()) }
    }

    fn flush_buffer(&mut self) -> Result<(), FileError> {
        let Some(file) = &mut self.file else { return Ok(()) };
        if self.broken {
            let cause = io::Error::other("an earlier write to this file failed");
            return Err(FileError::new("write", &self.temporary, cause));
        }
        if self.buffer.is_empty() {
            return Ok(());
        }
        let result = match self.files.fate("write", &self.temporary) {
            Fate::Proceed => file.write_all(&self.buffer),
            Fate::Fail(kind) => Err(injected(kind)),
            // A torn write leaves what a power cut could leave: a file with its first half.
            Fate::Tear(kind) => file.write_all(&self.buffer[..self.buffer.len() / 2]).and(Err(injected(kind))),
        };
        self.buffer.clear();
        self.broken = result.is_err();
        result.map_err(|cause| FileError::new("write", &self.temporary, cause))
    }

    /// Makes the bytes durable under the temporary name, so that they can be read back and checked before they show.
    pub fn seal(mut self) -> Result<SealedFile, FileError> {
        self.flush_buffer()?;
        if let Some(file) = &self.file {
            self.files.step("sync", &self.temporary, || file.sync_all())?;
        }
        self.file = None;
        let written = Written { bytes: self.bytes, sha256: std::mem::take(&mut self.hash).finish() };
        let temporary = std::mem::take(&mut self.temporary);
        Ok(SealedFile { files: self.files.clone(), target: self.target.clone(), temporary, written, shown: false })
    }

    /// Makes the file durable and shows it under its final name, replacing one that stands there.
    pub fn finish(self) -> Result<Written, FileError> {
        self.seal()?.show()
    }
}

impl Write for DurableWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.append(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        // Bytes count only when sealed; writing every small piece through would only cost time.
        Ok(())
    }
}

impl Drop for DurableWriter {
    fn drop(&mut self) {
        if self.file.take().is_some() {
            // A stray temporary file is harmless and goes at the next start.
            let _ = self.files.remove(&self.temporary);
        }
    }
}

/// A file whose bytes are durable but which does not show yet. Dropping it removes it.
#[derive(Debug)]
pub struct SealedFile {
    files: Files,
    target: PathBuf,
    temporary: PathBuf,
    written: Written,
    shown: bool,
}

impl SealedFile {
    /// Where the bytes stand now.
    pub fn temporary_path(&self) -> &Path {
        &self.temporary
    }

    /// Where they will stand.
    pub fn target(&self) -> &Path {
        &self.target
    }

    /// Size and hash.
    pub fn written(&self) -> &Written {
        &self.written
    }

    /// Renames the file to its final name, in one act and durably.
    pub fn show(mut self) -> Result<Written, FileError> {
        self.files.step("rename to", &self.target, || std::fs::rename(&self.temporary, &self.target))?;
        self.shown = true;
        self.files.sync_parent(&self.target)?;
        Ok(self.written.clone())
    }
}

impl Drop for SealedFile {
    fn drop(&mut self) {
        if !self.shown {
            let _ = self.files.remove(&self.temporary);
        }
    }
}
