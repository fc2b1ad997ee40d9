//! Proving a pack against its own samples.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use shot::{ParsedShot, Quantity};

use crate::context::{ParseLimits, SiteContext};
use crate::mark::PackKind;
use crate::pack::{Pack, ParsedFile};
use crate::proof_mark;
use crate::recognise::score_of;

/// Numbers of `expected.csv` are written to four decimals; anything nearer than half of the last one is equal. The hair on top
/// lets a value that lies exactly on the half round either way.
pub(crate) const TOLERANCE: f64 = 0.5e-4 + 1e-9;

pub(crate) const TEXT_COLUMNS: [&str; 13] = [
    "bay",
    "session",
    "shot",
    "player",
    "hand",
    "club_id",
    "club_kind",
    "ball_kind",
    "intent",
    "struck_at",
    "local_date",
    "environment",
    "quality",
];

/// What testing a pack found.
#[derive(Debug, Clone, PartialEq)]
pub struct PackTestReport {
    /// Name of the pack.
    pub pack: String,
    /// Version of the pack.
    pub version: String,
    /// The samples, by name.
    pub samples: Vec<SampleReport>,
    /// Everything that differs; empty where the pack is proven.
    pub differences: Vec<Difference>,
}

/// What one sample held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SampleReport {
    /// File name of the sample.
    pub file: String,
    /// Rows seen.
    pub rows_seen: u64,
    /// Rows taken.
    pub shots: usize,
    /// Rows taken of a pack of strike marks.
    pub marks: usize,
    /// Problems, rejecting and noted.
    pub problems: usize,
}

/// One difference between what was expected and what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// File name of the sample, or `expected.csv`.
    pub file: String,
    /// Line in that file; 0 = the whole file.
    pub line: i64,
    /// Column of `expected.csv`.
    pub column: String,
    /// What was expected.
    pub expected: String,
    /// What was found.
    pub found: String,
}

impl PackTestReport {
    /// Whether nothing differs.
    pub fn passed(&self) -> bool {
        self.differences.is_empty()
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Difference { file, line, column, expected, found } = self;
        let shown = |text: &str| if text.is_empty() { "nothing".to_owned() } else { format!("\"{text}\"") };
        write!(out, "{file}:{line}: {column}: expected {}, found {}", shown(expected), shown(found))
    }
}

impl fmt::Display for PackTestReport {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = if self.passed() { "ok" } else { "DIFFERS" };
        write!(out, "{} {}: {verdict}", self.pack, self.version)?;
        for sample in &self.samples {
            let SampleReport { file, rows_seen, shots, marks, problems } = sample;
            let taken = if *marks > 0 { format!("{marks} marks") } else { format!("{shots} shots") };
            write!(out, "\n  {file}: {rows_seen} rows, {taken}, {problems} problems")?;
        }
        for difference in &self.differences {
            write!(out, "\n  {difference}")?;
        }
        Ok(())
    }
}

/// Parses the samples of a pack and compares them with its `expected.csv`: every expected row and problem must be found, and
/// nothing else. A sample named `sample-NAME` is read as a file named `NAME`, so that file name patterns are proven too.
pub fn test_pack(pack: &Pack) -> PackTestReport {
    let site = SiteContext {
        site_id: "test".to_owned(),
        zone: pack.proof.zone,
        bay: pack.proof.bay.clone(),
        environment: pack.proof.environment.clone(),
        limits: ParseLimits::default(),
        hands: Arc::clone(&pack.proof.hands),
    };
    let mut proof = Proof { differences: Vec::new() };
    let mut samples = Vec::new();
    if pack.proof.samples.is_empty() {
        proof.differs("sample.*", 0, "file", "a sample", "");
    }
    let expected = proof.expected_rows(pack);
    for (file, bytes) in &pack.proof.samples {
        let name = file.strip_prefix("sample-").unwrap_or(file);
        let score = score_of(pack, name, bytes);
        if score.score < 50 {
            proof.differs(file, 0, "recognised", "at least 50 points", &format!("{}: {}", score.score, score.because));
        }
        let parsed = pack.parse(name, bytes, &site);
        samples.push(SampleReport {
            file: file.clone(),
            rows_seen: parsed.rows_seen,
            shots: parsed.shots.len(),
            marks: parsed.marks.len(),
            problems: parsed.problems.len(),
        });
        let rows = expected.get(file.as_str()).map_or(&[][..], Vec::as_slice);
        match pack.kind() {
            PackKind::Shots => proof.compare(file, &parsed, rows),
            PackKind::StrikeMarks => proof.compare_marks(file, &parsed, rows),
        }
    }
    for file in expected.keys().filter(|file| !pack.proof.samples.iter().any(|(name, _)| name == *file)) {
        proof.differs("expected.csv", 0, "sample", file, "");
    }
    PackTestReport { pack: pack.name.clone(), version: pack.version.clone(), samples, differences: proof.differences }
}

/// A row of `expected.csv`: column and text.
pub(crate) type ExpectedRow = BTreeMap<String, String>;

pub(crate) struct Proof {
    differences: Vec<Difference>,
}

impl Proof {
    pub fn differs(&mut self, file: &str, line: i64, column: &str, expected: &str, found: &str) {
        self.differences.push(Difference {
            file: file.to_owned(),
            line,
            column: column.to_owned(),
            expected: expected.to_owned(),
            found: found.to_owned(),
        });
    }

