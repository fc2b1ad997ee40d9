//! What stands in the import folders and is not taken yet.

use rusqlite::params;

use crate::{Ledger, LedgerError};

/// Why a path is not taken yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SightingState {
    /// It may still be written to.
    Settling,
    /// It has not become whole for too long; somebody should look.
    Waiting,
    /// It cannot be read at the moment.
    Retrying,
}

impl SightingState {
    /// All states with the word used in the ledger and in reports.
    pub const WORDS: [(SightingState, &'static str); 3] = [
        (SightingState::Settling, "settling"),
        (SightingState::Waiting, "waiting"),
        (SightingState::Retrying, "retrying"),
    ];

    /// The word used in the ledger and in reports.
    pub fn word(self) -> &'static str {
        SightingState::WORDS.iter().find(|(state, _)| *state == self).map_or("settling", |(_, word)| word)
    }

    /// The state of a word.
    pub fn parse(text: &str) -> Option<SightingState> {
        SightingState::WORDS.iter().find(|(_, word)| *word == text).map(|(state, _)| *state)
    }
}

/// One path of an import folder as the last looks found it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sighting {
    /// Full path of a file, or of a folder that cannot be read.
    pub path: String,
    /// Size at the last look.
    pub bytes: i64,
    /// Time of last change at the last look, where the file system tells it.
    pub modified: Option<i64>,
    /// First look.
    pub first_seen: i64,
    /// First look since which size and time have not changed.
    pub stable_since: i64,
    /// Last look.
    pub last_seen: i64,
    /// Why it is not taken yet.
    pub state: SightingState,
    /// The same in one sentence.
    pub note: String,
}

impl Ledger {
    /// Writes what the last look found otherwise than the one before: sightings that are new or changed, and paths where
    /// nothing waits any more. One transaction, whose cost is that of the changes alone.
    pub fn update_sightings(&self, changed: &[Sighting], gone: &[String]) -> Result<(), LedgerError> {
        self.write("note what stands in the import folders", |transaction| {
            let mut delete = transaction.prepare_cached("DELETE FROM sightings WHERE path = ?1")?;
            for path in gone {
                delete.execute([path])?;
            }
            let mut insert = transaction.prepare_cached(
                "INSERT OR REPLACE INTO sightings \
                 (path, bytes, modified, first_seen, stable_since, last_seen, state, note) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            )?;
            for sighting in changed {
                insert.execute(params![
                    sighting.path,
                    sighting.bytes,
                    sighting.modified,
                    sighting.first_seen,
                    sighting.stable_since,
                    sighting.last_seen,
                    sighting.state.word(),
                    sighting.note
                ])?;
            }
            Ok(())
        })
    }

    /// All sightings, by path.
    pub fn sightings(&self) -> Result<Vec<Sighting>, LedgerError> {
        self.read("list what stands in the import folders", |connection| {
            connection
                .prepare_cached(
                    "SELECT path, bytes, modified, first_seen, stable_since, last_seen, state, note \
                     FROM sightings ORDER BY path",
                )?
                .query_map([], |row| {
                    let state: String = row.get(6)?;
                    Ok(Sighting {
                        path: row.get(0)?,
                        bytes: row.get(1)?,
                        modified: row.get(2)?,
                        first_seen: row.get(3)?,
                        stable_since: row.get(4)?,
                        last_seen: row.get(5)?,
                        // The table's CHECK admits no other word.
                        state: SightingState::parse(&state).unwrap_or(SightingState::Settling),
                        note: row.get(7)?,
                    })
                })?
                .collect()
        })
    }
}
