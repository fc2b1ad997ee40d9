//! Links and clocks as rows of their datasets, and back.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};

use crate::IntakeError;
use crate::linked_days::{GroupKey, LinkedGroup, MarkPoint, name_of_group};
use crate::shot_columns::{column, number, optional};

const LINKED: &str = "linked";
const AMBIGUOUS: &str = "ambiguous";
const UNMATCHED: &str = "unmatched";

/// What became of a mark, as it stands in the lake.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Fate {
    Linked { shot_id: String, probability: f64 },
    Ambiguous { probability: Option<f64>, candidates: Option<String> },
    Unmatched,
}

impl Fate {
    /// Shots with probabilities, likeliest first.
    pub(crate) fn ambiguous(candidates: &[(String, f64)]) -> Fate {
        let named: Vec<String> =
            candidates.iter().map(|(shot_id, probability)| format!("{shot_id}={probability:.3}")).collect();
        Fate::Ambiguous {
            probability: candidates.first().map(|(_, probability)| *probability),
            candidates: (!named.is_empty()).then(|| named.join(";")),
        }
    }
}

/// What the lake holds of a month's links, and the fingerprints of the groups it was made from.
#[derive(Debug, Default)]
pub(crate) struct Noted {
    fingerprints: HashMap<String, String>,
    fates: HashMap<String, Fate>,
    clocks: HashMap<GroupKey, Option<(f64, f64)>>,
}

impl Noted {
    pub(crate) fn read(
        fingerprints: HashMap<String, String>,
        links: &[RecordBatch],
        clocks: &[RecordBatch],
    ) -> Result<Noted, IntakeError> {
        let mut noted = Noted { fingerprints, ..Noted::default() };
        for batch in links {
            noted.read_fates(batch)?;
        }
        for batch in clocks {
            noted.read_clocks(batch)?;
        }
        Ok(noted)
    }

    fn read_fates(&mut self, batch: &RecordBatch) -> Result<(), IntakeError> {
        let text = |name| column::<StringArray>("strike_links", batch, name);
        let (marks, fates, shots, candidates) =
            (text("mark_id")?, text("fate")?, text("shot_id")?, text("candidates")?);
        let probability = column("strike_links", batch, "probability")?;
        for row in 0..batch.num_rows() {
            let probability = number(probability, row);
            let fate = match (fates.value(row), optional(shots, row), probability) {
                (LINKED, Some(shot_id), Some(probability)) => Fate::Linked { shot_id: shot_id.to_owned(), probability },
                (AMBIGUOUS, _, _) => {
                    Fate::Ambiguous { probability, candidates: optional(candidates, row).map(str::to_owned) }
                }
                _ => Fate::Unmatched,
            };
            self.fates.insert(marks.value(row).to_owned(), fate);
        }
        Ok(())
    }

    fn read_clocks(&mut self, batch: &RecordBatch) -> Result<(), IntakeError> {
        for clock in clocks_of(batch)? {
            self.clocks.insert(clock.key, clock.offset);
        }
        Ok(())
    }

    /// The group as it is published, if it was made from these very shots and marks.
    pub(crate) fn group(&self, key: &GroupKey, fingerprint: &str, marks: &[MarkPoint]) -> Option<LinkedGroup> {
        if self.fingerprints.get(&name_of_group(key)).map(String::as_str) != Some(fingerprint) {
            return None;
        }
        let clock = *self.clocks.get(key)?;
        let mut known = Vec::with_capacity(marks.len());
        for mark in marks {
            known.push((mark.clone(), self.fates.get(&mark.mark_id)?.clone()));
        }
        Some(LinkedGroup { key: key.clone(), fingerprint: fingerprint.to_owned(), marks: known, clock })
    }
}

/// A row of `bay_clocks`.
pub(crate) struct ClockRow {
    pub(crate) key: GroupKey,
    pub(crate) offset: Option<(f64, f64)>,
    pub(crate) marks: i64,
    pub(crate) ambiguous: i64,
}

pub(crate) fn clocks_of(batch: &RecordBatch) -> Result<Vec<ClockRow>, IntakeError> {
    const DATASET: &str = "bay_clocks";
    let bays: &StringArray = column(DATASET, batch, "bay")?;
    let formats: &StringArray = column(DATASET, batch, "mark_format")?;
    let days: &Date32Array = column(DATASET, batch, "local_date")?;
    let offset: &Float64Array = column(DATASET, batch, "clock_offset_s")?;
    let deviation: &Float64Array = column(DATASET, batch, "clock_offset_sd_s")?;
    let marks: &Int64Array = column(DATASET, batch, "marks")?;
    let ambiguous: &Int64Array = column(DATASET, batch, "marks_ambiguous")?;
    let mut rows = Vec::with_capacity(batch.num_rows());
    for row in 0..batch.num_rows() {
        rows.push(ClockRow {
            key: (bays.value(row).to_owned(), days.value(row), formats.value(row).to_owned()),
            offset: number(offset, row).zip(number(deviation, row)),
            marks: marks.value(row),
            ambiguous: ambiguous.value(row),
        });
    }
    Ok(rows)
}

