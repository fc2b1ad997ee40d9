//! What importing files would do, without doing anything: no lock, no ledger entry, no folder is made.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use files::{EntryKind, Files, sha256_of_bytes};
use formats::{PackScore, PackSet};
use ledger::{FileState, Ledger};
use shot::Problem;

use crate::basis::Basis;
use crate::corrections_parse::is_hash_prefix;
use crate::effective::Amender;
use crate::judge::{Judgement, judge, site_context};
use crate::names::{is_temporary, name_of};
use crate::rows::{Origin, mark_rows, shot_rows};
use crate::unknown_names::{texts_of, unsettled};
use crate::{Corrections, IntakeError, IntakeSettings, NameToSettle, Roster};

/// What a preview goes by.
#[derive(Debug)]
pub struct PreviewBasis<'a> {
    /// The settings of intake.
    pub settings: &'a IntakeSettings,
    /// The mapping packs.
    pub packs: &'a PackSet,
    /// The roster.
    pub roster: &'a Roster,
    /// The corrections.
    pub corrections: &'a Corrections,
    /// The ledger, opened to read; `None` before the first import.
    pub ledger: Option<&'a Ledger>,
}

/// What would become of one file.
#[derive(Debug, Clone, PartialEq)]
pub struct Preview {
    /// The file.
    pub path: PathBuf,
    /// What would become of it.
    pub foreseen: Foreseen,
}

/// What would become of a file.
#[derive(Debug, Clone, PartialEq)]
pub enum Foreseen {
    /// Its rows would come into the lake.
    Taken(Box<Taking>),
    /// Its bytes are in the lake, or on their way.
    Known {
        /// Name under which they came first.
        first_name: String,
    },
    /// It would go to quarantine.
    Refused {
        /// Why.
        reason: String,
        /// What to do about it.
        hint: String,
        /// The points of every mapping pack, best first.
        scores: Vec<PackScore>,
        /// What is wrong with its rows, where a pack fits.
        problems: Vec<Problem>,
    },
    /// It cannot be read, or is no file.
    Unreadable {
        /// Why, with a hint.
        message: String,
    },
}

/// What taking a file would give.
#[derive(Debug, Clone, PartialEq)]
pub struct Taking {
    /// Name of the pack that fits.
    pub pack: String,
    /// Its version.
    pub pack_version: String,
    /// Its points and the reasons.
    pub score: Option<PackScore>,
    /// Shots that would be taken.
    pub shots: usize,
    /// Strike marks that would be taken.
    pub marks: usize,
    /// Rows that would be rejected.
    pub rejected: u64,
    /// Everything that is wrong, in the order of the file.
    pub problems: Vec<Problem>,
    /// Words that the pack's value maps do not have, by column, with how often they stand there.
    pub unknown_words: Vec<(String, String, usize)>,
    /// Names that the roster does not have, or whose player has no consent.
    pub names: Vec<NameToSettle>,
    /// Lines of the corrections that select shots of the file, with how many.
    pub corrections: Vec<(u64, i64)>,
    /// True = the same bytes stand in quarantine now.
    pub was_refused: bool,
}

/// Tells what an import of these files, or of the files in these folders, would do.
pub fn preview(basis: &PreviewBasis<'_>, paths: &[PathBuf]) -> Result<Vec<Preview>, IntakeError> {
    let files = Files::new();
    let mut found = Vec::new();
    for path in paths {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.clone());
        gather(&files, &path, true, &mut found);
    }
    let mut previews: Vec<Preview> = Vec::new();
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    for (path, obstacle) in found {
        let foreseen = match obstacle {
            Some(message) => Foreseen::Unreadable { message },
            None => foresee(basis, &files, &path, &mut seen)?,
        };
        previews.push(Preview { path, foreseen });
    }
    Ok(previews)
}

/// The files below a path, each with what stands in the way of reading it.
fn gather(files: &Files, path: &Path, named: bool, found: &mut Vec<(PathBuf, Option<String>)>) {
    let stat = match files.stat(path) {
        Ok(Some(stat)) => stat,
        Ok(None) => {
            let message = format!("{} does not exist\nhint: check the spelling", path.display());
            return found.push((path.to_owned(), Some(message)));
        }
        Err(error) => return found.push((path.to_owned(), Some(error.to_string()))),
    };
    match stat.kind {
        EntryKind::File => found.push((path.to_owned(), None)),
        EntryKind::Folder => match files.list(path) {
            Ok(entries) => {
                for entry in entries.iter().filter(|entry| !is_temporary(&entry.name)) {
                    gather(files, &entry.path, false, found);
                }
            }
            Err(error) => found.push((path.to_owned(), Some(error.to_string()))),
        },
        EntryKind::Link | EntryKind::Other if named => {
            let message =
                format!("{} is neither a file nor a folder\nhint: name the file a link points to", path.display());
            found.push((path.to_owned(), Some(message)));
        }
        EntryKind::Link | EntryKind::Other => {}
    }
}

