//! What one more file costs, printed as a table. A plain program:
//!
//! ```text
//! cargo bench -p lake --bench publish --profile dev             the profile of tests and demo
//! cargo bench -p lake --bench publish -- 20000 10000 24 4000    rows of the month, of other months, their number, of a file
//! ```
//!
//! - One more file into a month, alone and beside other months: the cost must not depend on these.
//! - The same rows by the Arrow library's own means in the same run: read the file, append, sort, write.
//! - Memory while a long history comes in, file by file.

use std::fs::File;
use std::path::Path;
use std::time::Instant;

use arrow::array::{RecordBatch, UInt32Array};
use arrow::compute::{SortColumn, SortOptions, concat_batches, lexsort_to_indices, take_record_batch};
use files::Files;
use lake::{Lake, Provenance, Segment, SegmentHeader};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::properties::WriterProperties;
use shot::{Intent, Measures, Month, ParsedShot, Quantity, ShotRow};

/// 2016-01-01 as day of 1970 [derived: 46 years with 11 leap days before it].
const FIRST_DAY: i32 = 46 * 365 + 11;
const REPEATS: usize = 5;

fn main() {
    let numbers: Vec<usize> = std::env::args().filter_map(|argument| argument.parse().ok()).collect();
    // `cargo bench` says so; anything else that runs this program gets a small table.
    let is_bench = std::env::args().any(|argument| argument == "--bench");
    let usual = if is_bench { [100_000, 50_000, 119, 1_000] } else { [2_000, 1_000, 3, 100] };
    let [month_rows, other_rows, other_months, file_rows] = *numbers.first_chunk().unwrap_or(&usual);
    println!("profile: {}", if cfg!(debug_assertions) { "dev" } else { "release" });
    println!("one more file of {file_rows} rows into a month of {month_rows} rows; median of {REPEATS}\n");

    println!("{:<58} {:>10} {:>14}", "", "elapsed", "on a processor");
    let alone = one_more_file(month_rows, 0, 0, file_rows, None);
    println!("{:<58} {}", "alone in the lake", alone.ours);
    println!("{:<58} {}", "Arrow: read, append, sort, write", alone.peer);
    println!("{:<58} {}", "ratio to Arrow", alone.ours.ratio(&alone.peer));
    let rows = Span {
        elapsed: (month_rows + file_rows) as f64 / 100_000.0,
        busy: (month_rows + file_rows) as f64 / 100_000.0,
    };
    println!("{:<58} {}\n", "a hundred thousand rows rewritten, seconds", alone.ours.ratio(&rows));

    let mut backfill = Backfill::default();
    let beside = one_more_file(month_rows, other_months, other_rows, file_rows, Some(&mut backfill));
    println!("{:<58} {}", format!("beside {other_months} months of {other_rows} rows"), beside.ours);
    println!("{:<58} {}", "ratio to alone", beside.ours.ratio(&alone.ours));
    let (crowded, free) = (beside.ours.ratio(&beside.peer), alone.ours.ratio(&alone.peer));
    println!("{:<58} {crowded}", "ratio to Arrow");
    // Minutes lie between the two: what else the machine did meanwhile is in Arrow's times too.
    println!("{:<58} {}\n", "ratio to alone, each measured by Arrow's times beside it", crowded.ratio(&free));

    println!("backfill of {other_months} files of {other_rows} rows: {:.1} s", backfill.seconds);
    println!("{:>10} {:>14} {:>16}", "files", "rows held", "memory (MiB)");
    for (files, held, memory) in &backfill.samples {
        println!("{files:>10} {held:>14} {memory:>16}");
    }
}

struct Cost {
    ours: Span,
    peer: Span,
}

/// Seconds by the clock, and seconds this thread was on a processor: on a busy machine only these compare.
#[derive(Clone, Copy)]
struct Span {
    elapsed: f64,
    busy: f64,
}

