//! The parts of an xlsx workbook (ECMA-376) that rows are read with: its sheets, number formats and shared texts.
//!
//! Read here and not through a spreadsheet crate: the one that is well kept (calamine, the reference in our tests) reserves memory
//! by counts that the file states, and copies fonts and formats for every style, so that a few kilobytes end the process by lack
//! of memory, which nothing can catch; and it tells neither dates from times of day nor one bad cell from a bad file.

use std::collections::HashMap;

use quick_xml::events::Event;

use crate::file_fault::FileFault;
use crate::package::{Package, attribute, bad, local_attribute, push_text};
use crate::rule::Rule;
use crate::sheet_time::{Look, look_of_builtin, look_of_code};

/// One entry of the list of sheets.
#[derive(Debug, Clone)]
pub(crate) struct XlsxSheet {
    pub name: String,
    /// The member with its cells, or nothing where it is a chart or a dialogue.
    pub member: Option<String>,
}

#[derive(Debug)]
pub(crate) struct XlsxBook {
    pub sheets: Vec<XlsxSheet>,
    pub from_1904: bool,
    /// By the style number of cells.
    pub looks: Vec<Look>,
    pub shared: SharedTexts,
}

/// The texts that cells refer to by number, end to end in one string.
#[derive(Debug, Default)]
pub(crate) struct SharedTexts {
    texts: String,
    ends: Vec<usize>,
}

impl SharedTexts {
    pub fn get(&self, number: usize) -> Option<&str> {
        let end = *self.ends.get(number)?;
        let start = number.checked_sub(1).map_or(0, |previous| self.ends[previous]);
        self.texts.get(start..end)
    }
}

struct Relation {
    kind: String,
    member: String,
}

impl XlsxBook {
    pub fn read(package: &mut Package<'_>) -> Result<XlsxBook, FileFault> {
        let root = read_relations(package, "_rels/.rels", "")?;
        let workbook = root.values().find(|relation| relation.kind == "officeDocument");
        let workbook = workbook.map_or("xl/workbook.xml", |relation| relation.member.as_str());
        if workbook.to_lowercase().ends_with(".bin") {
            return Err(FileFault::new(Rule::OldWorkbook, "the workbook is of the binary kind (xlsb)"));
        }
        let (folder, file) = workbook.rsplit_once('/').unwrap_or(("", workbook));
        let relations = read_relations(package, &join(folder, &format!("_rels/{file}.rels")), folder)?;
        let of_kind = |kind: &str| relations.values().find(|relation| relation.kind == kind);
        let (sheets, from_1904) = read_sheets(package, workbook, &relations)?;
        let looks = match of_kind("styles") {
            Some(relation) => read_looks(package, &relation.member)?,
            None => Vec::new(),
        };
        let shared = match of_kind("sharedStrings") {
            Some(relation) => read_shared(package, &relation.member)?,
            None => SharedTexts::default(),
        };
        Ok(XlsxBook { sheets, from_1904, looks, shared })
    }
}

/// Relations by their keys, each with the last word of its type.
fn read_relations(
    package: &mut Package<'_>,
    member: &str,
    folder: &str,
) -> Result<HashMap<String, Relation>, FileFault> {
    let mut relations = HashMap::new();
    let Some(mut part) = package.part(member)? else { return Ok(relations) };
    loop {
        match part.next()? {
            Event::Start(start) if start.local_name().as_ref() == "Relationship" => {
                let kind = attribute(&start, "Type")?.unwrap_or_default();
                let kind = kind.rsplit('/').next().unwrap_or_default().to_owned();
                let target = attribute(&start, "Target")?.unwrap_or_default();
                let key = attribute(&start, "Id")?.unwrap_or_default();
                relations.insert(key, Relation { kind, member: join(folder, &target) });
            }
            Event::Eof => return Ok(relations),
            _ => {}
        }
    }
}

/// A member named from a folder of the package.
fn join(folder: &str, target: &str) -> String {
    let mut steps: Vec<&str> = if target.starts_with('/') { Vec::new() } else { folder.split('/').collect() };
    for step in target.split('/') {
        match step {
            "" | "." => {}
            ".." => {
                steps.pop();
            }
            step => steps.push(step),
        }
    }
    steps.retain(|step| !step.is_empty());
    steps.join("/")
}

