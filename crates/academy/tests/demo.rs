//! The demo: same seed same bytes, what is checked in is what is made, truth and files and README agree.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

mod look;

use academy::demo::bay::Bay;
use academy::demo::{self, Demo, FileKind};
use chrono::{Datelike, NaiveDateTime, TimeDelta};
use look::{shot_rows, text_of};

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn made(seed: u64) -> Demo {
    let text = std::fs::read_to_string(repository().join("config/heads.toml")).unwrap();
    demo::generate(seed, &toml::from_str(&text).unwrap()).unwrap()
}

fn checked_in() -> &'static Demo {
    static DEMO: OnceLock<Demo> = OnceLock::new();
    DEMO.get_or_init(|| made(demo::SEED))
}

fn rows(text: &str) -> Vec<BTreeMap<&str, &str>> {
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(|line| header.iter().copied().zip(line.split(',')).collect()).collect()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    assert_eq!(made(demo::SEED).contents, checked_in().contents);
    let other = made(demo::SEED + 1);
    assert_ne!(other.contents["truth/truth.csv"], checked_in().contents["truth/truth.csv"]);
}

#[test]
fn what_is_checked_in_is_what_the_generator_makes() {
    let folder = repository().join("demo-data");
    let mut found = BTreeSet::new();
    for part in Bay::ALL.map(Bay::folder).into_iter().chain(["truth"]) {
        for entry in std::fs::read_dir(folder.join(part)).unwrap() {
            found.insert(format!("{part}/{}", entry.unwrap().file_name().to_string_lossy()));
        }
    }
    found.insert("README.md".to_owned());
    assert_eq!(found, checked_in().contents.keys().cloned().collect());
    for (path, bytes) in &checked_in().contents {
        let same = std::fs::read(folder.join(path)).unwrap() == *bytes;
        assert!(
            same,
            "{path} differs: run `cargo run -p academy -- --roster config/roster.csv` and check in what it makes"
        );
    }
    let roster = std::fs::read_to_string(repository().join("config/roster.csv")).unwrap();
    assert_eq!(roster, checked_in().roster);
    let size: usize = checked_in().contents.values().map(Vec::len).sum();
    assert!(size < 8_000_000, "{size} bytes");
}

#[test]
fn truth_and_files_agree_shot_by_shot() {
    let demo = checked_in();
    let truth_text = text_of(demo, "truth/truth.csv");
    let mut truth: BTreeMap<&str, Vec<BTreeMap<&str, &str>>> = BTreeMap::new();
    for row in rows(&truth_text) {
        truth.entry(row["file"]).or_default().push(row);
    }
    let list = text_of(demo, "truth/files.csv");
    let mut total = 0;
    for file in rows(&list) {
        let path = file["file"];
        if ["no export", "duplicate", "strike marks"].contains(&file["kind"]) {
            assert!(!truth.contains_key(path), "{path} has no truth of its own");
            continue;
        }
        let found = shot_rows(demo, path);
        assert_eq!(found.len().to_string(), file["shots"], "{path}");
        let broken: usize = file["broken"].parse().unwrap();
        let sound = &truth[path];
        assert_eq!(sound.len() + broken, found.len(), "{path}");
        total += sound.len();
        for row in sound {
            let row_number: usize = row["row"].parse().unwrap();
            let seen = found.iter().find(|seen| seen.row == row_number).unwrap();
            assert_eq!(
                (seen.number.as_str(), seen.name.as_str()),
                (row["shot"], row["logged_as"]),
                "{path}:{row_number}: {}",
                seen.text
            );
        }
    }
    assert!((7000..8000).contains(&total), "{total} shots");
}

