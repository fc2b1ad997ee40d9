//! From parsed shots and marks to the rows of the lake, as recorded: whom they belong to is told by what amends them.

use std::collections::HashMap;

use shot::{MarkRow, NaturalKey, ParsedMark, ParsedShot, Problem, Recorded, Severity, ShotRow};

/// Quality code of rows of one file that share their natural key.
pub(crate) const SAME_KEY: &str = "same-key";

/// How many earlier rows of the same key a row is compared with; bounds the work on a file made of one key only.
const MOST_COMPARED: usize = 16;

/// What all rows of an import share.
#[derive(Debug, Clone)]
pub(crate) struct Origin {
    pub(crate) site_id: String,
    pub(crate) source_file_id: String,
    pub(crate) format: String,
    pub(crate) format_version: String,
    pub(crate) import_sequence: i64,
    pub(crate) imported_at: i64,
}

/// What shots and marks have in common where rows of one file are told apart.
trait Parsed: Clone + PartialEq {
    fn source_row(&self) -> i64;
    fn source_row_mut(&mut self) -> &mut i64;
    fn time_text(&self) -> &str;
    fn quality_mut(&mut self) -> &mut Vec<String>;
    fn identity(&self, origin: &Origin, ordinal: u32) -> String;
}

impl Parsed for ParsedShot {
    fn source_row(&self) -> i64 {
        self.source_row
    }
    fn source_row_mut(&mut self) -> &mut i64 {
        &mut self.source_row
    }
    fn time_text(&self) -> &str {
        &self.time_text
    }
    fn quality_mut(&mut self) -> &mut Vec<String> {
        &mut self.quality
    }
    fn identity(&self, origin: &Origin, ordinal: u32) -> String {
        shot::shot_id(&NaturalKey {
            site_id: &origin.site_id,
            format: &origin.format,
            session_text: self.session_text.as_deref(),
            shot_text: self.shot_text.as_deref(),
            bay: self.bay.as_deref(),
            time_text: &self.time_text,
            ordinal,
        })
    }
}

impl Parsed for ParsedMark {
    fn source_row(&self) -> i64 {
        self.source_row
    }
    fn source_row_mut(&mut self) -> &mut i64 {
        &mut self.source_row
    }
    fn time_text(&self) -> &str {
        &self.time_text
    }
    fn quality_mut(&mut self) -> &mut Vec<String> {
        &mut self.quality
    }
    fn identity(&self, origin: &Origin, ordinal: u32) -> String {
        shot::mark_id(&NaturalKey {
            site_id: &origin.site_id,
            format: &origin.format,
            session_text: self.session_text.as_deref(),
            shot_text: self.mark_text.as_deref(),
            bay: self.bay.as_deref(),
            time_text: &self.time_text,
            ordinal,
        })
    }
}

/// The rows of one file with their identities, and the problems that show only when its rows are seen together.
///
/// Two different rows with one natural key are two shots; an exact repetition of a row is one shot written twice.
fn told_apart<P: Parsed>(parsed: Vec<P>, origin: &Origin) -> (Vec<(String, P)>, Vec<Problem>) {
    let mut rows: Vec<(String, P)> = Vec::with_capacity(parsed.len());
    let mut problems = Vec::new();
    let mut positions_by_key: HashMap<String, Vec<usize>> = HashMap::with_capacity(parsed.len());
    for row in parsed {
        let positions = positions_by_key.entry(row.identity(origin, 0)).or_default();
        let twin = positions.iter().rev().take(MOST_COMPARED).find(|position| is_repetition(&rows[**position].1, &row));
        if let Some(twin) = twin {
            problems.push(repetition(&row, rows[*twin].1.source_row()));
            continue;
        }
        let ordinal = u32::try_from(positions.len()).unwrap_or(u32::MAX);
        positions.push(rows.len());
        rows.push((row.identity(origin, ordinal), row));
    }
    for positions in positions_by_key.values().filter(|positions| positions.len() > 1) {
        for position in positions {
            rows[*position].1.quality_mut().push(SAME_KEY.to_owned());
        }
    }
    (rows, problems)
}

/// The shots of one file.
pub(crate) fn shot_rows(parsed: Vec<ParsedShot>, origin: &Origin) -> (Vec<ShotRow>, Vec<Problem>) {
    let (rows, problems) = told_apart(parsed, origin);
    let mut shots = Vec::with_capacity(rows.len());
    for (shot_id, shot) in rows {
        let recorded = Recorded {
            player_id: recorded_player(shot.player_text.as_deref(), origin),
            hand: shot.hand,
            club_id: shot.club_id.clone(),
            club_kind: shot.club_kind.clone(),
            intent: shot.intent,
        };
        shots.push(ShotRow {
            shot_id,
            site_id: origin.site_id.clone(),
            player_id: recorded.player_id.clone(),
            parsed: shot,
            recorded,
            source_file_id: origin.source_file_id.clone(),
            format: origin.format.clone(),
            format_version: origin.format_version.clone(),
            import_sequence: origin.import_sequence,
            imported_at: origin.imported_at,
        });
    }
    (shots, problems)
}

