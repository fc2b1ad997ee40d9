//! What workbooks come in: dates of two systems, merged headers, several sheets, errors and formulas; and files made to do harm.

use formats::{PackSet, ParsedFile};
use rust_xlsxwriter::{Chart, ChartType, Format, Formula, Workbook, Worksheet};
use shot::{Quantity, Severity};

use calamine::{Data, Reader};

use crate::packages::{RawXlsx, inline, ods, ods_number, ods_row, ods_text, package};
use crate::{load_text, only, rules, site, sound};

/// A pack that shows cells as they come: `n` is the player, `v` the ball speed in m/s.
pub fn pack(dialect: &str) -> PackSet {
    named_pack(dialect, "t", "v", "n", "")
}

fn named_pack(dialect: &str, time: &str, speed: &str, name: &str, further: &str) -> PackSet {
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"spreadsheet\"\n[dialect]\n{dialect}\n\
         [schema]\nfields = [\"{time}\"]\noptionalFields = [\"{speed}\", \"{name}\"]\nfieldsMatch = \"subset\"\nmissingValues = [\"#N/A\"]\n\
         [time]\nparts = [{{ field = \"{time}\" }}]\nformat = [\"%Y-%m-%dT%H:%M:%S%.f\", \"%Y-%m-%d %H:%M:%S%.f\"]\nzone = \"UTC\"\n\
         [measures]\nball_speed_mps = {{ field = \"{speed}\", unit = \"m/s\", measured = true }}\n\
         [shot]\nplayer = {{ field = \"{name}\" }}\n{further}"
    ))
}

pub fn parse(set: &PackSet, bytes: &[u8]) -> ParsedFile {
    only(set).parse("any.bin", bytes, &site())
}

/// Row, time text, ball speed and player of every shot.
fn shown(file: &ParsedFile) -> Vec<(i64, String, Option<f64>, Option<String>)> {
    let one = |shot: &shot::ParsedShot| {
        let speed = shot.measures.get(Quantity::BallSpeedMps);
        (shot.source_row, shot.time_text.clone(), speed, shot.player_text.clone())
    };
    file.shots.iter().map(one).collect()
}

fn row(line: i64, time: &str, speed: f64, name: &str) -> (i64, String, Option<f64>, Option<String>) {
    (line, time.to_owned(), Some(speed), Some(name.to_owned()))
}

pub fn refusal(file: &ParsedFile) -> (&str, &str) {
    let refusals: Vec<_> =
        file.problems.iter().filter(|problem| problem.line == 0 && problem.severity == Severity::Rejected).collect();
    let [refusal] = refusals.as_slice() else { panic!("one refusal: {:?}", file.problems) };
    (refusal.rule.as_str(), refusal.message.as_str())
}

fn xlsx(fill: impl FnOnce(&mut Worksheet)) -> Vec<u8> {
    let mut workbook = Workbook::new();
    fill(workbook.add_worksheet());
    workbook.save_to_buffer().expect("a workbook")
}

fn header(sheet: &mut Worksheet, line: u32) {
    for (column, name) in ["t", "v", "n"].into_iter().enumerate() {
        sheet.write_string(line, column as u16, name).expect("a cell");
    }
}

/// 2026-04-12T10:20:30 in the 1900 system [source: openpyxl 3.1.5, to_excel].
const INSTANT: f64 = 46_124.430_902_777_78;