#[test]
fn strike_lines_lie_around_the_truth_with_the_stated_deviations() {
    let demo = checked_in();
    let truth_text = text_of(demo, "truth/truth.csv");
    let truth = rows(&truth_text);
    // Deviations from the brief of bay 3; the print adds at most 0.05 mm.
    let cases = [
        ("/ball/v", "ball_speed_mps", 0.25),
        ("/ball/out", "azimuth_deg", 0.2),
        ("/ball/spin/rate", "spin_rpm", 60.0),
        ("/club/face", "face_deg", 0.5),
        ("/club/loft", "loft_deg", 0.6),
        ("/strike/toe", "toe_mm", 1.5),
        ("/strike/high", "up_mm", 1.5),
    ];
    for (pointer, column, sd) in cases {
        let mut squares = Vec::new();
        let mut missing = 0;
        for row in truth.iter().filter(|row| row["file"].starts_with("bay3")) {
            let line: usize = row["row"].parse().unwrap();
            let text = text_of(demo, row["file"]);
            let object: serde_json::Value = serde_json::from_str(text.lines().nth(line - 1).unwrap()).unwrap();
            match object.pointer(pointer).and_then(serde_json::Value::as_f64) {
                Some(seen) => squares.push((seen - row[column].parse::<f64>().unwrap()).powi(2)),
                None => missing += 1,
            }
        }
        let found = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
        assert!((found / sd - 1.0).abs() < 0.07, "{column}: {found} against {sd}");
        // The device of bay 3 misses the strike of about 4 % of the shots, and nothing else.
        let missing_share = f64::from(missing) / (squares.len() as f64 + f64::from(missing));
        let expected = if pointer.starts_with("/strike") { 0.03..0.05 } else { 0.0..f64::MIN_POSITIVE };
        assert!(expected.contains(&missing_share), "{column}: {missing_share}");
    }
}

#[test]
fn times_lie_in_the_eight_weeks_and_follow_the_clocks() {
    let demo = checked_in();
    let truth_text = text_of(demo, "truth/truth.csv");
    let mut offsets = BTreeMap::new();
    let mut weeks = BTreeSet::new();
    for row in rows(&truth_text) {
        let utc = NaiveDateTime::parse_from_str(row["struck_at"], "%Y-%m-%dT%H:%M:%S%.3fZ").unwrap();
        weeks.insert(utc.date().iso_week().week());
        if !row["file"].starts_with("bay1") {
            continue;
        }
        let line: usize = row["row"].parse().unwrap();
        let text = text_of(demo, row["file"]);
        let shown = text.lines().nth(line - 1).unwrap().split(';').nth(1).unwrap().replace(',', ".");
        let local = NaiveDateTime::parse_from_str(&shown, "%Y-%m-%d %H:%M:%S%.3f").unwrap();
        offsets.entry(local.date()).or_insert(local - utc);
        assert_eq!(local - utc, offsets[&local.date()]);
    }
    assert_eq!(weeks, (40..=47).collect(), "ISO weeks 2026-W40 to W47");
    // Irish summer time ends on the last Sunday of October [Directive 2000/84/EC]: 2026-10-25.
    for (day, offset) in offsets {
        let summer = day < chrono::NaiveDate::from_ymd_opt(2026, 10, 25).unwrap();
        assert_eq!(offset, TimeDelta::hours(i64::from(summer)), "{day}");
    }
}

#[test]
fn the_readme_counts_what_is_there() {
    let demo = checked_in();
    let readme = text_of(demo, "README.md");
    let mut golfers: BTreeMap<String, usize> = BTreeMap::new();
    let mut by_bay: BTreeMap<&str, usize> = BTreeMap::new();
    let kind_of = |path: &str| demo.files.iter().find(|file| file.path == path).map(|file| file.kind);
    for path in demo.contents.keys() {
        if !matches!(kind_of(path), Some(FileKind::Export | FileKind::BrokenRows)) {
            continue;
        }
        for seen in shot_rows(demo, path) {
            *by_bay.entry(&path[..4]).or_insert(0) += 1;
            *golfers.entry(seen.name).or_insert(0) += 1;
        }
    }
    for (bay, shots) in by_bay {
        let claimed = readme.lines().find(|line| line.starts_with(&format!("| `{bay}/`"))).unwrap();
        assert!(claimed.ends_with(&format!("| {shots} |")), "{claimed}: {shots}");
    }
    for (name, shots) in &golfers {
        assert!(readme.contains(&format!("| {name} | {shots} |")), "{name}: {shots}");
    }
    let roster_text = &demo.roster;
    let known: BTreeSet<String> = rows(roster_text).iter().map(|row| row["player_id"].to_owned()).collect();
    let mut expected = known;
    expected.insert("stork".to_owned());
    // Rowan demonstrates while another is logged in, so no device ever wrote that name.
    expected.remove("rowan");
    assert_eq!(golfers.into_keys().collect::<BTreeSet<_>>(), expected);
}

