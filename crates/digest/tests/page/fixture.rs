//! A small lake with invented rows: six players under two coaches, one week and the weeks before it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use shot::{Column, ColumnKind, Month, TableSchema};

/// Monday 16 November 2026.
pub const WEEK: i32 = 20_773;
pub const SITE: &str = "north";

/// Alias, shown name, coach, hand, consent. Nobody real.
pub const PLAYERS: [(&str, &str, &str, i64, bool); 6] = [
    ("p-ash", "Ash", "coach-a", 1, true),
    ("p-birch", "Birch", "coach-a", -1, true),
    ("p-cedar", "Cedar", "coach-a", 1, true),
    ("p-dune", "Dune", "coach-a", 1, true),
    ("p-elm", "Elm-no-consent", "coach-a", 1, false),
    ("p-fern", "Fern-other-coach", "coach-b", 1, true),
];

pub fn shown_name(alias: &str) -> String {
    let known = PLAYERS.iter().find(|player| player.0 == alias);
    known.map_or_else(|| alias.replace("coach-", "Coach "), |player| player.1.to_owned())
}

/// One value of a row.
#[derive(Clone)]
pub enum Value {
    Text(String),
    Integer(i64),
    Real(f64),
    Flag(bool),
    Day(i32),
    Instant(i64),
}

