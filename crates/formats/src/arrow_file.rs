//! Opens Arrow IPC files and streams (Feather version 2 is an Arrow file).

use std::collections::{HashMap, VecDeque};
use std::ops::Range;

use arrow::array::ArrayRef;
use arrow::buffer::Buffer;
use arrow::datatypes::{Schema, SchemaRef};
use arrow::error::ArrowError;
use arrow_ipc::convert::fb_to_schema;
use arrow_ipc::reader::{read_dictionary, read_record_batch};
use arrow_ipc::{Endianness, KeyValue, root_as_footer};

use crate::arrow_guard::{CONTINUATION, Envelope, Next, check_message, next_message};
use crate::columnar::{NextBatch, Opened};
use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault, guarded};
use crate::rule::Rule;

/// At both ends of a file; at the begin two bytes of padding follow.
const MAGIC: &[u8] = b"ARROW1";
const FIRST_VERSION: &[u8] = b"FEA1";
/// Footer length and magic.
const TRAILER: usize = 10;
const END_OF_STREAM: [u8; 8] = [0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0];

fn bad(message: impl Into<String>) -> FileFault {
    FileFault::new(Rule::BadColumnFile, message)
}

fn damaged(error: &ArrowError) -> FileFault {
    bad(format!("the Arrow file is damaged: {error}"))
}

/// Where messages stand.
enum Places {
    /// One behind another from here on.
    Stream(usize),
    /// Where the footer says, dictionaries first.
    Listed(VecDeque<Range<usize>>),
}

struct ArrowReader<'a> {
    bytes: &'a [u8],
    /// The same bytes as the arrays share them.
    shared: Buffer,
    schema: SchemaRef,
    dictionaries: HashMap<i64, ArrayRef>,
    /// Bytes of all dictionaries so far.
    words: usize,
    places: Places,
    limits: &'a ParseLimits,
    budget: &'a Budget,
}

/// Opens a file or stream.
pub(crate) fn open<'a>(bytes: &'a [u8], limits: &'a ParseLimits, budget: &'a Budget) -> Result<Opened<'a>, FileFault> {
    let mut metadata = Vec::new();
    let (schema, places) = guarded(Rule::BadColumnFile, || {
        if bytes.starts_with(MAGIC) {
            open_file(bytes, limits, &mut metadata)
        } else if bytes.starts_with(&CONTINUATION) {
            open_stream(bytes)
        } else if bytes.starts_with(FIRST_VERSION) {
            Err(bad("it is a Feather file of version 1; only version 2 is read"))
        } else {
            Err(bad("it is no Arrow file"))
        }
    })?;
    metadata.extend(schema.metadata().iter().map(|(key, value)| (key.clone(), value.clone())));
    // The schema keeps them without order.
    metadata.sort();
    let schema: SchemaRef = schema.into();
    let mut reader = ArrowReader {
        bytes,
        shared: Buffer::from(bytes.to_vec()),
        schema: schema.clone(),
        dictionaries: HashMap::new(),
        words: 0,
        places,
        limits,
        budget,
    };
    let next = move || guarded(Rule::BadColumnFile, || reader.next_batch());
    Ok(Opened { schema, metadata, next: Box::new(next) })
}

fn open_stream(bytes: &[u8]) -> Result<(Schema, Places), FileFault> {
    let Next::Message(envelope) = next_message(bytes)? else {
        return Err(bad("the Arrow stream is cut short: its schema is missing"));
    };
    let schema = envelope.message.header_as_schema().ok_or_else(|| bad("the Arrow stream begins without a schema"))?;
    Ok((read_schema(schema)?, Places::Stream(envelope.length)))
}

