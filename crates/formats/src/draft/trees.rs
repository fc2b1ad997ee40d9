//! Where the records of a JSON or XML document stand: the longest list of objects, or the repeated element, that holds the most values.

use std::collections::{BTreeMap, BTreeSet};

use quick_xml::Reader;
use quick_xml::events::Event;
use serde_json::Value;

/// Deepest place that is looked at.
const DEEPEST: usize = 12;
/// Values of a record beyond which more of them tell nothing.
const ENOUGH_VALUES: usize = 30;

/// Records and different values that were seen at one path.
#[derive(Debug, Default)]
struct Seen {
    records: usize,
    values: BTreeSet<String>,
}

fn best(seen: BTreeMap<Vec<String>, Seen>) -> Option<Vec<String>> {
    let weight = |seen: &Seen| seen.records * seen.values.len().min(ENOUGH_VALUES);
    let rated = seen.into_iter().filter(|(_, seen)| seen.values.len() >= 2);
    rated.max_by_key(|(path, seen)| (weight(seen), std::cmp::Reverse(path.len()))).map(|(path, _)| path)
}

/// The path to the records of a JSON document, as packs write it; empty where the document itself is the list.
pub(super) fn json_property(text: &str) -> Result<String, String> {
    // A document with a broken record is common enough in samples: what parses record by record is looked for then.
    let value: Value = match serde_json::from_str(text) {
        Ok(value) => value,
        Err(error) => mended(text).ok_or_else(|| format!("the document is no JSON: {error}"))?,
    };
    let mut seen = BTreeMap::new();
    look(&value, &mut Vec::new(), &mut seen);
    best(seen).map(|path| path.join(".")).ok_or_else(|| "the document holds no list of objects".to_owned())
}

fn look(value: &Value, path: &mut Vec<String>, seen: &mut BTreeMap<Vec<String>, Seen>) {
    if path.len() > DEEPEST {
        return;
    }
    match value {
        Value::Array(items) => {
            let objects: Vec<&Value> = items.iter().filter(|item| item.is_object()).collect();
            if objects.len() * 2 > items.len() {
                let entry = seen.entry(path.clone()).or_default();
                entry.records += objects.len();
                for object in &objects {
                    scalars("", object, &mut entry.values);
                }
            }
            path.push("*".to_owned());
            for object in objects {
                look(object, path, seen);
            }
            path.pop();
        }
        Value::Object(members) => {
            // A name with a dot cannot be a step of a path.
            for (name, member) in members.iter().filter(|(name, _)| !name.contains('.') && !name.is_empty()) {
                path.push(name.clone());
                look(member, path, seen);
                path.pop();
            }
        }
        _ => {}
    }
}

/// Paths of plain values inside an object, lists not entered.
fn scalars(prefix: &str, value: &Value, paths: &mut BTreeSet<String>) {
    let Value::Object(members) = value else { return };
    for (name, member) in members {
        let path = format!("{prefix}.{name}");
        match member {
            Value::Object(_) if path.len() < 200 => scalars(&path, member, paths),
            Value::Object(_) | Value::Array(_) => {}
            _ => {
                paths.insert(path);
            }
        }
    }
}

/// A document without the lines that keep it from being read, if it has few of them and each holds one record.
fn mended(text: &str) -> Option<Value> {
    let mut lines: Vec<&str> = text.lines().collect();
    for _ in 0..5 {
        let joined = lines.join("\n");
        match serde_json::from_str(&joined) {
            Ok(value) => return Some(value),
            Err(error) if (1..=lines.len()).contains(&error.line()) => {
                lines.remove(error.line() - 1);
            }
            Err(_) => return None,
        }
    }
    None
}

