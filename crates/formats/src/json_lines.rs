//! The engine for JSON Lines: one object a line, fields addressed by paths such as `ball.speed` or `marks.0.x`.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::encoding::{self, Encoding};
use crate::json_record::{JsonRecord, Paths, read_object};
use crate::lines::Lines;
use crate::places::excerpt;
use crate::record::{Engine, GLANCED_BYTES, GLANCED_RECORDS, Glance, Item, Opening};
use crate::rule::Rule;

/// The dialect of one pack.
#[derive(Debug)]
pub(crate) struct JsonLines {
    pub encodings: Vec<Encoding>,
}

impl Engine for JsonLines {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let head = &bytes[..bytes.len().min(GLANCED_BYTES)];
        let text = match encoding::decode(head, &self.encodings, head.len() == bytes.len()) {
            Ok(text) => text,
            Err(obstacle) => return Glance { obstacle: Some(obstacle), ..Glance::default() },
        };
        let limits = ParseLimits::default();
        let mut paths = Paths::default();
        let filled = Lines::new(&text).map(|line| &text[line.start..line.end]).filter(|line| !line.trim().is_empty());
        let mut obstacle = Some("no line holds a JSON object".to_owned());
        for line in filled.take(GLANCED_RECORDS) {
            if let Ok(value) = read_object(line, &limits) {
                obstacle = None;
                paths.collect("", &value, limits.max_fields);
            }
        }
        Glance { fields: paths.list, text: text.into_owned(), obstacle, ..Glance::default() }
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
                Ok(value) => take(Item::Record(&JsonRecord { line: line.number, value, enclosing: &[] })),
                Err(fault) => {
                    let text = excerpt(content, 0);
                    take(Item::Problem(fault.rule.rejects(line.number, None, &text, fault.message)))
                }
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
