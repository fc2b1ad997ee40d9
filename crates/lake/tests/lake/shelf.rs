//! What a shelf promises, asked of both kinds.

use std::io::{ErrorKind, Read, Write};
use std::sync::Arc;

use files::{FaultPlan, Files, sha256_of_bytes};
use lake::shelf::PutIf;
use lake::{FolderShelf, Lake, Shelf};

use crate::support::*;

fn both(test: impl Fn(&dyn Shelf, &Files)) {
    let folder = tempfile::tempdir().expect("a folder");
    let files = Files::new();
    test(&FolderShelf::new(files.clone(), &folder.path().join("lake")), &files);
    let place = Place::on_shelf();
    let files = Files::new();
    test(&place.shelf(&files), &files);
}

fn show(shelf: &dyn Shelf, key: &str, bytes: &[u8]) {
    let mut writer = shelf.begin(key).expect("begun");
    writer.write_all(bytes).expect("written");
    shelf.show(key, writer.seal().expect("sealed")).expect("shown");
}

fn names(shelf: &dyn Shelf, folder: &str) -> Vec<(String, bool)> {
    let entries = shelf.list(folder).expect("listed");
    entries.into_iter().map(|entry| (entry.name, entry.is_folder)).collect()
}

fn text(shelf: &dyn Shelf, key: &str) -> Option<String> {
    shelf.read(key, 100).expect("read").map(|bytes| String::from_utf8(bytes).expect("text"))
}

#[test]
fn a_file_shows_whole_when_it_is_shown_and_is_replaced_in_one_step() {
    both(|shelf, _| {
        let mut writer = shelf.begin("a/b/c").expect("begun");
        writer.write_all(b"first").expect("written");
        assert_eq!(text(shelf, "a/b/c"), None);
        assert!(names(shelf, "a/b").is_empty(), "what is not shown is not listed");
        let sealed = writer.seal().expect("sealed");
        assert_eq!(std::fs::read(sealed.temporary_path()).expect("it can be checked before it shows"), b"first");
        assert_eq!(shelf.stat("a/b/c").expect("looked at"), None);
        shelf.show("a/b/c", sealed).expect("shown");
        let first = shelf.stat("a/b/c").expect("looked at").expect("it stands");
        assert_eq!(first.bytes, 5);
        let mut open = shelf.open("a/b/c").expect("opened");
        show(shelf, "a/b/c", b"other");
        let second = shelf.stat("a/b/c").expect("looked at").expect("it stands");
        assert!(second.bytes == 5 && second.version != first.version, "of equal size and yet another version");
        let mut read = String::new();
        open.read_to_string(&mut read).expect("read");
        assert_eq!(read, "first", "an open file keeps its bytes");
        assert_eq!(shelf.sha256("a/b/c").expect("hashed"), sha256_of_bytes(b"other"));
    });
}

#[test]
fn a_condition_that_does_not_hold_writes_nothing() {
    both(|shelf, _| {
        let version = || shelf.stat("m.json").expect("looked at").map(|stat| stat.version);
        assert!(!shelf.put("m.json", b"x", &PutIf::Version("none".into())).expect("answered"));
        assert_eq!(text(shelf, "m.json"), None);
        assert!(shelf.put("m.json", b"one", &PutIf::Absent).expect("answered"));
        assert!(!shelf.put("m.json", b"two", &PutIf::Absent).expect("answered"));
        let first = version().expect("it stands");
        assert!(shelf.put("m.json", b"two", &PutIf::Version(first.clone())).expect("answered"));
        assert!(!shelf.put("m.json", b"three", &PutIf::Version(first)).expect("answered"));
        assert_eq!(text(shelf, "m.json").as_deref(), Some("two"));
        assert!(shelf.put("m.json", b"four", &PutIf::Always).expect("answered"));
        assert_eq!(text(shelf, "m.json").as_deref(), Some("four"));
        let error = shelf.read("m.json", 3).expect_err("too large");
        assert_eq!(error.kind(), ErrorKind::FileTooLarge);
    });
}

