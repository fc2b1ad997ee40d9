//! Hostile and broken input for every engine. Each engine has a subject here: a small pack and a sound sample of it. What is done to
//! one is done to all.

use std::sync::LazyLock;

use formats::{PackSet, ParseLimits, ParsedFile, SiteContext};
use shot::Quantity;

use crate::survive::survive;
use crate::{only, rules, shipped, shipped_dir, site, sound};

/// A pack and a file that it reads without a problem.
struct Subject {
    set: PackSet,
    name: String,
    sample: Vec<u8>,
}

impl Subject {
    /// A pack of three fields for an engine.
    fn new(engine: &str, dialect: &str, [t, v, who]: [&str; 3], name: &str, sample: impl Into<Vec<u8>>) -> Subject {
        let set = sound(&format!(
            "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[dialect]\n{dialect}\n[schema]\nfieldsMatch = \"subset\"\n\
             fields = [\"{t}\", \"{v}\", \"{who}\"]\n[time]\nparts = [{{ field = \"{t}\" }}]\nepochUnit = \"s\"\n\
             [measures]\nball_speed_mps = {{ field = \"{v}\", unit = \"m/s\", measured = true }}\n[shot]\nplayer = {{ field = \"{who}\" }}\n"
        ));
        Subject { set, name: name.to_owned(), sample: sample.into() }
    }

    fn survives(&self, bytes: &[u8]) -> ParsedFile {
        survive(only(&self.set), &self.name, bytes, &site())
    }
}

const PLAIN: [&str; 3] = ["t", "v", "who"];

const DELIMITED: &str =
    "# made up\nt,v,who\n1776006429,50.25,wren\n1776006430,51,\"rook, \"\"the\"\" elder\"\n1776006431,52,ärla\n";
const LINES: &str = "{\"t\":1776006429,\"b\":{\"v\":50.25},\"who\":\"wren\"}\n{\"t\":1776006430,\"b\":{\"v\":51},\"who\":\"ärla \\\"x\\\"\"}\n";
const JSON: &str = "{\"made\":{\"by\":\"x\"},\"runs\":[{\"id\":1,\"shots\":[{\"t\":1776006429,\"b\":{\"v\":50.25},\"who\":\"wren\"},\n\
                    {\"t\":1776006430,\"b\":{\"v\":51},\"who\":\"ärla\"}]},{\"shots\":[],\"id\":2}],\"n\":null}\n";
const XML: &str = "<?xml version=\"1.0\"?>\n<export site=\"n\"><!-- c --><run day=\"mon\"><shot id=\"1\"><t>1776006429</t><b><v u='x'>50.25</v></b>\
                   <who>wren &amp; co</who></shot>\n<shot><t>1776006430</t><b><v>51</v></b><who><![CDATA[ärla]]></who></shot></run></export>\n";

/// One line for each engine.
static SUBJECTS: LazyLock<Vec<Subject>> = LazyLock::new(|| {
    vec![
        Subject::new("delimited", "commentChar = \"#\"", PLAIN, "a.csv", DELIMITED),
        Subject::new("json-lines", "", ["t", "b.v", "who"], "a.jsonl", LINES),
        Subject::new("json", "property = \"runs.*.shots\"", ["t", "b.v", "who"], "a.json", JSON),
        Subject::new("xml", "property = \"export/run/shot\"", ["t", "b/v", "who"], "a.xml", XML),
    ]
});

/// Names and bytes of the shipped samples.
fn shipped_samples() -> Vec<(String, Vec<u8>)> {
    let mut samples = Vec::new();
    for pack in shipped().packs() {
        for entry in std::fs::read_dir(shipped_dir().join(pack.name())).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            if name.starts_with("sample") {
                samples.push((name, std::fs::read(&path).expect("a file")));
            }
        }
    }
    samples
}

/// Draws that are the same in every run. [source: Steele, Lea and Flood 2014, SplitMix64; from memory]
struct Draws(u64);

