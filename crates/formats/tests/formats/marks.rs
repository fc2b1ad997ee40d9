//! Packs of kind `strike-marks`: what a row becomes, what costs it, and which packs cannot be.

use formats::{PackKind, PackSet, ParsedFile, Recognition, test_pack};
use proptest::prelude::*;
use shot::ParsedMark;

use crate::{BALL_SPEED, load_text, only, parse, rules, shipped, shipped_dir, site, small_head, sound};

/// A small pack of strike marks: fields `t` (seconds since 1970) and the given ones, `x` for "no mark".
fn head(fields: &str) -> String {
    small_head(&format!("\"t\", {fields}"), "")
        .replace("[dialect]", "kind = \"strike-marks\"\n[dialect]")
        .replace("[schema]", "[schema]\nmissingValues = [\"x\"]")
}

const TOE_UP: &str = "[measures]\n\
    strike_toe_mm = { field = \"a\", unit = \"mm\", measured = true, standardDeviation = 2.0 }\n\
    strike_up_mm = { field = \"b\", unit = \"mm\", measured = true }\n";

const CELLS: &str = "[mark.grid]\nfield = \"a\"\ncolumns = \"ABCDE\"\nfirstColumn = \"heel\"\ncellWidth = 1.2\n\
    rows = [\"1\", \"2\", \"3\"]\nfirstRow = \"top\"\ncellHeight = 0.8\nunit = \"cm\"\ncentre = \"C2\"\nstandardDeviation = 0.15\n";

/// Marks as `toe/up/sd`, the height `-` where there is none.
fn spots(file: &ParsedFile) -> Vec<String> {
    let shown = |mark: &ParsedMark| {
        let up = mark.strike_up_mm.map_or("-".to_owned(), |up| format!("{up:.2}"));
        format!("{:.2}/{up}/{:.3}", mark.strike_toe_mm, mark.strike_sd_mm)
    };
    file.marks.iter().map(shown).collect()
}

fn read(pack: &str, rows: &str) -> ParsedFile {
    parse(&sound(pack), rows.as_bytes())
}

#[test]
fn shipped_packs_of_marks_know_their_strike() {
    let set = shipped();
    let kinds: Vec<(&str, PackKind)> = set.packs().iter().map(|pack| (pack.name(), pack.kind())).collect();
    assert!(kinds.contains(&("strike-lines", PackKind::Shots)), "{kinds:?}");
    // [derived: sqrt(10^2 / 12 + 1.5^2) = 3.253 203 549 323 856, two calculators]
    for (name, deviation) in [("spray-list", 2.0), ("tape-grid", 3.253_203_549_323_856)] {
        let pack = set.pack(name).expect("shipped");
        assert_eq!(pack.kind(), PackKind::StrikeMarks);
        let report = test_pack(pack);
        assert!(report.passed() && report.samples[0].marks == 6, "{report}");
        assert!(report.to_string().contains(" 6 marks, "), "{report}");
        let devices = pack.devices();
        let quantities: Vec<&str> = devices.iter().map(|row| row.quantity.as_str()).collect();
        assert_eq!(quantities, ["strike_toe_mm", "strike_up_mm"]);
        for row in devices {
            assert!(row.measured && (row.standard_deviation.expect("known") - deviation).abs() < 1e-12);
            assert_eq!((row.format.as_str(), row.format_version.as_str()), (name, "1.0.0"));
        }
    }
}

#[test]
fn numbers_become_positions() {
    // [source: NIST SP 811: 1 in = 25.4 mm exactly]
    let file = read(&(head("\"a\", \"b\"") + TOE_UP), "t,a,b\n1776006429,-12.5,3\n1776006430,0,\n");
    assert_eq!(spots(&file), ["-12.50/3.00/2.000", "0.00/-/2.000"]);
    assert!(file.shots.is_empty() && file.problems.is_empty());
    let inches = head("\"a\", \"b\"")
        + "[measures]\nstrike_toe_mm = { field = \"a\", unit = \"[in_i]\", sign = \"inverted\", measured = true }\n\
           strike_sd_mm = { field = \"b\", unit = \"[in_i]\", measured = true }\n";
    let file = read(&inches, "t,a,b\n1776006429,0.5,0.1\n1776006430,-1,\n1776006431,-1,0\n1776006432,-1,-1\n");
    assert_eq!(spots(&file), ["-12.70/-/2.540"]);
    assert_eq!(rules(&file), [(3, "missing-required"), (4, "out-of-range"), (5, "out-of-range")]);
}

