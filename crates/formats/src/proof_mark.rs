//! Proving a pack of strike marks against its own samples.

use std::collections::BTreeMap;

use shot::ParsedMark;

use crate::pack::ParsedFile;
use crate::proof::{ExpectedRow, OpenProblems, Proof, TOLERANCE};

const NUMBER_COLUMNS: [&str; 4] = ["time_sd_s", "strike_toe_mm", "strike_up_mm", "strike_sd_mm"];
const TEXT_COLUMNS: [&str; 8] = ["mark", "session", "bay", "player", "club_id", "noted_at", "local_date", "quality"];

/// Says so where `expected.csv` has a column that marks do not have.
pub(crate) fn check_column(proof: &mut Proof, column: &str) {
    let known = ["sample", "source_row", "problem"].into_iter().chain(NUMBER_COLUMNS).chain(TEXT_COLUMNS);
    if !known.into_iter().any(|name| name == column) {
        proof.differs("expected.csv", 1, "header", "a column of strike marks", column);
    }
}

impl Proof {
    /// Every expected row and problem must be found, and nothing else.
    pub fn compare_marks(&mut self, file: &str, parsed: &ParsedFile, expected: &[ExpectedRow]) {
        let mut open_problems = OpenProblems::of(parsed);
        let mut open_marks: BTreeMap<i64, &ParsedMark> =
            parsed.marks.iter().map(|mark| (mark.source_row, mark)).collect();
        for row in expected {
            let cell = |column: &str| row.get(column).map_or("", String::as_str);
            let Ok(line) = cell("source_row").parse::<i64>() else {
                self.differs("expected.csv", 0, "source_row", "a line number", cell("source_row"));
                continue;
            };
            let rules = cell("problem");
            self.compare_problems(file, line, rules, &mut open_problems);
            match open_marks.remove(&line) {
                Some(mark) => self.compare_mark(file, line, mark, row),
                // A row that is nothing but a problem expects no mark.
                None if rules.is_empty() => self.differs(file, line, "row", "a strike mark", ""),
                None => {}
            }
        }
        for line in open_marks.into_keys() {
            self.differs(file, line, "row", "", "a strike mark");
        }
        self.tell_open(file, open_problems);
    }

    fn compare_mark(&mut self, file: &str, line: i64, mark: &ParsedMark, row: &ExpectedRow) {
        for (column, expected) in row {
            if NUMBER_COLUMNS.contains(&column.as_str()) {
                let found = number_of(mark, column);
                let equal = match (expected.parse::<f64>().ok(), found) {
                    (Some(wanted), Some(found)) => (wanted - found).abs() <= TOLERANCE,
                    (None, None) => expected.is_empty(),
                    _ => false,
                };
                if !equal {
                    let found = found.map_or(String::new(), |value| format!("{value:.4}"));
                    self.differs(file, line, column, expected, &found);
                }
            } else if TEXT_COLUMNS.contains(&column.as_str()) {
                let found = text_of(mark, column);
                if found != *expected {
                    self.differs(file, line, column, expected, &found);
                }
            }
        }
    }
}

fn number_of(mark: &ParsedMark, column: &str) -> Option<f64> {
    match column {
        "time_sd_s" => Some(mark.time_sd_s),
        "strike_toe_mm" => Some(mark.strike_toe_mm),
        "strike_up_mm" => mark.strike_up_mm,
        "strike_sd_mm" => Some(mark.strike_sd_mm),
        _ => None,
    }
}

fn text_of(mark: &ParsedMark, column: &str) -> String {
    let plain = |text: &Option<String>| text.clone().unwrap_or_default();
    match column {
        "mark" => plain(&mark.mark_text),
        "session" => plain(&mark.session_text),
        "bay" => plain(&mark.bay),
        "player" => plain(&mark.player_text),
        "club_id" => plain(&mark.club_id),
        "noted_at" => chrono::DateTime::from_timestamp_micros(mark.noted_at)
            .map(|instant| instant.format("%Y-%m-%dT%H:%M:%S%.fZ").to_string())
            .unwrap_or_default(),
        "local_date" => chrono::NaiveDate::default()
            .checked_add_signed(chrono::TimeDelta::days(i64::from(mark.local_date)))
            .map(|day| day.to_string())
            .unwrap_or_default(),
        "quality" => mark.quality.join(";"),
        _ => String::new(),
    }
}
