//! One JSON object as a record, for lines and documents alike. Fields are paths such as `ball.speed` or `marks.0.x`; a member whose
//! name holds dots is found by its whole name first. Of a member that stands twice the last one counts.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use serde_json::Value;

use crate::context::ParseLimits;
use crate::encoding::REPLACEMENT;
use crate::record::Record;
use crate::rule::Rule;

/// Longest path that is listed. Long member names on many levels would multiply otherwise.
const LONGEST_PATH: usize = 1_000;

/// What a `*` of the pack's path stands for at one record: an element or member around it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Enclosing {
    /// The path up to and with the `*`; as a field it is the member's name or the element's index.
    pub path: String,
    pub name: String,
    /// Its scalars by path, without those of the records.
    pub scalars: Scalars,
}

/// A record of a JSON file.
pub(crate) struct JsonRecord<'a> {
    pub line: i64,
    pub value: Value,
    pub enclosing: &'a [Enclosing],
}

impl JsonRecord<'_> {
    /// The field of an enclosing object, where the field is one's.
    fn outer(&self, field: &str) -> Option<Result<&Value, &str>> {
        for around in self.enclosing {
            let Some(rest) = field.strip_prefix(around.path.as_str()) else { continue };
            if rest.is_empty() {
                return Some(Err(&around.name));
            }
            if let Some(path) = rest.strip_prefix('.')
                && let Some(value) = around.scalars.get(path)
            {
                return Some(Ok(value));
            }
        }
        None
    }

    fn value_of(&self, field: &str) -> Option<Result<&Value, &str>> {
        self.outer(field).or_else(|| find(&self.value, field).map(Ok))
    }
}

impl Record for JsonRecord<'_> {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        match self.value_of(field)? {
            Ok(value) => text_of(value),
            Err(name) => Some(Cow::Borrowed(name)),
        }
    }

    fn number(&self, field: &str) -> Option<f64> {
        self.value_of(field)?.ok()?.as_f64()
    }
}

/// The text of a value; of an object or list its JSON.
pub(crate) fn text_of(value: &Value) -> Option<Cow<'_, str>> {
    match value {
        Value::Null => None,
        Value::String(text) => Some(Cow::Borrowed(text)),
        other => Some(Cow::Owned(other.to_string())),
    }
}

fn find<'a>(value: &'a Value, path: &str) -> Option<&'a Value> {
    let mut value = value;
    let mut rest = path;
    loop {
        if let Value::Object(members) = value
            && let Some(member) = members.get(rest)
        {
            return Some(member);
        }
        let (step, after) = rest.split_once('.').map_or((rest, None), |(step, after)| (step, Some(after)));
        value = match value {
            Value::Object(members) => members.get(step)?,
            Value::Array(items) => items.get(step.parse::<usize>().ok()?)?,
            _ => return None,
        };
        match after {
            Some(after) => rest = after,
            None => return Some(value),
        }
    }
}

/// Why a text is no record.
#[derive(Debug)]
pub(crate) struct NoRecord {
    pub rule: Rule,
    pub message: String,
    /// Nothing is wrong with the text but that it ends.
    pub ends_early: bool,
}

impl NoRecord {
    fn new(rule: Rule, message: impl Into<String>) -> NoRecord {
        NoRecord { rule, message: message.into(), ends_early: false }
    }
}

/// The object of a text. Size, nesting and number of members are bounded before the parser, which recurses, sees it.
pub(crate) fn read_object(text: &str, limits: &ParseLimits) -> Result<Value, NoRecord> {
    match read_value(text, limits)? {
        value @ Value::Object(_) => Ok(value),
        _ => Err(NoRecord::new(Rule::BadJson, "a record is a JSON object, and this is JSON, but no object")),
    }
}