#[test]
fn cells_become_positions() {
    // [derived by hand: cells of 12 by 8 mm from C2; sqrt(12^2 / 12 + 1.5^2) = 3.775]
    let file = read(
        &(head("\"a\"") + CELLS),
        "t,a\n1776006429,C2\n1776006430,a1\n1776006431,E 3\n1776006432,F1\n1776006433,3E\n",
    );
    assert_eq!(spots(&file), ["0.00/0.00/3.775", "-24.00/8.00/3.775", "24.00/-8.00/3.775"]);
    assert_eq!(rules(&file), [(5, "unknown-cell"), (6, "unknown-cell")]);
    let problem = &file.problems[0];
    assert_eq!((problem.column.as_deref(), problem.text.as_str()), (Some("a"), "F1"));
    assert_eq!(problem.hint, "the grid of the pack has the columns A B C D E and the rows 1 2 3");
}

#[test]
fn column_and_row_may_stand_apart() {
    let apart = CELLS
        .replace("field = \"a\"", "columnField = \"a\"\nrowField = \"b\"")
        .replace("\"ABCDE\"", "[\"H2\", \"H1\", \"0\", \"T1\", \"T2\"]")
        .replace("\"C2\"", "\"0 2\"")
        .replace("standardDeviation = 0.15\n", "")
        .replace("\"heel\"", "\"toe\"")
        .replace("\"top\"", "\"bottom\"");
    let file = read(
        &(head("\"a\", \"b\"") + &apart),
        "t,a,b\n1776006429,h2,3\n1776006430,T1,\n1776006431,,1\n1776006432,x,x\n1776006433,x,1\n1776006434,0,4\n1776006435,H3,1\n",
    );
    // [derived: 12 / sqrt 12 = sqrt 12 = 3.464]
    assert_eq!(spots(&file), ["24.00/8.00/3.464", "-12.00/-/3.464"]);
    let expected =
        [(4, "missing-required"), (5, "no-mark"), (6, "missing-required"), (7, "unknown-cell"), (8, "unknown-cell")];
    assert_eq!(rules(&file), expected);
}

#[test]
fn a_grid_may_have_columns_alone_and_the_row_its_own_deviation() {
    let zones = head("\"a\", \"b\"")
        + "[mark.grid]\nfield = \"a\"\ncolumns = [\"heel\", \"mid\", \"toe\"]\nfirstColumn = \"heel\"\ncellWidth = 24\nunit = \"mm\"\n\
           centre = \"mid\"\nstandardDeviation = 1.0\n\
           [measures.strike_sd_mm]\nfield = \"b\"\nunit = \"mm\"\nmeasured = true\n";
    let set = sound(&zones);
    let file = parse(&set, b"t,a,b\n1776006429,Toe,1\n1776006430,heel,4\n1776006431,mid,\n");
    // [derived: sqrt(48 + 1) = 7, sqrt(48 + 16) = 8]
    assert_eq!(spots(&file), ["24.00/-/7.000", "-24.00/-/8.000", "0.00/-/7.000"]);
    let quantities: Vec<String> = only(&set).devices().into_iter().map(|row| row.quantity).collect();
    assert_eq!(quantities, ["strike_toe_mm", "strike_sd_mm"]);
}