impl Span {
    fn of(work: impl FnOnce()) -> Span {
        let (started, busy) = (Instant::now(), busy_seconds());
        work();
        Span { elapsed: started.elapsed().as_secs_f64(), busy: busy_seconds() - busy }
    }

    fn ratio(self, other: &Span) -> Span {
        Span { elapsed: self.elapsed / other.elapsed, busy: self.busy / other.busy }
    }
}

impl std::fmt::Display for Span {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:>10.3} {:>14.3}", self.elapsed, self.busy)
    }
}

/// Where the system does not tell: not a number.
fn busy_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanos: Option<f64> = text.split_whitespace().next().and_then(|number| number.parse().ok());
    nanos.map_or(f64::NAN, |nanos| nanos / 1e9)
}

#[derive(Default)]
struct Backfill {
    seconds: f64,
    /// Files so far, most rows held by one publication, resident memory after it.
    samples: Vec<(usize, usize, String)>,
}

fn one_more_file(
    month_rows: usize,
    other_months: usize,
    other_rows: usize,
    file_rows: usize,
    mut backfill: Option<&mut Backfill>,
) -> Cost {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let lake = Lake::open(Files::new(), &folder.path().join("lake"), &folder.path().join("staging"), "north")
        .expect("the lake opens");
    let mut sequence = 0;
    let mut most_held = 0;
    for other in 0..other_months {
        let started = Instant::now();
        sequence += 1;
        let segment = stage(&lake, sequence, month_of(other + 1), other_rows);
        let report = lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published");
        lake.discard_segment(&segment).expect("discarded");
        most_held = most_held.max(report.most_rows_held);
        if let Some(backfill) = &mut backfill {
            backfill.seconds += started.elapsed().as_secs_f64();
            if other % other_months.div_ceil(6) == 0 || other + 1 == other_months {
                backfill.samples.push((other + 1, most_held, resident_memory()));
            }
        }
    }
    sequence += 1;
    let segment = stage(&lake, sequence, month_of(0), month_rows);
    lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published");
    lake.discard_segment(&segment).expect("discarded");

    let mut ours = Vec::new();
    let mut theirs = Vec::new();
    for _ in 0..REPEATS {
        sequence += 1;
        let (month, _) = month_of(0);
        let partition = lake.partition_path("shots", Some(month));
        let rows = rows(sequence, month_of(0), file_rows);
        theirs.push(Span::of(|| by_arrow(&partition, &folder.path().join("peer.parquet"), &rows)));
        let segment = stage(&lake, sequence, month_of(0), file_rows);
        ours.push(Span::of(|| {
            lake.publish(std::slice::from_ref(&segment), &[], &provenance()).expect("published");
        }));
        lake.discard_segment(&segment).expect("discarded");
    }
    Cost { ours: median(&ours), peer: median(&theirs) }
}

fn median(spans: &[Span]) -> Span {
    let middle = |pick: fn(&Span) -> f64| {
        let mut values: Vec<f64> = spans.iter().map(pick).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    Span { elapsed: middle(|span| span.elapsed), busy: middle(|span| span.busy) }
}

/// The same work without our merge: everything in memory, one sort.
fn by_arrow(partition: &Path, target: &Path, more: &RecordBatch) {
    let schema = shot::shots();
    let file = File::open(partition).expect("opened");
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).expect("a reader").build().expect("built");
    let mut batches: Vec<RecordBatch> = reader.map(|batch| batch.expect("rows")).collect();
    batches.push(more.clone());
    let all = concat_batches(&schema.arrow_schema(), &batches).expect("joined");
    let options = Some(SortOptions { descending: false, nulls_first: true });
    let names = ["player_id", "struck_at", "shot_id"];
    let order: Vec<SortColumn> = names
        .iter()
        .map(|name| SortColumn { values: all.column_by_name(name).expect("a column").clone(), options })
        .collect();
    let indices: UInt32Array = lexsort_to_indices(&order, None).expect("sorted");
    let sorted = take_record_batch(&all, &indices).expect("taken");
    let level = ZstdLevel::try_new(3).expect("a level");
    let properties = WriterProperties::builder().set_compression(Compression::ZSTD(level)).build();
    let file = File::create(target).expect("created");
    let mut writer = ArrowWriter::try_new(file, schema.arrow_schema(), Some(properties)).expect("a writer");
    writer.write(&sorted).expect("written");
    writer.into_inner().expect("closed").sync_all().expect("synced");
}