#[test]
fn a_sheet_is_read_with_its_row_numbers() {
    let instant = Format::new().set_num_format("dd/mm/yyyy hh:mm:ss");
    let bytes = xlsx(|sheet| {
        header(sheet, 1);
        for (line, speed, name) in [(2, 50.5, "Ada"), (6, 51.0, "=2+3"), (9, 52.25, " Ößé ")] {
            sheet.write_number_with_format(line, 0, INSTANT, &instant).expect("a cell");
            sheet.write_number(line, 1, speed).expect("a cell");
            sheet.write_string(line, 2, name).expect("a cell");
        }
        sheet.write_string(7, 2, "   ").expect("a blank row");
        sheet.set_row_hidden(6).expect("a hidden row is read too");
    });
    let set = pack("");
    let file = parse(&set, &bytes);
    assert_eq!(rules(&file), []);
    let time = "2026-04-12T10:20:30.000";
    assert_eq!(shown(&file), [row(3, time, 50.5, "Ada"), row(7, time, 51.0, "=2+3"), row(10, time, 52.25, "Ößé")]);
    // [source: GNU date -u -d "2026-04-12 10:20:30" +%s]
    assert_eq!(file.shots[0].struck_at, 1_775_989_230_000_000);
    assert!(matches!(set.recognise("a.txt", &bytes), formats::Recognition::Match { .. }), "the name says nothing");
}

#[test]
fn preambles_units_and_merged_headers_are_understood() {
    let bold = Format::new();
    let bytes = xlsx(|sheet| {
        sheet.write_string(0, 1, "Session:").expect("a cell");
        sheet.write_string(0, 3, "evening").expect("a cell");
        sheet.write_string(2, 0, "Data").expect("a cell");
        sheet.merge_range(4, 1, 4, 2, "Ball", &bold).expect("a merged cell");
        sheet.write_string(4, 3, "Player").expect("a cell");
        for (column, name) in ["When", "Speed", "Angle"].into_iter().enumerate() {
            sheet.write_string(5, column as u16, name).expect("a cell");
        }
        sheet.write_string(6, 1, "mph").expect("a cell");
        sheet.write_string(7, 0, "2026-04-12 10:20:30").expect("a cell");
        sheet.write_number(7, 1, 100.0).expect("a cell");
        sheet.write_string(7, 3, "Ada").expect("a cell");
    });
    let layout = "headerRows = [1, 2]\nheaderJoin = \"/\"\nheaderFill = true\nunitsRow = 3\n";
    for end in ["lines = 4", "endMark = \"Data\""] {
        let dialect = format!("{layout}preamble = {{ {end} }}");
        let further = "session = { preamble = \"session\" }\n[unitWords]\nmph = \"[mi_i]/h\"\n";
        let text = format!(
            "name = \"small\"\nversion = \"1\"\nengine = \"spreadsheet\"\n[dialect]\n{dialect}\n[schema]\nfields = [\"When\", \"Ball/Speed\", \"Ball/Angle\", \"Player\"]\n\
             [time]\nparts = [{{ field = \"When\" }}]\nformat = \"%Y-%m-%d %H:%M:%S\"\n\
             [measures]\nball_speed_mps = {{ field = \"Ball/Speed\", unit = \"m/s\", unitFrom = \"units-row\", measured = true }}\n\
             [shot]\nplayer = {{ field = \"Player\" }}\n{further}"
        );
        let set = sound(&text);
        assert!(matches!(set.recognise("a", &bytes), formats::Recognition::Match { .. }), "{end}");
        let file = parse(&set, &bytes);
        assert_eq!(rules(&file), [], "{end}");
        // [source: NIST SP 811, appendix B.8: one mile an hour is 0.44704 m/s]
        assert_eq!(shown(&file), [row(8, "2026-04-12 10:20:30", 44.704, "Ada")], "{end}");
        assert_eq!(file.shots[0].session_text.as_deref(), Some("evening"));
    }
    let short = parse(&pack("preamble = { endMark = \"never\" }"), &bytes);
    assert_eq!(refusal(&short).0, "no-header");
}