/// The strike marks of one file.
pub(crate) fn mark_rows(parsed: Vec<ParsedMark>, origin: &Origin) -> (Vec<MarkRow>, Vec<Problem>) {
    let (rows, problems) = told_apart(parsed, origin);
    let mut marks = Vec::with_capacity(rows.len());
    for (mark_id, mark) in rows {
        let recorded_player_id = recorded_player(mark.player_text.as_deref(), origin);
        marks.push(MarkRow {
            mark_id,
            site_id: origin.site_id.clone(),
            player_id: recorded_player_id.clone(),
            recorded_player_id,
            parsed: mark,
            source_file_id: origin.source_file_id.clone(),
            format: origin.format.clone(),
            format_version: origin.format_version.clone(),
            import_sequence: origin.import_sequence,
            imported_at: origin.imported_at,
        });
    }
    (marks, problems)
}

fn recorded_player(text: Option<&str>, origin: &Origin) -> Option<String> {
    text.map(|text| shot::placeholder_player(&origin.site_id, text))
}

fn is_repetition<P: Parsed>(earlier: &P, later: &P) -> bool {
    let mut at_the_same_place = later.clone();
    *at_the_same_place.source_row_mut() = earlier.source_row();
    at_the_same_place == *earlier
}

fn repetition(row: &impl Parsed, first_row: i64) -> Problem {
    Problem {
        severity: Severity::Rejected,
        line: row.source_row(),
        column: None,
        text: Problem::cut(row.time_text()),
        rule: "repeated-row".into(),
        message: format!("the row repeats row {first_row} in every value"),
        hint: "nothing to do: it is counted once".into(),
    }
}

#[cfg(test)]
mod tests {
    use shot::{Intent, Measures};

    use super::*;

    fn parsed(source_row: i64, shot_text: &str, quality: &str) -> ParsedShot {
        ParsedShot {
            source_row,
            bay: None,
            session_text: Some("S1".into()),
            shot_text: Some(shot_text.into()),
            player_text: Some(" WREN 01 ".into()),
            hand: None,
            club_id: None,
            club_kind: None,
            ball_kind: None,
            intent: Intent::Play,
            time_text: "t".into(),
            struck_at: 1,
            local_date: 0,
            zone: "Etc/UTC".into(),
            environment: None,
            measures: Measures::default(),
            strike_source: None,
            quality: vec![quality.into()],
        }
    }

    fn origin() -> Origin {
        Origin {
            site_id: "north".into(),
            source_file_id: "f".into(),
            format: "pack".into(),
            format_version: "1".into(),
            import_sequence: 1,
            imported_at: 2,
        }
    }

    #[test]
    fn different_rows_of_one_key_stay_apart_and_repetitions_count_once() {
        let shots = vec![parsed(2, "1", "a"), parsed(3, "1", "b"), parsed(4, "1", "a"), parsed(5, "2", "a")];
        let (rows, problems) = shot_rows(shots, &origin());
        let ids: std::collections::HashSet<&str> = rows.iter().map(|row| row.shot_id.as_str()).collect();
        assert_eq!((rows.len(), ids.len()), (3, 3));
        let flagged: Vec<bool> =
            rows.iter().map(|row| row.parsed.quality.iter().any(|code| code == SAME_KEY)).collect();
        assert_eq!(flagged, [true, true, false]);
        assert_eq!(problems.iter().map(|problem| problem.line).collect::<Vec<_>>(), [4]);
        let (again, _) = shot_rows(vec![parsed(9, "1", "a")], &origin());
        assert_eq!(again[0].shot_id, rows[0].shot_id, "the first row keeps its identity in another export");
    }

    #[test]
    fn rows_bear_what_the_device_said() {
        let (rows, _) = shot_rows(vec![parsed(2, "1", "a")], &origin());
        let placeholder = shot::placeholder_player("north", "Wren 01");
        assert_eq!(rows[0].recorded.player_id.as_deref(), Some(placeholder.as_str()));
        assert_eq!(rows[0].player_id, rows[0].recorded.player_id);
    }

    #[test]
    fn marks_are_told_apart_as_shots_are() {
        let mark = ParsedMark {
            source_row: 2,
            bay: Some("1".into()),
            session_text: None,
            mark_text: Some("7".into()),
            player_text: Some("Wren".into()),
            club_id: None,
            time_text: "10:00".into(),
            noted_at: 1,
            local_date: 0,
            zone: "Etc/UTC".into(),
            time_sd_s: 1.0,
            strike_toe_mm: 3.0,
            strike_up_mm: None,
            strike_sd_mm: 2.0,
            quality: Vec::new(),
        };
        let other = ParsedMark { source_row: 3, strike_toe_mm: -4.0, ..mark.clone() };
        let again = ParsedMark { source_row: 4, ..mark.clone() };
        let (rows, problems) = mark_rows(vec![mark, other, again], &origin());
        assert_eq!((rows.len(), problems.len()), (2, 1));
        assert_ne!(rows[0].mark_id, rows[1].mark_id);
        assert!(rows.iter().all(|row| row.parsed.quality == [SAME_KEY]));
    }
}
