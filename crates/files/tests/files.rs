//! The file operations against a real folder, with and without faults.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::Path;

use files::{EntryKind, FaultPlan, Files, Placement, is_temporary_name, sha256_of_bytes, temporary_sibling};

fn names(folder: &Path) -> Vec<String> {
    Files::new().list(folder).expect("the folder lists").into_iter().map(|entry| entry.name).collect()
}

#[test]
fn a_durable_file_reads_back_and_leaves_no_other_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("deep/er/a.txt");
    let files = Files::new();
    files.create_dir_all(path.parent().expect("a parent")).expect("folders");
    let written = files.write_durable(&path, b"first").expect("written");
    assert_eq!((written.bytes, written.sha256), (5, sha256_of_bytes(b"first")));
    files.write_durable(&path, b"second").expect("replaced");
    assert_eq!(files.read(&path, 6).expect("read"), b"second");
    assert_eq!(files.sha256_of_file(&path).expect("hashed"), sha256_of_bytes(b"second"));
    assert_eq!(names(path.parent().expect("a parent")), ["a.txt"]);
}

#[test]
fn errors_name_operation_path_and_hint() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.txt");
    let error = Files::new().read(&path, 10).expect_err("nothing there");
    let text = error.to_string();
    assert!(text.starts_with("cannot read ") && text.contains("a.txt") && text.contains("\nhint: "), "{text}");
    fs::write(&path, b"12345").expect("written");
    let error = Files::new().read(&path, 4).expect_err("too large");
    assert_eq!(error.kind(), ErrorKind::FileTooLarge);
    assert_eq!(Files::new().read(&path, 5).expect("just fits"), b"12345");
}

#[test]
fn temporary_names_match_no_parquet_glob_and_are_recognised() {
    let name = temporary_sibling(Path::new("/x/shots.parquet"));
    let name = name.file_name().expect("a name").to_string_lossy().into_owned();
    assert!(is_temporary_name(&name) && !name.ends_with(".parquet"), "{name}");
    for other in ["shots.parquet", ".part", ".a.part", ".a.1-.part", ".a.x-1.part", "a.1-2.part"] {
        assert!(!is_temporary_name(other), "{other}");
    }
}

#[test]
fn stat_list_and_remove_take_missing_paths_calmly() {
    let folder = tempfile::tempdir().expect("a folder");
    let missing = folder.path().join("missing");
    let files = Files::new();
    assert_eq!(files.stat(&missing).expect("looked"), None);
    assert!(files.list(&missing).expect("listed").is_empty());
    files.remove(&missing).expect("nothing to remove");
    files.remove_dir_all(&missing).expect("nothing to remove");
    let stat = files.stat(folder.path()).expect("looked").expect("a folder");
    assert_eq!(stat.kind, EntryKind::Folder);
}

#[test]
fn an_unfinished_writer_leaves_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut writer = Files::new().writer(&folder.path().join("a")).expect("begun");
    writer.write_all(&vec![7; 600_000]).expect("written");
    assert_eq!(names(folder.path()).len(), 1);
    drop(writer);
    assert!(names(folder.path()).is_empty());
    let mut writer = Files::new().writer(&folder.path().join("a")).expect("begun");
    writer.append(b"x").expect("written");
    let sealed = writer.seal().expect("sealed");
    assert!(sealed.temporary_path().exists() && !sealed.target().exists());
    drop(sealed);
    assert!(names(folder.path()).is_empty());
}

#[test]
fn placing_links_and_never_overwrites() {
    let folder = tempfile::tempdir().expect("a folder");
    let (from, to) = (folder.path().join("from"), folder.path().join("to"));
    fs::write(&from, b"export").expect("written");
    let hash = sha256_of_bytes(b"export");
    let files = Files::new();
    assert_eq!(files.link_or_copy_verified(&from, &to, &hash).expect("placed"), Placement::Linked);
    assert_eq!(files.link_or_copy_verified(&from, &to, &hash).expect("again"), Placement::AlreadyThere);
    let other = folder.path().join("other");
    fs::write(&other, b"older").expect("written");
    let error = files.link_or_copy_verified(&from, &other, &hash).expect_err("a different file stands there");
    assert_eq!(error.kind(), ErrorKind::AlreadyExists);
    assert_eq!(fs::read(&other).expect("read"), b"older");
    let third = folder.path().join("third");
    let error = files.link_or_copy_verified(&from, &third, &sha256_of_bytes(b"before")).expect_err("the file changed");
    assert_eq!(error.kind(), ErrorKind::InvalidData);
    assert!(!third.exists() && from.exists());
}

