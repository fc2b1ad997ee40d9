//! JSON documents, and what JSON and XML documents share: where the records stand, what they see around them, and what a broken document
//! still gives.

use formats::{ParseLimits, ParsedFile, Recognition, SiteContext};
use shot::Quantity;

use crate::elements::runs;
use crate::{BALL_SPEED, load_text, only, parse, rules, site, sound};

pub const T: i64 = 1_776_006_429;

/// A pack for documents whose records have a time `t` and a speed `v`.
pub fn pack(engine: &str, dialect: &str, further: &str) -> formats::PackSet {
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[dialect]\n{dialect}\n[schema]\nfieldsMatch = \"subset\"\n\
         fields = [\"t\", \"v\"]\noptionalFields = [\"who\", \"ball.v\", \"ball/v\", \"ball/v/@unit\", \"@id\", \"../@day\", \"../../site/@name\", \
         \"runs.*.day\", \"runs.*\", \"mark[2]/x\", \"mark[1]/x\", \".\"]\n\
         [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n{BALL_SPEED}[shot]\n{further}\n"
    ))
}

fn json(property: &str) -> formats::PackSet {
    pack("json", &format!("property = \"{property}\""), "player = { field = \"who\" }")
}

pub fn xml(further: &str) -> formats::PackSet {
    pack("xml", "property = \"export/run/shot\"", further)
}

/// Place and speed of every shot; a shot without speed has none.
pub fn speeds(file: &ParsedFile) -> Vec<(i64, Option<f64>)> {
    file.shots.iter().map(|shot| (shot.source_row, shot.measures.get(Quantity::BallSpeedMps))).collect()
}

pub fn players(file: &ParsedFile) -> Vec<Option<&str>> {
    file.shots.iter().map(|shot| shot.player_text.as_deref()).collect()
}

/// A record with the seconds and speed given.
fn row(second: i64, speed: &str) -> String {
    format!("{{\"t\":{},\"v\":{speed}}}", T + second)
}

#[test]
fn the_list_is_found_by_its_path() {
    let (a, b) = (row(0, "50"), row(1, "51.5"));
    let both = vec![(1, Some(50.0)), (2, Some(51.5))];
    let cases = [
        ("", format!("[{a},{b}]")),
        ("", format!("\u{feff}\r\n[{a},\r\n{b}\r\n]\r\n").replace("\r\n[", "[")),
        ("shots", format!("{{\"shots\":[{a},{b}],\"shots2\":[{a}]}}")),
        ("data.shots", format!("{{\"x\":[[{a}]],\"data\":{{\"n\":1,\"shots\":[{a},{b}]}}}}")),
        ("data.1.shots", format!("{{\"data\":[{{\"shots\":[{b}]}},{{\"shots\":[{a},{b}]}}]}}")),
        ("runs.*.shots", format!("{{\"runs\":[{{\"shots\":[{a}]}},{{\"shots\":null}},{{}},{{\"shots\":[{b}]}}]}}")),
        ("*.*", format!("{{\"wren\":{{\"driver\":[{a}]}},\"rook\":{{\"iron\":[{b}]}}}}")),
    ];
    for (property, text) in cases {
        let file = parse(&json(property), text.as_bytes());
        assert_eq!((speeds(&file), rules(&file)), (both.clone(), vec![]), "{property}: {text}");
        assert!(only(&json(property)).structural_end(text.as_bytes()), "{text}");
    }
}

#[test]
fn records_are_counted_by_line_unless_two_share_one() {
    let (a, b) = (row(0, "50"), row(1, "bad"));
    let by_line = format!("{{\n\"shots\": [\n{a},\n\n{b},\r{a}]}}");
    let file = parse(&json("shots"), by_line.as_bytes());
    assert_eq!(speeds(&file), [(3, Some(50.0)), (6, Some(50.0))]);
    assert_eq!(rules(&file), [(5, "bad-json")]);
    let by_number = format!("{{\n\"shots\": [\n{a},\n\n{b},{a}]}}");
    let file = parse(&json("shots"), by_number.as_bytes());
    assert_eq!(speeds(&file), [(1, Some(50.0)), (3, Some(50.0))]);
    assert_eq!((rules(&file), file.rows_rejected(), file.rows_seen), (vec![(2, "bad-json")], 1, 3));
}

