//! The ledger against real SQLite files.

use std::path::Path;

use ledger::{
    AmendedMonth, Claim, DigestMade, FileState, InstanceLock, Ledger, LedgerCondition, LedgerError,
    PartitionGeneration, PlayerText, Quarantined, Removal, RunOutcome, RunStart, SCHEMA_VERSION, Sighting,
    SightingState, Staged, WatchedVolume,
};

fn open(folder: &Path) -> Ledger {
    Ledger::open(&folder.join("ledger.sqlite")).expect("a ledger")
}

fn id(digit: char) -> String {
    digit.to_string().repeat(64)
}

fn claim(digit: char) -> Claim {
    Claim {
        source_file_id: id(digit),
        name: format!("{digit}.csv"),
        folder: "/in".into(),
        bytes: 10,
        source_path: format!("/in/{digit}.csv"),
        keep_source: false,
        at: 1,
    }
}

fn staged(digit: char, import_sequence: i64) -> Staged {
    Staged {
        source_file_id: id(digit),
        import_sequence,
        format: "pack".into(),
        format_version: "1".into(),
        rows_accepted: 7,
        marks_accepted: 0,
        rows_rejected: 2,
        source_path: format!("/in/{digit}.csv"),
        keep_source: false,
        replaces_rows: false,
        at: 2,
    }
}

#[test]
fn a_file_goes_through_its_states_and_survives_reopening() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let sequence = ledger.begin_import(&claim('a')).expect("claim");
    assert_eq!(sequence, 1);
    ledger.mark_staged(&staged('a', sequence)).expect("stage");
    let partition = PartitionGeneration { dataset: "shots".into(), month: "2026-11".into(), generation: 4, rows: 7 };
    ledger.mark_published(&[id('a')], std::slice::from_ref(&partition), 3).expect("publish");
    drop(ledger);

    let ledger = open(folder.path());
    let entry = ledger.file(&id('a')).expect("read").expect("entry");
    assert_eq!(entry.state, FileState::Published);
    assert_eq!((entry.rows_accepted, entry.rows_rejected, entry.published_at), (7, 2, Some(3)));
    assert_eq!(ledger.generations().expect("read"), vec![partition]);
    ledger.mark_archived(&id('a'), "/archive/a", 4).expect("archive");
    let entry = ledger.file(&id('a')).expect("read").expect("entry");
    assert_eq!((entry.state, entry.source_path), (FileState::Archived, None));
    assert_eq!(ledger.files_by_prefix("aaaa").expect("read").len(), 1);
    assert_eq!(ledger.files_by_prefix("%").expect("read").len(), 0, "a prefix is no pattern");
}

#[test]
fn sequence_numbers_are_never_given_twice() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    assert_eq!(ledger.begin_import(&claim('a')).expect("claim"), 1);
    ledger.release_claim(&id('a')).expect("release");
    assert_eq!(ledger.file(&id('a')).expect("read"), None);
    assert_eq!(ledger.begin_import(&claim('a')).expect("claim again"), 2);
    drop(ledger);
    let ledger = open(folder.path());
    assert_eq!(ledger.next_import_sequence().expect("number"), 3);
    assert_eq!(ledger.begin_import(&claim('a')).expect("a crashed claim is renewed"), 4);
}

#[test]
fn a_step_that_does_not_follow_changes_nothing() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let error = ledger.mark_staged(&staged('a', 1)).expect_err("an unknown file");
    assert!(matches!(&error, LedgerError::WrongState { found, .. } if found == "absent"), "{error}");
    assert!(error.to_string().contains("hint:"));

    let sequence = ledger.begin_import(&claim('a')).expect("claim");
    ledger.mark_staged(&staged('a', sequence)).expect("stage");
    ledger.begin_import(&claim('b')).expect("claim");
    // One file of the batch is only claimed: the whole batch rolls back.
    ledger.mark_published(&[id('a'), id('b')], &[], 3).expect_err("not staged");
    assert_eq!(ledger.file(&id('a')).expect("read").expect("entry").state, FileState::Staged);
    ledger.begin_import(&claim('a')).expect_err("a staged file is not claimed again");
    let refused = Quarantined {
        source_file_id: id('a'),
        name: "a.csv".into(),
        folder: "/in".into(),
        bytes: 10,
        format: None,
        format_version: None,
        reason: "no".into(),
        quarantine_path: "/q/a.csv".into(),
        at: 5,
    };
    ledger.mark_quarantined(&refused).expect_err("a staged file is not refused");
    ledger.mark_quarantined(&Quarantined { source_file_id: id('b'), ..refused }).expect("a claimed file is");
    assert_eq!(ledger.file(&id('b')).expect("read").expect("entry").import_sequence, None);
}