fn month_of(number: usize) -> (Month, i32) {
    let mut day = FIRST_DAY;
    let mut month = Month::of_day(day);
    for _ in 0..number {
        while Month::of_day(day) == month {
            day += 1;
        }
        month = Month::of_day(day);
    }
    (month, day)
}

fn stage(lake: &Lake, sequence: i64, (month, day): (Month, i32), count: usize) -> Segment {
    let header = SegmentHeader {
        import_sequence: sequence,
        source_file_id: source(sequence),
        file_name: format!("{sequence}.csv"),
        format: "pack".into(),
        format_version: "1".into(),
    };
    lake.stage(header, &[(shot::shots(), rows(sequence, (month, day), count))]).expect("staged")
}

fn source(sequence: i64) -> String {
    format!("{sequence:064x}")
}

/// Shots as a device's export has them: forty players, a dozen measured figures.
fn rows(sequence: i64, (_, first_day): (Month, i32), count: usize) -> RecordBatch {
    let quantities = [
        Quantity::BallSpeedMps,
        Quantity::LaunchElevationDeg,
        Quantity::LaunchAzimuthDeg,
        Quantity::SpinRpm,
        Quantity::ClubSpeedMps,
        Quantity::AttackDeg,
        Quantity::PathDeg,
        Quantity::CarryM,
    ];
    // A generator of our own, so that each run has the same rows: splitmix64. The starts are no multiples of its step, or one
    // file's rows would be those of another.
    let mut state = sequence.cast_unsigned().wrapping_mul(0xd6e8_feb8_6659_fd93);
    let mut draw = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    };
    let mut shots = Vec::with_capacity(count);
    for number in 0..count {
        let mut measures = Measures::default();
        for quantity in quantities {
            measures.set(quantity, Some((draw() % 10_000) as f64 / 100.0));
        }
        let day = first_day + (draw() % 28) as i32;
        let parsed = ParsedShot {
            source_row: i64::try_from(number).expect("small") + 1,
            bay: Some(format!("{}", draw() % 12)),
            session_text: Some(format!("{}", number / 60)),
            shot_text: Some(number.to_string()),
            player_text: None,
            hand: None,
            club_id: Some("driver".into()),
            club_kind: Some("driver".into()),
            ball_kind: None,
            intent: Intent::Play,
            time_text: "t".into(),
            struck_at: i64::from(day) * 86_400_000_000 + (draw() % 86_400_000_000).cast_signed(),
            local_date: day,
            zone: "Etc/UTC".into(),
            environment: None,
            measures,
            strike_source: None,
            quality: Vec::new(),
        };
        shots.push(ShotRow {
            shot_id: format!("{:016x}{:016x}", draw(), draw()),
            site_id: "north".into(),
            player_id: Some(format!("player-{}", draw() % 40)),
            parsed,
            recorded: shot::Recorded::default(),
            source_file_id: source(sequence),
            format: "pack".into(),
            format_version: "1".into(),
            import_sequence: sequence,
            imported_at: sequence,
        });
    }
    shot::shots_batch(&shots).expect("shots fit their schema")
}

fn provenance() -> Provenance {
    Provenance { writer: "bench".into(), run_id: "bench".into(), created_micros: 0, extra: Vec::new() }
}

/// Resident memory of this process, where the system tells.
fn resident_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib: Option<f64> = line.and_then(|line| line.split_whitespace().next()).and_then(|number| number.parse().ok());
    kib.map_or_else(|| "unknown".to_owned(), |kib| format!("{:.0}", kib / 1024.0))
}
