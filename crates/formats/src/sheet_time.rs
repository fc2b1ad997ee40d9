//! Dates and times of workbooks: number formats that mean them, day counts, and the texts of the OpenDocument format.

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

const DAY_MS: i64 = 86_400_000;
/// Count of 9999-12-31, the last day that spreadsheet programs know, from 1899-12-30.
const LAST_DAY: i64 = 2_958_465;
/// The day that is counted and never was: 29 February 1900.
const DAY_THAT_NEVER_WAS: i64 = 60;

/// What the number format of a cell makes of its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    Number,
    Date,
    /// A time of day.
    Time,
    DateTime,
    Duration,
}

/// The look of a format that a workbook need not define (ECMA-376 part 1, 18.8.30; those from 27 on are East Asian dates).
pub(crate) fn look_of_builtin(id: u32) -> Look {
    match id {
        14..=17 | 27..=31 | 36 | 50..=54 | 57 | 58 => Look::Date,
        18..=21 | 32..=35 | 45 | 47 | 55 | 56 => Look::Time,
        22 => Look::DateTime,
        46 => Look::Duration,
        _ => Look::Number,
    }
}

/// The look of a format code, by its section for positive numbers.
pub(crate) fn look_of_code(code: &str) -> Look {
    let (mut date, mut time, mut months, mut longest_months) = (false, false, 0, 0);
    let mut letters = code.chars();
    while let Some(letter) = letters.next() {
        let letter = letter.to_ascii_lowercase();
        months = if letter == 'm' { months + 1 } else { 0 };
        longest_months = longest_months.max(months);
        match letter {
            ';' => break,
            '"' => {
                letters.by_ref().find(|c| *c == '"');
            }
            // The letter behind these is shown or measured, and means nothing.
            '\\' | '_' | '*' => {
                letters.next();
            }
            '[' => {
                let inside: String = letters.by_ref().take_while(|c| *c != ']').collect();
                let unit = inside.to_ascii_lowercase();
                if !unit.is_empty() && ["h", "m", "s"].iter().any(|one| unit.chars().all(|c| one.contains(c))) {
                    return Look::Duration;
                }
            }
            'y' | 'd' => date = true,
            'h' | 's' => time = true,
            'a' => {
                // AM/PM or A/P.
                let rest = letters.as_str().to_ascii_lowercase();
                if let Some(length) = ["m/pm", "/p"].iter().find(|mark| rest.starts_with(**mark)).map(|mark| mark.len())
                {
                    letters.nth(length - 1);
                    time = true;
                }
            }
            _ => {}
        }
    }
    // An m is a minute beside hours or seconds and a month otherwise; three of them are always a month's name.
    date |= longest_months >= 3 || (longest_months > 0 && !time);
    match (date, time) {
        (true, true) => Look::DateTime,
        (true, false) => Look::Date,
        (false, true) => Look::Time,
        (false, false) => Look::Number,
    }
}

/// The text of a day count, or nothing where no calendar has the day. Rounded to the millisecond: a count near 46000 keeps about
/// 0.6 microseconds in 64 bits, but programs write fifteen digits (10 microseconds), so that the last digits are noise of the
/// conversion and would turn 10:00:00 into 09:59:59.999999.
pub(crate) fn text_of_count(count: f64, look: Look, from_1904: bool) -> Option<String> {
    let milliseconds = (count * DAY_MS as f64).round();
    // Beyond this no date is, and no duration a sane one.
    if !milliseconds.is_finite() || milliseconds.abs() > ((LAST_DAY + 1) * DAY_MS) as f64 {
        return None;
    }
    let milliseconds = milliseconds as i64;
    if look == Look::Duration {
        return Some(text_of_duration(milliseconds));
    }
    if milliseconds < 0 {
        return None;
    }
    let (day, rest) = (milliseconds / DAY_MS, milliseconds % DAY_MS);
    let clock = NaiveTime::MIN + TimeDelta::milliseconds(rest);
    if day == 0 && matches!(look, Look::Time | Look::DateTime) {
        return Some(text_of_time(clock));
    }
    let date = if from_1904 {
        text_of_date(NaiveDate::from_ymd_opt(1904, 1, 1)? + TimeDelta::days(day))
    } else if day == DAY_THAT_NEVER_WAS {
        // As the program shows it. It is no date, and reading it as a neighbouring one would be wrong silently.
        "1900-02-29".to_owned()
    } else if day == 0 {
        return None;
    } else {
        // The day that never was shifts all days before it by one.
        let shift = i64::from(day < DAY_THAT_NEVER_WAS);
        text_of_date(NaiveDate::from_ymd_opt(1899, 12, 30)? + TimeDelta::days(day + shift))
    };
    if look == Look::Date && rest == 0 { Some(date) } else { Some(format!("{date}T{}", text_of_time(clock))) }
}