#[test]
fn names_and_counts_add_up() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let sequence = ledger.begin_import(&claim('a')).expect("claim");
    ledger.mark_staged(&staged('a', sequence)).expect("stage");
    assert!(ledger.add_alias(&id('a'), "again.csv", "/in", 9).expect("alias"));
    assert!(!ledger.add_alias(&id('a'), "again.csv", "/in", 10).expect("the same alias"));
    ledger.add_alias(&id('f'), "x", "/in", 9).expect_err("an alias needs its file");
    let names: Vec<String> = ledger.names_of(&id('a')).expect("read").into_iter().map(|name| name.name).collect();
    assert_eq!(names, ["a.csv", "again.csv"]);

    let sighting = Sighting {
        path: "/in/new.csv".into(),
        bytes: 1,
        modified: None,
        first_seen: 1,
        stable_since: 1,
        last_seen: 2,
        state: SightingState::Waiting,
        note: "no end".into(),
    };
    let other = Sighting { path: "/in/other.csv".into(), ..sighting.clone() };
    ledger.update_sightings(&[sighting.clone(), other], &[]).expect("sightings");
    let grown = Sighting { bytes: 2, last_seen: 3, ..sighting };
    ledger.update_sightings(std::slice::from_ref(&grown), &["/in/other.csv".to_owned()]).expect("changes");
    assert_eq!(ledger.sightings().expect("read"), vec![grown]);
    let counts = ledger.counts().expect("counts");
    assert_eq!((counts.staged, counts.duplicates, counts.waiting, counts.rows_accepted), (1, 1, 1, 0));
    ledger.mark_published(&[id('a')], &[], 3).expect("publish");
    assert_eq!(ledger.counts().expect("counts").rows_accepted, 7);
    ledger.update_sightings(&[], &["/in/new.csv".to_owned()]).expect("nothing there any more");
    assert_eq!(ledger.counts().expect("counts").waiting, 0);
}

#[test]
fn a_staged_file_goes_back_to_where_it_came_from() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let sequence = ledger.begin_import(&claim('a')).expect("claim");
    ledger.mark_staged(&staged('a', sequence)).expect("stage");
    ledger.unstage(&id('a')).expect("unstage");
    assert_eq!(ledger.file(&id('a')).expect("read").expect("entry").state, FileState::Claimed);
    ledger.mark_staged(&staged('a', sequence)).expect("stage");
    ledger.mark_published(&[id('a')], &[], 3).expect("publish");
    ledger.mark_archived(&id('a'), "/archive/a", 4).expect("archive");
    let again = Staged { replaces_rows: true, ..staged('a', ledger.next_import_sequence().expect("number")) };
    ledger.mark_staged(&again).expect("a reprocess");
    assert!(ledger.file(&id('a')).expect("read").expect("entry").replaces_rows);
    ledger.unstage(&id('a')).expect("unstage");
    assert_eq!(ledger.file(&id('a')).expect("read").expect("entry").state, FileState::Archived);
}

#[test]
fn runs_and_digests_are_remembered() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let start = |run_id: &str, nominal_time, started| RunStart {
        run_id: run_id.into(),
        job: "carry-loss".into(),
        nominal_time,
        trigger: "schedule".into(),
        started,
        input_generations: "{}".into(),
    };
    ledger.record_run_start(&start("r1", Some(100), 101)).expect("start");
    ledger.record_run_finish("r1", 105, RunOutcome::Succeeded, None, Some(12)).expect("finish");
    ledger.record_run_start(&start("r2", Some(200), 201)).expect("start");
    assert_eq!(ledger.close_interrupted_runs(300).expect("close"), 1);
    ledger.record_run_finish("r2", 400, RunOutcome::Succeeded, None, None).expect("too late");
    let runs = ledger.last_runs(Some("carry-loss"), 10).expect("runs");
    assert_eq!(runs[0].outcome, Some(RunOutcome::Interrupted));
    assert_eq!(runs[1].rows, Some(12));
    assert_eq!(ledger.last_runs(Some("other"), 10).expect("runs"), Vec::new());
    assert_eq!(ledger.last_nominal_time("carry-loss").expect("time"), Some(100), "an interrupted run counts as missed");
    assert_eq!(ledger.last_good_run("carry-loss").expect("run").expect("one").start.run_id, "r1");

    let digest = DigestMade { coach: "heron".into(), week: "2026-11-16".into(), path: "/d/1".into(), made_at: 1 };
    ledger.record_digest(&digest).expect("digest");
    let again = DigestMade { path: "/d/2".into(), made_at: 2, ..digest };
    ledger.record_digest(&again).expect("digest");
    assert_eq!(ledger.digests().expect("digests"), vec![again]);
}