fn read_sheets(
    package: &mut Package<'_>,
    workbook: &str,
    relations: &HashMap<String, Relation>,
) -> Result<(Vec<XlsxSheet>, bool), FileFault> {
    let (mut sheets, mut from_1904) = (Vec::new(), false);
    let mut part = package.needed_part(workbook)?;
    loop {
        match part.next()? {
            Event::Start(start) if start.local_name().as_ref() == "workbookPr" => {
                // An extension element of the same name has no such attribute and must not take the flag back.
                if let Some(word) = attribute(&start, "date1904")? {
                    from_1904 = matches!(word.as_str(), "1" | "true" | "on");
                }
            }
            Event::Start(start) if start.local_name().as_ref() == "sheet" => {
                let name = attribute(&start, "name")?.unwrap_or_default();
                let key = local_attribute(&start, "id")?.unwrap_or_default();
                let relation = relations.get(&key);
                let relation = relation.ok_or_else(|| bad(format!("the sheet \"{name}\" has no content")))?;
                let member = (relation.kind == "worksheet").then(|| relation.member.clone());
                sheets.push(XlsxSheet { name, member });
            }
            Event::Eof => return Ok((sheets, from_1904)),
            _ => {}
        }
    }
}

fn read_looks(package: &mut Package<'_>, member: &str) -> Result<Vec<Look>, FileFault> {
    let mut own: HashMap<u32, Look> = HashMap::new();
    let mut looks = Vec::new();
    let mut in_cell_formats = false;
    let Some(mut part) = package.part(member)? else { return Ok(looks) };
    loop {
        match part.next()? {
            Event::Start(start) => match start.local_name().as_ref() {
                "numFmt" => {
                    let id = attribute(&start, "numFmtId")?.and_then(|id| id.parse().ok());
                    let code = attribute(&start, "formatCode")?;
                    own.extend(id.zip(code.map(|code| look_of_code(&code))));
                }
                "cellXfs" => in_cell_formats = true,
                "xf" if in_cell_formats => {
                    let id = attribute(&start, "numFmtId")?.and_then(|id| id.parse().ok()).unwrap_or(0);
                    looks.push(own.get(&id).copied().unwrap_or_else(|| look_of_builtin(id)));
                }
                _ => {}
            },
            Event::End(end) if end.local_name().as_ref() == "cellXfs" => in_cell_formats = false,
            Event::Eof => return Ok(looks),
            _ => {}
        }
    }
}

fn read_shared(package: &mut Package<'_>, member: &str) -> Result<SharedTexts, FileFault> {
    let mut shared = SharedTexts::default();
    let Some(mut part) = package.part(member)? else { return Ok(shared) };
    let mut shown = ShownText::default();
    loop {
        match part.next()? {
            Event::End(end) if end.local_name().as_ref() == "si" => {
                shared.texts.push_str(&shown.take());
                shared.ends.push(shared.texts.len());
            }
            Event::Eof => return Ok(shared),
            event => shown.feed(&event)?,
        }
    }
}

/// Gathers the text that a text item shows: its plain or rich pieces, without the reading aids of East Asian scripts.
#[derive(Debug, Default)]
pub(crate) struct ShownText {
    text: String,
    in_piece: bool,
    in_reading_aid: bool,
}

impl ShownText {
    pub fn feed(&mut self, event: &Event<'_>) -> Result<(), FileFault> {
        match event {
            Event::Start(start) => match start.local_name().as_ref() {
                "t" => self.in_piece = !self.in_reading_aid,
                "rPh" => self.in_reading_aid = true,
                _ => {}
            },
            Event::End(end) => match end.local_name().as_ref() {
                "t" => self.in_piece = false,
                "rPh" => self.in_reading_aid = false,
                _ => {}
            },
            event if self.in_piece => push_text(event, &mut self.text)?,
            _ => {}
        }
        Ok(())
    }

    pub fn take(&mut self) -> String {
        plain_text(&std::mem::take(&mut self.text))
    }
}

/// Characters that XML cannot hold are written `_x000D_` in workbooks (ECMA-376 part 1, 22.9.2.19).
pub(crate) fn plain_text(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(place) = rest.find("_x") {
        let code = rest.get(place + 2..place + 6).filter(|_| rest.as_bytes().get(place + 6) == Some(&b'_'));
        let letter = code.and_then(|code| u32::from_str_radix(code, 16).ok()).and_then(char::from_u32);
        plain.push_str(&rest[..place]);
        if let Some(letter) = letter {
            plain.push(letter);
            rest = &rest[place + 7..];
        } else {
            plain.push_str("_x");
            rest = &rest[place + 2..];
        }
    }
    plain.push_str(rest);
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn members_are_named_from_their_folder() {
        assert_eq!(join("xl", "worksheets/sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(join("xl", "/xl/worksheets/sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(join("xl/sub", "../sheet1.xml"), "xl/sheet1.xml");
        assert_eq!(join("", "../../x"), "x");
    }

    #[test]
    fn escaped_characters_are_read() {
        // [source: ECMA-376 part 1, 22.9.2.19 ST_Xstring]
        assert_eq!(plain_text("a_x000D_b"), "a\rb");
        assert_eq!(plain_text("_x005F_x000D_"), "_x000D_");
        for text in ["_x", "_x00", "_xZZZZ_", "_x000D", "_xD800_", "_xä000_", "a_b"] {
            assert_eq!(plain_text(text), text);
        }
    }
}