#[test]
fn sheets_are_chosen_by_name_or_number() {
    let mut workbook = Workbook::new();
    workbook.add_worksheet().set_name("Notes").expect("a name").write_string(0, 0, "nothing").expect("a cell");
    let mut chart = Chart::new(ChartType::Line);
    chart.add_series().set_values("Notes!$A$1:$A$2");
    let chart_sheet = workbook.add_chartsheet().set_name("Chart").expect("a name");
    chart_sheet.insert_chart(0, 0, &chart).expect("a chart");
    let shots = workbook.add_worksheet().set_name("Shots & more").expect("a name").set_hidden(true);
    header(shots, 0);
    shots.write_string(1, 0, "2026-04-12 10:20:30").expect("a cell");
    let bytes = workbook.save_to_buffer().expect("a workbook");
    for dialect in ["sheetName = \"Shots & more\"", "sheetName = \"shots & MORE\"", "sheetNumber = 3"] {
        assert_eq!(parse(&pack(dialect), &bytes).shots.len(), 1, "{dialect}");
    }
    let listed = "its sheets with cells are \"Notes\", \"Shots & more\"";
    for (dialect, start) in [
        ("sheetName = \"Shot\"", "the workbook has no sheet \"Shot\"; "),
        ("sheetNumber = 4", "the workbook has no sheet number 4; "),
        ("sheetName = \"Chart\"", "the sheet \"Chart\" holds a chart and no cells; "),
    ] {
        let file = parse(&pack(dialect), &bytes);
        assert_eq!(refusal(&file), ("no-sheet", format!("{start}{listed}").as_str()));
    }
    let other = ods("<table:table table:name=\"One\"/><table:table table:name=\"Two\"/>");
    let file = parse(&pack("sheetName = \"Three\""), &other);
    assert_eq!(refusal(&file).1, "the workbook has no sheet \"Three\"; its sheets with cells are \"One\", \"Two\"");
}

#[test]
fn errors_and_formulas_are_told_from_readings() {
    let rows = |cells: &str| {
        let head = format!("<row r=\"1\">{}{}{}</row>", inline("t"), inline("v"), inline("n"));
        RawXlsx::of_rows(format!("{head}<row r=\"4\">{}{cells}</row>", inline("2026-04-12 10:20:30"))).bytes()
    };
    let set = pack("");
    let read = |cells: &str| parse(&set, &rows(cells));
    let solved = read("<c><f>25*2</f><v>50</v></c><c t=\"str\"><f>A1</f><v>Ada</v></c>");
    assert_eq!(shown(&solved), [row(4, "2026-04-12 10:20:30", 50.0, "Ada")]);
    assert_eq!(rules(&solved), []);
    let unsolved = read("<c><f>25*2</f></c><c><f>A1</f><v/></c>");
    assert_eq!(unsolved.shots[0].measures.get(Quantity::BallSpeedMps), None);
    assert_eq!(rules(&unsolved), [(0, "unsolved-formula")]);
    assert_eq!(unsolved.problems[0].severity, Severity::Noted);
    assert!(unsolved.problems[0].message.starts_with("2 formulas hold no result, the first in B4"));
    let wrong = read("<c t=\"e\"><f>1/0</f><v>#DIV/0!</v></c><c t=\"e\"><v>#SPILL!</v></c>");
    assert_eq!(rules(&wrong), [(4, "unreadable-value"), (4, "unreadable-value")]);
    assert_eq!(wrong.problems[1].text, "#DIV/0!");
    let missing = read("<c t=\"e\"><v>#N/A</v></c><c t=\"e\"><v>#N/A</v></c>");
    assert_eq!(rules(&missing), []);
    assert_eq!((missing.shots[0].measures.get(Quantity::BallSpeedMps), &missing.shots[0].player_text), (None, &None));
    let truth = read("<c><v>50</v></c><c t=\"b\"><v>1</v></c>");
    assert_eq!(truth.shots[0].player_text.as_deref(), Some("true"));
    let broken = read("<c><v>50</v></c><c t=\"s\"><v>7</v></c>");
    assert_eq!(rules(&broken), [(4, "bad-workbook")]);
    assert_eq!((broken.rows_seen, broken.shots.len()), (1, 0));
    let result = xlsx(|sheet| {
        header(sheet, 0);
        sheet.write_string(1, 0, "2026-04-12 10:20:30").expect("a cell");
        sheet.write_formula(1, 1, Formula::new("=7*8").set_result("56")).expect("a cell");
    });
    assert_eq!(parse(&set, &result).shots[0].measures.get(Quantity::BallSpeedMps), Some(56.0));
}

