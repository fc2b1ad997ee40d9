//! The corrections file, read strictly: every fault is told with its place, and a faulty line corrects nothing.

use std::path::Path;

use chrono::{DateTime, LocalResult, NaiveDateTime, TimeZone};
use chrono_tz::Tz;
use shot::Intent;

use crate::TableFault;
use crate::corrections::{Correction, CorrectionAction, CorrectionSelector};
use crate::roster_batches::kind_of_club;
use crate::table::{Table, TableRow};

const COLUMNS: [&str; 9] = ["action", "file", "from", "to", "bay", "player", "shot", "value", "note"];

/// Shorter beginnings of a hash would soon fit more than was meant.
const FEWEST_DIGITS: usize = 8;
const SHOT_DIGITS: usize = 32;

/// The sound lines; `None` where the file has no sound header.
pub(crate) fn parse(path: &Path, text: &str, zone: Tz, faults: &mut Vec<TableFault>) -> Option<Vec<Correction>> {
    let table = Table::read(path, text, "the corrections file", &COLUMNS, faults)?;
    let mut lines = Vec::new();
    for row in table.rows() {
        if let Some(fault) = row.ragged() {
            faults.push(fault);
            continue;
        }
        let before = faults.len();
        let action = action_of(row, faults);
        let selector = selector_of(row, zone, faults);
        if let (Some(action), Some(selector), true) = (action, selector, faults.len() == before) {
            let key = key_of(&selector, &action);
            lines.push(Correction { line: row.line, text: row.text(), selector, action, key });
        }
    }
    Some(lines)
}

fn action_of(row: TableRow<'_>, faults: &mut Vec<TableFault>) -> Option<CorrectionAction> {
    let value = row.cell("value");
    let (message, hint) = match row.cell("action") {
        "club" => match kind_of_club(value) {
            Some(club_kind) => return Some(CorrectionAction::Club { club_id: value.to_owned(), club_kind }),
            None => (
                format!("\"{value}\" is no club"),
                "use driver, or a word that ends in -wood, -hybrid, -iron or -wedge, as the mapping packs do",
            ),
        },
        "player" if !value.is_empty() => return Some(CorrectionAction::Player(value.to_owned())),
        "player" => {
            ("the line names no player".to_owned(), "write an alias of the roster as value; for a guest, action guest")
        }
        "intent" => match Intent::parse(value) {
            Some(intent) => return Some(CorrectionAction::Intent(intent)),
            None => (format!("\"{value}\" is no intent"), "one of: play, drill, partial, demonstration, warm-up"),
        },
        "guest" if value.is_empty() => return Some(CorrectionAction::Guest),
        "exclude" if value.is_empty() => return Some(CorrectionAction::Exclude),
        word @ ("guest" | "exclude") => {
            (format!("{word} takes no value"), "leave value empty; a remark belongs into the column note")
        }
        word => {
            let message = format!("\"{word}\" is no action");
            faults.push(row.fault("action", word, message, "one of: club, player, guest, exclude, intent"));
            return None;
        }
    };
    faults.push(row.fault("value", value, message, hint));
    None
}

fn selector_of(row: TableRow<'_>, zone: Tz, faults: &mut Vec<TableFault>) -> Option<CorrectionSelector> {
    let given = |column: &str| Some(row.cell(column)).filter(|text| !text.is_empty()).map(str::to_owned);
    let before = faults.len();
    let selector = CorrectionSelector {
        file: given("file"),
        from: instant_of(row, "from", zone, faults),
        to: instant_of(row, "to", zone, faults),
        bay: given("bay"),
        player: given("player"),
        shot: given("shot").map(|text| text.to_lowercase()),
    };
    if let Some(text) = &selector.shot {
        let good = (FEWEST_DIGITS..=SHOT_DIGITS).contains(&text.len()) && is_hexadecimal(text);
        if !good {
            let message = format!("\"{text}\" is no shot");
            let hint = "write the shot_id of the dataset shots, or at least its first 8 digits";
            faults.push(row.fault("shot", text, message, hint));
        }
    }
    if let (Some(from), Some(to)) = (selector.from, selector.to)
        && from >= to
    {
        let message = "the line begins after it ends".to_owned();
        faults.push(row.fault("to", row.cell("to"), message, "from is the first instant, to the first one after"));
    }
    if faults.len() > before {
        return None;
    }
    if selector == CorrectionSelector::default() {
        let message = "the line does not say which shots it corrects".to_owned();
        let hint = "fill at least one of file, from, to, bay, player and shot";
        faults.push(row.fault("", &row.text(), message, hint));
        return None;
    }
    Some(selector)
}

