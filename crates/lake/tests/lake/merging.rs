//! Who wins, what is counted, what moves.

use std::fs;

use crate::support::*;

#[test]
fn a_file_lands_in_its_months_and_the_same_again_changes_nothing() {
    let place = Place::new();
    let lake = place.lake();
    let hits = [hit("a", JANUARY, 60.0), hit("b", FEBRUARY, 61.0), hit("c", FEBRUARY + 27, 62.0)];
    let segment = stage(&lake, 1, "f1", &hits);
    let report = lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published");
    assert_eq!(report.generation, 1);
    assert_eq!(report.count("f1", "shots"), (3, 0, 0));
    assert_eq!(shots(&lake), ["2026-01 a 1 60", "2026-02 b 1 61", "2026-02 c 1 62"]);
    let live: Vec<String> = place.keys().into_iter().filter(|key| !key.starts_with(MOMENTS)).collect();
    assert_eq!(
        live,
        [
            "imports/site=north/month=2026-01/imports.parquet",
            "north.datapackage.json",
            "rejects/site=north/month=2026-01/rejects.parquet",
            "shots/site=north/month=2026-01/shots.parquet",
            "shots/site=north/month=2026-02/shots.parquet",
            "site=north/manifest.json",
        ]
    );
    let before = place.published("shots/site=north/month=2026-02/shots.parquet");
    let again = lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published again");
    assert_eq!((again.generation, &again.counts), (1, &report.counts));
    assert!(again.partitions.iter().all(|change| change.unchanged));
    assert_eq!(place.published("shots/site=north/month=2026-02/shots.parquet"), before);
    lake.discard_segment(&segment).expect("discarded");
    lake.discard_segment(&segment).expect("discarding twice is fine");
    assert!(lake.segments().expect("listed").is_empty());
    assert_sound(&place, &lake, "after all");
}

#[test]
fn the_later_import_wins_whenever_it_is_published() {
    for order in [[1, 2], [2, 1]] {
        let place = Place::new();
        let lake = place.lake();
        let mut counts = Vec::new();
        for sequence in order {
            let speed = 60.0 + f64::from(sequence);
            let segment = stage(&lake, i64::from(sequence), &format!("f{sequence}"), &[hit("a", JANUARY, speed)]);
            let report = lake.publish(&[segment], &[], &provenance()).expect("published");
            counts.push(report.count(&format!("f{sequence}"), "shots"));
        }
        assert_eq!(shots(&lake), ["2026-01 a 2 62"]);
        let expected = if order[0] == 1 { [(1, 0, 0), (0, 1, 0)] } else { [(1, 0, 0), (0, 0, 1)] };
        assert_eq!(counts, expected, "order {order:?}");
    }
}

#[test]
fn a_moved_row_stands_in_one_month_only() {
    let place = Place::new();
    let lake = place.lake();
    let first = stage(&lake, 1, "f1", &[hit("a", JANUARY, 60.0), hit("b", FEBRUARY, 61.0), hit("c", MARCH, 62.0)]);
    lake.publish(&[first], &[], &provenance()).expect("published");
    // a and b change places; c alone leaves March, whose file goes.
    let second = stage(&lake, 2, "f2", &[hit("a", FEBRUARY, 70.0), hit("b", JANUARY, 71.0), hit("c", JANUARY, 72.0)]);
    let report = lake.publish(&[second], &[], &provenance()).expect("published");
    assert_eq!(report.count("f2", "shots"), (0, 3, 0));
    assert_eq!(shots(&lake), ["2026-01 b 2 71", "2026-01 c 2 72", "2026-02 a 2 70"]);
    assert_eq!(lake.partitions("shots").expect("listed"), [month(1), month(2)]);
    // An older file that arrives late must not bring the old months back.
    let late = stage(&lake, 1, "f0", &[hit("a", JANUARY, 60.0), hit("c", MARCH, 62.0)]);
    let report = lake.publish(&[late], &[], &provenance()).expect("published");
    assert_eq!(report.count("f0", "shots"), (0, 0, 2));
    assert_eq!(shots(&lake), ["2026-01 b 2 71", "2026-01 c 2 72", "2026-02 a 2 70"]);
    assert_sound(&place, &lake, "after all");
}

