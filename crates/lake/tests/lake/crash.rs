//! The power fails after the n-th file operation, for every n; and every single operation fails once.

use std::io::ErrorKind;

use files::{FaultPlan, Files};
use lake::{Lake, LakeError, PublishReport};

use crate::support::*;

const RETRACTED: &str = "f2";

/// Two published imports, and two staged ones of which rows move between months in both directions.
fn prepared_place() -> Place {
    let place = Place::new();
    let lake = place.lake();
    let first = stage(
        &lake,
        1,
        "f1",
        &[hit("a", JANUARY, 1.0), hit("b", JANUARY, 2.0), hit("c", FEBRUARY, 3.0), hit("d", FEBRUARY, 4.0)],
    );
    let second = stage(&lake, 2, "f2", &[hit("e", MARCH, 5.0), hit("f", MARCH, 6.0), hit("g", JANUARY, 7.0)]);
    lake.publish(&[first.clone(), second.clone()], &[], &provenance()).expect("published");
    lake.discard_segment(&first).expect("discarded");
    lake.discard_segment(&second).expect("discarded");
    stage(&lake, 3, "f3", &[hit("a", FEBRUARY, 10.0), hit("c", JANUARY, 30.0), hit("d", FEBRUARY, 40.0)]);
    stage(&lake, 4, "f2", &[hit("e", FEBRUARY, 50.0), hit("new", MARCH, 60.0)]);
    place
}

fn publish(lake: &Lake) -> Result<PublishReport, LakeError> {
    lake.publish(&lake.segments()?, &[RETRACTED.to_owned()], &provenance())
}

#[test]
fn a_crash_at_any_operation_of_a_publication_heals_on_replay() {
    let origin = prepared_place();
    let undisturbed = Place::copy_of(&origin);
    let expected_report = publish(&undisturbed.lake()).expect("published");
    let expected = shots(&undisturbed.lake());
    assert_eq!(
        expected,
        ["2026-01 b 1 2", "2026-01 c 3 30", "2026-02 a 3 10", "2026-02 d 3 40", "2026-02 e 4 50", "2026-03 new 4 60"]
    );
    let mut crashes = 0;
    for nth in 0.. {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = publish(&lake);
        drop(lake);
        let context = format!("crash after operation {nth}");

        // What a reader sees now: each shot at most once, every partition whole, and no shot that was never published.
        let after_crash = place.lake();
        assert!(times_seen(&after_crash).values().all(|times| *times == 1), "{context}");
        if outcome.is_ok() {
            assert_eq!(files.operations(), nth, "every operation of an undisturbed run was tried");
            break;
        }
        crashes += 1;
        let report = publish(&after_crash).expect(&context);
        assert_eq!(report.counts, expected_report.counts, "{context}");
        assert_eq!(report.generation, expected_report.generation, "{context}");
        assert_eq!(shots(&after_crash), expected, "{context}");
        assert_sound(&place, &after_crash, &context);
        if nth % 10 == 0 {
            let again = publish(&after_crash).expect(&context);
            assert!(again.partitions.iter().all(|change| change.unchanged), "{context}");
        }
    }
    println!("{crashes} crash points");
    assert!(crashes > 100, "only {crashes} crash points: does the counter still count?");
}

/// Not a crash but one failed operation: the same process tries again, without reopening.
#[test]
fn one_failed_operation_fails_the_publication_or_nothing_and_the_next_try_succeeds() {
    let origin = prepared_place();
    let undisturbed = Place::copy_of(&origin);
    publish(&undisturbed.lake()).expect("published");
    let expected = shots(&undisturbed.lake());
    // Every third: the test above has been at each of them, and each costs two publications.
    for nth in (1..).step_by(3) {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::FailOnce { nth, kind: ErrorKind::StorageFull }));
        let outcome = publish(&lake);
        let was_reached = files.operations() >= nth;
        if let Err(error) = &outcome {
            let text = error.to_string();
            assert!(text.contains("\nhint: ") && text.contains("fault injected"), "operation {nth}: {text}");
        }
        files.set_faults(None);
        publish(&lake).expect("the next try");
        assert_eq!(shots(&lake), expected, "operation {nth}");
        assert_sound(&place, &place.lake(), &format!("operation {nth}"));
        if !was_reached {
            break;
        }
    }
}

#[test]
fn a_crash_while_staging_leaves_a_whole_segment_or_none() {
    let hits = [hit("a", JANUARY, 1.0), hit("b", MARCH, 2.0)];
    for restage in [false, true] {
        for nth in 0.. {
            let place = Place::new();
            if restage {
                stage(&place.lake(), 1, "f1", &[hit("a", JANUARY, 9.0)]);
            }
            let files = Files::new();
            let lake = place.open(files.clone());
            files.set_faults(Some(FaultPlan::CrashAfter { nth }));
            let outcome = lake.stage(header(1, "f1"), &tables(1, "f1", &hits));
            let lake = place.lake();
            for segment in lake.segments().expect("every visible segment is whole") {
                lake.read_segment(&segment).expect("and reads");
            }
            if outcome.is_ok() {
                break;
            }
            let segment = lake.stage(header(1, "f1"), &tables(1, "f1", &hits)).expect("the second try");
            assert_eq!(lake.segments().expect("listed"), std::slice::from_ref(&segment));
            lake.publish(&[segment], &[], &provenance()).expect("published");
            assert_eq!(shots(&lake), ["2026-01 a 1 1", "2026-03 b 1 2"]);
            assert_sound(&place, &lake, &format!("crash after {nth}"));
        }
    }
}

#[test]
fn a_crash_while_discarding_leaves_a_whole_segment_or_none() {
    let origin = prepared_place();
    for nth in 0.. {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        let segments = lake.segments().expect("listed");
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = lake.discard_segment(&segments[0]);
        let lake = place.lake();
        let left = lake.segments().expect("every visible segment is whole");
        assert!(left == segments || left == segments[1..]);
        lake.discard_segment(&segments[0]).expect("the second try");
        assert_eq!(lake.segments().expect("listed"), segments[1..]);
        if outcome.is_ok() {
            break;
        }
    }
}

/// The caller may give up after a failure instead of replaying: the next publication into the same datasets puts the manifest
/// right, whatever it publishes.
#[test]
fn another_publication_mends_what_an_interrupted_one_left() {
    let origin = prepared_place();
    for nth in (0..).step_by(7) {
        let place = Place::copy_of(&origin);
        let files = Files::new();
        let lake = place.open(files.clone());
        files.set_faults(Some(FaultPlan::CrashAfter { nth }));
        let outcome = publish(&lake);
        let lake = place.lake();
        let other = stage(&lake, 9, "f9", &[hit("other", JANUARY, 90.0)]);
        lake.publish(&[other], &[], &provenance()).expect("published");
        assert_sound(&place, &lake, &format!("crash after operation {nth}"));
        if outcome.is_ok() {
            break;
        }
    }
}
