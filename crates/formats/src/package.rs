//! The zip package of a workbook, unpacked part by part as a stream and never whole; and the XML of its parts.

use std::cell::Cell;
use std::collections::HashMap;
use std::io::{self, BufReader, Cursor, Read};

use quick_xml::XmlVersion;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;
use zip::read::ZipFile;

use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault};
use crate::rule::Rule;

/// Most members of a package. A workbook has a few per sheet and picture (common practice, no source).
const MOST_MEMBERS: usize = 10_000;
/// The record that each member has in a zip directory (APPNOTE.TXT 4.3.12).
const DIRECTORY_RECORD: &[u8; 4] = b"PK\x01\x02";

/// A package whose members are found by their names.
pub(crate) struct Package<'a> {
    archive: ZipArchive<Cursor<&'a [u8]>>,
    /// By name in lower case, since some writers disagree with themselves about it.
    members: HashMap<String, usize>,
    limits: &'a ParseLimits,
    pub budget: &'a Budget,
}

impl<'a> Package<'a> {
    pub fn open(bytes: &'a [u8], limits: &'a ParseLimits, budget: &'a Budget) -> Result<Package<'a>, FileFault> {
        // Counted before the directory is read into memory; counts that the directory states itself may lie.
        let members = bytes.windows(DIRECTORY_RECORD.len()).filter(|window| window == DIRECTORY_RECORD).count();
        if members > MOST_MEMBERS {
            let message = format!("the package has more than {MOST_MEMBERS} members");
            return Err(FileFault::new(Rule::UnpacksTooLarge, message));
        }
        let archive = ZipArchive::new(Cursor::new(bytes))
            .map_err(|error| bad(format!("the package cannot be opened: {error}")))?;
        let mut names = HashMap::new();
        for (index, name) in archive.file_names().enumerate() {
            let name = name.map_err(|error| bad(format!("a member of the package has no readable name: {error}")))?;
            names.insert(folded(&name), index);
        }
        Ok(Package { archive, members: names, limits, budget })
    }

    pub fn has(&self, name: &str) -> bool {
        self.members.contains_key(&folded(name))
    }

    /// The XML of a member, or nothing where there is no such member.
    pub fn part(&mut self, name: &str) -> Result<Option<Part<'_, 'a>>, FileFault> {
        let Some(index) = self.members.get(&folded(name)).copied() else { return Ok(None) };
        let member = self.archive.by_index(index).map_err(|error| match error {
            zip::result::ZipError::UnsupportedArchive(what) if what.contains("assword") => locked(),
            error => bad(format!("\"{name}\" cannot be unpacked: {error}")),
        })?;
        let metered = Metered {
            member,
            budget: self.budget,
            run: 0,
            longest_run: self.limits.max_line_bytes,
            fault: Cell::default(),
        };
        let mut reader = quick_xml::Reader::from_reader(BufReader::new(metered));
        reader.config_mut().expand_empty_elements = true;
        let part = Part { reader, buffer: Vec::new(), name: name.to_owned(), depth: 0, deepest: self.limits.max_depth };
        Ok(Some(part))
    }

    /// Like [`Package::part`], for a part without which the package is none.
    pub fn needed_part(&mut self, name: &str) -> Result<Part<'_, 'a>, FileFault> {
        self.part(name)?.ok_or_else(|| bad(format!("the package has no \"{name}\"")))
    }
}

fn folded(name: &str) -> String {
    name.replace('\\', "/").trim_start_matches('/').to_lowercase()
}

pub(crate) fn bad(message: impl Into<String>) -> FileFault {
    FileFault::new(Rule::BadWorkbook, message)
}

pub(crate) fn locked() -> FileFault {
    FileFault::new(Rule::LockedFile, "the workbook is protected by a password")
}

/// Counts what is unpacked while it is, and the bytes since the last `<`: a text or a tag that never ends would have to be held
/// whole.
struct Metered<'p, 'a> {
    member: ZipFile<'p, Cursor<&'a [u8]>>,
    budget: &'a Budget,
    run: usize,
    longest_run: usize,
    fault: Cell<Option<Rule>>,
}

impl Read for Metered<'_, '_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.member.read(buffer)?;
        let bytes = &buffer[..count];
        if !self.budget.spend(count) {
            self.fault.set(Some(Rule::UnpacksTooLarge));
            return Err(io::Error::other("unpacks to too much"));
        }
        self.run = bytes.iter().rposition(|byte| *byte == b'<').map_or(self.run + count, |last| count - last);
        if self.run > self.longest_run {
            self.fault.set(Some(Rule::LineTooLong));
            return Err(io::Error::other("a text or tag is too long"));
        }
        Ok(count)
    }
}