fn foresee(
    basis: &PreviewBasis<'_>,
    files: &Files,
    path: &Path,
    seen: &mut BTreeMap<String, String>,
) -> Result<Foreseen, IntakeError> {
    let name = name_of(path);
    let bytes = match files.read(path, basis.settings.largest_file()) {
        Ok(bytes) => bytes,
        Err(error) => return Ok(Foreseen::Unreadable { message: error.to_string() }),
    };
    if bytes.is_empty() {
        let message =
            format!("{name} is empty\nhint: an empty file is never taken; look at it again when it is written");
        return Ok(Foreseen::Unreadable { message });
    }
    let source_file_id = sha256_of_bytes(&bytes);
    if let Some(first_name) = seen.get(&source_file_id) {
        return Ok(Foreseen::Known { first_name: first_name.clone() });
    }
    seen.insert(source_file_id.clone(), name.clone());
    let entry = match basis.ledger {
        Some(ledger) => ledger.file(&source_file_id)?,
        None => None,
    };
    let mut was_refused = false;
    match entry {
        Some(entry) if matches!(entry.state, FileState::Staged | FileState::Published | FileState::Archived) => {
            return Ok(Foreseen::Known { first_name: entry.first_name });
        }
        Some(entry) => was_refused = entry.state == FileState::Quarantined,
        None => {}
    }
    let site = site_context(basis.settings, basis.settings.folder_of(path), basis.roster);
    match judge(basis.packs, &name, &bytes, false, &site) {
        Judgement::Refuse(refusal) => Ok(Foreseen::Refused {
            reason: refusal.reason,
            hint: refusal.hint,
            scores: refusal.scores,
            problems: refusal.problems,
        }),
        Judgement::Unfinished { note, .. } => {
            Ok(Foreseen::Unreadable { message: format!("{note}\nhint: wait until the device has written it") })
        }
        Judgement::Accept { pack, parsed, scores } => {
            let names = names_in(&parsed, basis.roster);
            let origin = Origin {
                site_id: basis.settings.site_id.clone(),
                source_file_id: source_file_id.clone(),
                format: pack.name().to_owned(),
                format_version: pack.version().to_owned(),
                import_sequence: 0,
                imported_at: 0,
            };
            let mut rejected = parsed.rows_rejected();
            let mut problems = parsed.problems;
            let (shots, repeated) = shot_rows(parsed.shots, &origin);
            let (marks, repeated_marks) = mark_rows(parsed.marks, &origin);
            rejected += (repeated.len() + repeated_marks.len()) as u64;
            problems.extend(repeated.into_iter().chain(repeated_marks));
            let amender = amender_for(basis, &name, &source_file_id)?;
            let batch = shot::shots_batch(&shots).map_err(|cause| IntakeError::Rows { dataset: "shots", cause })?;
            let touched = amender.shots(&batch)?.touched;
            let lines = amender.corrections().map(|line| line.line).zip(touched);
            Ok(Foreseen::Taken(Box::new(Taking {
                pack: pack.name().to_owned(),
                pack_version: pack.version().to_owned(),
                score: scores.into_iter().next(),
                shots: shots.len(),
                marks: marks.len(),
                rejected,
                unknown_words: unknown_words(&problems),
                problems,
                names,
                corrections: lines.filter(|(_, shots)| *shots > 0).collect(),
                was_refused,
            })))
        }
    }
}

/// Corrections as they would be once the file is in: its name and hash count.
fn amender_for(basis: &PreviewBasis<'_>, name: &str, source_file_id: &str) -> Result<Amender, IntakeError> {
    let rules = Basis {
        roster: std::sync::Arc::new(basis.roster.clone()),
        corrections: std::sync::Arc::new(basis.corrections.clone()),
        ..Basis::default()
    };
    Amender::new(&rules, &basis.settings.site_id, |text| {
        let is_meant = text == name || (is_hash_prefix(text) && source_file_id.starts_with(&text.to_lowercase()));
        Ok(if is_meant { vec![source_file_id.to_owned()] } else { Vec::new() })
    })
}

fn names_in(parsed: &formats::ParsedFile, roster: &Roster) -> Vec<NameToSettle> {
    let mut names = Vec::new();
    for noted in texts_of(parsed) {
        let player = roster.player(&noted.text);
        if let Some(why) = unsettled(player.map(|player| player.consent)) {
            names.push(NameToSettle {
                text: noted.text,
                player_id: player.map(|player| player.player_id.clone()),
                why,
                rows: noted.rows,
                last_seen: noted.last_seen,
            });
        }
    }
    names
}

fn unknown_words(problems: &[Problem]) -> Vec<(String, String, usize)> {
    let mut words: BTreeMap<(String, String), usize> = BTreeMap::new();
    let rule = formats::Rule::UnknownValue.word();
    for problem in problems.iter().filter(|problem| problem.rule == rule) {
        let place = (problem.column.clone().unwrap_or_default(), problem.text.clone());
        *words.entry(place).or_default() += 1;
    }
    words.into_iter().map(|((column, text), count)| (column, text, count)).collect()
}
