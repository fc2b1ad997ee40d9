//! Roster and corrections over rows that are published: whatever changes, taking it back gives the rows of before.

use std::path::Path;
use std::sync::Arc;

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::Int64Type;
use files::{FaultPlan, Files};
use intake::{Corrections, Roster};
use lake::Provenance;
use shot::{Month, TableSchema, placeholder_player};

use crate::site::{HEADER, Running, Site, at, row};

const ROSTER: &str = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n";
const CORRECTIONS: &str = "action,file,from,to,bay,player,shot,value,note\n";

fn roster(lines: &str) -> Arc<Roster> {
    let (roster, faults) = Roster::parse(Path::new("roster.csv"), &format!("{ROSTER}{lines}"));
    assert_eq!(faults, []);
    Arc::new(roster)
}

fn corrections(lines: &str) -> Arc<Corrections> {
    let zone = chrono_tz::America::New_York;
    let (corrections, faults) =
        Corrections::parse(Path::new("corrections.csv"), &format!("{CORRECTIONS}{lines}"), zone);
    assert_eq!(faults, []);
    Arc::new(corrections)
}

/// Four shots in April (two of Wren, one of a stranger, one more of Wren), one of Wren in May.
fn site() -> Site {
    let site = Site::new();
    let april = format!("{HEADER}{}{}{}{}", row(1, "Wren"), row(2, "WREN "), row(3, "Stranger"), row(4, "Wren"));
    site.drop_file("session_1_bay2.csv", april);
    site.drop_file("session_2_bay3.csv", format!("{HEADER}{}", row(5, "Wren").replace("4/12/", "5/12/")));
    site.start().settle_and_scan(0);
    site
}

/// Starts with a roster and corrections, as after a restart.
fn start(site: &mut Site, roster: Arc<Roster>, corrections: &Arc<Corrections>, files: &Files) -> Running {
    site.roster = roster;
    let mut running = site.try_start(files).expect("a start");
    running.intake = running.intake.with_corrections(Arc::clone(corrections));
    running
}

fn amended(site: &mut Site, roster: Arc<Roster>, lines: &str) -> Running {
    let running = start(site, roster, &corrections(lines), &Files::new());
    running.intake.recover(at(100)).expect("a recovery");
    running
}

/// One text column of the shots in the order of their rows in the exports.
fn by_clock(running: &Running, column: &str) -> Vec<String> {
    let mut rows: Vec<(i64, String)> = Vec::new();
    for batch in running.rows(&shot::shots()) {
        let clock = batch.column_by_name("struck_at").expect("the column");
        let clock = clock.as_primitive::<arrow::datatypes::TimestampMicrosecondType>();
        let texts = batch.column_by_name(column).expect("the column").as_string::<i32>();
        for row in 0..batch.num_rows() {
            let text = if texts.is_valid(row) { texts.value(row) } else { "-" };
            rows.push((clock.value(row), text.to_owned()));
        }
    }
    rows.sort();
    rows.into_iter().map(|(_, text)| text).collect()
}

fn shots(running: &Running) -> Vec<RecordBatch> {
    running.rows(&shot::shots())
}

fn generation_of(running: &Running, month: &str) -> i64 {
    let manifest = running.lake.manifest().expect("a manifest");
    manifest.file("shots", Month::parse(month)).expect("its shots").generation
}