#[test]
fn foreign_and_newer_ledgers_are_refused() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    ledger.bind_site("north").expect("first use");
    ledger.bind_site("north").expect("the same site");
    let error = ledger.bind_site("south").expect_err("another site");
    assert!(error.to_string().contains("north"), "{error}");
    ledger.remember("roster", "1f").expect("note");
    assert_eq!(ledger.remembered("roster").expect("note").as_deref(), Some("1f"));
    drop(ledger);

    let path = folder.path().join("ledger.sqlite");
    let raw = rusqlite::Connection::open(&path).expect("raw");
    let version: i64 = raw.query_row("PRAGMA user_version", [], |row| row.get(0)).expect("version");
    assert_eq!(version, SCHEMA_VERSION);
    let mode: String = raw.query_row("PRAGMA journal_mode", [], |row| row.get(0)).expect("mode");
    assert_eq!(mode, "wal");
    raw.execute_batch("PRAGMA user_version = 99").expect("from the future");
    drop(raw);
    assert!(matches!(Ledger::open(&path), Err(LedgerError::TooNew { found: 99, .. })));
    std::fs::write(folder.path().join("noise"), vec![7_u8; 4096]).expect("noise");
    let error = Ledger::open(&folder.path().join("noise")).expect_err("not a database");
    assert!(error.to_string().contains("strikemill repair"), "{error}");
}

#[test]
fn a_second_daemon_is_told_who_has_the_lock() {
    let folder = tempfile::tempdir().expect("folder");
    let first = InstanceLock::acquire(folder.path()).expect("free");
    let error = InstanceLock::acquire(folder.path()).expect_err("taken");
    assert!(error.to_string().contains(&format!("process {}", std::process::id())), "{error}");
    drop(first);
    InstanceLock::acquire(folder.path()).expect("free again");
}

#[test]
fn names_counts_and_groups_hang_on_what_they_belong_to() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    ledger.begin_import(&claim('a')).expect("claim");
    let text = |text: &str, rows, seen| PlayerText { text: text.into(), rows, first_seen: seen, last_seen: seen + 5 };
    ledger.note_player_texts(&id('a'), &[text("Wren", 3, 10), text("Stranger", 1, 90)]).expect("names");
    assert_eq!(ledger.player_texts().expect("read"), [], "a claim alone has no rows");
    ledger.mark_staged(&staged('a', 1)).expect("stage");
    ledger.begin_import(&claim('b')).expect("claim");
    ledger.note_player_texts(&id('b'), &[text("Wren", 2, 40)]).expect("names");
    ledger.mark_staged(&staged('b', 2)).expect("stage");
    let wren = PlayerText { text: "Wren".into(), rows: 5, first_seen: 10, last_seen: 45 };
    assert_eq!(ledger.player_texts().expect("read"), [text("Stranger", 1, 90), wren]);
    assert_eq!(ledger.files_named("b.csv").expect("read"), [id('b')]);

    let month = AmendedMonth {
        month: "2026-04".into(),
        fingerprint: "f".into(),
        shots_generation: 3,
        marks_generation: 2,
        links_generation: 3,
    };
    let counts = [("one".to_owned(), 4), ("two".to_owned(), 0)];
    let groups = [("day/list/2".to_owned(), "g".to_owned())];
    for _ in 0..2 {
        ledger.note_amended(&month, &counts, &groups, 9).expect("note");
    }
    assert_eq!(ledger.amended_months().expect("read"), std::slice::from_ref(&month));
    assert_eq!(ledger.correction_counts().expect("read")["one"], 4);
    assert_eq!(ledger.linked_groups("2026-04").expect("read")["day/list/2"], "g");
    ledger.forget_amended("2026-04").expect("forget");
    assert!(ledger.correction_counts().expect("read").is_empty());
    assert!(ledger.linked_groups("2026-04").expect("read").is_empty());
}

