//! Ad-hoc SQL over the lake.

use std::collections::BTreeMap;
use std::io::Write;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use arrow::array::RecordBatch;
use arrow::datatypes::SchemaRef;
use lake::Manifest;

use crate::engine::Engine;
use crate::error::JobsError;
use crate::output::{Output, ResultWriter};
use crate::sql;
use crate::stream::next_batch;

/// How a query ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuerySummary {
    /// Rows written.
    pub rows: u64,
    /// Whether the row limit cut the result.
    pub cut: bool,
}

enum Message {
    Schema(SchemaRef),
    Batch(RecordBatch),
    End,
}

impl Engine {
    /// Runs one read-only statement and writes its rows as they come. Blocks; from asynchronous code call it in a blocking
    /// task. The engine's row limit cuts the result, its time and memory limits are errors. Time that `out` takes does not
    /// count, so that a reader may pause.
    pub fn execute(
        self: &Arc<Self>,
        sql: &str,
        output: Output,
        out: &mut dyn Write,
    ) -> Result<QuerySummary, JobsError> {
        let (sender, receiver) = sync_channel(2);
        let stop = Arc::new(AtomicBool::new(false));
        let (engine, text, flag) = (Arc::clone(self), sql.to_owned(), Arc::clone(&stop));
        let task = self.runtime().spawn(async move {
            let last = engine.produce(&text, &sender, &flag).await.map(|()| Message::End);
            // Nobody listens any more where the result was cut or the writer failed.
            let _ = sender.send(last);
        });
        let result = self.consume(receiver, output, out);
        stop.store(true, Ordering::Relaxed);
        task.abort();
        result
    }

    fn consume(
        &self,
        receiver: Receiver<Result<Message, JobsError>>,
        output: Output,
        out: &mut dyn Write,
    ) -> Result<QuerySummary, JobsError> {
        let mut wait =
            Wait { receiver, seconds: self.limits().seconds, left: Duration::from_secs(self.limits().seconds) };
        let Message::Schema(schema) = wait.next()? else {
            return Err(JobsError::Engine("the query ended without a result".into()));
        };
        let mut writer = ResultWriter::new(output, &schema, out)?;
        let mut summary = QuerySummary { rows: 0, cut: false };
        while let Message::Batch(batch) = wait.next()? {
            let left = usize::try_from(self.limits().rows - summary.rows).unwrap_or(usize::MAX);
            summary.cut = batch.num_rows() > left;
            let part = batch.slice(0, batch.num_rows().min(left));
            summary.rows += part.num_rows() as u64;
            writer.write(&part)?;
            if summary.cut {
                break;
            }
        }
        writer.finish()?;
        Ok(summary)
    }

    async fn produce(
        &self,
        text: &str,
        sender: &SyncSender<Result<Message, JobsError>>,
        stop: &Arc<AtomicBool>,
    ) -> Result<(), JobsError> {
        let manifest = self.lake().manifest()?;
        let outcome = self.produce_from(&manifest, text, sender, stop).await;
        if outcome.is_err() && self.lake().manifest()?.generation != manifest.generation {
            // A file that is replaced while it is read makes an error that says nothing of the cause.
            let message = "the lake changed while the query read it".to_owned();
            return Err(JobsError::Limit { message, hint: "run the query again".into() });
        }
        outcome
    }

    async fn produce_from(
        &self,
        manifest: &Manifest,
        text: &str,
        sender: &SyncSender<Result<Message, JobsError>>,
        stop: &Arc<AtomicBool>,
    ) -> Result<(), JobsError> {
        let statement = sql::parse(text, &BTreeMap::new()).map_err(JobsError::Sql)?;
        let readable = self.all_datasets();
        let context = self.session(manifest, self.limits().memory_bytes, &readable, &|_| true, stop)?;
        let explained = |error| sql::explain(text, &error, &readable);
        let plan = self.plan(&context, statement, text, &readable).await?;
        let frame = context.execute_logical_plan(plan).await.map_err(explained)?;
        let mut stream = frame.execute_stream().await.map_err(explained)?;
        let mut listened_to = sender.send(Ok(Message::Schema(stream.schema()))).is_ok();
        while listened_to && let Some(batch) = next_batch(&mut stream).await {
            let batch = batch.map_err(explained)?;
            listened_to = sender.send(Ok(Message::Batch(batch))).is_ok();
        }
        Ok(())
    }
}

/// The waiting end of a query, with the time it may still wait. The limit is kept on this side, since one step of the engine
/// can take long without looking at a clock.
struct Wait {
    receiver: Receiver<Result<Message, JobsError>>,
    seconds: u64,
    left: Duration,
}