#[test]
fn a_blank_is_an_error_and_a_token_is_none() {
    for (pack, rest) in [(head("\"a\"") + CELLS, ""), (head("\"a\", \"b\"") + TOE_UP, ",b")] {
        let fill = if rest.is_empty() { "" } else { "," };
        let rows = format!(
            "t,a{rest}\n1776006429,{fill}\n1776006430,x{fill}\n1776006431, x {fill}\nnever,x{fill}\nnever,{fill}\n"
        );
        let file = read(&pack, &rows);
        assert_eq!(rules(&file)[..4], [(2, "missing-required"), (3, "no-mark"), (4, "no-mark"), (5, "bad-time")]);
        assert!(file.marks.is_empty());
        assert_eq!((file.rows_seen, file.rows_rejected()), (5, 3), "a row without a mark is no loss");
    }
}

#[test]
fn the_way_a_time_is_written_says_how_good_it_is() {
    let toe =
        "[measures]\nstrike_toe_mm = { field = \"a\", unit = \"mm\", measured = true, standardDeviation = 2.0 }\n";
    let deviations = |time: &str, stated: &str, rows: &str| {
        let text = (head("\"a\"") + toe).replace("epochUnit = \"s\"", time) + stated;
        let file = read(&text, rows);
        assert_eq!(rules(&file), []);
        file.marks.iter().map(|mark| format!("{:.4}", mark.time_sd_s)).collect::<Vec<_>>()
    };
    let both = "format = [\"%Y-%m-%d %H:%M:%S\", \"%Y-%m-%d %H:%M\"]";
    // [derived: 60 / sqrt 12 = 17.3205]
    let cases = [
        ("epochUnit = \"s\"", "", "t,a\n1776006429,1\n", vec!["1.0000"]),
        ("epochUnit = \"ms\"", "", "t,a\n1776006429250,1\n", vec!["0.1000"]),
        ("format = \"%Y-%m-%d %H:%M:%S%.f\"", "", "t,a\n2026-04-12 15:07:09.25,1\n", vec!["0.1000"]),
        ("epochUnit = \"us\"", "", "t,a\n1776006429250000,1\n", vec!["0.1000"]),
        ("epochUnit = \"serial-1900\"", "", "t,a\n46124.63,1\n", vec!["17.3205"]),
        (both, "", "t,a\n2026-04-12 15:07,1\n2026-04-12 15:07:09,1\n", vec!["17.3205", "1.0000"]),
        (both, "[mark]\ntimeStandardDeviation = 5\n", "t,a\n2026-04-12 15:07,1\n", vec!["17.3205"]),
        (both, "[mark]\ntimeStandardDeviation = 5\n", "t,a\n2026-04-12 15:07:30,1\n", vec!["5.0000"]),
    ];
    for (time, stated, rows, expected) in cases {
        assert_eq!(deviations(time, stated, rows), expected, "{time} {stated}");
    }
}

#[test]
fn words_are_read_as_those_of_a_shot() {
    let text = (head("\"a\", \"b\", \"who\", \"club\", \"no\", \"list\"") + TOE_UP).replace(
        "epochUnit = \"s\"",
        "format = \"%Y-%m-%d %H:%M\"\n[mark]\nmark = { field = \"no\" }\nsession = { field = \"list\" }\nplayer = { field = \"who\" }\n\
         [mark.club]\nfield = \"club\"\nvalues = { W = { clubId = \"gap-wedge\", clubKind = \"wedge\" } }",
    );
    let file = read(
        &text,
        "t,a,b,who,club,no,list\n2026-10-25 02:30,1,2,wren,W,7,north\n2026-10-25 02:30,1,2,wren,V,8,north\n",
    );
    assert_eq!(rules(&file), [(3, "unknown-value")]);
    let [mark] = file.marks.as_slice() else { panic!("one mark") };
    let texts = [&mark.bay, &mark.session_text, &mark.mark_text, &mark.player_text, &mark.club_id];
    assert_eq!(texts.map(|text| text.as_deref().expect("known")), ["7", "north", "7", "wren", "gap-wedge"]);
    // [source: IANA tz database: European clocks go back on 2026-10-25; the first 02:30 is 00:30 UTC; GNU date gives 1792888200]
    assert_eq!((mark.noted_at, mark.source_row), (1_792_888_200_000_000, 2));
    assert_eq!(mark.quality, ["ambiguous-hour"]);
    assert_eq!((mark.zone.as_str(), mark.time_text.as_str()), ("Europe/Berlin", "2026-10-25 02:30"));
}

