//! Names that devices write and that the roster does not (yet) turn into players who may be analysed.

use std::collections::BTreeMap;

use formats::ParsedFile;
use ledger::{Ledger, PlayerText};

use crate::{IntakeError, Roster};

/// Why the shots under a name are not analysed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unsettled {
    /// No player of the roster has it as an alias.
    Unknown,
    /// Its player has not given consent.
    WithoutConsent,
}

/// A name that wants a decision. It is private: show it to the people of the site only.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NameToSettle {
    /// The name as devices write it; of several spellings the one seen last.
    pub text: String,
    /// The player's alias, where the roster knows the name.
    pub player_id: Option<String>,
    /// Why.
    pub why: Unsettled,
    /// Rows that bear it.
    pub rows: i64,
    /// Last of these by the device's time, UTC microseconds.
    pub last_seen: i64,
}

/// The names that the roster does not have, or whose player has no consent; seen last first.
pub fn names_to_settle(ledger: &Ledger, roster: &Roster) -> Result<Vec<NameToSettle>, IntakeError> {
    let mut names: Vec<NameToSettle> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for noted in ledger.player_texts()? {
        let player = roster.player(&noted.text);
        let Some(why) = unsettled(player.map(|player| player.consent)) else { continue };
        let form = formats::player_key(&noted.text);
        // The ledger gives the spelling seen last first.
        if let Some(place) = places.get(&form) {
            names[*place].rows += noted.rows;
            continue;
        }
        places.insert(form, names.len());
        names.push(NameToSettle {
            text: noted.text,
            player_id: player.map(|player| player.player_id.clone()),
            why,
            rows: noted.rows,
            last_seen: noted.last_seen,
        });
    }
    Ok(names)
}

/// `consent` is that of the name's player; `None` without one.
pub(crate) fn unsettled(consent: Option<bool>) -> Option<Unsettled> {
    match consent {
        None => Some(Unsettled::Unknown),
        Some(false) => Some(Unsettled::WithoutConsent),
        Some(true) => None,
    }
}

/// The names in a file, shots and marks together.
pub(crate) fn texts_of(parsed: &ParsedFile) -> Vec<PlayerText> {
    let shots = parsed.shots.iter().map(|shot| (&shot.player_text, shot.struck_at));
    let marks = parsed.marks.iter().map(|mark| (&mark.player_text, mark.noted_at));
    let mut texts: BTreeMap<&str, PlayerText> = BTreeMap::new();
    for (text, at) in shots.chain(marks) {
        let Some(text) = text.as_deref().map(str::trim).filter(|text| !text.is_empty()) else { continue };
        let seen = texts.entry(text).or_insert_with(|| PlayerText {
            text: text.to_owned(),
            rows: 0,
            first_seen: at,
            last_seen: at,
        });
        seen.rows += 1;
        seen.first_seen = seen.first_seen.min(at);
        seen.last_seen = seen.last_seen.max(at);
    }
    texts.into_values().collect()
}
