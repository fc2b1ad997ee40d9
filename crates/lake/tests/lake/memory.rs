//! What is in memory depends on the bounds and on what comes in, never on what is published; and the bounds change no byte.

use std::fs;

use arrow::array::RecordBatch;
use files::{FaultPlan, Files};
use lake::{Lake, MergeBounds};

use crate::support::*;

const NARROW: MergeBounds = MergeBounds { rows_sorted_in_memory: 2_000, rows_per_batch: 1_024 };

/// Shots whose order of identity, player and time differ, over `months` months.
fn many(first: i32, count: i32, months: i32) -> Vec<Hit> {
    let row = |n: i32| {
        // 7,919 is a prime: the days jump about.
        let day = JANUARY + (n % months) * 31 + (n * 7_919) % 25;
        hit(&format!("s{:08}", (i64::from(n) * 48_271) % 99_999_989), day, f64::from(n))
    };
    (first..first + count).map(row).collect()
}

fn stage_shots(lake: &Lake, sequence: i64, hits: &[Hit]) -> lake::Segment {
    let source = format!("f{sequence}");
    let rows: RecordBatch = shot_rows(sequence, &source, hits);
    lake.stage(header(sequence, &source), &[(shot::shots(), rows)]).expect("staged")
}

#[test]
fn rows_in_memory_do_not_grow_with_the_lake() {
    let place = Place::new();
    let lake = place.lake();
    let mut held = Vec::new();
    for sequence in 0..12 {
        let first = i32::try_from(sequence).expect("small") * 1_000;
        let mut hits = many(first, 1_000, 1);
        // Some rows of before come again, corrected, so that the published keys are looked at too.
        hits.extend(many((first - 500).max(0), 100, 1).into_iter().map(|hit| Hit { speed: hit.speed + 0.5, ..hit }));
        let segment = stage_shots(&lake, sequence, &hits);
        let report =
            lake.publish_within(NARROW, std::slice::from_ref(&segment), &[], &provenance()).expect("published");
        lake.discard_segment(&segment).expect("discarded");
        held.push(report.most_rows_held);
    }
    assert_eq!(lake.manifest().expect("read").files[0].rows, 12_000);
    // The file alone has about twice the rows that may be held:
    // the incoming rows twice, while they are sorted, and two batches: of the file and of what is written.
    let most = 2 * NARROW.rows_sorted_in_memory + 2 * NARROW.rows_per_batch;
    assert!(held.iter().all(|rows| *rows <= most), "{held:?} rows held where {most} are allowed");
}

#[test]
fn a_batch_of_many_months_is_sorted_in_runs() {
    let place = Place::new();
    let lake = place.lake();
    let hits = many(0, 12_000, 24);
    let segment = stage_shots(&lake, 1, &hits);
    let report = lake.publish_within(NARROW, &[segment], &[], &provenance()).expect("published");
    assert_eq!(report.count("f1", "shots"), (12_000, 0, 0));
    assert!(report.partitions.len() >= 24, "{} months", report.partitions.len());
    let most = 2 * NARROW.rows_sorted_in_memory + 2 * NARROW.rows_per_batch;
    assert!(report.most_rows_held <= most, "{} rows held where {most} are allowed", report.most_rows_held);
    let seen = times_seen(&lake);
    assert_eq!(seen.len(), 12_000);
    assert!(seen.values().all(|times| *times == 1));
    assert_sound(&place, &lake, "after all");
}

#[test]
fn bounds_of_memory_change_no_byte() {
    let mut files = Vec::new();
    for bounds in [NARROW, MergeBounds::default()] {
        let place = Place::new();
        let lake = place.lake();
        let first = stage_shots(&lake, 1, &many(0, 6_000, 2));
        lake.publish_within(bounds, &[first], &[], &provenance()).expect("published");
        let corrected = many(2_000, 5_000, 2).into_iter().map(|hit| Hit { day: hit.day + 20, ..hit });
        let second = stage_shots(&lake, 2, &corrected.collect::<Vec<_>>());
        lake.publish_within(bounds, &[second], &[], &provenance()).expect("published");
        let read = |month| fs::read(lake.partition_path("shots", month)).expect("read");
        files.push(lake.partitions("shots").expect("listed").into_iter().map(read).collect::<Vec<_>>());
    }
    assert_eq!(files[0].len(), 3);
    assert!(files[0] == files[1], "other bytes with other bounds");
}

