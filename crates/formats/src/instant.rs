//! The instant of a shot: text formats in local time with daylight saving, texts with an offset, counts since 1970.

use chrono::{DateTime, Datelike, LocalResult, NaiveDate, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;
use shot::{LocalDay, Problem};

use crate::number::NumberStyle;
use crate::rule::Rule;
use crate::source::{TextSource, View};
use crate::spec::EpochUnit;

/// Quality code of a shot whose local time occurred twice; the first of the two instants was taken.
pub(crate) const AMBIGUOUS_HOUR: &str = "ambiguous-hour";

/// Years a shot can be of. Below, a device's clock was never set; above, its text was misread (common practice, no source).
const YEARS: std::ops::RangeInclusive<i32> = 1990..=2199;

/// How the time text is written.
#[derive(Debug, Clone)]
pub(crate) enum TimeStyle {
    /// chrono format strings, tried in order.
    Formats(Vec<String>),
    /// A count since 1970-01-01T00:00Z.
    Epoch(EpochUnit),
}

/// Reads the instant of a row.
#[derive(Debug, Clone)]
pub(crate) struct TimeSource {
    pub parts: Vec<TextSource>,
    pub style: TimeStyle,
    /// Zone of the device's clock; the site's if absent.
    pub zone: Option<Tz>,
}

/// When a shot was struck.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Struck {
    pub text: String,
    pub micros: i64,
    pub local_date: LocalDay,
    pub ambiguous: bool,
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
        let (instant, ambiguous) = match &self.style {
            TimeStyle::Epoch(unit) => (of_epoch(&text, *unit).map_err(reject)?, false),
            TimeStyle::Formats(formats) => {
                of_formats(&text, formats, self.zone.unwrap_or(site_zone)).map_err(reject)?
            }
        };
        if !YEARS.contains(&instant.year()) {
            return Err(reject((Rule::BadTime, format!("a shot of the year {} cannot be", instant.year()))));
        }
        let local = instant.with_timezone(&site_zone).date_naive();
        let local_date = local.signed_duration_since(NaiveDate::default()).num_days() as LocalDay;
        Ok(Struck { micros: instant.timestamp_micros(), local_date, ambiguous, text })
    }
}

fn of_epoch(text: &str, unit: EpochUnit) -> Result<DateTime<Utc>, (Rule, String)> {
    let style = NumberStyle { decimal: '.', group: None };
    let count = style.parse(text).map_err(|(_, message)| (Rule::BadTime, message))?;
    let micros = match unit {
        EpochUnit::Seconds => count * 1e6,
        EpochUnit::Milliseconds => count * 1e3,
    };
    // The cast saturates, and chrono refuses what lies beyond its calendar.
    DateTime::from_timestamp_micros(micros.round() as i64)
        .ok_or_else(|| (Rule::BadTime, "the count lies beyond the calendar".to_owned()))
}

fn of_formats(text: &str, formats: &[String], zone: Tz) -> Result<(DateTime<Utc>, bool), (Rule, String)> {
    // Some systems put a narrow no-break space before AM and PM; formats are written with plain blanks.
    let plain = text.replace(['\u{a0}', '\u{202f}', '\u{2009}'], " ");
    for format in formats {
        if has_offset(format) {
            if let Ok(instant) = DateTime::parse_from_str(&plain, format) {
                return Ok((instant.to_utc(), false));
            }
        } else if let Ok(local) = NaiveDateTime::parse_from_str(&plain, format) {
            return in_zone(local, zone);
        }
    }
    Err((Rule::BadTime, format!("\"{}\" is not written as {}", Problem::cut(text), formats.join(" or "))))
}

/// Whether texts of this format say their offset from UTC themselves.
pub(crate) fn has_offset(format: &str) -> bool {
    ["%z", "%:z", "%::z", "%#z", "%+"].iter().any(|item| format.contains(item))
}

fn in_zone(local: NaiveDateTime, zone: Tz) -> Result<(DateTime<Utc>, bool), (Rule, String)> {
    // Checked before the zone is asked, so that no arithmetic near the ends of the calendar happens.
    if !YEARS.contains(&local.year()) {
        return Err((Rule::BadTime, format!("a shot of the year {} cannot be", local.year())));
    }
    match zone.from_local_datetime(&local) {
        LocalResult::Single(instant) => Ok((instant.to_utc(), false)),
        LocalResult::Ambiguous(one, other) => Ok((one.to_utc().min(other.to_utc()), true)),
        LocalResult::None => Err((Rule::NonexistentTime, format!("{local} did not occur in {zone}"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, format: &str, zone: Tz) -> Result<(String, bool), Rule> {
        of_formats(text, &[format.to_owned()], zone)
            .map(|(instant, ambiguous)| (instant.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string(), ambiguous))
            .map_err(|(rule, _)| rule)
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
    fn counts_since_1970_are_read() {
        // [source: GNU date -u -d @1776006429]
        let instant = of_epoch("1776006429250", EpochUnit::Milliseconds).expect("a time");
        assert_eq!(instant.to_rfc3339(), "2026-04-12T15:07:09.250+00:00");
        assert_eq!(of_epoch("1776006429.25", EpochUnit::Seconds).expect("a time"), instant);
        for text in ["", "x", "1e30", "-1e300"] {
            assert_eq!(of_epoch(text, EpochUnit::Seconds).expect_err(text).0, Rule::BadTime, "{text}");
        }
    }
}
