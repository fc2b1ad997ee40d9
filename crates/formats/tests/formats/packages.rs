//! Workbooks written by hand, for what no honest writer would write, and for ods.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;

/// A zip package of deflated members.
pub fn package(members: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in members {
        writer.start_file(*name, SimpleFileOptions::default()).expect("a member");
        writer.write_all(text.as_bytes()).expect("room");
    }
    writer.finish().expect("an end").into_inner()
}

/// The parts of an xlsx workbook of one sheet; what is empty is left out.
#[derive(Default)]
pub struct RawXlsx {
    /// Inside `<sheetData>`.
    pub rows: String,
    /// Behind `<sheetData>`.
    pub behind_rows: String,
    pub shared: String,
    pub styles: String,
    pub workbook_attributes: String,
}

impl RawXlsx {
    pub fn of_rows(rows: impl Into<String>) -> RawXlsx {
        RawXlsx { rows: rows.into(), ..RawXlsx::default() }
    }

    pub fn bytes(&self) -> Vec<u8> {
        const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
        let relations = |all: &[(&str, &str)]| {
            let one = |(kind, target): &(&str, &str)| {
                format!("<Relationship Id=\"{kind}\" Type=\"{OFFICE}/{kind}\" Target=\"{target}\"/>")
            };
            format!("<Relationships>{}</Relationships>", all.iter().map(one).collect::<String>())
        };
        let workbook = format!(
            "<workbook xmlns:r=\"{OFFICE}\"><workbookPr {}/><sheets><sheet name=\"Shots\" sheetId=\"1\" r:id=\"worksheet\"/></sheets></workbook>",
            self.workbook_attributes
        );
        let parts = [("worksheet", "sheet.xml"), ("sharedStrings", "shared.xml"), ("styles", "styles.xml")];
        let sheet = format!("<worksheet><sheetData>{}</sheetData>{}</worksheet>", self.rows, self.behind_rows);
        package(&[
            ("[Content_Types].xml", "<Types/>"),
            ("_rels/.rels", &relations(&[("officeDocument", "xl/workbook.xml")])),
            ("xl/workbook.xml", &workbook),
            ("xl/_rels/workbook.xml.rels", &relations(&parts)),
            ("xl/sheet.xml", &sheet),
            ("xl/shared.xml", &format!("<sst>{}</sst>", self.shared)),
            ("xl/styles.xml", &format!("<styleSheet>{}</styleSheet>", self.styles)),
        ])
    }
}

/// A cell of inline text.
pub fn inline(text: &str) -> String {
    format!("<c t=\"inlineStr\"><is><t>{text}</t></is></c>")
}

/// An ods workbook; `tables` stands inside `<office:spreadsheet>`.
pub fn ods(tables: &str) -> Vec<u8> {
    let content = format!(
        "<office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\" \
         xmlns:calcext=\"urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0\">\
         <office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    );
    package(&[
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", "<manifest:manifest/>"),
        ("content.xml", &content),
    ])
}

/// A cell of text in an ods table.
pub fn ods_text(text: &str) -> String {
    format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
}

/// A number in an ods table.
pub fn ods_number(number: &str) -> String {
    format!(
        "<table:table-cell office:value-type=\"float\" office:value=\"{number}\"><text:p>shown</text:p></table:table-cell>"
    )
}

/// A row of an ods table.
pub fn ods_row(cells: &str) -> String {
    format!("<table:table-row>{cells}</table:table-row>")
}
