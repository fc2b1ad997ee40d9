//! Column files made to do harm: bombs of every packing, sizes and counts that lie.

use std::sync::Arc;

use arrow::array::*;
use arrow::datatypes::{Field, Fields, Int32Type};
use arrow_ipc::CompressionType;
use formats::{PackSet, ParseLimits, ParsedFile, SiteContext};
use parquet::basic::{Compression, Encoding, GzipLevel, ZstdLevel};
use parquet::file::properties::{EnabledStatistics, WriterProperties};

use crate::columns::{arrow_file, arrow_stream, batch, pack, parquet, parquet_with, parse, refusal};
use crate::{only, rules, site, sound};

fn parse_within(set: &PackSet, bytes: &[u8], limits: ParseLimits) -> ParsedFile {
    only(set).parse("any.bin", bytes, &SiteContext { limits, ..site() })
}

/// Limits of a small server's small share.
const NARROW: ParseLimits = ParseLimits {
    max_file_bytes: 8 << 20,
    max_line_bytes: 64 << 10,
    max_fields: 50,
    max_rows: 1_000,
    max_depth: 8,
    max_unpacked_bytes: 4 << 20,
};

#[test]
fn column_files_made_to_fill_the_memory_are_refused() {
    let long = "x".repeat(32 << 10);
    let words: DictionaryArray<Int32Type> = std::iter::repeat_n(long.as_str(), 900).collect();
    let shared = batch(vec![("n", Arc::new(words))]);
    let many = batch(vec![("v", Arc::new(Int64Array::from(vec![1; 5_000])))]);
    let wide = batch((0..60).map(|_| ("n", Arc::new(Int64Array::from(vec![1])) as ArrayRef)).collect());
    let blown = batch(vec![("n", Arc::new(StringArray::from(vec!["x".repeat(5 << 20)])))]);
    let mut nested: ArrayRef = Arc::new(Int64Array::from(vec![1]));
    for _ in 0..20 {
        let members: Fields = vec![Field::new("m", nested.data_type().clone(), true)].into();
        nested = Arc::new(StructArray::new(members, vec![nested], None));
    }
    let nested = batch(vec![("n", nested)]);
    let gzip = WriterProperties::builder().set_compression(Compression::GZIP(GzipLevel::default())).build();
    let zstd = WriterProperties::builder().set_compression(Compression::ZSTD(ZstdLevel::default())).build();
    for (name, engine, bytes, rule) in [
        ("one word in each row", "parquet", parquet(&shared), "unpacks-too-large"),
        ("one word in each row", "arrow", arrow_stream(std::slice::from_ref(&shared), None), "unpacks-too-large"),
        ("rows", "parquet", parquet(&many), "too-many-rows"),
        ("rows", "arrow", arrow_file(&[many], None), "too-many-rows"),
        ("columns", "arrow", arrow_file(&[wide], None), "too-many-fields"),
        ("a gzip bomb", "parquet", parquet_with(std::slice::from_ref(&blown), gzip), "unpacks-too-large"),
        ("a zstd bomb", "parquet", parquet_with(std::slice::from_ref(&blown), zstd), "unpacks-too-large"),
        (
            "an lz4 bomb",
            "arrow",
            arrow_file(std::slice::from_ref(&blown), Some(CompressionType::LZ4_FRAME)),
            "unpacks-too-large",
        ),
        ("a zstd bomb", "arrow", arrow_stream(&[blown], Some(CompressionType::ZSTD)), "unpacks-too-large"),
        ("nesting", "parquet", parquet(&nested), "too-deep"),
    ] {
        let file = parse_within(&pack(engine, "n", "v"), &bytes, NARROW);
        assert_eq!(refusal(&file).0, rule, "{name} in {engine}: {:?}", refusal(&file));
    }
    let deep = parse_within(&pack("arrow", "n", "v"), &arrow_file(&[nested], None), NARROW);
    assert_eq!(rules(&deep).last(), Some(&(1, "unreadable-value")), "nesting in arrow is bounded by its own reader");
}

/// Replaces all of one run of bytes by another of the same length.
fn replaced(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let places: Vec<usize> = (0..bytes.len() - from.len()).filter(|place| bytes[*place..].starts_with(from)).collect();
    assert!(!places.is_empty(), "nothing to replace");
    for place in places {
        bytes[place..place + to.len()].copy_from_slice(to);
    }
    bytes
}

#[test]
fn sizes_and_counts_that_lie_reserve_nothing() {
    // Unpacked lengths of Arrow buffers: sixteen bytes of two numbers, said to be 2^60.
    for codec in [CompressionType::LZ4_FRAME, CompressionType::ZSTD] {
        let numbers = batch(vec![("v", Arc::new(Int64Array::from(vec![7; 1_000])))]);
        let bytes = arrow_file(&[numbers], Some(codec));
        let lying = replaced(&bytes, &8_000_u64.to_le_bytes(), &(1_u64 << 60).to_le_bytes());
        assert_eq!(refusal(&parse(&pack("arrow", "n", "v"), &lying)).0, "unpacks-too-large", "{codec:?}");
        let lying = replaced(&bytes, &8_000_u64.to_le_bytes(), &64_u64.to_le_bytes());
        assert_eq!(refusal(&parse(&pack("arrow", "n", "v"), &lying)).0, "bad-column-file", "{codec:?}");
    }
    // Texts with counted lengths, where the count inside the page says more than the page's header.
    for encoding in [Encoding::DELTA_LENGTH_BYTE_ARRAY, Encoding::DELTA_BYTE_ARRAY] {
        let names = batch(vec![("n", Arc::new(StringArray::from(vec!["Ada"; 77])))]);
        let properties = WriterProperties::builder()
            .set_dictionary_enabled(false)
            .set_statistics_enabled(EnabledStatistics::None)
            .set_encoding(encoding)
            .build();
        let bytes = parquet_with(&[names.project(&[1]).expect("one column")], properties);
        let set = sound(
            "name = \"small\"\nversion = \"1\"\nengine = \"parquet\"\n[schema]\nfields = [\"n\"]\n\
             [time]\nparts = [{ field = \"n\" }]\nepochUnit = \"s\"\n",
        );
        assert_eq!(parse(&set, &bytes).rows_rejected(), 77, "Ada is no time, but read");
        // Block of 128 numbers in 4 parts, 77 numbers; with the byte behind it becomes 895 or more.
        let lying = replaced(&bytes, &[0x80, 0x01, 0x04, 77], &[0x80, 0x01, 0x04, 0xff]);
        assert_eq!(refusal(&parse(&set, &lying)).0, "bad-column-file", "{encoding:?}");
    }
    // A footer that states more rows than there are: 77 as a zigzag varint, said to be 8191.
    let numbers = batch(vec![("v", Arc::new(Int64Array::from(vec![7; 77])))]);
    let lying = replaced(&parquet(&numbers), &[0x16, 0x9a, 0x01], &[0x16, 0xfe, 0x7f]);
    assert_eq!(refusal(&parse(&pack("parquet", "n", "v"), &lying)).0, "bad-column-file");
}