#[test]
fn the_order_of_a_list_tells_the_repeated_hour_apart() {
    let text = (head("\"a\", \"b\"") + TOE_UP).replace("epochUnit = \"s\"", "format = \"%Y-%m-%d %H:%M\"");
    let file =
        read(&text, "t,a,b\n2026-10-25 02:50,1,2\n2026-10-25 02:40,x,x\n2026-10-25 02:10,3,4\n2026-10-25 03:05,3,4\n");
    // [source: IANA tz database: European clocks go back on 2026-10-25, so 02:50, 02:10 and 03:05 are 00:50, 01:10 and 02:05 UTC;
    // GNU date]
    let noted: Vec<i64> = file.marks.iter().map(|mark| mark.noted_at / 1_000_000).collect();
    assert_eq!(noted, [1_792_889_400, 1_792_890_600, 1_792_893_900]);
    let quality: Vec<String> = file.marks.iter().map(|mark| mark.quality.join(";")).collect();
    assert_eq!(quality, ["ambiguous-hour-resolved", "ambiguous-hour-resolved", ""]);
}

#[test]
fn a_side_that_cannot_be_told_costs_the_mark() {
    let text = head("\"a\", \"who\"")
        + "[measures]\nstrike_toe_mm = { field = \"a\", unit = \"mm\", measured = true, standardDeviation = 2.0, playerFrame = true }\n\
           [mark]\nplayer = { field = \"who\" }\n";
    let mut known = site();
    let hands = [("wren".to_owned(), shot::Hand::Right), ("curlew".to_owned(), shot::Hand::Left)];
    known.hands = std::sync::Arc::new(hands.into_iter().collect());
    let rows = b"t,a,who\n1776006429,4,wren\n1776006430,4,curlew\n1776006431,4,plover\n1776006432,x,wren\n";
    let file = only(&sound(&text)).parse("any.csv", rows, &known);
    assert_eq!(spots(&file), ["4.00/-/2.000", "-4.00/-/2.000"]);
    assert_eq!(rules(&file), [(4, "hand-unknown"), (5, "no-mark")]);
    assert_eq!(file.rows_rejected(), 1);
}

#[test]
fn a_file_without_the_position_is_refused_whole() {
    for pack in [head("\"a\"") + CELLS, head("\"a\", \"b\"") + TOE_UP] {
        let file = read(&pack, "t,c\n1776006429,C2\n");
        assert_eq!(rules(&file), [(0, "missing-column")]);
        assert!((file.problem_share() - 1.0).abs() < 1e-12);
    }
}

