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
