//! The effective values of shots and marks: a function of what was recorded, the roster and the corrections, and of nothing
//! else. Whatever a change of roster or corrections did, taking it back gives the very rows of before.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use arrow::datatypes::SchemaRef;
use shot::{Intent, StrikeSource};

use crate::basis::Basis;
use crate::corrections::{Correction, CorrectionAction};
use crate::{IntakeError, Resolved};

/// Quality code: a correction changed a value of the shot.
pub const CORRECTED: &str = "corrected";
/// Quality code: somebody hit the shot who is no player of the site.
pub const GUEST: &str = "guest";
/// Quality code: the shot counts in nothing.
pub const EXCLUDED: &str = "excluded";
/// Quality code: the strike position was noted apart and linked to the shot.
pub const STRIKE_LINKED: &str = "strike-linked";
/// The codes that are set anew whenever rows are amended. All others are the parser's and stay.
const OWN_CODES: [&str; 4] = [CORRECTED, GUEST, EXCLUDED, STRIKE_LINKED];

/// Raised when the same inputs would give other rows.
const METHOD: &str = "1";

/// A strike position that was linked to a shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LinkedStrike {
    pub(crate) toe_mm: f64,
    pub(crate) up_mm: Option<f64>,
    pub(crate) sd_mm: f64,
}

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
            digest.push_str(&format!("{}{recorded_as:?}{given_to:?}", correction.key));
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

/// What the device said of one shot.
struct RecordedRow<'a> {
    player_id: Option<&'a str>,
    hand: Option<i64>,
    club_id: Option<&'a str>,
    club_kind: Option<&'a str>,
    intent: &'a str,
}

/// What counts.
struct Effective<'a> {
    player_id: Option<&'a str>,
    roster_hand: Option<i64>,
    club_id: Option<&'a str>,
    club_kind: Option<&'a str>,
    intent: &'a str,
    corrected: bool,
    guest: bool,
    excluded: bool,
}

/// The columns of `shots` that are read here.
struct ShotColumns<'a> {
    shot_id: &'a StringArray,
    bay: &'a StringArray,
    struck_at: &'a TimestampMicrosecondArray,
    source_file_id: &'a StringArray,
    player_id: &'a StringArray,
    hand: &'a Int64Array,
    club_id: &'a StringArray,
    club_kind: &'a StringArray,
    intent: &'a StringArray,
    toe: &'a Float64Array,
    up: &'a Float64Array,
    sd: &'a Float64Array,
    source: &'a StringArray,
    quality: &'a StringArray,
    recorded_player_id: &'a StringArray,
    recorded_hand: &'a Int64Array,
    recorded_club_id: &'a StringArray,
    recorded_club_kind: &'a StringArray,
    recorded_intent: &'a StringArray,
}

impl<'a> ShotColumns<'a> {
    fn of(batch: &'a RecordBatch) -> Result<ShotColumns<'a>, IntakeError> {
        let text = |name| column::<StringArray>("shots", batch, name);
        let real = |name| column::<Float64Array>("shots", batch, name);
        Ok(ShotColumns {
            shot_id: text("shot_id")?,
            bay: text("bay")?,
            struck_at: column("shots", batch, "struck_at")?,
            source_file_id: text("source_file_id")?,
            player_id: text("player_id")?,
            hand: column("shots", batch, "hand")?,
            club_id: text("club_id")?,
            club_kind: text("club_kind")?,
            intent: text("intent")?,
            toe: real("strike_toe_mm")?,
            up: real("strike_up_mm")?,
            sd: real("strike_sd_mm")?,
            source: text("strike_source")?,
            quality: text("quality")?,
            recorded_player_id: text("recorded_player_id")?,
            recorded_hand: column("shots", batch, "recorded_hand")?,
            recorded_club_id: text("recorded_club_id")?,
            recorded_club_kind: text("recorded_club_kind")?,
            recorded_intent: text("recorded_intent")?,
        })
    }

    /// A row of before the recorded values were kept has none of them: what stands in it is what was recorded.
    fn recorded(&self, row: usize) -> RecordedRow<'a> {
        use arrow::array::Array;
        let whole_number = |array: &Int64Array| array.is_valid(row).then(|| array.value(row));
        if self.recorded_intent.is_null(row) {
            return RecordedRow {
                player_id: optional(self.player_id, row),
                hand: whole_number(self.hand),
                club_id: optional(self.club_id, row),
                club_kind: optional(self.club_kind, row),
                intent: optional(self.intent, row).unwrap_or(Intent::Play.word()),
            };
        }
        RecordedRow {
            player_id: optional(self.recorded_player_id, row),
            hand: whole_number(self.recorded_hand),
            club_id: optional(self.recorded_club_id, row),
            club_kind: optional(self.recorded_club_kind, row),
            intent: self.recorded_intent.value(row),
        }
    }
}