impl Draws {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % bound.max(1) as u64).expect("below a usize")
    }

    /// One change to some bytes; `other` is what is spliced in.
    fn change(&mut self, bytes: &mut Vec<u8>, other: &[u8]) {
        if bytes.is_empty() {
            bytes.extend_from_slice(other);
            return;
        }
        let at = self.below(bytes.len());
        let end = (at + 1 + self.below(60)).min(bytes.len());
        match self.below(7) {
            0 => bytes[at] ^= 1 << self.below(8),
            1 => bytes.truncate(at),
            2 => {
                let from = self.below(other.len());
                let piece = &other[from..(from + 1 + self.below(80)).min(other.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
            3 => {
                let block = bytes[at..end].repeat(1 + self.below(20));
                bytes.splice(at..at, block);
            }
            4 => {
                let count = 1 + self.below(5);
                bytes.splice(at..at, std::iter::repeat_n(0, count));
            }
            5 => {
                let telling = b"\"\"\"',;<>&{}[]\\\r\n\t:=@%-.eN\xff\xfe\x80\xc3";
                bytes[at] = telling[self.below(telling.len())];
            }
            _ => {
                bytes.drain(at..end);
            }
        }
    }
}

#[test]
fn sound_samples_are_sound() {
    for subject in SUBJECTS.iter() {
        let file = subject.survives(&subject.sample);
        assert!(file.shots.len() >= 2 && file.problems.is_empty(), "{}: {:?}", subject.name, file.problems);
        assert_eq!(file.shots[0].measures.get(Quantity::BallSpeedMps), Some(50.25), "{}", subject.name);
    }
}

#[test]
fn every_truncation_is_survived() {
    for subject in SUBJECTS.iter() {
        let mut before = 0;
        for cut in 0..subject.sample.len().min(4_000) {
            let file = subject.survives(&subject.sample[..cut]);
            assert!(file.shots.len() + 1 >= before, "{} cut at {cut} loses rows before the cut", subject.name);
            before = before.max(file.shots.len());
        }
    }
    for (name, sample) in shipped_samples() {
        for pack in shipped().packs() {
            for cut in (0..sample.len()).step_by(61) {
                survive(pack, &name, &sample[..cut], &site());
            }
        }
    }
}

#[test]
fn seeded_changes_are_survived() {
    let mut draws = Draws(7);
    for round in 0..800 {
        let other = &SUBJECTS[round % SUBJECTS.len()].sample;
        for subject in SUBJECTS.iter() {
            let mut bytes = subject.sample.clone();
            for _ in 0..=draws.below(4) {
                draws.change(&mut bytes, other);
            }
            subject.survives(&bytes);
            if round % 10 == 0 {
                let _ = subject.set.recognise(&subject.name, &bytes);
            }
        }
    }
}

#[test]
fn every_sample_is_survived_by_every_other_pack() {
    let shipped = shipped();
    let mut samples = shipped_samples();
    samples.extend(SUBJECTS.iter().map(|subject| (subject.name.clone(), subject.sample.clone())));
    for (name, sample) in &samples {
        for pack in shipped.packs().iter().chain(SUBJECTS.iter().flat_map(|subject| subject.set.packs())) {
            survive(pack, name, sample, &site());
        }
        for subject in SUBJECTS.iter().filter(|subject| subject.name != *name) {
            let known = matches!(subject.set.recognise(name, sample), formats::Recognition::Match { .. });
            assert!(!known, "{name} is taken for {}", subject.name);
        }
    }
}

#[test]
fn a_cut_record_is_told_from_one_in_the_same_line() {
    // Found by the fuzz targets json and xml.
    let json = "{\"runs\":[{\"shots\":[{\"t\":1776006429,\"b\":{\"v\":50},\"who\":\"a\"},{\"t\":17";
    let xml = "<export><run><shot><t>1776006429</t><b><v>50</v></b><who>a</who></shot><shot><t>17";
    for (name, text) in [("a.json", json), ("a.xml", xml)] {
        let subject = SUBJECTS.iter().find(|subject| subject.name == name).expect("listed");
        let file = subject.survives(text.as_bytes());
        assert_eq!((file.shots.len(), rules(&file), file.rows_seen), (1, vec![(2, "truncated")], 2), "{name}");
    }
}

#[test]
fn names_in_any_bytes_are_survived() {
    // Names that are no Unicode arrive with U+FFFD for what they hold.
    let long = "n".repeat(100_000);
    for name in
        ["", "\u{fffd}\u{fffd}.csv", "../../etc/passwd", "a\0b.csv", "\n", "{session}_bay{bay}.csv", "…", long.as_str()]
    {
        for pack in shipped().packs() {
            survive(pack, name, b"", &site());
        }
        for subject in SUBJECTS.iter() {
            let file = survive(only(&subject.set), name, &subject.sample, &site());
            assert!(file.problems.is_empty());
            let _ = subject.set.recognise(name, &subject.sample);
        }
    }
}

/// Files made to hurt, by name.
fn poison() -> Vec<(&'static str, Vec<u8>)> {
    let laughs = (1..12)
        .map(|n| format!("<!ENTITY l{n} \"{}\">", format!("&l{};", n - 1).repeat(10)))
        .collect::<Vec<_>>()
        .concat();
    let record = |inside: &str| {
        format!("<export><run><shot><t>1776006429</t><b><v>50</v></b><who>{inside}</who></shot></run></export>")
    };
    let attributes = (0..60_000).map(|n| format!(" a{n}=''")).collect::<Vec<_>>().concat();
    let mut header = b"t,v,who\n".to_vec();
    let mut quotes = header.clone();
    quotes.extend(b"\"".repeat(300_001));
    let mut openings = header.clone();
    openings.extend(b"1776006429,50,\"x\n".repeat(20_000));
    let mut nuls = header.clone();
    nuls.extend(vec![0; 600]);
    nuls.extend(b"\n1776006429,50,x\n");
    header.extend(b"1776006429,50,x".repeat(40_000));
    let members = (0..60_000).map(|n| format!("\"m{n}\":1,")).collect::<Vec<_>>().concat();
    vec![
        ("nothing", Vec::new()),
        ("a mark alone", vec![0xef, 0xbb, 0xbf]),
        ("half a wide character", vec![0xff, 0xfe, 0x00]),
        ("NULs", vec![0; 300_000]),
        ("NULs in a row", nuls),
        ("endless quotes", quotes),
        ("quotes that open in every line", openings),
        ("one long line", header),
        ("blank lines", b"\r".repeat(200_000)),
        ("delimiters", b",".repeat(300_000)),
        ("open brackets", b"[".repeat(100_000)),
        ("open braces", b"{\"a\":".repeat(100_000)),
        ("open lists of records", format!("{{\"runs\":[{{\"shots\":{}", "[".repeat(100_000)).into_bytes()),
        ("brackets both ways", format!("{}{}", "[".repeat(50_000), "]".repeat(50_000)).into_bytes()),
        ("many members", format!("{{\"runs\":[{{{members}\"shots\":[{{{members}\"t\":1}}]}}]}}").into_bytes()),
        ("many runs", format!("{{\"runs\":[{}{{}}]}}", "{\"id\":1,\"shots\":[]},".repeat(30_000)).into_bytes()),
        (
            "a number of many digits",
            format!("{{\"t\":{},\"b\":{{\"v\":1}},\"who\":\"\"}}\n", "9".repeat(100_000)).into_bytes(),
        ),
        ("a string of escapes", format!("{{\"t\":\"{}", "\\".repeat(300_001)).into_bytes()),
        (
            "a billion laughs",
            format!("<?xml version=\"1.0\"?><!DOCTYPE export [<!ENTITY l0 \"ha\">{laughs}]>{}", record("&l11;"))
                .into_bytes(),
        ),
        (
            "an outside entity",
            format!("<!DOCTYPE export [<!ENTITY f SYSTEM \"file:///etc/hostname\">]>{}", record("&f;")).into_bytes(),
        ),
        ("an entity nobody declared", record("&l11;").into_bytes()),
        ("many attributes", format!("<export><run><shot{attributes}><t>1</t></shot></run></export>").into_bytes()),
        ("one attribute many times", format!("<export{}>", " a='1'".repeat(60_000)).into_bytes()),
        ("open elements", "<a>".repeat(100_000).into_bytes()),
        ("open elements in a record", format!("<export><run><shot>{}", "<a>".repeat(100_000)).into_bytes()),
        ("angle brackets", b"<".repeat(100_000)),
        ("open comment", format!("<export><!--{}", "-".repeat(100_000)).into_bytes()),
        ("ampersands", record(&"&".repeat(100_000)).into_bytes()),
        ("character references", record(&"&#65;".repeat(60_000)).into_bytes()),
        ("many runs of XML", format!("<export>{}</export>", "<run day='x'><y/></run>".repeat(20_000)).into_bytes()),
        ("many siblings", format!("<export>{}<run/></export>", "<y/>".repeat(60_000)).into_bytes()),
        ("an archive", [b"PK\x03\x04".as_slice(), &[0xff; 2_000]].concat()),
        ("column magic", [b"PAR1".as_slice(), &[0xff; 2_000], b"PAR1"].concat()),
        ("arrow magic", [b"ARROW1\0\0".as_slice(), &[0xff; 2_000], b"ARROW1"].concat()),
    ]
}

#[test]
fn poison_is_survived() {
    let limits =
        ParseLimits { max_line_bytes: 4_096, max_fields: 50, max_rows: 1_000, max_depth: 8, ..ParseLimits::default() };
    let tight = SiteContext { limits, ..site() };
    for (what, bytes) in poison() {
        for subject in SUBJECTS.iter() {
            let shown = |file: &ParsedFile| format!("{what} as {}: {:?}", subject.name, file.problems.first());
            let file = subject.survives(&bytes);
            // Poison is refused or costs its rows, and never yields a shot by accident.
            let named_well =
                file.shots.iter().all(|shot| shot.player_text.as_deref().is_none_or(|name| name.len() <= 100_100));
            assert!(named_well, "{}", shown(&file));
            survive(only(&subject.set), &subject.name, &bytes, &tight);
            let _ = subject.set.recognise(&subject.name, &bytes);
        }
    }
}

#[test]
fn entities_are_refused_and_not_expanded() {
    let xml = SUBJECTS.iter().find(|subject| subject.name == "a.xml").expect("listed");
    for (what, line) in [("a billion laughs", 0), ("an outside entity", 0), ("an entity nobody declared", 1)] {
        let bytes = poison().into_iter().find(|(name, _)| *name == what).expect("listed").1;
        let file = xml.survives(&bytes);
        assert_eq!((file.shots.len(), rules(&file)), (0, vec![(line, "xml-entity")]), "{what}");
    }
}

#[test]
fn formulas_are_text() {
    // Spreadsheet programs run such cells; here they are a strange name, or no number.
    for formula in ["=CMD|'/C calc'!A0", "@SUM(1+1)", "+1+1", "-2+3", "=HYPERLINK(x)"] {
        let texts = [
            format!("t,v,who\n1776006429,50,{formula}\n1776006430,{formula},x\n"),
            format!(
                "{{\"t\":1776006429,\"b\":{{\"v\":50}},\"who\":\"{formula}\"}}\n{{\"t\":1776006430,\"b\":{{\"v\":\"{formula}\"}},\"who\":\"x\"}}\n"
            ),
            format!(
                "{{\"runs\":[{{\"shots\":[{{\"t\":1776006429,\"b\":{{\"v\":50}},\"who\":\"{formula}\"}},\n{{\"t\":1776006430,\"b\":{{\"v\":\"{formula}\"}}}}]}}]}}"
            ),
            format!(
                "<export><run><shot><t>1776006429</t><b><v>50</v></b><who>{formula}</who></shot>\n<shot><t>1776006430</t><b><v>{formula}</v></b></shot></run></export>"
            ),
        ];
        for (subject, text) in SUBJECTS.iter().zip(texts) {
            let file = subject.survives(text.as_bytes());
            let names: Vec<_> = file.shots.iter().map(|shot| shot.player_text.as_deref()).collect();
            assert_eq!(names, [Some(formula)], "{}", subject.name);
            let found: Vec<_> = rules(&file).into_iter().map(|(_, rule)| rule).collect();
            assert_eq!(found, ["not-a-number"], "{}", subject.name);
        }
    }
}

#[test]
fn a_huge_line_costs_itself() {
    let limits = ParseLimits { max_line_bytes: 2_000, ..ParseLimits::default() };
    let huge = "x".repeat(100_000);
    let json = |name: &str| format!("{{\"t\":1776006429,\"b\":{{\"v\":50}},\"who\":\"{name}\"}}");
    let xml = |name: &str| format!("<shot><t>1776006429</t><b><v>50</v></b><who>{name}</who></shot>");
    let texts = [
        format!("t,v,who\n1776006429,50,a\n1776006429,50,{huge}\n1776006429,50,c\n"),
        format!("{}\n{}\n{}\n", json("a"), json(&huge), json("c")),
        format!("{{\"runs\":[{{\"shots\":[{},{},{}]}}]}}", json("a"), json(&huge), json("c")),
        format!("<export><run>{}{}{}</run></export>", xml("a"), xml(&huge), xml("c")),
    ];
    for (subject, text) in SUBJECTS.iter().zip(texts) {
        let file = survive(only(&subject.set), &subject.name, text.as_bytes(), &SiteContext { limits, ..site() });
        let names: Vec<_> = file.shots.iter().map(|shot| shot.player_text.as_deref()).collect();
        assert_eq!(names, [Some("a"), Some("c")], "{}", subject.name);
        let found: Vec<_> = rules(&file).into_iter().map(|(_, rule)| rule).collect();
        assert_eq!(found, ["line-too-long"], "{}", subject.name);
    }
}
