//! A look at a Parquet file before its reader trusts it. The reader reserves memory by sizes and counts that headers state, and
//! unpacks gzip pages to whatever they hold; a lie there ends the process by lack of memory, which nothing can catch. So every
//! header that states one is read here first.

use parquet::basic::{Compression, Encoding};
use parquet::column::page::Page;
use parquet::file::metadata::{ColumnChunkMetaData, ParquetMetaData};
use parquet::file::reader::{ChunkReader, FileReader, SerializedFileReader};

use crate::context::ParseLimits;
use crate::file_fault::{Budget, FileFault};
use crate::rule::Rule;
use crate::thrift::{Field, LIST, Thrift};

/// Greatest ratio of deflate (zlib technical details) and of the LZ4 block format, whose unpackers stop at no size.
const DEFLATE_RATIO: usize = 1_032;
const LZ4_RATIO: usize = 255;
/// Share of the bytes a file may unpack to that its footer may take: the reader's form of a footer is several times as large.
const FOOTER_SHARE: usize = 16;
/// Bytes that an item of a list takes until its row is read: levels and value.
const ITEM_BYTES: usize = 16;
/// Encodings by their numbers in the format.
const DELTA_LENGTH_BYTE_ARRAY: i64 = 6;
const DELTA_BYTE_ARRAY: i64 = 7;
const DICTIONARY_PAGE: i64 = 2;

pub(crate) fn bad(message: impl Into<String>) -> FileFault {
    FileFault::new(Rule::BadColumnFile, message)
}

/// Checks both ends of a file and the nesting of its schema, which the reader follows by recursion.
pub(crate) fn check_ends(bytes: &[u8], limits: &ParseLimits) -> Result<(), FileFault> {
    if bytes.starts_with(b"PARE") || (bytes.starts_with(b"PAR1") && bytes.ends_with(b"PARE")) {
        return Err(FileFault::new(Rule::LockedFile, "the Parquet file is encrypted"));
    }
    if !bytes.starts_with(b"PAR1") {
        return Err(bad("it is no Parquet file"));
    }
    let Some((body, tail)) = bytes.split_last_chunk::<8>().filter(|(_, tail)| tail.ends_with(b"PAR1")) else {
        return Err(bad("the Parquet file is cut short: its footer is missing"));
    };
    let length = u32::from_le_bytes([tail[0], tail[1], tail[2], tail[3]]) as usize;
    let Some(footer) = body.len().checked_sub(length).map(|start| &body[start..]) else {
        return Err(bad("the Parquet file is damaged: its footer is longer than the file"));
    };
    if length > limits.max_unpacked_bytes / FOOTER_SHARE {
        return Err(FileFault::new(Rule::UnpacksTooLarge, format!("the footer has {length} bytes")));
    }
    let depth = schema_depth(footer).ok_or_else(|| bad("the Parquet file is damaged: its footer cannot be read"))?;
    if depth > limits.max_depth {
        let message = format!("the columns nest {depth} deep, the limit is {}", limits.max_depth);
        return Err(FileFault::new(Rule::TooDeep, message));
    }
    Ok(())
}

/// Nesting of the schema: a list of elements, each with the count of its children (field 5), the root first.
fn schema_depth(footer: &[u8]) -> Option<usize> {
    const SCHEMA: i16 = 2;
    let mut deepest = None;
    Thrift::new(footer).structure(&mut [], |thrift, field| {
        if field != (Field { id: SCHEMA, kind: LIST }) {
            return thrift.skip(field.kind);
        }
        let mut open: Vec<i64> = Vec::new();
        let (_, count) = thrift.list()?;
        for _ in 0..count {
            let mut numbers = [None; 6];
            thrift.structure(&mut numbers, |thrift, field| thrift.skip(field.kind))?;
            open.push(numbers[5].unwrap_or(0));
            deepest = deepest.max(Some(open.len()));
            while open.last().is_some_and(|children| *children <= 0) {
                open.pop();
                if let Some(parent) = open.last_mut() {
                    *parent -= 1;
                }
            }
        }
        Some(())
    })?;
    deepest
}

/// What the pages of a file need.
#[derive(Debug, Default)]
pub(crate) struct PageNeeds {
    /// Largest page whose texts may be handed out many times over.
    pub largest_shared_page: usize,
}