/// A file of another order, as another version may have written it, is sorted anew with the first rows that come in.
#[test]
fn a_partition_in_another_order_is_sorted_anew() {
    let mut other = shot::shots();
    other.sort = vec!["ball_speed_mps".into()];
    let hits = many(0, 5_000, 1);
    for bounds in [NARROW, MergeBounds::default()] {
        let place = Place::new();
        let lake = place.lake();
        lake.replace_partition(&other, month(1), &[shot_rows(1, "f1", &hits)], &provenance()).expect("replaced");
        let late = stage_shots(&lake, 2, &[hit("late", JANUARY + 12, 0.25), hit(&hits[7].id, FEBRUARY, 0.5)]);
        lake.publish_within(bounds, &[late], &[], &provenance()).expect("published");
        // The same rows, published without a detour.
        let direct = Place::new();
        let straight = direct.lake();
        let first = stage_shots(&straight, 1, &hits);
        straight.publish(&[first], &[], &provenance()).expect("published");
        let late = stage_shots(&straight, 2, &[hit("late", JANUARY + 12, 0.25), hit(&hits[7].id, FEBRUARY, 0.5)]);
        straight.publish(&[late], &[], &provenance()).expect("published");
        let columns = ["shot_id", "player_id", "import_sequence", "ball_speed_mps"];
        assert_eq!(lines(&lake, &shot::shots(), &columns), lines(&straight, &shot::shots(), &columns));
    }
}

/// Sorted runs are temporary files: a crash leaves none for long, and nothing else than without them.
#[test]
fn a_crash_amid_sorted_runs_heals_on_replay() {
    let bounds = MergeBounds { rows_sorted_in_memory: 2, rows_per_batch: 1 };
    let origin = Place::new();
    let lake = origin.lake();
    let first = stage_shots(&lake, 1, &[hit("a", JANUARY, 1.0), hit("b", FEBRUARY, 2.0), hit("c", JANUARY, 3.0)]);
    lake.publish(std::slice::from_ref(&first), &[], &provenance()).expect("published");
    lake.discard_segment(&first).expect("discarded");
    let moved = [hit("b", JANUARY, 20.0), hit("a", FEBRUARY, 10.0), hit("d", FEBRUARY, 40.0), hit("e", JANUARY, 50.0)];
    stage_shots(&lake, 2, &[&moved[..], &[hit("f", FEBRUARY, 60.0)]].concat());
    let publish = |lake: &Lake, bounds| lake.publish_within(bounds, &lake.segments()?, &[], &provenance());

    let mut operations = Vec::new();
    let mut expected = Vec::new();
    for bounds in [bounds, MergeBounds::default()] {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(None);
        publish(&lake, bounds).expect("published");
        operations.push(files.operations());
        expected.push(shots(&lake));
    }
    assert!(operations[0] > operations[1] + 10, "{operations:?} operations: are there runs at all?");
    assert_eq!(expected[0], expected[1]);
    let mut crashes = 0;
    for nth in (0..operations[0]).step_by(5) {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = publish(&lake, bounds);
        drop(lake);
        let context = format!("crash after operation {nth}");
        assert!(outcome.is_err(), "{context}");
        let after_crash = place.lake();
        assert!(times_seen(&after_crash).values().all(|times| *times == 1), "{context}");
        publish(&after_crash, bounds).expect(&context);
        assert_eq!(shots(&after_crash), expected[0], "{context}");
        assert_sound(&place, &after_crash, &context);
        crashes += 1;
    }
    println!("{crashes} crash points among {} operations", operations[0]);
}
