//! Rows to Arrow record batches of the published schemas.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use arrow::error::ArrowError;

use crate::datasets;
use crate::row::{DeviceRow, ImportRow, MarkRow, RejectRow, ShotRow};
use crate::{Quantity, TableSchema};

/// Collects columns in the order they are pushed; `finish` checks them against the schema.
struct Columns(Vec<ArrayRef>);

impl Columns {
    fn text<'a>(&mut self, values: impl Iterator<Item = Option<&'a str>>) {
        self.0.push(Arc::new(values.collect::<StringArray>()));
    }

    fn integer(&mut self, values: impl Iterator<Item = Option<i64>>) {
        self.0.push(Arc::new(values.collect::<Int64Array>()));
    }

    fn real(&mut self, values: impl Iterator<Item = Option<f64>>) {
        self.0.push(Arc::new(values.collect::<Float64Array>()));
    }

    fn flag(&mut self, values: impl Iterator<Item = Option<bool>>) {
        self.0.push(Arc::new(values.collect::<BooleanArray>()));
    }

    fn day(&mut self, values: impl Iterator<Item = i32>) {
        self.0.push(Arc::new(Date32Array::from_iter_values(values)));
    }

    fn instant(&mut self, values: impl Iterator<Item = Option<i64>>) {
        self.0.push(Arc::new(values.collect::<TimestampMicrosecondArray>().with_timezone("UTC")));
    }

    fn finish(self, table: &TableSchema) -> Result<RecordBatch, ArrowError> {
        RecordBatch::try_new(table.arrow_schema(), self.0)
    }
}

/// Shots as one batch of the `shots` schema.
pub fn shots_batch(rows: &[ShotRow]) -> Result<RecordBatch, ArrowError> {
    let mut columns = Columns(Vec::new());
    let parsed = || rows.iter().map(|row| &row.parsed);
    columns.text(rows.iter().map(|row| Some(row.shot_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.site_id.as_str())));
    columns.text(parsed().map(|shot| shot.bay.as_deref()));
    columns.text(parsed().map(|shot| shot.session_text.as_deref()));
    columns.text(rows.iter().map(|row| row.player_id.as_deref()));
    columns.integer(parsed().map(|shot| shot.hand.map(crate::Hand::sign)));
    columns.text(parsed().map(|shot| shot.club_id.as_deref()));
    columns.text(parsed().map(|shot| shot.club_kind.as_deref()));
    columns.text(parsed().map(|shot| shot.ball_kind.as_deref()));
    columns.text(parsed().map(|shot| Some(shot.intent.word())));
    columns.instant(parsed().map(|shot| Some(shot.struck_at)));
    columns.day(parsed().map(|shot| shot.local_date));
    columns.text(parsed().map(|shot| Some(shot.zone.as_str())));
    columns.text(parsed().map(|shot| shot.environment.as_deref()));
    for quantity in Quantity::all() {
        columns.real(parsed().map(|shot| shot.measures.get(quantity)));
        if quantity == Quantity::StrikeUpMm {
            columns.text(parsed().map(|shot| shot.strike_source.map(crate::StrikeSource::word)));
        }
    }
    columns.text(rows.iter().map(|row| Some(row.source_file_id.as_str())));
    columns.integer(parsed().map(|shot| Some(shot.source_row)));
    columns.text(rows.iter().map(|row| Some(row.format.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format_version.as_str())));
    columns.integer(rows.iter().map(|row| Some(row.import_sequence)));
    columns.instant(rows.iter().map(|row| Some(row.imported_at)));
    let quality: Vec<Option<String>> =
        parsed().map(|shot| (!shot.quality.is_empty()).then(|| shot.quality.join(";"))).collect();
    columns.text(quality.iter().map(Option::as_deref));
    let recorded = || rows.iter().map(|row| &row.recorded);
    columns.text(recorded().map(|recorded| recorded.player_id.as_deref()));
    columns.integer(recorded().map(|recorded| recorded.hand.map(crate::Hand::sign)));
    columns.text(recorded().map(|recorded| recorded.club_id.as_deref()));
    columns.text(recorded().map(|recorded| recorded.club_kind.as_deref()));
    columns.text(recorded().map(|recorded| Some(recorded.intent.word())));
    columns.finish(&datasets::shots())
}

/// Strike marks as one batch of the `strike_marks` schema.
pub fn strike_marks_batch(rows: &[MarkRow]) -> Result<RecordBatch, ArrowError> {
    let mut columns = Columns(Vec::new());
    let parsed = || rows.iter().map(|row| &row.parsed);
    columns.text(rows.iter().map(|row| Some(row.mark_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.site_id.as_str())));
    columns.text(parsed().map(|mark| mark.bay.as_deref()));
    columns.text(parsed().map(|mark| mark.session_text.as_deref()));
    columns.text(rows.iter().map(|row| row.player_id.as_deref()));
    columns.text(parsed().map(|mark| mark.club_id.as_deref()));
    columns.instant(parsed().map(|mark| Some(mark.noted_at)));
    columns.day(parsed().map(|mark| mark.local_date));
    columns.text(parsed().map(|mark| Some(mark.zone.as_str())));
    columns.real(parsed().map(|mark| Some(mark.time_sd_s)));
    columns.real(parsed().map(|mark| Some(mark.strike_toe_mm)));
    columns.real(parsed().map(|mark| mark.strike_up_mm));
    columns.real(parsed().map(|mark| Some(mark.strike_sd_mm)));
    columns.text(rows.iter().map(|row| Some(row.source_file_id.as_str())));
    columns.integer(parsed().map(|mark| Some(mark.source_row)));
    columns.text(rows.iter().map(|row| Some(row.format.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format_version.as_str())));
    columns.integer(rows.iter().map(|row| Some(row.import_sequence)));
    columns.instant(rows.iter().map(|row| Some(row.imported_at)));
    let quality: Vec<Option<String>> =
        parsed().map(|mark| (!mark.quality.is_empty()).then(|| mark.quality.join(";"))).collect();
    columns.text(quality.iter().map(Option::as_deref));
    columns.text(rows.iter().map(|row| row.recorded_player_id.as_deref()));
    columns.finish(&datasets::strike_marks())
}

