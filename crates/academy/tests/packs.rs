//! The shipped mapping packs against the demo: every sound row is taken without a word and means what really happened.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use academy::demo::bay::Bay;
use academy::demo::{self, FileKind};
use formats::{PackSet, ParseLimits, Recognition, SiteContext};
use shot::{Quantity, Severity};

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn packs() -> PackSet {
    let (packs, faults) = PackSet::load(&repository().join("plugins/formats"));
    assert!(faults.is_empty(), "{faults:?}");
    packs
}

/// A site whose import folder says as much as that of the demo's configuration.
fn site(bay: Bay) -> SiteContext {
    SiteContext {
        site_id: "tern-point".to_owned(),
        zone: demo::timetable::ZONE,
        bay: None,
        environment: Some(if bay.is_outdoor() { "outdoor" } else { "indoor" }.to_owned()),
        limits: ParseLimits::default(),
        hands: std::sync::Arc::default(),
    }
}

#[test]
fn every_sound_row_is_taken_and_means_what_happened() {
    let heads = std::fs::read_to_string(repository().join("config/heads.toml")).unwrap();
    let demo = demo::generate(demo::SEED, &toml::from_str(&heads).unwrap()).unwrap();
    let packs = packs();
    let kinds: BTreeMap<&str, &demo::DemoFile> = demo.files.iter().map(|file| (file.path.as_str(), file)).collect();

    let truth = String::from_utf8(demo.contents["truth/truth.csv"].clone()).unwrap();
    let mut truth_rows: BTreeMap<(String, usize), usize> = BTreeMap::new();
    for line in truth.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        truth_rows.insert((cells[0].to_owned(), cells[2].parse().unwrap()), cells[1].parse().unwrap());
    }

    for recorded in &demo.recorded {
        let path = recorded.session.path();
        let name = path.rsplit('/').next().unwrap();
        let Recognition::Match { pack, .. } = packs.recognise(name, &demo.contents[&path]) else {
            panic!("{path} is recognised by no pack, or by several")
        };
        let bay = recorded.session.bay;
        let device = bay.device();
        assert_eq!(pack.name(), device.name, "{path}");
        let parsed = pack.parse(name, &demo.contents[&path], &site(bay));
        assert_eq!(parsed.rows_seen as usize, recorded.shots.len(), "{path}");
        let concerned: std::collections::BTreeSet<i64> = parsed.problems.iter().map(|problem| problem.line).collect();
        assert_eq!(concerned.len(), kinds[path.as_str()].broken, "{path}: {:?}", parsed.problems);

        for taken in parsed.shots.iter().filter(|taken| !concerned.contains(&taken.source_row)) {
            let number: usize = taken.shot_text.as_deref().unwrap().parse().unwrap();
            let real = &recorded.shots[number - 1];
            let row = taken.source_row as usize;
            assert_eq!(row, truth_rows[&(path.clone(), number)], "{path} shot {number}");
            assert_eq!(taken.bay.as_deref(), Some(bay.id()));
            assert_eq!(taken.environment.as_deref(), Some(if bay.is_outdoor() { "outdoor" } else { "indoor" }));
            assert_eq!(taken.struck_at, real.at.timestamp_micros(), "{path} shot {number}");
            assert_eq!(taken.intent, real.intent);
            assert_eq!(taken.club_id.as_deref(), Some(real.club_id));
            assert_eq!(taken.player_text.as_deref().map(str::to_lowercase).as_deref(), Some(real.logged_as));
            assert!(
                taken.measures.implausible().is_empty(),
                "{path} shot {number}: {:?}",
                taken.measures.implausible()
            );
            for quantity in Quantity::all() {
                let (Some(sd), Some(value)) = (device.measured_sd(quantity), taken.measures.get(quantity)) else {
                    continue;
                };
                let truth = real.truth.truth(quantity, device.face_reference).unwrap();
                // Normal noise leaves six deviations once in half a billion draws; rounding adds a twentieth of a unit.
                let error = (value - truth).abs();
                assert!(error < 6.0 * sd + 0.06, "{path} shot {number} {}: {value}, really {truth}", quantity.name());
            }
        }
    }
}

#[test]
fn the_packs_state_the_deviations_that_the_generator_draws_with() {
    let packs = packs();
    for device in Bay::ALL.map(Bay::device) {
        let rows = packs.pack(device.name).unwrap().devices();
        for quantity in Quantity::all() {
            let row = rows.iter().find(|row| row.quantity == quantity.name() && row.measured);
            let stated = row.and_then(|row| row.standard_deviation);
            match (stated, device.measured_sd(quantity)) {
                (Some(stated), Some(drawn)) => {
                    assert!((stated - drawn).abs() < 1e-9, "{} {}", device.name, quantity.name());
                }
                (None, None) => {}
                other => panic!("{} {}: {other:?}", device.name, quantity.name()),
            }
        }
    }
}

#[test]
fn every_file_is_what_it_is_said_to_be() {
    let heads = std::fs::read_to_string(repository().join("config/heads.toml")).unwrap();
    let demo = demo::generate(demo::SEED, &toml::from_str(&heads).unwrap()).unwrap();
    let packs = packs();
    for file in &demo.files {
        let name = file.path.rsplit('/').next().unwrap();
        let bay = Bay::ALL.into_iter().find(|bay| file.path.starts_with(bay.folder())).unwrap();
        let recognition = packs.recognise(name, &demo.contents[&file.path]);
        match (file.kind, recognition) {
            (FileKind::NoExport, Recognition::NoMatch { .. }) => {}
            (FileKind::NoExport, _) => panic!("{} passes for an export", file.path),
            (FileKind::StrikeMarks, Recognition::Match { pack, .. }) => {
                let parsed = pack.parse(name, &demo.contents[&file.path], &site(bay));
                assert_eq!((parsed.marks.len(), parsed.problems.len()), (file.marks, 0), "{:?}", parsed.problems);
                for (mark, truth) in parsed.marks.iter().zip(truth_of_marks(&demo, &file.path)) {
                    assert_eq!((mark.source_row, mark.bay.as_deref()), (truth.0, Some(bay.id())));
                    // Six deviations and half a millimetre of rounding.
                    let off = (mark.strike_toe_mm - truth.1).abs().max((mark.strike_up_mm.unwrap() - truth.2).abs());
                    assert!(off < 6.0 * mark.strike_sd_mm + 0.5, "{}:{}", file.path, truth.0);
                    assert!((mark.strike_sd_mm - demo::marks::READING_SD_MM).abs() < 1e-9);
                }
            }
            (_, Recognition::Match { pack, .. }) => {
                let parsed = pack.parse(name, &demo.contents[&file.path], &site(bay));
                assert_eq!(parsed.shots[0].bay.as_deref(), Some(bay.id()), "{}", file.path);
                let lost = parsed.problems.iter().filter(|problem| problem.severity == Severity::Rejected).count();
                assert!(lost <= file.broken && parsed.problem_share() <= pack.max_problem_share());
            }
            (_, _) => panic!("{} is not recognised", file.path),
        }
    }
}

/// Row, toe and up of every mark of a list.
fn truth_of_marks(demo: &demo::Demo, path: &str) -> Vec<(i64, f64, f64)> {
    let text = String::from_utf8(demo.contents["truth/marks.csv"].clone()).unwrap();
    let of_list = text.lines().map(|line| line.split(',').collect::<Vec<&str>>()).filter(|cells| cells[0] == path);
    of_list.map(|cells| (cells[1].parse().unwrap(), cells[5].parse().unwrap(), cells[6].parse().unwrap())).collect()
}
