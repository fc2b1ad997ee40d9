//! What people of a site do between imports: aliases, corrections, strike marks, and a look at what would happen.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::time::Duration;

use crate::home::{Daemon, files_below, fresh_home, rows, strikemill, until, words};

const HEADER: &str = "No,Date,Clock,Golfer,Implement,Purpose,Head Pace,Up/Down,Sweep,Aim of Face,Ball Pace,Rise,Start Line,\
    Total Turn,Axis Lean,Landed,Off Line\n,M/D/Y,local,,,,mph,deg,deg,deg,mph,deg,deg,rpm,deg,yd,yd\n";
const CORRECTIONS: &str = "action,file,from,to,bay,player,shot,value,note\n";
/// Seconds after three o'clock of a session's shots.
const STRUCK: [u32; 10] = [9, 50, 104, 142, 199, 271, 310, 386, 429, 507];

/// A session with the shipped pack `plain-imperial`, all by one golfer.
fn session(golfer: &str) -> String {
    let mut text = HEADER.to_owned();
    for (number, seconds) in (1..).zip(STRUCK) {
        let (minute, second) = (seconds / 60, seconds % 60);
        let _ = writeln!(
            text,
            "{number},4/12/2026,3:{minute:02}:{second:02} PM,{golfer},Driver,Play,97.3,-1.2,2.1,0.4,141.8,12.6,1.3,2650,-5.2,231.4,-6.3"
        );
    }
    text
}

/// The coach's list of the same shots, on a clock that is 40 s ahead.
fn list() -> String {
    let mut text = "Day: 2026-04-12\n====\nBall,Clock,Player,Club,Across,Height\n".to_owned();
    for (number, seconds) in (1_u32..).zip(STRUCK) {
        let ahead = seconds + 40;
        let _ = writeln!(text, "{number},15:{:02}:{:02},robin,D,{number} toe,1 low", ahead / 60, ahead % 60);
    }
    text
}

struct Place {
    home: tempfile::TempDir,
    exports: tempfile::TempDir,
}

impl Place {
    fn new() -> Place {
        Place { home: fresh_home(), exports: tempfile::TempDir::new().expect("a temporary folder") }
    }

    fn export(&self, name: &str, text: &str) -> PathBuf {
        let path = self.exports.path().join(name);
        std::fs::write(&path, text).expect("an export");
        path
    }

    fn import(&self, more: &[&str], path: &Path) -> Output {
        let (home, path) = (self.home.path().display().to_string(), path.display().to_string());
        strikemill(&[&["import", "--home", home.as_str()], more, &[path.as_str()]].concat())
    }

    fn status(&self) -> String {
        words(&strikemill(&["status", "--home", &self.home.path().display().to_string()]))
    }

    fn edit(&self, file: &str, change: impl FnOnce(String) -> String) {
        let path = self.home.path().join(file);
        let text = std::fs::read_to_string(&path).expect("a shipped file");
        std::fs::write(path, change(text)).expect("the file can be written");
    }

    /// How many rows; beside a daemon that is just writing, the program asks to be asked again.
    fn count(&self, sql: &str) -> i64 {
        let (home, sql) = (self.home.path().display().to_string(), format!("SELECT count(*) AS n FROM {sql}"));
        for _ in 0..20 {
            let output = strikemill(&["query", &sql, "--output", "json", "--home", &home]);
            if output.status.success() {
                let rows: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).expect("JSON");
                return rows[0]["n"].as_i64().expect("a number");
            }
            let said = words(&output);
            assert!(said.contains("run the query again") || said.contains("ask again"), "{sql}\n{said}");
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("{sql} was never answered");
    }
}

