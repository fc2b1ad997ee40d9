//! Shots, segments and looks at a lake, for all tests.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use arrow::array::{Array, Float64Array, Int64Array, RecordBatch, StringArray};
use files::{Files, is_temporary_name};
use lake::{Lake, Provenance, Segment, SegmentHeader};
use shot::{
    ImportRow, Intent, Measures, Month, ParsedShot, Problem, Quantity, RejectRow, Severity, ShotRow, TableSchema,
};

/// Days of three months: 2026-01-01 is day 20454 of 1970 [derived: 56 years with 14 leap days].
pub const JANUARY: i32 = 20_454;
pub const FEBRUARY: i32 = JANUARY + 31;
pub const MARCH: i32 = FEBRUARY + 28;

#[allow(clippy::unnecessary_wraps)] // the form in which partitions are named
pub fn month(number: u32) -> Option<Month> {
    Some(Month { year: 2026, month: number })
}

pub fn provenance() -> Provenance {
    Provenance {
        writer: "strikemill test".into(),
        run_id: "run-1".into(),
        created_micros: 1_767_225_600_000_000,
        extra: vec![("inputs".into(), "none".into())],
    }
}

/// A shot as a test thinks of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Hit {
    pub id: String,
    pub day: i32,
    pub speed: f64,
}

pub fn hit(id: &str, day: i32, speed: f64) -> Hit {
    Hit { id: id.into(), day, speed }
}

pub fn shot_rows(sequence: i64, source: &str, hits: &[Hit]) -> RecordBatch {
    let mut rows = Vec::new();
    for (position, hit) in (0_i64..).zip(hits) {
        let mut measures = Measures::default();
        measures.set(Quantity::BallSpeedMps, Some(hit.speed));
        let parsed = ParsedShot {
            source_row: position + 1,
            bay: Some("1".into()),
            session_text: Some("S".into()),
            shot_text: Some(hit.id.clone()),
            player_text: None,
            hand: None,
            club_id: Some("driver".into()),
            club_kind: Some("driver".into()),
            ball_kind: None,
            intent: Intent::Play,
            time_text: "t".into(),
            struck_at: i64::from(hit.day) * 86_400_000_000 + position,
            local_date: hit.day,
            zone: "Etc/UTC".into(),
            environment: None,
            measures,
            strike_source: None,
            quality: Vec::new(),
        };
        rows.push(ShotRow {
            shot_id: hit.id.clone(),
            site_id: "north".into(),
            player_id: (position % 2 == 0).then(|| "wren".to_owned()),
            parsed,
            recorded: shot::Recorded::default(),
            source_file_id: source.into(),
            format: "pack".into(),
            format_version: "1".into(),
            import_sequence: sequence,
            imported_at: sequence,
        });
    }
    shot::shots_batch(&rows).expect("shots fit their schema")
}

fn import_rows(sequence: i64, source: &str, day: i32) -> RecordBatch {
    let row = ImportRow {
        source_file_id: source.into(),
        site_id: "north".into(),
        file_name: format!("{source}.csv"),
        file_bytes: 100,
        format: "pack".into(),
        format_version: "1".into(),
        rows_accepted: 1,
        rows_rejected: 1,
        first_struck_at: None,
        last_struck_at: None,
        local_date: day,
        import_sequence: sequence,
        imported_at: sequence,
        duration_s: 0.5,
    };
    shot::imports_batch(&[row]).expect("imports fit their schema")
}

fn reject_rows(sequence: i64, source: &str, day: i32) -> RecordBatch {
    let problem = Problem {
        severity: Severity::Rejected,
        line: 3,
        column: None,
        text: "x".into(),
        rule: "not-a-number".into(),
        message: "is no number".into(),
        hint: "look".into(),
    };
    let row = RejectRow {
        site_id: "north".into(),
        source_file_id: source.into(),
        file_name: format!("{source}.csv"),
        format: "pack".into(),
        format_version: "1".into(),
        problem,
        local_date: day,
        import_sequence: sequence,
        imported_at: sequence,
    };
    shot::rejects_batch(&[row]).expect("rejects fit their schema")
}

pub struct Place {
    pub folder: tempfile::TempDir,
}

impl Place {
    pub fn new() -> Place {
        Place { folder: tempfile::tempdir().expect("a folder") }
    }

    /// A place with a copy of all files of another.
    pub fn copy_of(other: &Place) -> Place {
        let place = Place::new();
        copy_folder(other.folder.path(), place.folder.path());
        place
    }

    pub fn root(&self) -> PathBuf {
        self.folder.path().join("lake")
    }

    pub fn staging(&self) -> PathBuf {
        self.folder.path().join("staging")
    }

    pub fn open(&self, files: Files) -> Lake {
        Lake::open(files, &self.root(), &self.staging(), "north").expect("the lake opens")
    }

