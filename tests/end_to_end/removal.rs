//! Removing originals: only what was named, only when the lake holds it, noted, and known ever after.

use std::fs;
use std::path::Path;

use crate::care::{at, is_sound};
use crate::home::{drop_exports, files_below, fresh_home, number, words};

fn originals(home: &Path) -> Vec<String> {
    let mut found: Vec<String> = files_below(&home.join("archive"))
        .iter()
        .map(|path| path.file_name().expect("a name").to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.'))
        .collect();
    found.sort();
    found
}

fn import(home: &Path) -> String {
    words(&at(home, &["import", &home.join("import").display().to_string()]))
}

fn removals(home: &Path) -> i64 {
    let ledger = rusqlite::Connection::open(home.join("state/ledger.sqlite")).expect("the ledger");
    ledger.query_row("SELECT count(*) FROM removals", [], |row| row.get(0)).expect("a count")
}

#[test]
fn archived_originals_go_by_day_or_by_hash_and_stay_known() {
    let folder = fresh_home();
    let home = folder.path();
    drop_exports(home, "bay3", 3);
    import(home);
    let shots = number(home, "SELECT count(*) AS n FROM shots");
    let had = originals(home);
    assert_eq!(had.len(), 3);

    let early = at(home, &["remove", "--archived-before", "2001-01-01"]);
    assert!(early.status.success() && words(&early).contains("0 file(s)"), "{}", words(&early));
    let dry = at(home, &["remove", "--archived-before", "2100-01-01", "--dry-run"]);
    assert!(words(&dry).contains("3 file(s)") && words(&dry).contains("would go"), "{}", words(&dry));
    assert_eq!((originals(home), removals(home)), (had.clone(), 0), "a dry run changes nothing");
    for bad in [
        &["remove"][..],
        &["remove", "--file", "ab"],
        &["remove", "--file", "abcdef", "--archived-before", "2001-01-01"],
    ] {
        assert_eq!(at(home, bad).status.code(), Some(2), "{bad:?}");
    }

    let one = &had[0][..12];
    let output = at(home, &["remove", "--file", one]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!((originals(home), removals(home)), (had[1..].to_vec(), 1));
    is_sound(home);

    // The lake is in doubt: it may need every original.
    let partition = files_below(&home.join("lake/shots")).into_iter().next().expect("a partition");
    let sound = fs::read(&partition).expect("a partition");
    let mut torn = sound.clone();
    torn.truncate(sound.len() / 2);
    fs::write(&partition, &torn).expect("written");
    let refused = at(home, &["remove", "--archived-before", "2100-01-01"]);
    assert_eq!(refused.status.code(), Some(1), "{}", words(&refused));
    assert_eq!(originals(home).len(), 2, "{}", words(&refused));
    fs::write(&partition, &sound).expect("written");

    let output = at(home, &["remove", "--archived-before", "2100-01-01"]);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!((originals(home).len(), removals(home)), (0, 3));
    assert_eq!(number(home, "SELECT count(*) AS n FROM shots"), shots, "the rows stay");
    is_sound(home);

    // They arrive again: known, nothing added, and kept once more.
    drop_exports(home, "bay3", 3);
    assert!(import(home).contains("known"));
    assert_eq!((number(home, "SELECT count(*) AS n FROM shots"), originals(home).len()), (shots, 3));
    is_sound(home);
}

#[test]
fn refused_files_go_with_their_reasons_and_a_cut_off_removal_is_finished() {
    let folder = fresh_home();
    let home = folder.path();
    drop_exports(home, "bay3", 1);
    fs::write(home.join("import/bay1/notes.txt"), "no export").expect("dropped");
    import(home);
    assert_eq!(files_below(&home.join("quarantine")).len(), 2, "the file and its reason");
    let output = at(home, &["remove", "--quarantined-before", "2100-01-01"]);
    assert!(output.status.success(), "{}", words(&output));
    assert!(files_below(&home.join("quarantine")).is_empty());
    assert_eq!(originals(home).len(), 1, "the archive was not named");
    is_sound(home);
    let retry = at(home, &["retry"]);
    assert!(retry.status.success(), "what is gone is not tried: {}", words(&retry));

    // The same bytes once more: refused again, and kept again.
    fs::write(home.join("import/bay1/notes.txt"), "no export").expect("dropped");
    assert!(import(home).contains("quarantined"));
    assert!(files_below(&home.join("quarantine")).iter().any(|path| path.ends_with("notes.txt")));
    is_sound(home);

    // A removal that was noted and then cut off.
    let path = files_below(&home.join("archive")).into_iter().find(|path| !path.ends_with(".forgotten.json"));
    let path = path.expect("an original");
    let bytes = fs::read(&path).expect("an original");
    let name = path.file_name().expect("a name").to_string_lossy().into_owned();
    assert!(at(home, &["remove", "--file", &name[..12]]).status.success());
    fs::write(&path, bytes).expect("as if the power had gone");
    let output = at(home, &["remove", "--archived-before", "2001-01-01"]);
    assert!(words(&output).contains("1 file(s) of a removal that was cut off went now"), "{}", words(&output));
    assert!(!path.exists());
}