#[test]
fn an_alias_added_later_and_a_correction_reach_back_and_can_be_taken_back() {
    let place = Place::new();
    let export = place.export("session_1_bay2.csv", &session("Robin R."));
    let output = place.import(&[], &export);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(place.count("shots WHERE player_id LIKE 'unknown-%'"), 10);
    assert_eq!(place.count("shot_verdicts"), 0);
    let status = place.status();
    assert!(status.contains("Robin R.") && status.contains("not in the roster"), "{status}");
    assert!(status.contains("hint: add the name to the aliases"), "{status}");

    // From here on the daemon does it: it notices the files.
    let debounce = |text: String| text.replace("debounce_s = 20", "debounce_s = 1");
    place.edit("plugins/jobs/shot_verdicts/job.toml", debounce);
    let mut daemon = Daemon::start(place.home.path());
    let long = Duration::from_secs(90);
    let line = "robin,Robin,Robin R.,left,alder,,yes,driver=modern-driver,0,0\n";
    place.edit("config/roster.csv", |text| text + line);
    until("verdicts of Robin", place.home.path(), long, || {
        place.count("shot_verdicts WHERE player_id = 'robin'") == 10
    });
    assert_eq!(place.count("players WHERE player_id = 'robin'"), 1);
    assert_eq!(place.count("shots WHERE player_id = 'robin' AND hand = -1"), 10);
    assert!(!place.status().contains("Robin R."), "{}", place.status());

    place.edit("config/corrections.csv", |text| {
        text + "exclude,,2026-04-12 15:00,2026-04-12 15:02,2,,,,\nguest,,2026-04-12 15:05,,,Robin R.,,,\nexclude,,,,99,,,,\n"
    });
    until("seven verdicts less", place.home.path(), long, || place.count("shot_verdicts") == 3);
    assert_eq!(place.count("shots WHERE quality LIKE '%excluded%'"), 3);
    assert_eq!(place.count("shots WHERE quality LIKE '%guest%' AND player_id IS NULL"), 4);
    let status = place.status();
    assert!(status.contains("3 lines select 7 shots") && status.contains("selects no shot so far"), "{status}");

    place.edit("config/corrections.csv", |_| CORRECTIONS.to_owned());
    until("all verdicts again", place.home.path(), long, || place.count("shot_verdicts") == 10);
    assert_eq!(place.count("shots WHERE quality IS NULL AND player_id = 'robin'"), 10);
    place.edit("config/roster.csv", |text| text.replace(line, ""));
    until("nobody's verdicts", place.home.path(), long, || place.count("shot_verdicts") == 0);
    assert_eq!(place.count("shots WHERE player_id LIKE 'unknown-%' AND hand IS NULL"), 10);
    daemon.signal("TERM");
    assert!(daemon.wait(long), "a clean end");
}

#[test]
fn marks_are_linked_told_and_unlinked() {
    let place = Place::new();
    place.edit("config/roster.csv", |text| text + "robin,Robin,,right,alder,,yes,driver=modern-driver,0,0\n");
    let list = place.export("spray-a-bay2.csv", &list());
    let said = words(&place.import(&[], &list));
    assert!(said.contains("10 strike marks by spray-list"), "{said}");
    assert_eq!(place.count("strike_links WHERE fate = 'unmatched'"), 10);
    let export = place.export("session_1_bay2.csv", &session("Robin"));
    assert!(place.import(&[], &export).status.success());
    assert_eq!(place.count("strike_links WHERE fate = 'linked'"), 10);
    assert_eq!(place.count("shots WHERE strike_source = 'linked' AND quality = 'strike-linked'"), 10);
    assert_eq!(place.count("shot_verdicts WHERE strike_source = 'linked'"), 10);
    let clock = &rows(place.home.path(), "SELECT clock_offset_s AS s FROM bay_clocks")[0]["s"];
    assert!((clock.as_f64().expect("a clock") - 40.0).abs() < 2.0, "{clock}");
    let status = place.status();
    assert!(status.contains("strike marks") && status.contains("bay 2"), "{status}");

    // Nobody but Robin is on the list: a shot that somebody else hit loses its mark.
    place.edit("config/corrections.csv", |text| text + "player,,2026-04-12 15:02,2026-04-12 15:03,,,,wren,\n");
    assert!(place.import(&[], &export).status.success());
    assert_eq!(place.count("shots WHERE strike_toe_mm IS NULL AND player_id = 'wren'"), 1);
    assert_eq!(place.count("shots WHERE strike_source = 'linked'"), 9);
}

#[test]
fn a_dry_run_changes_nothing_and_answers_as_the_import_would() {
    let place = Place::new();
    let home = place.home.path();
    let look = |folder: &Path| -> Vec<(PathBuf, Vec<u8>)> {
        let mut files: Vec<_> = files_below(folder)
            .into_iter()
            .map(|path| {
                let bytes = std::fs::read(&path).expect("a file");
                (path, bytes)
            })
            .collect();
        files.sort();
        files
    };
    let export = place.export("session_1_bay2.csv", &session("Robin"));
    // Before the first import there is no ledger, and a dry run makes none.
    let before = look(home);
    let output = place.import(&["--dry-run"], &export);
    assert!(output.status.success(), "{}", words(&output));
    assert_eq!(look(home), before);
    let said = words(&output);
    assert!(said.contains("10 shots by plain-imperial") && said.contains("Robin"), "{said}");
    assert!(place.import(&[], &export).status.success());

    let junk = place.export("junk.bin", "no export at all\n");
    place.edit("config/corrections.csv", |text| text + "guest,session_2_bay2.csv,,,,,,,\n");
    let more = session("Wren").replace(",Driver,", ",Spade,");
    place.export("session_2_bay2.csv", &format!("{}{}", session("Wren"), more.lines().last().expect("a row")));
    let before = (look(home), look(place.exports.path()));
    let output = place.import(&["--dry-run"], place.exports.path());
    assert_eq!((look(home), look(place.exports.path())), before, "not a byte changed");
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "one file would be refused: {said}");
    for word in ["known", "refused", "points", "Spade", "of the corrections selects 10", "nothing was changed"] {
        assert!(said.contains(word), "{word} is missing in\n{said}");
    }
    assert!(said.contains("no mapping pack fits this file\n"), "no pack is near junk: {said}");
    assert!(junk.exists());
}
