//! Events of the import folders. They only shorten the wait: a lost event costs time, never a file.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use files::FileIdentity;
use notify::event::{AccessKind, AccessMode, ModifyKind};
use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};
use tokio::sync::mpsc;

use crate::names::text_of;
use crate::open_files::OpenFiles;
use crate::shares::WatchPlan;

/// Listens to the folders that a plan names, and follows the plan when it changes.
pub(crate) struct FolderEvents {
    /// `None` on a system without folder events.
    watcher: Option<RecommendedWatcher>,
    /// Folders that are listened to, with the folder that stood there then.
    armed: HashMap<PathBuf, Option<FileIdentity>>,
    /// Folders of which it was told that they cannot be listened to.
    told: HashSet<PathBuf>,
}

impl FolderEvents {
    pub(crate) fn new(wake: mpsc::Sender<()>, open_files: Arc<OpenFiles>) -> FolderEvents {
        let handler = move |event: notify::Result<Event>| {
            if let Ok(event) = &event {
                note_writers(event, &open_files);
                // Reading a folder is an event too, and our own scans read: only what may have changed a file wakes a scan.
                if is_only_a_look(event.kind) {
                    return;
                }
            }
            let _ = wake.try_send(()); // full means that a scan is due anyway
        };
        let watcher = match notify::recommended_watcher(handler) {
            Ok(watcher) => Some(watcher),
            Err(error) => {
                tracing::warn!(error = %error, "no folder events on this system; rescans alone find new files");
                None
            }
        };
        FolderEvents { watcher, armed: HashMap::new(), told: HashSet::new() }
    }

    /// Listens to what is new in the plan, and anew where another folder stands than before: created later, mounted over,
    /// replaced. A folder that cannot be listened to is tried again at every call.
    pub(crate) fn follow(&mut self, plan: &WatchPlan) {
        let Some(watcher) = &mut self.watcher else { return };
        let gone: Vec<PathBuf> = self
            .armed
            .iter()
            .filter(|(folder, identity)| {
                !plan.by_events.iter().any(|(other, now)| other == *folder && now == *identity)
            })
            .map(|(folder, _)| folder.clone())
            .collect();
        for folder in gone {
            let _ = watcher.unwatch(&folder); // the system may have forgotten it by itself
            self.armed.remove(&folder);
        }
        for (folder, identity) in &plan.by_events {
            if self.armed.contains_key(folder) {
                continue;
            }
            match watcher.watch(folder, RecursiveMode::Recursive) {
                Ok(()) => {
                    tracing::debug!(folder = %files::readable_path(folder), "listening to folder events");
                    self.armed.insert(folder.clone(), *identity);
                    self.told.remove(folder);
                }
                Err(error) => {
                    let _ = watcher.unwatch(folder); // part of it may be watched
                    if self.told.insert(folder.clone()) {
                        let folder = files::readable_path(folder);
                        tracing::warn!(folder, error = %error, "no folder events; rescans find new files");
                    }
                }
            }
        }
    }
}

fn is_only_a_look(kind: EventKind) -> bool {
    matches!(kind, EventKind::Access(access) if access != AccessKind::Close(AccessMode::Write))
}

/// Remembers which files are being written. A name that appears is no sign of it: a link or a renamed file is never closed.
fn note_writers(event: &Event, open_files: &OpenFiles) {
    let each = |note: &dyn Fn(&Path)| event.paths.iter().for_each(|path| note(path));
    match event.kind {
        EventKind::Modify(ModifyKind::Data(_)) => each(&|path| open_files.note_written(text_of(path))),
        EventKind::Access(AccessKind::Close(AccessMode::Write)) | EventKind::Remove(_) => {
            each(&|path| open_files.note_closed(&text_of(path)));
        }
        _ => {}
    }
}
