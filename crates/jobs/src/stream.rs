//! The one call on a result stream that we need, without a library of stream helpers.

use std::future::poll_fn;

use arrow::array::RecordBatch;
use datafusion::error::DataFusionError;
use datafusion::physical_plan::SendableRecordBatchStream;

/// The next batch of a result, `None` at its end.
pub(crate) async fn next_batch(stream: &mut SendableRecordBatchStream) -> Option<Result<RecordBatch, DataFusionError>> {
    poll_fn(|context| stream.as_mut().poll_next(context)).await
}
