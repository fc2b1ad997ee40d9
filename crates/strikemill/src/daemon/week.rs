//! Weeks in which the clocks change, lived through hour by hour: every shot once and on its day, every planned run and summary once,
//! whatever restarts fall in between.
//!
//! Zone rules: IANA time zone database, Europe/Dublin: UTC+1 from 2026-03-29 01:00 UTC to 2026-10-25 01:00 UTC, else UTC.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use ::intake::Intake;
use ::jobs::{Cron, Output, Runner};
use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, TimeDelta, Timelike, Utc};
use tempfile::TempDir;

use super::{LAST_SUMMARY, tell_failures, write_due_summaries};
use crate::daemon::pulse::Beat;
use crate::shipped::{make_home, shipped_folder};
use crate::studio::{Access, Studio};

/// Counts the shots of each day, at a time of night that one of the days lacks and another has twice.
const NIGHTLY: &str = r#"name = "nightly"
version = "1"
description = "Shots a day"

[[inputs]]
dataset = "shots"

[trigger]
cron = "30 1 * * *"

[output]
dataset = "nightly"
description = "one row a day"
key = ["site_id", "local_date"]
sort = ["local_date"]
partition_day = "local_date"

[[output.columns]]
name = "site_id"
type = "text"
description = "site whose daemon wrote the row"
required = true

[[output.columns]]
name = "local_date"
type = "day"
description = "day of the shots"
required = true

[[output.columns]]
name = "shots"
type = "integer"
description = "how many shots that day has"
required = true
"#;
const NIGHTLY_QUERY: &str = "SELECT site_id, local_date, count(*) AS shots FROM shots GROUP BY site_id, local_date\n";

const HEADER: &str = "No,Date,Clock,Golfer,Implement,Purpose,Head Pace,Up/Down,Sweep,Aim of Face,Ball Pace,Rise,Start Line,\
    Total Turn,Axis Lean,Landed,Off Line\n,M/D/Y,local,,,,mph,deg,deg,deg,mph,deg,deg,rpm,deg,yd,yd\n";

/// A week, its clock, and what the lake must hold of it.
struct Week {
    monday: NaiveDate,
    /// When the clocks of Dublin change, UTC.
    change: DateTime<Utc>,
    /// Hours that Dublin is ahead of UTC before and after.
    ahead: (i64, i64),
    /// Shots by local day.
    shots: BTreeMap<NaiveDate, usize>,
    /// Session texts of the shots whose device writes UTC.
    sessions: Vec<String>,
    number: usize,
}

impl Week {
    fn new(monday: &str, change: &str, ahead: (i64, i64)) -> Week {
        Week {
            monday: monday.parse().expect("a date"),
            change: DateTime::parse_from_rfc3339(change).expect("an instant").to_utc(),
            ahead,
            shots: BTreeMap::new(),
            sessions: Vec::new(),
            number: 0,
        }
    }

    /// The wall clock of Dublin.
    fn local(&self, instant: DateTime<Utc>) -> NaiveDateTime {
        let hours = if instant < self.change { self.ahead.0 } else { self.ahead.1 };
        (instant + TimeDelta::hours(hours)).naive_utc()
    }

    /// Midnight at which the week begins, and eight o'clock of the Monday after it.
    fn hours(&self) -> Vec<DateTime<Utc>> {
        let start = self.monday.and_hms_opt(0, 0, 0).expect("midnight").and_utc() - TimeDelta::hours(self.ahead.0);
        let end = self.monday.and_hms_opt(8, 0, 0).expect("a time").and_utc() + TimeDelta::days(7)
            - TimeDelta::hours(self.ahead.1);
        let mut hours = vec![start];
        while hours[hours.len() - 1] < end {
            hours.push(hours[hours.len() - 1] + TimeDelta::hours(1));
        }
        hours
    }

