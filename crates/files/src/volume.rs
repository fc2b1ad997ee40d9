//! Which volume a path lies on: what kind it is, whether others can change it unseen, and how much room it has.

use std::io;
use std::path::{Path, PathBuf};

use crate::{FileError, Files};

/// A mounted volume, as the system describes it at one moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Volume {
    /// A word for its kind, such as `ext4`, `nfs`, `smb`, `fuse`; `other` for one that has no word here, `unknown` where the
    /// system cannot be asked.
    pub kind: String,
    /// Other machines can change it. The system tells of no such change, and a server that is away makes it vanish.
    pub is_network: bool,
    /// Bytes that this account may still write.
    pub free_bytes: u64,
    /// Bytes in all.
    pub total_bytes: u64,
    /// The system's number of the volume. A share that is mounted anew may get another one.
    pub device: u64,
}

impl Files {
    /// The volume that a file or folder lies on; the path must exist. `None` on systems that cannot be asked without unsafe
    /// code (Windows).
    pub fn volume_of(&self, path: &Path) -> Result<Option<Volume>, FileError> {
        let pretended = self.pretended_volume(path);
        self.step("look at the volume of", path, || match pretended {
            Some(volume) => Ok(Some(volume)),
            None => asked(path),
        })
    }

    /// The volume on which a file or folder would lie that need not exist yet.
    pub fn volume_to_be(&self, path: &Path) -> Result<Option<Volume>, FileError> {
        let mut cursor = path;
        while self.pretended_volume(cursor).is_none() && self.stat(cursor)?.is_none() {
            match cursor.parent() {
                Some(parent) if !parent.as_os_str().is_empty() => cursor = parent,
                _ => break,
            }
        }
        self.volume_of(cursor)
    }

    /// What [`Files::volume_of`] answers for everything below a folder, for tests of shares and full disks; `None` lets the
    /// system answer again. Concerns this handle and its clones.
    pub fn pretend_volume(&self, below: &Path, volume: Option<Volume>) {
        self.set_pretended(PathBuf::from(below), volume);
    }
}

#[cfg(unix)]
fn asked(path: &Path) -> io::Result<Option<Volume>> {
    use std::os::unix::fs::MetadataExt as _;

    // The dot in a folder's path makes an automatic mount happen now, so that its volume is asked and not the place for it.
    let metadata = std::fs::metadata(path)?;
    let dotted = path.join(".");
    let place = if metadata.is_dir() { &dotted } else { path };
    let room = rustix::fs::statvfs(place)?;
    let (kind, is_network) = kind_of(place)?;
    Ok(Some(Volume {
        kind: kind.to_owned(),
        is_network,
        free_bytes: room.f_bavail.saturating_mul(room.f_frsize),
        total_bytes: room.f_blocks.saturating_mul(room.f_frsize),
        device: std::fs::metadata(place)?.dev(),
    }))
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn asked(_path: &Path) -> io::Result<Option<Volume>> {
    Ok(None)
}

/// Numbers of kinds of volumes, from the manual page statfs(2) and `linux/magic.h`; the flag says whether others can change
/// such a volume. Volumes served by a program (`fuse`) usually stand for another machine, folders shared into a virtual
/// machine always do.
#[cfg(target_os = "linux")]
const KINDS: [(u32, &str, bool); 30] = [
    (0xEF53, "ext4", false),
    (0x5846_5342, "xfs", false),
    (0x9123_683E, "btrfs", false),
    (0x2FC1_2FC1, "zfs", false),
    (0xF2F5_2010, "f2fs", false),
    (0xCA45_1A4E, "bcachefs", false),
    (0x5265_4973, "reiserfs", false),
    (0x3153_464A, "jfs", false),
    (0x4D44, "fat", false),
    (0x2011_BAB0, "exfat", false),
    (0x7366_746E, "ntfs", false),
    (0x482B, "hfs", false),
    (0x0102_1994, "tmpfs", false),
    (0x8584_58F6, "ramfs", false),
    (0x794C_7630, "overlay", false),
    (0x7371_7368, "squashfs", false),
    (0x9660, "iso9660", false),
    (0x6969, "nfs", true),
    (0x517B, "smb", true),
    (0xFF53_4D42, "smb", true),
    (0xFE53_4D42, "smb", true),
    (0x6573_5546, "fuse", true),
    (0x5346_414F, "afs", true),
    (0x7375_7245, "coda", true),
    (0x00C3_6400, "ceph", true),
    (0x0BD0_0BD0, "lustre", true),
    (0x0102_1997, "9p", true),
    (0x786F_4256, "vmshare", true),
    (0xBACB_ACBC, "vmshare", true),
    (0x0187, "autofs", true),
];

#[cfg(target_os = "linux")]
fn kind_of(place: &Path) -> io::Result<(&'static str, bool)> {
    // The field is a signed word on some machines, and only its lower half is the number.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let number = rustix::fs::statfs(place)?.f_type as u32;
    let known = KINDS.iter().find(|(known, ..)| *known == number);
    Ok(known.map_or(("other", false), |(_, word, is_network)| (*word, *is_network)))
}

#[cfg(all(unix, not(target_os = "linux")))]
#[allow(clippy::unnecessary_wraps)] // one signature on every system
fn kind_of(_place: &Path) -> io::Result<(&'static str, bool)> {
    Ok(("unknown", false))
}
