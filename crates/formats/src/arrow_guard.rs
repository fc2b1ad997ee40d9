//! A look at the messages of an Arrow file before its reader trusts them: what they state must be there, and what is packed must not
//! unpack to more than it states, since the reader reserves memory by these statements.

use arrow_ipc::{CompressionType, Message, RecordBatch, root_as_message};

use crate::file_fault::{Budget, FileFault};
use crate::rule::Rule;

/// Marks the begin of each message (Arrow columnar format, "Encapsulated message format").
pub(crate) const CONTINUATION: [u8; 4] = [0xff; 4];
/// Bytes before the metadata of a message: mark and length.
pub(crate) const PREFIX: usize = 8;
/// Bytes that state the unpacked length before each packed buffer; -1 stands for a buffer that is not packed.
const LENGTH: usize = 8;

fn bad(message: impl Into<String>) -> FileFault {
    FileFault::new(Rule::BadColumnFile, message)
}

/// A message with its body, inside the bytes of a file.
pub(crate) struct Envelope<'a> {
    pub message: Message<'a>,
    pub body: &'a [u8],
    /// Bytes of prefix, metadata and body.
    pub length: usize,
}

/// What stands at a place of a stream.
pub(crate) enum Next<'a> {
    Message(Envelope<'a>),
    End,
    /// The bytes end within a message.
    CutShort,
}

/// The message that a place of a stream holds.
pub(crate) fn next_message(bytes: &[u8]) -> Result<Next<'_>, FileFault> {
    if bytes.is_empty() {
        return Ok(Next::End);
    }
    let Some((prefix, rest)) = bytes.split_first_chunk::<PREFIX>() else { return Ok(Next::CutShort) };
    if prefix[..4] != CONTINUATION {
        return Err(bad("the Arrow file is damaged: no message stands where one should"));
    }
    let length = u32::from_le_bytes([prefix[4], prefix[5], prefix[6], prefix[7]]) as usize;
    if length == 0 {
        return Ok(Next::End);
    }
    let Some(metadata) = rest.get(..length) else { return Ok(Next::CutShort) };
    let message =
        root_as_message(metadata).map_err(|error| bad(format!("a message of the Arrow file is damaged: {error}")))?;
    let body_length = usize::try_from(message.bodyLength()).map_err(|_| bad("a message states a length below zero"))?;
    let Some(body) = rest[length..].get(..body_length) else { return Ok(Next::CutShort) };
    Ok(Next::Message(Envelope { message, body, length: PREFIX + length + body_length }))
}

/// Takes what reading the message needs off the budget. `words` counts the bytes of dictionaries so far.
pub(crate) fn check_message(envelope: &Envelope<'_>, budget: &Budget, words: &mut usize) -> Result<(), FileFault> {
    if let Some(batch) = envelope.message.header_as_record_batch() {
        check_batch(&batch, envelope.body, budget)?;
    } else if let Some(dictionary) = envelope.message.header_as_dictionary_batch()
        && let Some(batch) = dictionary.data()
    {
        *words = words.saturating_add(check_batch(&batch, envelope.body, budget)?);
        // Further words are appended to a copy of all words so far.
        if dictionary.isDelta() && !budget.spend(*words) {
            return Err(budget.fault());
        }
    }
    Ok(())
}

/// Bytes that the buffers of a batch take once they are unpacked.
fn check_batch(batch: &RecordBatch<'_>, body: &[u8], budget: &Budget) -> Result<usize, FileFault> {
    let packing = batch.compression().map(|packing| packing.codec());
    if let Some(other) = packing.filter(|codec| !matches!(*codec, CompressionType::LZ4_FRAME | CompressionType::ZSTD)) {
        let message = format!("the buffers are packed with codec {}, which is not read", other.0);
        return Err(FileFault::new(Rule::UnknownCompression, message));
    }
    let mut total = 0_usize;
    for buffer in batch.buffers().into_iter().flatten() {
        let place = usize::try_from(buffer.offset()).ok().zip(usize::try_from(buffer.length()).ok());
        let bytes = place.and_then(|(start, length)| body.get(start..start.checked_add(length)?));
        let bytes = bytes.ok_or_else(|| bad("a buffer of the Arrow file lies outside its message"))?;
        let needed = match packing {
            Some(codec) if !bytes.is_empty() => unpacked_length(bytes, codec)?,
            _ => bytes.len(),
        };
        // Counted even where the reader need not copy: buffers may lie upon each other, and unaligned ones are copied.
        if !budget.spend(needed) {
            return Err(budget.fault());
        }
        total = total.saturating_add(needed);
    }
    Ok(total)
}

fn unpacked_length(buffer: &[u8], codec: CompressionType) -> Result<usize, FileFault> {
    let Some((stated, packed)) = buffer.split_first_chunk::<LENGTH>() else {
        return Err(bad("a packed buffer of the Arrow file is too short"));
    };
    let stated = match i64::from_le_bytes(*stated) {
        -1 => return Ok(packed.len()),
        length => usize::try_from(length).map_err(|_| bad("a packed buffer states a length below zero"))?,
    };
    // The reader unpacks LZ4 to its end and compares lengths afterwards; zstd stops at the stated length.
    if codec == CompressionType::LZ4_FRAME && stated > 0 {
        let (most, block) =
            lz4_bound(packed).ok_or_else(|| bad("a packed buffer of the Arrow file is no LZ4 frame"))?;
        if most > stated.saturating_add(block) {
            return Err(bad("a packed buffer of the Arrow file unpacks to more than it states"));
        }
    }
    Ok(stated)
}

/// Most bytes that an LZ4 frame can unpack to, and the size of its blocks (LZ4 frame format 1.6.1).
fn lz4_bound(frame: &[u8]) -> Option<(usize, usize)> {
    const MAGIC: [u8; 4] = 0x184d_2204_u32.to_le_bytes();
    let (magic, rest) = frame.split_first_chunk::<4>()?;
    let (flags, sizes) = (*rest.first()?, *rest.get(1)?);
    if *magic != MAGIC {
        return None;
    }
    let block = match sizes >> 4 & 7 {
        4 => 64 << 10,
        5 => 256 << 10,
        6 => 1 << 20,
        7 => 4 << 20,
        _ => return None,
    };
    let has = |bit: u8| usize::from(flags >> bit & 1);
    // Descriptor: two bytes, perhaps content size and dictionary, a checksum.
    let mut place = 2 + 8 * has(3) + 4 * has(0) + 1;
    let mut most = 0_usize;
    loop {
        let size: [u8; 4] = rest.get(place..place.checked_add(4)?)?.try_into().ok()?;
        let size = u32::from_le_bytes(size);
        if size == 0 {
            return Some((most, block));
        }
        // The highest bit says that the block is stored as it is.
        let length = (size & 0x7fff_ffff) as usize;
        most = most.checked_add(if size >> 31 == 1 { length } else { block })?;
        place = place.checked_add(4 + length + 4 * has(4))?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lz4_frames_are_bounded_without_unpacking() {
        // [derived from the LZ4 frame format: version 01, independent blocks, 64 KiB; one packed and one stored block]
        let mut frame = vec![0x04, 0x22, 0x4d, 0x18, 0x60, 0x40, 0x82];
        frame.extend([3, 0, 0, 0, 1, 2, 3]);
        frame.extend([2, 0, 0, 0x80, 1, 2]);
        frame.extend([0; 4]);
        assert_eq!(lz4_bound(&frame), Some((65_538, 65_536)));
        for cut in 0..frame.len() {
            assert_eq!(lz4_bound(&frame[..cut]), None, "cut at {cut}");
        }
    }
}
