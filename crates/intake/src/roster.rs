//! Who the players are: aliases only, never names. The roster is the one place where a device's text becomes a player.

use std::collections::HashMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use files::Files;
use shot::Hand;

use crate::TableFault;
use crate::roster_parse::parse;
use crate::table::text_of_table;

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
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Roster {
    path: PathBuf,
    players: Vec<RosterPlayer>,
    /// Alias in [`alias_form`] to position in `players`.
    by_alias: HashMap<String, usize>,
    hands: Arc<HashMap<String, Hand>>,
}

impl Roster {
    /// Reads a roster file. Faulty lines are left out and told; the others stand, so that one slip of the pen does not stop
    /// a whole site's imports.
    pub fn load(path: &Path) -> (Roster, Vec<TableFault>) {
        let bytes = match Files::new().read(path, MOST_BYTES) {
            Ok(bytes) => bytes,
            Err(error) => {
                let message = format!("the roster cannot be read: {}", error.cause);
                let hint = match error.kind() {
                    ErrorKind::NotFound => "write one; until then every player stands under a placeholder".to_owned(),
                    _ => error.hint,
                };
                return (Roster::default(), vec![TableFault::whole(path, message, hint)]);
            }
        };
        match text_of_table(path, bytes) {
            Ok(text) => Roster::parse(path, &text),
            Err(fault) => (Roster::default(), vec![*fault]),
        }
    }

    /// Reads the text of a roster; `path` only names it in faults.
    pub fn parse(path: &Path, text: &str) -> (Roster, Vec<TableFault>) {
        let (players, by_alias, faults) = parse(path, text);
        let hands = by_alias.iter().map(|(alias, position)| (alias.clone(), players[*position].hand)).collect();
        (Roster { path: path.to_owned(), players, by_alias, hands: Arc::new(hands) }, faults)
    }

    /// The roster without the players of whom one text is meant: their alias, how they are shown, or what devices write.
    pub(crate) fn without(self, is_meant: &dyn Fn(&str) -> bool) -> Roster {
        let is_gone = |player: &RosterPlayer| {
            is_meant(&player.player_id)
                || is_meant(&player.shown_as)
                || player.aliases.iter().any(|text| is_meant(text))
        };
        let gone: Vec<bool> = self.players.iter().map(is_gone).collect();
        if !gone.contains(&true) {
            return self;
        }
        let mut by_alias = HashMap::new();
        for (alias, position) in &self.by_alias {
            if !gone[*position] {
                let gone_before = gone[..*position].iter().filter(|gone| **gone).count();
                by_alias.insert(alias.clone(), position - gone_before);
            }
        }
        let players: Vec<RosterPlayer> =
            self.players.into_iter().zip(&gone).filter_map(|(player, gone)| (!gone).then_some(player)).collect();
        let hands = by_alias.iter().map(|(alias, position)| (alias.clone(), players[*position].hand)).collect();
        Roster { path: self.path, players, by_alias, hands: Arc::new(hands) }
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

    /// The hand of every alias, in the form in which mapping packs look players up. A hand needs no consent: without it some
    /// devices' signs cannot be read.
    pub fn hands(&self) -> Arc<HashMap<String, Hand>> {
        Arc::clone(&self.hands)
    }

    /// Every alias that stands for one player, in [`alias_form`].
    pub(crate) fn aliases(&self) -> impl Iterator<Item = (&str, &RosterPlayer)> {
        self.by_alias.iter().map(|(alias, position)| (alias.as_str(), &self.players[*position]))
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
    formats::player_key(text)
}