#[test]
fn listing_goes_one_level_and_removing_twice_is_fine() {
    both(|shelf, _| {
        for key in ["top", "d/site=a/month=1/d.parquet", "d/site=a/d.parquet", "e/site=b/e.parquet"] {
            show(shelf, key, key.as_bytes());
        }
        let owned = |list: &[(&str, bool)]| -> Vec<(String, bool)> {
            list.iter().map(|(name, is_folder)| ((*name).to_owned(), *is_folder)).collect()
        };
        assert_eq!(names(shelf, ""), owned(&[("d", true), ("e", true), ("top", false)]));
        assert_eq!(names(shelf, "d/site=a"), owned(&[("d.parquet", false), ("month=1", true)]));
        assert_eq!(names(shelf, "d/site"), owned(&[]), "a folder, not any beginning of a name");
        shelf.remove("top").expect("removed");
        shelf.remove("top").expect("removed twice");
        assert_eq!(text(shelf, "top"), None);
    });
}

#[test]
fn freezing_keeps_the_bytes_and_takes_no_others() {
    both(|shelf, _| {
        show(shelf, "live", b"first");
        let hash = sha256_of_bytes(b"first");
        shelf.freeze("live", "moments/1.pq", &hash).expect("frozen");
        shelf.freeze("live", "moments/1.pq", &hash).expect("frozen twice");
        show(shelf, "live", b"second");
        assert_eq!(text(shelf, "moments/1.pq").as_deref(), Some("first"));
        let error = shelf.freeze("live", "moments/2.pq", &hash).expect_err("other bytes by now");
        assert_eq!(error.kind(), ErrorKind::InvalidData);
        assert_eq!(text(shelf, "moments/2.pq"), None);
        let error = shelf.freeze("live", "moments/1.pq", &sha256_of_bytes(b"second")).expect_err("taken");
        assert_eq!(error.kind(), ErrorKind::AlreadyExists);
        assert_eq!(text(shelf, "moments/1.pq").as_deref(), Some("first"));
        assert_eq!(shelf.freeze("none", "moments/3.pq", &hash).expect_err("nothing there").kind(), ErrorKind::NotFound);
    });
}

#[test]
fn every_act_counts_and_can_fail() {
    both(|shelf, files| {
        show(shelf, "live", b"first");
        let hash = sha256_of_bytes(b"first");
        files.set_faults(Some(FaultPlan::CrashAfter { nth: 0 }));
        assert!(shelf.stat("live").is_err());
        assert!(shelf.list("").is_err());
        assert!(shelf.read("live", 100).is_err());
        assert!(shelf.open("live").is_err());
        assert!(shelf.sha256("live").is_err());
        assert!(shelf.put("live", b"x", &PutIf::Always).is_err());
        assert!(shelf.begin("live").is_err());
        assert!(shelf.freeze("live", "frozen", &hash).is_err());
        assert!(shelf.remove("live").is_err());
        files.set_faults(None);
        assert_eq!(text(shelf, "live").as_deref(), Some("first"));
    });
}

/// Two daemons with two state folders have no lock in common; the second one is found all the same.
#[test]
fn a_manifest_that_another_writer_replaced_is_not_overwritten() {
    const MANIFEST: &str = "site=north/manifest.json";
    let place = Place::on_shelf();
    let lake = place.lake();
    lake.publish(&[stage(&lake, 1, "f1", &[hit("a", JANUARY, 1.0)])], &[], &provenance()).expect("published");
    let segment = stage(&lake, 2, "f2", &[hit("b", MARCH, 2.0)]);
    let elsewhere = Place::copy_of(&place);
    let other = elsewhere.lake();
    other.publish(&[stage(&other, 3, "f3", &[hit("c", MARCH, 3.0)])], &[], &provenance()).expect("published");
    let theirs = elsewhere.published(MANIFEST).expect("a manifest");

    let files = Files::new();
    let mut shelf = place.shelf(&files);
    shelf.rival = Some((MANIFEST.into(), theirs.clone()));
    let ours = Lake::open_on(Arc::new(shelf), files, &place.staging(), "north").expect("opened");
    let outcome = ours.publish(std::slice::from_ref(&segment), &[], &provenance());
    let error = outcome.expect_err("another writer was there").to_string();
    assert!(error.contains("another writer") && error.contains("\nhint: "), "{error}");
    assert_eq!(place.published(MANIFEST), Some(theirs));
    let report = place.lake().publish(&[segment], &[], &provenance()).expect("published on top of theirs");
    assert_eq!(report.generation, 3);
}
