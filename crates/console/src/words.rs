//! Instants, spans and sizes in words, the same in text and on the page.

use chrono::DateTime;
use chrono_tz::Tz;

const SECOND: i64 = 1_000_000;
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// The clock that people look at: the site's zone, and what is now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Clock {
    pub(crate) zone: Tz,
    /// UTC microseconds since 1970.
    pub(crate) now: i64,
}

impl Clock {
    /// An instant in the site's zone.
    pub(crate) fn when(&self, micros: i64) -> String {
        DateTime::from_timestamp_micros(micros).map_or_else(String::new, |instant| {
            instant.with_timezone(&self.zone).format("%Y-%m-%d %H:%M:%S").to_string()
        })
    }

    /// How long ago an instant is. A clock that was set back makes nothing negative.
    pub(crate) fn ago(&self, micros: i64) -> String {
        span(self.now.saturating_sub(micros))
    }
}

/// A span of microseconds in its natural unit: short ones exactly, long ones roughly.
pub(crate) fn span(micros: i64) -> String {
    let micros = micros.max(0);
    let (unit, word) = match micros {
        _ if micros < 2 * MINUTE => (SECOND, "s"),
        _ if micros < 2 * HOUR => (MINUTE, "min"),
        _ if micros < 2 * DAY => (HOUR, "h"),
        _ => (DAY, "d"),
    };
    format!("{} {word}", micros / unit)
}

/// An instant as UTC text, for programs.
pub(crate) fn utc(micros: i64) -> Option<String> {
    DateTime::from_timestamp_micros(micros).map(|instant| instant.to_rfc3339_opts(chrono::SecondsFormat::Secs, true))
}

/// A number of bytes with a binary unit.
pub(crate) fn size(bytes: u64) -> String {
    const UNITS: [&str; 5] = ["KiB", "MiB", "GiB", "TiB", "PiB"];
    if bytes < 1024 {
        return format!("{bytes} B");
    }
    let mut value = bytes as f64 / 1024.0;
    let mut unit = 0;
    // 1023.95 would be shown as 1024.0.
    while value >= 1023.95 && unit + 1 < UNITS.len() {
        value /= 1024.0;
        unit += 1;
    }
    format!("{value:.1} {}", UNITS[unit])
}

/// A count and its noun: one file, two files.
pub(crate) fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// A message of ours ends in a line that says what to do; on most surfaces the two stand apart.
pub(crate) fn without_hint(message: &str) -> (String, Option<String>) {
    let (what, hint) = match message.split_once("\nhint: ") {
        Some((what, hint)) => (what, Some(one_line(hint))),
        None => (message, None),
    };
    (one_line(what), hint)
}

/// A text on one line: line breaks and other control characters would break a list, and a terminal.
pub(crate) fn one_line(text: &str) -> String {
    let spaced: String = text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_have_their_natural_unit() {
        let cases = [
            (-5, "0 s"),
            (3 * SECOND + 999_999, "3 s"),
            (119 * SECOND, "119 s"),
            (2 * MINUTE, "2 min"),
            (119 * MINUTE + 59 * SECOND, "119 min"),
            (2 * HOUR, "2 h"),
            (47 * HOUR, "47 h"),
            (48 * HOUR, "2 d"),
            (400 * DAY, "400 d"),
        ];
        for (micros, words) in cases {
            assert_eq!(span(micros), words);
        }
    }

    #[test]
    fn sizes_have_binary_units() {
        let cases = [
            (0, "0 B"),
            (1023, "1023 B"),
            (1024, "1.0 KiB"),
            (1_073_741_823, "1.0 GiB"),
            (12 << 30, "12.0 GiB"),
            (u64::MAX, "16384.0 PiB"),
        ];
        for (bytes, words) in cases {
            assert_eq!(size(bytes), words);
        }
    }

    #[test]
    fn an_instant_is_shown_in_the_sites_zone_on_both_sides_of_a_change() {
        // [derived] Dublin leaves summer time on 25 October 2026 at 01:00 UTC; by `TZ=Europe/Dublin date`.
        let clock = Clock { zone: chrono_tz::Europe::Dublin, now: 0 };
        assert_eq!(clock.when(1_792_889_999_000_000), "2026-10-25 01:59:59");
        assert_eq!(clock.when(1_792_890_000_000_000), "2026-10-25 01:00:00");
        assert_eq!(utc(1_792_890_000_000_000).as_deref(), Some("2026-10-25T01:00:00Z"));
    }

    #[test]
    fn a_hint_stands_apart_and_nothing_breaks_a_line() {
        let (what, hint) = without_hint("cannot read\n/in/a\u{1b}[2J.csv\nhint: mount it\nor not\n");
        assert_eq!((what.as_str(), hint.as_deref()), ("cannot read /in/a [2J.csv", Some("mount it or not")));
    }
}
