//! The engine for XML documents: one repeated element, at a path such as `export/session/shot`.
//!
//! A record sees what stands in its ancestors before it through XPath's parent step: `../@day`, `../../site/name`. Texts and attributes
//! beside the records, before or behind them, are the preamble by path from the outermost element (`export/@site`), as far as that path
//! leads to one element only. Prefixes of names do not count; `xsi:nil="true"` is a missing value.

use std::borrow::Cow;
use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::json_record::Paths;
use crate::places::{LineCounter, Places, Survey, excerpt};
use crate::record::{Engine, GLANCED_BYTES, GLANCED_RECORDS, Glance, Item, Opening, Record};
use crate::rule::Rule;
use crate::xml_fields::Fields;
use crate::xml_text::{closes, decode};
use crate::xml_walk::{Ancestor, Halt, Met, Walk};

#[derive(Debug)]
pub(crate) struct Xml {
    /// Names of the elements from the outermost to the record.
    pub path: Vec<String>,
}

struct Element<'a> {
    line: i64,
    fields: &'a Fields,
    ancestors: &'a [Ancestor],
}

impl Record for Element<'_> {
    fn line(&self) -> i64 {
        self.line
    }

    fn text(&self, field: &str) -> Option<Cow<'_, str>> {
        let mut place = field;
        let mut ups = 0;
        while let Some(rest) = place.strip_prefix("../") {
            place = rest;
            ups += 1;
        }
        let fields = match ups {
            0 => self.fields,
            _ => &self.ancestors.get(self.ancestors.len().checked_sub(ups)?)?.fields,
        };
        fields.get(place).map(Cow::Borrowed)
    }
}

/// What is known of a document before its records are read.
#[derive(Debug, Default)]
struct Overview {
    preamble: Vec<(String, String)>,
    shares_lines: bool,
}

impl Xml {
    fn lacks_records(&self) -> String {
        format!("the document has no element {}", self.path.join("/"))
    }

    /// Reads all but the records.
    fn survey(&self, text: &str, limits: &ParseLimits) -> Overview {
        let mut survey = Survey::new(text);
        // The preamble by depth of the ancestor; none where the ancestor came a second time.
        let mut by_depth: Vec<Option<Vec<(String, String)>>> = Vec::new();
        let mut seen = vec![0_usize; self.path.len()];
        let mut take = |met: Met<'_>| {
            match met {
                Met::Record { at, .. } | Met::Faulty { at, .. } => survey.record(at),
                Met::Beside(_) => {}
                Met::Closed { depth, fields } => {
                    seen[depth] += 1;
                    by_depth.resize(by_depth.len().max(depth + 1), None);
                    let prefix = self.path[..=depth].join("/");
                    let named = |(path, text): &(String, String)| (format!("{prefix}/{path}"), text.clone());
                    by_depth[depth] = (seen[depth] == 1).then(|| fields.list.iter().map(named).collect());
                }
            }
            ControlFlow::Continue(())
        };
        let mut walk = Walk::new(text, &self.path, limits, &mut take);
        walk.fields_unread = true;
        // A record cut short is a record. However else it ends, the reading proper will end there too, and report it.
        let outcome = walk.run();
        if let Err(Halt::Cut { record: Some(at) }) = outcome {
            survey.record(at);
        }
        let preamble = by_depth.into_iter().flatten().flatten().take(limits.max_fields).collect();
        Overview { preamble, shares_lines: survey.shares_lines() }
    }

    fn stream(
        &self,
        text: &str,
        limits: &ParseLimits,
        places: &mut Places<'_>,
        take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>,
    ) -> (Result<(), Halt>, bool) {
        let mut beside_told = false;
        let mut hand_on = |met: Met<'_>| match met {
            Met::Record { fields, at, ancestors } => {
                take(Item::Record(&Element { line: places.next(at), fields, ancestors }))
            }
            Met::Faulty { fault: (rule, message), at } => {
                take(Item::Problem(rule.rejects(places.next(at), None, &excerpt(text, at), message)))
            }
            // Once is enough: it costs no row by itself.
            Met::Beside((rule, message)) if !std::mem::replace(&mut beside_told, true) => {
                let message = format!("beside the records, and passed over: {message}");
                take(Item::Problem(rule.notes(0, None, "", message)))
            }
            Met::Beside(_) | Met::Closed { .. } => ControlFlow::Continue(()),
        };
        let mut walk = Walk::new(text, &self.path, limits, &mut hand_on);
        let outcome = walk.run();
        (outcome, walk.found)
    }
}

