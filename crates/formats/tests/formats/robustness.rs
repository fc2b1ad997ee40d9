//! No bytes make a parser panic, loop, or forget a row.

use proptest::prelude::*;

use crate::survive::survive;
use crate::{shipped, shipped_dir, site};

/// Names and bytes of the shipped samples, with the pack's name.
fn samples() -> Vec<(String, String, Vec<u8>)> {
    let mut samples = Vec::new();
    for pack in shipped().packs() {
        for entry in std::fs::read_dir(shipped_dir().join(pack.name())).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            if name.starts_with("sample") {
                samples.push((pack.name().to_owned(), name, std::fs::read(&path).expect("a file")));
            }
        }
    }
    samples
}

fn check(pack: &formats::Pack, name: &str, bytes: &[u8]) {
    survive(pack, name, bytes, &site());
}

/// One change to a sample.
#[derive(Debug, Clone)]
enum Change {
    Cut(prop::sample::Index),
    Overwrite(prop::sample::Index, u8),
    Insert(prop::sample::Index, Vec<u8>),
    Remove(prop::sample::Index, usize),
    Repeat(prop::sample::Index, usize),
}

fn change() -> impl Strategy<Value = Change> {
    let place = any::<prop::sample::Index>;
    let telling = prop::sample::select(b"\"\",;:\r\n\0{}[]-+.eELR\\\xff\xfe\x80 09".to_vec());
    let pieces = prop::collection::vec(prop_oneof![telling, any::<u8>()], 1..12);
    prop_oneof![
        place().prop_map(Change::Cut),
        (place(), any::<u8>()).prop_map(|(at, byte)| Change::Overwrite(at, byte)),
        (place(), pieces).prop_map(|(at, bytes)| Change::Insert(at, bytes)),
        (place(), 1..200_usize).prop_map(|(at, count)| Change::Remove(at, count)),
        (place(), 1..200_usize).prop_map(|(at, count)| Change::Repeat(at, count)),
    ]
}

fn apply(bytes: &mut Vec<u8>, change: &Change) {
    if bytes.is_empty() {
        return;
    }
    let span = |at: usize, count: usize| at..(at + count).min(bytes.len());
    match change {
        Change::Cut(at) => bytes.truncate(at.index(bytes.len())),
        Change::Overwrite(at, byte) => {
            let at = at.index(bytes.len());
            bytes[at] = *byte;
        }
        Change::Insert(at, inserted) => {
            let at = at.index(bytes.len());
            bytes.splice(at..at, inserted.iter().copied());
        }
        Change::Remove(at, count) => {
            let range = span(at.index(bytes.len()), *count);
            bytes.drain(range);
        }
        Change::Repeat(at, count) => {
            let at = at.index(bytes.len());
            let again = bytes[span(at, *count)].to_vec();
            bytes.splice(at..at, again);
        }
    }
}

fn shipped_once() -> &'static formats::PackSet {
    static SET: std::sync::OnceLock<formats::PackSet> = std::sync::OnceLock::new();
    SET.get_or_init(shipped)
}

fn samples_once() -> &'static [(String, String, Vec<u8>)] {
    static SAMPLES: std::sync::OnceLock<Vec<(String, String, Vec<u8>)>> = std::sync::OnceLock::new();
    SAMPLES.get_or_init(samples)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..2000), name in ".{0,40}") {
        let set = shipped_once();
        let _ = set.recognise(&name, &bytes);
        let _ = set.drift(&name, &bytes);
        for pack in set.packs() {
            check(pack, &name, &bytes);
        }
    }

    #[test]
    fn changed_samples_are_survived(changes in prop::collection::vec(change(), 1..6), asked in 0_usize..1_000) {
        let set = shipped_once();
        let samples = samples_once();
        for (place, (pack, name, bytes)) in samples.iter().enumerate() {
            let mut bytes = bytes.clone();
            for change in &changes {
                apply(&mut bytes, change);
            }
            check(set.pack(pack).expect("shipped"), name, &bytes);
            // All packs are asked here, each in many dialects: once a case is enough.
            if place == asked % samples.len() {
                let _ = set.recognise(name, &bytes);
                let _ = set.drift(name, &bytes);
            }
        }
    }

    #[test]
    fn arbitrary_cells_are_survived(cells in prop::collection::vec("[ -~äß\u{a0}−]{0,12}", 17)) {
        let set = shipped_once();
        let (.., sample) = samples_once().iter().find(|(pack, ..)| pack == "plain-imperial").expect("shipped");
        let head: Vec<String> = String::from_utf8_lossy(sample).lines().take(2).map(str::to_owned).collect();
        let text = format!("{}\n{}\n", head.join("\n"), cells.join(","));
        check(set.pack("plain-imperial").expect("shipped"), "session_1_bay1.csv", text.as_bytes());
    }

    #[test]
    fn arbitrary_text_is_survived_in_any_dialect(
        keys in prop::sample::subsequence(
            vec![
                "escapeChar = \"\\\\\"", "doubleQuote = false", "skipInitialSpace = true", "commentChar = \"#\"", "headerRows = [1, 2]",
                "headerFill = true", "unitsRow = 3", "shortRows = \"pad\"", "preamble = { lines = 1 }", "encoding = [\"utf-8\", \"utf-16le\", \"iso-8859-15\"]",
            ],
            0..10,
        ),
        text in "([tv,\"\\\\# \n\r\0]|1776006429|é){0,60}",
    ) {
        let set = crate::sound(&(crate::small_head("\"t\", \"v\"", &keys.join("\n")) + crate::BALL_SPEED));
        let head = if keys.contains(&"headerRows = [1, 2]") { "t,v\n,\n" } else { "t,v\n" };
        for bytes in [text.clone().into_bytes(), format!("{head}{text}").into_bytes()] {
            check(crate::only(&set), "a.csv", &bytes);
            let _ = set.drift("a.csv", &bytes);
        }
    }

    #[test]
    fn arbitrary_packs_are_survived(text in "([a-z]{1,9}( = |\\.)?[\"\\[{]?[a-z0-9]{0,5}[\"\\]}]?\n){0,12}") {
        let (set, faults) = crate::load_text(&text);
        prop_assert!(set.packs().is_empty() && !faults.is_empty());
        for fault in faults {
            prop_assert!(fault.to_string().contains("hint: "));
        }
    }
}