/// The value of a text, bounded likewise.
pub(crate) fn read_value(text: &str, limits: &ParseLimits) -> Result<Value, NoRecord> {
    if text.len() > limits.max_line_bytes {
        let message = format!("the record is longer than {} bytes", limits.max_line_bytes);
        return Err(NoRecord::new(Rule::LineTooLong, message));
    }
    if text.contains(REPLACEMENT) {
        return Err(NoRecord::new(Rule::BadEncoding, "the record holds bytes that are no text"));
    }
    let (depth, members) = measure(text);
    if depth > limits.max_depth {
        let message = format!("the record nests {depth} deep, the limit is {}", limits.max_depth);
        return Err(NoRecord::new(Rule::TooDeep, message));
    }
    if members > limits.max_fields {
        let message = format!("the record has {members} members, the limit is {}", limits.max_fields);
        return Err(NoRecord::new(Rule::TooManyFields, message));
    }
    serde_json::from_str::<Value>(text).or_else(|error| {
        if let Some(plain) = without_nan(text)
            && let Ok(value) = serde_json::from_str(&plain)
        {
            return Ok(value);
        }
        // The parser counts lines of its own input, which are not those of the file.
        let whole = error.to_string();
        let what = whole.split(" at line ").next().unwrap_or(&whole);
        let message = match error.line() {
            1 => format!("this is no JSON: {what} at byte {} of the record", error.column()),
            line => format!("this is no JSON: {what} at byte {} of line {line} of the record", error.column()),
        };
        Err(NoRecord { rule: Rule::BadJson, message, ends_early: error.is_eof() })
    })
}

/// Nesting of brackets and number of members, found without recursion.
fn measure(text: &str) -> (usize, usize) {
    let (mut depth, mut deepest, mut members) = (0_usize, 0_usize, 0_usize);
    outside_strings(text, |_, byte| match byte {
        b'{' | b'[' => {
            depth += 1;
            deepest = deepest.max(depth);
        }
        b'}' | b']' => depth = depth.saturating_sub(1),
        b':' => members += 1,
        _ => {}
    });
    (deepest, members)
}

/// Calls `see` with every byte that is not in a string, and its position.
fn outside_strings(text: &str, mut see: impl FnMut(usize, u8)) {
    let (mut in_string, mut escaped) = (false, false);
    for (position, byte) in text.bytes().enumerate() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_string => escaped = true,
            b'"' => in_string = !in_string,
            other if !in_string => see(position, other),
            _ => {}
        }
    }
}

/// The text with `null` for every bare `NaN`, or nothing where there is none. JSON has no such word, yet widespread writers use it for
/// "no reading", and a row is not to be lost for one.
fn without_nan(text: &str) -> Option<String> {
    let bytes = text.as_bytes();
    let mut starts = Vec::new();
    let part_of_word = |byte: Option<&u8>| byte.is_some_and(|b| b.is_ascii_alphanumeric() || b"_+-.".contains(b));
    outside_strings(text, |position, byte| {
        let before = position.checked_sub(1).and_then(|at| bytes.get(at));
        let is_word = byte == b'N' && bytes[position..].starts_with(b"NaN");
        if is_word && !part_of_word(before) && !part_of_word(bytes.get(position + 3)) {
            starts.push(position);
        }
    });
    let mut plain = String::with_capacity(text.len() + starts.len());
    let mut done = 0;
    for start in &starts {
        plain.push_str(&text[done..*start]);
        plain.push_str("null");
        done = start + 3;
    }
    plain.push_str(&text[done..]);
    (!starts.is_empty()).then_some(plain)
}

/// The paths found in some records, in the order of their first appearance.
#[derive(Debug, Default)]
pub(crate) struct Paths {
    pub list: Vec<String>,
    known: HashSet<String>,
}

impl Paths {
    pub fn add(&mut self, path: String, most: usize) {
        if path.len() <= LONGEST_PATH && self.list.len() < most && self.known.insert(path.clone()) {
            self.list.push(path);
        }
    }

    /// Adds the paths of a value, those of objects and lists too.
    pub fn collect(&mut self, prefix: &str, value: &Value, most: usize) {
        each_member(value, |key, member| {
            if self.list.len() < most {
                let path = if prefix.is_empty() { key } else { format!("{prefix}.{key}") };
                if path.len() <= LONGEST_PATH {
                    self.collect(&path, member, most);
                    self.add(path, most);
                }
            }
        });
    }
}

/// Scalars by path, in the order of their first appearance; of a path that stands twice the last one counts.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scalars {
    list: Vec<(String, Value)>,
    places: HashMap<String, usize>,
}

impl Scalars {
    /// Adds the scalars of a value. Objects and lists are entered, nulls passed over.
    pub fn collect(&mut self, path: &str, value: &Value, most: usize) {
        match value {
            Value::Null => {}
            Value::Object(_) | Value::Array(_) => each_member(value, |key, member| {
                let path = if path.is_empty() { key } else { format!("{path}.{key}") };
                if path.len() <= LONGEST_PATH {
                    self.collect(&path, member, most);
                }
            }),
            scalar => {
                if let Some(place) = self.places.get(path) {
                    self.list[*place].1 = scalar.clone();
                } else if self.list.len() < most {
                    self.places.insert(path.to_owned(), self.list.len());
                    self.list.push((path.to_owned(), scalar.clone()));
                }
            }
        }
    }

