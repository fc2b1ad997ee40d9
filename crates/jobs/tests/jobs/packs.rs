//! Loading packs, and the faults that a pack's author is told.

use jobs::{JobPackSet, PackFault};

use crate::site::Site;

/// A sound pack without its inputs and trigger.
const OUTPUT: &str = r#"
[output]
dataset = "OUT"
description = "a test"
key = ["player_id"]
[[output.columns]]
name = "player_id"
type = "text"
description = "alias"
required = true
"#;

fn pack(inputs: &str, output: &str, more: &str) -> String {
    let mut text = String::new();
    for input in inputs.split_whitespace() {
        text.push_str("[[inputs]]\ndataset = \"");
        text.push_str(input);
        text.push_str("\"\n");
    }
    text + &OUTPUT.replace("OUT", output) + more
}

const SQL: &str = "SELECT DISTINCT player_id FROM shots";

fn load(site: &Site) -> (JobPackSet, Vec<PackFault>) {
    JobPackSet::load(&site.folder.path().join("plugins/jobs"))
}

fn names(set: &JobPackSet) -> Vec<&str> {
    set.packs().iter().map(|pack| pack.name.as_str()).collect()
}

#[test]
fn packs_stand_in_the_order_in_which_they_build_on_each_other() {
    let site = Site::new();
    site.write_pack("a_last", &pack("made_by_c", "made_by_a", ""), SQL);
    site.write_pack("b_first", &pack("shots", "made_by_b", ""), SQL);
    site.write_pack("c_middle", &pack("shots", "made_by_c", "[trigger]\nafter_job = \"b_first\"\n"), SQL);
    let set = site.packs();
    assert_eq!(names(&set), ["b_first", "c_middle", "a_last"]);
    assert_eq!(set.get("b_first").map(|pack| pack.output.sort.clone()), Some(vec!["player_id".to_owned()]));
}

#[test]
fn a_missing_folder_is_an_empty_set() {
    let (set, faults) = load(&Site::new());
    assert!(set.packs().is_empty() && faults.is_empty());
}

#[test]
fn each_fault_has_its_place_and_a_hint() {
    let trigger = |text: &str| pack("shots", "out", &format!("[trigger]\n{text}\n"));
    let cases = [
        (pack("shots", "out", "colour = 1\n"), SQL, 16, "unknown field `colour`"),
        (pack("shots", "out", "").replace("\"text\"", "\"string\""), SQL, 13, "\"string\" is no type"),
        (pack("shots", "out", "").replace("[\"player_id\"]", "[\"who\"]"), SQL, 8, "\"who\" is named as key"),
        (pack("shots", "out", "").replace("[\"player_id\"]", "[]"), SQL, 10, "the key names no column"),
        (pack("", "out", ""), SQL, 1, "the pack names no inputs"),
        (pack("shotz", "out", ""), SQL, 5, "no dataset is called \"shotz\""),
        (pack("shots", "shots", ""), SQL, 8, "is made by strikemill itself"),
        (trigger("cron = \"0 25 * * *\""), SQL, 17, "the cron expression cannot be read"),
        (trigger("zone = \"Mars/Base\""), SQL, 17, "\"Mars/Base\" is no time zone"),
        (trigger("after_job = \"nobody\""), SQL, 17, "after_job names \"nobody\""),
        (trigger("after_job = \"faulty\""), SQL, 17, "the job waits for itself: faulty"),
        (pack("out", "out", ""), SQL, 5, "the job waits for itself: faulty"),
        (pack("shots", "out", "[parameters]\nlist = [1]\n"), SQL, 17, "parameter \"list\" cannot be used"),
        (pack("shots", "out", ""), "SELECT player_id\nFORM shots WHERE", 2, "Expected"),
        (pack("shots", "out", ""), "SELECT player_id FROM shots WHERE bay = $bay", 1, "$bay has no value"),
        (pack("shots", "out", ""), "DROP TABLE shots", 0, "DROP TABLE is refused"),
        (
            pack("shots", "out", "").replace("key =", "revision_by = \"player_id\"\nkey ="),
            SQL,
            10,
            "revision_by names \"player_id\"",
        ),
    ];
    for (toml, sql, line, message) in cases {
        let site = Site::new();
        site.write_pack("faulty", &toml, sql);
        let (set, faults) = load(&site);
        assert!(set.packs().is_empty(), "{message}");
        let fault = faults.iter().find(|fault| fault.message.contains(message));
        let fault = fault.unwrap_or_else(|| panic!("{message} not in {faults:?}"));
        assert_eq!(fault.line, line, "{fault}");
        assert!(!fault.hint.is_empty(), "{fault}");
    }
}

#[test]
fn a_circle_of_jobs_is_refused_and_the_others_load() {
    let site = Site::new();
    site.write_pack("hen", &pack("eggs", "hens", ""), SQL);
    site.write_pack("egg", &pack("shots", "eggs", "[trigger]\nafter_job = \"hen\"\n"), SQL);
    site.write_pack("sound", &pack("shots", "sounds", ""), SQL);
    let (set, faults) = load(&site);
    assert_eq!(names(&set), ["sound"]);
    assert_eq!(faults.len(), 2);
    assert!(faults[0].message.contains("waits for itself: egg, hen"), "{}", faults[0]);
}

#[test]
fn two_packs_cannot_make_one_dataset_and_readers_of_a_faulty_pack_are_left_out() {
    let site = Site::new();
    site.write_pack("first", &pack("shots", "made", ""), SQL);
    site.write_pack("second", &pack("shots", "made", ""), SQL);
    site.write_pack("broken", &pack("shots", "lost", "nonsense"), SQL);
    site.write_pack("reader", &pack("lost", "more", ""), SQL);
    let (set, faults) = load(&site);
    assert_eq!(names(&set), Vec::<&str>::new(), "neither of the two may overwrite what the other makes");
    let text: Vec<String> = faults.iter().map(ToString::to_string).collect();
    for other in ["first", "second"] {
        assert!(text.iter().any(|fault| fault.contains(&format!("also made by the job \"{other}\""))), "{text:?}");
    }
    assert!(text.iter().any(|fault| fault.contains("no dataset is called \"lost\"")), "{text:?}");
}
