//! Persons whose rows must never come back. They are known by salted digests of the texts that devices write for them: neither
//! the ledger nor the note beside the archive remembers a name.
//!
//! The digests stand in two places, the ledger and `archive/.forgotten.json`. The archive is where the rows could come back
//! from, and it outlives a lost ledger; whoever can read there reads the names anyway.

use std::collections::{BTreeSet, HashSet};
use std::hash::{BuildHasher, Hasher, RandomState};
use std::path::PathBuf;

use files::{Files, sha256_of_bytes};
use formats::ParsedFile;
use ledger::Ledger;

use crate::IntakeSettings;
use crate::roster::alias_form;
use crate::{IntakeError, Roster};

const MOST_BYTES: u64 = 64 << 20;

/// Digests of all texts of all forgotten persons.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Forgotten {
    /// Each as `<salt>$<SHA-256 of salt and text>`.
    digests: HashSet<String>,
    salts: BTreeSet<String>,
}

impl Forgotten {
    /// What ledger and archive know together. What the ledger lacks, because it was rebuilt or comes from a backup, is put in.
    pub(crate) fn load(ledger: &Ledger, files: &Files, settings: &IntakeSettings) -> Result<Forgotten, IntakeError> {
        let noted = ledger.forgotten_digests()?;
        let beside = read_note(files, settings)?;
        let missing: Vec<String> = beside.iter().filter(|digest| !noted.contains(digest)).cloned().collect();
        if !missing.is_empty() {
            ledger.note_forgotten(&missing, chrono::Utc::now().timestamp_micros())?;
            tracing::warn!(
                texts = missing.len(),
                "persons were forgotten after this ledger was written; where it came from a backup, give `strikemill forget` for them again"
            );
        }
        Ok(Forgotten::of(noted.into_iter().chain(beside)))
    }

    fn of(digests: impl Iterator<Item = String>) -> Forgotten {
        let digests: HashSet<String> = digests.collect();
        let salts =
            digests.iter().filter_map(|digest| digest.split_once('$')).map(|(salt, _)| salt.to_owned()).collect();
        Forgotten { digests, salts }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.digests.is_empty()
    }

    /// Whether a text stands for a forgotten person, without regard to case and blanks around it.
    pub(crate) fn holds(&self, text: &str) -> bool {
        let form = alias_form(text);
        self.salts.iter().any(|salt| self.digests.contains(&digest(salt, &form)))
    }

    /// The same with further texts; made durable in both places before it is answered.
    pub(crate) fn with(
        &self,
        texts: &BTreeSet<String>,
        ledger: &Ledger,
        files: &Files,
        settings: &IntakeSettings,
        at: i64,
    ) -> Result<Forgotten, IntakeError> {
        let salt = self.salts.first().cloned().unwrap_or_else(new_salt);
        let new: Vec<String> = texts.iter().map(|text| digest(&salt, &alias_form(text))).collect();
        let all = Forgotten::of(self.digests.iter().cloned().chain(new.iter().cloned()));
        let mut sorted: Vec<&String> = all.digests.iter().collect();
        sorted.sort();
        let note = serde_json::json!({ "format_version": 1, "digests": sorted });
        files.create_dir_all(&settings.archive_dir)?;
        files.write_durable(&place(settings), format!("{note:#}\n").as_bytes())?;
        ledger.note_forgotten(&new, at)?;
        Ok(all)
    }

    /// Takes the rows of forgotten persons out of a file that was read; answers how many.
    pub(crate) fn suppress(&self, parsed: &mut ParsedFile) -> usize {
        if self.is_empty() {
            return 0;
        }
        let before = parsed.shots.len() + parsed.marks.len();
        let is_meant = |text: &Option<String>| text.as_deref().is_some_and(|text| self.holds(text));
        parsed.shots.retain(|shot| !is_meant(&shot.player_text));
        parsed.marks.retain(|mark| !is_meant(&mark.player_text));
        // A problem quotes one cell, which may be the name.
        parsed.problems.retain(|problem| !self.holds(&problem.text));
        before - parsed.shots.len() - parsed.marks.len()
    }

    /// The roster without forgotten persons: their names lead to nobody, even while the file still lists them.
    pub(crate) fn leave_out_of(&self, roster: Roster) -> Roster {
        if self.is_empty() { roster } else { roster.without(&|text| self.holds(text)) }
    }
}

fn read_note(files: &Files, settings: &IntakeSettings) -> Result<Vec<String>, IntakeError> {
    let path = place(settings);
    if files.stat(&path)?.is_none() {
        return Ok(Vec::new());
    }
    let bytes = files.read(&path, MOST_BYTES)?;
    let document: serde_json::Value = serde_json::from_slice(&bytes).map_err(|error| IntakeError::Settings {
        problem: format!("{} cannot be read: {error}", path.display()),
        hint: "put it back from a backup: without it the rows of forgotten persons could come back".to_owned(),
    })?;
    let digests = document.get("digests").and_then(serde_json::Value::as_array);
    Ok(digests.into_iter().flatten().filter_map(|digest| digest.as_str().map(str::to_owned)).collect())
}

fn place(settings: &IntakeSettings) -> PathBuf {
    settings.archive_dir.join(".forgotten.json")
}

fn digest(salt: &str, form: &str) -> String {
    format!("{salt}${}", sha256_of_bytes(format!("{salt}\n{form}").as_bytes()))
}

/// Different at every site, so that digests of one site tell nothing at another. The keys of a new map come from the system.
fn new_salt() -> String {
    let half = || RandomState::new().build_hasher().finish();
    format!("{:016x}{:016x}", half(), half())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_known_in_every_spelling_and_by_no_other() {
        let salt = new_salt();
        let forgotten = Forgotten::of([digest(&salt, "wren")].into_iter());
        assert!(forgotten.holds("Wren") && forgotten.holds("  WREN "));
        assert!(!forgotten.holds("wrenn") && !forgotten.holds("") && !Forgotten::default().holds("wren"));
        assert_ne!(new_salt(), salt);
        assert!(!forgotten.digests.iter().any(|digest| digest.contains("wren")));
    }
}