fn open_file(
    bytes: &[u8],
    limits: &ParseLimits,
    metadata: &mut Vec<(String, String)>,
) -> Result<(Schema, Places), FileFault> {
    let Some((body, trailer)) = bytes.split_last_chunk::<TRAILER>().filter(|(_, trailer)| trailer.ends_with(MAGIC))
    else {
        return Err(bad("the Arrow file is cut short: its footer is missing"));
    };
    let length = u32::from_le_bytes([trailer[0], trailer[1], trailer[2], trailer[3]]) as usize;
    let footer = body.len().checked_sub(length).map(|start| &body[start..]);
    let footer = footer.ok_or_else(|| bad("the Arrow file is damaged: its footer is longer than the file"))?;
    let footer =
        root_as_footer(footer).map_err(|error| bad(format!("the footer of the Arrow file is damaged: {error}")))?;
    for pair in footer.custom_metadata().into_iter().flatten().take(limits.max_fields) {
        metadata.extend(entry(&pair));
    }
    let schema = footer.schema().ok_or_else(|| bad("the footer of the Arrow file holds no schema"))?;
    let mut places = VecDeque::new();
    for block in footer.dictionaries().into_iter().flatten().chain(footer.recordBatches().into_iter().flatten()) {
        let lengths = usize::try_from(block.metaDataLength()).ok().zip(usize::try_from(block.bodyLength()).ok());
        let place = usize::try_from(block.offset()).ok().zip(lengths).and_then(|(start, (metadata, body))| {
            let end = start.checked_add(metadata)?.checked_add(body)?;
            (end <= bytes.len()).then_some(start..end)
        });
        places.push_back(place.ok_or_else(|| bad("a batch of the Arrow file lies outside the file"))?);
    }
    Ok((read_schema(schema)?, Places::Listed(places)))
}

fn entry(pair: &KeyValue<'_>) -> Option<(String, String)> {
    Some((pair.key()?.to_owned(), pair.value()?.to_owned()))
}

fn read_schema(schema: arrow_ipc::Schema<'_>) -> Result<Schema, FileFault> {
    if schema.endianness() != Endianness::Little {
        return Err(bad("the Arrow file is written for processors of the other byte order"));
    }
    Ok(fb_to_schema(schema))
}

impl ArrowReader<'_> {
    fn next_batch(&mut self) -> Result<NextBatch, FileFault> {
        loop {
            let start = match &mut self.places {
                Places::Stream(place) => *place,
                Places::Listed(places) => match places.pop_front() {
                    Some(place) => place.start,
                    None => return Ok(NextBatch::End),
                },
            };
            let envelope = match next_message(&self.bytes[start.min(self.bytes.len())..])? {
                Next::Message(envelope) => envelope,
                Next::End => return Ok(NextBatch::End),
                Next::CutShort if matches!(self.places, Places::Stream(_)) => return Ok(NextBatch::CutShort),
                Next::CutShort => return Err(bad("a batch of the Arrow file lies outside the file")),
            };
            if let Places::Stream(place) = &mut self.places {
                *place += envelope.length;
            }
            check_message(&envelope, self.budget, &mut self.words)?;
            if let Some(batch) = self.read_message(&envelope, start)? {
                return Ok(NextBatch::Batch(batch));
            }
        }
    }

    fn read_message(
        &mut self,
        envelope: &Envelope<'_>,
        start: usize,
    ) -> Result<Option<arrow::record_batch::RecordBatch>, FileFault> {
        let message = &envelope.message;
        let body_start = start + envelope.length - envelope.body.len();
        let body = self.shared.slice_with_length(body_start, envelope.body.len());
        if let Some(batch) = message.header_as_record_batch() {
            let schema = self.schema.clone();
            let batch = read_record_batch(&body, batch, schema, &self.dictionaries, None, &message.version());
            return batch.map(Some).map_err(|error| damaged(&error));
        }
        if let Some(dictionary) = message.header_as_dictionary_batch() {
            if self.dictionaries.len() > self.limits.max_fields {
                return Err(bad(format!("the Arrow file has more than {} dictionaries", self.limits.max_fields)));
            }
            read_dictionary(&body, dictionary, &self.schema, &mut self.dictionaries, &message.version())
                .map_err(|error| damaged(&error))?;
        }
        Ok(None)
    }
}

/// Whether a file or stream that ends in these bytes looks finished.
pub(crate) fn is_complete(tail: &[u8]) -> bool {
    if tail.ends_with(MAGIC) || tail.ends_with(&END_OF_STREAM) {
        return true;
    }
    // A stream may end without its mark, and the last bytes alone do not show a begin.
    !(tail.starts_with(MAGIC) || tail.starts_with(&CONTINUATION))
}