    pub fn lake(&self) -> Lake {
        self.open(Files::new())
    }
}

fn copy_folder(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).expect("a folder") {
        let entry = entry.expect("an entry");
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            fs::create_dir_all(&target).expect("a folder");
            copy_folder(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("a copy");
        }
    }
}

pub fn header(sequence: i64, source: &str) -> SegmentHeader {
    SegmentHeader {
        import_sequence: sequence,
        source_file_id: source.into(),
        file_name: format!("{source}.csv"),
        format: "pack".into(),
        format_version: "1".into(),
    }
}

pub fn tables(sequence: i64, source: &str, hits: &[Hit]) -> Vec<(TableSchema, RecordBatch)> {
    let day = hits.first().map_or(JANUARY, |hit| hit.day);
    vec![
        (shot::shots(), shot_rows(sequence, source, hits)),
        (shot::rejects(), reject_rows(sequence, source, day)),
        (shot::imports(), import_rows(sequence, source, day)),
    ]
}

pub fn stage(lake: &Lake, sequence: i64, source: &str, hits: &[Hit]) -> Segment {
    lake.stage(header(sequence, source), &tables(sequence, source, hits)).expect("staged")
}

/// All rows of a dataset as text lines, as they stand on disk, whatever the manifest tells.
pub fn lines(lake: &Lake, schema: &TableSchema, columns: &[&str]) -> Vec<String> {
    let mut lines = Vec::new();
    for month in lake.partitions(&schema.name).expect("listed") {
        for batch in lake.read_partition(schema, month).expect("every partition reads") {
            for row in 0..batch.num_rows() {
                let cells: Vec<String> = columns.iter().map(|name| cell(&batch, name, row)).collect();
                let month = month.map_or("-".to_owned(), |month| month.to_string());
                lines.push(format!("{month} {}", cells.join(" ")));
            }
        }
    }
    lines
}

fn cell(batch: &RecordBatch, column: &str, row: usize) -> String {
    let array = batch.column_by_name(column).expect("a column");
    let any = array.as_any();
    if array.is_null(row) {
        "null".into()
    } else if let Some(texts) = any.downcast_ref::<StringArray>() {
        texts.value(row).into()
    } else if let Some(numbers) = any.downcast_ref::<Int64Array>() {
        numbers.value(row).to_string()
    } else {
        any.downcast_ref::<Float64Array>().expect("a known type").value(row).to_string()
    }
}

/// Shots as month, id, sequence, speed, sorted.
pub fn shots(lake: &Lake) -> Vec<String> {
    let mut lines = lines(lake, &shot::shots(), &["shot_id", "import_sequence", "ball_speed_mps"]);
    lines.sort();
    lines
}

/// How often each shot stands in the lake.
pub fn times_seen(lake: &Lake) -> BTreeMap<String, usize> {
    let mut times = BTreeMap::new();
    for line in lines(lake, &shot::shots(), &["shot_id"]) {
        *times.entry(line[8..].to_owned()).or_insert(0) += 1;
    }
    times
}

/// Every file below a folder, relative.
pub fn all_files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(path) = waiting.pop() {
        let Ok(entries) = fs::read_dir(&path) else { continue };
        for entry in entries {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                waiting.push(path);
            } else {
                found.push(path.strip_prefix(folder).expect("below").to_string_lossy().replace('\\', "/"));
            }
        }
    }
    found.sort();
    found
}

pub fn assert_sound(place: &Place, lake: &Lake, context: &str) {
    assert_eq!(lake.differences().expect("compared"), Vec::<String>::new(), "{context}");
    for file in all_files(place.folder.path()) {
        assert!(!file.split('/').any(is_temporary_name), "{context}: stray {file}");
    }
    for file in &lake.manifest().expect("a manifest").files {
        let path = place.root().join(&file.path);
        assert!(path.is_file(), "{context}: {}", path.display());
    }
    assert_frozen(place, lake, context);
}

/// Every live file has a frozen name with the bytes that the manifest tells, and nothing else stands among them but what the
/// manifest calls retired.
fn assert_frozen(place: &Place, lake: &Lake, context: &str) {
    let manifest = lake.manifest().expect("a manifest");
    let mut named: Vec<String> = manifest.retired.iter().map(|file| file.path.clone()).collect();
    for file in &manifest.files {
        let frozen = file.frozen.clone().expect("every live file has a frozen name");
        let hash = Files::new().sha256_of_file(&place.root().join(&frozen)).expect(context);
        assert_eq!(hash, file.sha256, "{context}: {frozen}");
        named.push(frozen);
    }
    named.sort();
    assert_eq!(frozen_files(place), named, "{context}");
}

/// What stands in the folder of frozen files, relative to the lake.
pub fn frozen_files(place: &Place) -> Vec<String> {
    all_files(&place.root()).into_iter().filter(|path| path.starts_with("site=north/moments/")).collect()
}