#[test]
fn numbers_of_json_need_no_decimal_comma() {
    let format = format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"json\"\n[schema]\nfieldsMatch = \"subset\"\nfields = [\"t\", \"v\"]\ndecimalChar = \".\"\n\
         [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n{BALL_SPEED}"
    );
    let file = parse(&sound(&format), format!("[{},{}]", row(0, "5e1"), row(1, "\"51.5\"")).as_bytes());
    assert_eq!((speeds(&file), rules(&file)), (vec![(1, Some(50.0)), (2, Some(51.5))], vec![]));
}

#[test]
fn a_record_sees_the_run_it_is_in() {
    let further =
        "session = { field = \"runs.*.day\" }\nbay = { field = \"runs.*\" }\nballKind = { preamble = \"made.by\" }";
    let set = pack("json", "property = \"runs.*.shots\"", further);
    let (a, b) = (row(0, "50"), row(1, "51"));
    let text = format!(
        "{{\"runs\":[{{\"day\":\"mon\",\"shots\":[{a}]}},{{\"shots\":[{b},{b}],\"day\":\"tue\"}},{{\"shots\":[{a}]}}],\"made\":{{\"by\":7}}}}"
    );
    let file = parse(&set, text.as_bytes());
    let found: Vec<_> = file.shots.iter().map(|shot| (shot.session_text.as_deref(), shot.bay.as_deref())).collect();
    let expected = [(Some("mon"), Some("0")), (Some("tue"), Some("1")), (Some("tue"), Some("1")), (None, Some("2"))];
    assert_eq!(found, expected, "also where the day stands behind the shots");
    assert_eq!(file.shots[0].ball_kind.as_deref(), Some("7"), "also where the preamble stands behind the records");
}

#[test]
fn a_broken_record_costs_itself() {
    let (a, b) = (row(0, "50"), row(1, "51"));
    let cases = [
        ("{\"t\":1,\"v\":}", "bad-json"),
        ("{\"t\":1,\"v\":[1}", "bad-json"),
        ("{\"t\":1,\"v\":\"x\n}", "bad-json"),
        ("{\"t\":1,\"v\":1e999}", "bad-json"),
        ("{\"t\":1 \"v\":2}", "bad-json"),
        ("{t:1}", "bad-json"),
        ("7", "bad-json"),
        ("null", "bad-json"),
        ("[]", "bad-json"),
        ("{\"t\":1,\"v\":\"\\ud800\"}", "bad-json"),
        (&row(1, "{}"), "not-a-number"),
        (&format!("{{\"t\":1,\"v\":{}1{}}}", "[".repeat(40), "]".repeat(40)), "too-deep"),
        (&format!("{{\"t\":1,\"v\":{}1{}}}", "[".repeat(50_000), "]".repeat(50_000)), "too-deep"),
    ];
    for (broken, rule) in cases {
        let file = parse(&json("shots"), format!("{{\"shots\":[{a},{broken},{b}]}}").as_bytes());
        assert_eq!(speeds(&file), [(1, Some(50.0)), (3, Some(51.0))], "{broken}");
        assert!(file.problems.iter().all(|problem| problem.line == 2 && problem.rule == rule), "{broken}: {file:?}");
        assert_eq!(file.rows_seen, 3);
    }
    let nan = parse(&json("shots"), format!("{{\"shots\":[{a},{},{b}]}}", row(2, "NaN")).as_bytes());
    assert_eq!(speeds(&nan), [(1, Some(50.0)), (2, None), (3, Some(51.0))], "NaN is no reading");
}