/// The columns that are written anew.
#[derive(Default)]
struct Written {
    player_id: Vec<Option<String>>,
    hand: Vec<Option<i64>>,
    club_id: Vec<Option<String>>,
    club_kind: Vec<Option<String>>,
    intent: Vec<String>,
    strike: Vec<(Option<f64>, Option<f64>, Option<f64>, Option<String>)>,
    quality: Vec<Option<String>>,
    recorded: Vec<(Option<String>, Option<i64>, Option<String>, Option<String>, String)>,
}

impl Written {
    fn with_capacity(rows: usize) -> Written {
        Written { player_id: Vec::with_capacity(rows), quality: Vec::with_capacity(rows), ..Written::default() }
    }

    fn push(&mut self, rows: &ShotColumns<'_>, row: usize, recorded: &RecordedRow<'_>, effective: &Effective<'_>) {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        self.player_id.push(owned(effective.player_id));
        self.hand.push(recorded.hand.or(effective.roster_hand));
        self.club_id.push(owned(effective.club_id));
        self.club_kind.push(owned(effective.club_kind));
        self.intent.push(effective.intent.to_owned());
        let source = optional(rows.source, row);
        self.strike.push(if source == Some(StrikeSource::Linked.word()) {
            (None, None, None, None)
        } else {
            (number(rows.toe, row), number(rows.up, row), number(rows.sd, row), owned(source))
        });
        let mut codes = kept_codes(optional(rows.quality, row));
        let own = [(effective.corrected, CORRECTED), (effective.guest, GUEST), (effective.excluded, EXCLUDED)];
        codes.extend(own.iter().filter(|(is_set, _)| *is_set).map(|(_, code)| *code));
        self.quality.push((!codes.is_empty()).then(|| codes.join(";")));
        self.recorded.push((
            owned(recorded.player_id),
            recorded.hand,
            owned(recorded.club_id),
            owned(recorded.club_kind),
            recorded.intent.to_owned(),
        ));
    }

    fn put_into(self, batch: &RecordBatch) -> Result<RecordBatch, IntakeError> {
        let recorded = || self.recorded.iter();
        let columns: Vec<(&str, ArrayRef)> = vec![
            ("player_id", Arc::new(StringArray::from(self.player_id))),
            ("hand", Arc::new(Int64Array::from(self.hand))),
            ("club_id", Arc::new(StringArray::from(self.club_id))),
            ("club_kind", Arc::new(StringArray::from(self.club_kind))),
            ("intent", Arc::new(StringArray::from(self.intent))),
            ("strike_toe_mm", Arc::new(self.strike.iter().map(|strike| strike.0).collect::<Float64Array>())),
            ("strike_up_mm", Arc::new(self.strike.iter().map(|strike| strike.1).collect::<Float64Array>())),
            ("strike_sd_mm", Arc::new(self.strike.iter().map(|strike| strike.2).collect::<Float64Array>())),
            ("strike_source", Arc::new(self.strike.iter().map(|strike| strike.3.as_deref()).collect::<StringArray>())),
            ("quality", Arc::new(StringArray::from(self.quality))),
            ("recorded_player_id", Arc::new(recorded().map(|row| row.0.as_deref()).collect::<StringArray>())),
            ("recorded_hand", Arc::new(recorded().map(|row| row.1).collect::<Int64Array>())),
            ("recorded_club_id", Arc::new(recorded().map(|row| row.2.as_deref()).collect::<StringArray>())),
            ("recorded_club_kind", Arc::new(recorded().map(|row| row.3.as_deref()).collect::<StringArray>())),
            ("recorded_intent", Arc::new(recorded().map(|row| Some(row.4.as_str())).collect::<StringArray>())),
        ];
        replaced("shots", batch, columns)
    }
}

