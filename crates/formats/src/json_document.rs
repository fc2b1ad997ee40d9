//! The engine for JSON documents: one list of objects somewhere in it, at a path such as `data.shots` or `sessions.*.shots`.
//!
//! Scalars beside the list, before or behind it, are the preamble, by path. Where the path goes through every element of a list (`*`),
//! a record sees the scalars of the element that it is in by the path with the same star: `sessions.*.id`; `sessions.*` itself is the
//! element's index, or the member's name. One record is held at a time.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::encoding::{self, Encoding};
use crate::json_record::{JsonRecord, Paths, read_object, text_of};
use crate::json_scan::{Cursor, Fault};
use crate::json_walk::{Halt, Met, Step, Walk, beside_records, path_text};
use crate::places::{LineCounter, Places, Survey, excerpt};
use crate::record::{Engine, GLANCED_BYTES, GLANCED_RECORDS, Glance, Item, Opening};
use crate::rule::Rule;

#[derive(Debug)]
pub(crate) struct JsonDocument {
    pub encodings: Vec<Encoding>,
    /// Path to the list of records; empty where the document itself is the list.
    pub path: Vec<Step>,
}

impl JsonDocument {
    fn lacks_list(&self) -> String {
        match self.path.as_slice() {
            [] => "the document is no list of records".to_owned(),
            path => format!("the document has no list at \"{}\"", path_text(path)),
        }
    }

    /// Whether two records begin on one line. Stops at the first such pair.
    fn shares_lines(&self, text: &str, limits: &ParseLimits) -> bool {
        let mut survey = Survey::new(text);
        let mut take = |met: Met<'_>| {
            let (Met::Record { at, .. } | Met::NoList { at, .. }) = met;
            survey.record(at);
            if survey.shares_lines() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let outcome = Walk { text, path: &self.path, limits, take: &mut take, found: false }.run();
        // A record cut short is a record. However else it ends, the reading proper will end there too, and report it.
        if let Err(Halt::Cut { record: Some(at) }) = outcome {
            survey.record(at);
        }
        survey.shares_lines()
    }

    /// Hands on the records. Gives the end of the walk, and whether the path led to a list.
    fn stream(
        &self,
        text: &str,
        limits: &ParseLimits,
        places: &mut Places<'_>,
        take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>,
    ) -> (Result<usize, Halt>, bool) {
        let mut hand_on = |met: Met<'_>| match met {
            Met::Record { text, at, enclosing } => {
                let line = places.next(at);
                match read_object(text, limits) {
                    Ok(value) => take(Item::Record(&JsonRecord { line, value, enclosing })),
                    Err(fault) => take(Item::Problem(fault.rule.rejects(line, None, &excerpt(text, 0), fault.message))),
                }
            }
            Met::NoList { text, at } => {
                let (line, message) = (places.next(at), "a list of records is expected here".to_owned());
                take(Item::Problem(Rule::NoRecords.rejects(line, None, &excerpt(text, 0), message)))
            }
        };
        let mut walk = Walk { text, path: &self.path, limits, take: &mut hand_on, found: false };
        let outcome = walk.run();
        (outcome, walk.found)
    }
}