/// Checks the header of every page against the bytes that are there and the bytes that may be unpacked.
pub(crate) fn check_pages<R: ChunkReader + Clone + 'static>(
    bytes: &[u8],
    source: &R,
    metadata: &ParquetMetaData,
    limits: &ParseLimits,
    budget: &Budget,
) -> Result<PageNeeds, FileFault> {
    let mut needs = PageNeeds::default();
    let items = Budget::new(limits);
    for (group, rows) in metadata.row_groups().iter().enumerate() {
        for (column, chunk) in rows.columns().iter().enumerate() {
            let name = chunk.column_path().string();
            let Some(pages) = chunk_bytes(bytes, chunk) else {
                return Err(bad(format!("the column \"{name}\" lies outside the file: it is damaged or cut short")));
            };
            let headers = check_chunk(pages, chunk, limits, budget)?;
            let is_list = chunk.column_descr().max_rep_level() > 0;
            if is_list && !items.spend(headers.values.saturating_mul(ITEM_BYTES + headers.largest_shared_page)) {
                return Err(items.fault());
            }
            needs.largest_shared_page = needs.largest_shared_page.max(headers.largest_shared_page);
            if headers.has_counted_texts {
                check_text_counts(source.clone(), group, column)?;
            }
        }
    }
    Ok(needs)
}

fn chunk_bytes<'a>(bytes: &'a [u8], chunk: &ColumnChunkMetaData) -> Option<&'a [u8]> {
    let start = chunk.dictionary_page_offset().unwrap_or(chunk.data_page_offset());
    let start = usize::try_from(start).ok()?;
    let length = usize::try_from(chunk.compressed_size()).ok()?;
    bytes.get(start..start.checked_add(length)?)
}

#[derive(Default)]
struct ChunkNeeds {
    values: usize,
    largest_shared_page: usize,
    has_counted_texts: bool,
}

fn check_chunk(
    pages: &[u8],
    chunk: &ColumnChunkMetaData,
    limits: &ParseLimits,
    budget: &Budget,
) -> Result<ChunkNeeds, FileFault> {
    let name = chunk.column_path().string();
    let ratio = match chunk.compression() {
        Compression::UNCOMPRESSED | Compression::SNAPPY | Compression::ZSTD(_) | Compression::LZ4_RAW => 1,
        Compression::GZIP(_) => DEFLATE_RATIO,
        Compression::LZ4 => LZ4_RATIO,
        codec @ (Compression::LZO | Compression::BROTLI(_)) => {
            let codec = format!("{codec:?}").split('(').next().unwrap_or_default().to_lowercase();
            let message = format!("the column \"{name}\" is compressed with {codec}, which is not read");
            return Err(FileFault::new(Rule::UnknownCompression, message));
        }
    };
    let mut needs = ChunkNeeds::default();
    let mut thrift = Thrift::new(pages);
    while thrift.left() > 0 {
        let page = page_header(&mut thrift).filter(|page| page.packed <= thrift.left());
        let page = page.ok_or_else(|| bad(format!("a page of the column \"{name}\" is damaged")))?;
        if ratio > 1 && page.packed.saturating_mul(ratio) > limits.max_unpacked_bytes {
            let message = format!(
                "a page of the column \"{name}\" has {} packed bytes, and this compression does not bound what they become",
                page.packed
            );
            return Err(FileFault::new(Rule::UnpacksTooLarge, message));
        }
        if !budget.spend(page.unpacked) {
            return Err(budget.fault());
        }
        if page.kind == DICTIONARY_PAGE {
            // A value takes a byte at least; the reader reserves by this count.
            if page.values > page.unpacked {
                return Err(bad(format!("a dictionary of the column \"{name}\" states more values than it has bytes")));
            }
        } else {
            needs.values = needs.values.saturating_add(page.values);
        }
        if page.kind == DICTIONARY_PAGE || page.encoding == DELTA_BYTE_ARRAY {
            needs.largest_shared_page = needs.largest_shared_page.max(page.unpacked);
        }
        needs.has_counted_texts |= matches!(page.encoding, DELTA_LENGTH_BYTE_ARRAY | DELTA_BYTE_ARRAY);
        thrift.pass(page.packed);
    }
    Ok(needs)
}

struct PageHeader {
    kind: i64,
    unpacked: usize,
    packed: usize,
    values: usize,
    encoding: i64,
}

