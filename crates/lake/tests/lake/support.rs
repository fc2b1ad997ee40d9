//! Shots, segments and looks at a lake, for all tests.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{ErrorKind, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use arrow::array::{Array, Float64Array, Int64Array, RecordBatch, StringArray};
use files::{DurableWriter, FileError, Files, SealedFile, is_temporary_name, sha256_of_bytes};
use lake::shelf::{PutIf, ShelfEntry, ShelfStat};
use lake::{FolderShelf, Lake, Provenance, Segment, SegmentHeader, Shelf};
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

/// Objects by key: the bytes, and how often the key was written.
type Objects = Arc<Mutex<BTreeMap<String, (Vec<u8>, u64)>>>;

/// A home in a temporary folder. Its lake is a folder in it, or a shelf in memory that stands for an object store.
pub struct Place {
    pub folder: tempfile::TempDir,
    objects: Option<Objects>,
}

impl Place {
    /// A place of the kind that this binary tests.
    pub fn new() -> Place {
        crate::new_place()
    }

    pub fn in_folder() -> Place {
        Place { folder: tempfile::tempdir().expect("a folder"), objects: None }
    }

    pub fn on_shelf() -> Place {
        Place { folder: tempfile::tempdir().expect("a folder"), objects: Some(Objects::default()) }
    }

    /// A place with a copy of all files of another.
    pub fn copy_of(other: &Place) -> Place {
        let place = if other.objects.is_some() { Place::on_shelf() } else { Place::in_folder() };
        copy_folder(other.folder.path(), place.folder.path());
        if let (Some(from), Some(to)) = (&other.objects, &place.objects) {
            to.lock().expect("the objects").clone_from(&from.lock().expect("the objects"));
        }
        place
    }

    pub fn root(&self) -> PathBuf {
        self.folder.path().join("lake")
    }

    pub fn staging(&self) -> PathBuf {
        self.folder.path().join("staging")
    }

    /// The shelf in memory; its acts count and fail with those of `files`.
    pub fn shelf(&self, files: &Files) -> MemoryShelf {
        let objects = self.objects.clone().expect("a place on a shelf");
        let uploads = self.folder.path().join("uploads");
        MemoryShelf { files: files.clone(), root: self.root(), uploads, objects, rival: None }
    }

    pub fn open(&self, files: Files) -> Lake {
        let opened = if self.objects.is_some() {
            Lake::open_on(Arc::new(self.shelf(&files)), files, &self.staging(), "north")
        } else {
            Lake::open(files, &self.root(), &self.staging(), "north")
        };
        opened.expect("the lake opens")
    }

    pub fn open_to_read(&self) -> Lake {
        let files = Files::new();
        let opened = if self.objects.is_some() {
            Lake::open_on_to_read(Arc::new(self.shelf(&files)), files, &self.staging(), "north")
        } else {
            Lake::open_to_read(files, &self.root(), &self.staging(), "north")
        };
        opened.expect("the lake opens")
    }

    pub fn lake(&self) -> Lake {
        self.open(Files::new())
    }

    fn plain_shelf(&self) -> Box<dyn Shelf> {
        if self.objects.is_some() {
            Box::new(self.shelf(&Files::new()))
        } else {
            Box::new(FolderShelf::new(Files::new(), &self.root()))
        }
    }

    /// The bytes of a published file; `None` where none stands.
    pub fn published(&self, key: &str) -> Option<Vec<u8>> {
        self.plain_shelf().read(key, u64::MAX).expect("read")
    }

    /// Puts bytes under a key as a person would, replacing what stands there.
    pub fn put(&self, key: &str, bytes: &[u8]) {
        self.plain_shelf().put(key, bytes, &PutIf::Always).expect("written");
    }

    pub fn remove(&self, key: &str) {
        self.plain_shelf().remove(key).expect("removed");
    }

    /// The keys of all published files, sorted.
    pub fn keys(&self) -> Vec<String> {
        match &self.objects {
            Some(objects) => objects.lock().expect("the objects").keys().cloned().collect(),
            None => all_files(&self.root()),
        }
    }
}

/// Published files in memory, as an object store would keep them: no folders, no renames, whole objects only.
#[derive(Debug, Clone)]
pub struct MemoryShelf {
    files: Files,
    root: PathBuf,
    uploads: PathBuf,
    objects: Objects,
    /// What another writer puts under a key while ours shows its first file.
    pub rival: Option<(String, Vec<u8>)>,
}

impl MemoryShelf {
    /// Counts one act, which the fault plan may let fail before anything happened.
    fn count(&self, key: &str) -> Result<(), FileError> {
        self.files.stat(&self.root.join(key)).map(|_| ())
    }

    fn insert(&self, key: &str, bytes: Vec<u8>) {
        let mut objects = self.objects.lock().expect("the objects");
        let version = objects.values().map(|(_, version)| *version).max().unwrap_or(0) + 1;
        objects.insert(key.to_owned(), (bytes, version));
    }

    fn bytes(&self, key: &str) -> Option<Vec<u8>> {
        self.objects.lock().expect("the objects").get(key).map(|(bytes, _)| bytes.clone())
    }

