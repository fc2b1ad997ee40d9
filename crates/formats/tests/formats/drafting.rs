//! Drafting a pack from a sample: the shipped packs as the answer, small exports in other dialects, and hostile bytes.

use std::collections::BTreeMap;

use formats::draft;

use crate::shipped_dir;

/// Percent of a pack's quantities that a draft must find with place, unit and sign, where less than 80 can be asked: this file
/// says no unit anywhere, and of feet a second, kilometres an hour and miles an hour any fits its numbers.
const LEAST: [(&str, usize); 1] = [("tee-columns", 40)];

#[derive(Debug)]
struct Said {
    place: String,
    unit: String,
    unit_from: String,
    sign: String,
}

/// What a pack says of its time, texts and measures, read from its text.
fn said(format_toml: &str) -> BTreeMap<String, Said> {
    let table: toml::Table = toml::from_str(format_toml).expect("TOML");
    let place = |source: &toml::Value| {
        let found =
            ["field", "preamble", "fileName"].iter().find_map(|key| source.get(*key).and_then(toml::Value::as_str));
        found.unwrap_or_default().to_owned()
    };
    let mut found = BTreeMap::new();
    let mut put = |name: String, source: &toml::Value| {
        let text = |key: &str| source.get(key).map(toml::Value::to_string).unwrap_or_default();
        let sign = format!("{}{}{}", text("sign"), text("positiveSuffix"), text("negativeSuffix"));
        found.insert(name, Said { place: place(source), unit: text("unit"), unit_from: text("unitFrom"), sign });
    };
    let parts = table.get("time").and_then(|time| time.get("parts")).and_then(toml::Value::as_array);
    for (number, part) in parts.into_iter().flatten().enumerate() {
        put(format!("time {number}"), part);
    }
    for group in ["shot", "measures"] {
        for (name, source) in table.get(group).and_then(toml::Value::as_table).into_iter().flatten() {
            put(name.clone(), source);
        }
    }
    found
}

#[test]
fn drafts_of_the_shipped_samples_find_what_the_packs_say() {
    for pack in crate::shipped().packs().iter().filter(|pack| pack.kind() == formats::PackKind::Shots) {
        let folder = shipped_dir().join(pack.name());
        let right = said(&std::fs::read_to_string(folder.join("format.toml")).expect("a pack"));
        let mut samples: Vec<_> = std::fs::read_dir(&folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").path())
            .filter(|path| path.file_name().expect("a name").to_string_lossy().starts_with("sample"))
            .collect();
        samples.sort();
        let sample = samples.first().expect("a sample");
        let file_name = sample.file_name().expect("a name").to_string_lossy().into_owned();
        let file_name = file_name.strip_prefix("sample-").unwrap_or(&file_name).to_owned();
        let drafted = draft(pack.name(), &file_name, &std::fs::read(sample).expect("a sample"));
        let found = if drafted.format_toml.is_empty() { BTreeMap::new() } else { said(&drafted.format_toml) };
        let (mut good, mut all) = (0, 0);
        println!("\n{} from {file_name}: {:?}", pack.name(), drafted.notes);
        for (name, wanted) in &right {
            let draft = found.get(name);
            let fits = draft.is_some_and(|draft| {
                // What the sign means stands in no file: a draft takes it as ours and asks.
                let asked = wanted.sign.contains("inverted")
                    && drafted.questions.iter().any(|question| {
                        question.text.starts_with("Are these signs")
                            && question.text.contains(&format!("\"{}\"", wanted.place))
                    });
                let mixed_units = wanted.unit_from.contains("field") && draft.unit_from == wanted.unit_from;
                draft.place == wanted.place
                    && (draft.unit == wanted.unit || mixed_units)
                    && (draft.sign == wanted.sign || asked)
            });
            let is_number = !wanted.unit.is_empty();
            all += usize::from(is_number);
            good += usize::from(is_number && fits);
            let shown =
                draft.map_or("nothing".to_owned(), |draft| format!("{} {} {}", draft.place, draft.unit, draft.sign));
            println!(
                "  {} {name:<22} {} {} {} | {shown}",
                if fits { "ok  " } else { "MISS" },
                wanted.place,
                wanted.unit,
                wanted.sign
            );
            if ["time 0", "time 1", "club", "player"].contains(&name.as_str()) {
                assert!(fits, "{}: {name}: {shown}\n{}", pack.name(), drafted.format_toml);
            }
        }
        println!("  {good} of {all} quantities");
        let least = LEAST.iter().find(|(name, _)| *name == pack.name()).map_or(80, |(_, least)| *least);
        assert!(good * 100 >= all * least, "{}: {good} of {all}\n{}", pack.name(), drafted.format_toml);
        assert_eq!(drafted.obstacle, None, "{}", drafted.format_toml);
        assert!(drafted.report.expect("a report").passed());
    }
}
