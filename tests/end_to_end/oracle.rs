//! The oracle test: devices drop exports with known rows in every awkward way while the daemon is killed again and again. At the
//! end every row of every accepted file stands in the lake exactly once, and every other file waits or stands in quarantine.
//!
//! `STRIKEMILL_PROOF_SEED`, `STRIKEMILL_PROOF_FILES` and `STRIKEMILL_PROOF_KILLS` make it another, a longer or a harsher run.

mod draws;
mod exports;
mod generator;
mod truth;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::Duration;

use tempfile::TempDir;

use crate::home::{Daemon, files_below, fresh_home_below, rows, strikemill, until, without_shipped_jobs, words};
use draws::Draws;
use generator::Generator;
use truth::{Truth, sha256};

const LANES: usize = 4;
const LONG: Duration = Duration::from_mins(5);

/// A small job, so that kills also hit a job's publication; its figures must be those of the lake in the end.
const JOB: &str = r#"name = "rows_a_day"
version = "1"
description = "Shots a day"

[[inputs]]
dataset = "shots"

[trigger]
after_import = true
debounce_s = 1

[output]
dataset = "rows_a_day"
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
const JOB_QUERY: &str = "SELECT site_id, local_date, count(*) AS shots FROM shots GROUP BY site_id, local_date\n";

fn setting(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap_or_else(|_| panic!("{name}={text} is no number")))
}

/// A home whose jobs are quick and whose packs include the one of this proof. It lies in memory where it can: a killed process
/// loses nothing that it wrote, and so many files would otherwise wait for the disk.
fn home_of_proof() -> TempDir {
    let memory = Path::new("/dev/shm");
    let home = fresh_home_below(if memory.is_dir() { memory.to_owned() } else { std::env::temp_dir() }.as_path());
    let pack = home.path().join("plugins/formats/proof-rows");
    std::fs::create_dir_all(&pack).expect("a folder for the pack");
    std::fs::write(pack.join("format.toml"), exports::PACK).expect("the pack");
    without_shipped_jobs(home.path());
    let job = home.path().join("plugins/jobs/rows_a_day");
    std::fs::create_dir_all(&job).expect("a folder for the job");
    std::fs::write(job.join("job.toml"), JOB).expect("the job");
    std::fs::write(job.join("query.sql"), JOB_QUERY).expect("its query");
    home
}

#[test]
fn every_row_of_every_accepted_file_stands_once_however_often_the_daemon_is_killed() {
    let seed = setting("STRIKEMILL_PROOF_SEED", u64::from(std::process::id()) ^ 0x5EED_0000);
    let files = usize::try_from(setting("STRIKEMILL_PROOF_FILES", 1_000)).expect("a number of files");
    let kills_wanted = setting("STRIKEMILL_PROOF_KILLS", 25);
    println!("STRIKEMILL_PROOF_SEED={seed} STRIKEMILL_PROOF_FILES={files} STRIKEMILL_PROOF_KILLS={kills_wanted}");
    let folder = home_of_proof();
    let home = folder.path();
    let mut generators = Vec::new();
    for lane in 0..LANES {
        let mut generator = Generator::new(home, seed, lane);
        generators.push(std::thread::spawn(move || {
            generator.run(files / LANES);
            generator.truth
        }));
    }

    let mut draws = Draws::new(seed ^ 0xDEAD);
    let mut kills = 0;
    let mut looks_between = 0;
    let mut faults = Vec::new();
    while kills < kills_wanted || generators.iter().any(|generator| !generator.is_finished()) {
        let mut daemon = Daemon::start(home);
        // Now and then so early that it dies while it still finishes what the last one left.
        let (least, most) = if draws.in_hundred(25) { (10, 250) } else { (250, 2_500) };
        std::thread::sleep(Duration::from_millis(draws.between(least, most) as u64));
        daemon.signal("KILL");
        assert!(!daemon.wait(Duration::from_secs(10)), "a killed process does not end well");
        kills += 1;
        if kills % 8 == 0 {
            faults.extend(twice_in_the_lake(home));
            looks_between += 1;
        }
    }
    let mut truth = Truth::default();
    for generator in generators {
        truth.join(generator.join().expect("a generator that ends well"));
    }

    let mut daemon = Daemon::start(home);
    until("only what must wait in the import folders", home, LONG, || still_there(home) == truth.waiting);
    let shots = truth.required.len();
    until("the job's figures of all shots", home, LONG, || {
        let counted = rows(home, "SELECT coalesce(sum(shots), 0) AS n FROM rows_a_day");
        counted[0]["n"].as_i64() == i64::try_from(shots).ok()
    });
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "a clean end\n{}", log_of(home));
    faults.extend(compare(home, &truth));
    let counted = |word: &str| faults.iter().filter(|fault| fault.contains(word)).count();
    println!(
        "{:<40}{kills:>6} tried while {} files came in, {:>8} rows offered, {} lost, {} doubled",
        "kills at random moments",
        truth.files,
        truth.rows_offered,
        counted("is lost"),
        counted("times in the lake") + counted("twice in the lake")
    );
    println!("{shots} rows to stand, {looks_between} looks between kills, {} faults", faults.len());
    if !faults.is_empty() {
        let kept = folder.keep();
        faults.truncate(40);
        panic!("seed {seed}, home kept at {}\n{}", kept.display(), faults.join("\n"));
    }
}