#[test]
fn an_alias_that_is_added_later_reaches_back_and_its_removal_takes_it_back() {
    let mut site = site();
    let running = amended(&mut site, Arc::default(), "");
    let before = shots(&running);
    let (unknown, stranger) = (placeholder_player("north", "wren"), placeholder_player("north", "stranger"));
    assert_eq!(by_clock(&running, "player_id"), [&*unknown, &*unknown, &*stranger, &*unknown, &*unknown]);
    drop(running);

    let known = roster("wren,Wren,Wren,left,,,yes,,,\n");
    let running = amended(&mut site, Arc::clone(&known), "");
    assert_eq!(by_clock(&running, "player_id"), ["wren", "wren", stranger.as_str(), "wren", "wren"]);
    let left: i64 = shots(&running)
        .iter()
        .map(|batch| {
            let hands = batch.column_by_name("hand").expect("the column").as_primitive::<Int64Type>();
            hands.iter().flatten().sum::<i64>()
        })
        .sum();
    assert_eq!(left, -4, "the roster's hand goes with the player");
    let generation = running.lake.manifest().expect("a manifest").generation;
    running.intake.recover(at(120)).expect("nothing to do");
    drop(running);
    let running = amended(&mut site, known, "");
    assert_eq!(running.lake.manifest().expect("a manifest").generation, generation, "nothing changed");
    drop(running);

    // Without consent the shots stand under the placeholder, as if nobody were known.
    for roster in [roster("wren,Wren,Wren,left,,,no,,,\n"), Arc::default()] {
        let running = amended(&mut site, roster, "");
        assert_eq!(shots(&running), before);
        assert_eq!(running.lake.differences().expect("readable"), Vec::<String>::new());
    }
}

#[test]
fn every_correction_does_its_work_and_leaves_no_trace_when_it_goes() {
    let mut site = site();
    let known = roster("wren,Wren,Wren,right,,,yes,,,\nfinch,Finch,F1,left,,,yes,,,\n");
    let running = amended(&mut site, Arc::clone(&known), "");
    let before = shots(&running);
    let april = generation_of(&running, "2026-04");
    let may = generation_of(&running, "2026-05");
    let shot_of_may = by_clock(&running, "shot_id").pop().expect("five shots");
    drop(running);

    // The clock of the exports is local; row 1 was hit at 15:01:09, row 2 at 15:02:09, and so on.
    let lines = "club,session_1_bay2.csv,,,,wren,,7-iron,wrong button\n\
                 player,,2026-04-12 15:02,2026-04-12 15:03,,,,f1,\n\
                 guest,,2026-04-12 15:03,2026-04-12 15:04,2,,,,\n\
                 exclude,,2026-04-12 15:04,2026-04-12 15:05,,,,,\n\
                 intent,,2026-04-12 15:04,,2,,,demonstration,\n\
                 intent,,,2026-04-12 15:02,2,,,drill,\n\
                 exclude,nothing.csv,,,,,,,\n";
    let running = amended(&mut site, Arc::clone(&known), lines);
    assert_eq!(by_clock(&running, "player_id"), ["wren", "finch", "-", "wren", "wren"]);
    assert_eq!(by_clock(&running, "club_id"), ["7-iron", "7-iron", "driver", "7-iron", "driver"]);
    assert_eq!(by_clock(&running, "club_kind"), ["iron", "iron", "driver", "iron", "driver"]);
    assert_eq!(by_clock(&running, "intent"), ["drill", "play", "play", "demonstration", "play"]);
    assert_eq!(by_clock(&running, "quality"), ["corrected", "corrected", "guest", "corrected;excluded", "-"]);
    assert_eq!(by_clock(&running, "recorded_club_id"), ["driver"; 5]);
    assert_eq!(generation_of(&running, "2026-05"), may, "a month that no line concerns keeps its file");
    assert!(generation_of(&running, "2026-04") > april);
    let counts = running.ledger.correction_counts().expect("counts");
    let touched: Vec<i64> = running.intake.corrections().lines().iter().map(|line| counts[&line.key]).collect();
    assert_eq!(touched, [3, 1, 1, 1, 1, 1, 0]);
    drop(running);

    // The later line wins; a shot and a file can be named by the beginning of their hashes.
    let running = amended(
        &mut site,
        Arc::clone(&known),
        &format!("guest,,,,3,,,,\nplayer,,,,,,{},finch,\nexclude,ffffffff,,,,,,,\n", &shot_of_may[..8]),
    );
    assert_eq!(by_clock(&running, "player_id").pop().expect("a shot"), "finch");
    assert_eq!(by_clock(&running, "quality").pop().expect("a shot"), "corrected");
    drop(running);

    let running = amended(&mut site, known, "");
    assert_eq!(shots(&running), before, "the recorded values are back");
    assert_eq!(running.ledger.correction_counts().expect("counts").len(), 0);
    assert_eq!(running.lake.differences().expect("readable"), Vec::<String>::new());
}

