//! The way through an XML document to its records: along the pack's element path, handing on one record at a time.

use std::ops::ControlFlow;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use shot::Problem;

use crate::context::ParseLimits;
use crate::rule::Rule;
use crate::xml_fields::{Branch, Fields, Siblings};
use crate::xml_text::{TextFault, closes, is_allowed, local, reference};

/// Open elements at which reading stops: the reader keeps the name of each.
const MOST_OPEN: usize = 4_096;

/// An open element on the path to the records.
#[derive(Debug, Default)]
pub(crate) struct Ancestor {
    /// Its attributes, and what was found in it so far beside the records.
    pub fields: Fields,
    siblings: Siblings,
}

/// What is met on the way.
pub(crate) enum Met<'a> {
    /// A record, where it begins, and its ancestors, outermost first.
    Record { fields: &'a Fields, at: usize, ancestors: &'a [Ancestor] },
    /// A record that cannot be taken.
    Faulty { fault: TextFault, at: usize },
    /// Something beside the records cannot be taken.
    Beside(TextFault),
    /// An ancestor ends, the so-manieth on the path.
    Closed { depth: usize, fields: &'a Fields },
}

/// How a walk ended before the end of the document.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Halt {
    /// Whoever takes the records has enough.
    Enough,
    /// The text ends within the record that begins at the given byte, or outside of any.
    Cut { record: Option<usize> },
    /// The rest cannot be told into records.
    Broken { rule: Rule, at: usize, what: String },
}

pub(crate) struct Walk<'a, 't> {
    pub text: &'a str,
    /// Names of the elements from the outermost to the record; `*` is any.
    pub path: &'a [String],
    pub limits: &'a ParseLimits,
    pub take: &'t mut dyn FnMut(Met<'_>) -> ControlFlow<()>,
    /// Whether records are only counted.
    pub fields_unread: bool,
    /// Whether the path led to the parent of records.
    pub found: bool,
    ancestors: Vec<Ancestor>,
    branch: Option<Reading>,
    open: usize,
    root_seen: bool,
}

/// An element that is read apart from the ancestors.
#[derive(Debug)]
struct Reading {
    branch: Branch,
    at: usize,
    is_record: bool,
}