fn log_of(home: &Path) -> String {
    std::fs::read_to_string(home.join("daemon.log")).unwrap_or_default()
}

fn still_there(home: &Path) -> BTreeSet<PathBuf> {
    files_below(&home.join("import")).into_iter().collect()
}

/// What a reader of the lake would see doubled at this moment, with the daemon dead in the middle of anything.
fn twice_in_the_lake(home: &Path) -> Vec<String> {
    let sql = "SELECT shot_id FROM shots GROUP BY shot_id HAVING count(*) > 1";
    let output = strikemill(&["query", sql, "--output", "json", "--home", &home.display().to_string()]);
    // Before the first publication there is no lake to ask.
    if !output.status.success() {
        let said = words(&output);
        let nothing_yet = said.contains("nothing was imported") || said.contains("not found");
        return if nothing_yet {
            Vec::new()
        } else {
            vec![format!("between two kills the lake cannot be read: {said}")]
        };
    }
    let found: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    found.iter().map(|row| format!("between two kills, twice in the lake: {row}")).collect()
}

/// Everything that is not as the generators know it.
fn compare(home: &Path, truth: &Truth) -> Vec<String> {
    let mut faults = Vec::new();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let sql =
        "SELECT format, session_id, bay, CAST(struck_at AS VARCHAR) AS instant, ball_speed_mps AS speed FROM shots";
    for row in rows(home, sql) {
        let text = |column: &str| row[column].as_str().unwrap_or_default().to_owned();
        let identity = if text("format") == "plain-imperial" {
            format!("{}@{}", text("bay"), text("instant"))
        } else {
            text("session_id")
        };
        match truth.required.get(&identity) {
            None => faults.push(format!("unknown row in the lake: {row}")),
            // Values pass through text and back, nothing else.
            Some(speed) if (row["speed"].as_f64().unwrap_or(f64::NAN) - speed).abs() < 1e-6 => {}
            Some(speed) => faults.push(format!("{identity}: not the last reading, which was {speed}: {row}")),
        }
        *seen.entry(identity).or_default() += 1;
    }
    for (identity, times) in &seen {
        if *times > 1 {
            faults.push(format!("{identity} stands {times} times in the lake"));
        }
    }
    faults
        .extend(truth.required.keys().filter(|known| !seen.contains_key(*known)).map(|lost| format!("{lost} is lost")));

    let mut imports: BTreeMap<String, usize> = BTreeMap::new();
    for row in rows(home, "SELECT source_file_id AS id FROM imports") {
        *imports.entry(row["id"].as_str().unwrap_or_default().to_owned()).or_default() += 1;
    }
    faults.extend(imports.iter().filter(|(_, times)| **times > 1).map(|(id, _)| format!("{id} twice in imports")));
    let archived = hashes_below(&home.join("archive"));
    for (id, name) in &truth.accepted {
        if !imports.contains_key(id) {
            faults.push(format!("{name} ({id}) is not in imports"));
        }
        if !archived.contains_key(id) {
            faults.push(format!("{name} ({id}): its bytes are not in the archive"));
        }
    }

    let quarantined = hashes_below(&home.join("quarantine"));
    for (id, name) in &truth.refused {
        let Some(path) = quarantined.get(id) else {
            faults.push(format!("{name} ({id}) is not in quarantine"));
            continue;
        };
        let beside: Vec<PathBuf> = files_below(path.parent().expect("a folder"));
        let reason = beside.iter().find(|path| path.to_string_lossy().ends_with(".reason.json"));
        let text = reason.map(|path| std::fs::read_to_string(path).unwrap_or_default()).unwrap_or_default();
        let told = serde_json::from_str::<serde_json::Value>(&text).unwrap_or_default();
        if told["reason"].as_str().is_none_or(str::is_empty) {
            faults.push(format!("{name} ({id}): no reason stands beside it in quarantine"));
        }
    }
    for (id, path) in quarantined.iter().filter(|(id, _)| !truth.refused.contains_key(*id)) {
        faults.push(format!("{} ({id}) should not be in quarantine", path.display()));
    }
    faults
}

/// The files below a folder by their SHA-256, without the reasons that stand beside refused ones and without what a killed
/// process was just writing under a temporary name.
fn hashes_below(folder: &Path) -> BTreeMap<String, PathBuf> {
    let files = files_below(folder).into_iter().filter(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        !name.ends_with(".reason.json") && !files::is_temporary_name(&name)
    });
    files.map(|path| (sha256(&std::fs::read(&path).expect("a kept file")), path)).collect()
}
