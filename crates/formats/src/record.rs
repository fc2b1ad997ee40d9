//! The seam between engines and mappings: a record is a line number and fields by name.

use std::borrow::Cow;
use std::ops::ControlFlow;

use shot::Problem;

use crate::context::ParseLimits;
use crate::rule::Rule;

/// One record of an export, whatever it was written in.
pub(crate) trait Record {
    /// Physical line of the record's first character, from 1 (or the record's number where a format has no lines).
    fn line(&self) -> i64;
    /// The text of a field, or nothing where the record lacks it.
    fn text(&self, field: &str) -> Option<Cow<'_, str>>;
    /// The number of a field, where the file holds it as one and not as text; `text` then gives it with a decimal point.
    fn number(&self, _field: &str) -> Option<f64> {
        None
    }
    /// Why a field that is there holds nothing to read: the error of a formula, bytes that are no text. `text` may then say what it
    /// shows, so that a pack can list it as missing.
    fn fault(&self, _field: &str) -> Option<(Rule, String)> {
        None
    }
    /// The word for a field's unit where the file states one.
    fn unit_word(&self, _field: &str) -> Option<&str> {
        None
    }
}

/// What stands before the records.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Opening {
    /// Keys and values above the header.
    pub preamble: Vec<(String, String)>,
    /// Names of all fields, where the file states them once for all records.
    pub header: Option<Vec<String>>,
    /// Line of the header.
    pub header_line: i64,
}

impl Opening {
    /// The value of a preamble key, compared without regard to case.
    pub fn preamble_value(&self, key: &str) -> Option<&str> {
        let folded = key.to_lowercase();
        self.preamble.iter().find(|(name, _)| name.to_lowercase() == folded).map(|(_, value)| value.as_str())
    }
}

/// What an engine hands on, in file order: at most one opening, then records and problems.
pub(crate) enum Item<'a> {
    Opening(&'a Opening),
    Record(&'a dyn Record),
    /// A record that could not be cut out, or (line 0) a fault of the file.
    Problem(Problem),
}

/// What a look at the head of a file shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Glance {
    /// Field names, or paths, that were found.
    pub fields: Vec<String>,
    /// Keys of the preamble.
    pub preamble_keys: Vec<String>,
    /// The decoded text, for literal marks.
    pub text: String,
    /// Why nothing was found, where nothing was.
    pub obstacle: Option<String>,
}

/// Bytes at the head of a text file that are looked at.
pub(crate) const GLANCED_BYTES: usize = 64 << 10;

/// Another way to read a file, for telling what changed about a device's exports.
#[derive(Debug)]
pub(crate) struct Variant {
    pub changes: Vec<DialectChange>,
    pub engine: Box<dyn Engine>,
}

/// One key of `[dialect]` that a variant has otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DialectChange {
    /// What changed, for people.
    pub text: String,
    pub key: &'static str,
    /// The value of the key, as TOML.
    pub value: String,
}

/// Records at the head of a document that a glance reads; optional parts may be missing from the first one.
pub(crate) const GLANCED_RECORDS: usize = 20;

/// Cuts the bytes of one kind of file into records. Implement this for a further kind.
pub(crate) trait Engine: std::fmt::Debug + Send + Sync {
    /// Looks at a file without reading more of it than recognition needs.
    fn glance(&self, bytes: &[u8]) -> Glance;
    /// Hands every record and problem to `take`, until it breaks.
    fn read(&self, bytes: &[u8], limits: &ParseLimits, take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>);
    /// Whether a file that ends in these bytes looks finished.
    fn complete(&self, tail: &[u8]) -> bool;
    /// Other dialects in which a changed export may be written; asked only about files that no pack fits.
    fn variants(&self, _bytes: &[u8]) -> Vec<Variant> {
        Vec::new()
    }
}