#[test]
fn texts_may_be_shared_rich_or_inline() {
    let raw = RawXlsx {
        rows: format!(
            "<row>{}{}{}</row><row r=\"2\">{}<c r=\"B2\"><v>5e1</v></c><c r=\"C2\" t=\"s\"><v>1</v></c></row>",
            inline("t"),
            inline("v"),
            inline("n"),
            inline("2026-04-12 10:20:30")
        ),
        shared: "<si><t>zero</t></si><si><r><rPr><b/></rPr><t xml:space=\"preserve\">A&amp;B </t></r><r><t>&#67;_x0044_</t></r>\
                 <rPh sb=\"0\" eb=\"1\"><t>aid</t></rPh></si>"
            .to_owned(),
        ..RawXlsx::default()
    };
    assert_eq!(shown(&parse(&pack(""), &raw.bytes())), [row(2, "2026-04-12 10:20:30", 50.0, "A&B CD")]);
}

#[test]
fn dates_of_1904_and_times_of_day_are_read() {
    let raw = RawXlsx {
        rows: format!(
            "<row>{}{}{}</row><row><c s=\"1\"><v>44662.43090277778</v></c><c><v>50</v></c><c s=\"2\"><v>0.4166680902777778</v></c></row>\
             <row><c t=\"d\"><v>2026-04-12T10:20:30</v></c><c><v>51</v></c><c s=\"3\"><v>1.0854745370370370</v></c></row>",
            inline("t"),
            inline("v"),
            inline("n")
        ),
        styles: "<numFmts><numFmt numFmtId=\"164\" formatCode=\"[h]:mm:ss\"/></numFmts><cellStyleXfs><xf numFmtId=\"1\"/></cellStyleXfs>\
                 <cellXfs><xf numFmtId=\"0\"/><xf numFmtId=\"22\"/><xf numFmtId=\"21\"/><xf numFmtId=\"164\"/></cellXfs>"
            .to_owned(),
        workbook_attributes: "date1904=\"1\"".to_owned(),
        ..RawXlsx::default()
    };
    // [source: openpyxl 3.1.5, from_excel with MAC_EPOCH]
    let time = "2026-04-12T10:20:30.000";
    let file = parse(&pack(""), &raw.bytes());
    assert_eq!(shown(&file), [row(2, time, 50.0, "10:00:00.123"), row(3, time, 51.0, "26:03:05.000")]);
}

#[test]
fn an_ods_sheet_is_read_like_an_xlsx_sheet() {
    let typed = |kind: &str, value: &str| {
        format!(
            "<table:table-cell office:value-type=\"{kind}\" office:{kind}-value=\"{value}\"><text:p>shown</text:p></table:table-cell>"
        )
    };
    let time = typed("date", "2026-04-12T10:20:29.999999998");
    let noted = "<table:table-cell office:value-type=\"string\"><office:annotation><text:p>a note</text:p></office:annotation>\
                 <text:p>A<text:s text:c=\"2\"/>&lt;<text:span>B</text:span></text:p><text:p>C</text:p></table:table-cell>";
    let wrong = "<table:table-cell table:formula=\"of:=1/0\" calcext:value-type=\"error\" office:value-type=\"string\" office:string-value=\"\">\
                 <text:p>#DIV/0!</text:p></table:table-cell>";
    let old_wrong = "<table:table-cell table:formula=\"of:=1/0\" office:value-type=\"float\" office:value=\"0\"><text:p>#N/A</text:p></table:table-cell>";
    let unsolved = "<table:table-cell table:formula=\"of:=1+1\"/>";
    let rows = [
        "<table:table-column table:number-columns-repeated=\"16384\"/><table:table-row table:number-rows-repeated=\"3\"><table:table-cell/></table:table-row>".to_owned(),
        format!("<table:table-header-rows>{}</table:table-header-rows>", ods_row(&(ods_text("t") + &ods_text("v") + &ods_text("n")))),
        ods_row(&(time.clone() + &ods_number("50.5") + noted)),
        ods_row(&(time.clone() + wrong)),
        ods_row(&(time.clone() + old_wrong + &typed("time", "PT26H03M05.5S"))),
        ods_row(&(time.clone() + unsolved + &typed("boolean", "true"))),
        format!("<table:table-row table:number-rows-repeated=\"2\">{time}{}</table:table-row>", ods_number("60")),
        "<table:table-row table:number-rows-repeated=\"1048566\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>".to_owned(),
    ];
    let bytes = ods(&format!("<table:table table:name=\"Shots\">{}</table:table>", rows.concat()));
    let file = parse(&pack(""), &bytes);
    assert_eq!(rules(&file), [(6, "unreadable-value"), (0, "unsolved-formula")]);
    let time = "2026-04-12T10:20:30.000".to_owned();
    let some = |text: &str| Some(text.to_owned());
    let expected = [
        (5, time.clone(), Some(50.5), some("A  <B\nC")),
        (7, time.clone(), None, some("26:03:05.500")),
        (8, time.clone(), None, some("true")),
        (9, time.clone(), Some(60.0), None),
        (10, time, Some(60.0), None),
    ];
    assert_eq!(shown(&file), expected);
}

