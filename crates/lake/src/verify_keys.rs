//! Does a row of an import stand in two places? Answered for lakes of any size with a bounded number of keys in memory.

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hasher};

use shot::TableSchema;

use crate::keys::{SEQUENCE_COLUMN, SOURCE_COLUMN, keys_of};
use crate::verify::{LakeFault, LakeFaultKind};
use crate::{Lake, LakeError, Manifest, profile};

/// Most keys held at a time: 32 bytes each.
const MOST_KEYS: usize = 2_000_000;

/// How often the comparison begins anew because the lake was changed under it.
const MOST_ATTEMPTS: usize = 3;

/// One fault per pair of partitions that hold a row of one key. Datasets whose rows do not come from files are passed over:
/// they are replaced whole and checked when they are written.
pub(crate) fn rows_that_stand_twice(lake: &Lake, schema: &TableSchema) -> Result<Vec<LakeFault>, LakeError> {
    let has_sources = schema.column(SEQUENCE_COLUMN).is_some() && schema.column(SOURCE_COLUMN).is_some();
    if !has_sources || schema.key.is_empty() {
        return Ok(Vec::new());
    }
    for _ in 0..MOST_ATTEMPTS {
        let manifest = lake.manifest()?;
        let faults = compare(lake, schema, &manifest);
        // A row that moved to another month meanwhile may have been seen in both.
        if faults.is_empty() || lake.manifest()?.generation == manifest.generation {
            return Ok(faults);
        }
    }
    Ok(Vec::new())
}

fn compare(lake: &Lake, schema: &TableSchema, manifest: &Manifest) -> Vec<LakeFault> {
    let rows: i64 = manifest.of_dataset(&schema.name).map(|file| file.rows).sum();
    let passes = (usize::try_from(rows).unwrap_or(0) / MOST_KEYS + 1) as u128;
    let mut doubled: BTreeSet<(u32, u32)> = BTreeSet::new();
    for pass in 0..passes {
        let mut keys: Vec<(u128, u32)> = Vec::new();
        for (place, file) in (0_u32..).zip(manifest.of_dataset(&schema.name)) {
            let path = lake.store().partition_path(&schema.name, file.month);
            let columns: Vec<&str> = schema.key.iter().map(String::as_str).collect();
            let read = profile::read_columns(lake.store(), &path, &columns, |batch| {
                for key in keys_of(schema, batch)? {
                    let hash = wide_hash(&key);
                    if hash % passes == pass {
                        keys.push((hash, place));
                    }
                }
                Ok(())
            });
            // A file that does not read is told of by the look at that file.
            if read.is_err() {
                tracing::debug!(path = %path.display(), "its keys are not compared");
            }
        }
        keys.sort_unstable();
        doubled.extend(keys.windows(2).filter(|pair| pair[0].0 == pair[1].0).map(|pair| (pair[0].1, pair[1].1)));
    }
    let files: Vec<_> = manifest.of_dataset(&schema.name).collect();
    let mut faults = Vec::new();
    for (one, other) in doubled {
        let (one, other) = (files[one as usize], files[other as usize]);
        faults.push(LakeFault {
            kind: LakeFaultKind::Doubled,
            dataset: schema.name.clone(),
            month: one.month,
            path: one.path.clone(),
            problem: if one.path == other.path {
                "holds two rows of one key".to_owned()
            } else {
                format!("holds a row that {} holds too", other.path)
            },
        });
    }
    faults
}

/// 128 bits of a key: two different keys of ten million have the same with a probability below 10^-24.
fn wide_hash(key: &[u8]) -> u128 {
    let half = |start: u8| {
        let mut hasher = DefaultHasher::new();
        hasher.write_u8(start);
        hasher.write(key);
        u128::from(hasher.finish())
    };
    (half(0) << 64) | half(1)
}
