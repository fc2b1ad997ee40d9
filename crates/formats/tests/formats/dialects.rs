//! What delimited text comes in: preambles, headers of several rows, mixed line ends, quotes, ragged rows, limits.

use formats::ParseLimits;
use shot::{Quantity, Severity};

use crate::{BALL_SPEED, only, parse, rules, site, small_head, sound};

const TIMES: [i64; 3] = [1_776_006_429, 1_776_006_430, 1_776_006_431];

fn small(dialect: &str) -> formats::PackSet {
    sound(&(small_head("\"t\", \"v\"", dialect) + BALL_SPEED))
}

fn speeds(file: &formats::ParsedFile) -> Vec<(i64, f64)> {
    let speed = |shot: &shot::ParsedShot| shot.measures.get(Quantity::BallSpeedMps).expect("a speed");
    file.shots.iter().map(|shot| (shot.source_row, speed(shot))).collect()
}

#[test]
fn lines_are_physical_lines() {
    let [a, b, c] = TIMES;
    let text = format!("# head\r\n\r\nt,v\n{a},50\r{b},51\r\n\n# note\n\"{c}\",\"52\"");
    let file = parse(&small("commentChar = \"#\""), text.as_bytes());
    assert_eq!(rules(&file), []);
    assert_eq!(speeds(&file), [(4, 50.0), (5, 51.0), (8, 52.0)]);
    assert_eq!(file.rows_seen, 3);
}

#[test]
fn a_quoted_cell_may_hold_line_ends() {
    let [a, b, _] = TIMES;
    let set = sound(&(small_head("\"t\", \"v\", \"n\"", "") + BALL_SPEED + "[shot]\nplayer = { field = \"n\" }\n"));
    let file = parse(&set, format!("t,v,n\n{a},50,\"one\ntwo \"\"x\"\"\"\n{b},51,three\n").as_bytes());
    assert_eq!(speeds(&file), [(2, 50.0), (4, 51.0)]);
    assert_eq!(file.shots[0].player_text.as_deref(), Some("one\ntwo \"x\""));
}

#[test]
fn an_open_quote_costs_one_row_only() {
    let [a, b, c] = TIMES;
    let file = parse(&small(""), format!("t,v\n{a},50\n{b},\"51\n{c},52\n").as_bytes());
    assert_eq!(rules(&file), [(3, "unclosed-quote")]);
    assert_eq!(speeds(&file), [(2, 50.0), (4, 52.0)]);
    assert!((file.problem_share() - 1.0 / 3.0).abs() < 1e-12);
}

#[test]
fn ragged_rows_are_told_from_trailing_delimiters() {
    let [a, b, c] = TIMES;
    let file = parse(&small(""), format!("t,v\n{a},50,,\n{b}\n{c},52,x\n").as_bytes());
    assert_eq!(rules(&file), [(3, "ragged-row"), (4, "ragged-row")]);
    assert_eq!(speeds(&file), [(2, 50.0)]);
}

#[test]
fn headers_of_two_rows_are_joined() {
    let set =
        sound(&(small_head("\"t\", \"ball v\"", "headerRows = [1, 2]") + &BALL_SPEED.replace("\"v\"", "\"ball v\"")));
    let file = parse(&set, format!(",ball\nt,v\n{},50\n", TIMES[0]).as_bytes());
    assert_eq!(speeds(&file), [(3, 50.0)]);
}

#[test]
fn a_preamble_of_fixed_length_is_addressed_by_key() {
    let format = small_head("\"t\", \"v\"", "preamble = { lines = 2, separator = \"=\" }") + BALL_SPEED;
    let set = sound(&(format + "[shot]\nsession = { preamble = \"run\" }\n"));
    let file = parse(&set, format!("Run = A 7\nnothing\nt,v\n{},50\n", TIMES[0]).as_bytes());
    assert_eq!(file.shots[0].session_text.as_deref(), Some("A 7"));
    assert_eq!(rules(&parse(&set, b"Run = A\n")), [(0, "no-header")]);
}

