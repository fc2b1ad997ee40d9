//! What column files come in: every type, structures and lists, several codecs; and files made to do harm.

use std::sync::Arc;

use arrow::array::*;
use arrow::buffer::OffsetBuffer;
use arrow::datatypes::{DataType, Field, Fields, Int8Type, Int32Type, Schema};
use arrow_ipc::CompressionType;
use arrow_ipc::writer::{FileWriter, IpcWriteOptions, StreamWriter};
use formats::{PackSet, ParsedFile};
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, GzipLevel, ZstdLevel};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use shot::{Quantity, Severity};

use crate::{only, rules, site, sound};

/// A pack that shows one field as the player's text, and the ball speed as a number.
pub fn pack(engine: &str, text: &str, speed: &str) -> PackSet {
    sound(&format!(
        "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[schema]\nfields = [\"t\"]\noptionalFields = [\"{text}\", \"{speed}\"]\nfieldsMatch = \"subset\"\n\
         [time]\nparts = [{{ field = \"t\" }}]\nformat = [\"%Y-%m-%dT%H:%M:%S%.f\", \"%Y-%m-%dT%H:%M:%S%.f%:z\"]\nzone = \"UTC\"\n\
         [measures]\nball_speed_mps = {{ field = \"{speed}\", unit = \"m/s\", measured = true }}\n\
         [shot]\nplayer = {{ field = \"{text}\" }}\nsession = {{ preamble = \"Session\" }}\n"
    ))
}

pub fn parse(set: &PackSet, bytes: &[u8]) -> ParsedFile {
    only(set).parse("any.bin", bytes, &site())
}

pub fn refusal(file: &ParsedFile) -> (&str, &str) {
    let refusals: Vec<_> =
        file.problems.iter().filter(|problem| problem.line == 0 && problem.severity == Severity::Rejected).collect();
    let [refusal] = refusals.as_slice() else { panic!("one refusal: {:?}", file.problems) };
    (refusal.rule.as_str(), refusal.message.as_str())
}

fn texts(file: &ParsedFile) -> Vec<Option<&str>> {
    file.shots.iter().map(|shot| shot.player_text.as_deref()).collect()
}

fn speeds(file: &ParsedFile) -> Vec<Option<f64>> {
    file.shots.iter().map(|shot| shot.measures.get(Quantity::BallSpeedMps)).collect()
}

/// 2026-04-12T10:20:30Z [source: GNU date -u -d "2026-04-12 10:20:30" +%s].
const INSTANT: i64 = 1_775_989_230;

/// A batch with the times `t` and further columns.
pub fn batch(columns: Vec<(&str, ArrayRef)>) -> RecordBatch {
    let rows = columns[0].1.len();
    let times: ArrayRef = Arc::new(TimestampMillisecondArray::from(vec![INSTANT * 1_000; rows]));
    let all = std::iter::once(("t", times)).chain(columns).map(|(name, array)| (name, array, true));
    RecordBatch::try_from_iter_with_nullable(all).expect("a batch")
}

pub fn parquet_with(batches: &[RecordBatch], properties: WriterProperties) -> Vec<u8> {
    let mut writer = ArrowWriter::try_new(Vec::new(), batches[0].schema(), Some(properties)).expect("a writer");
    for batch in batches {
        writer.write(batch).expect("a batch");
    }
    writer.into_inner().expect("an end")
}

pub fn parquet(batch: &RecordBatch) -> Vec<u8> {
    parquet_with(std::slice::from_ref(batch), WriterProperties::default())
}

fn packed(codec: Option<CompressionType>) -> IpcWriteOptions {
    IpcWriteOptions::default().try_with_compression(codec).expect("a codec")
}

pub fn arrow_file(batches: &[RecordBatch], codec: Option<CompressionType>) -> Vec<u8> {
    let schema = batches[0].schema();
    let mut writer = FileWriter::try_new_with_options(Vec::new(), &schema, packed(codec)).expect("a writer");
    for batch in batches {
        writer.write(batch).expect("a batch");
    }
    writer.into_inner().expect("an end")
}

pub fn arrow_stream(batches: &[RecordBatch], codec: Option<CompressionType>) -> Vec<u8> {
    let schema = batches[0].schema();
    let mut writer = StreamWriter::try_new_with_options(Vec::new(), &schema, packed(codec)).expect("a writer");
    for batch in batches {
        writer.write(batch).expect("a batch");
    }
    writer.into_inner().expect("an end")
}

