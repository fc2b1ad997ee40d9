//! Who the players are: aliases only, never names. The roster is the one place where a device's text becomes a player.

use std::collections::HashMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use files::Files;
use shot::Hand;

use crate::roster_parse::{RosterFault, parse};

/// Largest roster file that is read.
const MOST_BYTES: u64 = 16 << 20;

/// One player of the roster.
#[derive(Debug, Clone, PartialEq)]
pub struct RosterPlayer {
    /// Alias under which the player stands in the lake.
    pub player_id: String,
    /// How reports show the player.
    pub shown_as: String,
    /// Texts under which devices know the player.
    pub aliases: Vec<String>,
    /// The hand the player plays with.
    pub hand: Hand,
    /// Alias of the coach.
    pub coach: Option<String>,
    /// Groups.
    pub groups: Vec<String>,
    /// Whether shots may be analysed and summed up for the coach.
    pub consent: bool,
    /// Clubs, each with the head profile that stands for it, in the order of the file.
    pub clubs: Vec<(String, String)>,
    /// Path of the usual shot about the aim, positive = right.
    pub stock_path_deg: f64,
    /// Face of the usual shot about the aim, positive = right.
    pub stock_face_deg: f64,
    /// Line of the roster.
    pub line: u64,
}

/// To whom a shot belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolved {
    /// The player's alias, or the placeholder of a text that stands for nobody who gave consent.
    pub player_id: String,
    /// The hand, where the roster knows it.
    pub hand: Option<Hand>,
}

/// The players of a site.
#[derive(Debug, Clone, Default)]
pub struct Roster {
    path: PathBuf,
    players: Vec<RosterPlayer>,
    /// Alias in [`alias_form`] to position in `players`.
    by_alias: HashMap<String, usize>,
}

impl Roster {
    /// Reads a roster file. Faulty lines are left out and told; the others stand, so that one slip of the pen does not stop
    /// a whole site's imports.
    pub fn load(path: &Path) -> (Roster, Vec<RosterFault>) {
        let text = match Files::new().read(path, MOST_BYTES) {
            Ok(bytes) => String::from_utf8(bytes),
            Err(error) => {
                let message = format!("the roster cannot be read: {}", error.cause);
                let hint = match error.kind() {
                    ErrorKind::NotFound => "write one; until then every player stands under a placeholder".to_owned(),
                    _ => error.hint,
                };
                return (Roster::default(), vec![RosterFault::whole(path, message, hint)]);
            }
        };
        match text {
            Ok(text) => Roster::parse(path, &text),
            Err(error) => {
                let line = error.as_bytes()[..error.utf8_error().valid_up_to()].split(|byte| *byte == b'\n').count();
                let message = format!("line {line} is not UTF-8 text");
                let hint = "save the file as \"CSV UTF-8\"".to_owned();
                (Roster::default(), vec![RosterFault::whole(path, message, hint)])
            }
        }
    }

    /// Reads the text of a roster; `path` only names it in faults.
    pub fn parse(path: &Path, text: &str) -> (Roster, Vec<RosterFault>) {
        let (players, by_alias, faults) = parse(path, text);
        (Roster { path: path.to_owned(), players, by_alias }, faults)
    }

    /// The file the roster was read from; empty for a roster that was not.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The players, in the order of the file.
    pub fn players(&self) -> &[RosterPlayer] {
        &self.players
    }

    /// The player of an alias or of a device's text, without regard to case and blanks around it.
    pub fn player(&self, text: &str) -> Option<&RosterPlayer> {
        self.by_alias.get(&alias_form(text)).and_then(|position| self.players.get(*position))
    }

    /// To whom a device's text belongs. A text that the roster does not know, or whose player gave no consent, gives a
    /// placeholder that says nothing about the person.
    pub fn resolve(&self, site_id: &str, player_text: &str) -> Resolved {
        match self.player(player_text) {
            Some(player) if player.consent => Resolved { player_id: player.player_id.clone(), hand: Some(player.hand) },
            _ => Resolved { player_id: shot::placeholder_player(site_id, player_text), hand: None },
        }
    }
}

/// The form in which device texts are compared.
pub(crate) fn alias_form(text: &str) -> String {
    text.trim().to_lowercase()
}
