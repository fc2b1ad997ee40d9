//! Random histories against a model that keeps every row in one map.

use std::collections::{BTreeMap, HashMap};
use std::fs;

use lake::MergeBounds;
use proptest::prelude::*;

use crate::support::*;

/// A row as drawn: which shot, in which month, on which day of it.
type DrawnRow = (u8, u8, u8);

#[derive(Debug, Clone)]
struct DrawnFile {
    /// Which earlier file it is, read again; otherwise it is new.
    reads_again: Option<prop::sample::Index>,
    /// Place in the order of imports among new files.
    sequence: u8,
    /// The same shot may stand in it twice.
    rows: Vec<DrawnRow>,
}

#[derive(Debug, Clone)]
struct DrawnStep {
    files: Vec<DrawnFile>,
    /// An earlier file whose rows go without any in their place.
    retracts: Option<prop::sample::Index>,
    spoils_index: bool,
    is_narrow: bool,
}

fn history() -> impl Strategy<Value = Vec<DrawnStep>> {
    let row = (0..8_u8, 0..3_u8, 0..27_u8);
    let file = (prop::option::weighted(0.3, any::<prop::sample::Index>()), 0..100_u8, prop::collection::vec(row, 1..7))
        .prop_map(|(reads_again, sequence, rows)| DrawnFile { reads_again, sequence, rows });
    let step = (
        prop::collection::vec(file, 0..4),
        prop::option::weighted(0.2, any::<prop::sample::Index>()),
        prop::bool::weighted(0.2),
        any::<bool>(),
    )
        .prop_map(|(files, retracts, spoils_index, is_narrow)| DrawnStep {
            files,
            retracts,
            spoils_index,
            is_narrow,
        });
    prop::collection::vec(step, 1..6)
}

#[derive(Debug, Clone, PartialEq)]
struct ModelRow {
    sequence: i64,
    source: String,
    month: u8,
    speed: f64,
}

impl ModelRow {
    fn rank(&self) -> (i64, &str) {
        (self.sequence, &self.source)
    }
}

type Counts = BTreeMap<String, (i64, i64, i64)>;

/// What one publication does to the rows of the model, and what it counts for each file.
fn publish(
    published: &mut BTreeMap<u8, ModelRow>,
    files: &[(String, Vec<(u8, ModelRow)>)],
    retracted: &[String],
) -> Counts {
    let before: Vec<u8> = published.keys().copied().collect();
    published.retain(|_, row| !retracted.contains(&row.source));
    let mut best: HashMap<u8, &ModelRow> = HashMap::new();
    let mut rivals: HashMap<u8, Vec<&str>> = HashMap::new();
    for (id, row) in files.iter().flat_map(|(_, rows)| rows) {
        rivals.entry(*id).or_default().push(&row.source);
        let standing = best.entry(*id).or_insert(row);
        if row.rank() > standing.rank() {
            *standing = row;
        }
    }
    let mut counts: Counts =
        files.iter().map(|(source, rows)| (source.clone(), (0, 0, i64::try_from(rows.len()).expect("few")))).collect();
    for (id, row) in best {
        if published.get(&id).is_some_and(|earlier| earlier.rank() > row.rank()) {
            continue;
        }
        let replaces = before.contains(&id) || rivals[&id].iter().any(|source| *source != row.source);
        let count = counts.get_mut(&row.source).expect("a file of this publication");
        count.2 -= 1;
        if replaces {
            count.1 += 1;
        } else {
            count.0 += 1;
        }
        published.insert(id, row.clone());
    }
    counts
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_lake_holds_what_the_model_holds(steps in history()) {
        let place = Place::new();
        let lake = place.lake();
        let days = [JANUARY, FEBRUARY, MARCH];
        let mut model: BTreeMap<u8, ModelRow> = BTreeMap::new();
        let mut known: Vec<String> = Vec::new();
        // Whatever is read again comes after all that is new.
        let mut next_again = 1_000;
        for (number, step) in steps.iter().enumerate() {
            let mut retracted = Vec::new();
            if let (Some(which), false) = (step.retracts, known.is_empty()) {
                retracted.push(known[which.index(known.len())].clone());
            }
            let mut files: Vec<(String, Vec<(u8, ModelRow)>)> = Vec::new();
            let mut segments = Vec::new();
            for (position, file) in step.files.iter().enumerate() {
                let again = file.reads_again.filter(|_| !known.is_empty()).map(|which| &known[which.index(known.len())]);
                let again = again.filter(|source| files.iter().all(|(other, _)| other != *source));
                let (source, sequence) = match again {
                    Some(source) => {
                        retracted.push(source.clone());
                        next_again += 1;
                        (source.clone(), next_again)
                    }
                    None => (format!("f{number}-{position}"), i64::from(file.sequence)),
                };
                let mut rows = Vec::new();
                let mut hits = Vec::new();
                for (row, (id, month, day)) in file.rows.iter().enumerate() {
                    let speed = (number * 100 + position * 10 + row) as f64 + 0.5;
                    hits.push(hit(&format!("s{id}"), days[usize::from(*month)] + i32::from(*day), speed));
                    rows.push((*id, ModelRow { sequence, source: source.clone(), month: *month, speed }));
                }
                segments.push(stage(&lake, sequence, &source, &hits));
                files.push((source, rows));
            }
            if step.spoils_index {
                let index = place.staging().join("key-index.sqlite");
                if number % 2 == 0 {
                    let _ = fs::remove_file(&index);
                } else if index.is_file() {
                    fs::write(&index, "spoilt").expect("written");
                }
            }
            let narrow = MergeBounds { rows_sorted_in_memory: 3, rows_per_batch: 2 };
            let bounds = if step.is_narrow { narrow } else { MergeBounds::default() };
            let counts = publish(&mut model, &files, &retracted);
            let report = lake.publish_within(bounds, &segments, &retracted, &provenance()).expect("published");
            for (source, expected) in &counts {
                prop_assert_eq!(report.count(source, "shots"), *expected, "{} in step {}", source, number);
            }
            let mut expected: Vec<String> = model
                .iter()
                .map(|(id, row)| format!("2026-{:02} s{id} {} {}", row.month + 1, row.sequence, row.speed))
                .collect();
            expected.sort();
            prop_assert_eq!(shots(&lake), expected, "after step {}", number);
            for segment in &segments {
                lake.discard_segment(segment).expect("discarded");
            }
            for (source, _) in files {
                if !known.contains(&source) {
                    known.push(source);
                }
            }
        }
        assert_sound(&place, &lake, "after all");
    }
}