    pub fn get(&self, path: &str) -> Option<&Value> {
        Some(&self.list[*self.places.get(path)?].1)
    }

    pub fn iter(&self) -> impl Iterator<Item = (&str, &Value)> {
        self.list.iter().map(|(path, value)| (path.as_str(), value))
    }
}

fn each_member(value: &Value, mut see: impl FnMut(String, &Value)) {
    match value {
        Value::Object(members) => members.iter().for_each(|(key, member)| see(key.clone(), member)),
        Value::Array(items) => items.iter().enumerate().for_each(|(place, item)| see(place.to_string(), item)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(text: &str) -> JsonRecord<'static> {
        let value = read_object(text, &ParseLimits::default()).expect("an object");
        JsonRecord { line: 1, value, enclosing: &[] }
    }

    #[test]
    fn paths_reach_into_objects_and_lists() {
        let record = record(r#"{"a":{"b":[1,{"c":"x"}],"n":null,"d.e":2.5},"t":true,"twice":1,"twice":2}"#);
        assert_eq!(record.text("a.b.0").as_deref(), Some("1"));
        assert_eq!(record.text("a.b.1.c").as_deref(), Some("x"));
        assert_eq!(record.text("t").as_deref(), Some("true"));
        assert_eq!(record.text("a.d.e").as_deref(), Some("2.5"));
        assert_eq!(record.text("twice").as_deref(), Some("2"), "the last one counts");
        assert_eq!(record.number("a.d.e"), Some(2.5));
        assert_eq!((record.number("a.b.1.c"), record.number("t")), (None, None), "no numbers");
        for missing in ["a.n", "a.n.z", "a.b.7", "a.b.x", "q", "t.u", ""] {
            assert_eq!(record.text(missing), None, "{missing}");
        }
    }

    #[test]
    fn what_is_no_record_is_named() {
        let limits = ParseLimits { max_line_bytes: 60, max_depth: 3, max_fields: 4, ..ParseLimits::default() };
        let long = "x".repeat(61);
        let cases = [
            ("[1]", Rule::BadJson, false),
            ("{\"a\":", Rule::BadJson, true),
            ("{\"a\":1,}", Rule::BadJson, false),
            ("{\"a\":1e999}", Rule::BadJson, false),
            ("{\"a\":-NaN}", Rule::BadJson, false),
            ("{\"a\":[[[1]]]}", Rule::TooDeep, false),
            ("{\"a\":\"\u{fffd}\"}", Rule::BadEncoding, false),
            ("{\"a\":1,\"b\":1,\"c\":1,\"d\":1,\"e\":1}", Rule::TooManyFields, false),
            (long.as_str(), Rule::LineTooLong, false),
        ];
        for (text, rule, ends_early) in cases {
            let found = read_object(text, &limits).expect_err(text);
            assert_eq!((found.rule, found.ends_early), (rule, ends_early), "{text}");
        }
        assert!(read_object("{\"a\":\"[[[[{{\\\"[[::::\"}", &limits).is_ok(), "brackets in a string are text");
    }

    #[test]
    fn a_bare_nan_is_no_reading() {
        let record = record(r#"{"a":NaN,"b":"NaN","c":[NaN, 1]}"#);
        assert_eq!(record.text("a"), None);
        assert_eq!(record.text("b").as_deref(), Some("NaN"));
        assert_eq!((record.text("c.0"), record.number("c.1")), (None, Some(1.0)));
    }

    #[test]
    fn long_names_on_many_levels_do_not_multiply() {
        let name = "n".repeat(LONGEST_PATH);
        let value = serde_json::json!({ &name: { "a": 1, "b": 2 }, "c": 3 });
        let mut paths = Paths::default();
        paths.collect("", &value, 100);
        let mut scalars = Scalars::default();
        scalars.collect("", &value, 100);
        assert_eq!(paths.list, ["c".to_owned(), name]);
        assert_eq!(scalars.iter().collect::<Vec<_>>(), [("c", &Value::from(3))]);
    }
}
