//! The side of the command: leaving a request and waiting for the answer.

use std::fs::{File, OpenOptions};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use anyhow::{Context, bail};
use files::Files;

use super::{
    ANSWER_END, Answer, LARGEST_ANSWER, LARGEST_REQUEST, MOST_WAITING, REQUEST_END, Request, Task, WAITS_END,
    folder_of, is_served,
};
use crate::studio::WRITER;

/// Time between two looks for the answer.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// After this time a person is told what the command waits for.
const SAY_SO_AFTER: Duration = Duration::from_secs(3);

/// Has the daemon do a task, and waits for the answer. While a scan is under way the daemon finishes that first.
pub fn ask(state: &Path, task: Task) -> anyhow::Result<Answer> {
    let files = Files::new();
    let folder = folder_of(state);
    let bytes = serde_json::to_vec(&Request { program: WRITER.to_owned(), task }).context(
        "the request cannot be written down\nhint: name the folder that holds such files instead of the files",
    )?;
    if bytes.len() as u64 > LARGEST_REQUEST {
        bail!(
            "the request is larger than {LARGEST_REQUEST} bytes\nhint: name the folder that holds the files instead of every file"
        );
    }
    let waiting = files.list(&folder)?.iter().filter(|entry| entry.name.ends_with(WAITS_END)).count();
    if waiting >= MOST_WAITING {
        bail!(
            "{waiting} requests wait for the daemon already\nhint: wait until `strikemill status` shows it idle, then ask again"
        );
    }
    let place = Waiting::begin(&files, &folder)?;
    files.write_durable(&place.path(REQUEST_END), &bytes)?;
    place.answer(state)
}

/// A command's place in the queue. Dropping it takes everything of it back.
struct Waiting<'a> {
    files: &'a Files,
    folder: PathBuf,
    id: String,
    _lock: File,
}

impl<'a> Waiting<'a> {
    fn begin(files: &'a Files, folder: &Path) -> anyhow::Result<Waiting<'a>> {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        // Names sort by time, so that who asks first is served first.
        let id = format!("{:015x}-{}", since.as_micros(), std::process::id());
        let target = folder.join(format!("{id}{WAITS_END}"));
        let temporary = files::temporary_sibling(&target);
        let failed = || format!("cannot leave a request in {}", folder.display());
        let lock = OpenOptions::new().write(true).create_new(true).open(&temporary).with_context(failed)?;
        lock.lock().with_context(failed)?;
        // Named only when it is locked: the daemon never takes a place that is being made for one that was left.
        std::fs::rename(&temporary, &target).with_context(failed)?;
        Ok(Waiting { files, folder: folder.to_owned(), id, _lock: lock })
    }

    fn path(&self, end: &str) -> PathBuf {
        self.folder.join(format!("{}{end}", self.id))
    }

    fn answer(&self, state: &Path) -> anyhow::Result<Answer> {
        let began = Instant::now();
        let mut said = false;
        let path = self.path(ANSWER_END);
        loop {
            // Asked before the answer is looked for: a daemon that is gone may have answered as its last act.
            let served = is_served(state);
            if self.files.stat(&path)?.is_some() {
                let bytes = self.files.read(&path, LARGEST_ANSWER)?;
                return serde_json::from_slice(&bytes).context(
                    "the daemon's answer cannot be read\nhint: restart the daemon after an update of the program",
                );
            }
            if !served {
                bail!(
                    "the daemon stopped before it answered\n\
                     hint: whatever it had begun the next start finishes; give the command again to be sure"
                );
            }
            if !said && began.elapsed() > SAY_SO_AFTER {
                said = true;
                eprintln!("the running daemon does this once its scan is through; waiting for it");
            }
            std::thread::sleep(LOOK_EVERY);
        }
    }
}

impl Drop for Waiting<'_> {
    fn drop(&mut self) {
        // What stays behind here the daemon sweeps up, since nobody holds the lock any more.
        for end in [REQUEST_END, ANSWER_END, WAITS_END] {
            let _ = self.files.remove(&self.path(end));
        }
    }
}