#[test]
fn merged_header_cells_of_an_ods_sheet_fill_what_they_span() {
    let spanned = "<table:table-cell table:number-columns-spanned=\"2\" office:value-type=\"string\"><text:p>Ball</text:p></table:table-cell>\
                   <table:covered-table-cell/><table:table-cell table:number-columns-repeated=\"2\"/>";
    let lower = ["t", "u", "v", "n"].map(ods_text).concat();
    let data = ods_text("2026-04-12 10:20:30") + &ods_number("1") + &ods_number("50") + &ods_text("Ada");
    let rows = ods_row(&("<table:table-cell/>".to_owned() + spanned)) + &ods_row(&lower) + &ods_row(&data);
    let bytes = ods(&format!("<table:table table:name=\"Shots\">{rows}</table:table>"));
    let set = named_pack("headerRows = [1, 2]\nheaderFill = true", "t", "Ball v", "n", "");
    assert_eq!(shown(&parse(&set, &bytes)), [row(3, "2026-04-12 10:20:30", 50.0, "Ada")]);
}

#[test]
fn keys_that_cannot_be_are_named() {
    let head = "name = \"small\"\nversion = \"1\"\nengine = \"spreadsheet\"\n[schema]\nfields = [\"t\"]\n[time]\nparts = [{ field = \"t\" }]\nepochUnit = \"s\"\n[dialect]\n";
    for (dialect, message) in [
        ("sheetName = \"A\"\nsheetNumber = 1", "give either sheetName or sheetNumber"),
        ("sheetNumber = 0", "sheets are counted from 1"),
        ("sheetName = \"\"", "sheetName is empty"),
        ("headerRows = []", "headerRows lists rows"),
        ("headerRows = [2, 1]", "headerRows lists rows"),
        ("unitsRow = 1", "unitsRow is a row"),
        ("preamble = { lines = 1, endMark = \"x\" }", "exactly one kind of end"),
        ("preamble = { lines = 1, separator = \"=\" }", "has no separator"),
        ("encoding = \"utf-8\"", "does not read dialect.encoding"),
    ] {
        let (set, faults) = load_text(&format!("{head}{dialect}\n"));
        assert!(set.packs().is_empty() && faults.len() == 1, "{dialect}: {faults:?}");
        assert!(faults[0].to_string().contains(message), "{dialect}: {}", faults[0]);
    }
}

