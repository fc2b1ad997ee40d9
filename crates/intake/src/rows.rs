//! From parsed shots to the rows of the lake.

use std::collections::HashMap;

use shot::{NaturalKey, ParsedShot, Problem, Recorded, Severity, ShotRow};

use crate::Roster;

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

/// The rows of one file, and the problems that show only when its rows are seen together.
///
/// Two different rows with one natural key are two shots; an exact repetition of a row is one shot written twice.
pub(crate) fn shot_rows(parsed: Vec<ParsedShot>, origin: &Origin, roster: &Roster) -> (Vec<ShotRow>, Vec<Problem>) {
    let mut rows: Vec<ShotRow> = Vec::with_capacity(parsed.len());
    let mut problems = Vec::new();
    let mut positions_by_key: HashMap<String, Vec<usize>> = HashMap::with_capacity(parsed.len());
    for mut shot in parsed {
        let recorded = Recorded {
            player_id: shot.player_text.as_deref().map(|text| shot::placeholder_player(&origin.site_id, text)),
            hand: shot.hand,
            club_id: shot.club_id.clone(),
            club_kind: shot.club_kind.clone(),
            intent: shot.intent,
        };
        let resolved = shot.player_text.as_deref().map(|text| roster.resolve(&origin.site_id, text));
        if shot.hand.is_none() {
            shot.hand = resolved.as_ref().and_then(|resolved| resolved.hand);
        }
        let positions = positions_by_key.entry(identity(&shot, origin, 0)).or_default();
        let twin =
            positions.iter().rev().take(MOST_COMPARED).find(|position| is_repetition(&rows[**position].parsed, &shot));
        if let Some(twin) = twin {
            problems.push(repetition(&shot, rows[*twin].parsed.source_row));
            continue;
        }
        let ordinal = u32::try_from(positions.len()).unwrap_or(u32::MAX);
        positions.push(rows.len());
        rows.push(ShotRow {
            shot_id: identity(&shot, origin, ordinal),
            site_id: origin.site_id.clone(),
            player_id: resolved.map(|resolved| resolved.player_id),
            parsed: shot,
            recorded,
            source_file_id: origin.source_file_id.clone(),
            format: origin.format.clone(),
            format_version: origin.format_version.clone(),
            import_sequence: origin.import_sequence,
            imported_at: origin.imported_at,
        });
    }
    for positions in positions_by_key.values().filter(|positions| positions.len() > 1) {
        for position in positions {
            rows[*position].parsed.quality.push(SAME_KEY.to_owned());
        }
    }
    (rows, problems)
}

fn identity(shot: &ParsedShot, origin: &Origin, ordinal: u32) -> String {
    shot::shot_id(&NaturalKey {
        site_id: &origin.site_id,
        format: &origin.format,
        session_text: shot.session_text.as_deref(),
        shot_text: shot.shot_text.as_deref(),
        bay: shot.bay.as_deref(),
        time_text: &shot.time_text,
        ordinal,
    })
}

fn is_repetition(earlier: &ParsedShot, later: &ParsedShot) -> bool {
    let at_the_same_place = ParsedShot { source_row: earlier.source_row, ..later.clone() };
    at_the_same_place == *earlier
}

fn repetition(shot: &ParsedShot, first_row: i64) -> Problem {
    Problem {
        severity: Severity::Rejected,
        line: shot.source_row,
        column: None,
        text: Problem::cut(&shot.time_text),
        rule: "repeated-row".into(),
        message: format!("the row repeats row {first_row} in every value"),
        hint: "nothing to do: the shot is counted once".into(),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use shot::{Hand, Intent, Measures};

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
        let (rows, problems) = shot_rows(shots, &origin(), &Roster::default());
        let ids: std::collections::HashSet<&str> = rows.iter().map(|row| row.shot_id.as_str()).collect();
        assert_eq!((rows.len(), ids.len()), (3, 3));
        let flagged: Vec<bool> =
            rows.iter().map(|row| row.parsed.quality.iter().any(|code| code == SAME_KEY)).collect();
        assert_eq!(flagged, [true, true, false]);
        assert_eq!(problems.iter().map(|problem| problem.line).collect::<Vec<_>>(), [4]);
        let (again, _) = shot_rows(vec![parsed(9, "1", "a")], &origin(), &Roster::default());
        assert_eq!(again[0].shot_id, rows[0].shot_id, "the first row keeps its identity in another export");
    }

    #[test]
    fn the_roster_gives_player_and_hand() {
        let text = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n\
                    wren,Wren,wren 01,left,,,yes,,,\n";
        let (roster, faults) = Roster::parse(Path::new("roster.csv"), text);
        assert_eq!(faults, []);
        let told = ParsedShot { hand: Some(Hand::Right), ..parsed(3, "2", "a") };
        let (rows, _) = shot_rows(vec![parsed(2, "1", "a"), told], &origin(), &roster);
        assert_eq!(rows[0].player_id.as_deref(), Some("wren"));
        assert_eq!(rows[0].parsed.hand, Some(Hand::Left));
        assert_eq!(rows[1].parsed.hand, Some(Hand::Right), "what the device says stands");
    }
}
