//! The side of the daemon: taking requests in the order in which they came.

use std::fs::{File, OpenOptions};
use std::path::{Path, PathBuf};

use anyhow::Context;
use files::{EntryKind, Files};

use super::{
    ANSWER_END, Answer, LARGEST_REQUEST, LOCK_NAME, REQUEST_END, Request, Task, WAITS_END, folder_of, is_locked,
};
use crate::studio::WRITER;

/// Where requests come in. While it is open, commands leave theirs instead of refusing to work.
#[derive(Debug)]
pub struct Desk {
    files: Files,
    folder: PathBuf,
    _open: File,
}

/// A request that waits for its answer.
#[derive(Debug, PartialEq, Eq)]
pub struct Ticket {
    pub id: String,
    pub task: Task,
}

impl Desk {
    /// Opens the desk of a state folder; the caller holds the folder's instance lock. Only the owner of the folder can leave
    /// requests: whoever can write there can have any file imported that the daemon can read.
    pub fn open(state: &Path, files: Files) -> anyhow::Result<Desk> {
        let folder = folder_of(state);
        files.create_dir_all(&folder)?;
        for_the_owner_only(&folder)?;
        let path = folder.join(LOCK_NAME);
        let failed = || format!("cannot lock {}", path.display());
        let open = OpenOptions::new().write(true).create(true).truncate(false).open(&path).with_context(failed)?;
        // Nobody but commands that look holds it, for an instant.
        open.lock().with_context(failed)?;
        Ok(Desk { files, folder, _open: open })
    }

    /// The next request that somebody waits for. What nobody waits for any longer is removed; what cannot be read is answered.
    pub fn next(&self) -> anyhow::Result<Option<Ticket>> {
        let entries = self.files.list(&self.folder)?;
        let has = |name: &str| entries.iter().any(|entry| entry.name == name);
        for entry in entries.iter().filter(|entry| entry.kind == EntryKind::File) {
            let Some((id, end)) = parts_of(&entry.name) else { continue };
            if !is_locked(&self.path(id, WAITS_END)) {
                if end == REQUEST_END {
                    tracing::info!(request = id, "a request was dropped: its command is gone");
                }
                self.files.remove(&entry.path)?;
                continue;
            }
            if end != REQUEST_END || has(&format!("{id}{ANSWER_END}")) {
                continue;
            }
            match self.read(&entry.path) {
                Ok(task) => return Ok(Some(Ticket { id: id.to_owned(), task })),
                Err(error) => {
                    let failure = Some(format!("{error:#}"));
                    tracing::warn!(request = id, "a request cannot be read: {error:#}");
                    self.answer(id, &Answer { failure, ..Answer::default() })?;
                }
            }
        }
        Ok(None)
    }

    fn read(&self, path: &Path) -> anyhow::Result<Task> {
        let bytes = self.files.read(path, LARGEST_REQUEST)?;
        let request: Request = serde_json::from_slice(&bytes).with_context(|| {
            format!(
                "the running daemon, {WRITER}, does not understand the request\n\
                 hint: restart the daemon after an update of the program"
            )
        })?;
        if request.program != WRITER {
            tracing::debug!(program = request.program, "the request comes from another version of the program");
        }
        Ok(request.task)
    }

    /// Hands over the answer and takes the request off the desk.
    pub fn answer(&self, id: &str, answer: &Answer) -> anyhow::Result<()> {
        let bytes = serde_json::to_vec(answer).context("an answer cannot be written down")?;
        self.files.write_durable(&self.path(id, ANSWER_END), &bytes)?;
        self.files.remove(&self.path(id, REQUEST_END))?;
        Ok(())
    }

    fn path(&self, id: &str, end: &str) -> PathBuf {
        self.folder.join(format!("{id}{end}"))
    }
}

/// The id of a file of the folder and what the file is; nothing for files that are not ours.
fn parts_of(name: &str) -> Option<(&str, &'static str)> {
    for end in [ANSWER_END, WAITS_END, REQUEST_END] {
        if let Some(id) = name.strip_suffix(end) {
            let good = !id.is_empty() && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
            return good.then_some((id, end));
        }
    }
    None
}

