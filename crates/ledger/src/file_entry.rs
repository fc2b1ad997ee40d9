//! What the ledger knows about a file, and what its steps are told.

use rusqlite::Row;

/// How far a file has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FileState {
    /// Being read; nothing of it stands in staging for certain.
    Claimed,
    /// Its rows are durable in staging.
    Staged,
    /// Its rows are in the lake; its bytes still stand where they arrived.
    Published,
    /// Its rows are in the lake and its bytes in the archive.
    Archived,
    /// It was refused; its bytes stand in quarantine.
    Quarantined,
}

impl FileState {
    /// All states with the word used in the ledger and in reports.
    pub const WORDS: [(FileState, &'static str); 5] = [
        (FileState::Claimed, "claimed"),
        (FileState::Staged, "staged"),
        (FileState::Published, "published"),
        (FileState::Archived, "archived"),
        (FileState::Quarantined, "quarantined"),
    ];

    /// The word used in the ledger and in reports.
    pub fn word(self) -> &'static str {
        FileState::WORDS.iter().find(|(state, _)| *state == self).map_or("claimed", |(_, word)| word)
    }

    /// The state of a word.
    pub fn parse(text: &str) -> Option<FileState> {
        FileState::WORDS.iter().find(|(_, word)| *word == text).map(|(state, _)| *state)
    }
}

/// A file about to be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// SHA-256 of the bytes, 64 hexadecimal digits.
    pub source_file_id: String,
    /// Name under which it arrived.
    pub name: String,
    /// Folder in which it arrived.
    pub folder: String,
    /// Size.
    pub bytes: i64,
    /// Full path.
    pub source_path: String,
    /// True = the file is copied to the archive and stays where it is.
    pub keep_source: bool,
    /// When.
    pub at: i64,
}

/// A file whose rows are durable in staging.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Staged {
    /// SHA-256 of the bytes.
    pub source_file_id: String,
    /// Sequence number of this import.
    pub import_sequence: i64,
    /// Name of the mapping pack.
    pub format: String,
    /// Version of the mapping pack.
    pub format_version: String,
    /// Rows taken.
    pub rows_accepted: i64,
    /// Of these, strike marks; the others are shots.
    pub marks_accepted: i64,
    /// Rows refused.
    pub rows_rejected: i64,
    /// Where the bytes stand.
    pub source_path: String,
    /// True = the bytes stay there after archiving.
    pub keep_source: bool,
    /// True = rows that an earlier import of these bytes published are taken back first.
    pub replaces_rows: bool,
    /// When.
    pub at: i64,
}

/// A file that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quarantined {
    /// SHA-256 of the bytes.
    pub source_file_id: String,
    /// Name under which it arrived.
    pub name: String,
    /// Folder in which it arrived.
    pub folder: String,
    /// Size.
    pub bytes: i64,
    /// The pack that recognised it, where one did.
    pub format: Option<String>,
    /// Version of that pack.
    pub format_version: Option<String>,
    /// Why, in one sentence.
    pub reason: String,
    /// Where its bytes stand now.
    pub quarantine_path: String,
    /// When.
    pub at: i64,
}

/// One file as the ledger knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileEntry {
    /// SHA-256 of the bytes.
    pub source_file_id: String,
    /// How far it has come.
    pub state: FileState,
    /// Name under which it arrived first.
    pub first_name: String,
    /// Folder in which it arrived first.
    pub folder: String,
    /// Size.
    pub bytes: i64,
    /// Name of the mapping pack.
    pub format: Option<String>,
    /// Version of the mapping pack.
    pub format_version: Option<String>,
    /// Order of imports at this site.
    pub import_sequence: Option<i64>,
    /// Rows taken.
    pub rows_accepted: i64,
    /// Of these, strike marks; the others are shots.
    pub marks_accepted: i64,
    /// Rows refused.
    pub rows_rejected: i64,
    /// Why it is in quarantine, or why the last step failed.
    pub reason: Option<String>,
    /// Where its bytes stand until they are archived.
    pub source_path: Option<String>,
    /// True = the source stays where it is.
    pub keep_source: bool,
    /// True = publishing takes back older rows of the same file first.
    pub replaces_rows: bool,
    /// Where its bytes stand in the archive.
    pub archive_path: Option<String>,
    /// Where its bytes stand in quarantine.
    pub quarantine_path: Option<String>,
    /// When it was claimed first.
    pub claimed_at: i64,
    /// When its rows became durable in staging.
    pub staged_at: Option<i64>,
    /// When its rows were published.
    pub published_at: Option<i64>,
    /// When its bytes were archived.
    pub archived_at: Option<i64>,
    /// When it was refused.
    pub quarantined_at: Option<i64>,
}

pub(crate) const ENTRY_COLUMNS: &str = "source_file_id, state, first_name, folder, bytes, format, format_version, \
    import_sequence, rows_accepted, rows_rejected, reason, source_path, keep_source, replaces_rows, archive_path, \
    quarantine_path, claimed_at, staged_at, published_at, archived_at, quarantined_at, marks_accepted";

pub(crate) fn entry_of(row: &Row<'_>) -> rusqlite::Result<FileEntry> {
    let state: String = row.get(1)?;
    Ok(FileEntry {
        source_file_id: row.get(0)?,
        // The table's CHECK admits no other word.
        state: FileState::parse(&state).unwrap_or(FileState::Claimed),
        first_name: row.get(2)?,
        folder: row.get(3)?,
        bytes: row.get(4)?,
        format: row.get(5)?,
        format_version: row.get(6)?,
        import_sequence: row.get(7)?,
        rows_accepted: row.get(8)?,
        rows_rejected: row.get(9)?,
        reason: row.get(10)?,
        source_path: row.get(11)?,
        keep_source: row.get(12)?,
        replaces_rows: row.get(13)?,
        archive_path: row.get(14)?,
        quarantine_path: row.get(15)?,
        claimed_at: row.get(16)?,
        staged_at: row.get(17)?,
        published_at: row.get(18)?,
        archived_at: row.get(19)?,
        quarantined_at: row.get(20)?,
        marks_accepted: row.get(21)?,
    })
}
