//! Homes to run the program in, and the program itself.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

/// The checkout that ships configuration, packs and demo data.
pub fn checkout() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Runs the program in the checkout and waits for its end.
pub fn strikemill(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_strikemill"));
    command.args(arguments).current_dir(checkout()).env_remove("STRIKEMILL_HOME").output().expect("the program starts")
}

/// What the program printed, for assertions and their messages.
pub fn words(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// Rows of a query as JSON.
pub fn rows(home: &Path, sql: &str) -> Vec<Value> {
    let output = strikemill(&["query", sql, "--output", "json", "--home", &home.display().to_string()]);
    assert!(output.status.success(), "{sql}\n{}", words(&output));
    serde_json::from_slice(&output.stdout).expect("one JSON array")
}

/// One number of a query with one row and the column `n`.
pub fn number(home: &Path, sql: &str) -> i64 {
    rows(home, sql)[0]["n"].as_i64().unwrap_or_else(|| panic!("{sql} gives no number"))
}

struct MadeDemo {
    _folder: TempDir,
    home: PathBuf,
    words: String,
}

/// The demo, made once for all tests that only look at it.
fn made() -> &'static MadeDemo {
    static MADE: OnceLock<MadeDemo> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = TempDir::new().expect("a temporary folder");
        let home = folder.path().join("academy");
        let output = strikemill(&["demo", "--into", &home.display().to_string()]);
        assert!(output.status.success(), "{}", words(&output));
        MadeDemo { _folder: folder, home, words: words(&output) }
    })
}

/// Home of the demo.
pub fn demo() -> &'static Path {
    &made().home
}

/// What the demo printed.
pub fn demo_words() -> &'static str {
    &made().words
}

/// A fresh home with the shipped configuration, its import folders made, and quick settings.
pub fn fresh_home() -> TempDir {
    fresh_home_below(&std::env::temp_dir())
}

/// The same, in a folder below `place`.
pub fn fresh_home_below(place: &Path) -> TempDir {
    let folder = TempDir::new_in(place).expect("a temporary folder");
    let output = strikemill(&["init", "--home", &folder.path().display().to_string()]);
    assert!(output.status.success(), "{}", words(&output));
    for bay in ["bay1", "bay2", "bay3"] {
        std::fs::create_dir_all(folder.path().join("import").join(bay)).expect("an import folder");
    }
    let configuration = folder.path().join("config/strikemill.toml");
    let text = std::fs::read_to_string(&configuration).expect("the shipped configuration");
    let quick = text
        .replace("quiet_period_s = 3 ", "quiet_period_s = 0.3 ")
        .replace("rescan_every_s = 20 ", "rescan_every_s = 0.5 ");
    assert_ne!(text, quick, "the shipped settings are where this test expects them");
    std::fs::write(configuration, quick).expect("the configuration can be written");
    folder
}

/// Takes every shipped job out of a home.
pub fn without_shipped_jobs(home: &Path) {
    let folders = std::fs::read_dir(home.join("plugins/jobs")).expect("the folder of jobs");
    for entry in folders {
        let path = entry.expect("an entry").path();
        if path.join("job.toml").is_file() {
            std::fs::remove_dir_all(path).expect("a shipped job");
        }
    }
}

/// Copies exports of the demo into an import folder of a home; answers how many.
pub fn drop_exports(home: &Path, bay: &str, most: usize) -> usize {
    let mut names: Vec<PathBuf> = std::fs::read_dir(checkout().join("demo-data").join(bay))
        .expect("the demo data")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    names.sort();
    names.truncate(most);
    for path in &names {
        let target = home.join("import").join(bay).join(path.file_name().expect("a name"));
        std::fs::copy(path, target).expect("an export is copied");
    }
    names.len()
}

/// A running daemon, killed when the test lets go of it.
pub struct Daemon(pub Child);

impl Daemon {
    pub fn start(home: &Path) -> Daemon {
        Daemon::start_with(home, &[])
    }

    /// Starts it with further environment variables.
    pub fn start_with(home: &Path, environment: &[(&str, &str)]) -> Daemon {
        let log =
            std::fs::OpenOptions::new().create(true).append(true).open(home.join("daemon.log")).expect("a log file");
        let child = Command::new(env!("CARGO_BIN_EXE_strikemill"))
            .args(["run", "--home"])
            .arg(home)
            .envs(environment.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the daemon starts");
        Daemon(child)
    }

    /// Starts it and waits until it watches its folders.
    pub fn watching(home: &Path) -> Daemon {
        let daemon = Daemon::start(home);
        until("the daemon watches", home, Duration::from_mins(1), || log_of(home).contains("watching"));
        daemon
    }

    /// Sends a signal by its name.
    pub fn signal(&self, name: &str) {
        let done =
            Command::new("kill").args([&format!("-{name}"), &self.0.id().to_string()]).status().expect("kill runs");
        assert!(done.success(), "signal {name}");
    }

    /// Waits for the end and tells whether it was a clean one.
    pub fn wait(&mut self, limit: Duration) -> bool {
        let started = Instant::now();
        while started.elapsed() < limit {
            if let Some(status) = self.0.try_wait().expect("the daemon can be waited for") {
                return status.success();
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the daemon did not end within {limit:?}");
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// What the daemon logged so far.
pub fn log_of(home: &Path) -> String {
    std::fs::read_to_string(home.join("daemon.log")).unwrap_or_default()
}

/// Changes a file of a home; the text to be replaced must be there.
pub fn edit(home: &Path, name: &str, from: &str, to: &str) {
    let path = home.join(name);
    let text = std::fs::read_to_string(&path).expect("the file can be read");
    assert!(text.contains(from), "{name} has no {from:?}");
    std::fs::write(path, text.replace(from, to)).expect("the file can be written");
}

/// Waits until something holds.
pub fn until(what: &str, home: &Path, limit: Duration, mut holds: impl FnMut() -> bool) {
    let started = Instant::now();
    while !holds() {
        if started.elapsed() > limit {
            let log = std::fs::read_to_string(home.join("daemon.log")).unwrap_or_default();
            panic!("waited {limit:?} in vain: {what}\n{log}");
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Files below a folder, at any depth.
pub fn files_below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let Ok(entries) = std::fs::read_dir(folder) else { return found };
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(files_below(&path));
        } else {
            found.push(path);
        }
    }
    found
}
