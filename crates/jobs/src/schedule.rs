//! When a job is due: cron expressions in a zone, and one catch-up run after a pause.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use croner::parser::{CronParser, Seconds, Year};

/// A cron expression of five fields.
#[derive(Debug, Clone)]
pub struct Cron(croner::Cron);

impl Cron {
    /// Reads five fields: minute, hour, day of month, month, day of week.
    pub fn parse(text: &str) -> Result<Cron, String> {
        let parser = CronParser::builder().seconds(Seconds::Disallowed).year(Year::Disallowed).build();
        parser.parse(text).map(Cron).map_err(|error| error.to_string())
    }

    /// The first fire strictly after an instant, both in UTC microseconds.
    pub fn next_after(&self, instant_micros: i64, zone: Tz) -> Option<i64> {
        let start = local(instant_micros, zone)?;
        self.0.find_next_occurrence(&start, false).ok().map(|fire| fire.timestamp_micros())
    }

    /// The last fire at or before an instant, both in UTC microseconds.
    pub fn latest_at(&self, instant_micros: i64, zone: Tz) -> Option<i64> {
        let start = local(instant_micros, zone)?;
        self.0.find_previous_occurrence(&start, true).ok().map(|fire| fire.timestamp_micros())
    }
}

fn local(instant_micros: i64, zone: Tz) -> Option<DateTime<Tz>> {
    DateTime::<Utc>::from_timestamp_micros(instant_micros).map(|instant| instant.with_timezone(&zone))
}

/// The fire that a job still owes, in UTC microseconds, or `None`. However many fires were missed, one run makes up for
/// all of them, since a run always brings every month up to date; a job that never ran owes the latest fire.
pub fn owed(cron: &Cron, zone: Tz, last_nominal: Option<i64>, now_micros: i64) -> Option<i64> {
    let latest = cron.latest_at(now_micros, zone)?;
    last_nominal.is_none_or(|last| last < latest).then_some(latest)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instant(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).expect("an instant").timestamp_micros()
    }

    const BERLIN: Tz = chrono_tz::Europe::Berlin;

    // Zone rules: IANA time zone database, Europe/Berlin: UTC+1, UTC+2 from 2026-03-29 01:00 UTC.
    #[test]
    fn fires_follow_the_zone_across_the_clock_change() {
        let cron = Cron::parse("30 5 * * *").expect("five fields");
        let before = instant("2026-03-28T00:00:00Z");
        let first = cron.next_after(before, BERLIN).expect("a fire");
        assert_eq!(first, instant("2026-03-28T04:30:00Z"));
        assert_eq!(cron.next_after(first, BERLIN), Some(instant("2026-03-29T03:30:00Z")));
        assert_eq!(cron.latest_at(instant("2026-03-29T03:29:59Z"), BERLIN), Some(first));
    }

    #[test]
    fn a_fire_inside_the_skipped_hour_still_happens_once() {
        let cron = Cron::parse("30 2 * * *").expect("five fields");
        let day_start = instant("2026-03-28T23:00:00Z");
        let fire = cron.next_after(day_start, BERLIN).expect("a fire");
        let next = cron.next_after(fire, BERLIN).expect("a fire");
        assert!(fire >= instant("2026-03-29T01:00:00Z") && fire <= instant("2026-03-29T01:30:00Z"), "{fire}");
        assert_eq!(next, instant("2026-03-30T00:30:00Z"));
    }

    #[test]
    fn many_missed_fires_are_owed_once() {
        let cron = Cron::parse("0 6 * * 1").expect("five fields");
        let now = instant("2026-11-25T12:00:00Z"); // a Wednesday
        let monday = instant("2026-11-23T05:00:00Z");
        assert_eq!(owed(&cron, BERLIN, Some(instant("2026-10-05T04:00:00Z")), now), Some(monday));
        assert_eq!(owed(&cron, BERLIN, None, now), Some(monday));
        assert_eq!(owed(&cron, BERLIN, Some(monday), now), None);
    }

    #[test]
    fn what_is_no_cron_expression_is_refused() {
        for text in ["", "often", "61 * * * *", "* * * * * *", "@never"] {
            assert!(Cron::parse(text).is_err(), "{text}");
        }
    }
}
