//! Staged segments that cannot be published: a disk or a person spoilt them. They are set aside, so that one of them holds up
//! no other file; nothing is lost, since the file they were read from still stands where it was.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use files::EntryKind;

use crate::segment::{check_origin, describe, segment_folders};
use crate::store::Store;
use crate::{Lake, LakeError};

/// A segment that was set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DamagedSegment {
    /// Where it stands now.
    pub folder: PathBuf,
    /// What is wrong with it.
    pub problem: String,
}

/// Whether an error tells of wrong bytes, which stay wrong, and not of a disk or share that is away or full for a moment.
pub(crate) fn is_damage(error: &LakeError) -> bool {
    match error {
        LakeError::File(error) => !error.may_pass() && error.kind() != ErrorKind::ReadOnlyFilesystem,
        _ => true,
    }
}

impl Lake {
    /// Reads every staged segment, and moves those that are damaged out of the way, to `staging/damaged`. Their files have to
    /// be imported again. An error means that staging could not be read or written at all.
    pub fn set_aside_damaged_segments(&self) -> Result<Vec<DamagedSegment>, LakeError> {
        let _turn = self.write_turn();
        let store = self.store();
        let mut damaged = Vec::new();
        for folder in segment_folders(store)? {
            let problem = match self.look_through(&folder) {
                Ok(()) => continue,
                Err(error) if is_damage(&error) => error.to_string(),
                Err(error) => return Err(error),
            };
            let aside = free_place(store, &folder)?;
            store.files.create_dir_all(&store.damaged_folder())?;
            store.files.rename_durable(&folder, &aside)?;
            damaged.push(DamagedSegment { folder: aside, problem });
        }
        Ok(damaged)
    }

    /// Removes what was set aside, and answers how many segments went. They hold rows of persons, some of whom may have to be
    /// forgotten.
    pub fn discard_damaged_segments(&self) -> Result<usize, LakeError> {
        let _turn = self.write_turn();
        let files = &self.store().files;
        let mut discarded = 0;
        for entry in files.list(&self.store().damaged_folder())? {
            if entry.kind == EntryKind::Folder {
                files.remove_dir_all(&entry.path)?;
                discarded += 1;
            }
        }
        Ok(discarded)
    }

    /// Whether a segment is what its description tells.
    fn look_through(&self, folder: &Path) -> Result<(), LakeError> {
        let segment = describe(self.store(), folder)?;
        for (schema, rows) in self.read_segment(&segment)? {
            check_origin(&schema, &rows, &segment.header)?;
        }
        Ok(())
    }
}

/// A folder name under `staging/damaged` that nothing has: the same name may have been set aside before.
fn free_place(store: &Store, folder: &Path) -> Result<PathBuf, LakeError> {
    let name = folder.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let mut place = store.damaged_folder().join(&name);
    let mut number = 1;
    while store.files.stat(&place)?.is_some() {
        number += 1;
        place = store.damaged_folder().join(format!("{name}.{number}"));
    }
    Ok(place)
}
