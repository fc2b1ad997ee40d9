//! What a running daemon tells about itself: held in its memory for the status page, and in a small file of the state folder
//! for commands that look from another process.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

/// Name of the file below the state folder.
pub const VITALS_FILE: &str = "vitals.json";
/// Between two writings of the file at least so much time goes by.
const LEAST_PAUSE: Duration = Duration::from_secs(2);
/// Texts are ours and few; a larger file is not ours.
const MOST_BYTES: u64 = 1024 * 1024;

/// What the daemon is doing as a whole.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Phase {
    /// It picks up what the last stop left; nothing is taken yet.
    #[default]
    Starting,
    /// It watches, imports and computes.
    Running,
    /// It finishes the step at hand and takes nothing new.
    Stopping,
    /// It ended in order. Only ever read from the file.
    Stopped,
}

/// How a running daemon is. Instants are UTC microseconds since 1970.
///
/// Whatever stands still or fails is told in words by the daemon itself, which has a steady clock: readers compare no
/// instants, so that a jump of the wall clock alarms nobody.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct DaemonVitals {
    /// Its process.
    pub process: u32,
    /// Its version.
    pub version: String,
    /// What it is doing as a whole.
    pub phase: Phase,
    /// When it started.
    pub started_at: i64,
    /// When this was written.
    pub written_at: i64,
    /// When the last scan began.
    pub scan_started: Option<i64>,
    /// When the last scan ended.
    pub scan_finished: Option<i64>,
    /// When intake last came a step further: a file looked at, taken, published or archived.
    pub last_progress: Option<i64>,
    /// When rows last came into the lake.
    pub last_publication: Option<i64>,
    /// When the schedules of jobs and summaries were last looked at.
    pub schedule_looked_at: Option<i64>,
    /// Why intake pauses, for example for want of space; it goes on by itself.
    pub paused: Option<String>,
    /// Why intake cannot work, for example a ledger that cannot be written.
    pub failing: Option<String>,
    /// What has stood still for too long, one sentence a part: "no scan has ended for 15 min".
    pub stalled: Vec<String>,
    /// Faults of the configuration that was written last and is not in force; the one before it is.
    pub configuration_faults: Vec<String>,
    /// When the configuration in force was read.
    pub configured_at: Option<i64>,
    /// Packs that are left out, and why.
    pub pack_faults: Vec<String>,
    /// Why the last message to IT could not be delivered.
    pub alert_failing: Option<String>,
}

impl DaemonVitals {
    /// Reads the file of a state folder. `None` where there is none, or none that can be understood: a daemon of another
    /// version may have written it, and what it says is no more than a courtesy.
    pub fn read(state_dir: &Path) -> Option<DaemonVitals> {
        let mut text = String::new();
        let file = fs::File::open(state_dir.join(VITALS_FILE)).ok()?;
        file.take(MOST_BYTES).read_to_string(&mut text).ok()?;
        serde_json::from_str(&text).ok()
    }
}

/// Writes the file of a state folder, seldom enough to cost nothing.
#[derive(Debug)]
pub struct VitalsFile {
    path: PathBuf,
    written: Option<(DaemonVitals, Instant)>,
}

impl VitalsFile {
    /// The file of a state folder, which must exist.
    pub fn new(state_dir: &Path) -> VitalsFile {
        VitalsFile { path: state_dir.join(VITALS_FILE), written: None }
    }

    /// Writes if something but `written_at` has changed and the last writing is some seconds ago; at once where the daemon begins
    /// or ceases to do its work. Blocks for a moment.
    /// True when it was written. A failure is no reason to stop anything: log it once and go on.
    pub fn keep(&mut self, vitals: &DaemonVitals) -> io::Result<bool> {
        if let Some((before, at)) = &self.written {
            let unchanged = DaemonVitals { written_at: vitals.written_at, ..before.clone() } == *vitals;
            if unchanged || (at.elapsed() < LEAST_PAUSE && before.works_alike(vitals)) {
                return Ok(false);
            }
        }
        self.write(vitals)?;
        Ok(true)
    }

    /// Writes at once, for the first and the last word.
    pub fn write(&mut self, vitals: &DaemonVitals) -> io::Result<()> {
        // Shown by renaming, so that no reader meets half a file; never synced, since after a power cut nobody needs it.
        let unfinished = self.path.with_file_name(format!(".{VITALS_FILE}.part"));
        let mut text = serde_json::to_vec_pretty(vitals)?;
        text.push(b'\n');
        fs::write(&unfinished, text)?;
        fs::rename(&unfinished, &self.path)?;
        self.written = Some((vitals.clone(), Instant::now()));
        Ok(())
    }
}

impl DaemonVitals {
    /// Whether the two tell the same of what a person looks for first.
    fn works_alike(&self, other: &DaemonVitals) -> bool {
        let first = |vitals: &DaemonVitals| {
            let (phase, paused, failing) = (vitals.phase, vitals.paused.clone(), vitals.failing.clone());
            (phase, paused, failing, vitals.stalled.clone(), vitals.configuration_faults.clone())
        };
        first(self) == first(other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vitals() -> DaemonVitals {
        DaemonVitals {
            process: 7,
            version: "1".into(),
            phase: Phase::Running,
            written_at: 5,
            ..DaemonVitals::default()
        }
    }

    #[test]
    fn what_was_written_is_read_again() {
        let folder = tempfile::tempdir().expect("folder");
        assert_eq!(DaemonVitals::read(folder.path()), None);
        let mut told = vitals();
        told.paused = Some("less than 1 GiB is free\nhint: make room".into());
        assert!(VitalsFile::new(folder.path()).keep(&told).expect("written"));
        assert_eq!(DaemonVitals::read(folder.path()), Some(told));
        let names: Vec<_> =
            fs::read_dir(folder.path()).expect("listed").map(|e| e.expect("entry").file_name()).collect();
        assert_eq!(names, [VITALS_FILE], "no unfinished file stays");
    }

    #[test]
    fn nothing_is_written_while_nothing_changes_or_too_soon() {
        let folder = tempfile::tempdir().expect("folder");
        let mut file = VitalsFile::new(folder.path());
        assert!(file.keep(&vitals()).expect("written"));
        let later = DaemonVitals { written_at: 99, ..vitals() };
        file.written.as_mut().expect("written").1 -= LEAST_PAUSE;
        assert!(!file.keep(&later).expect("kept"), "only the time has changed");
        let changed = DaemonVitals { scan_finished: Some(3), ..vitals() };
        assert!(file.keep(&changed).expect("written"));
        let again = DaemonVitals { scan_finished: Some(4), ..vitals() };
        assert!(!file.keep(&again).expect("kept"), "too soon after the last one");
        assert_eq!(DaemonVitals::read(folder.path()).expect("vitals").scan_finished, Some(3));
        let pausing = DaemonVitals { paused: Some("no room".into()), ..again };
        assert!(file.keep(&pausing).expect("written"), "that it pauses is told at once");
    }

    #[test]
    fn the_file_of_another_version_is_read_as_far_as_it_is_known() {
        let folder = tempfile::tempdir().expect("folder");
        fs::write(folder.path().join(VITALS_FILE), "{\"process\": 9, \"mood\": \"calm\"}").expect("written");
        let read = DaemonVitals::read(folder.path()).expect("vitals");
        assert_eq!((read.process, read.phase), (9, Phase::Starting));
        fs::write(folder.path().join(VITALS_FILE), "{\"process\": ").expect("written");
        assert_eq!(DaemonVitals::read(folder.path()), None);
    }
}