#[test]
fn what_breaks_the_document_is_said_once_and_refuses_it() {
    let (a, b) = (row(0, "50"), row(1, "51"));
    let cases = [
        (format!("{{\"shots\":[{a} {b}]}}"), 1, "bad-json", "line 1: \"{\" stands where a comma or \"]\" is expected"),
        (format!("{{\"shots\":[{a},\n{{\"t\":1,\n{b}]}}"), 1, "bad-json", "cannot be read on from line 2"),
        (format!("{{\"shots\":[{a},{{\"t\":\"1,\"v\":2}},{b}]}}"), 1, "bad-json", "cannot be read on from line 1"),
        (format!("{{\"shots\":[{a},]}}"), 1, "bad-json", "a value is expected"),
        (format!("{{\"shots\":[{a}]}}\n{{\"shots\":[{b}]}}"), 1, "bad-json", "second document begins at line 2"),
        (format!("{{\"shoots\":[{a}]}}"), 0, "no-records", "no list at \"shots\""),
        ("[]".to_owned(), 0, "no-records", "no list at \"shots\""),
        ("7".to_owned(), 0, "no-records", "no list at \"shots\""),
        (String::new(), 0, "no-records", "ends before it is closed"),
        ("nothing here".to_owned(), 0, "no-records", "no list at"),
    ];
    for (text, shots, rule, said) in cases {
        let file = parse(&json("shots"), text.as_bytes());
        assert_eq!((file.shots.len(), rules(&file)), (shots, vec![(0, rule)]), "{text}");
        assert!(file.problems[0].message.contains(said), "{}", file.problems[0].message);
        assert!((file.problem_share() - 1.0).abs() < f64::EPSILON, "refused");
    }
    let noted = parse(&json("shots"), format!("{{\"shots\":[{a}],\"x\":bad}}\n;").as_bytes());
    assert_eq!((noted.shots.len(), rules(&noted)), (1, vec![(0, "bad-json"), (0, "bad-json")]));
    assert!(noted.problem_share() < f64::EPSILON, "what is beside the records costs none");
    let stray =
        parse(&json("runs.*.shots"), format!("{{\"runs\":[{{\"shots\":{{}}}},{{\"shots\":[{b}]}}]}}").as_bytes());
    assert_eq!((speeds(&stray), rules(&stray)), (vec![(2, Some(51.0))], vec![(1, "no-records")]));
}

#[test]
fn a_json_file_cut_anywhere_gives_the_rows_before_the_cut() {
    let text = format!(
        "{{\"v\":\"ä\",\"shots\":[{},\n{},\n{}],\"n\":{{}}}}\n",
        row(0, "50"),
        row(1, "51"),
        row(2, "\"5\\\"\"")
    );
    let set = json("shots");
    let ends: Vec<usize> = text.match_indices('}').map(|(at, _)| at + 1).take(3).collect();
    for cut in 0..text.len() - 2 {
        let file = parse(&set, &text.as_bytes()[..cut]);
        let whole = ends.iter().filter(|end| **end <= cut).count();
        assert_eq!(file.rows_seen.min(2), file.rows_seen.min(whole as u64 + 1).min(2), "{cut}: {file:?}");
        assert_eq!(file.shots.len(), whole.min(2), "{cut}: {file:?}");
        let last = file.problems.last().expect("a problem");
        assert!(["truncated", "no-records"].contains(&last.rule.as_str()), "{cut}: {last:?}");
        assert_eq!(last.rule == "no-records", !text[..text.floor_char_boundary(cut)].contains('['), "{cut}: {last:?}");
        assert!(!only(&set).structural_end(&text.as_bytes()[..cut]), "{cut}");
    }
}

