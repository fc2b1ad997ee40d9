//! Proving a pack against its own samples.

use std::collections::BTreeMap;
use std::sync::Arc;

use shot::{ParsedShot, Problem, Quantity, Severity};

use crate::context::{ParseLimits, SiteContext};
use crate::encoding::{self, Encoding};
use crate::lines::Lines;
use crate::mark::PackKind;
use crate::pack::{Pack, ParsedFile};
use crate::proof_mark;
use crate::proof_report::{Difference, PackTestReport, SampleReport};
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
    let mut proof = Proof::default();
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
        proof.compare_counts(file, &parsed, rows);
        match pack.kind() {
            PackKind::Shots => proof.compare(file, &parsed, rows),
            PackKind::StrikeMarks => proof.compare_marks(file, &parsed, rows),
        }
    }
    for file in expected.keys().filter(|file| !pack.proof.samples.iter().any(|(name, _)| name == *file)) {
        proof.differs("expected.csv", 0, "sample", file, "");
    }
    let differences = proof.in_order(&pack.proof.samples);
    PackTestReport { pack: pack.name.clone(), version: pack.version.clone(), samples, differences }
}

/// Problems that were found and that no expected row has named yet: line and rule, with severity and message. Of a rule that
/// was broken twice in a line the graver one counts.
pub(crate) struct OpenProblems<'a>(BTreeMap<(i64, &'a str), &'a Problem>);

impl<'a> OpenProblems<'a> {
    pub fn of(parsed: &'a ParsedFile) -> OpenProblems<'a> {
        let mut open = BTreeMap::new();
        for problem in &parsed.problems {
            let known = open.entry((problem.line, problem.rule.as_str())).or_insert(problem);
            if problem.severity == Severity::Rejected {
                *known = problem;
            }
        }
        OpenProblems(open)
    }

    /// Takes a problem as `expected.csv` writes it: a rule, or `rule:severity`. The error is what stands in its place.
    fn take(&mut self, line: i64, written: &'a str) -> Result<(), String> {
        let (rule, severity) = match written.split_once(':') {
            Some((rule, severity)) => (rule, Some(severity)),
            None => (written, None),
        };
        match self.0.remove(&(line, rule)) {
            None => Err(String::new()),
            Some(problem) if severity.is_some_and(|word| word != problem.severity.word()) => {
                Err(format!("{rule}:{}", problem.severity.word()))
            }
            Some(_) => Ok(()),
        }
    }
}

/// A row of `expected.csv`: column and text.
pub(crate) type ExpectedRow = BTreeMap<String, String>;

#[derive(Default)]
pub(crate) struct Proof {
    differences: Vec<Difference>,
    /// Columns of `expected.csv`, in its order.
    columns: Vec<String>,
}

impl Proof {
    pub fn differs(&mut self, file: &str, line: i64, column: &str, expected: &str, found: &str) {
        self.differences.push(Difference {
            file: file.to_owned(),
            line,
            column: column.to_owned(),
            expected: expected.to_owned(),
            found: found.to_owned(),
            text: String::new(),
        });
    }

    /// The differences by sample, line and column, with the text of each line.
    fn in_order(self, samples: &[(String, Vec<u8>)]) -> Vec<Difference> {
        let Proof { mut differences, columns } = self;
        let sample = |file: &str| samples.iter().position(|(name, _)| name == file);
        let column = |name: &str| columns.iter().position(|known| known == name);
        // What concerns the whole pack has no sample, what concerns the whole row no column: both come first.
        differences.sort_by_key(|difference| (sample(&difference.file), difference.line, column(&difference.column)));
        for difference in &mut differences {
            if let Some((_, bytes)) = samples.iter().find(|(name, _)| *name == difference.file) {
                difference.text = line_text(bytes, difference.line).unwrap_or_default();
            }
        }
        differences
    }

    /// How many rows there are comes before what is in them: one row too many shifts nothing, but explains the rest.
    fn compare_counts(&mut self, file: &str, parsed: &ParsedFile, expected: &[ExpectedRow]) {
        let only_problem = |row: &&ExpectedRow| {
            let filled = row.iter().filter(|(_, text)| !text.is_empty());
            filled
                .map(|(column, _)| column.as_str())
                .all(|column| ["sample", "source_row", "problem"].contains(&column))
                && row.get("problem").is_some_and(|rules| !rules.is_empty())
        };
        let wanted = expected.iter().filter(|row| !only_problem(row)).count();
        let found = parsed.shots.len() + parsed.marks.len();
        if wanted != found {
            self.differs(file, 0, "rows taken", &wanted.to_string(), &found.to_string());
        }
    }

    /// Compares the problems of one expected row.
    pub fn compare_problems<'a>(&mut self, file: &str, line: i64, rules: &'a str, open: &mut OpenProblems<'a>) {
        for rule in rules.split(';').filter(|rule| !rule.is_empty()) {
            if let Err(found) = open.take(line, rule) {
                self.differs(file, line, "problem", rule, &found);
            }
        }
    }

    /// Tells the problems that no expected row named.
    pub fn tell_open(&mut self, file: &str, open: OpenProblems<'_>) {
        for ((line, rule), problem) in open.0 {
            self.differs(file, line, "problem", "", &format!("{rule} ({})", problem.message));
        }
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
        self.columns = header.iter().map(str::to_owned).collect();
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
        let mut open_problems = OpenProblems::of(parsed);
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
            self.compare_problems(file, line, rules, &mut open_problems);
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
        self.tell_open(file, open_problems);
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

/// The text of a line of a sample; nothing for packed files.
fn line_text(bytes: &[u8], line: i64) -> Option<String> {
    let packed: [&[u8]; 4] = [b"PK\x03\x04", b"PAR1", b"ARROW1", &[0xff; 4]];
    if line < 1 || packed.iter().any(|start| bytes.starts_with(start)) {
        return None;
    }
    let encodings = [Encoding::Utf8, Encoding::Utf16Le, Encoding::Utf16Be, Encoding::Windows1252];
    let text = encoding::decode(bytes, &encodings, true).ok()?;
    let place = Lines::new(&text).find(|found| found.number == line)?;
    Some(text[place.start..place.end].to_owned())
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