/// Whether a text can be the beginning of a file's SHA-256.
pub(crate) fn is_hash_prefix(text: &str) -> bool {
    (FEWEST_DIGITS..=64).contains(&text.len()) && is_hexadecimal(text)
}

fn is_hexadecimal(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

const TIME_HINT: &str = "write the site's local time, for example 2026-04-12 10:00 or 2026-04-12 10:00:30; with an offset, 2026-04-12 10:00+02:00";

/// An instant in UTC microseconds; nothing where the cell is empty or faulty.
fn instant_of(row: TableRow<'_>, column: &str, zone: Tz, faults: &mut Vec<TableFault>) -> Option<i64> {
    let written = row.cell(column);
    if written.is_empty() {
        return None;
    }
    let text = written.replacen('T', " ", 1).replace('Z', "+00:00");
    for format in ["%Y-%m-%d %H:%M%:z", "%Y-%m-%d %H:%M:%S%:z", "%Y-%m-%d %H:%M %:z", "%Y-%m-%d %H:%M:%S %:z"] {
        if let Ok(instant) = DateTime::parse_from_str(&text, format) {
            return Some(instant.timestamp_micros());
        }
    }
    let read = |format: &&str| NaiveDateTime::parse_from_str(&text, format).ok();
    let Some(local) = ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S"].iter().find_map(read) else {
        faults.push(row.fault(column, written, format!("\"{written}\" is no time"), TIME_HINT));
        return None;
    };
    match zone.from_local_datetime(&local) {
        LocalResult::Single(instant) => Some(instant.timestamp_micros()),
        LocalResult::Ambiguous(first, second) => {
            let message = format!("the clock shows {written} twice, when daylight saving ends");
            let hint = format!("add the offset: {written}{} or {written}{}", first.format("%:z"), second.format("%:z"));
            faults.push(row.fault(column, written, message, &hint));
            None
        }
        LocalResult::None => {
            let message = format!("the clock never shows {written}: daylight saving skips that hour");
            faults.push(row.fault(column, written, message, "write a time before or after that hour"));
            None
        }
    }
}

