//! Forgetting a person: out of every dataset, out of the ledger and the written pages, and never in again.
//!
//! The digests are noted first and the rows go after that, so that an erasure that is cut off lets nothing new in, and is
//! finished when it is asked for again.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};

use arrow::array::{Array, ArrayRef, Int64Array, RecordBatch, StringArray};
use chrono::{DateTime, Utc};
use lake::Provenance;
use ledger::{FileEntry, FileState};
use shot::TableSchema;

use crate::basis::Basis;
use crate::finish::writer;
use crate::kept_files::files_below;
use crate::report::ScanReport;
use crate::roster::alias_form;
use crate::shot_columns::{column, replaced};
use crate::{CorrectionAction, Corrections, Intake, IntakeError, Roster};

/// The columns that say whose a row is, or that quote a file.
const TELLING: [&str; 4] = ["player_id", "recorded_player_id", "source_text", "message"];

/// Shorter texts stand in any file by chance.
const SHORTEST_LOOKED_FOR: usize = 3;

/// What was forgotten, and what is left for a person to do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ForgetReport {
    /// Rows erased from the lake.
    pub rows: i64,
    /// Partitions written without them, or removed.
    pub partitions: usize,
    /// How many texts of devices and roster led to the person.
    pub texts: usize,
    /// Pages that showed the person and are gone.
    pub pages: Vec<PathBuf>,
    /// Archived files that hold rows of the person: hash and place.
    pub archived: Vec<(String, String)>,
    /// Refused files that may: they hold one of the texts.
    pub quarantined: Vec<(String, String)>,
    /// Lines of roster and corrections that still name the person.
    pub written_lines: Vec<String>,
}

impl Intake {
    /// Forgets the person that a roster's alias, a device's text or a placeholder `unknown-...` stands for. `schemas` describe
    /// every dataset; `digests_dir` holds the written pages.
    pub fn forget(
        &self,
        person: &str,
        schemas: &[TableSchema],
        digests_dir: &Path,
        now: DateTime<Utc>,
    ) -> Result<ForgetReport, IntakeError> {
        let _turn = self.turn();
        self.finish_in_flight(now, &mut ScanReport::default())?;
        let site_id = &self.settings.site_id;
        let roster = self.roster_as_written();
        let texts = self.texts_of_person(person, &roster)?;
        let forms: HashSet<String> = texts.iter().map(|text| alias_form(text)).collect();
        let is_meant = |text: &str| forms.contains(&alias_form(text));
        let mut ids: HashSet<String> = forms.iter().map(|form| shot::placeholder_player(site_id, form)).collect();
        ids.extend(forms.iter().cloned());
        ids.extend(texts.iter().cloned());
        let mut report = ForgetReport { texts: forms.len(), ..ForgetReport::default() };
        let holding = self.ledger.files_with_player_text(&is_meant)?;

        let forgotten =
            self.basis().forgotten.with(&texts, &self.ledger, &self.files, &self.settings, now.timestamp_micros())?;
        self.put_in_force(Arc::new(forgotten));

        let quoted: Vec<String> = forms.iter().filter(|form| form.len() >= SHORTEST_LOOKED_FOR).cloned().collect();
        let provenance = Provenance {
            writer: writer(),
            run_id: format!("forget-{}", now.timestamp_micros()),
            created_micros: now.timestamp_micros(),
            extra: Vec::new(),
        };
        let erased = self.lake.erase(schemas, &TELLING, &|batch| doomed(batch, &ids, &quoted), &provenance)?;
        report.rows = erased.rows;
        report.partitions = erased.changes.len() + erased.removed.len();
        self.lower_counts(&erased.rows_by_source, &provenance)?;
        self.replace_dimensions(now, &mut ScanReport::default())?;
        self.demand_amending();
        self.amend_published(now, &mut ScanReport::default())?;
        self.lake.drop_retired_now()?;
        // Segments that could not be read may hold the person too; their files were read again long ago.
        self.lake.discard_damaged_segments()?;

        report.pages = self.remove_pages(digests_dir, &texts)?;
        let pages: Vec<String> = report.pages.iter().map(|page| page.display().to_string()).collect();
        self.ledger.erase_player_texts(&is_meant, &pages)?;
        self.ledger.wipe_deleted()?;
        report.archived = self.kept_of(&holding)?;
        report.quarantined = self.refused_holding(&quoted)?;
        report.written_lines = self.lines_naming(&roster, &is_meant);
        tracing::info!(rows = report.rows, partitions = report.partitions, "a person was forgotten");
        Ok(report)
    }

