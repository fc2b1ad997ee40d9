//! Dates and times of day: which format a column's texts are written in, found by trying.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime};

/// Texts of a column that are tried.
const TRIED: usize = 200;
/// Share of the texts that a format must read.
const ENOUGH: f64 = 0.75;
/// Years that an export can be of.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2100;

/// Order of day and month.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DayOrder {
    /// The year first, or the month by name: no doubt.
    Clear,
    DayFirst,
    MonthFirst,
}

const DATES: [(&str, DayOrder); 25] = [
    ("%Y-%m-%d", DayOrder::Clear),
    ("%Y/%m/%d", DayOrder::Clear),
    ("%Y.%m.%d", DayOrder::Clear),
    ("%Y%m%d", DayOrder::Clear),
    ("%m/%d/%Y", DayOrder::MonthFirst),
    ("%d/%m/%Y", DayOrder::DayFirst),
    ("%d.%m.%Y", DayOrder::DayFirst),
    ("%m.%d.%Y", DayOrder::MonthFirst),
    ("%d-%m-%Y", DayOrder::DayFirst),
    ("%m-%d-%Y", DayOrder::MonthFirst),
    ("%m/%d/%y", DayOrder::MonthFirst),
    ("%d/%m/%y", DayOrder::DayFirst),
    ("%d.%m.%y", DayOrder::DayFirst),
    ("%d-%m-%y", DayOrder::DayFirst),
    ("%d %b %Y", DayOrder::Clear),
    ("%d. %b %Y", DayOrder::Clear),
    ("%d-%b-%Y", DayOrder::Clear),
    ("%d-%b-%y", DayOrder::Clear),
    ("%d %B %Y", DayOrder::Clear),
    ("%d. %B %Y", DayOrder::Clear),
    ("%b %d, %Y", DayOrder::Clear),
    ("%B %d, %Y", DayOrder::Clear),
    ("%b %d %Y", DayOrder::Clear),
    ("%A, %B %d, %Y", DayOrder::Clear),
    ("%a %b %d %Y", DayOrder::Clear),
];

const CLOCKS: [&str; 14] = [
    "%H:%M:%S",
    "%H:%M:%S%.f",
    "%H:%M:%S,%3f",
    "%H:%M:%S,%6f",
    "%H:%M:%S:%3f",
    "%I:%M:%S %p",
    "%I:%M:%S%p",
    "%I:%M:%S%.f %p",
    "%I:%M %p",
    "%I:%M%p",
    "%H:%M",
    "%H.%M.%S",
    "%H-%M-%S",
    "%H%M%S",
];

const JOINTS: [&str; 5] = [" ", "T", ", ", "_", "-"];
const OFFSETS: [&str; 3] = ["%#z", " %#z", " %z"];

/// What the texts of a column are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Moment {
    pub kind: MomentKind,
    /// Formats to be tried in order; none for an epoch count.
    pub formats: Vec<String>,
    pub order: DayOrder,
    /// The same formats with day and month the other way round, where these read every text as well.
    pub swapped: Option<Vec<String>>,
    /// Texts that were read, of those tried.
    pub read: usize,
    pub tried: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MomentKind {
    /// Date and time of day.
    Full,
    Date,
    Clock,
    EpochSeconds,
    EpochMilliseconds,
}

impl MomentKind {
    fn reads(self, text: &str, format: &str) -> bool {
        match self {
            MomentKind::Date => NaiveDate::parse_from_str(text, format).is_ok_and(|day| YEARS.contains(&day.year())),
            MomentKind::Clock => NaiveTime::parse_from_str(text, format).is_ok(),
            _ if has_offset(format) => {
                DateTime::parse_from_str(text, format).is_ok_and(|instant| YEARS.contains(&instant.year()))
            }
            _ => NaiveDateTime::parse_from_str(text, format).is_ok_and(|local| YEARS.contains(&local.year())),
        }
    }
}

/// Whether texts of a format say their offset from UTC themselves.
fn has_offset(format: &str) -> bool {
    OFFSETS.iter().any(|offset| format.ends_with(offset))
}