#[test]
fn placing_copies_where_links_fail() {
    let folder = tempfile::tempdir().expect("a folder");
    let (from, to) = (folder.path().join("from"), folder.path().join("to"));
    fs::write(&from, b"export").expect("written");
    // Operation 1 looks at the target, operation 2 links.
    let files = Files::with_faults(FaultPlan::FailOnce { nth: 2, kind: ErrorKind::CrossesDevices });
    let placed = files.link_or_copy_verified(&from, &to, &sha256_of_bytes(b"export")).expect("placed");
    assert_eq!(placed, Placement::Copied);
    assert_eq!(fs::read(&to).expect("read"), b"export");
    assert_eq!(names(folder.path()), ["from", "to"]);
}

/// Whatever operation the power fails at, the target is the old file or the new one, and a second attempt succeeds.
#[test]
fn a_crash_at_any_operation_leaves_old_or_new() {
    for nth in 0.. {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a");
        fs::write(&path, b"old").expect("written");
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        let outcome = files.write_durable(&path, b"new and longer");
        let content = fs::read(&path).expect("the target never vanishes");
        assert!(content == b"old" || content == b"new and longer", "crash after {nth}: {content:?}");
        if outcome.is_ok() {
            assert_eq!(files.operations(), nth);
            assert!(nth >= 4, "create, write, sync, rename, sync folder are all counted");
            break;
        }
        Files::new().write_durable(&path, b"new and longer").expect("the second attempt");
        assert_eq!(fs::read(&path).expect("read"), b"new and longer");
    }
}

/// A link, or a copy, interrupted anywhere: the source stays, the target is absent or whole.
#[test]
fn a_fault_while_placing_never_costs_the_source() {
    for cross_device in [false, true] {
        for nth in 1.. {
            let folder = tempfile::tempdir().expect("a folder");
            let (from, to) = (folder.path().join("from"), folder.path().join("to"));
            fs::write(&from, b"export").expect("written");
            let hash = sha256_of_bytes(b"export");
            let kind = if cross_device { ErrorKind::CrossesDevices } else { ErrorKind::StorageFull };
            let files = Files::with_faults(FaultPlan::FailOnce { nth, kind });
            let outcome = files.link_or_copy_verified(&from, &to, &hash);
            assert_eq!(fs::read(&from).expect("the source stays"), b"export");
            assert!(!to.exists() || fs::read(&to).expect("read") == b"export");
            Files::new().link_or_copy_verified(&from, &to, &hash).expect("the second attempt");
            if outcome.is_ok() && files.operations() < nth {
                break;
            }
        }
    }
}

#[test]
fn a_file_with_a_failed_write_never_shows() {
    let folder = tempfile::tempdir().expect("a folder");
    // Operation 1 creates the file, operation 2 writes the first buffer.
    let files = Files::with_faults(FaultPlan::FailOnce { nth: 2, kind: ErrorKind::StorageFull });
    let mut writer = files.writer(&folder.path().join("a")).expect("begun");
    writer.append(&vec![7; 300_000]).expect_err("no space");
    writer.append(&vec![7; 300_000]).expect_err("the hole stays a hole");
    writer.finish().expect_err("a file with a hole never shows");
    assert!(names(folder.path()).is_empty());
}