#[test]
fn the_oddities_are_what_they_are_said_to_be() {
    let demo = checked_in();
    let of_kind = |kind: FileKind| demo.files.iter().filter(|file| file.kind == kind).collect::<Vec<_>>();
    let duplicates = of_kind(FileKind::Duplicate);
    assert_eq!(duplicates.len(), 1);
    let same = demo.contents.iter().filter(|(_, bytes)| **bytes == demo.contents[&duplicates[0].path]);
    assert_eq!(same.count(), 2);
    assert_eq!(of_kind(FileKind::NoExport).len(), 1);

    let broken = of_kind(FileKind::BrokenRows);
    assert_eq!(broken.iter().map(|file| &file.path[..4]).collect::<BTreeSet<_>>().len(), Bay::ALL.len());
    for file in broken {
        let lines = shot_rows(demo, &file.path);
        // An independent look: a sound line has all fields, digits in its speed, and a date of the demo.
        let unsound = lines.iter().map(|seen| seen.text.as_str()).filter(|line| match &file.path[..4] {
            "bay1" => {
                let cells: Vec<&str> = line.split(';').collect();
                cells.len() != 13
                    || cells[5].replace(',', ".").parse::<f64>().is_err()
                    || cells[1].starts_with("2026-02")
            }
            "bay2" => {
                let cells: Vec<&str> = line.split(',').collect();
                cells.len() != 17 || cells[10].parse::<f64>().is_ok_and(|mph| mph > 250.0) || {
                    cells[10].parse::<f64>().is_err() || cells[1].starts_with("13/")
                }
            }
            "bay4" => {
                let hour = line.split("heure=\"").nth(1).and_then(|rest| rest.get(..2)).unwrap();
                let rise = line.split("<montee unite=\"°\">").nth(1).and_then(|rest| rest.split('<').next()).unwrap();
                hour.parse::<u8>().unwrap() > 23 || rise.parse::<f64>().is_err() || line.contains("points")
            }
            "bay5" => {
                let cells: Vec<&str> = line.split(';').collect();
                // A day of 2026 as workbooks count [derived: 2026-01-01 is day 46 023].
                !cells[1].parse::<f64>().is_ok_and(|day| (46_023.0..46_388.0).contains(&day))
                    || !cells[5].parse::<f64>().is_ok_and(|kmh| kmh < 400.0)
            }
            "tee1" => {
                let cells: Vec<&str> = line.split(';').collect();
                cells[1].is_empty() || cells[2] == "broom" || cells[3].parse::<f64>().unwrap() > 350.0
            }
            "bay6" => {
                let object = serde_json::from_str::<serde_json::Value>(line.trim_end_matches(','));
                !object.is_ok_and(|object| object.pointer("/bola/rapidez/valor").is_some_and(serde_json::Value::is_f64))
            }
            _ => serde_json::from_str::<serde_json::Value>(line).map_or(true, |object| {
                object.pointer("/ball/v").and_then(serde_json::Value::as_f64).is_none_or(|speed| speed > 110.0)
            }),
        });
        assert_eq!(unsound.count(), file.broken, "{}", file.path);
        assert!(file.shots > 2 * file.broken);
    }
}

#[test]
fn demonstrations_are_far_from_the_middle_and_a_strike_gate_tightens() {
    let demo = checked_in();
    let text = text_of(demo, "truth/truth.csv");
    let truth = rows(&text);
    let number = |row: &BTreeMap<&str, &str>, column: &str| row[column].parse::<f64>().unwrap();
    let shown: Vec<_> = truth.iter().filter(|row| row["intent"] == "demonstration").collect();
    assert!(shown.iter().any(|row| row["swung_by"] == "rowan" && row["logged_as"] == "heron"));
    assert!(shown.iter().any(|row| row["swung_by"] == "alder" && row["logged_as"] == "alder"));
    assert!(shown.iter().filter(|row| number(row, "toe_mm").abs() > 15.0).count() >= 28);
    assert!(shown.iter().all(|row| row["cause"].is_empty()));

    let spread = |player: &str, after: bool| {
        let first_drill = truth
            .iter()
            .filter(|row| row["swung_by"] == player && row["intent"] == "drill")
            .map(|row| row["struck_at"]);
        let first_drill = &first_drill.min().unwrap()[..10];
        let toes: Vec<f64> = truth
            .iter()
            .filter(|row| row["swung_by"] == player && row["club_id"] == "driver" && !row["cause"].is_empty())
            .filter(
                |row| if after { &row["struck_at"][..10] > first_drill } else { &row["struck_at"][..10] < first_drill },
            )
            .map(|row| number(row, "toe_mm"))
            .collect();
        let mean = toes.iter().sum::<f64>() / toes.len() as f64;
        (toes.iter().map(|toe| (toe - mean).powi(2)).sum::<f64>() / toes.len() as f64).sqrt()
    };
    assert!(spread("wren", true) < 0.8 * spread("wren", false));
    assert!(spread("avocet", true) < 0.95 * spread("avocet", false));
    assert!(spread("curlew", true) > 0.85 * spread("curlew", false));
}