#[cfg(unix)]
fn for_the_owner_only(folder: &Path) -> anyhow::Result<()> {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let found = std::fs::symlink_metadata(folder).with_context(|| format!("cannot look at {}", folder.display()))?;
    let user = rustix::process::geteuid().as_raw();
    if !found.is_dir() || found.uid() != user {
        anyhow::bail!(
            "{} is not a folder of the user who runs the daemon\nhint: remove it, the daemon makes it anew",
            folder.display()
        );
    }
    if found.mode() & 0o077 != 0 {
        std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o700))
            .with_context(|| format!("cannot close {} to other users", folder.display()))?;
    }
    Ok(())
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn for_the_owner_only(_folder: &Path) -> anyhow::Result<()> {
    // The rights of the state folder itself pass on to it.
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::{ask::ask, is_served};
    use super::*;

    fn state() -> tempfile::TempDir {
        tempfile::TempDir::new().expect("a temporary folder")
    }

    fn names(state: &Path) -> Vec<String> {
        let entries = Files::new().list(&folder_of(state)).expect("the folder");
        entries.into_iter().map(|entry| entry.name).filter(|name| name != LOCK_NAME).collect()
    }

    #[test]
    fn a_request_is_answered_once_and_leaves_nothing_behind() {
        let state = state();
        let desk = Desk::open(state.path(), Files::new()).expect("a desk");
        assert!(is_served(state.path()));
        let path = state.path().to_owned();
        let asking = std::thread::spawn(move || ask(&path, Task::Retry { hash: "2ffa".into() }));
        let ticket = loop {
            if let Some(ticket) = desk.next().expect("the folder can be read") {
                break ticket;
            }
        };
        assert_eq!(ticket.task, Task::Retry { hash: "2ffa".into() });
        let answer = Answer { lines: vec!["done".into()], left_out: 0, failure: None };
        desk.answer(&ticket.id, &answer).expect("an answer");
        assert_eq!(asking.join().expect("no panic").expect("an answer"), answer);
        assert_eq!(desk.next().expect("the folder can be read"), None);
        assert_eq!(names(state.path()), Vec::<String>::new());
    }

    #[test]
    fn what_nobody_waits_for_is_dropped() {
        let state = state();
        let folder = folder_of(state.path());
        std::fs::create_dir_all(&folder).expect("a folder");
        let request = r#"{"program":"strikemill","task":"retry","hash":""}"#;
        for (name, text) in [("a-1.json", request), ("a-1.waits", ""), ("b-2.answer.json", "{}"), ("notes.txt", "")] {
            std::fs::write(folder.join(name), text).expect("a file");
        }
        let desk = Desk::open(state.path(), Files::new()).expect("a desk");
        assert_eq!(desk.next().expect("the folder can be read"), None);
        assert_eq!(names(state.path()), ["notes.txt"], "a file that is not ours stays");
    }

    #[test]
    fn a_request_that_cannot_be_read_is_answered_with_a_hint() {
        let state = state();
        let desk = Desk::open(state.path(), Files::new()).expect("a desk");
        let folder = folder_of(state.path());
        let waits = File::create(folder.join("a-1.waits")).expect("a place");
        waits.lock().expect("a lock");
        std::fs::write(folder.join("a-1.json"), r#"{"program":"x","task":"sing"}"#).expect("a request");
        assert_eq!(desk.next().expect("the folder can be read"), None);
        let text = std::fs::read_to_string(folder.join("a-1.answer.json")).expect("an answer");
        let answer: Answer = serde_json::from_str(&text).expect("JSON");
        assert!(answer.failure.expect("a failure").contains("hint: restart the daemon"));
        drop(waits);
        desk.next().expect("the folder can be read");
        assert_eq!(names(state.path()), Vec::<String>::new());
    }

    #[test]
    fn a_command_whose_daemon_ends_gives_up() {
        let state = state();
        let desk = Desk::open(state.path(), Files::new()).expect("a desk");
        let path = state.path().to_owned();
        let asking = std::thread::spawn(move || ask(&path, Task::Retry { hash: String::new() }));
        while desk.next().expect("the folder can be read").is_none() {}
        drop(desk);
        let error = asking.join().expect("no panic").expect_err("nobody answers");
        assert!(error.to_string().contains("stopped before it answered"), "{error:#}");
        assert_eq!(names(state.path()), Vec::<String>::new());
    }

    #[cfg(unix)]
    #[test]
    fn nobody_else_can_leave_a_request() {
        use std::os::unix::fs::{MetadataExt, PermissionsExt};
        let state = state();
        let folder = folder_of(state.path());
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o777)).expect("open to all");
        let _desk = Desk::open(state.path(), Files::new()).expect("a desk");
        assert_eq!(std::fs::metadata(&folder).expect("the folder").mode() & 0o777, 0o700);
    }
}
