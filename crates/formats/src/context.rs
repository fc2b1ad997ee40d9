//! What a parser must know that does not stand in the file.

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
    /// Deepest nesting of a JSON record.
    pub max_json_depth: usize,
}

impl Default for ParseLimits {
    /// Far above any session of golf (common practice, no source), far below what would trouble a small server.
    fn default() -> Self {
        ParseLimits {
            max_file_bytes: 256 << 20,
            max_line_bytes: 1 << 20,
            max_fields: 1_000,
            max_rows: 1_000_000,
            max_json_depth: 32,
        }
    }
}