    /// What the devices write in one hour: two shots as UTC, and two with the time as it stands on the wall.
    fn drop_files(&mut self, home: &Path, hour: DateTime<Utc>) {
        let mut lines = String::new();
        let mut rows = HEADER.to_owned();
        for minute in [10, 40] {
            let instant = hour + TimeDelta::minutes(minute);
            let local = self.local(instant);
            self.number += 1;
            let (number, at_ms) = (self.number, instant.timestamp_millis());
            let _ = writeln!(
                lines,
                "{{\"session\":\"s-{number}\",\"shot\":1,\"at_ms\":{at_ms},\"bay\":\"3\",\"who\":\"wren\",\"tool\":\"DR\",\
                 \"purpose\":\"normal\",\"ball\":{{\"v\":61.5,\"up\":11.2,\"out\":-1.1,\"spin\":{{\"rate\":2700,\"tilt\":-4.0}}}},\
                 \"club\":{{\"v\":44.2,\"attack\":2.1,\"path\":-1.0,\"face\":0.4,\"loft\":13.2}}}}"
            );
            let clock = local.format("%-m/%-d/%Y,%-I:%M:%S %p");
            let _ = writeln!(
                rows,
                "{number},{clock},Wren,Driver,Play,97.3,-1.2,2.1,0.4,141.8,12.6,1.3,2650,-5.2,231.4,-6.3"
            );
            self.sessions.push(format!("s-{number}"));
            *self.shots.entry(local.date()).or_default() += 2;
        }
        let import = home.join("import");
        std::fs::write(import.join(format!("bay3/c3-{}.jsonl", self.number)), lines).expect("an export");
        std::fs::write(import.join(format!("bay2/session_{}_bay2.csv", self.number)), rows).expect("an export");
    }
}

fn home() -> TempDir {
    // In memory where it can be: nothing here asks whether a disk keeps its word.
    let memory = Path::new("/dev/shm");
    let place = if memory.is_dir() { memory.to_owned() } else { std::env::temp_dir() };
    let folder = TempDir::new_in(place).expect("a temporary folder");
    make_home(&shipped_folder().expect("the shipped files"), folder.path()).expect("a home");
    let job = folder.path().join("plugins/jobs/nightly");
    std::fs::create_dir_all(&job).expect("a folder");
    std::fs::write(job.join("job.toml"), NIGHTLY).expect("the job");
    std::fs::write(job.join("query.sql"), NIGHTLY_QUERY).expect("its query");
    folder
}

fn rows(studio: &Studio, sql: &str) -> Vec<serde_json::Value> {
    let mut out = Vec::new();
    studio.engine(100_000).expect("an engine").execute(sql, Output::Json, &mut out).expect("a query");
    serde_json::from_slice(&out).expect("JSON")
}

/// The daemon's parts between two restarts.
struct Awake {
    studio: Studio,
    intake: Intake,
    runner: Arc<Runner>,
    cron: Cron,
    beat: Beat,
}

impl Awake {
    /// Starts as the daemon does.
    fn new(home: &Path) -> Awake {
        let studio = Studio::open(home, Access::Write).expect("a studio");
        let intake = studio.intake().expect("intake");
        // Players and clubs stand in the lake from the first start on; when that was does not matter here.
        let start = DateTime::from_timestamp_micros(0).expect("an instant");
        intake.recover(start).expect("a recovery");
        intake.publish_dimensions(start).expect("dimensions");
        let runner = studio.runner().expect("a runner");
        let cron = Cron::parse(&studio.configuration.digest_cron).expect("five fields");
        Awake { studio, intake, runner, cron, beat: Beat::new() }
    }

    fn scan(&self, now: DateTime<Utc>) {
        let report = self.intake.scan_once(now).expect("a scan");
        assert!(report.troubles.is_empty() && report.quarantined == 0, "{now}: {report:?}");
    }
}

/// Lives through the week and answers the home's last state.
fn live(week: &mut Week, folder: &TempDir) -> Studio {
    let mut daemon = Some(Awake::new(folder.path()));
    let mut summaries_made: BTreeMap<(String, String), Vec<i64>> = BTreeMap::new();
    for (number, hour) in week.hours().into_iter().enumerate() {
        for look in 0..3 {
            // A restart now and then, also between two looks of one hour.
            if (number * 3 + look) % 13 == 0 {
                drop(daemon.take());
            }
            let awake = daemon.get_or_insert_with(|| Awake::new(folder.path()));
            let now = hour + TimeDelta::minutes([0, 20, 45][look]) + TimeDelta::seconds(5);
            if look == 2 {
                week.drop_files(folder.path(), hour);
                awake.scan(now);
            }
            awake.scan(now + TimeDelta::seconds(4));
            let at = now + TimeDelta::seconds(8);
            tell_failures(awake.runner.run_all_due(at.timestamp_micros())).expect("the schedule");
            write_due_summaries(&awake.studio, &awake.runner, &awake.cron, &awake.beat, at).expect("summaries");
            for digest in awake.studio.ledger.digests().expect("digests") {
                let made = summaries_made.entry((digest.week, digest.coach)).or_default();
                if made.last() != Some(&digest.made_at) {
                    made.push(digest.made_at);
                }
            }
        }
    }
    drop(daemon);
    let studio = Studio::open(folder.path(), Access::Write).expect("a studio");
    let of_the_week: Vec<_> =
        summaries_made.iter().filter(|((monday, _), _)| *monday == week.monday.to_string()).collect();
    assert!(!of_the_week.is_empty(), "there are coaches: {summaries_made:?}");
    // Six o'clock by Dublin's clock of that day, and the first look after it.
    let six = week.monday.and_hms_opt(6, 0, 0).expect("a time").and_utc() + TimeDelta::days(7)
        - TimeDelta::hours(week.ahead.1);
    for (of, made) in of_the_week {
        assert_eq!(*made, [(six + TimeDelta::seconds(13)).timestamp_micros()], "{of:?}: written once, at six");
    }
    let remembered = studio.ledger.remembered(LAST_SUMMARY).expect("the ledger");
    assert_eq!(remembered, Some(six.timestamp_micros().to_string()));
    studio
}