impl<'a, 't> Walk<'a, 't> {
    pub fn new(
        text: &'a str,
        path: &'a [String],
        limits: &'a ParseLimits,
        take: &'t mut dyn FnMut(Met<'_>) -> ControlFlow<()>,
    ) -> Walk<'a, 't> {
        Walk {
            text,
            path,
            limits,
            take,
            fields_unread: false,
            found: false,
            ancestors: Vec::new(),
            branch: None,
            open: 0,
            root_seen: false,
        }
    }

    /// Walks the whole document.
    pub fn run(&mut self) -> Result<(), Halt> {
        let mut reader = Reader::from_str(self.text);
        let config = reader.config_mut();
        config.expand_empty_elements = true;
        config.allow_dangling_amp = true;
        loop {
            let at = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
            let event = match reader.read_event() {
                Ok(Event::Eof) => break,
                Ok(event) => event,
                Err(error) => return Err(self.halt_of(&error, at)),
            };
            let end = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
            if let Some(reading) = &mut self.branch
                && end - reading.at > self.limits.max_line_bytes
            {
                let message = format!("the record is longer than {} bytes", self.limits.max_line_bytes);
                reading.branch.fail((Rule::LineTooLong, message));
            }
            self.take_event(&event, at, end)?;
        }
        if self.open == 0 && self.root_seen {
            return Ok(());
        }
        let cut = self.cut();
        while let Some(ancestor) = self.ancestors.pop() {
            self.hand_on_closed(&ancestor)?;
        }
        Err(cut)
    }

    fn cut(&self) -> Halt {
        Halt::Cut { record: self.branch.as_ref().filter(|reading| reading.is_record).map(|reading| reading.at) }
    }

    fn halt_of(&self, error: &quick_xml::Error, at: usize) -> Halt {
        // All syntax errors are tokens that do not end; if the document is closed all the same, a quote or bracket is missing.
        let open_end = matches!(error, quick_xml::Error::Syntax(_));
        let root = self.path.first().map_or("*", String::as_str);
        if open_end && !closes(self.text.as_bytes(), root) {
            return self.cut();
        }
        let at = self.branch.as_ref().map_or(at, |reading| reading.at);
        Halt::Broken { rule: Rule::BadXml, at, what: Problem::cut(&error.to_string()) }
    }

    fn take_event(&mut self, event: &Event<'_>, at: usize, end: usize) -> Result<(), Halt> {
        match event {
            Event::Start(tag) => self.start(tag, at),
            Event::End(_) => self.end(end),
            // What is not kept is not made ready either.
            Event::Text(text) if self.keeps_text() => self.text(&text.xml10_content(), at),
            Event::CData(text) if self.keeps_text() => self.text(&text.xml10_content(), at),
            Event::Text(text) => self.text(text, at),
            Event::GeneralRef(name) => self.reference(name, at),
            Event::DocType(text) if text.as_bytes().windows(8).any(|word| word.eq_ignore_ascii_case(b"<!ENTITY")) => {
                let what = "the file declares entities of its own".to_owned();
                Err(Halt::Broken { rule: Rule::XmlEntity, at, what })
            }
            _ => Ok(()),
        }
    }

    fn start(&mut self, tag: &BytesStart<'_>, at: usize) -> Result<(), Halt> {
        if self.open == 0 && self.root_seen {
            let what = "a second document begins, and a file holds one".to_owned();
            return Err(Halt::Broken { rule: Rule::BadXml, at, what });
        }
        self.root_seen = true;
        self.open += 1;
        if self.open > MOST_OPEN {
            let what = format!("more than {MOST_OPEN} elements are open");
            return Err(Halt::Broken { rule: Rule::TooDeep, at, what });
        }
        if let Some(reading) = &mut self.branch {
            reading.branch.start(tag, self.limits);
            return Ok(());
        }
        let depth = self.ancestors.len();
        let name = local(tag.name().0);
        let on_path = self.path.get(depth).is_some_and(|wanted| wanted == "*" || wanted == name);
        if on_path && depth + 1 < self.path.len() {
            let mut ancestor = Ancestor::default();
            let outcome = ancestor.fields.attributes(tag, "", self.limits);
            self.ancestors.push(ancestor);
            self.found |= depth + 2 == self.path.len();
            return outcome.map_or_else(|fault| self.hand_on(Met::Beside(fault)), |_| Ok(()));
        }
        let mut branch = Branch::unread();
        if on_path {
            self.found = true;
            if !self.fields_unread {
                branch = Branch::begin(tag, String::new(), self.limits);
            }
        } else if let Some(parent) = self.ancestors.last_mut()
            && let Some(step) = parent.siblings.step(name, self.limits)
        {
            branch = Branch::begin(tag, format!("{step}/"), self.limits);
        }
        self.branch = Some(Reading { branch, at, is_record: on_path });
        Ok(())
    }

    fn end(&mut self, end: usize) -> Result<(), Halt> {
        self.open = self.open.saturating_sub(1);
        let Some(reading) = &mut self.branch else {
            let Some(ancestor) = self.ancestors.pop() else { return Ok(()) };
            return self.hand_on_closed(&ancestor);
        };
        if !reading.branch.end(self.limits) {
            return Ok(());
        }
        let Some(Reading { branch, at, is_record }) = self.branch.take() else { return Ok(()) };
        if is_record {
            let fault = branch.fault.or_else(|| fault_of_text(self.text.get(at..end).unwrap_or_default()));
            let met = match fault {
                Some(fault) => Met::Faulty { fault, at },
                None => Met::Record { fields: &branch.fields, at, ancestors: &self.ancestors },
            };
            return match (self.take)(met) {
                ControlFlow::Continue(()) => Ok(()),
                ControlFlow::Break(()) => Err(Halt::Enough),
            };
        }
        if let Some(parent) = self.ancestors.last_mut() {
            parent.fields.merge(branch.fields, self.limits);
        }
        branch.fault.map_or(Ok(()), |fault| self.hand_on(Met::Beside(fault)))
    }

    fn keeps_text(&self) -> bool {
        self.branch.as_ref().is_some_and(|reading| reading.branch.is_read())
    }

    fn text(&mut self, text: &str, at: usize) -> Result<(), Halt> {
        if let Some(reading) = &mut self.branch {
            reading.branch.text(text);
        } else if self.open == 0 && !text.chars().all(|c| c.is_whitespace() || c == '\0') {
            let what = "text stands outside of the document".to_owned();
            return Err(Halt::Broken { rule: Rule::BadXml, at, what });
        }
        Ok(())
    }

    fn reference(&mut self, name: &str, at: usize) -> Result<(), Halt> {
        if self.branch.is_none() {
            return self.text("&", at);
        }
        let outcome = reference(name);
        if let Some(reading) = &mut self.branch {
            match outcome {
                Ok(Some(character)) => reading.branch.text(character.encode_utf8(&mut [0; 4])),
                Ok(None) => reading.branch.text(&format!("&{name};")),
                Err(fault) => reading.branch.fail(fault),
            }
        }
        Ok(())
    }

    fn hand_on_closed(&mut self, ancestor: &Ancestor) -> Result<(), Halt> {
        self.hand_on(Met::Closed { depth: self.ancestors.len(), fields: &ancestor.fields })
    }

    fn hand_on(&mut self, met: Met<'_>) -> Result<(), Halt> {
        match (self.take)(met) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(Halt::Enough),
        }
    }
}

fn fault_of_text(record: &str) -> Option<TextFault> {
    let found = record.chars().find(|c| *c == crate::encoding::REPLACEMENT || !is_allowed(*c))?;
    if found == crate::encoding::REPLACEMENT {
        return Some((Rule::BadEncoding, "the record holds bytes that are no text".to_owned()));
    }
    Some((Rule::BadXml, format!("the record holds the character U+{:04X}, which XML does not allow", u32::from(found))))
}