fn text_of_date(date: NaiveDate) -> String {
    date.format("%Y-%m-%d").to_string()
}

pub(crate) fn text_of_time(time: NaiveTime) -> String {
    time.format("%H:%M:%S%.3f").to_string()
}

/// Hours run on beyond 24.
pub(crate) fn text_of_duration(milliseconds: i64) -> String {
    let sign = if milliseconds < 0 { "-" } else { "" };
    let all = milliseconds.unsigned_abs();
    let (hours, minutes, seconds) = (all / 3_600_000, all / 60_000 % 60, all / 1_000 % 60);
    format!("{sign}{hours:02}:{minutes:02}:{seconds:02}.{:03}", all % 1_000)
}

/// A date or date-time in ISO form, to the millisecond; other texts stay as they are.
pub(crate) fn text_of_iso(text: &str) -> String {
    let text = text.trim();
    if let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return text_of_date(date);
    }
    let (local, zone) = match text.strip_suffix('Z') {
        Some(local) => (local, "+00:00"),
        None => (text, ""),
    };
    let plain = local.replace(',', ".");
    match NaiveDateTime::parse_from_str(&plain, "%Y-%m-%dT%H:%M:%S%.f") {
        Ok(instant) if (0..=9999).contains(&instant.year()) => {
            // Writers that count in days leave noise behind the millisecond.
            let rounded = instant.checked_add_signed(TimeDelta::microseconds(500)).unwrap_or(instant);
            format!("{}{zone}", rounded.format("%Y-%m-%dT%H:%M:%S%.3f"))
        }
        _ => match NaiveTime::parse_from_str(&plain, "%H:%M:%S%.f") {
            Ok(time) => text_of_time(time),
            Err(_) => text.to_owned(),
        },
    }
}

/// The time of an ISO duration such as `PT10H00M00.123S`, which OpenDocument writes for times of day and durations alike; other
/// texts stay as they are.
pub(crate) fn text_of_iso_duration(text: &str) -> String {
    milliseconds_of_iso_duration(text.trim()).map_or_else(|| text.to_owned(), text_of_duration)
}

