//! An exact moment of the lake. Partitions are replaced in place, so that a glob finds them; a reader that wants all of them as
//! one publication left them needs files that no later publication touches. Each live file therefore stands under a second,
//! frozen name as well, which the manifest tells and no `*.parquet` glob matches:
//!
//! `lake/site=<site>/moments/<dataset>.<month or all>.<first 16 digits of its SHA-256>.pq`
//!
//! A frozen file that is no longer live is retired: the manifest keeps its path and the instant, and a publication at least
//! [`RETIRED_STAY`](crate::RETIRED_STAY) later removes it. Until then a reader of the older manifest can finish.

use std::collections::HashSet;
use std::fs::File;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use shot::Month;

use crate::manifest::{ManifestFile, RetiredFile};
use crate::store::Store;
use crate::{Lake, LakeError, Manifest};

/// How long a retired file stays at least.
pub const RETIRED_STAY: Duration = Duration::from_mins(15);
/// Enough digits of the hash to tell the versions of one partition apart.
const DIGITS: usize = 16;

impl Store {
    fn frozen_path(&self, dataset: &str, month: Option<Month>, sha256: &str) -> String {
        let period = month.map_or_else(|| "all".to_owned(), |month| month.to_string());
        let digits: String = sha256.chars().take(DIGITS).collect();
        format!("{}/{dataset}.{period}.{digits}.pq", self.moments_key())
    }

    /// Whether a path can be that of a frozen file, so that a wrong manifest cannot make us remove anything else.
    fn is_frozen_path(&self, path: &str) -> bool {
        let name = path.strip_prefix(&self.moments_key()).and_then(|rest| rest.strip_prefix('/'));
        name.is_some_and(|name| has_ending(name) && !name.contains(['/', '\\']))
    }
}

/// Gives every live file a frozen name, verified to hold the bytes that the manifest tells. Files that have one are looked at
/// only if they are among the `concerned`, so that the cost does not grow with the lake.
pub(crate) fn freeze(
    store: &Store,
    manifest: &mut Manifest,
    concerned: &HashSet<(String, Option<Month>)>,
) -> Result<(), LakeError> {
    for file in &mut manifest.files {
        let is_concerned = concerned.contains(&(file.dataset.clone(), file.month));
        if let Some(path) = &file.frozen
            && (!is_concerned || stands(store, path, file.bytes)?)
        {
            continue;
        }
        let frozen = store.frozen_path(&file.dataset, file.month, &file.sha256);
        let live = store.relative_path(&file.dataset, file.month);
        match store.shelf.freeze(&live, &frozen, &file.sha256) {
            Ok(()) => file.frozen = Some(frozen),
            Err(error) if is_concerned => return Err(error.into()),
            Err(error) => {
                // A lake of an older version gets its frozen names with the first publication. What is wrong with a file that
                // this publication does not touch must not hold it up; `check` tells of it.
                tracing::debug!(path = %live, %error, "this file gets no frozen name yet");
                file.frozen = None;
            }
        }
    }
    Ok(())
}

fn stands(store: &Store, path: &str, bytes: i64) -> Result<bool, LakeError> {
    Ok(store.shelf.stat(path)?.map(|stat| stat.bytes) == u64::try_from(bytes).ok())
}

/// Retires the frozen files that were live before and are so no longer, and takes those whose time is over from the manifest.
/// Answers what may be removed once the manifest is replaced.
pub(crate) fn retire(manifest: &mut Manifest, live_before: &[ManifestFile], now: i64, stay: Duration) -> Vec<String> {
    let live: HashSet<&str> = manifest.files.iter().filter_map(|file| file.frozen.as_deref()).collect();
    // A partition can return to bytes that it had before.
    manifest.retired.retain(|file| !live.contains(file.path.as_str()));
    for path in live_before.iter().filter_map(|file| file.frozen.as_deref()) {
        if !live.contains(path) && !manifest.retired.iter().any(|file| file.path == path) {
            manifest.retired.push(RetiredFile { path: path.to_owned(), retired_at: now });
        }
    }
    let stay = i64::try_from(stay.as_micros()).unwrap_or(i64::MAX);
    let mut removable = Vec::new();
    let mut staying = Vec::new();
    for mut file in std::mem::take(&mut manifest.retired) {
        // An instant in the future comes from a clock that was put back since; its file would stay for ever.
        file.retired_at = file.retired_at.min(now);
        if file.retired_at.saturating_add(stay) <= now {
            removable.push(file.path);
        } else {
            staying.push(file);
        }
    }
    manifest.retired = staying;
    removable
}

/// Removes retired files that the manifest no longer names.
pub(crate) fn remove(store: &Store, paths: &[String]) -> Result<(), LakeError> {
    for path in paths {
        if store.is_frozen_path(path) {
            store.shelf.remove(path)?;
        }
    }
    Ok(())
}