/// Puts linked strikes into shots that have none. The rows come from [`Amender::shots`].
pub(crate) fn with_linked_strikes(
    batch: &RecordBatch,
    links: &HashMap<String, LinkedStrike>,
) -> Result<RecordBatch, IntakeError> {
    let rows = ShotColumns::of(batch)?;
    let mut strikes = Vec::with_capacity(batch.num_rows());
    let mut quality = Vec::with_capacity(batch.num_rows());
    for row in 0..batch.num_rows() {
        let codes = optional(rows.quality, row);
        match links.get(rows.shot_id.value(row)) {
            Some(link) => {
                let linked = Some(StrikeSource::Linked.word());
                strikes.push((Some(link.toe_mm), link.up_mm, Some(link.sd_mm), linked));
                let codes = codes.map(|codes| format!("{codes};{STRIKE_LINKED}"));
                quality.push(Some(codes.unwrap_or_else(|| STRIKE_LINKED.to_owned())));
            }
            None => {
                let source = optional(rows.source, row);
                strikes.push((number(rows.toe, row), number(rows.up, row), number(rows.sd, row), source));
                quality.push(codes.map(str::to_owned));
            }
        }
    }
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("strike_toe_mm", Arc::new(strikes.iter().map(|strike| strike.0).collect::<Float64Array>())),
        ("strike_up_mm", Arc::new(strikes.iter().map(|strike| strike.1).collect::<Float64Array>())),
        ("strike_sd_mm", Arc::new(strikes.iter().map(|strike| strike.2).collect::<Float64Array>())),
        ("strike_source", Arc::new(strikes.iter().map(|strike| strike.3).collect::<StringArray>())),
        ("quality", Arc::new(StringArray::from(quality))),
    ];
    replaced("shots", batch, columns)
}

/// The codes of a row that are not set here.
fn kept_codes(quality: Option<&str>) -> Vec<&str> {
    quality.into_iter().flat_map(|codes| codes.split(';')).filter(|code| !OWN_CODES.contains(code)).collect()
}

pub(crate) fn optional(array: &StringArray, row: usize) -> Option<&str> {
    use arrow::array::Array;
    array.is_valid(row).then(|| array.value(row))
}

pub(crate) fn number(array: &Float64Array, row: usize) -> Option<f64> {
    use arrow::array::Array;
    array.is_valid(row).then(|| array.value(row))
}

/// A column of a batch that the lake or the parser has checked against its schema.
pub(crate) fn column<'a, A: 'static>(
    dataset: &'static str,
    batch: &'a RecordBatch,
    name: &str,
) -> Result<&'a A, IntakeError> {
    batch.column_by_name(name).and_then(|array| array.as_any().downcast_ref::<A>()).ok_or_else(|| {
        let cause = arrow::error::ArrowError::SchemaError(format!("the column {name} is missing or has another type"));
        IntakeError::Rows { dataset, cause }
    })
}

/// The batch with some columns exchanged.
fn replaced(
    dataset: &'static str,
    batch: &RecordBatch,
    columns: Vec<(&str, ArrayRef)>,
) -> Result<RecordBatch, IntakeError> {
    let schema: SchemaRef = batch.schema();
    let mut arrays = batch.columns().to_vec();
    for (name, array) in columns {
        let position = schema.index_of(name).map_err(|cause| IntakeError::Rows { dataset, cause })?;
        arrays[position] = array;
    }
    RecordBatch::try_new(schema, arrays).map_err(|cause| IntakeError::Rows { dataset, cause })
}
