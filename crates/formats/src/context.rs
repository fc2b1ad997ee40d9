//! What a parser must know that does not stand in the file.

use std::collections::HashMap;
use std::sync::Arc;

use shot::Hand;

/// The site and the folder a file came from.
#[derive(Debug, Clone)]
pub struct SiteContext {
    /// The site whose daemon imports the file.
    pub site_id: String,
    /// The site's zone: local times of exports are read in it, local dates are taken in it.
    pub zone: chrono_tz::Tz,
    /// Bay of the import folder; used where the export itself names none.
    pub bay: Option<String>,
    /// `indoor` or `outdoor`; used where the export itself does not say.
    pub environment: Option<String>,
    /// Bounds against files that are not what they seem.
    pub limits: ParseLimits,
    /// Hands of the players that the roster knows, by their texts in [`player_key`] form: values that a device gives in the
    /// player's own frame (open and closed, in and out) need the hand.
    pub hands: Arc<HashMap<String, Hand>>,
}

/// The form in which player texts are compared: trimmed, in lower case.
pub fn player_key(text: &str) -> String {
    text.trim().to_lowercase()
}

/// Bounds on what one file may make the parser hold or do. Beyond a bound of the whole file (bytes, rows) the file is
/// refused whole; beyond a bound of one row (line, fields, depth) only that row is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ParseLimits {
    /// Longest file, in bytes.
    pub max_file_bytes: usize,
    /// Longest record, in bytes of decoded text.
    pub max_line_bytes: usize,
    /// Most cells in a row, and most preamble lines.
    pub max_fields: usize,
    /// Most rows in a file.
    pub max_rows: u64,
    /// Deepest nesting of a JSON or XML file.
    pub max_depth: usize,
    /// Most bytes that a packed file (xlsx, ods, a compressed column file) may unpack to.
    pub max_unpacked_bytes: usize,
}

impl Default for ParseLimits {
    /// Far above any session of golf (common practice, no source), far below what would trouble a small server.
    fn default() -> Self {
        ParseLimits {
            max_file_bytes: 256 << 20,
            max_line_bytes: 1 << 20,
            max_fields: 1_000,
            max_rows: 1_000_000,
            max_depth: 32,
            max_unpacked_bytes: 512 << 20,
        }
    }
}