/// Two rows of speeds and names.
pub fn plain() -> RecordBatch {
    let names: ArrayRef = Arc::new(StringArray::from(vec![Some("Ada"), None]));
    let speeds: ArrayRef = Arc::new(Float64Array::from(vec![Some(50.5), Some(f64::NAN)]));
    batch(vec![("n", names), ("v", speeds)])
}

/// Every way in which these rows may be packed, with the engine that reads it.
pub fn every_packing(batches: &[RecordBatch]) -> Vec<(&'static str, String, Vec<u8>)> {
    let mut files = Vec::new();
    for codec in [
        Compression::UNCOMPRESSED,
        Compression::SNAPPY,
        Compression::GZIP(GzipLevel::default()),
        Compression::ZSTD(ZstdLevel::default()),
        Compression::LZ4,
        Compression::LZ4_RAW,
    ] {
        for version in [
            parquet::file::properties::WriterVersion::PARQUET_1_0,
            parquet::file::properties::WriterVersion::PARQUET_2_0,
        ] {
            let properties = WriterProperties::builder().set_compression(codec).set_writer_version(version).build();
            files.push(("parquet", format!("{codec:?} {version:?}"), parquet_with(batches, properties)));
        }
    }
    for codec in [None, Some(CompressionType::LZ4_FRAME), Some(CompressionType::ZSTD)] {
        files.push(("arrow", format!("file {codec:?}"), arrow_file(batches, codec)));
        files.push(("arrow", format!("stream {codec:?}"), arrow_stream(batches, codec)));
    }
    files
}

#[test]
pub fn every_packing_gives_the_same_rows() {
    for (engine, packing, bytes) in every_packing(&[plain(), plain()]) {
        let set = pack(engine, "n", "v");
        let file = parse(&set, &bytes);
        assert_eq!(rules(&file), [], "{packing}");
        assert_eq!(texts(&file), [Some("Ada"), None, Some("Ada"), None], "{packing}");
        assert_eq!(speeds(&file), [Some(50.5), None, Some(50.5), None], "{packing}");
        assert_eq!(file.shots.iter().map(|shot| shot.source_row).collect::<Vec<_>>(), [1, 2, 3, 4], "{packing}");
        assert!(file.shots.iter().all(|shot| shot.struck_at == INSTANT * 1_000_000), "{packing}");
        assert!(matches!(set.recognise("a.txt", &bytes), formats::Recognition::Match { .. }), "{packing}");
        assert!(only(&set).structural_end(&bytes), "{packing}");
        assert!(!only(&set).structural_end(&bytes[..bytes.len() - 3]), "{packing}");
    }
}