/// The rows of a month.
pub(crate) struct Links {
    pub(crate) links: RecordBatch,
    pub(crate) clocks: RecordBatch,
}

impl Links {
    pub(crate) fn of(site_id: &str, groups: &[LinkedGroup]) -> Result<Links, IntakeError> {
        Ok(Links { links: links_batch(site_id, groups)?, clocks: clocks_batch(site_id, groups)? })
    }
}

fn links_batch(site_id: &str, groups: &[LinkedGroup]) -> Result<RecordBatch, IntakeError> {
    let rows: Vec<(&LinkedGroup, &MarkPoint, &Fate)> =
        groups.iter().flat_map(|group| group.marks.iter().map(move |(mark, fate)| (group, mark, fate))).collect();
    let fate = rows.iter().map(|(_, _, fate)| match fate {
        Fate::Linked { .. } => Some(LINKED),
        Fate::Ambiguous { .. } => Some(AMBIGUOUS),
        Fate::Unmatched => Some(UNMATCHED),
    });
    let shot = rows.iter().map(|(_, _, fate)| match fate {
        Fate::Linked { shot_id, .. } => Some(shot_id.as_str()),
        _ => None,
    });
    let probability = rows.iter().map(|(_, _, fate)| match fate {
        Fate::Linked { probability, .. } => Some(*probability),
        Fate::Ambiguous { probability, .. } => *probability,
        Fate::Unmatched => None,
    });
    let candidates = rows.iter().map(|(_, _, fate)| match fate {
        Fate::Ambiguous { candidates, .. } => candidates.as_deref(),
        _ => None,
    });
    let bay = rows.iter().map(|(group, ..)| Some(group.key.0.as_str()).filter(|bay| !bay.is_empty()));
    let noted_at: TimestampMicrosecondArray = rows.iter().map(|(_, mark, _)| Some(mark.at)).collect();
    let columns: Vec<ArrayRef> = vec![
        Arc::new(rows.iter().map(|_| Some(site_id)).collect::<StringArray>()),
        Arc::new(rows.iter().map(|(_, mark, _)| Some(mark.mark_id.as_str())).collect::<StringArray>()),
        Arc::new(fate.collect::<StringArray>()),
        Arc::new(shot.collect::<StringArray>()),
        Arc::new(probability.collect::<Float64Array>()),
        Arc::new(candidates.collect::<StringArray>()),
        Arc::new(bay.collect::<StringArray>()),
        Arc::new(rows.iter().map(|(_, mark, _)| mark.player.as_deref()).collect::<StringArray>()),
        Arc::new(noted_at.with_timezone("UTC")),
        Arc::new(Date32Array::from_iter_values(rows.iter().map(|(group, ..)| group.key.1))),
        Arc::new(rows.iter().map(|(group, ..)| group.clock.map(|(offset, _)| offset)).collect::<Float64Array>()),
    ];
    RecordBatch::try_new(shot::strike_links().arrow_schema(), columns)
        .map_err(|cause| IntakeError::Rows { dataset: "strike_links", cause })
}

fn clocks_batch(site_id: &str, groups: &[LinkedGroup]) -> Result<RecordBatch, IntakeError> {
    let count = |group: &LinkedGroup, counts: fn(&Fate) -> bool| {
        i64::try_from(group.marks.iter().filter(|(_, fate)| counts(fate)).count()).unwrap_or(i64::MAX)
    };
    let groups = || groups.iter();
    let columns: Vec<ArrayRef> = vec![
        Arc::new(groups().map(|_| Some(site_id)).collect::<StringArray>()),
        Arc::new(groups().map(|group| Some(group.key.0.as_str())).collect::<StringArray>()),
        Arc::new(groups().map(|group| Some(group.key.2.as_str())).collect::<StringArray>()),
        Arc::new(Date32Array::from_iter_values(groups().map(|group| group.key.1))),
        Arc::new(groups().map(|group| group.clock.map(|(offset, _)| offset)).collect::<Float64Array>()),
        Arc::new(groups().map(|group| group.clock.map(|(_, deviation)| deviation)).collect::<Float64Array>()),
        Arc::new(groups().map(|group| Some(count(group, |_| true))).collect::<Int64Array>()),
        Arc::new(
            groups()
                .map(|group| Some(count(group, |fate| matches!(fate, Fate::Linked { .. }))))
                .collect::<Int64Array>(),
        ),
        Arc::new(
            groups()
                .map(|group| Some(count(group, |fate| matches!(fate, Fate::Ambiguous { .. }))))
                .collect::<Int64Array>(),
        ),
    ];
    RecordBatch::try_new(shot::bay_clocks().arrow_schema(), columns)
        .map_err(|cause| IntakeError::Rows { dataset: "bay_clocks", cause })
}