/// A page header (parquet.thrift, `PageHeader`): fields 1 to 3 are kind and sizes; 5, 7 and 8 are the headers of data pages,
/// dictionary pages and data pages of version 2.
fn page_header(thrift: &mut Thrift<'_>) -> Option<PageHeader> {
    let mut numbers = [None; 5];
    let (mut values, mut encoding) = (None, None);
    thrift.structure(&mut numbers, |thrift, field| {
        let (values_field, encoding_field) = match field.id {
            5 | 7 => (1, 2),
            8 => (1, 4),
            _ => return thrift.skip(field.kind),
        };
        let mut inner = [None; 8];
        thrift.structure(&mut inner, |thrift, field| thrift.skip(field.kind))?;
        values = inner[values_field];
        encoding = inner[encoding_field];
        Some(())
    })?;
    let size = |number: Option<i64>| usize::try_from(i32::try_from(number?).ok()?).ok();
    Some(PageHeader {
        kind: numbers[1]?,
        unpacked: size(numbers[2])?,
        packed: size(numbers[3])?,
        values: size(values.or(Some(0)))?,
        encoding: encoding.unwrap_or(-1),
    })
}

/// Pages of texts with counted lengths state the count a second time inside, and the reader reserves by it. These pages are
/// unpacked once more to compare the counts; their sizes were checked.
fn check_text_counts<R: ChunkReader + 'static>(source: R, group: usize, column: usize) -> Result<(), FileFault> {
    let damaged = |error: parquet::errors::ParquetError| bad(format!("the Parquet file is damaged: {error}"));
    let reader = SerializedFileReader::new(source).map_err(damaged)?;
    let rows = reader.get_row_group(group).map_err(damaged)?;
    let descriptor = rows.metadata().column(column).column_descr_ptr();
    let mut pages = rows.get_column_page_reader(column).map_err(damaged)?;
    while let Some(page) = pages.get_next_page().map_err(damaged)? {
        let (buffer, values, level_bytes, encoding) = match &page {
            Page::DataPage { buf, num_values, encoding, .. } => {
                let levels = usize::from(descriptor.max_rep_level() > 0) + usize::from(descriptor.max_def_level() > 0);
                (buf, *num_values, level_bytes(buf, levels), *encoding)
            }
            Page::DataPageV2 { buf, num_values, encoding, def_levels_byte_len, rep_levels_byte_len, .. } => {
                let levels = def_levels_byte_len.checked_add(*rep_levels_byte_len);
                (buf, *num_values, levels.map(|levels| levels as usize), *encoding)
            }
            Page::DictionaryPage { .. } => continue,
        };
        // A prefix length for each text, then the length of the rest.
        let lists = match encoding {
            Encoding::DELTA_LENGTH_BYTE_ARRAY => 1,
            Encoding::DELTA_BYTE_ARRAY => 2,
            _ => continue,
        };
        let texts = level_bytes.and_then(|start| buffer.get(start..));
        let mut place = Thrift::new(texts.ok_or_else(|| bad("a page is shorter than its levels"))?);
        for _ in 0..lists {
            if pass_delta_list(&mut place).is_none_or(|count| count > u64::from(values)) {
                return Err(bad("a page states more texts inside than outside"));
            }
        }
    }
    Ok(())
}

/// Passes over a list of the encoding DELTA_BINARY_PACKED; its count.
fn pass_delta_list(place: &mut Thrift<'_>) -> Option<u64> {
    let block = place.varint()?;
    let parts = place.varint()?;
    let count = place.varint()?;
    place.number()?;
    let in_part = block.checked_div(parts)?;
    let mut left = count.saturating_sub(1);
    while left > 0 {
        place.number()?;
        let mut widths = Vec::new();
        for _ in 0..parts {
            widths.push(place.byte()?);
        }
        for width in widths {
            // Parts behind the last number are not written, whatever their width says.
            if left > 0 {
                let bytes = u64::from(width).checked_mul(in_part)? / 8;
                place.pass(usize::try_from(bytes).ok()?)?;
                // A part without numbers would never come to an end.
                left = left.saturating_sub(in_part.max(1));
            }
        }
        if parts == 0 {
            return None;
        }
    }
    Some(count)
}

/// Bytes of the levels of a page of version 1: each kind with its length before it.
fn level_bytes(page: &[u8], kinds: usize) -> Option<usize> {
    let mut start = 0_usize;
    for _ in 0..kinds {
        let length: [u8; 4] = page.get(start..start.checked_add(4)?)?.try_into().ok()?;
        start = start.checked_add(4)?.checked_add(usize::try_from(u32::from_le_bytes(length)).ok()?)?;
    }
    Some(start)
}
