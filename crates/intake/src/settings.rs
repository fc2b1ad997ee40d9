//! What intake must be told.

use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::IntakeError;
use crate::names::{fitting, name_of};

/// One import folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WatchedFolder {
    /// Where it is.
    pub path: PathBuf,
    /// Bay whose device writes here; used where the export names none.
    pub bay: Option<String>,
    /// `indoor` or `outdoor`; used where the export does not say.
    pub environment: Option<String>,
    /// It lies on a share: while nothing is mounted there it counts as unreachable, never as empty.
    pub share: bool,
    /// File names to pass over; `*` stands for any characters, `?` for one. Case does not matter.
    pub ignore: Vec<String>,
}

impl WatchedFolder {
    /// A folder about which nothing more is known.
    pub fn new(path: impl Into<PathBuf>) -> WatchedFolder {
        WatchedFolder { path: path.into(), bay: None, environment: None, share: false, ignore: Vec::new() }
    }
}

/// How much is staged before it is published together, whichever comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BatchLimits {
    /// Files.
    pub files: usize,
    /// Rows.
    pub rows: i64,
}

impl Default for BatchLimits {
    fn default() -> BatchLimits {
        BatchLimits { files: 1_000, rows: 250_000 }
    }
}

impl WatchedFolder {
    /// Its name in the archive: the last part of its path.
    pub(crate) fn label(&self) -> String {
        fitting(&name_of(&self.path))
    }
}

/// The settings of intake.
#[derive(Debug, Clone)]
pub struct IntakeSettings {
    /// The site, part of every shot's identity.
    pub site_id: String,
    /// The site's zone: local times are read in it, local dates taken in it.
    pub zone: chrono_tz::Tz,
    /// The home folder.
    pub home: PathBuf,
    /// The import folders.
    pub folders: Vec<WatchedFolder>,
    /// Where source files go when their rows are published.
    pub archive_dir: PathBuf,
    /// The roster, where a change of it is to be noticed while intake runs.
    pub roster_file: Option<PathBuf>,
    /// The corrections, where a change of them is to be noticed while intake runs.
    pub corrections_file: Option<PathBuf>,
    /// Where refused files go.
    pub quarantine_dir: PathBuf,
    /// Where parsed rows wait.
    pub staging_dir: PathBuf,
    /// The lake's root.
    pub lake_dir: PathBuf,
    /// How long size and time of a file must stay the same before it is taken.
    pub quiet_period: Duration,
    /// After this time a file that has not become whole is reported as waiting.
    pub waiting_too_long: Duration,
    /// Time between two scans when no folder event comes.
    pub rescan_every: Duration,
    /// Time between two scans of folders on network shares, which send no events.
    pub share_rescan_every: Duration,
    /// Intake pauses while a volume of ours has fewer free bytes than this.
    pub least_free: u64,
    /// How much is published together.
    pub batch: BatchLimits,
    /// What one file may hold; larger files are refused unread.
    pub limits: formats::ParseLimits,
}

impl IntakeSettings {
    /// The usual layout below a home folder, with one import folder.
    pub fn at_home(home: &Path, site_id: &str, zone: chrono_tz::Tz) -> IntakeSettings {
        IntakeSettings {
            site_id: site_id.to_owned(),
            zone,
            home: home.to_owned(),
            folders: vec![WatchedFolder::new(home.join("import"))],
            archive_dir: home.join("archive"),
            roster_file: None,
            corrections_file: None,
            quarantine_dir: home.join("quarantine"),
            staging_dir: home.join("state").join("staging"),
            lake_dir: home.join("lake"),
            quiet_period: Duration::from_secs(3),
            waiting_too_long: Duration::from_mins(10),
            rescan_every: Duration::from_secs(30),
            share_rescan_every: Duration::from_secs(10),
            least_free: 0,
            batch: BatchLimits::default(),
            limits: formats::ParseLimits::default(),
        }
    }

    /// Bytes from which on a file is refused unread.
    pub(crate) fn largest_file(&self) -> u64 {
        self.limits.max_file_bytes as u64
    }

    /// The import folder that holds a path: the innermost one.
    pub(crate) fn folder_of(&self, path: &Path) -> Option<&WatchedFolder> {
        let holding = self.folders.iter().filter(|folder| path.starts_with(&folder.path));
        holding.max_by_key(|folder| folder.path.components().count())
    }

    /// The import folder that a name in the archive stands for, where only one bears it.
    pub(crate) fn folder_labelled(&self, label: &str) -> Option<&WatchedFolder> {
        let mut bearing = self.folders.iter().filter(|folder| folder.label() == label);
        bearing.next().filter(|_| bearing.next().is_none())
    }

    /// Refuses settings under which intake would import its own output or one file twice.
    pub(crate) fn check(&self) -> Result<(), IntakeError> {
        let refuse = |problem: String, hint: &str| Err(IntakeError::Settings { problem, hint: hint.to_owned() });
        let own = [
            ("archive", &self.archive_dir),
            ("quarantine", &self.quarantine_dir),
            ("staging", &self.staging_dir),
            ("lake", &self.lake_dir),
        ];
        for (position, folder) in self.folders.iter().enumerate() {
            for (name, path) in own {
                if path.starts_with(&folder.path) || folder.path.starts_with(path) {
                    let problem = format!(
                        "the import folder {} and the {name} folder {} overlap",
                        folder.path.display(),
                        path.display()
                    );
                    return refuse(problem, "give each a place outside the other, or files would be imported again");
                }
            }
            for other in &self.folders[position + 1..] {
                if other.path.starts_with(&folder.path) || folder.path.starts_with(&other.path) {
                    let problem =
                        format!("the import folders {} and {} overlap", folder.path.display(), other.path.display());
                    return refuse(problem, "subfolders are watched anyway; name each place once");
                }
            }
        }
        Ok(())
    }
}