/// The outside view: coreutils' `stat` asks the system by itself.
#[cfg(target_os = "linux")]
#[test]
fn a_volume_is_what_the_system_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let files = Files::new();
    let asked = |arguments: &[&str]| {
        let output = std::process::Command::new("stat").args(arguments).arg(folder.path()).output().expect("stat runs");
        String::from_utf8(output.stdout).expect("text").trim().to_owned()
    };
    let volume = files.volume_of(folder.path()).expect("asked").expect("Linux answers");
    let blocks: Vec<u64> =
        asked(&["-f", "-c", "%b %S"]).split(' ').map(|text| text.parse().expect("a number")).collect();
    assert_eq!(volume.total_bytes, blocks[0] * blocks[1]);
    assert!(volume.free_bytes <= volume.total_bytes);
    assert_eq!(volume.device.to_string(), asked(&["-c", "%d"]));
    // `stat` writes the kinds its own way: `ext2/ext3`, `overlayfs`, `nfs`.
    let word = asked(&["-f", "-c", "%T"]);
    let same = [("ext2/ext3", "ext4"), ("overlayfs", "overlay"), ("msdos", "fat"), ("v9fs", "9p"), ("fuseblk", "fuse")];
    let expected = same.iter().find(|(theirs, _)| *theirs == word).map_or(word.as_str(), |(_, ours)| ours);
    assert_eq!(volume.kind, expected);
    let proc = files.volume_of(Path::new("/proc")).expect("asked").expect("Linux answers");
    assert_eq!((proc.kind.as_str(), proc.is_network), ("other", false));
    let to_be = files.volume_to_be(&folder.path().join("not/yet")).expect("asked").expect("Linux answers");
    assert_eq!(to_be.device, volume.device);
    assert_eq!(files.volume_of(&folder.path().join("not")).expect_err("nothing there").kind(), ErrorKind::NotFound);
}

#[test]
fn an_outage_concerns_what_lies_below_and_ends() {
    let folder = tempfile::tempdir().expect("a folder");
    let (inside, outside) = (folder.path().join("share/a"), folder.path().join("b"));
    let files = Files::new();
    files.create_dir_all(&folder.path().join("share")).expect("a folder");
    fs::write(&inside, b"a").expect("written");
    fs::write(&outside, b"b").expect("written");
    files.clone().set_outage(&folder.path().join("share"), Some(ErrorKind::StorageFull));
    let error = files.write_durable(&inside, b"c").expect_err("full");
    assert!(error.is_full() && error.may_pass(), "{error}");
    assert_eq!(files.read(&inside, 9).expect("a full volume can be read"), b"a");
    files.set_outage(&folder.path().join("share"), Some(ErrorKind::HostUnreachable));
    assert!(files.read(&inside, 9).expect_err("away").may_pass());
    assert_eq!(files.read(&outside, 9).expect("read"), b"b");
    files.set_outage(&folder.path().join("share"), None);
    assert_eq!(files.read(&inside, 9).expect("read"), b"a");
}

#[test]
fn a_lock_of_a_writer_is_seen_and_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a");
    let writer = fs::File::create(&path).expect("created");
    let files = Files::new();
    assert!(!files.is_locked(&path).expect("looked"));
    writer.lock().expect("locked");
    assert!(files.is_locked(&path).expect("looked"));
    writer.unlock().expect("unlocked");
    assert!(!files.is_locked(&path).expect("looked"));
}

#[cfg(unix)]
#[test]
fn links_are_told_from_files_and_a_replaced_file_has_another_identity() {
    let folder = tempfile::tempdir().expect("a folder");
    let files = Files::new();
    let (path, link) = (folder.path().join("a"), folder.path().join("link"));
    fs::write(&path, b"one").expect("written");
    std::os::unix::fs::symlink(&path, &link).expect("linked");
    assert_eq!(files.stat(&link).expect("looked").expect("a link").kind, EntryKind::Link);
    let before = files.stat(&path).expect("looked").expect("a file");
    fs::write(folder.path().join("b"), b"two").expect("written");
    files.rename_durable(&folder.path().join("b"), &path).expect("replaced");
    let after = files.stat(&path).expect("looked").expect("a file");
    assert!(before.identity.is_some() && before.identity != after.identity);
}
