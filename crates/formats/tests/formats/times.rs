//! When a shot was struck: zones, the repeated hour, formats, counts.

use formats::{PackSet, ParsedFile, SiteContext};

use crate::{load_text, only, rules, site, sound};

/// A pack with a session, whose `[time]` has these keys.
fn pack(time: &str) -> PackSet {
    sound(&text(time))
}

fn text(time: &str) -> String {
    format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"delimited\"\n[dialect]\ndelimiter = \";\"\n[schema]\nfields = [\"d\", \"c\", \"s\"]\n\
         [shot]\nsession = {{ field = \"s\" }}\n[time]\n{time}\n"
    )
}

fn read(set: &PackSet, zone: &str, rows: &str) -> ParsedFile {
    let zone = zone.parse().expect("a zone");
    only(set).parse("a.csv", format!("d;c;s\n{rows}").as_bytes(), &SiteContext { zone, ..site() })
}

/// Instant in UTC, and what is noted of it.
fn instants(file: &ParsedFile) -> Vec<(String, String)> {
    let shown = |micros: i64| chrono::DateTime::from_timestamp_micros(micros).expect("an instant");
    let row =
        |shot: &shot::ParsedShot| (shown(shot.struck_at).format("%dT%H:%M:%S%.f").to_string(), shot.quality.join(";"));
    file.shots.iter().map(row).collect()
}