#[test]
fn moves_are_found_without_any_index_and_with_a_spoilt_one() {
    for spoil in ["delete", "garble", "garble-pages", "truncate", "foreign", "another-month", "earlier"] {
        let place = Place::new();
        let lake = place.lake();
        let index = place.staging().join("key-index.sqlite");
        let early = stage(&lake, 1, "f0", &[hit("z", MARCH, 50.0)]);
        lake.publish(&[early], &[], &provenance()).expect("published");
        let earlier = fs::read(&index).expect("read");
        let first = stage(&lake, 2, "f1", &[hit("a", JANUARY, 60.0), hit("b", JANUARY, 61.0)]);
        lake.publish(&[first], &[], &provenance()).expect("published");
        let bytes = fs::read(&index).expect("read");
        match spoil {
            "delete" => fs::remove_file(&index).expect("removed"),
            "garble" => fs::write(&index, b"no database, but a line of text").expect("written"),
            "garble-pages" => {
                let garbled = [&bytes[..4096], vec![0xa5; bytes.len() - 4096].as_slice()].concat();
                fs::write(&index, garbled).expect("written");
            }
            "truncate" => fs::write(&index, &bytes[..bytes.len() / 2]).expect("written"),
            "foreign" => {
                // A sound database of somebody else.
                fs::remove_file(&index).expect("removed");
                let other = rusqlite::Connection::open(&index).expect("opened");
                other.execute_batch("CREATE TABLE keys (hash TEXT)").expect("a table");
            }
            "another-month" => {
                // The entry of January is one of March.
                let other = rusqlite::Connection::open(&index).expect("opened");
                other
                    .execute("DELETE FROM partitions WHERE dataset = 'shots' AND month = '2026-01'", [])
                    .expect("done");
                other.execute("UPDATE partitions SET month = '2026-01' WHERE dataset = 'shots'", []).expect("renamed");
            }
            _ => fs::write(&index, earlier).expect("written"),
        }
        let second = stage(&lake, 3, "f2", &[hit("a", MARCH, 70.0)]);
        lake.publish(&[second], &[], &provenance()).expect("published");
        assert_eq!(shots(&lake), ["2026-01 b 2 61", "2026-03 a 3 70", "2026-03 z 1 50"], "{spoil}");
        assert_sound(&place, &lake, spoil);
    }
}

#[test]
fn the_index_of_an_earlier_version_goes() {
    let place = Place::new();
    let old = place.staging().join("key-index/shots");
    fs::create_dir_all(&old).expect("a folder");
    fs::write(old.join("2026-01.keys"), b"SMKEYS01").expect("written");
    let lake = place.lake();
    lake.publish(&[stage(&lake, 1, "f1", &[hit("a", JANUARY, 60.0)])], &[], &provenance()).expect("published");
    assert!(!place.staging().join("key-index").exists());
    assert!(place.staging().join("key-index.sqlite").is_file());
}

#[test]
fn reprocessing_retracts_the_old_rows_and_publishes_the_new_ones() {
    let place = Place::new();
    let lake = place.lake();
    let old = stage(&lake, 1, "f1", &[hit("a", JANUARY, 60.0), hit("b", FEBRUARY, 61.0), hit("wrong", MARCH, 62.0)]);
    let other = stage(&lake, 2, "f2", &[hit("z", MARCH, 63.0)]);
    lake.publish(&[old, other], &[], &provenance()).expect("published");
    let new = stage(&lake, 3, "f1", &[hit("a", JANUARY, 65.0), hit("b", JANUARY, 66.0)]);
    let report = lake.publish(&[new], &["f1".into()], &provenance()).expect("published");
    assert_eq!(report.count("f1", "shots"), (0, 2, 0));
    assert_eq!(shots(&lake), ["2026-01 a 3 65", "2026-01 b 3 66", "2026-03 z 2 63"]);
    let imports = lines(&lake, &shot::imports(), &["source_file_id", "import_sequence"]);
    assert_eq!(imports, ["2026-01 f1 3", "2026-03 f2 2"]);
    // A retraction alone takes every row of the file out of every dataset.
    lake.publish(&[], &["f2".into()], &provenance()).expect("retracted");
    assert_eq!(shots(&lake), ["2026-01 a 3 65", "2026-01 b 3 66"]);
    assert_eq!(lines(&lake, &shot::rejects(), &["source_file_id"]), ["2026-01 f1"]);
    assert_sound(&place, &lake, "after all");
}

#[test]
fn rows_are_sorted_with_missing_players_first() {
    let place = Place::new();
    let lake = place.lake();
    // Of each two rows the second has no player.
    let hits: Vec<_> = (0..6).map(|n| hit(&format!("s{n}"), JANUARY + 5 - n, 60.0)).collect();
    lake.publish(&[stage(&lake, 1, "f1", &hits)], &[], &provenance()).expect("published");
    let order = lines(&lake, &shot::shots(), &["player_id", "shot_id"]);
    let expected = ["null s5", "null s3", "null s1", "wren s4", "wren s2", "wren s0"];
    assert_eq!(order, expected.map(|line| format!("2026-01 {line}")));
}

#[test]
fn a_segment_must_carry_its_own_origin() {
    let place = Place::new();
    let lake = place.lake();
    let rows = shot_rows(2, "f1", &[hit("a", JANUARY, 60.0)]);
    let error =
        lake.stage(header(1, "f1"), &[(shot::shots(), rows.clone())]).expect_err("another sequence").to_string();
    assert!(error.contains("import_sequence"), "{error}");
    let error = lake.stage(header(2, "f9"), &[(shot::shots(), rows)]).expect_err("another file").to_string();
    assert!(error.contains("source_file_id"), "{error}");
    assert!(lake.segments().expect("listed").is_empty());
}

#[test]
fn a_segment_reads_back_as_it_was_staged() {
    let place = Place::new();
    let lake = place.lake();
    let staged = stage(&lake, 7, "f1", &[hit("a", JANUARY, 60.0), hit("b", MARCH, 61.0)]);
    let found = place.lake().segments().expect("listed");
    assert_eq!(found, [staged]);
    let read = lake.read_segment(&found[0]).expect("read");
    assert_eq!(read, tables(7, "f1", &[hit("a", JANUARY, 60.0), hit("b", MARCH, 61.0)]));
}
