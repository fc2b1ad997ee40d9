//! The fields of one XML element: texts and attributes below it by path, as XPath would write it (`ball/speed/@unit`, `mark[2]/x`).
//! Names count without their prefix. Of mixed content the element's own text counts.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use quick_xml::events::BytesStart;

use crate::context::ParseLimits;
use crate::rule::Rule;
use crate::xml_text::{TextFault, local, resolve};

/// Longest path of a field; a long name on an outer level would multiply otherwise.
const LONGEST_PATH: usize = 1_000;

/// Fields by path, in file order.
#[derive(Debug, Default)]
pub(crate) struct Fields {
    pub list: Vec<(String, String)>,
    bytes: usize,
}

impl Fields {
    pub fn get(&self, path: &str) -> Option<&str> {
        // The first of several is the one without a number.
        let plain = if path.contains("[1]") { Cow::Owned(path.replace("[1]", "")) } else { Cow::Borrowed(path) };
        self.list.iter().find(|(known, _)| **known == *plain).map(|(_, text)| text.as_str())
    }

    fn push(&mut self, path: &str, text: &str, limits: &ParseLimits) -> Result<(), TextFault> {
        if self.list.len() >= limits.max_fields {
            return Err((Rule::TooManyFields, format!("the record has more than {} fields", limits.max_fields)));
        }
        if path.len() > LONGEST_PATH {
            return Err((Rule::BadXml, format!("a path of elements is longer than {LONGEST_PATH} bytes")));
        }
        self.bytes += path.len() + text.len();
        // Paths repeat outer names, so that they may outgrow the text they come from.
        if self.bytes > limits.max_line_bytes.saturating_mul(2) {
            return Err((Rule::LineTooLong, format!("the record is longer than {} bytes", limits.max_line_bytes)));
        }
        self.list.push((path.to_owned(), text.to_owned()));
        Ok(())
    }

    /// Takes over what still fits in.
    pub fn merge(&mut self, other: Fields, limits: &ParseLimits) {
        for (path, text) in other.list {
            if self.push(&path, &text, limits).is_err() {
                return;
            }
        }
    }

    /// Takes the attributes of an element at a path (empty, or ending in a slash). Says whether the element is marked as nil.
    pub fn attributes(&mut self, tag: &BytesStart<'_>, path: &str, limits: &ParseLimits) -> Result<bool, TextFault> {
        let mut names: HashSet<&str> = HashSet::new();
        let mut places: HashMap<&str, usize> = HashMap::new();
        let mut nil = false;
        for attribute in tag.attributes().with_checks(false) {
            let attribute = attribute.map_err(|error| (Rule::BadXml, format!("an attribute is malformed: {error}")))?;
            let name = attribute.key.0;
            if names.len() >= limits.max_fields {
                let message = format!("an element has more than {} attributes", limits.max_fields);
                return Err((Rule::TooManyFields, message));
            }
            if !names.insert(name) {
                return Err((Rule::BadXml, format!("the attribute {} stands twice", shot::Problem::cut(name))));
            }
            if name == "xmlns" || name.starts_with("xmlns:") {
                continue;
            }
            let value = resolve(&attribute.value)?;
            let plain = local(name);
            if plain == "nil" && plain != name {
                nil |= matches!(value.trim(), "true" | "1");
                continue;
            }
            match places.get(plain) {
                // Of two names that differ in the prefix alone the plain one counts.
                Some(place) if plain == name => value.trim().clone_into(&mut self.list[*place].1),
                Some(_) => {}
                None => {
                    places.insert(plain, self.list.len());
                    self.push(&format!("{path}@{plain}"), value.trim(), limits)?;
                }
            }
        }
        Ok(nil)
    }
}

/// Numbers the children of one element that bear the same name.
#[derive(Debug, Default)]
pub(crate) struct Siblings(HashMap<String, usize>);

