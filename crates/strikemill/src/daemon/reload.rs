//! Noticing that what people wrote has changed, and reading it by the same code as at the start.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use tokio::sync::{mpsc, watch};
use tokio::time::MissedTickBehavior;

use crate::studio::Written;

/// Time between two looks at the files.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// Most files that are looked at; beyond them a change is noticed at SIGHUP only.
const MOST_FILES: usize = 10_000;
/// How deep folders of packs may lie.
const DEEPEST: usize = 6;

/// Size and time of each file that people write and only the whole daemon can take up anew. Roster and corrections are none
/// of them: intake takes those up by itself.
type Seen = BTreeMap<PathBuf, (u64, Option<SystemTime>)>;

/// Everything that people wrote, sound enough to work by. The same for the start and for a reload.
pub fn read_all(home: &Path) -> Result<Written, Vec<String>> {
    let written = Written::load(home)?;
    if written.packs.packs().is_empty() {
        // Without one every export would end in quarantine.
        let mut faults = written.pack_faults;
        faults.push(
            "error: no format pack can be used\n\
             hint: put the shipped packs into plugins/formats/ of the home, then `strikemill check`"
                .to_owned(),
        );
        return Err(faults);
    }
    Ok(written)
}

/// Everything that people wrote, where it can take the place of what is in force. Beyond what the start asks for, a pack that
/// works must not be lost to a slip of the pen: its device's exports would go to quarantine. A pack whose folder is gone was
/// taken out on purpose.
pub fn read_anew(home: &Path, in_force: &PacksInForce, site_id: &str) -> Result<Written, Vec<String>> {
    let written = read_all(home)?;
    let found = &written.configuration.site_id;
    if found != site_id {
        return Err(vec![format!(
            "error: the site's id was changed from \"{site_id}\" to \"{found}\"\n\
             hint: it is part of every shot's identity; change it back, or give the other site a home of its own"
        )]);
    }
    let now = PacksInForce::of(&written);
    let lost = |before: &[String], now: &[String], folder: &str| -> Vec<String> {
        let gone = before.iter().filter(|name| !now.contains(name));
        gone.filter(|name| home.join(folder).join(name).is_dir()).cloned().collect()
    };
    let mut lost_packs = lost(&in_force.formats, &now.formats, "plugins/formats");
    lost_packs.extend(lost(&in_force.jobs, &now.jobs, "plugins/jobs"));
    if lost_packs.is_empty() {
        return Ok(written);
    }
    let mut faults = written.pack_faults;
    faults.push(format!(
        "error: {} worked so far and cannot be used as it is now\n\
         hint: mend it, or take its folder out of plugins/ if it is not wanted any more",
        lost_packs.join(", ")
    ));
    Err(faults)
}

/// The names of the packs that are in use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PacksInForce {
    pub formats: Vec<String>,
    pub jobs: Vec<String>,
}

impl PacksInForce {
    pub fn of(written: &Written) -> PacksInForce {
        PacksInForce {
            formats: written.packs.packs().iter().map(|pack| pack.name().to_owned()).collect(),
            jobs: written.job_packs.packs().iter().map(|pack| pack.name.clone()).collect(),
        }
    }
}

/// Tells `changed` when files changed and have stood still since, with the first of their names. Ends with `stopped`.
pub async fn notice_changes(home: PathBuf, changed: mpsc::Sender<String>, mut stopped: watch::Receiver<bool>) {
    let mut look = tokio::time::interval(LOOK_EVERY);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut known: Option<Seen> = None;
    let mut pending: Option<Seen> = None;
    loop {
        tokio::select! {
            _ = stopped.wait_for(|stop| *stop) => return,
            _ = look.tick() => {}
        }
        let place = home.clone();
        let Ok(seen) = tokio::task::spawn_blocking(move || seen_now(&place)).await else { continue };
        let Some(before) = known.clone() else {
            known = Some(seen);
            continue;
        };
        if seen == before {
            pending = None;
        } else if pending.as_ref() == Some(&seen) {
            // Two looks alike: whoever writes is done. Only then is it worth reading.
            let what = difference(&before, &seen, &home);
            known = Some(seen);
            pending = None;
            // A full channel means that a reload is due anyway.
            let _ = changed.try_send(what);
        } else {
            pending = Some(seen);
        }
    }
}

fn seen_now(home: &Path) -> Seen {
    let mut seen = Seen::new();
    let only_toml = |name: &str| Path::new(name).extension().is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    look_into(&home.join("config"), 1, &only_toml, &mut seen);
    look_into(&home.join("plugins"), DEEPEST, &|_| true, &mut seen);
    seen
}

fn look_into(folder: &Path, depth: usize, wanted: &dyn Fn(&str) -> bool, seen: &mut Seen) {
    // What cannot be read now is noticed when it can be, or by the reload that something else sets off.
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if is_by_the_way(&name) || seen.len() >= MOST_FILES {
            continue;
        }
        // Follows links: a pack may be one.
        let Ok(metadata) = std::fs::metadata(entry.path()) else { continue };
        if metadata.is_dir() {
            if depth > 1 {
                look_into(&entry.path(), depth - 1, wanted, seen);
            }
        } else if wanted(&name) {
            seen.insert(entry.path(), (metadata.len(), metadata.modified().ok()));
        }
    }
}

/// Names that editors and copying programs use while they work.
fn is_by_the_way(name: &str) -> bool {
    let end = Path::new(name).extension().unwrap_or_default().to_ascii_lowercase();
    name.starts_with('.') || name.ends_with('~') || end == "tmp" || end == "part"
}

fn difference(before: &Seen, now: &Seen, home: &Path) -> String {
    let mut paths: Vec<&PathBuf> =
        now.iter().filter(|(path, is)| before.get(*path) != Some(is)).map(|(p, _)| p).collect();
    paths.extend(before.keys().filter(|path| !now.contains_key(*path)));
    let Some(first) = paths.first() else { return "a file".to_owned() };
    let name = first.strip_prefix(home).unwrap_or(first).display().to_string();
    match paths.len() {
        1 => name,
        more => format!("{name} and {} more", more - 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(home: &Path, name: &str, text: &str) {
        let path = home.join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, text).expect("a file");
    }

    #[test]
    fn a_change_is_seen_where_people_write_and_nowhere_else() {
        let home = tempfile::TempDir::new().expect("a temporary folder");
        write(home.path(), "config/strikemill.toml", "a");
        write(home.path(), "plugins/formats/one/format.toml", "a");
        let before = seen_now(home.path());
        for name in ["config/roster.csv", "config/.strikemill.toml.swp", "plugins/formats/one/format.toml~", "lake/x"] {
            write(home.path(), name, "new");
        }
        assert_eq!(seen_now(home.path()), before);
        write(home.path(), "plugins/formats/one/format.toml", "ab");
        let now = seen_now(home.path());
        assert_eq!(difference(&before, &now, home.path()), "plugins/formats/one/format.toml");
        std::fs::remove_file(home.path().join("config/strikemill.toml")).expect("removed");
        let now = seen_now(home.path());
        assert_eq!(difference(&before, &now, home.path()), "plugins/formats/one/format.toml and 1 more");
    }
}
