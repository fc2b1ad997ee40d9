//! Strike marks: whatever order lists and exports arrive in, the same shots get the same strikes, and lose them again.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::Float64Type;
use files::{FaultPlan, Files};
use intake::{Corrections, FileOutcome, Roster, bay_days};

use crate::site::{HEADER, Running, Site, at, row};

/// Seconds after three o'clock; people do not hit balls like a clock.
const STRUCK: [u32; 12] = [9, 50, 104, 142, 199, 271, 310, 386, 429, 507, 549, 626];
/// The list's clock is ahead of the device's by this, s.
const AHEAD: u32 = 70;

fn clock(seconds: u32, hour: u32) -> String {
    format!("{hour}:{:02}:{:02}", seconds / 60, seconds % 60)
}

/// Twelve shots of Wren in bay 2; the fifth is missing.
fn shots() -> String {
    let mut text = HEADER.to_owned();
    for (number, seconds) in (1..).zip(STRUCK) {
        if number != 5 {
            let shot =
                row(number, "Wren").replace(&format!("3:{number:02}:09 PM"), &format!("{} PM", clock(seconds, 3)));
            let _ = write!(text, "{shot}");
        }
    }
    text
}

/// The marks of the same shots; the eighth is missing. `more` are further lines.
fn marks(more: &str) -> String {
    let mut text = "Day: 2026-04-12\nList: a\n====\nBall,Clock,Player,Club,Across,Height\n".to_owned();
    for (number, seconds) in (1_u32..).zip(STRUCK) {
        if number != 8 {
            let _ = writeln!(text, "{number},{},wren,D,{number} toe,2 low", clock(seconds + AHEAD, 15));
        }
    }
    text + more
}

fn known() -> Arc<Roster> {
    let header = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n";
    let lines = "wren,Wren,Wren,right,,,yes,,,\nfinch,Finch,Finch,right,,,yes,,,\n";
    let (roster, faults) = Roster::parse(Path::new("roster.csv"), &format!("{header}{lines}"));
    assert_eq!(faults, []);
    Arc::new(roster)
}

fn corrections(lines: &str) -> Arc<Corrections> {
    let text = format!("action,file,from,to,bay,player,shot,value,note\n{lines}");
    let (corrections, faults) = Corrections::parse(Path::new("c.csv"), &text, chrono_tz::America::New_York);
    assert_eq!(faults, []);
    Arc::new(corrections)
}

fn site() -> Site {
    let mut site = Site::new();
    site.roster = known();
    site
}

fn start(site: &Site, lines: &str, files: &Files) -> Option<Running> {
    let mut running = site.try_start(files).ok()?;
    running.intake = running.intake.with_corrections(corrections(lines));
    Some(running)
}

fn amended(site: &Site, lines: &str) -> Running {
    let running = start(site, lines, &Files::new()).expect("a start");
    running.intake.recover(at(500)).expect("a recovery");
    running
}

/// Toe position of each shot in the order of time, with where it comes from.
fn strikes(running: &Running) -> Vec<Option<(f64, String)>> {
    let mut found: Vec<(i64, Option<(f64, String)>)> = Vec::new();
    for batch in running.rows(&shot::shots()) {
        let column = |name: &str| batch.column_by_name(name).expect("the column").clone();
        let (clock, toe, up) = (column("struck_at"), column("strike_toe_mm"), column("strike_up_mm"));
        let (sd, source) = (column("strike_sd_mm"), column("strike_source"));
        for row in 0..batch.num_rows() {
            let at = clock.as_primitive::<arrow::datatypes::TimestampMicrosecondType>().value(row);
            let has = [&toe, &up, &sd].map(|number| number.is_valid(row));
            assert_eq!(has, [source.is_valid(row); 3], "all of a strike or nothing");
            let strike = source.is_valid(row).then(|| {
                let deviation = sd.as_primitive::<Float64Type>().value(row);
                assert!((deviation - 2.0).abs() < 1e-12, "the mark's own deviation: {deviation}");
                (toe.as_primitive::<Float64Type>().value(row), source.as_string::<i32>().value(row).to_owned())
            });
            found.push((at, strike));
        }
    }
    found.sort_by_key(|(at, _)| *at);
    found.into_iter().map(|(_, strike)| strike).collect()
}

/// Shots are 1 to 12 without 5, marks 1 to 12 without 8: each mark's toe position is its number.
fn expected() -> Vec<Option<(f64, String)>> {
    let numbers = (1..=12).filter(|number| *number != 5);
    numbers.map(|number| (number != 8).then(|| (f64::from(number), "linked".to_owned()))).collect()
}

fn all(running: &Running) -> [Vec<RecordBatch>; 4] {
    [shot::shots(), shot::strike_marks(), shot::strike_links(), shot::bay_clocks()].map(|schema| running.rows(&schema))
}