fn milliseconds_of_iso_duration(text: &str) -> Option<i64> {
    let (sign, text) = text.strip_prefix('-').map_or((1.0, text), |rest| (-1.0, rest));
    let (mut total, mut digits, mut in_time) = (0.0, String::new(), false);
    for letter in text.strip_prefix('P')?.chars() {
        match letter {
            '0'..='9' | '.' => digits.push(letter),
            ',' => digits.push('.'),
            'T' if digits.is_empty() => in_time = true,
            unit => {
                let seconds = match (unit, in_time) {
                    ('D', false) => 86_400.0,
                    ('H', true) => 3_600.0,
                    ('M', true) => 60.0,
                    ('S', true) => 1.0,
                    _ => return None,
                };
                total += digits.parse::<f64>().ok()? * seconds;
                digits.clear();
            }
        }
    }
    let milliseconds = (sign * total * 1_000.0).round();
    (digits.is_empty() && milliseconds.abs() < 1e15).then_some(milliseconds as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn format_codes_show_what_they_mean() {
        // [source: ECMA-376 part 1, 18.8.30 and 18.8.31: letters of number formats]
        let cases = [
            ("General", Look::Number),
            ("0.00E+00", Look::Number),
            ("#,##0.0 \"mdy\"", Look::Number),
            ("0.0\\m\\s", Look::Number),
            ("0.0_d;[Red]-0.0_d", Look::Number),
            ("0;yyyy", Look::Number),
            ("@", Look::Number),
            ("yyyy\\-mm\\-dd", Look::Date),
            ("[$-409]d\\ mmm", Look::Date),
            ("mmm", Look::Date),
            ("h:mm AM/PM", Look::Time),
            ("mm:ss.000", Look::Time),
            ("dd/mm/yyyy hh:mm:ss.000", Look::DateTime),
            ("[$-F800]dddd\\,\\ mmmm\\ dd\\,\\ yyyy h:mm", Look::DateTime),
            ("[h]:mm:ss", Look::Duration),
            ("[mm]:ss.0", Look::Duration),
            ("[ss]", Look::Duration),
            ("[Magenta]0", Look::Number),
            ("[<=100]0.0", Look::Number),
        ];
        for (code, look) in cases {
            assert_eq!(look_of_code(code), look, "{code}");
        }
    }

    #[test]
    fn counts_become_dates_in_both_systems() {
        // [source: openpyxl 3.1.5, openpyxl.utils.datetime.from_excel with WINDOWS_EPOCH and MAC_EPOCH]
        let cases = [
            (46_124.430_902_777_78, Look::DateTime, false, Some("2026-04-12T10:20:30.000")),
            (44_662.430_902_777_78, Look::DateTime, true, Some("2026-04-12T10:20:30.000")),
            (46_124.0, Look::Date, false, Some("2026-04-12")),
            (46_124.5, Look::Date, false, Some("2026-04-12T12:00:00.000")),
            (1.0, Look::Date, false, Some("1900-01-01")),
            (59.0, Look::Date, false, Some("1900-02-28")),
            (61.0, Look::Date, false, Some("1900-03-01")),
            (0.0, Look::Date, true, Some("1904-01-01")),
            (0.416_668_090_277_777_8, Look::Time, false, Some("10:00:00.123")),
            (2_958_465.999_988_426, Look::DateTime, false, Some("9999-12-31T23:59:59.000")),
            (1.085_474_537_037_037, Look::Duration, false, Some("26:03:05.000")),
        ];
        for (count, look, from_1904, text) in cases {
            assert_eq!(text_of_count(count, look, from_1904).as_deref(), text, "{count}");
        }
        // [source: ECMA-376 part 1, 18.17.4.1: the 1900 system has a 29 February]
        assert_eq!(text_of_count(60.0, Look::Date, false).as_deref(), Some("1900-02-29"));
        for (count, look) in [
            (-1.0, Look::Date),
            (0.0, Look::Date),
            (f64::NAN, Look::Time),
            (2_958_467.0, Look::Date),
            (f64::INFINITY, Look::Duration),
        ] {
            assert_eq!(text_of_count(count, look, false), None, "{count}");
        }
        assert_eq!(text_of_count(-0.5, Look::Duration, false).as_deref(), Some("-12:00:00.000"));
    }

    #[test]
    fn texts_of_the_open_document_format_are_read() {
        // [source: OpenDocument 1.2 part 1, 18.3.14 dateTime and 18.3.17 duration after XML Schema]
        assert_eq!(text_of_iso("2026-04-12"), "2026-04-12");
        assert_eq!(text_of_iso("2026-04-12T10:20:30"), "2026-04-12T10:20:30.000");
        assert_eq!(text_of_iso("2026-04-12T10:20:29.999999998"), "2026-04-12T10:20:30.000");
        assert_eq!(text_of_iso("2026-04-12T10:20:30.5Z"), "2026-04-12T10:20:30.500+00:00");
        assert_eq!(text_of_iso("soon"), "soon");
        assert_eq!(text_of_iso_duration("PT10H00M00.123S"), "10:00:00.123");
        assert_eq!(text_of_iso_duration("PT26H03M05,5S"), "26:03:05.500");
        assert_eq!(text_of_iso_duration("-P1DT1S"), "-24:00:01.000");
        for odd in ["P1Y", "PT5", "PTxS", "", "P", "PT1H2H9999999999999999999D"] {
            let _ = text_of_iso_duration(odd);
        }
        assert_eq!(text_of_iso_duration("P1Y"), "P1Y");
    }
}
