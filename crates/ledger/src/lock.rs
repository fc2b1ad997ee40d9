//! One daemon per state folder.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::LedgerError;

/// How often a lock that is taken is tried again, and the pause in between: much longer together than a look takes.
const TRIES: u32 = 5;
const BETWEEN_TRIES: Duration = Duration::from_millis(20);

/// Held as long as a daemon works on a state folder. The system releases it when the process ends, however it ends.
#[derive(Debug)]
pub struct InstanceLock {
    _file: File,
    holder_note: PathBuf,
}

impl InstanceLock {
    /// Takes the lock of a state folder, or says which process has it.
    pub fn acquire(state_dir: &Path) -> Result<InstanceLock, LedgerError> {
        let path = state_dir.join("instance.lock");
        // The holder's number stands in a second file: where locks are mandatory the locked one cannot be read.
        let holder_note = state_dir.join("instance.pid");
        let failed = |cause| LedgerError::Lock { path: path.clone(), cause };
        let file = OpenOptions::new().write(true).create(true).truncate(false).open(&path).map_err(failed)?;
        let mut taken = file.try_lock();
        for _ in 0..TRIES {
            // Whoever only looks for the holder has the lock for an instant, too.
            if !matches!(taken, Err(TryLockError::WouldBlock)) {
                break;
            }
            std::thread::sleep(BETWEEN_TRIES);
            taken = file.try_lock();
        }
        match taken {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let holder = std::fs::read_to_string(&holder_note).ok().and_then(|text| text.trim().parse().ok());
                return Err(LedgerError::Held { path: state_dir.to_owned(), holder });
            }
            Err(TryLockError::Error(cause)) => return Err(failed(cause)),
        }
        std::fs::write(&holder_note, format!("{}\n", std::process::id()))
            .map_err(|cause| LedgerError::Lock { path: holder_note.clone(), cause })?;
        Ok(InstanceLock { _file: file, holder_note })
    }
}

impl InstanceLock {
    /// The process that holds a state folder, if one does. Looks without taking anything from a daemon that starts.
    pub fn holder(state_dir: &Path) -> Option<u32> {
        let noted = std::fs::read_to_string(state_dir.join("instance.pid")).ok()?.trim().parse().ok()?;
        let file = File::open(state_dir.join("instance.lock")).ok()?;
        // After a hard stop the note stays behind; the lock itself tells whether its writer still lives.
        match file.try_lock_shared() {
            Err(TryLockError::WouldBlock) => Some(noted),
            _ => None,
        }
    }
}

impl Drop for InstanceLock {
    fn drop(&mut self) {
        // Only a courtesy to readers; the lock itself goes with the file handle.
        let _ = std::fs::remove_file(&self.holder_note);
    }
}