    /// The roster with everybody in it, those too who are forgotten by now.
    fn roster_as_written(&self) -> Roster {
        match &self.settings.roster_file {
            Some(path) => Roster::load(path).0,
            None => Roster::clone(&self.roster()),
        }
    }

    /// Every text that leads to the person: what the roster lists, and what devices wrote.
    fn texts_of_person(&self, person: &str, roster: &Roster) -> Result<BTreeSet<String>, IntakeError> {
        let mut texts = BTreeSet::new();
        let player = roster.player(person);
        if let Some(player) = player {
            texts.insert(player.player_id.clone());
            texts.insert(player.shown_as.clone());
            texts.extend(player.aliases.iter().cloned());
        }
        let wanted = alias_form(person);
        for noted in self.ledger.player_texts()? {
            let is_of_player = player.is_some_and(|player| {
                roster.player(&noted.text).is_some_and(|other| other.player_id == player.player_id)
            });
            let placeholder = shot::placeholder_player(&self.settings.site_id, &noted.text);
            if is_of_player || alias_form(&noted.text) == wanted || placeholder == wanted {
                texts.insert(noted.text);
            }
        }
        // Asked for again after it was cut off, or done: the names are gone, the digest still knows the text.
        if texts.is_empty() && self.basis().forgotten.holds(person) {
            texts.insert(person.to_owned());
        }
        if texts.is_empty() {
            return Err(IntakeError::Settings {
                problem: "no player of the roster and no device's text is called so".to_owned(),
                hint: "give the alias as in the roster, or the name as `strikemill status` shows it under names to settle; \
                       a person whose originals were all removed before needs nothing more"
                    .to_owned(),
            });
        }
        texts.retain(|text| !alias_form(text).is_empty());
        Ok(texts)
    }

    /// From here on nothing of the person comes in.
    fn put_in_force(&self, forgotten: Arc<crate::forgotten::Forgotten>) {
        let mut reading = self.reading.lock().unwrap_or_else(PoisonError::into_inner);
        let roster = forgotten.leave_out_of(Roster::clone(&reading.basis.roster));
        reading.basis = Arc::new(Basis { roster: Arc::new(roster), forgotten, ..Basis::clone(&reading.basis) });
    }

    /// Ledger and `imports` tell the rows that a file has now, so that nobody takes the erased ones for lost.
    fn lower_counts(
        &self,
        erased: &BTreeMap<String, BTreeMap<String, i64>>,
        provenance: &Provenance,
    ) -> Result<(), IntakeError> {
        let of =
            |source: &str, dataset: &str| erased.get(source).and_then(|rows| rows.get(dataset)).copied().unwrap_or(0);
        let schema = shot::imports();
        for month in self.lake.partitions(&schema.name)? {
            let mut changed = false;
            let mut batches = Vec::new();
            for batch in self.lake.read_partition(&schema, month)? {
                let sources: &StringArray = column("imports", &batch, "source_file_id")?;
                let accepted: &Int64Array = column("imports", &batch, "rows_accepted")?;
                let mut lowered = Vec::with_capacity(batch.num_rows());
                for row in 0..batch.num_rows() {
                    let source = sources.value(row);
                    let gone = of(source, "shots") + of(source, "strike_marks");
                    changed |= gone > 0;
                    lowered.push((accepted.value(row) - gone).max(0));
                }
                let lowered: ArrayRef = Arc::new(Int64Array::from(lowered));
                batches.push(replaced("imports", &batch, vec![("rows_accepted", lowered)])?);
            }
            if changed {
                self.lake.replace_partition(&schema, month, &batches, provenance)?;
            }
        }
        for source in erased.keys() {
            self.ledger.lower_row_counts(source, of(source, "shots"), of(source, "strike_marks"))?;
        }
        Ok(())
    }

