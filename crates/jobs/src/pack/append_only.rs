//! The part of a pack that says how rows, once made, stay.

use shot::{ColumnKind, TableSchema};
use toml::Spanned;

use super::AppendOnly;
use super::check::Faults;
use super::file::PackFile;
use crate::run::{RUN_AT, SERIES};

/// Checks `append_only` against the columns and the rest of the pack.
pub(super) fn append_only(file: &PackFile, schema: &TableSchema, faults: &mut Faults) -> Option<AppendOnly> {
    let spanned: &Spanned<_> = file.output.append_only.as_ref()?;
    let (written, span) = (spanned.get_ref(), spanned.span());
    let mut add = |message: String, hint: &str| faults.add(span.clone(), message, hint);
    let has =
        |name: &str, kind: ColumnKind| schema.column(name).is_some_and(|column| column.kind == kind && column.required);
    if !has(&written.made_at, ColumnKind::Instant) {
        let message = format!("made_at names \"{}\", which is no required column of type instant", written.made_at);
        add(message, "add such a column; the query gives $run_at there");
    }
    if !has(SERIES, ColumnKind::Integer) || !schema.key.iter().any(|name| name == SERIES) {
        let hint = "add the required column series of type integer to columns and key; the query gives $series there";
        add("append_only needs the column \"series\" in the key".into(), hint);
    }
    if schema.key.contains(&written.made_at) {
        add("made_at cannot be part of the key".into(), "a row made again would never be known again");
    }
    if file.output.revision_by.is_some() {
        let hint = "rows that stay have no revisions: take one of the two out";
        add("append_only and revision_by exclude each other".into(), hint);
    }
    if let Some(column) = &written.consent_of {
        if !has(column, ColumnKind::Text) {
            let message = format!("consent_of names \"{column}\", which is no required column of type text");
            add(message, "name the column with the alias of the player");
        }
        if !file.inputs.iter().any(|input| input.dataset.get_ref() == "players") {
            add("consent_of needs the input \"players\"".into(), "add [[inputs]] with dataset = \"players\"");
        }
    }
    for name in [SERIES, RUN_AT] {
        if let Some(value) = file.parameters.get(name) {
            let hint = "strikemill gives it its value in each run; choose another name";
            faults.add(value.span(), format!("the parameter \"{name}\" is taken"), hint);
        }
    }
    Some(AppendOnly {
        made_at: written.made_at.clone(),
        settles_after_h: written.settles_after_h,
        consent_of: written.consent_of.clone(),
    })
}