fn check(week: &Week, studio: &Studio, ambiguous: i64) {
    let found: BTreeMap<NaiveDate, usize> =
        rows(studio, "SELECT CAST(local_date AS VARCHAR) AS day, count(*) AS n FROM shots GROUP BY 1")
            .iter()
            .map(|row| {
                let count = usize::try_from(row["n"].as_u64().expect("a count")).expect("a count");
                (row["day"].as_str().expect("a day").parse().expect("a date"), count)
            })
            .collect();
    assert_eq!(found, week.shots, "every shot on its local day");
    let mut sessions: Vec<String> = rows(studio, "SELECT session_id AS s FROM shots WHERE session_id IS NOT NULL")
        .iter()
        .map(|row| row["s"].as_str().expect("a session").to_owned())
        .collect();
    sessions.sort();
    let mut expected = week.sessions.clone();
    expected.sort();
    assert_eq!(sessions, expected, "every shot once");
    let distinct = &rows(studio, "SELECT count(DISTINCT shot_id) AS n, count(*) AS m FROM shots")[0];
    assert_eq!(distinct["n"], distinct["m"]);
    let flagged = &rows(studio, "SELECT count(*) AS n FROM shots WHERE quality LIKE '%ambiguous-hour%'")[0];
    assert_eq!(flagged["n"], ambiguous, "the hour that came twice is told");

    // One planned run a night, by Dublin's calendar; the first look also owed the run before the week.
    let mut nights: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    for run in studio.ledger.last_runs(Some("nightly"), 1_000).expect("runs") {
        let nominal = run.start.nominal_time.expect("a planned run");
        let local = week.local(DateTime::from_timestamp_micros(nominal).expect("an instant"));
        assert!(local.hour() == 1 || local.hour() == 2, "{local}");
        *nights.entry(local.date()).or_default() += 1;
    }
    let days: Vec<NaiveDate> = (-1..8).map(|day| week.monday + TimeDelta::days(day)).collect();
    assert_eq!(nights, days.into_iter().map(|day| (day, 1)).collect(), "every planned run once");

    // The summary stands on the week's own shots.
    let iso = week.monday.iso_week();
    let pages = studio.configuration.place("digests").join(format!("{}-W{:02}", iso.year(), iso.week()));
    assert!(std::fs::read_dir(&pages).expect("pages of the week").count() > 0);
    let judged = rows(studio, "SELECT count(*) AS n FROM shot_verdicts");
    assert!(judged[0]["n"].as_i64().expect("a count") > 0);
    let offered: usize = week.shots.values().sum();
    let found: usize = found.values().sum();
    println!(
        "{:<40}{:>6} tried restarts and looks, {offered:>8} rows offered, {} lost, {} doubled",
        format!("week of {} at its clock change", week.monday),
        week.hours().len() * 3,
        offered.saturating_sub(found),
        found.saturating_sub(offered)
    );
}

#[test]
fn the_week_in_which_an_hour_comes_twice() {
    let mut week = Week::new("2026-10-19", "2026-10-25T01:00:00Z", (1, 0));
    let folder = home();
    let studio = live(&mut week, &folder);
    assert_eq!(week.shots[&"2026-10-25".parse().expect("a date")], 25 * 4, "the day had 25 hours");
    // Two hours, two shots each, by a device that writes the wall clock without an offset.
    check(&week, &studio, 4);
}

#[test]
fn the_week_that_lacks_an_hour() {
    let mut week = Week::new("2026-03-23", "2026-03-29T01:00:00Z", (0, 1));
    let folder = home();
    let studio = live(&mut week, &folder);
    assert_eq!(week.shots[&"2026-03-29".parse().expect("a date")], 23 * 4, "the day had 23 hours");
    check(&week, &studio, 0);
}
