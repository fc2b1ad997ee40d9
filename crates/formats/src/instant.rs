//! The instant of a shot: text formats in local time with daylight saving, texts with an offset, counts since 1970, days as
//! workbooks count them.

use chrono::format::{Parsed, StrftimeItems};
use chrono::{DateTime, Datelike, LocalResult, NaiveDate, NaiveDateTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use shot::{LocalDay, Problem};

use crate::number::NumberStyle;
use crate::rule::Rule;
use crate::source::{Origin, TextSource, View};
use crate::spec::EpochUnit;

/// Years a shot can be of. Below, a device's clock was never set; above, its text was misread (common practice, no source).
const YEARS: std::ops::RangeInclusive<i32> = 1990..=2199;

/// The first year that a year of two digits means unless the pack says otherwise.
pub(crate) const TWO_DIGIT_YEARS_FROM: i32 = 1990;

const PLAIN: NumberStyle = NumberStyle { decimal: '.', group: None };
const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// How the time text is written.
#[derive(Debug, Clone)]
pub(crate) enum TimeStyle {
    /// chrono format strings, tried in order.
    Formats(Vec<String>),
    /// A count of a unit.
    Epoch(EpochUnit),
}

/// Reads the instant of a row.
#[derive(Debug, Clone)]
pub(crate) struct TimeSource {
    pub parts: Vec<TextSource>,
    pub style: TimeStyle,
    /// Zone of the device's clock; the site's if absent.
    pub zone: Option<Tz>,
    /// How a count is written as text.
    pub number_style: NumberStyle,
    /// The months as the device writes them, January first; empty for English.
    pub month_names: Vec<String>,
    pub two_digit_years_from: i32,
}

/// When a shot was struck.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Struck {
    pub text: String,
    pub micros: i64,
    pub local_date: LocalDay,
    /// Whether the local time occurred twice; `micros` is then the first of the two.
    pub ambiguous: bool,
    /// The second of the two.
    pub later_micros: Option<i64>,
}

/// An instant, and the other one where a local time occurred twice.
type Found = (DateTime<Utc>, Option<DateTime<Utc>>);
type Fault = (Rule, String);

/// The local date of an instant.
pub(crate) fn local_day(instant: DateTime<Utc>, zone: Tz) -> LocalDay {
    let local = instant.with_timezone(&zone).date_naive();
    local.signed_duration_since(NaiveDate::default()).num_days() as LocalDay
}

impl TimeSource {
    /// The instant of a row, with the local date in the site's zone.
    pub fn read(&self, view: &View<'_>, site_zone: Tz) -> Result<Struck, Box<Problem>> {
        let mut texts = Vec::with_capacity(self.parts.len());
        for part in &self.parts {
            texts.extend(part.read(view)?);
        }
        let text = texts.join(" ");
        let label = self.parts.first().map(|part| part.origin.label());
        let reject =
            |(rule, message): (Rule, String)| Box::new(rule.rejects(view.record.line(), label, &text, message));
        // A native number comes as a text with a decimal point, however the pack writes its other numbers.
        let native = self.parts.iter().any(|part| match &part.origin {
            Origin::Field(name) => view.record.number(name).is_some(),
            _ => false,
        });
        let style = if native { PLAIN } else { self.number_style };
        let (instant, later) = self.instant(&text, style, self.zone.unwrap_or(site_zone)).map_err(reject)?;
        if !YEARS.contains(&instant.year()) {
            return Err(reject((Rule::BadTime, format!("a shot of the year {} cannot be", instant.year()))));
        }
        Ok(Struck {
            micros: instant.timestamp_micros(),
            local_date: local_day(instant, site_zone),
            ambiguous: later.is_some(),
            later_micros: later.map(|later| later.timestamp_micros()),
            text,
        })
    }

    /// The instant of a text as the pack's formats read it in a zone, if they do.
    pub fn instant_of(&self, text: &str, zone: Tz) -> Option<DateTime<Utc>> {
        self.instant(text, self.number_style, zone).ok().map(|(instant, _)| instant)
    }

    fn instant(&self, text: &str, style: NumberStyle, zone: Tz) -> Result<Found, Fault> {
        let formats = match &self.style {
            TimeStyle::Epoch(unit) => return of_count(text, style, *unit, zone),
            TimeStyle::Formats(formats) => formats,
        };
        // Some systems put a narrow no-break space before AM and PM; formats are written with plain blanks.
        let plain = english_months(text.replace(['\u{a0}', '\u{202f}', '\u{2009}'], " "), &self.month_names);
        for format in formats {
            if let Some(parsed) = self.parse(&plain, format) {
                if parsed.offset().is_some() {
                    if let Ok(instant) = parsed.to_datetime() {
                        return Ok((instant.to_utc(), None));
                    }
                } else if let Ok(local) = parsed.to_naive_datetime_with_offset(0) {
                    return in_zone(local, zone);
                }
            }
        }
        Err((Rule::BadTime, format!("\"{}\" is not written as {}", Problem::cut(text), formats.join(" or "))))
    }

