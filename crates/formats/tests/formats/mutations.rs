//! Small workbooks and column files with bytes turned, cut, moved and doubled: no panic comes out of a reader, and no row is
//! forgotten. Seeded, so that a failure can be seen again.

use formats::{PackSet, ParseLimits, SiteContext};
use shot::Severity;

use crate::columns::{every_packing, pack, plain};
use crate::packages::{RawXlsx, inline, ods, ods_number, ods_row, ods_text};
use crate::{only, site, sound};

const LIMITS: ParseLimits = ParseLimits {
    max_file_bytes: 1 << 20,
    max_line_bytes: 64 << 10,
    max_fields: 100,
    max_rows: 2_000,
    max_depth: 32,
    max_unpacked_bytes: 8 << 20,
};

/// SplitMix64 (public domain algorithm of S. Vigna).
struct Draws(u64);

impl Draws {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut word = self.0;
        word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((word ^ (word >> 31)) % end.max(1) as u64) as usize
    }

    fn mutate(&mut self, bytes: &mut Vec<u8>) {
        // Numbers that overflow, and what ends tags and texts.
        const TELLING: [&[u8]; 8] =
            [b"\xff\xff\xff\xff", b"\x00\x00\x00\x80", b"\x7f", b"9999999999", b"-1", b"<", b"\"", b"&#0;"];
        for _ in 0..=self.below(4) {
            if bytes.is_empty() {
                return;
            }
            let at = self.below(bytes.len());
            let end = (at + 1 + self.below(40)).min(bytes.len());
            match self.below(7) {
                0 => bytes.truncate(at),
                1 => bytes[at] ^= 1 << self.below(8),
                2 => bytes[at] = self.below(256) as u8,
                3 => drop(bytes.drain(at..end)),
                4 => {
                    let again = bytes[at..end].to_vec();
                    let to = self.below(bytes.len());
                    bytes.splice(to..to, again);
                }
                _ => {
                    let telling = TELLING[self.below(TELLING.len())];
                    let end = (at + telling.len()).min(bytes.len());
                    bytes[at..end].copy_from_slice(&telling[..end - at]);
                }
            }
        }
    }
}

/// What holds of every outcome, whatever the bytes.
fn check(set: &PackSet, bytes: &[u8]) -> Vec<String> {
    let pack = only(set);
    let file = pack.parse("any.bin", bytes, &SiteContext { limits: LIMITS, ..site() });
    let refused = file.problems.iter().any(|problem| problem.line == 0 && problem.severity == Severity::Rejected);
    if !refused {
        assert_eq!(file.shots.len() as u64 + file.rows_rejected(), file.rows_seen, "{:?}", file.problems);
    }
    assert!(file.rows_seen <= LIMITS.max_rows + 1);
    for problem in &file.problems {
        assert!(!problem.message.is_empty() && problem.line >= 0);
    }
    let _ = set.recognise("any.bin", bytes);
    let _ = pack.structural_end(bytes);
    file.problems.into_iter().map(|problem| problem.message).collect()
}

/// Our own readers of workbooks need no last barrier.
fn check_workbook(set: &PackSet, bytes: &[u8]) {
    for message in check(set, bytes) {
        assert!(!message.contains("did not foresee"), "{message}");
    }
}

fn sheet_pack() -> PackSet {
    sound(
        "name = \"small\"\nversion = \"1\"\nengine = \"spreadsheet\"\n[dialect]\nheaderRows = [1, 2]\nheaderFill = true\n\
         [schema]\nfields = [\"t\"]\noptionalFields = [\"B v\", \"B n\"]\nfieldsMatch = \"partial\"\n\
         [time]\nparts = [{ field = \"t\" }]\nformat = \"%Y-%m-%dT%H:%M:%S%.f\"\n\
         [measures]\nball_speed_mps = { field = \"B v\", unit = \"m/s\", measured = true }\n[shot]\nplayer = { field = \"B n\" }\n",
    )
}

fn small_xlsx() -> RawXlsx {
    let head = format!(
        "<row r=\"1\"><c r=\"B1\" t=\"s\"><v>0</v></c></row><row r=\"2\">{}{}{}</row>",
        inline("t"),
        inline("v"),
        inline("n")
    );
    let data = "<row><c r=\"A3\" s=\"1\"><v>46124.43</v></c><c><f>1+1</f><v>50.5</v></c><c t=\"s\"><v>1</v></c></row>";
    RawXlsx {
        rows: format!("{head}{}", data.repeat(3)),
        behind_rows: "<mergeCells><mergeCell ref=\"B1:C1\"/></mergeCells>".to_owned(),
        shared: "<si><t>B</t></si><si><r><t>A_x0041_&amp;</t></r></si>".to_owned(),
        styles: "<numFmts><numFmt numFmtId=\"164\" formatCode=\"yyyy hh:mm\"/></numFmts><cellXfs><xf numFmtId=\"0\"/><xf numFmtId=\"164\"/></cellXfs>".to_owned(),
        workbook_attributes: String::new(),
    }
}

fn small_ods() -> String {
    let spanned =
        "<table:table-cell/><table:table-cell table:number-columns-spanned=\"2\"><text:p>B</text:p></table:table-cell>";
    let time = "<table:table-cell office:value-type=\"date\" office:date-value=\"2026-04-12T10:20:30\"/>";
    let data = format!("{time}{}{}", ods_number("50.5"), ods_text("A<text:s text:c=\"3\"/>&lt;"));
    format!(
        "<table:table table:name=\"S\">{}{}<table:table-row table:number-rows-repeated=\"3\">{data}</table:table-row></table:table>",
        ods_row(spanned),
        ods_row(&["t", "v", "n"].map(ods_text).concat())
    )
}

#[test]
fn changed_workbooks_are_survived() {
    let set = sheet_pack();
    let xlsx = small_xlsx().bytes();
    let open_document = ods(&small_ods());
    check_workbook(&set, &xlsx);
    assert_eq!(only(&set).parse("a", &xlsx, &site()).shots.len(), 3);
    assert_eq!(only(&set).parse("a", &open_document, &site()).shots.len(), 3);
    let mut draws = Draws(1);
    for _ in 0..300 {
        for whole in [&xlsx, &open_document] {
            let mut bytes = whole.clone();
            draws.mutate(&mut bytes);
            check_workbook(&set, &bytes);
        }
    }
    // Most changes of packed bytes only break the packing; these change what is packed.
    for _ in 0..400 {
        let mut raw = small_xlsx();
        let part = match draws.below(4) {
            0 => &mut raw.rows,
            1 => &mut raw.behind_rows,
            2 => &mut raw.shared,
            _ => &mut raw.styles,
        };
        *part = mutated_text(&mut draws, part);
        check_workbook(&set, &raw.bytes());
        let tables = mutated_text(&mut draws, &small_ods());
        check_workbook(&set, &ods(&tables));
    }
}

fn mutated_text(draws: &mut Draws, text: &str) -> String {
    let mut bytes = text.as_bytes().to_vec();
    draws.mutate(&mut bytes);
    String::from_utf8_lossy(&bytes).into_owned()
}

#[test]
fn changed_column_files_are_survived() {
    let mut draws = Draws(2);
    for (engine, _, whole) in every_packing(&[plain(), plain()]) {
        let set = pack(engine, "n", "v");
        check(&set, &whole);
        for _ in 0..120 {
            let mut bytes = whole.clone();
            draws.mutate(&mut bytes);
            check(&set, &bytes);
        }
    }
}