#[test]
fn packs_that_cannot_be_are_refused_in_place() {
    let cells = head("\"a\", \"b\"") + CELLS;
    let toe_up = head("\"a\", \"b\"") + TOE_UP;
    let changed = |from: &str, to: &str| {
        assert!(cells.contains(from), "{from}");
        cells.replace(from, to)
    };
    let cases = [
        (small_head("\"t\", \"v\"", "") + BALL_SPEED + "[mark]\n", 13, "a pack of shots has no [mark]"),
        (toe_up.clone() + "[shot]\n", 16, "a pack of strike marks has no [shot]"),
        (toe_up.clone() + "[derived]\n", 16, "a pack of strike marks has no [derived]"),
        (
            toe_up.clone() + "carry_m = { field = \"a\", unit = \"m\", measured = false }\n",
            16,
            "a strike mark has no carry_m",
        ),
        (toe_up.replace("measured = true }", "measured = false }"), 15, "a strike mark is seen, not computed"),
        (toe_up.replace(", standardDeviation = 2.0", ""), 1, "it is not said how well the position is known"),
        (
            toe_up.clone()
                + "strike_sd_mm = { field = \"b\", unit = \"mm\", measured = true, standardDeviation = 1.0 }\n",
            16,
            "strike_sd_mm is itself the standard deviation",
        ),
        (toe_up.clone() + "[mark]\ntimeStandardDeviation = 0.0\n", 17, "a standard deviation is above zero"),
        (head("\"a\""), 1, "the pack reads no position on the face"),
        (cells.clone() + TOE_UP, 25, "strike_toe_mm comes from the grid already"),
        (changed("field = \"a\"", "field = \"z\""), 14, "\"z\" is not among the fields of the pack"),
        (changed("field = \"a\"", "rowField = \"a\""), 13, "it is not clear where the cell stands"),
        (changed("field = \"a\"", "columnField = \"a\""), 13, "it is not clear where the cell stands"),
        (changed("\"ABCDE\"", "\"\""), 15, "a side of the grid has 1 to 100 words, none of them blank"),
        (changed("\"ABCDE\"", "\"ABCDd\""), 15, "two cells of the grid are both written \"d1\""),
        (changed("\"heel\"", "\"left\""), 16, "\"left\" is none of our words here"),
        (changed("\"top\"", "\"crown\""), 19, "\"crown\" is none of our words here"),
        (changed("firstRow = \"top\"\n", ""), 13, "rows, firstRow and cellHeight belong together"),
        (changed("1.2", "-1.2"), 17, "the size of a cell is above zero"),
        (changed("1.2", "12"), 17, "a cell would lie -240.0 mm from the face centre"),
        (changed("0.8", "8.0"), 20, "a cell would lie 80.0 mm from the face centre"),
        (changed("\"cm\"", "\"deg\""), 21, "\"deg\" is no length"),
        (changed("\"cm\"", "\"ell\""), 21, "\"ell\" is no unit we know"),
        (changed("\"C2\"", "\"C4\""), 22, "the centre \"C4\" is no cell of the grid"),
    ];
    for (text, line, message) in cases {
        let (set, faults) = load_text(&text);
        let found: Vec<String> = faults.iter().map(|fault| format!("{} {}", fault.line, fault.message)).collect();
        assert!(set.packs().is_empty() && found.contains(&format!("{line} {message}")), "{line} {message}: {found:?}");
        assert!(faults.iter().all(|fault| !fault.hint.is_empty()));
    }
}

#[test]
fn a_pack_of_shots_and_one_of_marks_can_tie() {
    let folder = tempfile::tempdir().expect("a folder");
    let shots = small_head("\"t\", \"v\"", "") + BALL_SPEED;
    let marks = small_head("\"t\", \"v\"", "").replace("[dialect]", "kind = \"strike-marks\"\n[dialect]")
        + "[measures]\nstrike_toe_mm = { field = \"v\", unit = \"mm\", measured = true, standardDeviation = 1.0 }\n";
    for (name, text) in [("shots", shots), ("marks", marks)] {
        std::fs::create_dir(folder.path().join(name)).expect("a folder");
        let text = text.replace("\"small\"", &format!("\"{name}\""));
        std::fs::write(folder.path().join(name).join("format.toml"), text).expect("a file");
    }
    let (set, faults) = PackSet::load(folder.path());
    assert!(faults.is_empty(), "{faults:?}");
    let recognition = set.recognise("any.csv", b"t,v\n1776006429,4\n");
    let Recognition::Tie { packs, .. } = &recognition else { panic!("a tie: {:?}", recognition.scores()) };
    assert_eq!(packs.iter().map(|pack| pack.kind()).collect::<Vec<_>>(), [PackKind::StrikeMarks, PackKind::Shots]);
}