impl Wait {
    fn next(&mut self) -> Result<Message, JobsError> {
        let begin = Instant::now();
        let message = self.receiver.recv_timeout(self.left);
        self.left = self.left.saturating_sub(begin.elapsed());
        message.unwrap_or_else(|error| match error {
            RecvTimeoutError::Timeout => Err(Engine::out_of_time(self.seconds)),
            RecvTimeoutError::Disconnected => Err(JobsError::Engine("the work broke off".into())),
        })
    }
}

#[cfg(test)]
mod tests {
    use arrow::array::{Float64Array, StringArray};
    use files::Files;
    use lake::{Lake, Provenance};
    use shot::{Column, ColumnKind, Month, TableSchema};

    use super::*;
    use crate::EngineLimits;

    fn speeds() -> TableSchema {
        TableSchema {
            name: "speeds".into(),
            version: 1,
            description: "a speed by name and day".into(),
            columns: vec![
                Column::required("name", ColumnKind::Text, "", "a name"),
                Column::required("day", ColumnKind::Day, "", "a day"),
                Column::required("speed_mps", ColumnKind::Real, "m/s", "a speed"),
            ],
            key: vec!["name".into()],
            sort: vec!["name".into()],
            partition_day: Some("day".into()),
        }
    }

    fn put(lake: &Lake, month: &str, names: &[&str], speed: f64) {
        let month = Month::parse(month);
        let day = (0..40_000).find(|day| Some(Month::of_day(*day)) == month).expect("a day of the month");
        let rows = RecordBatch::try_new(
            speeds().arrow_schema(),
            vec![
                Arc::new(StringArray::from_iter_values(names)),
                Arc::new(arrow::array::Date32Array::from_value(day, names.len())),
                Arc::new(Float64Array::from_value(speed, names.len())),
            ],
        );
        let provenance =
            Provenance { writer: "test".into(), run_id: "test".into(), created_micros: 0, extra: Vec::new() };
        lake.replace_partition(&speeds(), month, &[rows.expect("rows")], &provenance).expect("published");
    }

    /// What a query reads by a manifest.
    fn read(engine: &Arc<Engine>, manifest: Manifest) -> Result<Vec<String>, JobsError> {
        let copy = Arc::clone(engine);
        engine.wait_for(60, |stop| async move {
            let sql = "SELECT name || ' ' || day || ' ' || speed_mps AS text FROM speeds ORDER BY name";
            let (sender, receiver) = sync_channel(100);
            copy.produce_from(&manifest, sql, &sender, &stop).await?;
            drop(sender);
            let mut texts = Vec::new();
            for message in receiver {
                if let Message::Batch(batch) = message? {
                    let column = arrow::compute::cast(batch.column(0), &arrow::datatypes::DataType::Utf8)?;
                    let column = column.as_any().downcast_ref::<StringArray>().expect("text").clone();
                    texts.extend(column.iter().flatten().map(str::to_owned));
                }
            }
            Ok(texts)
        })
    }

    #[test]
    fn a_query_reads_one_moment_though_every_partition_was_replaced_since() {
        let folder = tempfile::tempdir().expect("a folder");
        let root = folder.path();
        let lake =
            Arc::new(Lake::open(Files::new(), &root.join("lake"), &root.join("staging"), "north").expect("a lake"));
        put(&lake, "2026-01", &["lark", "wren"], 60.0);
        put(&lake, "2026-02", &["tern"], 61.0);
        let before = lake.manifest().expect("a manifest");
        put(&lake, "2026-01", &["wren"], 62.0);
        // The very same size in bytes, so that looking at sizes tells nothing.
        put(&lake, "2026-02", &["lark"], 61.5);
        let limits = EngineLimits { memory_bytes: 64 << 20, rows: 100, seconds: 60, spill_folder: root.join("spill") };
        let heads = Arc::new(impact::HeadBook { heads: Vec::new() });
        let engine = Engine::new(Arc::clone(&lake), heads, verdict::Settings::default(), limits).expect("an engine");
        let engine = Arc::new(engine.with_datasets(vec![speeds()]));
        let texts = read(&engine, before).expect("the older moment reads");
        assert_eq!(texts, ["lark 2026-01-01 60.0", "tern 2026-02-01 61.0", "wren 2026-01-01 60.0"]);
        let texts = read(&engine, lake.manifest().expect("a manifest")).expect("the moment of today reads");
        assert_eq!(texts, ["lark 2026-02-01 61.5", "wren 2026-01-01 62.0"]);
    }
}
