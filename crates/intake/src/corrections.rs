//! What a person corrects by hand: a wrong club, a guest in the bay, a wrong player, shots that must not count.
//!
//! The file only adds to what the devices recorded: taking a line out gives the recorded values back.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use files::Files;
use shot::Intent;

use crate::TableFault;
use crate::corrections_parse::parse;
use crate::table::text_of_table;

/// Largest corrections file that is read: some tens of thousands of lines.
const MOST_BYTES: u64 = 4 << 20;

/// What a line does to the shots it selects.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CorrectionAction {
    /// They were hit with another club.
    Club {
        /// The club.
        club_id: String,
        /// Its kind.
        club_kind: &'static str,
    },
    /// Another player hit them: an alias of the roster, or a text as devices write it.
    Player(String),
    /// Somebody hit them who is no player of the site.
    Guest,
    /// They count in nothing.
    Exclude,
    /// They were hit for something else.
    Intent(Intent),
}

/// Which shots a line selects: those that fit everything that is given. At least one thing is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CorrectionSelector {
    /// Name under which the file arrived, or at least 8 digits of its SHA-256.
    pub file: Option<String>,
    /// First instant, UTC microseconds.
    pub from: Option<i64>,
    /// First instant no longer selected, UTC microseconds.
    pub to: Option<i64>,
    /// Bay.
    pub bay: Option<String>,
    /// The player's text as the device recorded it.
    pub player: Option<String>,
    /// Identity of the shot, or at least its first 8 digits.
    pub shot: Option<String>,
}

/// One line of the corrections.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// Line of the file.
    pub line: u64,
    /// The line as it stands there.
    pub text: String,
    /// Which shots.
    pub selector: CorrectionSelector,
    /// What happens to them.
    pub action: CorrectionAction,
    /// The same for lines that select and do the same, whatever line they stand in and whatever note they bear.
    pub key: String,
}

/// The corrections of a site, in the order of the file: of two that contradict each other the later one stands.
#[derive(Debug, Clone, Default)]
pub struct Corrections {
    path: PathBuf,
    lines: Vec<Correction>,
    unreadable: bool,
}

impl Corrections {
    /// Reads a corrections file; `zone` is the site's. A faulty line is left out and told, the others stand. A file that does
    /// not exist holds no corrections, which is no fault.
    pub fn load(path: &Path, zone: Tz) -> (Corrections, Vec<TableFault>) {
        let nothing = |fault| (Corrections { path: path.to_owned(), lines: Vec::new(), unreadable: true }, vec![fault]);
        let bytes = match Files::new().read(path, MOST_BYTES) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                return (Corrections { path: path.to_owned(), ..Corrections::default() }, Vec::new());
            }
            Err(error) if error.kind() == ErrorKind::FileTooLarge => {
                let message = format!("the corrections have more than {MOST_BYTES} bytes");
                let hint = "one line with from and to corrects a whole session; one line a shot is seldom needed";
                return nothing(TableFault::whole(path, message, hint.into()));
            }
            Err(error) => {
                let message = format!("the corrections cannot be read: {}", error.cause);
                return nothing(TableFault::whole(path, message, error.hint));
            }
        };
        match text_of_table(path, bytes) {
            Ok(text) => Corrections::parse(path, &text, zone),
            Err(fault) => nothing(*fault),
        }
    }

    /// Reads the text of a corrections file; `path` only names it in faults.
    pub fn parse(path: &Path, text: &str, zone: Tz) -> (Corrections, Vec<TableFault>) {
        let mut faults = Vec::new();
        let lines = parse(path, text, zone, &mut faults);
        let unreadable = lines.is_none();
        (Corrections { path: path.to_owned(), lines: lines.unwrap_or_default(), unreadable }, faults)
    }

    /// The file; empty for corrections that were read from none.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The sound lines, in the order of the file.
    pub fn lines(&self) -> &[Correction] {
        &self.lines
    }

    /// Whether the file as a whole could not be read, so that nobody knows what it was to correct.
    pub fn is_unreadable(&self) -> bool {
        self.unreadable
    }
}
