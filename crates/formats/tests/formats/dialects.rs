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
