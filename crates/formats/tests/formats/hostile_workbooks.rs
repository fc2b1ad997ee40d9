//! Workbooks made to do harm: what they unpack to, where they say their cells stand, what they count.

use formats::{PackSet, ParseLimits, ParsedFile, SiteContext};

use crate::packages::{RawXlsx, inline, ods, ods_number, ods_row, ods_text, package};
use crate::workbooks::{pack, parse, refusal};
use crate::{only, rules, site};

fn parse_within(set: &PackSet, bytes: &[u8], limits: ParseLimits) -> ParsedFile {
    only(set).parse("any.bin", bytes, &SiteContext { limits, ..site() })
}

/// Limits of a small server's small share.
const NARROW: ParseLimits = ParseLimits {
    max_file_bytes: 8 << 20,
    max_line_bytes: 4 << 10,
    max_fields: 50,
    max_rows: 1_000,
    max_depth: 32,
    max_unpacked_bytes: 1 << 20,
};

#[test]
fn files_made_to_fill_the_memory_are_refused() {
    let head = format!("<row>{}{}{}</row>", inline("t"), inline("v"), inline("n"));
    let data = inline("2026-04-12 10:20:30");
    let sheet = |rows: &str| RawXlsx::of_rows(format!("{head}{rows}"));
    let ods_of = |rows: &str| {
        let head = ods_row(&(ods_text("t") + &ods_text("v") + &ods_text("n")));
        ods(&format!("<table:table table:name=\"Shots\">{head}{rows}</table:table>"))
    };
    let many = |count: usize, piece: &str| piece.repeat(count);
    let shared = format!("<si><t>{}</t></si>", many(4_000, "x"));
    let deep = format!("{}{}", many(40, "<a>"), many(40, "</a>"));
    let members: Vec<String> = (0..10_001).map(|number| format!("m{number}")).collect();
    let crowd: Vec<(&str, &str)> = members.iter().map(|name| (name.as_str(), "")).collect();
    let set = pack("headerFill = true");
    let mut cases = vec![
        ("a ratio bomb", sheet(&many(2_000_000, " ")).bytes(), "line-too-long"),
        ("a bomb of tags", sheet(&many(200_000, "<row/>")).bytes(), "unpacks-too-large"),
        (
            "a text without end",
            sheet(&format!("<row><c><v>{}</v></c></row>", many(50_000, "1"))).bytes(),
            "line-too-long",
        ),
        ("a nesting bomb", sheet(&deep).bytes(), "too-deep"),
        (
            "a text shared a thousand times",
            RawXlsx {
                shared: shared.clone(),
                ..sheet(&many(1_000, &format!("<row>{data}<c/><c t=\"s\"><v>0</v></c></row>")))
            }
            .bytes(),
            "unpacks-too-large",
        ),
        ("a crowd of members", package(&crowd), "unpacks-too-large"),
        ("rows without end", sheet(&many(2_000, &format!("<row>{data}</row>"))).bytes(), "too-many-rows"),
        ("rows that go back", sheet("<row r=\"9\"/><row r=\"4\"/>").bytes(), "bad-workbook"),
        ("a row beyond the last", sheet(&format!("<row r=\"4294967297\">{data}</row>")).bytes(), "bad-workbook"),
        (
            "a row repeated without end",
            ods_of(&format!(
                "<table:table-row table:number-rows-repeated=\"1000000\">{}</table:table-row>",
                ods_text("x")
            )),
            "too-many-rows",
        ),
        (
            "a row repeated beyond a sheet",
            ods_of(&format!(
                "<table:table-row table:number-rows-repeated=\"99999999999999999999999\">{}</table:table-row>",
                ods_text("x")
            )),
            "bad-workbook",
        ),
        (
            "a long row repeated",
            ods_of(&format!(
                "<table:table-row table:number-rows-repeated=\"900\">{}</table:table-row>",
                ods_text(&many(4_000, "x"))
            )),
            "unpacks-too-large",
        ),
        (
            "blanks by number",
            ods_of(&ods_row("<table:table-cell><text:p><text:s text:c=\"999999999\"/></text:p></table:table-cell>")),
            "line-too-long",
        ),
    ];
    let entities = "<!DOCTYPE w [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><office:document-content><office:spreadsheet><table:table>\
                    <table:table-row><table:table-cell><text:p>&b;</text:p></table:table-cell></table:table-row>";
    cases.push(("entities", package(&[("content.xml", entities)]), "bad-workbook"));
    for (name, bytes, rule) in cases {
        let file = parse_within(&set, &bytes, NARROW);
        assert_eq!(refusal(&file).0, rule, "{name}: {:?}", refusal(&file));
        assert!(file.shots.len() as u64 <= NARROW.max_rows + 1, "{name}");
    }
}