#[test]
fn every_type_has_a_text() {
    let decimal =
        |array: Decimal128Array| Arc::new(array.with_precision_and_scale(10, 2).expect("a scale")) as ArrayRef;
    let half = arrow::compute::cast(&Float32Array::from(vec![1.5]), &DataType::Float16).expect("a half");
    let run =
        RunArray::<Int32Type>::try_new(&Int32Array::from(vec![1]), &StringArray::from(vec!["run"])).expect("a run");
    let words: DictionaryArray<Int8Type> = vec!["word"].into_iter().collect();
    let zoned = TimestampMicrosecondArray::from(vec![INSTANT * 1_000_000 + 123_456]).with_timezone("Europe/Berlin");
    // [source: pyarrow 26.0.1, the same values by isoformat(); shortest decimal texts: Python repr and numpy.float32 repr]
    let cases: Vec<(&str, ArrayRef)> = vec![
        ("-7", Arc::new(Int8Array::from(vec![-7]))),
        ("65535", Arc::new(UInt16Array::from(vec![u16::MAX]))),
        ("9007199254740993", Arc::new(Int64Array::from(vec![9_007_199_254_740_993]))),
        ("18446744073709551615", Arc::new(UInt64Array::from(vec![u64::MAX]))),
        ("1.5", half),
        ("0.1", Arc::new(Float32Array::from(vec![0.1]))),
        ("0.1", Arc::new(Float64Array::from(vec![0.1]))),
        ("-12.50", decimal(Decimal128Array::from(vec![-1_250]))),
        ("true", Arc::new(BooleanArray::from(vec![true]))),
        ("plain", Arc::new(StringArray::from(vec!["plain"]))),
        ("large", Arc::new(LargeStringArray::from(vec!["large"]))),
        ("a view of more than twelve bytes", Arc::new(StringViewArray::from(vec!["a view of more than twelve bytes"]))),
        ("word", Arc::new(words)),
        ("2026-04-12", Arc::new(Date32Array::from(vec![20_555]))),
        ("2026-04-12", Arc::new(Date64Array::from(vec![20_555 * 86_400_000]))),
        ("10:00:00.000", Arc::new(Time32SecondArray::from(vec![36_000]))),
        ("10:00:00.123", Arc::new(Time32MillisecondArray::from(vec![36_000_123]))),
        ("10:00:00.123456", Arc::new(Time64MicrosecondArray::from(vec![36_000_123_456]))),
        ("10:00:00.123456789", Arc::new(Time64NanosecondArray::from(vec![36_000_123_456_789]))),
        ("2026-04-12T10:20:30.000", Arc::new(TimestampSecondArray::from(vec![INSTANT]))),
        ("2026-04-12T10:20:30.123", Arc::new(TimestampMillisecondArray::from(vec![INSTANT * 1_000 + 123]))),
        ("2026-04-12T10:20:30.123456+00:00", Arc::new(zoned)),
        ("2026-04-12T10:20:30.000000001", Arc::new(TimestampNanosecondArray::from(vec![INSTANT * 1_000_000_000 + 1]))),
        ("1969-12-31T23:59:59.999", Arc::new(TimestampMillisecondArray::from(vec![-1]))),
        ("26:03:05.500", Arc::new(DurationMillisecondArray::from(vec![93_785_500]))),
        ("-00:00:00.000001", Arc::new(DurationMicrosecondArray::from(vec![-1]))),
    ];
    for (text, array) in cases {
        let kind = array.data_type().to_string();
        let batch = batch(vec![("x", array)]);
        for (engine, bytes) in [("parquet", parquet(&batch)), ("arrow", arrow_file(&[batch], None))] {
            let file = parse(&pack(engine, "x", "v"), &bytes);
            assert_eq!(texts(&file), [Some(text)], "{kind} in {engine}: {:?}", file.problems);
        }
    }
    let file = parse(&pack("arrow", "x", "v"), &arrow_stream(&[batch(vec![("x", Arc::new(run))])], None));
    assert_eq!(texts(&file), [Some("run")]);
    for array in [
        Arc::new(BinaryArray::from(vec![b"bytes".as_slice()])) as ArrayRef,
        Arc::new(TimestampSecondArray::from(vec![i64::MAX])),
        Arc::new(IntervalYearMonthArray::from(vec![1])),
    ] {
        let kind = array.data_type().to_string();
        let file = parse(&pack("arrow", "x", "v"), &arrow_file(&[batch(vec![("x", array)])], None));
        assert_eq!(rules(&file).last(), Some(&(1, "unreadable-value")), "{kind}");
    }
}

#[test]
fn structures_and_lists_are_reached_by_paths() {
    let members: Fields =
        vec![Field::new("speed", DataType::Float32, true), Field::new("word", DataType::Utf8, true)].into();
    let speeds_inside: ArrayRef = Arc::new(Float32Array::from(vec![Some(50.5), Some(51.0), None]));
    let words: ArrayRef = Arc::new(StringArray::from(vec!["a", "b", "c"]));
    let ball = StructArray::new(members, vec![speeds_inside.clone(), words], Some(vec![true, false, true].into()));
    let item = Arc::new(Field::new("item", DataType::Float32, true));
    let list = ListArray::new(item, OffsetBuffer::from_lengths([2, 0, 1]), speeds_inside, None);
    let batch = batch(vec![("ball", Arc::new(ball)), ("list", Arc::new(list))]);
    for (engine, bytes) in [("parquet", parquet(&batch)), ("arrow", arrow_stream(&[batch], None))] {
        let file = parse(&pack(engine, "ball.word", "ball.speed"), &bytes);
        assert_eq!(
            (texts(&file), speeds(&file)),
            (vec![Some("a"), None, Some("c")], vec![Some(50.5), None, None]),
            "{engine}"
        );
        let file = parse(&pack(engine, "list.1", "list.0"), &bytes);
        assert_eq!(
            (texts(&file), speeds(&file)),
            (vec![Some("51"), None, None], vec![Some(50.5), None, None]),
            "{engine}"
        );
        let whole = parse(&pack(engine, "ball", "list"), &bytes);
        assert_eq!(rules(&whole)[..2], [(1, "unreadable-value"), (1, "unreadable-value")], "{engine}");
        let exact = pack(engine, "ball.word", "list.0").packs().len();
        assert_eq!(exact, 1);
        let formats::Recognition::Match { scores, .. } =
            sound(&format!(
                "name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[schema]\nfields = [\"t\", \"ball.speed\", \"ball.word\", \"list.0\", \"list.1\"]\n\
                 [time]\nparts = [{{ field = \"t\" }}]\nepochUnit = \"s\"\n"
            ))
            .recognise("a", &bytes)
        else {
            panic!("a match")
        };
        assert_eq!(scores[0].score, 70, "{}", scores[0].because);
    }
}