    fn error(&self, operation: &'static str, key: &str, kind: ErrorKind) -> FileError {
        FileError::new(operation, &self.root.join(key), kind.into())
    }
}

impl Shelf for MemoryShelf {
    fn root(&self) -> &Path {
        &self.root
    }

    fn stat(&self, key: &str) -> Result<Option<ShelfStat>, FileError> {
        self.count(key)?;
        let objects = self.objects.lock().expect("the objects");
        let stat =
            |(bytes, version): &(Vec<u8>, u64)| ShelfStat { bytes: bytes.len() as u64, version: version.to_string() };
        Ok(objects.get(key).map(stat))
    }

    fn list(&self, folder: &str) -> Result<Vec<ShelfEntry>, FileError> {
        self.count(folder)?;
        let prefix = if folder.is_empty() { String::new() } else { format!("{folder}/") };
        let mut entries = BTreeMap::new();
        for key in self.objects.lock().expect("the objects").keys() {
            let Some(rest) = key.strip_prefix(&prefix) else { continue };
            let (name, is_folder) = rest.split_once('/').map_or((rest, false), |(name, _)| (name, true));
            entries.insert(name.to_owned(), is_folder);
        }
        Ok(entries.into_iter().map(|(name, is_folder)| ShelfEntry { name, is_folder }).collect())
    }

    fn read(&self, key: &str, most_bytes: u64) -> Result<Option<Vec<u8>>, FileError> {
        self.count(key)?;
        match self.bytes(key) {
            Some(bytes) if bytes.len() as u64 > most_bytes => Err(self.error("read", key, ErrorKind::FileTooLarge)),
            other => Ok(other),
        }
    }

    fn open(&self, key: &str) -> Result<File, FileError> {
        self.count(key)?;
        let bytes = self.bytes(key).ok_or_else(|| self.error("open", key, ErrorKind::NotFound))?;
        let mut file = tempfile::tempfile().expect("a file");
        file.write_all(&bytes).and_then(|()| file.rewind()).expect("written");
        Ok(file)
    }

    fn sha256(&self, key: &str) -> Result<String, FileError> {
        self.count(key)?;
        let bytes = self.bytes(key).ok_or_else(|| self.error("hash", key, ErrorKind::NotFound))?;
        Ok(sha256_of_bytes(&bytes))
    }

    fn put(&self, key: &str, bytes: &[u8], condition: &PutIf) -> Result<bool, FileError> {
        let standing = self.stat(key)?.map(|stat| stat.version);
        let holds = match condition {
            PutIf::Always => true,
            PutIf::Absent => standing.is_none(),
            PutIf::Version(version) => standing.as_ref() == Some(version),
        };
        if holds {
            self.insert(key, bytes.to_vec());
        }
        Ok(holds)
    }

    fn begin(&self, key: &str) -> Result<DurableWriter, FileError> {
        self.files.create_dir_all(&self.uploads)?;
        self.files.writer(&self.uploads.join(key.replace('/', "+")))
    }

    fn show(&self, key: &str, sealed: SealedFile) -> Result<(), FileError> {
        let bytes = self.files.read(sealed.temporary_path(), u64::MAX)?;
        self.count(key)?;
        self.insert(key, bytes);
        if let Some((key, bytes)) = &self.rival {
            self.insert(key, bytes.clone());
        }
        Ok(()) // dropping `sealed` removes the local file
    }

    fn freeze(&self, key: &str, frozen: &str, sha256: &str) -> Result<(), FileError> {
        if self.sha256(key)? != sha256 {
            // The frozen name may hold other bytes too; which of the two is told first does not matter.
            return Err(self.error("freeze", key, ErrorKind::InvalidData));
        }
        self.count(frozen)?;
        let bytes = self.bytes(key).ok_or_else(|| self.error("freeze", key, ErrorKind::NotFound))?;
        match self.bytes(frozen) {
            None => self.insert(frozen, bytes),
            Some(other) if other != bytes => return Err(self.error("freeze", frozen, ErrorKind::AlreadyExists)),
            Some(_) => {}
        }
        Ok(())
    }

    fn remove(&self, key: &str) -> Result<(), FileError> {
        self.count(key)?;
        self.objects.lock().expect("the objects").remove(key);
        Ok(())
    }

    fn clear_unfinished(&self, _folders: &[String], _root_names: &str) -> Result<(), FileError> {
        self.files.remove_dir_all(&self.uploads)
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
        assert!(place.published(&file.path).is_some(), "{context}: {}", file.path);
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
        let bytes = place.published(&frozen).expect(context);
        assert_eq!(sha256_of_bytes(&bytes), file.sha256, "{context}: {frozen}");
        named.push(frozen);
    }
    named.sort();
    assert_eq!(frozen_files(place), named, "{context}");
}

pub const MOMENTS: &str = "site=north/moments/";

/// What stands in the folder of frozen files, relative to the lake.
pub fn frozen_files(place: &Place) -> Vec<String> {
    place.keys().into_iter().filter(|key| key.starts_with(MOMENTS)).collect()
}