#[test]
fn rows_made_to_fill_the_memory_cost_themselves_only() {
    let head = format!("<row r=\"1\">{}{}{}</row>", inline("t"), inline("v"), inline("n"));
    let good = format!("{}<c r=\"B9\"><v>50</v></c>", inline("2026-04-12 10:20:30"));
    let rows = [
        format!("<row r=\"2\">{good}<c r=\"XFD2\"><v>1</v></c></row>"),
        format!("<row r=\"3\">{good}<c r=\"ZZZZZZZ3\"><v>1</v></c></row>"),
        format!("<row r=\"4\">{good}<c r=\"A4\"><v>1</v></c></row>"),
        format!("<row r=\"5\">{good}{}</row>", "<c><v>1</v></c>".repeat(60)),
        format!("<row r=\"6\">{good}{}</row>", inline(&"x".repeat(3_000)).repeat(2)),
        format!("<row r=\"1048576\">{good}</row>"),
    ];
    let bytes = RawXlsx::of_rows(format!("{head}{}", rows.concat())).bytes();
    let set = pack("");
    let file = parse_within(&set, &bytes, NARROW);
    let expected = [(3, "bad-workbook"), (4, "bad-workbook"), (5, "too-many-fields"), (6, "line-too-long")];
    assert_eq!(rules(&file), expected);
    assert_eq!(file.shots.iter().map(|shot| shot.source_row).collect::<Vec<_>>(), [2, 1_048_576]);
    let repeated = "<table:table-cell table:number-columns-repeated=\"999999999999\" office:value-type=\"float\" office:value=\"1\"/>";
    let good = ods_text("2026-04-12 10:20:30") + &ods_number("50");
    let rows = [ods_text("t") + &ods_text("v"), good.clone() + repeated, good].map(|cells| ods_row(&cells)).concat();
    let file = parse_within(&set, &ods(&format!("<table:table table:name=\"Shots\">{rows}</table:table>")), NARROW);
    assert_eq!(rules(&file), [(1, "missing-column"), (2, "too-many-fields")]);
    assert_eq!(file.shots.len(), 1);
}

#[test]
fn counts_that_lie_reserve_nothing() {
    // What ends the process in readers that trust such counts: 2^60 shared texts, and one long font for every style.
    let fonts = format!("<fonts count=\"1\"><font><name val=\"{}\"/></font></fonts>", "x".repeat(1 << 19));
    let raw = RawXlsx {
        rows: format!("<row>{}</row><row>{}</row>", inline("t"), inline("2026-04-12 10:20:30")),
        behind_rows: "<dimension ref=\"A1:XFD1048576\"/>".to_owned(),
        shared: "</sst><sst count=\"1152921504606846976\" uniqueCount=\"1152921504606846976\">".to_owned(),
        styles: format!(
            "{fonts}<cellXfs count=\"1152921504606846976\">{}</cellXfs>",
            "<xf fontId=\"0\"/>".repeat(100_000)
        ),
        ..RawXlsx::default()
    };
    assert_eq!(parse(&pack(""), &raw.bytes()).shots.len(), 1);
}