#[test]
fn strike_marks_lie_around_the_truth_and_their_clock_runs_ahead() {
    let demo = checked_in();
    let shots_text = text_of(demo, "truth/truth.csv");
    let true_shots: BTreeMap<(&str, &str), BTreeMap<&str, &str>> =
        rows(&shots_text).into_iter().map(|row| ((row["file"], row["row"]), row)).collect();
    let marks_text = text_of(demo, "truth/marks.csv");
    let marks = rows(&marks_text);
    let (mut squares, mut ahead) = (Vec::new(), BTreeMap::<&str, Vec<f64>>::new());
    let mut without_shot = 0;
    let signed = |cell: &str| {
        let size: f64 = cell.split(' ').next().unwrap().parse().unwrap();
        if cell.ends_with("heel") || cell.ends_with("low") { -size } else { size }
    };
    for mark in &marks {
        let list = text_of(demo, mark["file"]);
        let line = list.lines().nth(mark["row"].parse::<usize>().unwrap() - 1).unwrap();
        let cells: Vec<&str> = line.split(',').collect();
        for (cell, column) in [(cells[4], "toe_mm"), (cells[5], "up_mm")] {
            squares.push((signed(cell) - mark[column].parse::<f64>().unwrap()).powi(2));
        }
        if mark["shot_file"].is_empty() {
            without_shot += 1;
            continue;
        }
        let shot = &true_shots[&(mark["shot_file"], mark["shot_row"])];
        assert_eq!(
            (shot["toe_mm"], shot["up_mm"], shot["struck_at"]),
            (mark["toe_mm"], mark["up_mm"], mark["struck_at"])
        );
        assert_eq!(shot["logged_as"], cells[2]);
        if let Ok(clock) = chrono::NaiveTime::parse_from_str(cells[1], "%H:%M:%S") {
            let path = mark["shot_file"];
            let text = text_of(demo, path);
            let stroke = text.lines().nth(shot["row"].parse::<usize>().unwrap() - 1).unwrap();
            let struck = stroke.split("heure=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
            let struck = chrono::NaiveTime::parse_from_str(struck, "%H:%M:%S%.3f").unwrap();
            ahead.entry(path).or_default().push((clock - struck).num_milliseconds() as f64 / 1e3);
        }
    }
    // Rounding to whole millimetres adds a twelfth of a square millimetre to the stated 2 mm [derived: variance of a uniform].
    let found = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
    let stated = (demo::marks::READING_SD_MM.powi(2) + 1.0 / 12.0).sqrt();
    assert!((found / stated - 1.0).abs() < 0.08, "{found} against {stated}");

    let means: Vec<f64> = ahead.values().map(|leads| leads.iter().sum::<f64>() / leads.len() as f64).collect();
    assert!(means.len() >= 10 && means.iter().all(|lead| (60.0..130.0).contains(lead)), "{means:?}");
    assert!(means.last() > means.first(), "the clock gains: {means:?}");
    let spread = means.iter().fold(0.0_f64, |most, lead| most.max((lead - means[0]).abs()));
    assert!(spread < 15.0, "it gains little: {means:?}");

    // About one shot in twenty is missing on either side.
    let share_without_shot = f64::from(without_shot) / marks.len() as f64;
    assert!((0.02..0.10).contains(&share_without_shot), "{share_without_shot}");
    let lists: BTreeSet<&str> = marks.iter().map(|mark| mark["shot_file"]).collect();
    let shots: usize = true_shots.keys().filter(|(file, _)| lists.contains(file)).count();
    let share_without_mark = 1.0 - (marks.len() - without_shot as usize) as f64 / shots as f64;
    assert!((0.02..0.10).contains(&share_without_mark), "{share_without_mark}");
}

#[test]
fn the_tee_measures_the_landing_in_moving_air() {
    let demo = checked_in();
    let outdoors: Vec<_> = demo.recorded.iter().filter(|played| played.session.bay == Bay::TeeOne).collect();
    assert!(outdoors.len() >= 10);
    let winds: Vec<f64> = outdoors.iter().map(|played| played.shots[0].truth.conditions.wind_along_mps).collect();
    assert!(winds.iter().any(|wind| *wind > 1.0) && winds.iter().any(|wind| *wind < -1.0), "{winds:?}");
    for played in &demo.recorded {
        let still = |shot: &demo::record::DemoShot| shot.truth.conditions.wind_along_mps == 0.0;
        assert_eq!(played.shots.iter().all(still), !played.session.bay.is_outdoor(), "{}", played.session.path());
    }
}
