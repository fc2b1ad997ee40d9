//! The engine for JSON Lines: one object a line, fields addressed by paths such as `ball.speed` or `marks.0.x`.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::ops::ControlFlow;

use serde_json::Value;

use crate::context::ParseLimits;
use crate::encoding::{self, Encoding, REPLACEMENT};
use crate::lines::Lines;
use crate::record::{Engine, GLANCED_BYTES, Glance, Item, Opening, Record};
use crate::rule::Rule;

/// Objects at the head of a file that a glance reads; optional parts may be missing from the first one.
const GLANCED_OBJECTS: usize = 20;

/// The dialect of one pack.
#[derive(Debug)]
pub(crate) struct JsonLines {
    pub encodings: Vec<Encoding>,
}

struct Object {
    line: i64,
    value: Value,
}

impl Record for Object {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        match self.value(field)? {
            Value::Null => None,
            Value::String(text) => Some(Cow::Borrowed(text)),
            other => Some(Cow::Owned(other.to_string())),
        }
    }

    fn number(&self, field: &str) -> Option<f64> {
        self.value(field)?.as_f64()
    }
}

impl Object {
    fn value(&self, field: &str) -> Option<&Value> {
        let mut value = &self.value;
        for step in field.split('.') {
            value = match value {
                Value::Object(members) => members.get(step)?,
                Value::Array(items) => items.get(step.parse::<usize>().ok()?)?,
                _ => return None,
            };
        }
        Some(value)
    }
}

impl Engine for JsonLines {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let head = &bytes[..bytes.len().min(GLANCED_BYTES)];
        let text = match encoding::decode(head, &self.encodings, head.len() == bytes.len()) {
            Ok(text) => text,
            Err(obstacle) => return Glance { obstacle: Some(obstacle), ..Glance::default() },
        };
        let limits = ParseLimits::default();
        let mut paths = BTreeSet::new();
        let filled = Lines::new(&text).map(|line| &text[line.start..line.end]).filter(|line| !line.trim().is_empty());
        let mut obstacle = Some("no line holds a JSON object".to_owned());
        for line in filled.take(GLANCED_OBJECTS) {
            if let Ok(value) = read_object(line, &limits) {
                obstacle = None;
                collect_paths("", &value, &mut paths, limits.max_fields);
            }
        }
        Glance { fields: paths.into_iter().collect(), text: text.into_owned(), obstacle, ..Glance::default() }
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        let text = match encoding::decode(bytes, &self.encodings, true) {
            Ok(text) => text,
            Err(message) => {
                let _ = take(Item::Problem(Rule::BadEncoding.rejects(0, None, "", message)));
                return;
            }
        };
        if take(Item::Opening(&Opening::default())).is_break() {
            return;
        }
        for line in Lines::new(&text) {
            let content = &text[line.start..line.end];
            if content.trim().is_empty() {
                continue;
            }
            let flow = match read_object(content, limits) {
                Ok(value) => take(Item::Record(&Object { line: line.number, value })),
                Err((rule, message)) => take(Item::Problem(rule.rejects(line.number, None, content, message))),
            };
            if flow.is_break() {
                return;
            }
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        // Some writers omit the last line end; a closed object is an end too.
        let trimmed = tail.trim_ascii_end();
        encoding::ends_with_newline(tail, &self.encodings) || trimmed.ends_with(b"}")
    }
}

fn read_object(line: &str, limits: &ParseLimits) -> Result<Value, (Rule, String)> {
    if line.len() > limits.max_line_bytes {
        return Err((Rule::LineTooLong, format!("the line is longer than {} bytes", limits.max_line_bytes)));
    }
    if line.contains(REPLACEMENT) {
        return Err((Rule::BadEncoding, "the line holds bytes that are no text".to_owned()));
    }
    let depth = depth_of(line);
    if depth > limits.max_depth {
        return Err((Rule::TooDeep, format!("the record nests {depth} deep, the limit is {}", limits.max_depth)));
    }
    match serde_json::from_str::<Value>(line) {
        Ok(value @ Value::Object(_)) => Ok(value),
        Ok(_) => Err((Rule::BadJson, "the line holds JSON, but no object".to_owned())),
        Err(error) => {
            // The parser counts lines of its own input, which is always one line.
            let text = error.to_string();
            let what = text.split(" at line ").next().unwrap_or(&text);
            Err((Rule::BadJson, format!("the line is no JSON: {what} at byte {}", error.column())))
        }
    }
}

/// Nesting of brackets outside strings, found before the parser recurses.
fn depth_of(line: &str) -> usize {
    let (mut depth, mut deepest, mut in_string, mut escaped) = (0_usize, 0_usize, false, false);
    for byte in line.bytes() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_string => escaped = true,
            b'"' => in_string = !in_string,
            b'{' | b'[' if !in_string => {
                depth += 1;
                deepest = deepest.max(depth);
            }
            b'}' | b']' if !in_string => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    deepest
}

fn collect_paths(prefix: &str, value: &Value, paths: &mut BTreeSet<String>, most: usize) {
    let members: Vec<(String, &Value)> = match value {
        Value::Object(members) => members.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(items) => items.iter().enumerate().map(|(place, value)| (place.to_string(), value)).collect(),
        _ => return,
    };
    for (key, member) in members {
        if paths.len() >= most {
            return;
        }
        let path = if prefix.is_empty() { key } else { format!("{prefix}.{key}") };
        collect_paths(&path, member, paths, most);
        paths.insert(path);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_reach_into_objects_and_lists() {
        let value = read_object(r#"{"a":{"b":[1,{"c":"x"}],"n":null},"t":true}"#, &ParseLimits::default());
        let record = Object { line: 1, value: value.expect("an object") };
        assert_eq!(record.text("a.b.0").as_deref(), Some("1"));
        assert_eq!(record.text("a.b.1.c").as_deref(), Some("x"));
        assert_eq!(record.text("t").as_deref(), Some("true"));
        for missing in ["a.n", "a.n.z", "a.b.7", "a.b.x", "q", "t.u", ""] {
            assert_eq!(record.text(missing), None, "{missing}");
        }
    }

    #[test]
    fn lines_that_are_no_records_are_named() {
        let limits = ParseLimits { max_line_bytes: 60, max_depth: 3, ..ParseLimits::default() };
        let cases = [
            ("[1]", Rule::BadJson),
            ("{\"a\":", Rule::BadJson),
            ("{\"a\":[[[1]]]}", Rule::TooDeep),
            ("{\"a\":\"\u{fffd}\"}", Rule::BadEncoding),
        ];
        for (line, rule) in cases {
            assert_eq!(read_object(line, &limits).expect_err(line).0, rule, "{line}");
        }
        assert_eq!(read_object(&"x".repeat(61), &limits).expect_err("long").0, Rule::LineTooLong);
        assert!(read_object("{\"a\":\"[[[[{{\\\"[[\"}", &limits).is_ok(), "brackets in a string are text");
    }
}