/// A row by column name; what is not named is null.
pub type Row = Vec<(&'static str, Value)>;

pub fn text(value: &str) -> Value {
    Value::Text(value.to_owned())
}

fn kind_of(value: &Value) -> ColumnKind {
    match value {
        Value::Text(_) => ColumnKind::Text,
        Value::Integer(_) => ColumnKind::Integer,
        Value::Real(_) => ColumnKind::Real,
        Value::Flag(_) => ColumnKind::Flag,
        Value::Day(_) => ColumnKind::Day,
        Value::Instant(_) => ColumnKind::Instant,
    }
}

/// A schema with the columns that the rows use; `required` names the ones without nulls.
pub fn schema_of(name: &str, rows: &[Row], required: &[&str], partition_day: &str) -> TableSchema {
    let mut columns: Vec<Column> = Vec::new();
    for (column, value) in rows.iter().flatten() {
        if columns.iter().all(|known| known.name != *column) {
            let mut described = Column::optional(column, kind_of(value), "", "of the test");
            described.required = required.contains(column);
            columns.push(described);
        }
    }
    TableSchema {
        name: name.into(),
        version: 1,
        description: "of the test".into(),
        columns,
        key: required.iter().map(|name| (*name).to_owned()).collect(),
        sort: required.iter().map(|name| (*name).to_owned()).collect(),
        partition_day: Some(partition_day.into()),
    }
}

/// Rows as one batch of a schema.
pub fn batch_of(schema: &TableSchema, rows: &[Row]) -> RecordBatch {
    let mut arrays: Vec<ArrayRef> = Vec::new();
    for column in &schema.columns {
        let cells: Vec<Option<&Value>> =
            rows.iter().map(|row| row.iter().find(|(name, _)| *name == column.name).map(|(_, value)| value)).collect();
        macro_rules! column_of {
            ($array:ty, $kind:ident, $take:expr) => {
                Arc::new(
                    cells
                        .iter()
                        .map(|cell| match cell {
                            Some(Value::$kind(value)) => Some($take(value)),
                            _ => None,
                        })
                        .collect::<$array>(),
                )
            };
        }
        arrays.push(match column.kind {
            ColumnKind::Text => column_of!(StringArray, Text, String::clone),
            ColumnKind::Integer => column_of!(Int64Array, Integer, i64::clone),
            ColumnKind::Real => column_of!(Float64Array, Real, f64::clone),
            ColumnKind::Flag => column_of!(BooleanArray, Flag, bool::clone),
            ColumnKind::Day => column_of!(Date32Array, Day, i32::clone),
            ColumnKind::Instant => {
                let column = column_of!(TimestampMicrosecondArray, Instant, i64::clone);
                Arc::new((*column).clone().with_timezone("UTC"))
            }
        });
    }
    RecordBatch::try_new(schema.arrow_schema(), arrays).expect("rows fit their schema")
}

/// The roster.
pub fn players() -> (TableSchema, Vec<Row>) {
    let mut rows = Vec::new();
    for (alias, _, coach, hand, consent) in PLAYERS {
        rows.push(vec![
            ("site_id", text(SITE)),
            ("player_id", text(alias)),
            ("hand", Value::Integer(hand)),
            ("coach", text(coach)),
            ("consent", Value::Flag(consent)),
            ("stock_path_deg", Value::Real(0.0)),
            ("stock_face_deg", Value::Real(0.0)),
        ]);
    }
    (shot::players(), rows)
}

/// Their clubs.
pub fn clubs() -> (TableSchema, Vec<Row>) {
    let mut rows = Vec::new();
    for (alias, club, kind) in
        [("p-ash", "driver", "driver"), ("p-ash", "7-iron", "iron"), ("p-elm", "driver", "driver")]
    {
        rows.push(vec![
            ("site_id", text(SITE)),
            ("player_id", text(alias)),
            ("club_id", text(club)),
            ("club_kind", text(kind)),
            ("head_profile", text("usual")),
        ]);
    }
    (shot::clubs(), rows)
}

/// A repeatable scatter between about -2 and 2, bell-shaped: sums of steps of a 64-bit mixer.
fn scatter(seed: i64, index: i64) -> f64 {
    let mut sum = 0.0;
    for part in 0..4 {
        let mut mixed = (seed * 1_000_003 + index * 101 + part).cast_unsigned().wrapping_mul(0x9E37_79B9_7F4A_7C15);
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed ^= mixed >> 27;
        sum += (mixed >> 11) as f64 / (1_u64 << 53) as f64;
    }
    sum - 2.0
}

const REASON: &str = "no path or face measured";

/// Shots of the week for one player and club.
fn shots_of(alias: &str, club: &str, seed: i64, count: i64, toe_mean: f64) -> Vec<Row> {
    let mut rows = Vec::new();
    for index in 0..count {
        let toe = toe_mean + 17.0 * scatter(seed, index);
        let up = 11.0 * scatter(seed + 50, index);
        let lost = 0.012 * (toe * toe + 1.4 * up * up);
        let side = 22.0 * scatter(seed + 90, index);
        let carry = 205.0 + 10.0 * scatter(seed + 70, index) - lost;
        let miss = match (side.abs() > 15.0, lost > 6.0) {
            (true, true) if side < 0.0 => "short-left",
            (true, _) if side < 0.0 => "left",
            (true, _) => "right",
            (false, true) => "short",
            _ => "none",
        };
        let day = WEEK + i32::try_from(index * 3 / count * 2).expect("a small number");
        let mut row = vec![
            ("shot_id", text(&format!("{alias}-{club}-{index}"))),
            ("site_id", text(SITE)),
            ("player_id", text(alias)),
            ("club_id", text(club)),
            ("struck_at", Value::Instant(i64::from(day) * 86_400_000_000 + (36_000 + index * 70) * 1_000_000)),
            ("local_date", Value::Day(day)),
            ("week", Value::Day(WEEK)),
            ("miss", text(miss)),
            ("lateral_m", Value::Real(side)),
            ("carry_m", Value::Real(carry)),
            ("counted", Value::Flag(true)),
            ("misread", Value::Flag(index % 9 == 4)),
        ];
        if index % 11 == 7 {
            row.push(("reason", text(REASON)));
            if miss != "none" {
                row.push(("cause", text("cannot tell")));
            }
        } else {
            let source = ["measured", "measured", "linked", "inferred"][index as usize % 4];
            row.extend([
                ("centred_lateral_m", Value::Real(side - 0.12 * toe)),
                ("centred_carry_m", Value::Real(carry + lost)),
                ("carry_lost_to_strike_m", Value::Real(lost)),
                ("strike_toe_mm", Value::Real(toe)),
                ("strike_up_mm", Value::Real(up)),
                ("strike_source", text(source)),
            ]);
            if miss != "none" {
                row.push(("cause", text(if lost > 3.0 { "strike" } else { "delivery" })));
                row.push(("cause_probability", Value::Real(0.7 + 0.02 * (index % 12) as f64)));
            }
        }
        rows.push(row);
    }
    // A partial swing counts nowhere.
    rows.push(vec![
        ("shot_id", text(&format!("{alias}-{club}-partial"))),
        ("site_id", text(SITE)),
        ("player_id", text(alias)),
        ("club_id", text(club)),
        ("struck_at", Value::Instant(i64::from(WEEK) * 86_400_000_000)),
        ("local_date", Value::Day(WEEK)),
        ("week", Value::Day(WEEK)),
        ("counted", Value::Flag(false)),
        ("reason", text("partial swing")),
    ]);
    rows
}

/// `shot_verdicts` of everybody, also of those who must not show.
pub fn verdicts() -> (TableSchema, Vec<Row>) {
    let mut rows = Vec::new();
    rows.extend(shots_of("p-ash", "driver", 1, 44, 7.0));
    rows.extend(shots_of("p-ash", "7-iron", 2, 6, 0.0));
    rows.extend(shots_of("p-birch", "driver", 3, 31, -6.0));
    rows.extend(shots_of("p-cedar", "driver", 4, 3, 2.0));
    rows.extend(shots_of("p-elm", "driver", 5, 20, 3.0));
    rows.extend(shots_of("p-fern", "driver", 6, 20, 3.0));
    (schema_of("shot_verdicts", &rows, &["shot_id", "local_date"], "local_date"), rows)
}

fn loss_row(alias: &str, club: &str, week: i32, mean: Option<f64>) -> Row {
    let (_, verdicts) = verdicts();
    let mine = verdicts.iter().filter(|row| {
        let has = |name: &str, wanted: &str| {
            row.iter().any(|(column, value)| *column == name && matches!(value, Value::Text(t) if t == wanted))
        };
        has("player_id", alias) && has("club_id", club)
    });
    let mine: Vec<&Row> = mine.filter(|row| row.iter().any(|(_, value)| matches!(value, Value::Flag(true)))).collect();
    let count = |name: &str, wanted: &str| {
        let matching = mine.iter().filter(|row| {
            row.iter().any(|(column, value)| *column == name && matches!(value, Value::Text(t) if t == wanted))
        });
        i64::try_from(matching.count()).expect("a small number")
    };
    let judged = ["measured", "linked", "inferred"].map(|source| count("strike_source", source));
    let shots = i64::try_from(mine.len()).expect("a small number");
    let mut row = vec![
        ("site_id", text(SITE)),
        ("player_id", text(alias)),
        ("club_id", text(club)),
        ("week", Value::Day(week)),
        ("shots", Value::Integer(shots)),
        ("shots_judged", Value::Integer(judged.iter().sum())),
        ("strikes_measured", Value::Integer(judged[0])),
        ("strikes_linked", Value::Integer(judged[1])),
        ("strikes_inferred", Value::Integer(judged[2])),
        ("misses", Value::Integer(shots - count("miss", "none"))),
        ("misses_strike", Value::Integer(count("cause", "strike"))),
        ("misses_delivery", Value::Integer(count("cause", "delivery"))),
        ("misses_unclear", Value::Integer(count("cause", "cannot tell"))),
        ("misread_curves", Value::Integer((shots + 4) / 9)),
        ("sessions", Value::Integer(2)),
        ("method_version", text("1")),
        ("model_as_of", Value::Day(week)),
        ("revision", Value::Integer(0)),
    ];
    if let Some(mean) = mean {
        row.extend([
            ("carry_lost_mean_m", Value::Real(mean)),
            ("carry_lost_mean_low_m", Value::Real(mean - 0.9)),
            ("carry_lost_mean_high_m", Value::Real(mean + 1.1)),
            ("carry_lost_total_m", Value::Real(mean * 40.0)),
            ("carry_lost_total_low_m", Value::Real((mean - 0.9) * 40.0)),
            ("carry_lost_total_high_m", Value::Real((mean + 1.1) * 40.0)),
            ("lost_centre_m", Value::Real(6.2)),
            ("lost_toe_m", Value::Real(mean * 21.0)),
            ("lost_heel_m", Value::Real(9.5)),
            ("tighter_strike_gain_mean_m", Value::Real(mean * 0.44)),
            ("faster_club_gain_mean_m", Value::Real(4.6)),
        ]);
    }
    row
}

/// Alias, week, mean loss and advice of every weekly row; also of those who must not show.
fn weekly() -> Vec<(&'static str, i32, Option<f64>, &'static str)> {
    let mut rows = Vec::new();
    for (age, mean) in [(5, 4.9), (4, 5.3), (2, 4.1), (1, 4.4), (0, 3.8)] {
        rows.push(("p-ash", WEEK - 7 * age, Some(mean), "strike first"));
    }
    rows.push(("p-birch", WEEK, Some(0.4), "delivery first"));
    rows.push(("p-cedar", WEEK, None, "not enough shots"));
    rows.push(("p-elm", WEEK, Some(3.3), "strike first"));
    rows.push(("p-fern", WEEK, Some(3.3), "strike first"));
    // A later week must not leak into an earlier page.
    rows.push(("p-ash", WEEK + 7, Some(9.9), "keep going"));
    rows
}

/// `carry_loss` of everybody.
pub fn losses() -> (TableSchema, Vec<Row>) {
    let rows: Vec<Row> =
        weekly().into_iter().map(|(alias, week, mean, _)| loss_row(alias, "driver", week, mean)).collect();
    (schema_of("carry_loss", &rows, &["player_id", "club_id", "week"], "week"), rows)
}

/// `strike_pattern` of everybody.
pub fn patterns() -> (TableSchema, Vec<Row>) {
    let mut rows = Vec::new();
    for (alias, week, mean, _) in weekly() {
        let mut row = holder(alias, week);
        if mean.is_some() {
            row.extend([
                ("mean_toe_mm", Value::Real(7.0)),
                ("mean_up_mm", Value::Real(-2.0)),
                ("spread_toe_mm", Value::Real(10.0)),
                ("spread_up_mm", Value::Real(7.0)),
                ("centre_share", Value::Real(0.38)),
            ]);
        }
        rows.push(row);
    }
    (schema_of("strike_pattern", &rows, &["player_id", "club_id", "week"], "week"), rows)
}

/// `practice_plan` of everybody.
pub fn plans() -> (TableSchema, Vec<Row>) {
    let mut rows = Vec::new();
    for (alias, week, mean, advice) in weekly() {
        let mut row = holder(alias, week);
        row.push(("practise_next", text(advice)));
        if mean.is_some() {
            let why = if advice == "strike first" { "most carry is lost at the toe" } else { "few strikes are costly" };
            row.extend([
                ("practise_why", text(why)),
                ("gate_toe_mm", Value::Real(14.0)),
                ("gate_pass_share", Value::Real(0.72)),
            ]);
        }
        rows.push(row);
    }
    (schema_of("practice_plan", &rows, &["player_id", "club_id", "week"], "week"), rows)
}

/// `practice_effect`: one player has practised the strike.
pub fn effects() -> (TableSchema, Vec<Row>) {
    let mut row = holder("p-ash", WEEK);
    row.push(("effect", text("early sign")));
    row.push(("why", text("it looks better, too early to be sure that it lasts")));
    // A later week must not leak into an earlier page.
    let mut later = holder("p-birch", WEEK + 7);
    later.push(("effect", text("holds")));
    later.push(("why", text("of next week")));
    let rows = vec![row, later];
    (schema_of("practice_effect", &rows, &["player_id", "club_id", "week"], "week"), rows)
}

fn holder(alias: &str, week: i32) -> Row {
    vec![("site_id", text(SITE)), ("player_id", text(alias)), ("club_id", text("driver")), ("week", Value::Day(week))]
}

/// Publishes everything into a new lake below `folder`.
pub fn lake_with(folder: &Path, tables: &[(TableSchema, Vec<Row>)]) -> lake::Lake {
    let lake = open(folder);
    for (schema, rows) in tables {
        publish(&lake, schema, rows);
    }
    lake
}

fn open(folder: &Path) -> lake::Lake {
    lake::Lake::open(files::Files::new(), &folder.join("lake"), &folder.join("staging"), SITE).expect("a lake")
}

/// Publishes rows as a job would: one partition a month, or one in all.
fn publish(lake: &lake::Lake, schema: &TableSchema, rows: &[Row]) {
    let mut by_month: BTreeMap<Option<Month>, Vec<Row>> = BTreeMap::new();
    for row in rows {
        let day = row.iter().find_map(|(name, value)| match value {
            Value::Day(day) if Some(*name) == schema.partition_day.as_deref() => Some(*day),
            _ => None,
        });
        by_month.entry(day.map(Month::of_day)).or_default().push(row.clone());
    }
    let provenance =
        lake::Provenance { writer: "test".into(), run_id: "1".into(), created_micros: 0, extra: Vec::new() };
    for (month, rows) in by_month {
        lake.replace_partition(schema, month, &[batch_of(schema, &rows)], &provenance).expect("published");
    }
}