impl Engine for Xml {
    fn glance(&self, bytes: &[u8]) -> Glance {
        let obstacle = |obstacle: String| Glance { obstacle: Some(obstacle), ..Glance::default() };
        let head = match decode(&bytes[..bytes.len().min(GLANCED_BYTES)]) {
            Ok(head) => head.into_owned(),
            Err(message) => return obstacle(message),
        };
        if !head.trim_start().starts_with('<') {
            return obstacle("it does not begin as an XML document".to_owned());
        }
        let text = match decode(bytes) {
            Ok(text) => text,
            Err(message) => return obstacle(message),
        };
        let limits = ParseLimits::default();
        let mut paths = Paths::default();
        let mut seen = 0;
        let mut take = |met: Met<'_>| {
            if let Met::Record { fields, ancestors, .. } = met {
                for (path, _) in &fields.list {
                    paths.add(path.clone(), limits.max_fields);
                }
                for (up, ancestor) in ancestors.iter().rev().enumerate() {
                    for (path, _) in &ancestor.fields.list {
                        paths.add(format!("{}{path}", "../".repeat(up + 1)), limits.max_fields);
                    }
                }
                seen += 1;
            }
            if seen >= GLANCED_RECORDS { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let mut walk = Walk::new(&text, &self.path, &limits, &mut take);
        let _ = walk.run();
        let obstacle = (!walk.found).then(|| self.lacks_records());
        let preamble_keys = match obstacle {
            Some(_) => Vec::new(),
            None => self.survey(&text, &limits).preamble.into_iter().map(|(path, _)| path).collect(),
        };
        Glance { fields: paths.list, preamble_keys, text: head, obstacle }
    }

    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {
        let text = match decode(bytes) {
            Ok(text) => text,
            Err(message) => {
                let _ = take(Item::Problem(Rule::BadEncoding.rejects(0, None, "", message)));
                return;
            }
        };
        let overview = self.survey(&text, limits);
        if take(Item::Opening(&Opening { preamble: overview.preamble, ..Opening::default() })).is_break() {
            return;
        }
        let mut places = Places::new(&text, overview.shares_lines);
        let (outcome, found) = self.stream(&text, limits, &mut places, take);
        let last_word = match outcome {
            Err(Halt::Cut { record: Some(at) }) => {
                let message = "the document ends within this record".to_owned();
                Some(Rule::Truncated.rejects(places.next(at), None, &excerpt(&text, at), message))
            }
            Err(Halt::Cut { record: None }) if found => {
                let message = "the document ends before it is closed; its records up to there are taken".to_owned();
                Some(Rule::Truncated.notes(0, None, "", message))
            }
            Err(Halt::Cut { record: None }) => {
                let message = format!("{}, and ends before it is closed", self.lacks_records());
                Some(Rule::NoRecords.rejects(0, None, &excerpt(&text, 0), message))
            }
            Err(Halt::Broken { rule, at, what }) => {
                let line = LineCounter::new(&text).line_of(at);
                let message = format!("the document cannot be read on from line {line}: {what}");
                Some(rule.rejects(0, None, &excerpt(&text, at), message))
            }
            Ok(()) if !found => Some(Rule::NoRecords.rejects(0, None, &excerpt(&text, 0), self.lacks_records())),
            Ok(()) | Err(Halt::Enough) => None,
        };
        if let Some(problem) = last_word {
            let _ = take(Item::Problem(problem));
        }
    }

    fn complete(&self, tail: &[u8]) -> bool {
        closes(tail, self.path.first().map_or("*", String::as_str))
    }
}