    fn parse(&self, text: &str, format: &str) -> Option<Parsed> {
        let with_point = format.contains("%.").then(|| with_point(text)).flatten();
        let mut parsed = Parsed::new();
        chrono::format::parse(&mut parsed, with_point.as_deref().unwrap_or(text), StrftimeItems::new(format)).ok()?;
        if parsed.year().is_none()
            && parsed.year_div_100().is_none()
            && let Some(short) = parsed.year_mod_100()
        {
            let from = self.two_digit_years_from;
            parsed.set_year(i64::from(from + (short - from).rem_euclid(100))).ok()?;
        }
        Some(parsed)
    }
}

/// A decimal comma behind the seconds as a point, since `%.f` reads a point only.
fn with_point(text: &str) -> Option<String> {
    let comma = text.rfind(',')?;
    let digits = |part: &str, count: usize| part.len() >= count && part.bytes().all(|byte| byte.is_ascii_digit());
    let seconds = text.get(comma.checked_sub(3)?..comma)?;
    let follows = text[comma + 1..].bytes().next().is_some_and(|byte| byte.is_ascii_digit());
    let fits = seconds.starts_with(':') && digits(&seconds[1..], 2) && follows;
    fits.then(|| format!("{}.{}", &text[..comma], &text[comma + 1..]))
}

/// The text with the first month name of the device's language in English. A name must stand alone: "Mai" is none in "Maitland".
fn english_months(text: String, names: &[String]) -> String {
    let folded = text.to_lowercase();
    if names.is_empty() || folded.len() != text.len() {
        return text;
    }
    let mut best: Option<(usize, usize, &str)> = None;
    for (name, english) in names.iter().zip(MONTHS) {
        let name = name.to_lowercase();
        for (start, _) in folded.match_indices(&name) {
            let end = start + name.len();
            let apart = |c: Option<char>| !c.is_some_and(char::is_alphabetic);
            let alone = apart(folded[..start].chars().next_back()) && apart(folded[end..].chars().next());
            if alone && best.is_none_or(|(_, length, _)| name.len() > length) {
                best = Some((start, name.len(), english));
            }
        }
    }
    match best {
        Some((start, length, english)) => format!("{}{english}{}", &text[..start], &text[start + length..]),
        None => text,
    }
}

fn of_count(text: &str, style: NumberStyle, unit: EpochUnit, zone: Tz) -> Result<Found, Fault> {
    let beyond = || (Rule::BadTime, "the count lies beyond the calendar".to_owned());
    let read = || style.parse(text).map_err(|(_, message)| (Rule::BadTime, message));
    let (times, over) = match unit {
        EpochUnit::Serial1900 | EpochUnit::Serial1904 => {
            // Days are kept as binary fractions; a thousandth of a second is what they are good for.
            let millis = (read()? * 86_400_000.0).round() as i64;
            let (year, month, day) = if unit == EpochUnit::Serial1900 { (1899, 12, 30) } else { (1904, 1, 1) };
            let start = NaiveDate::from_ymd_opt(year, month, day).and_then(|date| date.and_hms_opt(0, 0, 0));
            let span = TimeDelta::try_milliseconds(millis).ok_or_else(beyond)?;
            let local = start.and_then(|start| start.checked_add_signed(span)).ok_or_else(beyond)?;
            return in_zone(local, zone);
        }
        EpochUnit::Seconds => (1_000_000, 1),
        EpochUnit::Milliseconds => (1_000, 1),
        EpochUnit::Microseconds => (1, 1),
        EpochUnit::Nanoseconds => (1, 1_000),
    };
    let micros = match text.trim().parse::<i64>() {
        // Whole counts are exact; nanoseconds would lose digits as a fraction.
        Ok(count) => i64::try_from((i128::from(count) * times + over / 2).div_euclid(over)).map_err(|_| beyond())?,
        // The cast saturates, and chrono refuses what lies beyond its calendar.
        Err(_) => (read()? * times as f64 / over as f64).round() as i64,
    };
    DateTime::from_timestamp_micros(micros).map(|instant| (instant, None)).ok_or_else(beyond)
}

