//! Files of which folder events told that somebody writes them and has not closed them yet.

use std::collections::HashSet;
use std::sync::{Mutex, PoisonError};

/// More open files than any site has; beyond it the quiet period alone must do.
const MOST: usize = 100_000;

/// Paths that are open for writing. Events may be lost, so that a path here is a reason to wait, never one to wait for ever.
#[derive(Debug, Default)]
pub(crate) struct OpenFiles {
    paths: Mutex<HashSet<String>>,
}

impl OpenFiles {
    /// Somebody wrote.
    pub(crate) fn note_written(&self, path: String) {
        let mut paths = self.paths.lock().unwrap_or_else(PoisonError::into_inner);
        if paths.len() < MOST {
            paths.insert(path);
        }
    }

    /// Whoever wrote closed the file.
    pub(crate) fn note_closed(&self, path: &str) {
        self.paths.lock().unwrap_or_else(PoisonError::into_inner).remove(path);
    }

    pub(crate) fn is_open(&self, path: &str) -> bool {
        self.paths.lock().unwrap_or_else(PoisonError::into_inner).contains(path)
    }

    /// Forgets paths where nothing stands any more.
    pub(crate) fn keep_only(&self, stands: impl Fn(&str) -> bool) {
        self.paths.lock().unwrap_or_else(PoisonError::into_inner).retain(|path| stands(path));
    }
}