/// The path to the repeated element of an XML document, as packs write it.
pub(super) fn xml_property(text: &str) -> Result<String, String> {
    let mut reader = Reader::from_str(text);
    let mut path: Vec<String> = Vec::new();
    let mut seen: BTreeMap<Vec<String>, Seen> = BTreeMap::new();
    loop {
        let event = match reader.read_event() {
            Ok(event) => event,
            // What stands before the fault may do.
            Err(error) if seen.is_empty() => return Err(format!("the document is no XML: {error}")),
            Err(_) => break,
        };
        match event {
            Event::Start(_) | Event::Empty(_) if path.len() >= DEEPEST => {
                return Err(format!("its elements nest deeper than {DEEPEST}"));
            }
            Event::Start(start) => {
                path.push(start.local_name().as_ref().to_owned());
                note_element(&path, attributes(&start), &mut seen);
            }
            Event::Empty(start) => {
                path.push(start.local_name().as_ref().to_owned());
                note_element(&path, attributes(&start), &mut seen);
                path.pop();
            }
            Event::Text(text) if !text.trim_ascii().is_empty() => {
                seen.entry(path.clone()).or_default().values.insert(String::new());
            }
            Event::End(_) => {
                path.pop();
            }
            Event::Eof => break,
            _ => {}
        }
    }
    best(gathered(&seen))
        .map(|path| path.join("/"))
        .ok_or_else(|| "the document holds no repeated element with values".to_owned())
}

fn attributes(start: &quick_xml::events::BytesStart<'_>) -> Vec<String> {
    let named =
        |attribute: quick_xml::events::attributes::Attribute<'_>| format!("@{}", attribute.key.local_name().as_ref());
    start.attributes().flatten().map(named).collect()
}

fn note_element(path: &[String], attributes: Vec<String>, seen: &mut BTreeMap<Vec<String>, Seen>) {
    let entry = seen.entry(path.to_vec()).or_default();
    entry.records += 1;
    entry.values.extend(attributes);
}

/// Gives each element the values of the elements inside it, as far as these stand in it once.
fn gathered(seen: &BTreeMap<Vec<String>, Seen>) -> BTreeMap<Vec<String>, Seen> {
    let repeats = |path: &[String]| {
        let count = |path: &[String]| seen.get(path).map_or(1, |seen| seen.records);
        count(path) > count(&path[..path.len() - 1])
    };
    let mut all = BTreeMap::new();
    // The outermost element is never a record.
    for (path, outer) in seen.iter().filter(|(path, _)| path.len() > 1) {
        let mut values = BTreeSet::new();
        for (inside, inner) in seen.range(path.clone()..).take_while(|(inside, _)| inside.starts_with(path)) {
            let is_single = (path.len() + 1..=inside.len()).all(|depth| !repeats(&inside[..depth]));
            if is_single {
                values.extend(inner.values.iter().map(|value| format!("{}/{value}", inside[path.len()..].join("/"))));
            }
        }
        all.insert(path.clone(), Seen { records: outer.records, values });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_with_the_most_values_is_found() {
        let cases: [(&str, Result<&str, &String>); 3] = [
            (r#"[{"a":1,"b":2},{"a":3,"b":4}]"#, Ok("")),
            (r#"{"unit":"m","data":{"shots":[{"a":1,"b":2},{"a":3,"b":4}]},"tags":[{"n":1,"m":2}]}"#, Ok("data.shots")),
            (r#"{"s":[{"who":"x","in":1,"hits":[{"a":1,"b":2,"c":3},{"a":1,"b":2,"c":3}]}]}"#, Ok("s.*.hits")),
        ];
        for (text, expected) in cases {
            assert_eq!(json_property(text).as_deref(), expected, "{text}");
        }
        let broken = "{\"s\":[\n{\"a\":1,\"b\":2},\n{\"a\":,\"b\":2},\n{\"a\":1,\"b\":3}\n]}";
        assert_eq!(json_property(broken).as_deref(), Ok("s"));
        for text in ["{}", "[1,2]", "7", "{\"a\":", ""] {
            assert!(json_property(text).is_err(), "{text}");
        }
    }

    #[test]
    fn the_repeated_element_is_found() {
        let attributes = "<e day=\"1\"><s n=\"1\" v=\"2\"/><s n=\"2\" v=\"3\"/></e>";
        assert_eq!(xml_property(attributes).as_deref(), Ok("e/s"));
        let nested = "<e><g who=\"a\"><s><v>1</v><w>2</w></s><s><v>1</v><w>2</w></s></g><g who=\"b\"><s><v>1</v><w>2</w></s></g></e>";
        assert_eq!(xml_property(nested).as_deref(), Ok("e/g/s"));
        for text in ["<a/>", "<a>1</a>", "<", "<a><b></a>"] {
            assert!(xml_property(text).is_err(), "{text}");
        }
    }
}