/// The events of one XML part. Entities are not expanded, names of closing tags are checked, empty elements come as start and end.
pub(crate) struct Part<'p, 'a> {
    reader: quick_xml::Reader<BufReader<Metered<'p, 'a>>>,
    buffer: Vec<u8>,
    name: String,
    depth: usize,
    deepest: usize,
}

impl Part<'_, '_> {
    /// The next event; a part that ends before its root element does is a fault.
    pub fn next(&mut self) -> Result<Event<'_>, FileFault> {
        self.buffer.clear();
        let before = self.depth;
        let event = match self.reader.read_event_into(&mut self.buffer) {
            Ok(event) => event,
            Err(error) => {
                let metered = self.reader.get_mut().get_mut();
                return Err(match metered.fault.get() {
                    Some(Rule::UnpacksTooLarge) => metered.budget.fault(),
                    Some(rule) => {
                        let message = format!("\"{}\" has a text longer than {} bytes", self.name, metered.longest_run);
                        FileFault::new(rule, message)
                    }
                    None => bad(format!("\"{}\" is damaged: {error}", self.name)),
                });
            }
        };
        match event {
            Event::Start(_) => self.depth += 1,
            Event::End(_) => self.depth = self.depth.saturating_sub(1),
            Event::Eof if before > 0 => return Err(bad(format!("\"{}\" is cut short", self.name))),
            _ => {}
        }
        if self.depth > self.deepest {
            let message = format!("\"{}\" nests deeper than {}", self.name, self.deepest);
            return Err(FileFault::new(Rule::TooDeep, message));
        }
        Ok(event)
    }

    /// Nesting of the element that was opened last and is still open.
    pub fn depth(&self) -> usize {
        self.depth
    }

    /// Passes over the rest of the element at this depth.
    pub fn skip_to_end_of(&mut self, depth: usize) -> Result<(), FileFault> {
        while self.depth >= depth {
            if matches!(self.next()?, Event::Eof) {
                break;
            }
        }
        Ok(())
    }

    /// The text inside the element that was just opened, markup inside it left out.
    pub fn text(&mut self) -> Result<String, FileFault> {
        let depth = self.depth;
        let mut text = String::new();
        while self.depth >= depth {
            match self.next()? {
                Event::Eof => break,
                event => push_text(&event, &mut text)?,
            }
        }
        Ok(text)
    }
}

/// Appends the text of an event, if it has any. Only the entities that XML itself defines are known.
pub(crate) fn push_text(event: &Event<'_>, text: &mut String) -> Result<(), FileFault> {
    match event {
        Event::Text(piece) => text.push_str(&piece.xml10_content()),
        Event::CData(piece) => text.push_str(&piece.xml10_content()),
        Event::GeneralRef(entity) => {
            let character = match &**entity {
                "lt" => Some('<'),
                "gt" => Some('>'),
                "amp" => Some('&'),
                "apos" => Some('\''),
                "quot" => Some('"'),
                _ => entity.resolve_char_ref().ok().flatten(),
            };
            let name = &**entity;
            text.push(character.ok_or_else(|| bad(format!("the entity \"&{name};\" is not allowed in a workbook")))?);
        }
        _ => {}
    }
    Ok(())
}

/// The value of an attribute by its full name.
pub(crate) fn attribute(start: &BytesStart<'_>, name: &str) -> Result<Option<String>, FileFault> {
    find_attribute(start, |key| key == name)
}

/// The value of an attribute by its name without prefix.
pub(crate) fn local_attribute(start: &BytesStart<'_>, name: &str) -> Result<Option<String>, FileFault> {
    find_attribute(start, |key| key.rsplit_once(':').map_or(key, |(_, local)| local) == name)
}

fn find_attribute(start: &BytesStart<'_>, wanted: impl Fn(&str) -> bool) -> Result<Option<String>, FileFault> {
    for attribute in start.attributes() {
        let attribute = attribute.map_err(|error| bad(format!("a tag is damaged: {error}")))?;
        if wanted(attribute.key.as_ref()) {
            let value = attribute.normalized_value(XmlVersion::Explicit1_0);
            return Ok(Some(value.map_err(|error| bad(format!("a tag is damaged: {error}")))?.into_owned()));
        }
    }
    Ok(None)
}