/// Local time, instant in UTC, quality.
type Rows = [(&'static str, &'static str, &'static str); 6];

const PARTS: &str = "parts = [{ field = \"d\" }, { field = \"c\" }]\n";

#[test]
fn the_repeated_hour_is_told_by_the_order_of_the_rows() {
    // [source: Python zoneinfo, fold = 0 and 1: Europe/Berlin 2025-10-26, America/New_York 2025-11-02, and
    //  Australia/Lord_Howe 2026-04-05, where clocks go back by half an hour]
    let resolved = "ambiguous-hour-resolved";
    let cases: [(&str, &str, Rows); 3] = [
        (
            "Europe/Berlin",
            "26.10.2025",
            [
                ("01:58", "25T23:58:00", ""),
                ("02:20", "26T00:20:00", resolved),
                ("02:50", "26T00:50:00", resolved),
                ("02:05", "26T01:05:00", resolved),
                ("02:50", "26T01:50:00", resolved),
                ("03:01", "26T02:01:00", ""),
            ],
        ),
        (
            "America/New_York",
            "02.11.2025",
            [
                ("00:59", "02T04:59:00", ""),
                ("01:10", "02T05:10:00", resolved),
                ("01:55", "02T05:55:00", resolved),
                ("01:00", "02T06:00:00", resolved),
                ("01:59", "02T06:59:00", resolved),
                ("02:00", "02T07:00:00", ""),
            ],
        ),
        (
            "Australia/Lord_Howe",
            "05.04.2026",
            [
                ("01:20", "04T14:20:00", ""),
                ("01:31", "04T14:31:00", resolved),
                ("01:59", "04T14:59:00", resolved),
                ("01:30", "04T15:00:00", resolved),
                ("01:45", "04T15:15:00", resolved),
                ("02:00", "04T15:30:00", ""),
            ],
        ),
    ];
    let set = pack(&format!("{PARTS}format = \"%d.%m.%Y %H:%M\""));
    for (zone, day, rows) in cases {
        let lines: Vec<String> = rows.iter().map(|(clock, ..)| format!("{day};{clock};s\n")).collect();
        let file = read(&set, zone, &lines.concat());
        let expected: Vec<(String, String)> =
            rows.iter().map(|(_, instant, quality)| ((*instant).to_owned(), (*quality).to_owned())).collect();
        assert_eq!(instants(&file), expected, "{zone}");
        // The same file, newest row first.
        let reversed: Vec<&str> = lines.iter().rev().map(String::as_str).collect();
        let backwards: Vec<(String, String)> = expected.into_iter().rev().collect();
        assert_eq!(instants(&read(&set, zone, &reversed.concat())), backwards, "{zone}, newest first");
    }
}

#[test]
fn what_the_order_does_not_tell_is_the_first_and_flagged() {
    let set = pack(&format!("{PARTS}format = \"%d.%m.%Y %H:%M\""));
    // Session a does not run backwards; session b does, by itself.
    let rows = "26.10.2025;02:20;a\n26.10.2025;02:40;b\n26.10.2025;02:30;a\n26.10.2025;02:10;b\n";
    let expected = [
        ("26T00:20:00", "ambiguous-hour"),
        ("26T00:40:00", "ambiguous-hour-resolved"),
        ("26T00:30:00", "ambiguous-hour"),
        ("26T01:10:00", "ambiguous-hour-resolved"),
    ];
    let found = instants(&read(&set, "Europe/Berlin", rows));
    assert_eq!(found, expected.map(|(instant, quality)| (instant.to_owned(), quality.to_owned())));
    // An offset in the text leaves nothing to tell.
    let offset = pack("parts = [{ field = \"d\" }, { field = \"c\" }]\nformat = \"%d.%m.%Y %H:%M%z\"");
    let found = instants(&read(&offset, "Europe/Berlin", "26.10.2025;02:20+0100;a\n"));
    assert_eq!(found, [("26T01:20:00".to_owned(), String::new())]);
}

#[test]
fn a_device_clock_of_another_zone_keeps_the_sites_date() {
    // [source: Python zoneinfo: 2025-11-02 01:30 in New York, fold 1, is 2025-11-02 17:30 in Sydney]
    let set = pack(&format!("{PARTS}format = \"%d.%m.%Y %H:%M\"\nzone = \"America/New_York\""));
    let file = read(&set, "Australia/Sydney", "02.11.2025;01:50;s\n02.11.2025;01:30;s\n");
    assert_eq!(instants(&file)[1].0, "02T06:30:00");
    // [derived: 2025-11-02 is day 20 394 since 1970-01-01, Python date.toordinal]
    assert_eq!(file.shots[1].local_date, 20_394);
}

#[test]
fn times_are_read_as_devices_write_them() {
    let french = "monthNames = [\"janv.\", \"févr.\", \"mars\", \"avr.\", \"mai\", \"juin\", \"juil.\", \"août\", \"sept.\", \"oct.\", \"nov.\", \"déc.\"]";
    let serial = "parts = [{ field = \"d\" }]\nepochUnit = ";
    // Time keys, cells, instant in UTC. [derived: Python datetime; days since 1899-12-30 and 1904-01-01]
    let cases = [
        (format!("{PARTS}format = \"%d/%m/%Y %H:%M\""), "04/05/2026;10:05", "04T10:05:00"),
        (format!("{PARTS}format = \"%m/%d/%Y %H:%M\""), "05/04/2026;10:05", "04T10:05:00"),
        (format!("{PARTS}format = \"%m/%d/%y %I:%M %p\""), "5/4/26;1:05 pm", "04T13:05:00"),
        (format!("{PARTS}format = \"%d %B %Y %H:%M:%S%.f\""), "4 May 2026;10:05:09,5", "04T10:05:09.500"),
        (format!("{PARTS}format = \"%d %b %Y %H:%M:%S%.f\"\n{french}"), "4 AOÛT 2026;10:05:09.25", "04T10:05:09.250"),
        (format!("{serial}\"us\""), "1776006429250000;", "12T15:07:09.250"),
        (format!("{serial}\"ns\""), "1776006429250000000;", "12T15:07:09.250"),
        (format!("{serial}\"serial-1900\""), "46124.6299681713;", "12T15:07:09.250"),
        (format!("{serial}\"serial-1904\""), "44662.6299681713;", "12T15:07:09.250"),
        // A typed date-time of a workbook, a column file or a document, by its ISO form.
        (format!("{PARTS}format = \"%Y-%m-%d %H:%M:%S%.f\""), "2026-04-12;10:00:00.123", "12T10:00:00.123"),
    ];
    for (time, cells, expected) in cases {
        let file = read(&pack(&time), "UTC", &format!("{cells};s\n"));
        assert_eq!(rules(&file), [], "{time}");
        assert_eq!(instants(&file)[0].0, expected, "{time}");
    }
}

#[test]
fn years_of_two_digits_have_a_stated_century() {
    let year = |keys: &str, cell: &str| {
        let file =
            read(&pack(&format!("{PARTS}format = \"%d.%m.%y %H:%M\"\n{keys}")), "UTC", &format!("{cell};10:00;s\n"));
        file.shots.first().map(|shot| {
            chrono::DateTime::from_timestamp_micros(shot.struck_at).expect("an instant").format("%Y").to_string()
        })
    };
    assert_eq!(year("", "01.02.90").as_deref(), Some("1990"));
    assert_eq!(year("", "01.02.89").as_deref(), Some("2089"));
    assert_eq!(year("twoDigitYearsFrom = 2000", "01.02.99").as_deref(), Some("2099"));
    assert_eq!(year("", "01.02.2026"), None, "four digits are no two");
}

#[test]
fn times_with_two_meanings_are_faults() {
    let cases = [
        ("format = [\"%d/%m/%Y %H:%M\", \"%m/%d/%Y %H:%M\"]", "two formats differ by the order of day and month only"),
        ("format = \"%d.%m.%Y %H:%M:%S,%f\"", "%f reads 25 as 25 billionths"),
        ("format = \"%d.%m.%Y\"\nmonthNames = [\"a\"]", "monthNames are twelve different names"),
        ("format = \"%d.%m.%y\"\ntwoDigitYearsFrom = 90", "twoDigitYearsFrom is a year"),
    ];
    for (keys, expected) in cases {
        let (_, faults) = load_text(&text(&format!("{PARTS}{keys}")));
        assert!(faults.iter().any(|fault| fault.message.contains(expected)), "{keys}: {faults:?}");
    }
}