#[test]
fn rows_that_arrive_are_amended_when_they_are_published() {
    let mut site = Site::new();
    let known = roster("wren,Wren,Wren,right,,,yes,,,\n");
    let running = start(&mut site, known, &corrections("exclude,session_1_bay2.csv,,,,,,,\n"), &Files::new());
    site.drop_file("session_1_bay2.csv", format!("{HEADER}{}", row(1, "Wren")));
    running.settle_and_scan(0);
    assert_eq!(by_clock(&running, "player_id"), ["wren"]);
    assert_eq!(by_clock(&running, "quality"), ["excluded"]);
    let generation = running.lake.manifest().expect("a manifest").generation;
    assert_eq!(generation, 1, "published as amended, not amended afterwards");
    // A second export with the same shot keeps it excluded only if its own name is meant.
    site.drop_file("session_1b_bay2.csv", format!("{HEADER}{}{}", row(1, "Wren"), row(2, "Wren")));
    running.settle_and_scan(10);
    assert_eq!(by_clock(&running, "quality"), ["-", "-"], "the later import's row stands");
}

#[test]
fn a_daemon_notices_changed_files_and_keeps_the_old_roster_when_the_new_one_is_faulty() {
    let mut site = site();
    let (roster_file, corrections_file) = (site.home.join("roster.csv"), site.home.join("corrections.csv"));
    let good = format!("{ROSTER}wren,Wren,Wren,right,,,yes,,,\n");
    std::fs::write(&roster_file, &good).expect("a roster");
    site.roster = Arc::new(Roster::load(&roster_file).0);
    let mut running = site.start();
    let mut settings = site.settings();
    settings.roster_file = Some(roster_file.clone());
    settings.corrections_file = Some(corrections_file.clone());
    running.intake = intake::Intake::open(
        settings,
        Files::new(),
        Arc::clone(&running.ledger),
        Arc::clone(&running.lake),
        Arc::clone(&site.packs),
        Arc::clone(&site.roster),
    )
    .expect("open")
    .with_roster_check(Arc::new(|roster: &Roster| {
        roster.players().iter().filter(|player| player.player_id == "ghost").map(|_| "no ghosts".to_owned()).collect()
    }));
    let report = running.intake.scan_once(at(100)).expect("a scan");
    assert_eq!((report.amended, report.troubles.len()), (2, 0), "{report:?}");
    assert_eq!(by_clock(&running, "player_id")[0], "wren");
    assert_eq!(running.intake.scan_once(at(110)).expect("a scan").amended, 0);

    std::fs::write(&corrections_file, format!("{CORRECTIONS}guest,,,,2,,,,\nguest,,,,,,,,\n")).expect("a file");
    let report = running.intake.scan_once(at(120)).expect("a scan");
    assert_eq!((report.amended, report.troubles.len()), (1, 1), "{report:?}");
    assert!(report.troubles[0].message.contains("corrections.csv:3"), "{report:?}");
    assert_eq!(by_clock(&running, "player_id"), ["-", "-", "-", "-", "wren"]);
    // A file caught while it is being written corrects nothing new and takes nothing back.
    std::fs::write(&corrections_file, "").expect("a file");
    let report = running.intake.scan_once(at(130)).expect("a scan");
    assert_eq!((report.amended, report.troubles.len()), (0, 1), "{report:?}");
    std::fs::remove_file(&corrections_file).expect("gone");
    let report = running.intake.scan_once(at(140)).expect("a scan");
    assert_eq!((report.amended, report.troubles.len()), (1, 0), "no file is no fault: {report:?}");

    for faulty in [good.replace("right", "sideways"), format!("{good}ghost,,,right,,,yes,,,\n"), String::new()] {
        std::fs::write(&roster_file, faulty).expect("a faulty roster");
        let report = running.intake.scan_once(at(150)).expect("a scan");
        assert_eq!((report.amended, report.troubles.len()), (0, 1), "{report:?}");
        assert_eq!(by_clock(&running, "player_id")[0], "wren", "the roster of before stays in force");
        assert_eq!(running.intake.scan_once(at(160)).expect("a scan").troubles.len(), 1, "told until it is mended");
    }
    std::fs::write(&roster_file, ROSTER).expect("a roster without players");
    running.intake.publish_dimensions(at(165)).expect("dimensions");
    let report = running.intake.scan_once(at(170)).expect("a scan");
    assert_eq!((report.amended, report.troubles.len()), (3, 0), "two months and the players: {report:?}");
    assert_eq!(by_clock(&running, "player_id")[0], placeholder_player("north", "Wren"));
}

