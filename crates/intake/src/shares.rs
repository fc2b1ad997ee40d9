//! Where import folders lie, and whether what stands there is the folder itself or only the place where it is mounted.

use std::path::{Path, PathBuf};
use std::time::Duration;

use files::{Entry, EntryKind, FileIdentity, FileStat, Volume};
use ledger::WatchedVolume;

use crate::looks::Looks;
use crate::names::{is_temporary, text_of};
use crate::settings::WatchedFolder;
use crate::{Intake, IntakeError, Moment};

/// Whether an import folder can be looked at.
pub(crate) enum Standing {
    /// It can.
    Here { is_polled: bool },
    /// Its next look comes later.
    NotDue,
    /// It cannot be reached; never to be taken for empty.
    Away(IntakeError),
}

impl Intake {
    /// The entries of a folder that must be there.
    pub(crate) fn entries_of(&self, folder: &Path) -> Result<Vec<Entry>, IntakeError> {
        if self.folder_at(folder)?.is_none() {
            return Err(IntakeError::Settings {
                problem: format!("the import folder {} does not exist", files::readable_path(folder)),
                hint: "create it, or mount the share; files in it are imported as soon as it is back".into(),
            });
        }
        Ok(self.files.list(folder)?)
    }

    /// The folder that a path leads to; nothing where it leads to none. A link to a folder counts as that folder.
    fn folder_at(&self, folder: &Path) -> Result<Option<FileStat>, IntakeError> {
        // The dot makes the system follow a link, which a look at the bare path would not.
        let stat = self.files.stat(&folder.join("."))?;
        Ok(stat.filter(|stat| stat.kind == EntryKind::Folder))
    }

    /// Asks where an import folder stands. An error means that the ledger failed; what the disk refuses is an answer.
    pub(crate) fn standing_of(
        &self,
        watched: &WatchedFolder,
        looks: &mut Looks,
        now: Moment,
    ) -> Result<Standing, IntakeError> {
        let pause = micros(self.settings.share_rescan_every);
        if let Some(known) = looks.folders.get(&watched.path)
            && known.is_polled
            && !known.is_restless
            && known.looked_at.is_some_and(|looked_at| now.steady - looked_at < pause)
        {
            return Ok(Standing::NotDue);
        }
        match self.judge_volume(watched, looks, now) {
            Err(IntakeError::Ledger(error)) => Err(error.into()),
            Err(error) => Ok(Standing::Away(error)),
            Ok(standing) => Ok(standing),
        }
    }

    fn judge_volume(&self, watched: &WatchedFolder, looks: &mut Looks, now: Moment) -> Result<Standing, IntakeError> {
        let folder = &watched.path;
        let found = self.folder_at(folder)?;
        let standing = looks.folders.entry(folder.clone()).or_default();
        standing.is_there = found.is_some();
        standing.identity = found.and_then(|stat| stat.identity);
        if !standing.is_there {
            // Listing tells so, with a hint.
            return Ok(Standing::Here { is_polled: standing.is_polled });
        }
        standing.is_polled = watched.share;
        let Some(volume) = self.files.volume_of(folder)? else {
            return Ok(Standing::Here { is_polled: watched.share });
        };
        standing.is_polled |= volume.is_network;
        let is_polled = standing.is_polled;
        let noted_as = text_of(folder);
        let volumes = match &mut looks.volumes {
            Some(volumes) => volumes,
            unread => unread.insert(self.ledger.watched_volumes()?),
        };
        let before = volumes.iter().find(|noted| noted.folder == noted_as);
        let was_on_network = before.is_some_and(|noted| noted.is_network);
        if (watched.share || was_on_network) && self.is_bare_mount_point(watched, &volume)? {
            let kind = before.filter(|noted| noted.is_network).map_or("", |noted| noted.kind.as_str());
            return Ok(Standing::Away(not_mounted(folder, kind)));
        }
        if before.is_none_or(|noted| noted.kind != volume.kind) {
            tracing::info!(
                folder = %files::readable_path(folder),
                kind = %volume.kind,
                network = volume.is_network,
                "an import folder lies on this kind of volume"
            );
            let noted = WatchedVolume {
                folder: noted_as,
                kind: volume.kind,
                is_network: volume.is_network,
                noted_at: now.wall.timestamp_micros(),
            };
            self.ledger.note_volume(&noted)?;
            volumes.retain(|other| other.folder != noted.folder);
            volumes.push(noted);
        }
        Ok(Standing::Here { is_polled })
    }

    /// Whether only the empty folder stands there on which the share is mounted at other times.
    fn is_bare_mount_point(&self, watched: &WatchedFolder, volume: &Volume) -> Result<bool, IntakeError> {
        if volume.kind == "autofs" {
            return Ok(true); // an automatic mount that did not come about
        }
        if volume.is_network {
            return Ok(false);
        }
        if watched.share {
            // A share that is served from another disk of this machine is a share as well.
            let home = self.files.volume_of(&self.settings.home)?;
            if home.is_some_and(|home| home.device != volume.device) {
                return Ok(false);
            }
        }
        let entries = self.files.list(&watched.path)?;
        Ok(entries.iter().all(|entry| is_temporary(&entry.name)))
    }
}

/// The error of a share that is away.
fn not_mounted(folder: &Path, kind: &str) -> IntakeError {
    let of_kind = if kind.is_empty() { String::new() } else { format!(" (it was a volume of the kind {kind})") };
    IntakeError::Settings {
        problem: format!(
            "the share is not mounted: {} is an empty folder of this machine{of_kind}",
            files::readable_path(folder)
        ),
        hint:
            "mount it; files in it are imported as soon as it is back. If it is to be an ordinary folder from now on, \
               put a file into it, and take out share = true"
                .into(),
    }
}

/// What the watcher must know about the import folders.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct WatchPlan {
    /// Folders whose events are worth listening to, with the identity of what was found there.
    pub(crate) by_events: Vec<(PathBuf, Option<FileIdentity>)>,
    /// Whether some folder must be looked at from time to time.
    pub(crate) polls: bool,
}

impl WatchPlan {
    pub(crate) fn of(looks: &Looks) -> WatchPlan {
        let mut plan = WatchPlan::default();
        for (folder, standing) in &looks.folders {
            if standing.is_polled {
                plan.polls = true;
            } else if standing.is_there {
                plan.by_events.push((folder.clone(), standing.identity));
            }
        }
        plan.by_events.sort_by(|one, other| one.0.cmp(&other.0));
        plan
    }
}

fn micros(duration: Duration) -> i64 {
    i64::try_from(duration.as_micros()).unwrap_or(i64::MAX)
}