#[test]
fn what_is_no_readable_workbook_is_called_by_its_name() {
    let compound = |stream: &str| {
        let mut bytes = vec![0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
        bytes.resize(512, 0);
        bytes.extend(stream.encode_utf16().flat_map(u16::to_le_bytes));
        bytes
    };
    let whole = RawXlsx::of_rows(format!("<row>{}</row>", inline("t"))).bytes();
    let locked_ods = package(&[
        ("META-INF/manifest.xml", "<m:manifest><m:file-entry><m:encryption-data/></m:file-entry></m:manifest>"),
        ("content.xml", "\u{1}"),
    ]);
    let set = pack("");
    for (bytes, rule, part) in [
        (b"t,v\n1,2\n".to_vec(), "bad-workbook", "neither xlsx nor ods"),
        (Vec::new(), "bad-workbook", "neither xlsx nor ods"),
        (compound("EncryptedPackage"), "locked-file", "protected by a password"),
        (locked_ods, "locked-file", "protected by a password"),
        (compound("Workbook"), "old-workbook", "old kind"),
        (package(&[("a.txt", "x")]), "bad-workbook", "no workbook"),
        (whole[..whole.len() - 30].to_vec(), "bad-workbook", "cannot be opened"),
        (
            package(&[("[Content_Types].xml", "<Types/>"), ("xl/workbook.xml", "<workbook><sheets>")]),
            "bad-workbook",
            "cut short",
        ),
        (package(&[("content.xml", "<a>&b;</a>")]), "no-sheet", "it has no sheets"),
    ] {
        let file = parse(&set, &bytes);
        let (found, message) = refusal(&file);
        assert!(found == rule && message.contains(part), "{found}: {message}");
        let formats::Recognition::NoMatch { scores } = set.recognise("a.xlsx", &bytes) else { panic!("no match") };
        assert!(scores[0].because.contains(part), "{}", scores[0].because);
    }
    assert!(only(&set).structural_end(&whole) && only(&set).structural_end(&whole[10..]));
    for cut in [1, 10, 22, 100] {
        assert!(!only(&set).structural_end(&whole[..whole.len() - cut]), "cut by {cut}");
    }
}

#[test]
fn another_reader_sees_the_same_cells() {
    // [source: calamine 0.38, a reader of both kinds]
    let bytes = xlsx(|sheet| {
        header(sheet, 2);
        for (line, speed, name) in [(3, 50.5, "Ada"), (5, 60.125, "Öß é <&>"), (9, 33.333_333_333_333_336, "x  y")] {
            sheet.write_string(line, 0, "2026-04-12 10:20:30").expect("a cell");
            sheet.write_number(line, 1, speed).expect("a cell");
            sheet.write_string(line, 2, name).expect("a cell");
        }
    });
    let row = |cells: String| ods_row(&(ods_text("2026-04-12 10:20:30") + &cells));
    let rows = [
        ods_row(&(ods_text("t") + &ods_text("v") + &ods_text("n"))),
        "<table:table-row table:number-rows-repeated=\"3\"><table:table-cell/></table:table-row>".to_owned(),
        row(ods_number("50.5") + &ods_text("Ada &lt;&#x263a;")),
        row(ods_number("61.1") + &ods_text("a<text:s text:c=\"3\"/>b")),
    ];
    let other = ods(&format!("<table:table table:name=\"Shots\">{}</table:table>", rows.concat()));
    for bytes in [bytes, other] {
        let ours: Vec<_> = shown(&parse(&pack(""), &bytes)).into_iter().map(|(line, _, v, n)| (line, v, n)).collect();
        let mut workbook = calamine::open_workbook_auto_from_rs(std::io::Cursor::new(bytes)).expect("a workbook");
        let range = workbook.worksheet_range_at(0).expect("a sheet").expect("cells");
        let first = i64::from(range.start().expect("cells").0);
        let mut theirs = Vec::new();
        for (place, cells) in range.rows().enumerate().skip(1) {
            if let (Data::Float(speed), Data::String(name)) = (&cells[1], &cells[2]) {
                theirs.push((first + i64::try_from(place).expect("few rows") + 1, Some(*speed), Some(name.clone())));
            }
        }
        assert_eq!(ours, theirs);
        assert!(ours.len() >= 2);
    }
}