fn key_of(selector: &CorrectionSelector, action: &CorrectionAction) -> String {
    shot::text_hash(&format!("{selector:?}{action:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "action,file,from,to,bay,player,shot,value,note\n";

    fn read(lines: &str) -> (Vec<Correction>, Vec<TableFault>) {
        let mut faults = Vec::new();
        let text = format!("# corrections of the site\n{HEADER}{lines}");
        let lines = parse(Path::new("c.csv"), &text, chrono_tz::Europe::Dublin, &mut faults);
        (lines.expect("a sound header"), faults)
    }

    #[test]
    fn every_action_and_selector_is_read() {
        let (lines, faults) = read(
            "club,,2026-04-12 10:00,2026-04-12T10:30:15,2,,,7-iron,wrong button\n\
             # a comment\n\
             player,a.csv,,,,,,wren,\n\
             ,,,,,,,,\n\
             guest,0123ABCD,,,,,,,\n\
             exclude,,,,,,0123ABCD,,\n\
             intent,,2026-01-05 10:00Z,,,\"Wren, the elder\",,drill,\n",
        );
        assert_eq!(faults, []);
        let lines_told: Vec<u64> = lines.iter().map(|line| line.line).collect();
        assert_eq!(lines_told, [3, 5, 7, 8, 9]);
        // [derived: Irish summer time is UTC+1, so 10:00 local is 09:00 UTC; 2026-04-12 is day 20555 of the epoch]
        let nine = (20_555_i64 * 24 + 9) * 3_600_000_000;
        assert_eq!(lines[0].selector.from, Some(nine));
        assert_eq!(lines[0].selector.to, Some(nine + (30 * 60 + 15) * 1_000_000));
        assert_eq!(lines[0].action, CorrectionAction::Club { club_id: "7-iron".into(), club_kind: "iron" });
        assert_eq!(lines[1].selector.file.as_deref(), Some("a.csv"));
        assert_eq!(lines[2].selector.file.as_deref(), Some("0123ABCD"));
        assert_eq!(lines[3].selector.shot.as_deref(), Some("0123abcd"));
        assert_eq!(lines[4].selector.player.as_deref(), Some("Wren, the elder"));
        assert_eq!(lines[4].action, CorrectionAction::Intent(Intent::Drill));
    }

    #[test]
    fn every_fault_is_told_with_its_place_and_the_other_lines_stand() {
        let (lines, faults) = read(
            "swap,,,,1,,,,\n\
             club,,,,1,,,putter,\n\
             guest,,,,1,,,wren,\n\
             exclude,,,,,,,,\n\
             exclude,,12/04/2026 10:00,,,,,,\n\
             exclude,,2026-10-25 01:30,,,,,,\n\
             exclude,,2026-03-29 01:30,,,,,,\n\
             exclude,,2026-04-12 11:00,2026-04-12 10:00,,,,,\n\
             exclude,,,,,,abc,,\n\
             player,,,,1,,,,\n\
             exclude,,,,1,,\n\
             exclude,,,,1,,,,\n",
        );
        let told: Vec<(u64, &str)> = faults.iter().map(|fault| (fault.line, fault.column.as_str())).collect();
        let expected = [
            (3, "action"),
            (4, "value"),
            (5, "value"),
            (6, ""),
            (7, "from"),
            (8, "from"),
            (9, "from"),
            (10, "to"),
            (11, "shot"),
            (12, "value"),
            (13, ""),
        ];
        assert_eq!(told, expected);
        assert!(faults.iter().all(|fault| !fault.hint.is_empty()));
        // [source: IANA time zone database: Irish clocks go back at 01:00 UTC on 2026-10-25]
        assert!(faults[5].hint.contains("+01:00") && faults[5].hint.contains("+00:00"), "{}", faults[5].hint);
        assert_eq!(lines.iter().map(|line| line.line).collect::<Vec<_>>(), [14]);
    }

    #[test]
    fn a_file_without_header_is_one_fault() {
        let mut faults = Vec::new();
        assert_eq!(parse(Path::new("c.csv"), "exclude,,,,1,,,,\n", chrono_tz::UTC, &mut faults), None);
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert!(faults[0].hint.contains("action,file,from"), "{faults:?}");
        faults.clear();
        assert_eq!(parse(Path::new("c.csv"), "", chrono_tz::UTC, &mut faults), None);
        assert_eq!(faults.len(), 1, "an empty file may be one that is just being written");
        faults.clear();
        let unknown = "action,file,from,to,bay,player,shot,value,note,why\n";
        assert_eq!(parse(Path::new("c.csv"), unknown, chrono_tz::UTC, &mut faults), None);
        assert_eq!(faults[0].column, "why");
    }

    #[test]
    fn the_key_tells_what_a_line_does_not_where_it_stands() {
        let (lines, _) = read("guest,,,,1,,,,one\nguest,,,,1,,,,two\nguest,,,,2,,,,one\n");
        assert_eq!(lines[0].key, lines[1].key);
        assert_ne!(lines[0].key, lines[2].key);
    }
}