fn in_zone(local: NaiveDateTime, zone: Tz) -> Result<Found, Fault> {
    // Checked before the zone is asked, so that no arithmetic near the ends of the calendar happens.
    if !YEARS.contains(&local.year()) {
        return Err((Rule::BadTime, format!("a shot of the year {} cannot be", local.year())));
    }
    match zone.from_local_datetime(&local) {
        LocalResult::Single(instant) => Ok((instant.to_utc(), None)),
        LocalResult::Ambiguous(one, other) => {
            let (one, other) = (one.to_utc(), other.to_utc());
            Ok((one.min(other), Some(one.max(other))))
        }
        LocalResult::None => Err((Rule::NonexistentTime, format!("{local} did not occur in {zone}"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, format: &str, zone: Tz) -> Result<(String, bool), Rule> {
        source(format, &[])
            .instant(text, PLAIN, zone)
            .map(|(instant, later)| (instant.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string(), later.is_some()))
            .map_err(|(rule, _)| rule)
    }

    fn source(format: &str, months: &[&str]) -> TimeSource {
        TimeSource {
            parts: Vec::new(),
            style: TimeStyle::Formats(vec![format.to_owned()]),
            zone: None,
            number_style: PLAIN,
            month_names: months.iter().map(|name| (*name).to_owned()).collect(),
            two_digit_years_from: TWO_DIGIT_YEARS_FROM,
        }
    }

    #[test]
    fn daylight_saving_is_heeded() {
        // [source: IANA tz database: US clocks change 2026-03-08 and 2026-11-01, European ones 2026-03-29 and 2026-10-25]
        use chrono_tz::{America::Chicago, Europe::Berlin};
        let us = "%m/%d/%Y %I:%M:%S %p";
        let iso = "%Y-%m-%d %H:%M:%S,%3f";
        let cases = [
            ("4/12/2026 3:07:09 PM", us, Chicago, Ok(("2026-04-12T20:07:09.000Z", false))),
            ("4/12/2026 12:07:09\u{202f}AM", us, Chicago, Ok(("2026-04-12T05:07:09.000Z", false))),
            ("3/8/2026 2:30:00 AM", us, Chicago, Err(Rule::NonexistentTime)),
            ("11/1/2026 1:30:00 AM", us, Chicago, Ok(("2026-11-01T06:30:00.000Z", true))),
            ("2026-04-12 15:07:09,250", iso, Berlin, Ok(("2026-04-12T13:07:09.250Z", false))),
            ("2026-03-29 02:30:00,000", iso, Berlin, Err(Rule::NonexistentTime)),
            ("2026-10-25 02:30:00,000", iso, Berlin, Ok(("2026-10-25T00:30:00.000Z", true))),
            ("2026-04-12 15:07:09 +0530", "%Y-%m-%d %H:%M:%S %z", Berlin, Ok(("2026-04-12T09:37:09.000Z", false))),
            ("2026-02-30 15:07:09,250", iso, Berlin, Err(Rule::BadTime)),
            ("1970-01-01 00:00:00,000", iso, Berlin, Err(Rule::BadTime)),
            ("", iso, Berlin, Err(Rule::BadTime)),
        ];
        for (text, format, zone, expected) in cases {
            assert_eq!(read(text, format, zone), expected.map(|(text, flag)| (text.to_owned(), flag)), "{text}");
        }
    }

    #[test]
    fn counts_are_read() {
        // [source: GNU date -u -d @1776006429; days: Python (datetime(2026,4,12,15,7,9,250000) - datetime(1899,12,30)) / day]
        let read = |text: &str, unit| of_count(text, PLAIN, unit, Tz::UTC).map(|(instant, _)| instant.to_rfc3339());
        let expected = Ok("2026-04-12T15:07:09.250+00:00".to_owned());
        assert_eq!(read("1776006429.25", EpochUnit::Seconds), expected);
        assert_eq!(read("1776006429250", EpochUnit::Milliseconds), expected);
        assert_eq!(read("1776006429250000", EpochUnit::Microseconds), expected);
        assert_eq!(read("1776006429250000000", EpochUnit::Nanoseconds), expected);
        assert_eq!(read("46124.630 (", EpochUnit::Serial1900).expect_err("no number").0, Rule::BadTime);
        assert_eq!(read("46124.6299681713", EpochUnit::Serial1900), expected);
        assert_eq!(read("44662.6299681713", EpochUnit::Serial1904), expected);
        for text in ["", "x", "1e30", "-1e300", "99999999999999999999"] {
            assert_eq!(read(text, EpochUnit::Seconds).expect_err(text).0, Rule::BadTime, "{text}");
        }
        assert!(read("1e300", EpochUnit::Serial1900).is_err());
    }

    #[test]
    fn months_are_read_in_the_language_of_the_device() {
        let german = ["Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sep.", "Okt.", "Nov.", "Dez."];
        let read = |text: &str| {
            let found = source("%d. %b %y, %H:%M", &german).instant(text, PLAIN, Tz::UTC);
            found.map(|(instant, _)| instant.to_rfc3339()).map_err(|(rule, _)| rule)
        };
        assert_eq!(read("3. Mai 26, 10:05"), Ok("2026-05-03T10:05:00+00:00".to_owned()));
        assert_eq!(read("3. OKT. 91, 10:05"), Ok("1991-10-03T10:05:00+00:00".to_owned()));
        assert_eq!(read("12. märz 89, 10:05"), Ok("2089-03-12T10:05:00+00:00".to_owned()));
        assert_eq!(read("3. Maitag 26, 10:05"), Err(Rule::BadTime));
    }

    #[test]
    fn fractions_may_follow_a_comma() {
        for (text, expected) in [
            ("2026-04-12 15:07:09,25", "15:07:09.250Z"),
            ("2026-04-12 15:07:09.250", "15:07:09.250Z"),
            ("2026-04-12 15:07:09", "15:07:09.000Z"),
        ] {
            let found = read(text, "%Y-%m-%d %H:%M:%S%.f", Tz::UTC).expect(text).0;
            assert_eq!(found, format!("2026-04-12T{expected}"));
        }
    }
}
