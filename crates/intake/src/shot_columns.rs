//! The columns of shots that roster, corrections and linked strikes concern: read, and written anew.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use arrow::datatypes::SchemaRef;
use shot::{Intent, StrikeSource};

use crate::IntakeError;

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

/// A strike position that was linked to a shot, mm from the face centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LinkedStrike {
    pub(crate) toe: f64,
    pub(crate) up: Option<f64>,
    /// Standard deviation of one coordinate.
    pub(crate) deviation: f64,
}

/// What the device said of one shot.
pub(crate) struct RecordedRow<'a> {
    pub(crate) player_id: Option<&'a str>,
    pub(crate) hand: Option<i64>,
    pub(crate) club_id: Option<&'a str>,
    pub(crate) club_kind: Option<&'a str>,
    pub(crate) intent: &'a str,
}

/// What counts.
pub(crate) struct Effective<'a> {
    pub(crate) player_id: Option<&'a str>,
    pub(crate) roster_hand: Option<i64>,
    pub(crate) club_id: Option<&'a str>,
    pub(crate) club_kind: Option<&'a str>,
    pub(crate) intent: &'a str,
    pub(crate) corrected: bool,
    pub(crate) guest: bool,
    pub(crate) excluded: bool,
}

/// The columns of `shots` that are read here.
pub(crate) struct ShotColumns<'a> {
    pub(crate) shot_id: &'a StringArray,
    pub(crate) bay: &'a StringArray,
    pub(crate) struck_at: &'a TimestampMicrosecondArray,
    pub(crate) source_file_id: &'a StringArray,
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
    pub(crate) fn of(batch: &'a RecordBatch) -> Result<ShotColumns<'a>, IntakeError> {
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
    pub(crate) fn recorded(&self, row: usize) -> RecordedRow<'a> {
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

/// Toe, up, deviation, source.
type StrikeCells = (Option<f64>, Option<f64>, Option<f64>, Option<String>);
/// Player, hand, club, kind of club, intent.
type RecordedCells = (Option<String>, Option<i64>, Option<String>, Option<String>, String);

/// The columns that are written anew.
#[derive(Default)]
pub(crate) struct Written {
    player_id: Vec<Option<String>>,
    hand: Vec<Option<i64>>,
    club_id: Vec<Option<String>>,
    club_kind: Vec<Option<String>>,
    intent: Vec<String>,
    strike: Vec<StrikeCells>,
    quality: Vec<Option<String>>,
    recorded: Vec<RecordedCells>,
}

impl Written {
    pub(crate) fn with_capacity(rows: usize) -> Written {
        Written { player_id: Vec::with_capacity(rows), quality: Vec::with_capacity(rows), ..Written::default() }
    }

    pub(crate) fn push(
        &mut self,
        rows: &ShotColumns<'_>,
        row: usize,
        recorded: &RecordedRow<'_>,
        effective: &Effective<'_>,
    ) {
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

    pub(crate) fn put_into(self, batch: &RecordBatch) -> Result<RecordBatch, IntakeError> {
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
        if let Some(link) = links.get(rows.shot_id.value(row)) {
            let linked = Some(StrikeSource::Linked.word());
            strikes.push((Some(link.toe), link.up, Some(link.deviation), linked));
            let codes = codes.map(|codes| format!("{codes};{STRIKE_LINKED}"));
            quality.push(Some(codes.unwrap_or_else(|| STRIKE_LINKED.to_owned())));
        } else {
            let source = optional(rows.source, row);
            strikes.push((number(rows.toe, row), number(rows.up, row), number(rows.sd, row), source));
            quality.push(codes.map(str::to_owned));
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
    array.is_valid(row).then(|| array.value(row))
}

pub(crate) fn number(array: &Float64Array, row: usize) -> Option<f64> {
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
pub(crate) fn replaced(
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
