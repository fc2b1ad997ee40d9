//! A small site for tests: a home in a temporary folder, the shipped mapping packs, time as the test says.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{Array, AsArray, RecordBatch};
use chrono::{DateTime, TimeDelta, Utc};
use files::Files;
use formats::PackSet;
use intake::{Intake, IntakeSettings, Roster, ScanReport};
use lake::Lake;
use ledger::Ledger;
use shot::TableSchema;

pub const HEADER: &str = "No,Date,Clock,Golfer,Implement,Purpose,Head Pace,Up/Down,Sweep,Aim of Face,Ball Pace,Rise,Start Line,\
    Total Turn,Axis Lean,Landed,Off Line\n,M/D/Y,local,,,,mph,deg,deg,deg,mph,deg,deg,rpm,deg,yd,yd\n";

/// One good row of the pack `plain-imperial`.
pub fn row(number: u32, golfer: &str) -> String {
    format!(
        "{number},4/12/2026,3:{:02}:09 PM,{golfer},Driver,Play,97.3,-1.2,2.1,0.4,141.8,12.6,1.3,2650,-5.2,231.4,-6.3\n",
        number % 60
    )
}

/// An export of the pack `plain-imperial` with these shot numbers.
pub fn export(numbers: std::ops::Range<u32>) -> String {
    let mut text = HEADER.to_owned();
    for number in numbers {
        let _ = write!(text, "{}", row(number, "Wren"));
    }
    text
}

pub struct Site {
    /// `None` where another process owns the home.
    _folder: Option<tempfile::TempDir>,
    pub home: PathBuf,
    pub packs: Arc<PackSet>,
    pub roster: Arc<Roster>,
}

/// A running intake and what it stands on.
pub struct Running {
    pub intake: Intake,
    pub ledger: Arc<Ledger>,
    pub lake: Arc<Lake>,
}

impl Site {
    pub fn new() -> Site {
        let (packs, faults) = PackSet::load(&packs_folder());
        assert_eq!(faults, [], "the shipped packs are sound");
        Site::with_packs(packs)
    }

    pub fn with_packs(packs: PackSet) -> Site {
        // In memory where it can be: thousands of homes would otherwise wait for the disk.
        let memory = Path::new("/dev/shm");
        let place = if memory.is_dir() { memory.to_owned() } else { std::env::temp_dir() };
        let folder = tempfile::tempdir_in(place).expect("a temporary folder");
        let home = folder.path().join("home");
        for name in ["import", "state"] {
            std::fs::create_dir_all(home.join(name)).expect("a folder");
        }
        Site { _folder: Some(folder), home, packs: Arc::new(packs), roster: Arc::new(Roster::default()) }
    }

    /// A site whose home another process made.
    pub fn in_home(home: PathBuf) -> Site {
        let (packs, _) = PackSet::load(&packs_folder());
        Site { _folder: None, home, packs: Arc::new(packs), roster: Arc::new(Roster::default()) }
    }

    pub fn settings(&self) -> IntakeSettings {
        IntakeSettings::at_home(&self.home, "north", chrono_tz::America::New_York)
    }

    /// Starts as the program does: ledger, lake, intake.
    pub fn try_start(&self, files: &Files) -> Result<Running, Box<dyn std::error::Error>> {
        let settings = self.settings();
        let ledger = Arc::new(Ledger::open(&self.home.join("state").join("ledger.sqlite"))?);
        let lake = Lake::open(files.clone(), &settings.lake_dir, &settings.staging_dir, &settings.site_id)?;
        let lake = Arc::new(lake);
        let intake = Intake::open(
            settings,
            files.clone(),
            Arc::clone(&ledger),
            Arc::clone(&lake),
            Arc::clone(&self.packs),
            Arc::clone(&self.roster),
        )?;
        Ok(Running { intake, ledger, lake })
    }

    pub fn start(&self) -> Running {
        self.try_start(&Files::new()).expect("a start without faults")
    }

    pub fn drop_file(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.home.join("import").join(name);
        std::fs::write(&path, content).expect("a file in the import folder");
        path
    }

    /// All files below a folder of the home, relative to it, except temporary ones.
    pub fn tree(&self, folder: &str) -> Vec<String> {
        let root = self.home.join(folder);
        let mut found = Vec::new();
        walk(&root, &root, &mut found);
        found.sort();
        found
    }
}

fn walk(root: &Path, folder: &Path, found: &mut Vec<String>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            walk(root, &path, found);
        } else if !path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.')) {
            found.push(path.strip_prefix(root).expect("below the root").to_string_lossy().into_owned());
        }
    }
}

pub fn packs_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/formats")
}

/// A moment of the test's clock.
pub fn at(seconds: i64) -> DateTime<Utc> {
    let start = DateTime::parse_from_rfc3339("2026-11-20T10:00:00Z").expect("an instant").with_timezone(&Utc);
    start + TimeDelta::seconds(seconds)
}

impl Running {
    /// Two looks that span the quiet period. Answers what the second one did.
    pub fn settle_and_scan(&self, from: i64) -> ScanReport {
        self.intake.scan_once(at(from)).expect("the first look");
        self.intake.scan_once(at(from + 4)).expect("the second look")
    }

    pub fn rows(&self, schema: &TableSchema) -> Vec<RecordBatch> {
        let mut batches = Vec::new();
        for month in self.lake.partitions(&schema.name).expect("partitions") {
            batches.extend(self.lake.read_partition(schema, month).expect("a partition"));
        }
        batches
    }

    /// A text column of all rows; null reads as `-`.
    pub fn texts(&self, schema: &TableSchema, column: &str) -> Vec<String> {
        let mut values = Vec::new();
        for batch in self.rows(schema) {
            let texts = batch.column_by_name(column).expect("the column").as_string::<i32>();
            values.extend(
                (0..texts.len()).map(
                    |row| {
                        if texts.is_valid(row) { texts.value(row).to_owned() } else { "-".to_owned() }
                    },
                ),
            );
        }
        values
    }

    /// Identities of all shots, sorted.
    pub fn shot_ids(&self) -> Vec<String> {
        let mut ids = self.texts(&shot::shots(), "shot_id");
        ids.sort();
        ids
    }
}