/// Removes frozen files that no manifest names: an interrupted publication made them, or one was interrupted while it removed
/// them. Without a readable manifest nothing is removed. Answers how many went.
pub(crate) fn remove_strays(store: &Store) -> Result<usize, LakeError> {
    let folder = store.moments_key();
    let entries = store.shelf.list(&folder)?;
    if entries.is_empty() || store.bytes_of(&store.manifest_path())?.is_none() {
        return Ok(0);
    }
    // Opening must work with a damaged manifest too, for `check` and `repair` to tell of it.
    let Ok(manifest) = Manifest::read(store) else { return Ok(0) };
    let live = manifest.files.iter().filter_map(|file| file.frozen.as_deref());
    let named: HashSet<&str> = live.chain(manifest.retired.iter().map(|file| file.path.as_str())).collect();
    let mut removed = 0;
    for entry in entries {
        let key = format!("{folder}/{}", entry.name);
        if has_ending(&entry.name) && !named.contains(key.as_str()) {
            store.shelf.remove(&key)?;
            removed += 1;
        }
    }
    Ok(removed)
}

fn has_ending(name: &str) -> bool {
    std::path::Path::new(name).extension().is_some_and(|ending| ending == "pq")
}

/// UTC microseconds since 1970.
pub(crate) fn now_micros() -> i64 {
    let elapsed = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(elapsed.as_micros()).unwrap_or(i64::MAX)
}

impl Lake {
    /// Where a file of a manifest can be read, relative to the lake's root: its frozen name, or else its live one. `None` where
    /// neither stands with the size that the manifest tells.
    ///
    /// Reading all files of one manifest reading by their frozen names gives one exact moment, whatever is published meanwhile,
    /// for at least [`RETIRED_STAY`](crate::RETIRED_STAY) after the manifest is replaced.
    pub fn readable_path(&self, file: &ManifestFile) -> Result<Option<String>, LakeError> {
        for path in file.frozen.iter().chain([&file.path]) {
            if stands(self.store(), path, file.bytes)? {
                return Ok(Some(path.clone()));
            }
        }
        Ok(None)
    }

    /// Opens a file of a manifest as [`Lake::readable_path`] finds it. Once open, it stays readable whatever is published.
    pub fn open_published(&self, file: &ManifestFile) -> Result<File, LakeError> {
        let path = self.readable_path(file)?;
        Ok(self.store().shelf.open(path.as_ref().unwrap_or(&file.path))?)
    }

    /// Removes all retired files at once, whatever reader may still be at them, and answers how many went. After a person's
    /// rows were erased the earlier files must not stay even for minutes.
    pub fn drop_retired_now(&self) -> Result<usize, LakeError> {
        let _turn = self.write_turn();
        let store = self.store();
        let mut manifest = self.manifest()?;
        let live = manifest.files.clone();
        let removable = retire(&mut manifest, &live, now_micros(), Duration::ZERO);
        if !removable.is_empty() {
            manifest.write(store)?;
            remove(store, &removable)?;
        }
        Ok(removable.len() + remove_strays(store)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000_000;

    fn live(dataset: &str, frozen: &str) -> ManifestFile {
        ManifestFile {
            dataset: dataset.into(),
            month: None,
            path: format!("{dataset}.parquet"),
            rows: 1,
            bytes: 1,
            sha256: "0".repeat(64),
            generation: 1,
            schema_version: 1,
            frozen: Some(frozen.into()),
        }
    }

    #[test]
    fn a_file_stays_a_quarter_of_an_hour_after_it_was_live_and_one_that_returns_is_live_again() {
        let mut manifest = Manifest::empty("north");
        manifest.files = vec![live("shots", "b")];
        assert_eq!(retire(&mut manifest, &[live("shots", "a")], 100 * MINUTE, RETIRED_STAY), Vec::<String>::new());
        assert_eq!(manifest.retired, [RetiredFile { path: "a".into(), retired_at: 100 * MINUTE }]);
        let unchanged = manifest.files.clone();
        assert!(retire(&mut manifest, &unchanged, 115 * MINUTE - 1, RETIRED_STAY).is_empty());
        let mut returning = manifest.clone();
        returning.files = vec![live("shots", "a")];
        assert!(retire(&mut returning, &unchanged, 115 * MINUTE, RETIRED_STAY).is_empty());
        assert_eq!(returning.retired, [RetiredFile { path: "b".into(), retired_at: 115 * MINUTE }]);
        assert_eq!(retire(&mut manifest, &unchanged, 115 * MINUTE, RETIRED_STAY), ["a"]);
        assert!(manifest.retired.is_empty());
    }

    #[test]
    fn a_clock_that_was_put_back_keeps_no_file_for_ever() {
        let mut manifest = Manifest::empty("north");
        manifest.retired = vec![RetiredFile { path: "a".into(), retired_at: 1_000_000 * MINUTE }];
        assert!(retire(&mut manifest, &[], 100 * MINUTE, RETIRED_STAY).is_empty());
        assert_eq!(manifest.retired[0].retired_at, 100 * MINUTE);
        assert_eq!(retire(&mut manifest, &[], 115 * MINUTE, RETIRED_STAY), ["a"]);
    }
}