#[test]
fn marks_find_their_shots_whatever_arrives_first() {
    let mut links = Vec::new();
    for order in [[0, 1, 2], [1, 0, 2], [2, 1, 0], [1, 2, 0]] {
        let site = site();
        let running = site.start();
        // The list arrives in two halves; the second repeats a line of the first and adds one that fits no shot.
        let files = [
            ("session_1_bay2.csv", shots()),
            ("spray-a-bay2.csv", marks("")),
            ("spray-b-bay2.csv", marks("20,16:40:00,wren,D,3 toe,1 low\n")),
        ];
        for (turn, file) in (0_i64..).zip(order) {
            let (name, text) = &files[file];
            site.drop_file(name, text);
            let report = running.settle_and_scan(turn * 10);
            assert_eq!((report.files_published, report.troubles.len()), (1, 0), "{report:?}");
        }
        assert_eq!(strikes(&running), expected(), "{order:?}");
        let mut fates = running.texts(&shot::strike_links(), "fate");
        fates.sort();
        // The mark of the shot that is not there, and the one at twenty to five.
        assert_eq!(fates.iter().filter(|fate| *fate == "unmatched").count(), 2, "{order:?} {fates:?}");
        assert_eq!(fates.iter().filter(|fate| *fate == "linked").count(), 10, "{order:?} {fates:?}");
        let days = bay_days(&running.lake).expect("clocks");
        let (offset, deviation) = days[0].clock_offset_s.expect("one clock fits");
        assert!((offset - f64::from(AHEAD)).abs() < 1.5 && deviation < 1.0, "{offset} {deviation}");
        assert_eq!((days.len(), days[0].bay.as_str(), days[0].marks), (1, "2", 12));
        links.push(running.rows(&shot::strike_links()));
        assert_eq!(running.lake.differences().expect("readable"), Vec::<String>::new());
    }
    assert!(links.windows(2).all(|pair| pair[0] == pair[1]), "the order of arrival changes nothing");
}

#[test]
fn a_link_goes_when_its_reason_goes_and_comes_back_with_it() {
    let site = site();
    site.drop_file("session_1_bay2.csv", shots());
    site.drop_file("spray-a-bay2.csv", marks(""));
    let running = site.start();
    let report = running.settle_and_scan(0);
    assert_eq!((report.files_published, report.shots), (2, 11), "{report:?}");
    let before = all(&running);
    let accepted = running.rows(&shot::imports());
    let accepted = accepted[0].column_by_name("rows_accepted").expect("the column");
    let accepted: i64 = accepted.as_primitive::<arrow::datatypes::Int64Type>().iter().flatten().sum();
    assert_eq!(accepted, 22, "eleven shots and eleven marks");
    drop(running);

    // Shot 3 was hit by somebody else, whom the list does not name there.
    let running = amended(&site, "player,,2026-04-12 15:01:40,2026-04-12 15:01:50,,,,finch,\n");
    let mut without = expected();
    without[2] = None;
    assert_eq!(strikes(&running), without);
    assert_eq!(running.texts(&shot::shots(), "quality").iter().filter(|codes| *codes == "strike-linked").count(), 9);
    drop(running);

    let running = amended(&site, "");
    assert_eq!(all(&running), before, "everything is back");
    let generation = running.lake.manifest().expect("a manifest").generation;
    drop(running);
    let running = amended(&site, "");
    assert_eq!(running.lake.manifest().expect("a manifest").generation, generation, "nothing changed");
    let months = running.ledger.amended_months().expect("months");
    assert_eq!(running.ledger.linked_groups(&months[0].month).expect("groups").len(), 1);
}

#[test]
fn a_list_alone_is_a_file_like_any_other() {
    let site = site();
    let running = site.start();
    let path = site.home.join("spray-a-bay2.csv");
    std::fs::write(&path, marks("13,15:30:00,wren,D,72 toe,1 low\n")).expect("a list");
    let outcomes = running.intake.import_now(&[path], at(0)).expect("an import");
    assert!(
        matches!(outcomes[..], [(_, FileOutcome::Imported { shots: 0, marks: 11, rejected: 1, .. })]),
        "{outcomes:?}"
    );
    assert_eq!(running.rows(&shot::shots()).len(), 0);
    assert_eq!(running.texts(&shot::strike_links(), "fate"), ["unmatched"; 11]);
    assert_eq!(running.texts(&shot::strike_marks(), "player_id"), ["wren"; 11]);
}

#[test]
fn a_power_cut_while_linking_is_made_good() {
    let undisturbed = site();
    undisturbed.drop_file("session_1_bay2.csv", shots());
    undisturbed.drop_file("spray-a-bay2.csv", marks(""));
    undisturbed.start().settle_and_scan(0);
    let line = "player,,2026-04-12 15:01:40,2026-04-12 15:01:50,,,,finch,\n";
    let after = all(&amended(&undisturbed, line));
    let mut nth = 1;
    loop {
        let site = site();
        site.drop_file("session_1_bay2.csv", shots());
        site.drop_file("spray-a-bay2.csv", marks(""));
        site.start().settle_and_scan(0);
        let files = Files::with_faults(FaultPlan::CrashAfter { nth });
        if let Some(running) = start(&site, line, &files) {
            let _ = running.intake.recover(at(500));
        }
        let came_through = files.operations() <= nth;
        let running = amended(&site, line);
        assert_eq!(all(&running), after, "power cut after operation {nth}");
        assert_eq!(running.lake.differences().expect("readable"), Vec::<String>::new(), "operation {nth}");
        if came_through {
            break;
        }
        nth += 3; // every third operation; the amending test tries them all
    }
    assert!(nth > 30, "only {nth} operations were tried");
}