impl Engine for JsonDocument {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let head = &bytes[..bytes.len().min(GLANCED_BYTES)];
        let obstacle = |obstacle: String| Glance { obstacle: Some(obstacle), ..Glance::default() };
        let text = match encoding::decode(head, &self.encodings, head.len() == bytes.len()) {
            Ok(text) => text.into_owned(),
            Err(message) => return obstacle(message),
        };
        if !text.trim_start().starts_with(['{', '[']) {
            return obstacle("it does not begin as a JSON document".to_owned());
        }
        let whole = match encoding::decode(bytes, &self.encodings, true) {
            Ok(whole) => whole,
            Err(message) => return obstacle(message),
        };
        let limits = ParseLimits::default();
        let mut paths = Paths::default();
        let mut seen = 0;
        let mut take = |met: Met<'_>| {
            if let Met::Record { text, enclosing, .. } = met
                && let Ok(value) = read_object(text, &limits)
            {
                paths.collect("", &value, limits.max_fields);
                for around in enclosing {
                    paths.add(around.path.clone(), limits.max_fields);
                    for (path, _) in around.scalars.iter() {
                        paths.add(format!("{}.{path}", around.path), limits.max_fields);
                    }
                }
            }
            seen += 1;
            if seen >= GLANCED_RECORDS { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let mut walk = Walk { text: &whole, path: &self.path, limits: &limits, take: &mut take, found: false };
        let _ = walk.run();
        let obstacle = (!walk.found).then(|| self.lacks_list());
        let scalars = beside_records(Cursor::new(&whole), &self.path, &limits).scalars;
        let preamble_keys = scalars.iter().map(|(path, _)| path.to_owned()).collect();
        Glance { fields: paths.list, preamble_keys, text, obstacle }
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        let text = match encoding::decode(bytes, &self.encodings, true) {
            Ok(text) => text,
            Err(message) => {
                let _ = take(Item::Problem(Rule::BadEncoding.rejects(0, None, "", message)));
                return;
            }
        };
        let beside = beside_records(Cursor::new(&text), &self.path, limits);
        let mut opening = Opening::default();
        for (path, value) in beside.scalars.iter() {
            opening.preamble.extend(text_of(value).map(|text| (path.to_owned(), text.into_owned())));
        }
        if take(Item::Opening(&opening)).is_break() {
            return;
        }
        for (path, message) in beside.faults {
            if take(Item::Problem(Rule::BadJson.notes(0, Some(&path), "", message))).is_break() {
                return;
            }
        }
        let mut places = Places::new(&text, self.shares_lines(&text, limits));
        let (outcome, found) = self.stream(&text, limits, &mut places, take);
        let last_word = match outcome {
            Err(Halt::Enough) => None,
            Err(Halt::Cut { record: Some(at) }) => {
                let message = "the document ends within this record".to_owned();
                Some(Rule::Truncated.rejects(places.next(at), None, &excerpt(&text, at), message))
            }
            Err(Halt::Cut { record: None }) if found => {
                let message = "the document ends before it is closed; its records up to there are taken".to_owned();
                Some(Rule::Truncated.notes(0, None, "", message))
            }
            Err(Halt::Cut { record: None }) => {
                let message = format!("{}, and ends before it is closed", self.lacks_list());
                Some(Rule::NoRecords.rejects(0, None, "", message))
            }
            Err(Halt::Broken { at, what }) => {
                let line = LineCounter::new(&text).line_of(at);
                let message = format!("the document cannot be read on from line {line}: {what}");
                Some(Rule::BadJson.rejects(0, None, &excerpt(&text, at), message))
            }
            Ok(_) if !found => Some(Rule::NoRecords.rejects(0, None, &excerpt(&text, 0), self.lacks_list())),
            Ok(end) => said_behind(&text, end),
        };
        if let Some(problem) = last_word {
            let _ = take(Item::Problem(problem));
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        let Ok(text) = encoding::decode(tail, &self.encodings, true) else { return false };
        let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
        if text.starts_with(['{', '[']) {
            let mut cursor = Cursor::new(text);
            match cursor.skip_value() {
                Ok(_) if cursor.rest().is_empty() => return true,
                // Every bracket that opens in the tail of a closed document closes in it too.
                Err(Fault::Cut) => return false,
                _ => {}
            }
        }
        let index = |name: &String| name.parse::<usize>().is_ok();
        match self.path.first() {
            None => text.ends_with(']'),
            Some(Step::Name(name)) if !index(name) => text.ends_with('}'),
            Some(_) => text.ends_with([']', '}']),
        }
    }
}

/// What is wrong with the text behind the document.
fn said_behind(text: &str, end: usize) -> Option<shot::Problem> {
    let behind = text.get(end..)?.trim();
    if behind.is_empty() {
        return None;
    }
    let at = text.len() - text[end..].trim_start().len();
    let line = LineCounter::new(text).line_of(at);
    if behind.contains(['{', '[']) {
        let message = format!("a second document begins at line {line}, and a file holds one");
        return Some(Rule::BadJson.rejects(0, None, &excerpt(text, at), message));
    }
    let message = format!("text that belongs to nothing stands behind the document at line {line}");
    Some(Rule::BadJson.notes(0, None, &excerpt(text, at), message))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn engine(path: &[&str]) -> JsonDocument {
        let step = |name: &&str| if *name == "*" { Step::Every } else { Step::Name((*name).to_owned()) };
        JsonDocument { encodings: vec![Encoding::Utf8, Encoding::Utf16Le], path: path.iter().map(step).collect() }
    }

    #[test]
    fn only_closed_documents_are_complete() {
        let text = "{\"shots\":[{\"a\":[1]},\n{\"a\":\"}]\"}],\"n\":2}\n";
        let engine = engine(&["shots"]);
        for cut in 0..text.len() - 2 {
            assert!(!engine.complete(&text.as_bytes()[..cut]), "{cut}");
        }
        for from in 0..text.len() - 2 {
            // A tail that begins within a string may be misread, but then it is not closed by chance.
            let tail = &text.as_bytes()[from..];
            assert!(engine.complete(tail) || tail.starts_with(b"]") || tail.starts_with(b"}"), "{from}");
        }
        let wide: Vec<u8> = [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
        assert!(engine.complete(&wide) && !engine.complete(&wide[..wide.len() - 4]));
    }

    #[test]
    fn a_glance_sees_both_sides_of_the_list() {
        let text = br#"{"site":"n","runs":[{"id":7,"shots":[{"b":{"v":1}}],"day":"x"}],"made":{"by":"y"}}"#;
        let glance = engine(&["runs", "*", "shots"]).glance(text);
        assert_eq!(glance.obstacle, None);
        assert_eq!(glance.fields, ["b.v", "b", "runs.*", "runs.*.id", "runs.*.day"]);
        assert_eq!(glance.preamble_keys, ["site", "made.by"]);
        assert!(engine(&["shots"]).glance(text).obstacle.is_some());
        assert!(engine(&[]).glance(b"a;b\n").obstacle.is_some());
    }
}