    /// The expected rows by sample.
    fn expected_rows(&mut self, pack: &Pack) -> BTreeMap<String, Vec<ExpectedRow>> {
        let mut rows: BTreeMap<String, Vec<ExpectedRow>> = BTreeMap::new();
        let Some(text) = &pack.proof.expected else {
            self.differs("expected.csv", 0, "file", "the expected rows", "");
            return rows;
        };
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        let header = match reader.headers() {
            Ok(header) => header.clone(),
            Err(error) => {
                self.differs("expected.csv", 1, "header", "a header row", &error.to_string());
                return rows;
            }
        };
        let special = ["sample", "source_row", "problem"];
        for column in &header {
            if pack.kind() == PackKind::StrikeMarks {
                proof_mark::check_column(self, column);
            } else if !special.contains(&column)
                && !TEXT_COLUMNS.contains(&column)
                && Quantity::from_name(column).is_none()
            {
                self.differs("expected.csv", 1, "header", "a column of shots", column);
            }
        }
        let only_sample = pack.proof.samples.first().map(|(name, _)| name.as_str()).unwrap_or_default();
        for record in reader.records() {
            match record {
                Ok(record) => {
                    let row: ExpectedRow =
                        header.iter().map(str::to_owned).zip(record.iter().map(str::to_owned)).collect();
                    let sample = row.get("sample").map_or(only_sample, String::as_str).to_owned();
                    rows.entry(sample).or_default().push(row);
                }
                Err(error) => self.differs("expected.csv", 0, "row", "a row as wide as the header", &error.to_string()),
            }
        }
        rows
    }

    fn compare(&mut self, file: &str, parsed: &ParsedFile, expected: &[ExpectedRow]) {
        let mut open_problems: BTreeSet<(i64, &str)> =
            parsed.problems.iter().map(|problem| (problem.line, problem.rule.as_str())).collect();
        let mut open_shots: BTreeMap<i64, &ParsedShot> =
            parsed.shots.iter().map(|shot| (shot.source_row, shot)).collect();
        for row in expected {
            let Some(line) = row.get("source_row").and_then(|text| text.parse::<i64>().ok()) else {
                self.differs(
                    "expected.csv",
                    0,
                    "source_row",
                    "a line number",
                    row.get("source_row").map_or("", |text| text),
                );
                continue;
            };
            let rules = row.get("problem").map_or("", String::as_str);
            for rule in rules.split(';').filter(|rule| !rule.is_empty()) {
                if !open_problems.remove(&(line, rule)) {
                    self.differs(file, line, "problem", rule, "");
                }
            }
            match open_shots.remove(&line) {
                Some(shot) => self.compare_shot(file, line, shot, row),
                // A row that is nothing but a problem expects no shot.
                None if rules.is_empty() => self.differs(file, line, "row", "a shot", ""),
                None => {}
            }
        }
        for line in open_shots.into_keys() {
            self.differs(file, line, "row", "", "a shot");
        }
        for (line, rule) in open_problems {
            self.differs(file, line, "problem", "", rule);
        }
    }

    fn compare_shot(&mut self, file: &str, line: i64, shot: &ParsedShot, row: &ExpectedRow) {
        for (column, expected) in row {
            if let Some(quantity) = Quantity::from_name(column) {
                let found = shot.measures.get(quantity);
                let wanted: Option<f64> = expected.parse().ok();
                let equal = match (wanted, found) {
                    (Some(wanted), Some(found)) => (wanted - found).abs() <= TOLERANCE,
                    (None, None) => expected.is_empty(),
                    _ => false,
                };
                if !equal {
                    self.differs(
                        file,
                        line,
                        column,
                        expected,
                        &found.map_or(String::new(), |value| format!("{value:.4}")),
                    );
                }
            } else if TEXT_COLUMNS.contains(&column.as_str()) {
                let found = text_of(shot, column);
                if found != *expected {
                    self.differs(file, line, column, expected, &found);
                }
            }
        }
    }
}

pub(crate) fn text_of(shot: &ParsedShot, column: &str) -> String {
    let plain = |text: &Option<String>| text.clone().unwrap_or_default();
    match column {
        "bay" => plain(&shot.bay),
        "session" => plain(&shot.session_text),
        "shot" => plain(&shot.shot_text),
        "player" => plain(&shot.player_text),
        "hand" => shot.hand.map(|hand| hand.sign().to_string()).unwrap_or_default(),
        "club_id" => plain(&shot.club_id),
        "club_kind" => plain(&shot.club_kind),
        "ball_kind" => plain(&shot.ball_kind),
        "intent" => shot.intent.word().to_owned(),
        "struck_at" => chrono::DateTime::from_timestamp_micros(shot.struck_at)
            .map(|instant| instant.format("%Y-%m-%dT%H:%M:%S%.fZ").to_string())
            .unwrap_or_default(),
        "local_date" => chrono::NaiveDate::default()
            .checked_add_signed(chrono::TimeDelta::days(i64::from(shot.local_date)))
            .map(|day| day.to_string())
            .unwrap_or_default(),
        "environment" => plain(&shot.environment),
        "quality" => shot.quality.join(";"),
        _ => String::new(),
    }
}