    fn remove_pages(&self, digests_dir: &Path, texts: &BTreeSet<String>) -> Result<Vec<PathBuf>, IntakeError> {
        const MOST_BYTES: u64 = 256 << 20;
        let mut removed = Vec::new();
        let wanted: Vec<String> = texts.iter().map(|text| text.to_lowercase()).collect();
        for file in files_below(&self.files, digests_dir)? {
            let bytes = self.files.read(&file.path, MOST_BYTES)?;
            let page = String::from_utf8_lossy(&bytes).to_lowercase();
            let escaped = |text: &str| text.replace('&', "&amp;").replace('<', "&lt;").replace('\'', "&#39;");
            if wanted.iter().any(|text| has_word(&page, text) || has_word(&page, &escaped(text))) {
                self.files.remove(&file.path)?;
                removed.push(file.path);
            }
        }
        Ok(removed)
    }

    fn kept_of(&self, holding: &[(String, String)]) -> Result<Vec<(String, String)>, IntakeError> {
        let mut kept = Vec::new();
        let ids: BTreeSet<&String> = holding.iter().map(|(id, _)| id).collect();
        for id in ids {
            if let Some(FileEntry { archive_path: Some(path), .. }) = self.ledger.file(id)? {
                kept.push((id.clone(), path));
            }
        }
        Ok(kept)
    }

    /// Refused files were never read into rows: their bytes are looked through, as the encodings of plain exports write them.
    fn refused_holding(&self, forms: &[String]) -> Result<Vec<(String, String)>, IntakeError> {
        let mut found = Vec::new();
        for entry in self.ledger.files_in_state(FileState::Quarantined)? {
            let Some(path) = entry.quarantine_path else { continue };
            let Ok(bytes) = self.files.read(Path::new(&path), self.settings.largest_file()) else { continue };
            let narrow = String::from_utf8_lossy(&bytes).to_lowercase();
            let wide: Vec<u16> = bytes.chunks_exact(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]])).collect();
            let wide = String::from_utf16_lossy(&wide).to_lowercase();
            if forms.iter().any(|form| narrow.contains(form) || wide.contains(form)) {
                found.push((entry.source_file_id, path));
            }
        }
        Ok(found)
    }

    fn lines_naming(&self, roster: &Roster, is_meant: &dyn Fn(&str) -> bool) -> Vec<String> {
        let mut lines = Vec::new();
        for player in roster.players().iter().filter(|player| is_meant(&player.player_id)) {
            lines.push(format!("{}:{}", roster.path().display(), player.line));
        }
        let corrections: Arc<Corrections> = self.corrections();
        for line in corrections.lines() {
            let by_selector = line.selector.player.as_deref().is_some_and(is_meant);
            let by_action = matches!(&line.action, CorrectionAction::Player(text) if is_meant(text));
            if by_selector || by_action {
                lines.push(format!("{}:{}", corrections.path().display(), line.line));
            }
        }
        lines
    }
}

/// Which rows are the person's, or quote the person.
fn doomed(batch: &RecordBatch, ids: &HashSet<String>, quoted: &[String]) -> Vec<bool> {
    let mut doomed = vec![false; batch.num_rows()];
    for name in TELLING {
        let texts = batch.column_by_name(name).and_then(|array| array.as_any().downcast_ref::<StringArray>());
        let Some(texts) = texts else { continue };
        let is_identity = name.ends_with("player_id");
        for (row, is_doomed) in doomed.iter_mut().enumerate() {
            if !*is_doomed && texts.is_valid(row) {
                let text = texts.value(row);
                *is_doomed = if is_identity {
                    ids.contains(text)
                } else {
                    let lower = text.to_lowercase();
                    quoted.iter().any(|form| has_word(&lower, form))
                };
            }
        }
    }
    doomed
}

/// Whether a text stands in another as a word of its own, so that "ann" is not found in "cannot".
fn has_word(text: &str, word: &str) -> bool {
    let is_letter = |letter: Option<char>| letter.is_some_and(char::is_alphanumeric);
    !word.is_empty()
        && text.match_indices(word).any(|(at, _)| {
            !is_letter(text[..at].chars().next_back()) && !is_letter(text[at + word.len()..].chars().next())
        })
}

#[cfg(test)]
mod tests {
    use super::has_word;

    #[test]
    fn words_are_found_whole() {
        assert!(has_word("shot of ann, 7", "ann") && has_word("ann", "ann") && has_word("<b>ann o'k</b>", "ann o'k"));
        assert!(!has_word("cannot", "ann") && !has_word("anna", "ann") && !has_word("x", ""));
    }
}