#[test]
fn bytes_that_are_no_text_cost_their_row() {
    let [a, b, _] = TIMES;
    let mut bytes = format!("t,v\n{a},50\n").into_bytes();
    bytes.extend_from_slice(b"\xff\xfe,51\n");
    bytes.extend_from_slice(format!("{b},52\n").as_bytes());
    let file = parse(&small(""), &bytes);
    assert_eq!(rules(&file), [(3, "bad-encoding")]);
    assert_eq!(speeds(&file), [(2, 50.0), (4, 52.0)]);
    let wide = parse(&small(""), b"\xff\xfet\0,\0v\0\n\0");
    assert_eq!(rules(&wide), [(0, "bad-encoding")]);
    assert!((wide.problem_share() - 1.0).abs() < f64::EPSILON);
}

#[test]
fn a_header_that_cannot_serve_is_said_once() {
    let [a, b, _] = TIMES;
    let lacking = parse(&small(""), format!("t,w\n{a},50\n{b},51\n").as_bytes());
    assert_eq!(rules(&lacking), [(1, "missing-column")]);
    assert_eq!(lacking.problems[0].severity, Severity::Noted);
    assert_eq!(lacking.shots.len(), 2);
    assert_eq!(rules(&parse(&small(""), b"v,w\n50,1\n")), [(0, "missing-column")]);
    assert_eq!(rules(&parse(&small(""), b"t,v,v\n1,50,51\n")), [(0, "ambiguous-column")]);
    assert_eq!(rules(&parse(&small(""), b"")), [(0, "no-header")]);
}

#[test]
fn limits_hold() {
    let set = small("");
    let rows = format!("t,v\n{},50\n{},51\n{},{}\n", TIMES[0], TIMES[1], TIMES[2], "5".repeat(60));
    let with = |limits: ParseLimits| {
        let file = only(&set).parse("a.csv", rows.as_bytes(), &formats::SiteContext { limits, ..site() });
        (file.shots.len(), rules(&file).iter().map(|(line, rule)| (*line, (*rule).to_owned())).collect::<Vec<_>>())
    };
    let limits = ParseLimits::default();
    assert_eq!(with(ParseLimits { max_file_bytes: 30, ..limits }), (0, vec![(0, "file-too-large".to_owned())]));
    assert_eq!(with(ParseLimits { max_line_bytes: 50, ..limits }), (2, vec![(4, "line-too-long".to_owned())]));
    assert_eq!(with(ParseLimits { max_rows: 1, ..limits }).1, vec![(0, "too-many-rows".to_owned())]);
    assert_eq!(with(ParseLimits { max_fields: 1, ..limits }), (0, vec![(0, "no-header".to_owned())]));
}

#[test]
fn units_rows_name_the_unit_and_strange_units_cost_the_row() {
    let format = small_head("\"t\", \"v\"", "unitsRow = 2")
        + "[unitWords]\nmph = \"[mi_i]/h\"\nyards = \"[yd_i]\"\n"
        + &BALL_SPEED.replace("measured", "unitFrom = \"units-row\", measured");
    let set = sound(&format);
    let read = |unit: &str| parse(&set, format!("t,v\n,{unit}\n{},100\n", TIMES[0]).as_bytes());
    assert!((speeds(&read("mph"))[0].1 - 44.704).abs() < 1e-12);
    assert!((speeds(&read(""))[0].1 - 100.0).abs() < 1e-12);
    for strange in ["yards", "furlongs"] {
        assert_eq!(rules(&read(strange)), [(3, "unit-unknown")]);
    }
}

#[test]
fn an_unknown_word_may_be_noted_instead() {
    let words = "[shot.club]\nfield = \"c\"\nunknown = \"note\"\n[shot.club.values]\nD = { clubId = \"driver\", clubKind = \"driver\" }\n";
    let set = sound(&(small_head("\"t\", \"v\", \"c\"", "") + BALL_SPEED + words));
    let file = parse(&set, format!("t,v,c\n{},50,D\n{},51,E\n", TIMES[0], TIMES[1]).as_bytes());
    let clubs: Vec<Option<&str>> = file.shots.iter().map(|shot| shot.club_id.as_deref()).collect();
    assert_eq!(clubs, [Some("driver"), None]);
    assert_eq!(rules(&file), [(3, "unknown-value")]);
    assert!(file.problem_share().abs() < f64::EPSILON);
}