#[test]
fn a_ledger_of_the_first_version_is_taken_on_and_one_to_read_is_left_as_it_is() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("ledger.sqlite");
    assert!(Ledger::open_to_read(&path).expect("nothing there").is_none());
    let raw = rusqlite::Connection::open(&path).expect("a database");
    raw.execute_batch(include_str!("../src/migrations/v1.sql")).expect("the first version");
    let insert = "PRAGMA user_version = 1; INSERT INTO files (source_file_id, state, first_name, folder, bytes, \
                  rows_accepted, claimed_at) VALUES (printf('%064d', 7), 'archived', 'old.csv', '/in', 9, 5, 1);";
    raw.execute_batch(insert).expect("a file");
    drop(raw);
    let names = || {
        let mut names: Vec<_> =
            std::fs::read_dir(folder.path()).expect("folder").map(|e| e.expect("entry").file_name()).collect();
        names.sort();
        names
    };
    assert!(matches!(Ledger::open_to_read(&path), Err(LedgerError::TooOld { found: 1, .. })));
    assert_eq!(names(), ["ledger.sqlite"]);
    let ledger = open(folder.path());
    let entry = ledger.files_by_prefix("0000").expect("read").remove(0);
    assert_eq!((entry.rows_accepted, entry.marks_accepted), (5, 0));
    // Beside an open one, and once it is closed.
    let beside = Ledger::open_to_read(&path).expect("beside").expect("a ledger");
    assert_eq!(beside.files_in_state(FileState::Archived).expect("read").len(), 1);
    assert!(beside.next_import_sequence().is_err(), "only to be looked at");
    drop((beside, ledger));
    let before = std::fs::read(&path).expect("bytes");
    let alone = Ledger::open_to_read(&path).expect("alone").expect("a ledger");
    assert_eq!(alone.files_in_state(FileState::Archived).expect("read").len(), 1);
    drop(alone);
    assert_eq!((names(), std::fs::read(&path).expect("bytes")), (vec!["ledger.sqlite".into()], before));
}

#[test]
fn volumes_are_noted_and_files_archived_lately_are_found() {
    let folder = tempfile::tempdir().expect("folder");
    let ledger = open(folder.path());
    let on_share = WatchedVolume { folder: "/in".into(), kind: "nfs".into(), is_network: true, noted_at: 5 };
    ledger.note_volume(&on_share).expect("noted");
    let moved = WatchedVolume { kind: "ext4".into(), is_network: false, noted_at: 9, ..on_share };
    ledger.note_volume(&moved).expect("noted");
    assert_eq!(ledger.watched_volumes().expect("read"), vec![moved]);

    for (letter, at) in [('a', 10), ('b', 20), ('c', 30)] {
        let sequence = ledger.begin_import(&claim(letter)).expect("claim");
        ledger.mark_staged(&staged(letter, sequence)).expect("stage");
        ledger.mark_published(&[id(letter)], &[], at).expect("publish");
        if letter != 'b' {
            ledger.mark_archived(&id(letter), "/archive/x", at).expect("archive");
        }
    }
    let found = |instant, most| -> Vec<String> {
        let entries = ledger.archived_since(instant, most).expect("read");
        entries.into_iter().map(|entry| entry.source_file_id).collect()
    };
    assert_eq!(found(10, 9), [id('c'), id('a')]);
    assert_eq!(found(11, 9), [id('c')]);
    assert_eq!(found(0, 1), [id('c')]);
}

#[test]
fn a_database_is_absent_sound_or_damaged() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("ledger.sqlite");
    assert_eq!(Ledger::condition(&path).expect("looked"), LedgerCondition::Absent);
    let ledger = open(folder.path());
    for number in 0..200 {
        ledger.remember(&format!("key {number}"), &"text ".repeat(50)).expect("remembered");
    }
    assert_eq!(ledger.integrity().expect("looked"), Vec::<String>::new());
    ledger.close().expect("closed");
    assert!(!folder.path().join("ledger.sqlite-wal").exists(), "everything stands in one file");
    assert_eq!(Ledger::condition(&path).expect("looked"), LedgerCondition::Sound);
    let sound = std::fs::read(&path).expect("the database");
    let mut torn = sound.clone();
    torn[8192..20_000].fill(7);
    for (what, bytes) in
        [("torn", &torn[..]), ("noise", b"this is no database at all, but long enough to be read"), ("empty", b"")]
    {
        std::fs::write(&path, bytes).expect("written");
        let condition = Ledger::condition(&path).expect("looked");
        assert!(matches!(&condition, LedgerCondition::Damaged(faults) if !faults.is_empty()), "{what}: {condition:?}");
    }
}

