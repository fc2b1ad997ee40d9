//! The effective values of shots and marks: a function of what was recorded, the roster and the corrections, and of nothing
//! else. Whatever a change of roster or corrections did, taking it back gives the very rows of before.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::fmt::Write as _;
use std::sync::Arc;

use arrow::array::{RecordBatch, StringArray};

use crate::basis::Basis;
use crate::corrections::{Correction, CorrectionAction};
use crate::shot_columns::{Effective, RecordedRow, ShotColumns, Written, column, optional, replaced};
use crate::{IntakeError, Resolved};

/// Raised when the same inputs would give other rows.
const METHOD: &str = "1";

/// One correction with everything looked up that it needs.
struct Line {
    correction: Correction,
    /// The files its selector means; `None` = any.
    files: Option<HashSet<String>>,
    /// What a device's text that its selector names was recorded as.
    recorded_as: Option<Vec<String>>,
    /// To whom the action gives the shot.
    given_to: Option<Resolved>,
}

/// Roster and corrections, ready to be applied.
pub(crate) struct Amender {
    by_recorded: HashMap<String, Resolved>,
    lines: Vec<Line>,
    fingerprint: String,
}

/// Rows with their effective values.
pub(crate) struct Amended {
    pub(crate) batch: RecordBatch,
    /// For each correction, how many of these rows it selects.
    pub(crate) touched: Vec<i64>,
}

impl Amender {
    /// `files_named` answers the files that a selector means, by name or by the beginning of their SHA-256.
    pub(crate) fn new<E>(
        basis: &Basis,
        site_id: &str,
        files_named: impl Fn(&str) -> Result<Vec<String>, E>,
    ) -> Result<Amender, E> {
        let mut by_recorded = HashMap::new();
        let mut told = BTreeMap::new();
        for (alias, player) in basis.roster.aliases() {
            let resolved = basis.roster.resolve(site_id, alias);
            told.insert(alias, format!("{resolved:?}"));
            by_recorded.insert(shot::placeholder_player(site_id, alias), resolved);
            // Rows of before the placeholder was kept beside the alias have nothing else to go by.
            let by_alias = basis.roster.resolve(site_id, &player.player_id);
            by_recorded.insert(player.player_id.clone(), by_alias);
        }
        let mut lines = Vec::new();
        let mut digest = format!("{METHOD}{told:?}");
        for correction in basis.corrections.lines() {
            let mut files = None;
            if let Some(text) = &correction.selector.file {
                let mut named = files_named(text)?;
                named.sort();
                digest.push_str(&named.join(","));
                files = Some(named.into_iter().collect());
            }
            let recorded_as = correction.selector.player.as_ref().map(|text| {
                let known = basis.roster.player(text).map(|player| player.player_id.clone());
                let mut forms = vec![shot::placeholder_player(site_id, text)];
                forms.extend(known);
                forms
            });
            let given_to = match &correction.action {
                CorrectionAction::Player(text) => Some(basis.roster.resolve(site_id, text)),
                _ => None,
            };
            let _ = write!(digest, "{}{recorded_as:?}{given_to:?}", correction.key); // writing to a String cannot fail
            lines.push(Line { correction: correction.clone(), files, recorded_as, given_to });
        }
        Ok(Amender { by_recorded, lines, fingerprint: shot::text_hash(&digest) })
    }

    /// A text that differs wherever the effective values may differ.
    pub(crate) fn fingerprint(&self) -> &str {
        &self.fingerprint
    }

    pub(crate) fn corrections(&self) -> impl Iterator<Item = &Correction> {
        self.lines.iter().map(|line| &line.correction)
    }

    /// Shots with roster and corrections applied, and without linked strikes; those are put in afterwards.
    pub(crate) fn shots(&self, batch: &RecordBatch) -> Result<Amended, IntakeError> {
        let rows = ShotColumns::of(batch)?;
        let mut written = Written::with_capacity(batch.num_rows());
        let mut touched = vec![0; self.lines.len()];
        for row in 0..batch.num_rows() {
            let recorded = rows.recorded(row);
            let effective = self.effective(&rows, row, &recorded, &mut touched);
            written.push(&rows, row, &recorded, &effective);
        }
        Ok(Amended { batch: written.put_into(batch)?, touched })
    }

    fn effective<'a>(
        &'a self,
        rows: &ShotColumns<'_>,
        row: usize,
        recorded: &RecordedRow<'a>,
        touched: &mut [i64],
    ) -> Effective<'a> {
        let known = recorded.player_id.and_then(|player| self.by_recorded.get(player));
        let mut effective = Effective {
            player_id: known.map(|known| known.player_id.as_str()).or(recorded.player_id),
            roster_hand: known.and_then(|known| known.hand).map(shot::Hand::sign),
            club_id: recorded.club_id,
            club_kind: recorded.club_kind,
            intent: recorded.intent,
            corrected: false,
            guest: false,
            excluded: false,
        };
        for (position, line) in self.lines.iter().enumerate() {
            if !line.selects(rows, row, recorded) {
                continue;
            }
            touched[position] += 1;
            match &line.correction.action {
                CorrectionAction::Club { club_id, club_kind } => {
                    effective.club_id = Some(club_id);
                    effective.club_kind = Some(club_kind);
                    effective.corrected = true;
                }
                CorrectionAction::Player(_) => {
                    let given_to = line.given_to.as_ref();
                    effective.player_id = given_to.map(|player| player.player_id.as_str());
                    effective.roster_hand = given_to.and_then(|player| player.hand).map(shot::Hand::sign);
                    effective.corrected = true;
                    effective.guest = false;
                }
                CorrectionAction::Guest => {
                    effective.player_id = None;
                    effective.roster_hand = None;
                    effective.guest = true;
                }
                CorrectionAction::Exclude => effective.excluded = true,
                CorrectionAction::Intent(intent) => {
                    effective.intent = intent.word();
                    effective.corrected = true;
                }
            }
        }
        effective
    }

    /// Marks with the roster applied.
    pub(crate) fn marks(&self, batch: &RecordBatch) -> Result<RecordBatch, IntakeError> {
        let recorded: &StringArray = column("strike_marks", batch, "recorded_player_id")?;
        let players: StringArray = recorded
            .iter()
            .map(|player| {
                let known = player.and_then(|player| self.by_recorded.get(player));
                known.map(|known| known.player_id.as_str()).or(player)
            })
            .collect();
        replaced("strike_marks", batch, vec![("player_id", Arc::new(players))])
    }
}

impl Line {
    fn selects(&self, rows: &ShotColumns<'_>, row: usize, recorded: &RecordedRow<'_>) -> bool {
        let selector = &self.correction.selector;
        let struck_at = rows.struck_at.value(row);
        selector.from.is_none_or(|from| struck_at >= from)
            && selector.to.is_none_or(|to| struck_at < to)
            && selector.bay.as_deref().is_none_or(|bay| optional(rows.bay, row) == Some(bay))
            && self.files.as_ref().is_none_or(|files| files.contains(rows.source_file_id.value(row)))
            && selector.shot.as_deref().is_none_or(|shot| rows.shot_id.value(row).starts_with(shot))
            && self
                .recorded_as
                .as_ref()
                .is_none_or(|forms| recorded.player_id.is_some_and(|player| forms.iter().any(|form| form == player)))
    }
}