#[test]
fn two_equal_rows_are_both_kept() {
    let file = parse(&small(""), format!("t,v\n{0},50\n{0},50\n", TIMES[0]).as_bytes());
    assert_eq!(speeds(&file), [(2, 50.0), (3, 50.0)]);
}

#[test]
fn every_problem_of_a_row_is_named() {
    let file = parse(&small(""), b"t,v\nnoon,fast\n");
    assert_eq!(rules(&file), [(2, "bad-time"), (2, "not-a-number")]);
    assert_eq!((file.rows_seen, file.rows_rejected()), (1, 1));
    let problem = &file.problems[1];
    assert_eq!((problem.column.as_deref(), problem.text.as_str()), (Some("v"), "fast"));
    assert!(!problem.message.is_empty() && !problem.hint.is_empty());
}

/// A pack with a text field `n` beside time and speed.
fn with_name(dialect: &str) -> formats::PackSet {
    sound(&(small_head("\"t\", \"v\", \"n\"", dialect) + BALL_SPEED + "[shot]\nplayer = { field = \"n\" }\n"))
}

fn names(file: &formats::ParsedFile) -> Vec<&str> {
    file.shots.iter().map(|shot| shot.player_text.as_deref().unwrap_or("")).collect()
}

#[test]
fn escapes_work_inside_and_outside_quotes() {
    // [source: Frictionless Table Dialect, `escapeChar` and `doubleQuote`; rows worked by hand]
    let [a, b, c] = TIMES;
    let text = format!("t,v,n\n{a},50,\"x\\\"y, z\"\n{b},51,x\\,y\n{c},52,C:\\\\d\n{c},53,end\\\n");
    for double_quote in ["doubleQuote = false\n", ""] {
        let file = parse(&with_name(&format!("{double_quote}escapeChar = \"\\\\\"")), text.as_bytes());
        assert_eq!(names(&file), ["x\"y, z", "x,y", "C:\\d"], "{double_quote}");
        assert_eq!(rules(&file), [(5, "unclosed-quote")], "an escape with nothing behind it");
    }
    let doubled = parse(&with_name("escapeChar = \"\\\\\""), format!("t,v,n\n{a},50,\"x\"\"y\"\n").as_bytes());
    assert_eq!(names(&doubled), ["x\"y"]);
    let line_end = format!("t,v,n\n{a},50,one\\\ntwo\n{b},51,three\n");
    assert_eq!(names(&parse(&with_name("escapeChar = \"\\\\\""), line_end.as_bytes())), ["one\ntwo", "three"]);
}

#[test]
fn blanks_behind_delimiters_may_be_skipped() {
    let text = format!("t, v, n\n{}, 50, \"a, b\"\n", TIMES[0]);
    assert_eq!(names(&parse(&with_name("skipInitialSpace = true"), text.as_bytes())), ["a, b"]);
    assert_eq!(rules(&parse(&with_name(""), text.as_bytes())), [(2, "ragged-row")], "the quote stands behind a blank");
}

#[test]
fn merged_header_cells_are_filled() {
    let set = sound(
        &(small_head("\"t\", \"ball.v\", \"club.v\"", "headerRows = [1, 2]\nheaderFill = true\nheaderJoin = \".\"")
            + "[measures]\nball_speed_mps = { field = \"ball.v\", unit = \"m/s\", measured = true }\n\
               club_speed_mps = { field = \"club.v\", unit = \"m/s\", measured = true }\n"),
    );
    let text = format!(",ball,,club,,\nt,v,u,v,u,\n{},50,1,40,2,\n", TIMES[0]);
    let file = parse(&set, text.as_bytes());
    assert_eq!(rules(&file), []);
    assert_eq!(file.shots[0].measures.get(Quantity::BallSpeedMps), Some(50.0));
    assert_eq!(file.shots[0].measures.get(Quantity::ClubSpeedMps), Some(40.0));
}