#[test]
fn a_power_cut_after_any_operation_of_amending_is_made_good() {
    let lines = "guest,,,,2,,,,\nexclude,,,,3,,,,\n";
    let known = || roster("wren,Wren,Wren,right,,,yes,,,\n");
    let mut reference = site();
    let before = shots(&amended(&mut reference, Arc::default(), ""));
    let after = shots(&amended(&mut reference, known(), lines));
    let mut nth = 1;
    loop {
        let mut site = site();
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        site.roster = known();
        if let Ok(mut running) = site.try_start(&files) {
            running.intake = running.intake.with_corrections(corrections(lines));
            let _ = running.intake.recover(at(100));
        }
        let came_through = files.operations() <= nth;
        // Every other time the person has taken everything back before the restart.
        let running = if nth % 2 == 0 {
            let running = amended(&mut site, known(), lines);
            assert_eq!(shots(&running), after, "power cut after operation {nth}");
            running
        } else {
            let running = amended(&mut site, Arc::default(), "");
            assert_eq!(shots(&running), before, "power cut after operation {nth}, then taken back");
            running
        };
        assert_eq!(running.lake.differences().expect("readable"), Vec::<String>::new(), "operation {nth}");
        let generation = running.lake.manifest().expect("a manifest").generation;
        running.settle_and_scan(200);
        assert_eq!(running.lake.manifest().expect("a manifest").generation, generation, "operation {nth}: done");
        if came_through {
            break;
        }
        nth += 1;
    }
    assert!(nth > 20, "only {nth} operations were tried");
}

#[test]
fn rows_of_before_the_recorded_values_were_kept_stand_as_they_are() {
    let mut site = site();
    let running = amended(&mut site, roster("wren,Wren,Wren,right,,,yes,,,\n"), "");
    let april = Month::parse("2026-04");
    let today = shot::shots();
    let columns = today.columns.iter().filter(|column| !column.name.starts_with("recorded_")).cloned().collect();
    let old_schema = TableSchema { version: 1, columns, ..today.clone() };
    let mut old_rows = Vec::new();
    for batch in running.lake.read_partition(&today, april).expect("rows") {
        old_rows
            .push(batch.project(&(0..old_schema.columns.len()).collect::<Vec<_>>()).expect("without recorded values"));
    }
    let provenance = Provenance { writer: "test".into(), run_id: "old".into(), created_micros: 0, extra: Vec::new() };
    running.lake.replace_partition(&old_schema, april, &old_rows, &provenance).expect("an old partition");
    drop(running);

    let running = amended(&mut site, roster("wren,Wren,Wren,right,,,yes,,,\n"), "guest,,2026-04-12 15:04,,,,,,\n");
    assert_eq!(
        by_clock(&running, "player_id")[..4],
        ["wren", "wren", placeholder_player("north", "Stranger").as_str(), "-"]
    );
    assert_eq!(
        by_clock(&running, "recorded_player_id")[..4],
        ["wren", "wren", placeholder_player("north", "Stranger").as_str(), "wren"]
    );
    drop(running);
    let running = amended(&mut site, roster("wren,Wren,Wren,right,,,yes,,,\n"), "");
    let mut rows = Vec::new();
    for batch in running.lake.read_partition(&today, april).expect("rows") {
        let kept: Vec<usize> = (0..old_schema.columns.len()).collect();
        rows.push(batch.project(&kept).expect("without recorded values"));
    }
    assert_eq!(rows, old_rows, "nothing was lost");
    drop(running);
    // Consent that is withdrawn reaches rows that only bear the alias.
    let running = amended(&mut site, roster("wren,Wren,Wren,right,,,no,,,\n"), "");
    assert_eq!(by_clock(&running, "player_id")[0], placeholder_player("north", "wren"));
}