/// Problems as one batch of the `rejects` schema.
pub fn rejects_batch(rows: &[RejectRow]) -> Result<RecordBatch, ArrowError> {
    let mut columns = Columns(Vec::new());
    let problems = || rows.iter().map(|row| &row.problem);
    columns.text(rows.iter().map(|row| Some(row.site_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.source_file_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.file_name.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format_version.as_str())));
    columns.text(problems().map(|problem| Some(problem.severity.word())));
    columns.integer(problems().map(|problem| Some(problem.line)));
    columns.text(problems().map(|problem| problem.column.as_deref()));
    columns.text(problems().map(|problem| Some(problem.text.as_str())));
    columns.text(problems().map(|problem| Some(problem.rule.as_str())));
    columns.text(problems().map(|problem| Some(problem.message.as_str())));
    columns.text(problems().map(|problem| Some(problem.hint.as_str())));
    columns.day(rows.iter().map(|row| row.local_date));
    columns.integer(rows.iter().map(|row| Some(row.import_sequence)));
    columns.instant(rows.iter().map(|row| Some(row.imported_at)));
    columns.finish(&datasets::rejects())
}

/// Imported files as one batch of the `imports` schema.
pub fn imports_batch(rows: &[ImportRow]) -> Result<RecordBatch, ArrowError> {
    let mut columns = Columns(Vec::new());
    columns.text(rows.iter().map(|row| Some(row.source_file_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.site_id.as_str())));
    columns.text(rows.iter().map(|row| Some(row.file_name.as_str())));
    columns.integer(rows.iter().map(|row| Some(row.file_bytes)));
    columns.text(rows.iter().map(|row| Some(row.format.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format_version.as_str())));
    columns.integer(rows.iter().map(|row| Some(row.rows_accepted)));
    columns.integer(rows.iter().map(|row| Some(row.rows_rejected)));
    columns.instant(rows.iter().map(|row| row.first_struck_at));
    columns.instant(rows.iter().map(|row| row.last_struck_at));
    columns.day(rows.iter().map(|row| row.local_date));
    columns.integer(rows.iter().map(|row| Some(row.import_sequence)));
    columns.instant(rows.iter().map(|row| Some(row.imported_at)));
    columns.real(rows.iter().map(|row| Some(row.duration_s)));
    columns.finish(&datasets::imports())
}

/// Device capabilities as one batch of the `devices` schema.
pub fn devices_batch(site_id: &str, rows: &[DeviceRow]) -> Result<RecordBatch, ArrowError> {
    let mut columns = Columns(Vec::new());
    columns.text(rows.iter().map(|_| Some(site_id)));
    columns.text(rows.iter().map(|row| Some(row.format.as_str())));
    columns.text(rows.iter().map(|row| Some(row.format_version.as_str())));
    columns.text(rows.iter().map(|row| Some(row.quantity.as_str())));
    columns.flag(rows.iter().map(|row| Some(row.measured)));
    columns.real(rows.iter().map(|row| row.standard_deviation));
    columns.text(rows.iter().map(|row| row.face_reference.as_deref()));
    columns.finish(&datasets::devices())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Intent, Measures, ParsedShot};

    #[test]
    fn a_shot_without_numbers_keeps_every_column() {
        let parsed = ParsedShot {
            source_row: 4,
            bay: None,
            session_text: None,
            shot_text: None,
            player_text: None,
            hand: None,
            club_id: None,
            club_kind: None,
            ball_kind: None,
            intent: Intent::Play,
            time_text: "t".into(),
            struck_at: 1,
            local_date: 0,
            zone: "Etc/UTC".into(),
            environment: None,
            measures: Measures::default(),
            strike_source: None,
            quality: vec!["first".into(), "second".into()],
        };
        let row = ShotRow {
            shot_id: "a".into(),
            site_id: "s".into(),
            player_id: None,
            parsed,
            recorded: crate::Recorded::default(),
            source_file_id: "f".into(),
            format: "p".into(),
            format_version: "1".into(),
            import_sequence: 1,
            imported_at: 2,
        };
        let batch = shots_batch(&[row]).expect("the columns fit the schema");
        assert_eq!(batch.num_columns(), datasets::shots().columns.len());
        let quality = batch.column_by_name("quality").expect("column").as_any().downcast_ref::<StringArray>();
        assert_eq!(quality.expect("text").value(0), "first;second");
        assert_eq!(shots_batch(&[]).expect("an empty batch").num_rows(), 0);
    }
}