#[test]
fn a_wrong_expectation_of_a_mark_is_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("spray-list");
    std::fs::create_dir(&copy).expect("a folder");
    for name in ["format.toml", "sample-spray-0412-bay3.csv", "expected.csv"] {
        let text = std::fs::read_to_string(shipped_dir().join("spray-list").join(name)).expect("a file");
        let text = if name == "expected.csv" {
            text.replace("12.0000,-3.0000", "12.0001,-3.0000")
                .replace("time_sd_s", "time_s")
                .replace("9,no-mark,", "9,,")
                .replace(",3,wren,3-wood", ",4,wren,3-wood")
        } else {
            text
        };
        std::fs::write(copy.join(name), text).expect("a file");
    }
    let (set, _) = PackSet::load(folder.path());
    let shown = test_pack(only(&set)).to_string();
    let squeezed = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    for wanted in [
        "expected.csv:1 column expected found header a column of strike marks time_s",
        "bay3.csv column expected found rows taken 7 6",
        "bay3.csv:6 1,15:07,wren,D,12 toe,3 low column expected found strike_toe_mm 12.0001 12.0000",
        "bay3.csv:8 3,15:09,wren,3W,0,0 column expected found bay 4 3",
        "row a strike mark nothing problem nothing no-mark",
    ] {
        assert!(squeezed.contains(wanted), "{wanted} is not in\n{shown}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every row is a mark, a loss, or said to hold no mark; whatever stands in its cells.
    #[test]
    fn arbitrary_cells_are_survived(
        clock in "[ -~]{0,8}|1[0-9]:[0-5][0-9]", across in "[ -~äß\u{a0}−]{0,8}|[0-9]{1,2} (toe|heel)", cell in "[ -~ÄßÑİ\u{a0}]{0,6}|[a-hA-H][0-6]",
    ) {
        let set = shipped();
        let spray = format!("Day: 2026-04-12\n====\nBall,Clock,Player,Club,Across,Height\n1,{clock},p,D,{across},2 low\n");
        let tape = format!("Fecha: 03/05/2026\nPuesto: 2\nSesión: a\nNúmero;Hora;Jugador;Palo;Casilla\n1;{clock};p;madera 1;{cell}\n");
        for (name, text) in [("spray-list", spray), ("tape-grid", tape)] {
            let file = set.pack(name).expect("shipped").parse("any.csv", text.as_bytes(), &site());
            prop_assert!(file.shots.is_empty());
            let unmarked = file.problems.iter().filter(|problem| problem.rule == "no-mark").count() as u64;
            prop_assert_eq!(file.marks.len() as u64 + unmarked + file.rows_rejected(), file.rows_seen);
            for mark in &file.marks {
                prop_assert!(mark.strike_toe_mm.abs() <= 60.0 && mark.strike_sd_mm > 0.0 && mark.time_sd_s > 0.0);
                prop_assert!(mark.strike_up_mm.is_none_or(|up| up.abs() <= 40.0));
            }
        }
    }

    /// Counting the columns from the other end turns the sign and nothing else.
    #[test]
    fn a_turned_grid_mirrors(column in 0..5_usize, row in 0..3_usize) {
        let cell = format!("{}{}", ["A", "B", "C", "D", "E"][column], row + 1);
        let rows = format!("t,a\n1776006429,{cell}\n");
        let one = read(&(head("\"a\"") + CELLS), &rows).marks.remove(0);
        let other = read(&(head("\"a\"") + &CELLS.replace("\"heel\"", "\"toe\"")), &rows).marks.remove(0);
        prop_assert!((one.strike_toe_mm + other.strike_toe_mm).abs() < 1e-12);
        prop_assert_eq!(one.strike_up_mm, other.strike_up_mm);
    }

    #[test]
    fn arbitrary_mark_tables_are_survived(
        key in "(field|columnField|rowField|columns|firstColumn|rows|firstRow|cellWidth|cellHeight|unit|centre|standardDeviation)",
        value in "\"[ -!#-\\[\\]-~ßİ]{0,6}\"|[0-9]{1,3}(\\.[0-9])?|-?(inf|nan)|\\[\\]|\\[\"\"\\]|\\[\"a\",\"b\"\\]",
    ) {
        let lines: Vec<String> = CELLS
            .lines()
            .map(|line| if line.starts_with(&format!("{key} =")) { format!("{key} = {value}") } else { line.to_owned() })
            .collect();
        let (set, faults) = load_text(&(head("\"a\"") + &lines.join("\n") + "\n"));
        prop_assert_eq!(set.packs().is_empty(), !faults.is_empty());
        for pack in set.packs() {
            let _ = pack.parse("any.csv", b"t,a\n1776006429,A1\n1776006430,b\n", &site());
        }
    }
}