#[test]
fn entries_are_restored_whole_and_numbers_only_rise() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = open(folder.path());
    ledger.begin_import(&claim('a')).expect("claimed");
    ledger.mark_staged(&staged('a', 1)).expect("staged");
    ledger.mark_published(&[id('a')], &[], 5).expect("published");
    ledger.mark_archived(&id('a'), "/archive/a.csv", 6).expect("archived");
    ledger.add_alias(&id('a'), "b.csv", "/in", 7).expect("named");
    let (entry, names) =
        (ledger.file(&id('a')).expect("read").expect("an entry"), ledger.names_of(&id('a')).expect("read"));

    let other = tempfile::tempdir().expect("a folder");
    let rebuilt = open(other.path());
    rebuilt.restore_files(&[(entry.clone(), names.clone())]).expect("restored");
    rebuilt.restore_files(&[(entry.clone(), names.clone())]).expect("restored twice");
    assert_eq!(rebuilt.file(&id('a')).expect("read"), Some(entry));
    assert_eq!(rebuilt.names_of(&id('a')).expect("read").len(), names.len());
    rebuilt.raise_import_sequence(40).expect("raised");
    rebuilt.raise_import_sequence(7).expect("not lowered");
    assert_eq!(rebuilt.next_import_sequence().expect("a number"), 40);
    assert_eq!(rebuilt.next_import_sequence().expect("a number"), 41);
}

#[test]
fn a_removal_is_noted_and_its_file_stays_known() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = open(folder.path());
    ledger.begin_import(&claim('a')).expect("claimed");
    ledger.mark_staged(&staged('a', 1)).expect("staged");
    ledger.mark_published(&[id('a')], &[], 5).expect("published");
    ledger.mark_archived(&id('a'), "/archive/a.csv", 6).expect("archived");
    let entry = ledger.file(&id('a')).expect("read").expect("an entry");
    let removal = Removal {
        removed_at: 9,
        command: "remove --file aaaaaa".into(),
        source_file_id: id('a'),
        path: "/archive/a.csv".into(),
        bytes: 10,
    };
    ledger.note_removal(&entry, &removal, "removed by hand").expect("noted");
    assert_eq!(ledger.removals().expect("read"), [removal]);
    let left = ledger.file(&id('a')).expect("read").expect("still known");
    assert_eq!(
        (left.state, left.archive_path, left.reason.as_deref()),
        (FileState::Archived, None, Some("removed by hand"))
    );
}

#[test]
fn erased_names_cannot_be_read_from_the_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = open(folder.path());
    ledger.begin_import(&claim('a')).expect("claimed");
    ledger.mark_staged(&staged('a', 1)).expect("staged");
    let text = |text: &str| PlayerText { text: text.into(), rows: 3, first_seen: 1, last_seen: 2 };
    ledger.note_player_texts(&id('a'), &[text("Quillfeather"), text("Wren")]).expect("noted");
    let is_meant = |text: &str| text == "Quillfeather";
    assert_eq!(ledger.files_with_player_text(&is_meant).expect("read"), [(id('a'), "Quillfeather".to_owned())]);
    assert_eq!(ledger.erase_player_texts(&is_meant, &[]).expect("erased"), 1);
    ledger.wipe_deleted().expect("wiped");
    assert_eq!(ledger.player_texts().expect("read").len(), 1);
    for ending in ["", "-wal"] {
        let Ok(bytes) = std::fs::read(folder.path().join(format!("ledger.sqlite{ending}"))) else { continue };
        assert!(!bytes.windows(12).any(|window| window == b"Quillfeather"), "ledger.sqlite{ending}");
    }
    ledger.note_forgotten(&["salt$one".into(), "salt$two".into()], 3).expect("noted");
    ledger.note_forgotten(&["salt$one".into()], 9).expect("noted again");
    assert_eq!(ledger.forgotten_digests().expect("read"), ["salt$one", "salt$two"]);
}