impl Siblings {
    /// The step to a further child: `name`, then `name[2]`, `name[3]`, ... Nothing where there are too many names.
    pub fn step(&mut self, name: &str, limits: &ParseLimits) -> Option<String> {
        if let Some(count) = self.0.get_mut(name) {
            *count += 1;
            return Some(format!("{name}[{count}]"));
        }
        if self.0.len() >= limits.max_fields {
            return None;
        }
        self.0.insert(name.to_owned(), 1);
        Some(name.to_owned())
    }
}

#[derive(Debug, Default)]
struct Open {
    /// Length of the path without this element's own step.
    outer: usize,
    text: String,
    siblings: Siblings,
    has_children: bool,
    nil: bool,
}

/// One element that is being read into fields.
#[derive(Debug, Default)]
pub(crate) struct Branch {
    /// Path and slash of the innermost open element; empty at the element itself.
    path: String,
    open: Vec<Open>,
    /// Open elements below those in `open`, which are not looked at.
    unread: usize,
    pub fields: Fields,
    /// What is wrong with it; nothing more is read then.
    pub fault: Option<TextFault>,
}

impl Branch {
    /// Begins with an element, whose path is empty for a record and `name/` for a child that is read for its parent.
    pub fn begin(tag: &BytesStart<'_>, path: String, limits: &ParseLimits) -> Branch {
        let mut branch = Branch { path, ..Branch::default() };
        branch.push(tag, 0, limits);
        branch
    }

    /// Begins with an element that is passed over.
    pub fn unread() -> Branch {
        Branch { unread: 1, ..Branch::default() }
    }

    fn push(&mut self, tag: &BytesStart<'_>, outer: usize, limits: &ParseLimits) {
        match self.fields.attributes(tag, &self.path, limits) {
            Ok(nil) => self.open.push(Open { outer, nil, ..Open::default() }),
            Err(fault) => {
                self.fail(fault);
                self.unread += 1;
            }
        }
    }

    /// Gives the element up: it is passed over from here on.
    pub fn fail(&mut self, fault: TextFault) {
        self.fault.get_or_insert(fault);
        self.unread += self.open.len();
        self.open.clear();
        self.fields = Fields::default();
    }

    pub fn start(&mut self, tag: &BytesStart<'_>, limits: &ParseLimits) {
        let Some(parent) = self.open.last_mut().filter(|_| self.unread == 0) else {
            self.unread += 1;
            return;
        };
        parent.has_children = true;
        let step = parent.siblings.step(local(tag.name().0), limits);
        if self.open.len() >= limits.max_depth {
            self.fail((Rule::TooDeep, format!("the record nests more than {} deep", limits.max_depth)));
        } else if step.is_none() {
            self.fail((
                Rule::TooManyFields,
                format!("an element has more than {} kinds of children", limits.max_fields),
            ));
        }
        let Some(step) = step.filter(|_| self.fault.is_none()) else {
            self.unread += 1;
            return;
        };
        let outer = self.path.len();
        self.path.push_str(&step);
        self.path.push('/');
        self.push(tag, outer, limits);
    }

    /// Whether text is kept where the reading stands.
    pub fn is_read(&self) -> bool {
        self.unread == 0
    }

    pub fn text(&mut self, text: &str) {
        if self.is_read()
            && let Some(open) = self.open.last_mut()
        {
            open.text.push_str(text);
        }
    }

    /// Closes the innermost element. Says whether that was the element itself.
    pub fn end(&mut self, limits: &ParseLimits) -> bool {
        if self.unread > 0 {
            self.unread -= 1;
            return self.unread == 0 && self.open.is_empty();
        }
        let Some(open) = self.open.pop() else { return true };
        let text = open.text.trim();
        if !open.nil && (!open.has_children || !text.is_empty()) {
            // The record's own text is the step that stays where it is.
            let place = if self.path.is_empty() { "." } else { self.path.trim_end_matches('/') };
            if let Err(fault) = self.fields.push(place, text, limits) {
                self.fail(fault);
            }
        }
        self.path.truncate(open.outer);
        self.open.is_empty() && self.unread == 0
    }
}