#[test]
fn what_a_file_says_of_itself_is_its_preamble() {
    let properties = WriterProperties::builder()
        .set_key_value_metadata(Some(vec![KeyValue::new("session".to_owned(), "evening".to_owned())]))
        .build();
    let file = parse(&pack("parquet", "n", "v"), &parquet_with(&[plain()], properties));
    assert_eq!(file.shots[0].session_text.as_deref(), Some("evening"));
    let schema = plain().schema().as_ref().clone().with_metadata([("SESSION".to_owned(), "late".to_owned())].into());
    let batch = plain().with_schema(Arc::new(schema)).expect("the same columns");
    let file = parse(&pack("arrow", "n", "v"), &arrow_stream(&[batch], None));
    assert_eq!(file.shots[0].session_text.as_deref(), Some("late"));
}

#[test]
fn columns_that_lack_or_stand_twice_are_named() {
    let file = parse(&pack("parquet", "q", "v"), &parquet(&plain()));
    assert_eq!(rules(&file), [(0, "missing-column")]);
    assert_eq!((file.problems[0].severity, file.shots.len()), (Severity::Noted, 2));
    let schema = Schema::new(vec![
        Field::new("t", DataType::Utf8, true),
        Field::new("v", DataType::Utf8, true),
        Field::new("v", DataType::Utf8, true),
    ]);
    let column: ArrayRef = Arc::new(StringArray::from(vec!["1"]));
    let batch = RecordBatch::try_new(Arc::new(schema), vec![column; 3]).expect("a batch");
    assert_eq!(refusal(&parse(&pack("arrow", "n", "v"), &arrow_file(&[batch], None))).0, "ambiguous-column");
}

#[test]
fn a_stream_cut_short_keeps_its_whole_batches() {
    let bytes = arrow_stream(&[plain(), plain(), plain()], None);
    let set = pack("arrow", "n", "v");
    let mut seen = Vec::new();
    for length in 0..bytes.len() {
        let file = parse(&set, &bytes[..length]);
        let kept = file.shots.len();
        match rules(&file).as_slice() {
            // The stream may also end at the end of a batch.
            [] => assert!(kept.is_multiple_of(2)),
            [(line, "bad-column-file")] => {
                let behind = i64::try_from(kept).expect("few") + 1;
                assert!(*line == 0 && kept == 0 || *line == behind, "{length}: {:?}", file.problems);
            }
            other => panic!("{length}: {other:?}"),
        }
        seen.push(kept);
    }
    assert!(seen.windows(2).all(|pair| pair[0] <= pair[1]) && seen.contains(&4));
    let whole = arrow_file(&[plain()], None);
    let file = parse(&set, &whole[..whole.len() - 20]);
    assert_eq!(refusal(&file), ("bad-column-file", "the Arrow file is cut short: its footer is missing"));
    let whole = parquet(&plain());
    let file = parse(&pack("parquet", "n", "v"), &whole[..whole.len() - 20]);
    assert_eq!(refusal(&file), ("bad-column-file", "the Parquet file is cut short: its footer is missing"));
}

#[test]
fn what_is_no_readable_column_file_is_called_by_its_name() {
    let encrypted = [b"PARE".as_slice(), &[0; 20], b"PARE"].concat();
    for (engine, bytes, rule, part) in [
        ("parquet", b"t,v\n1,2\n".to_vec(), "bad-column-file", "it is no Parquet file"),
        ("parquet", encrypted, "locked-file", "encrypted"),
        ("parquet", b"PAR1\xff\xff\xff\x7fPAR1".to_vec(), "bad-column-file", "longer than the file"),
        ("parquet", arrow_file(&[plain()], None), "bad-column-file", "it is no Parquet file"),
        ("arrow", b"FEA1 and more".to_vec(), "bad-column-file", "version 1"),
        ("arrow", parquet(&plain()), "bad-column-file", "it is no Arrow file"),
        ("arrow", Vec::new(), "bad-column-file", "it is no Arrow file"),
    ] {
        let set = pack(engine, "n", "v");
        let file = parse(&set, &bytes);
        let (found, message) = refusal(&file);
        assert!(found == rule && message.contains(part), "{found}: {message}");
        let formats::Recognition::NoMatch { scores } = set.recognise("a.parquet", &bytes) else { panic!("no match") };
        assert!(scores[0].because.contains(part), "{}", scores[0].because);
    }
}