#[test]
fn short_rows_may_be_padded() {
    let [a, b, c] = TIMES;
    let text = format!("t,v,n\n{a},50\n{b}\n{c},52,x,\n");
    let file = parse(&with_name("shortRows = \"pad\""), text.as_bytes());
    assert_eq!(rules(&file), []);
    assert_eq!(names(&file), ["", "", "x"]);
    assert_eq!(rules(&parse(&with_name(""), text.as_bytes())), [(2, "ragged-row"), (3, "ragged-row")]);
}

#[test]
fn a_delimiter_behind_the_header_names_no_column() {
    let [a, b, _] = TIMES;
    let set = small("");
    let file = parse(&set, format!("t,v,\n{a},50,\n{b},51\n").as_bytes());
    assert_eq!(speeds(&file), [(2, 50.0), (3, 51.0)]);
    assert!(matches!(set.recognise("a.csv", b"t,v,\n"), formats::Recognition::Match { .. }));
}

#[test]
fn appended_sessions_repeat_the_header() {
    let [a, b, c] = TIMES;
    let file =
        parse(&small("commentChar = \"#\""), format!("t,v\n{a},50\n\n# next\n t ,v\n{b},51\nt,v\n{c},52\n").as_bytes());
    assert_eq!(rules(&file), []);
    assert_eq!(speeds(&file), [(2, 50.0), (6, 51.0), (8, 52.0)]);
    assert_eq!(file.rows_seen, 3);
    let format = small_head("\"t\", \"v\"", "headerRows = [2]\nunitsRow = 3")
        + "[unitWords]\nmph = \"[mi_i]/h\"\n"
        + &BALL_SPEED.replace("measured", "unitFrom = \"units-row\", measured");
    // The second session was measured in other units than the first.
    let text = format!("Shots,\nt,v\n,mph\n{a},100\nShots,\nt,v\n,m/s\n{b},51\n");
    let file = parse(&sound(&format), text.as_bytes());
    assert_eq!(rules(&file), []);
    assert!((speeds(&file)[0].1 - 44.704).abs() < 1e-12);
    assert_eq!(speeds(&file)[1], (8, 51.0));
}

#[test]
fn a_row_torn_by_a_crash_costs_itself_only() {
    let [a, b, _] = TIMES;
    let mut bytes = format!("t,v\n{a},50\n").into_bytes();
    bytes.extend_from_slice(&[0; 300]);
    bytes.extend_from_slice(format!("\n{b},51\n").as_bytes());
    let file = parse(&small(""), &bytes);
    assert_eq!(rules(&file), [(3, "bad-encoding")]);
    assert_eq!(speeds(&file), [(2, 50.0), (4, 51.0)]);
}

#[test]
fn encodings_go_by_their_names_on_the_web() {
    // [source: WHATWG Encoding Standard, indexes: 0xA4 is U+20AC in iso-8859-15, 0xE4 is U+00E4 in iso-8859-1, 0xC4 U+0414 in windows-1251]
    for (label, byte, expected) in [("iso-8859-15", 0xa4, "€"), ("ISO-8859-1", 0xe4, "ä"), ("windows-1251", 0xc4, "Д")]
    {
        let set = with_name(&format!("encoding = [\"utf-8\", \"{label}\"]"));
        let bytes = [format!("t,v,n\n{},50,", TIMES[0]).as_bytes(), &[byte], b"\n"].concat();
        assert_eq!(names(&parse(&set, &bytes)), [expected], "{label}");
    }
    let text = format!("t,v,n\r\n{},50,ä\r\n", TIMES[0]);
    let set = with_name("encoding = [\"utf-8\", \"utf-16le\", \"utf-16be\"]");
    let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    for bytes in
        [little.clone(), big.clone(), [&[0xff, 0xfe][..], &little].concat(), [&[0xfe, 0xff][..], &big].concat()]
    {
        assert_eq!(names(&parse(&set, &bytes)), ["ä"]);
        assert!(only(&set).structural_end(&bytes[bytes.len() - 4..]));
    }
}