#[test]
fn wide_json_is_read_by_its_mark() {
    let set = pack("json", "encoding = [\"utf-8\", \"utf-16le\", \"utf-16be\"]", "player = { field = \"who\" }");
    let text = format!("[{{\"who\":\"Ärla\",\"t\":{T},\"v\":50}}]");
    let little: Vec<u8> = [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let big: Vec<u8> = [0xfe, 0xff].into_iter().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect();
    let plain: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    for bytes in [text.clone().into_bytes(), little, big, plain] {
        let file = parse(&set, &bytes);
        assert_eq!((players(&file), rules(&file)), (vec![Some("Ärla")], vec![]), "{bytes:?}");
        assert!(only(&set).structural_end(&bytes));
    }
}

#[test]
fn documents_are_recognised_by_their_paths() {
    let found =
        |set: &formats::PackSet, text: &str| matches!(set.recognise("x", text.as_bytes()), Recognition::Match { .. });
    let (a, b) = (row(0, "50"), row(1, "51"));
    assert!(found(&json("data.shots"), &format!("{{\"data\":{{\"shots\":[{a},{b}]}}}}")));
    assert!(!found(&json("shots"), &format!("{{\"data\":{{\"shots\":[{a},{b}]}}}}")));
    assert!(found(&xml(""), &runs()));
    assert!(!found(&xml(""), &runs().replace("export", "import")));
    assert!(!found(&xml(""), &format!("[{a}]")) && !found(&json(""), &runs()));
}

#[test]
fn limits_of_documents_hold() {
    let with = |set: &formats::PackSet, text: &str, limits: ParseLimits| {
        let file = only(set).parse("a", text.as_bytes(), &SiteContext { limits, ..site() });
        (file.shots.len(), rules(&file).iter().map(|(line, rule)| format!("{line} {rule}")).collect::<Vec<_>>())
    };
    let limits = ParseLimits::default();
    let json_text =
        format!("[{},{},{}]", row(0, "50"), row(1, "5.0000000000000000000000000000000000000"), row(2, "52"));
    let xml_text = format!(
        "<export><run>{0}<shot><t>{T}</t><v>{1}</v></shot>{0}</run></export>",
        format_args!("<shot><t>{T}</t><v>50</v></shot>"),
        "5".repeat(60)
    );
    for (set, text) in [(json(""), json_text), (xml(""), xml_text)] {
        let small = ParseLimits { max_line_bytes: 50, ..limits };
        assert_eq!(with(&set, &text, small), (2, vec!["2 line-too-long".to_owned()]), "{text}");
        let few = ParseLimits { max_rows: 1, ..limits };
        assert_eq!(with(&set, &text, few).1.last().map(String::as_str), Some("0 too-many-rows"));
        let tiny = ParseLimits { max_file_bytes: 30, ..limits };
        assert_eq!(with(&set, &text, tiny), (0, vec!["0 file-too-large".to_owned()]));
    }
}

#[test]
fn paths_of_packs_are_checked() {
    let faults = |engine: &str, dialect: &str| {
        let text = format!(
            "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[dialect]\n{dialect}\n[schema]\nfields = [\"t\", \"v\"]\n\
             [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n{BALL_SPEED}"
        );
        load_text(&text)
            .1
            .iter()
            .map(|fault| format!("{}:{} {}", fault.line, fault.column, fault.message))
            .collect::<Vec<_>>()
    };
    let long = vec!["a"; 17].join(".");
    for (engine, property, expected) in [
        ("json", "a..b", "5:12 the path \"a..b\" has an empty step"),
        ("json", long.as_str(), "5:12 the path has more than 16 steps"),
        ("xml", "", "5:12 the path \"\" has an empty step"),
        ("xml", "a//b", "5:12 the path \"a//b\" has an empty step"),
        ("xml", "a/x:b", "5:12 \"x:b\" has a prefix"),
        ("xml", "a/@b", "5:12 \"@b\" is no element name"),
    ] {
        assert_eq!(faults(engine, &format!("property = \"{property}\"")), [expected]);
    }
    assert_eq!(faults("xml", ""), ["3:10 the engine xml needs dialect.property"]);
    assert_eq!(faults("xml", "property = \"/a/b\""), [""; 0]);
    assert_eq!(faults("json", ""), [""; 0]);
    assert_eq!(
        faults("xml", "property = \"a\"\nencoding = \"utf-8\""),
        ["6:12 the engine xml does not read dialect.encoding"]
    );
}
