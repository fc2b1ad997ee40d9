//! Days and instants as a reader of the page expects them.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Timelike};
use chrono_tz::Tz;
use shot::LocalDay;

use crate::DigestError;

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// The calendar date of a local day.
pub fn date(day: LocalDay) -> Result<NaiveDate, DigestError> {
    let epoch = NaiveDate::from_ymd_opt(1970, 1, 1).ok_or(DigestError::Week { day })?;
    epoch.checked_add_signed(TimeDelta::days(i64::from(day))).ok_or(DigestError::Week { day })
}

/// The zone of an IANA name.
pub fn zone(name: &str) -> Result<Tz, DigestError> {
    name.parse().map_err(|_| DigestError::Zone { zone: name.to_owned() })
}

/// `2026-W47`, the ISO 8601 name of the week that starts on `monday`.
pub fn week_name(monday: NaiveDate) -> String {
    let week = monday.iso_week();
    format!("{:04}-W{:02}", week.year(), week.week())
}

/// `16 November 2026`.
pub fn long_date(day: NaiveDate) -> String {
    format!("{} {} {}", day.day(), month_word(day), day.year())
}

/// `16 Nov`.
pub fn short_date(day: NaiveDate) -> String {
    format!("{} {}", day.day(), &month_word(day)[..3])
}

/// `16 to 22 November 2026`, with month and year repeated only where they differ.
pub fn week_span(monday: NaiveDate) -> String {
    let sunday = monday + TimeDelta::days(6);
    if monday.year() != sunday.year() {
        return format!("{} to {}", long_date(monday), long_date(sunday));
    }
    if monday.month() != sunday.month() {
        return format!("{} {} to {}", monday.day(), month_word(monday), long_date(sunday));
    }
    format!("{} to {}", monday.day(), long_date(sunday))
}

/// `Tue 17 Nov 14:05`, in the zone.
pub fn local_time(micros: i64, zone: Tz) -> String {
    let Some(instant) = DateTime::from_timestamp_micros(micros) else { return "unknown time".to_owned() };
    let local = instant.with_timezone(&zone);
    let weekday = local.weekday().to_string();
    format!("{weekday} {} {:02}:{:02}", short_date(local.date_naive()), local.hour(), local.minute())
}

/// `17 November 2026, 14:05 (Europe/Zurich)`.
pub fn written_at(micros: i64, zone: Tz) -> String {
    let Some(instant) = DateTime::from_timestamp_micros(micros) else { return "unknown time".to_owned() };
    let local = instant.with_timezone(&zone);
    format!("{}, {:02}:{:02} ({})", long_date(local.date_naive()), local.hour(), local.minute(), zone.name())
}

fn month_word(day: NaiveDate) -> &'static str {
    MONTHS[day.month0() as usize % MONTHS.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).expect("a date of the calendar")
    }

    #[test]
    fn weeks_are_named_as_iso_8601_says() {
        // [source: ISO 8601 week rule: week 1 holds the year's first Thursday]
        assert_eq!(week_name(day(2026, 11, 16)), "2026-W47");
        assert_eq!(week_name(day(2024, 12, 30)), "2025-W01");
        assert_eq!(week_name(day(2020, 12, 28)), "2020-W53");
    }

    #[test]
    fn spans_repeat_only_what_differs() {
        assert_eq!(week_span(day(2026, 11, 16)), "16 to 22 November 2026");
        assert_eq!(week_span(day(2026, 11, 30)), "30 November to 6 December 2026");
        assert_eq!(week_span(day(2026, 12, 28)), "28 December 2026 to 3 January 2027");
    }

    #[test]
    fn times_are_those_of_the_site() {
        let zurich = zone("Europe/Zurich").expect("a known zone");
        // 2026-03-29 00:59:59 UTC is the last second of winter time there. [source: EU rule, change at 01:00 UTC]
        assert_eq!(local_time(1_774_745_999_000_000, zurich), "Sun 29 Mar 01:59");
        assert_eq!(local_time(1_774_746_000_000_000, zurich), "Sun 29 Mar 03:00");
        assert!(matches!(zone("Mars/Base"), Err(DigestError::Zone { .. })));
    }
}