/// What the texts of a column are, if they are dates, times of day, or both.
pub(super) fn moment_of(texts: &[&str]) -> Option<Moment> {
    let plain: Vec<String> =
        texts.iter().take(TRIED).map(|text| text.trim().replace(['\u{a0}', '\u{202f}', '\u{2009}'], " ")).collect();
    // Most cells are no times; three digits are the fewest that any format has, and cheaper to count than all formats to try.
    let has_digits = |text: &String| text.bytes().filter(u8::is_ascii_digit).count() >= 3;
    if plain.iter().filter(|text| has_digits(text)).count() * 2 < plain.len().max(1) {
        return None;
    }
    // Plain numbers are no times, but for those whose digits are a date, a time of day, or both.
    let is_plain_number =
        |text: &String| text.replace(',', ".").parse::<f64>().is_ok() && ![6, 8, 14].contains(&text.len());
    if plain.iter().all(is_plain_number) {
        return epoch_of(&plain);
    }
    epoch_of(&plain).or_else(|| {
        [MomentKind::Full, MomentKind::Date, MomentKind::Clock].into_iter().find_map(|kind| written_as(&plain, kind))
    })
}

fn epoch_of(texts: &[String]) -> Option<Moment> {
    let (mut seconds, mut milliseconds) = (0, 0);
    for text in texts {
        match text.parse::<f64>() {
            // 2001-09-09 to 2100-01-01.
            Ok(count) if (1e9..4.102_4e9).contains(&count) => seconds += 1,
            Ok(count) if (1e12..4.102_4e12).contains(&count) => milliseconds += 1,
            _ => {}
        }
    }
    let (kind, read) = if seconds >= milliseconds {
        (MomentKind::EpochSeconds, seconds)
    } else {
        (MomentKind::EpochMilliseconds, milliseconds)
    };
    let enough = read as f64 >= ENOUGH * texts.len() as f64;
    let moment = Moment { kind, formats: Vec::new(), order: DayOrder::Clear, swapped: None, read, tried: texts.len() };
    enough.then_some(moment)
}

fn candidates(kind: MomentKind) -> Vec<(String, DayOrder)> {
    match kind {
        MomentKind::Date => {
            let mut dates: Vec<(String, DayOrder)> =
                DATES.iter().map(|(date, order)| ((*date).to_owned(), *order)).collect();
            // How workbooks hold a bare date.
            dates.push(("%Y-%m-%dT00:00:00".to_owned(), DayOrder::Clear));
            dates
        }
        MomentKind::Clock => CLOCKS.iter().map(|clock| ((*clock).to_owned(), DayOrder::Clear)).collect(),
        _ => {
            let mut all = Vec::new();
            for (date, order) in DATES {
                for joint in JOINTS {
                    for clock in CLOCKS {
                        all.push((format!("{date}{joint}{clock}"), order));
                        for offset in OFFSETS.iter().filter(|_| order == DayOrder::Clear) {
                            all.push((format!("{date}{joint}{clock}{offset}"), order));
                        }
                    }
                }
            }
            all
        }
    }
}

fn written_as(texts: &[String], kind: MomentKind) -> Option<Moment> {
    let head = &texts[..texts.len().min(8)];
    let mut scored: Vec<(usize, String, DayOrder)> = Vec::new();
    for (format, order) in candidates(kind) {
        if head.iter().any(|text| kind.reads(text, &format)) {
            let read = texts.iter().filter(|text| kind.reads(text, &format)).count();
            scored.push((read, format, order));
        }
    }
    // Stable: of equals the earlier in the tables, which is the plainer.
    scored.sort_by_key(|(read, ..)| std::cmp::Reverse(*read));
    let (_, first, order) = scored.first()?.clone();
    if kind == MomentKind::Date && texts.iter().all(|text| text.bytes().all(|b| b.is_ascii_digit())) && texts.len() < 2
    {
        // One bare number of eight digits can be anything.
        return None;
    }
    let mut formats = vec![first];
    let mut left: Vec<&String> = texts.iter().filter(|text| !kind.reads(text, &formats[0])).collect();
    // Texts that another format of the same order of day and month reads: with and without fractions of a second.
    for (_, format, other) in &scored {
        if left.is_empty() || formats.len() == 3 {
            break;
        }
        let gained = left.iter().filter(|text| kind.reads(text, format)).count();
        if *other == order && gained > 0 {
            left.retain(|text| !kind.reads(text, format));
            formats.push(format.clone());
        }
    }
    let read = texts.len() - left.len();
    if (read as f64) < ENOUGH * texts.len() as f64 {
        return None;
    }
    let swapped: Vec<String> = formats.iter().map(|format| swap(format)).collect();
    let reads_all =
        |formats: &[String]| texts.iter().filter(|text| formats.iter().any(|format| kind.reads(text, format))).count();
    let doubtful = order != DayOrder::Clear && reads_all(&swapped) >= read;
    Some(Moment { kind, formats, order, swapped: doubtful.then_some(swapped), read, tried: texts.len() })
}

/// Day and month the other way round.
fn swap(format: &str) -> String {
    format.replace("%d", "\0").replace("%m", "%d").replace('\0', "%m")
}

impl Moment {
    /// Takes the other order of day and month.
    pub fn turn(&mut self) {
        if let Some(swapped) = self.swapped.take() {
            self.swapped = Some(std::mem::replace(&mut self.formats, swapped));
            self.order = match self.order {
                DayOrder::DayFirst => DayOrder::MonthFirst,
                DayOrder::MonthFirst => DayOrder::DayFirst,
                DayOrder::Clear => DayOrder::Clear,
            };
        }
    }

    /// Whether the texts say their offset from UTC themselves.
    pub fn has_offset(&self) -> bool {
        self.formats.iter().all(|format| has_offset(format))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_are_found() {
        let cases: [(&[&str], MomentKind, &[&str]); 12] = [
            (&["2026-04-12 15:07:09"], MomentKind::Full, &["%Y-%m-%d %H:%M:%S"]),
            (&["2026-04-12T15:07:09.250"], MomentKind::Full, &["%Y-%m-%dT%H:%M:%S%.f"]),
            (&["2026-04-12T15:07:09.250Z"], MomentKind::Full, &["%Y-%m-%dT%H:%M:%S%.f%#z"]),
            (&["2026-04-12T15:07:09+02:00"], MomentKind::Full, &["%Y-%m-%dT%H:%M:%S%#z"]),
            (&["4/13/2026 3:07:09 PM"], MomentKind::Full, &["%m/%d/%Y %I:%M:%S %p"]),
            (&["13.04.2026 15:07"], MomentKind::Full, &["%d.%m.%Y %H:%M"]),
            (&["13.04.26", "01.02.26"], MomentKind::Date, &["%d.%m.%y"]),
            (&["12 Apr 2026"], MomentKind::Date, &["%d %b %Y"]),
            (&["April 12, 2026"], MomentKind::Date, &["%B %d, %Y"]),
            (&["15:07:09,250", "15:07:10"], MomentKind::Clock, &["%H:%M:%S", "%H:%M:%S,%3f"]),
            (&["3:07 PM"], MomentKind::Clock, &["%I:%M %p"]),
            (&["1776006429250", "1776006429999"], MomentKind::EpochMilliseconds, &[]),
        ];
        for (texts, kind, formats) in cases {
            let found = moment_of(texts).unwrap_or_else(|| panic!("{texts:?}"));
            assert_eq!(
                (found.kind, found.formats.iter().map(String::as_str).collect::<Vec<_>>()),
                (kind, formats.to_vec()),
                "{texts:?}"
            );
        }
        for texts in [&["Driver"][..], &["7"], &["62.1", "63.2"], &["20260412"], &[""], &[]] {
            assert_eq!(moment_of(texts), None, "{texts:?}");
        }
    }

    #[test]
    fn doubt_about_day_and_month_is_told() {
        let mut doubtful = moment_of(&["4/3/2026", "4/12/2026"]).expect("dates");
        assert_eq!(doubtful.swapped.as_deref(), Some(&["%d/%m/%Y".to_owned()][..]));
        doubtful.turn();
        assert_eq!((doubtful.formats[0].as_str(), doubtful.order), ("%d/%m/%Y", DayOrder::DayFirst));
        let clear = moment_of(&["4/3/2026", "4/13/2026"]).expect("dates");
        assert_eq!((clear.swapped, clear.order), (None, DayOrder::MonthFirst));
        assert_eq!(moment_of(&["2026-04-03"]).expect("dates").swapped, None);
    }
}
