//! How the strike marks of each bay and day fared, for `status`.

use lake::Lake;
use shot::LocalDay;

use crate::IntakeError;
use crate::link_rows::clocks_of;

/// The strike marks of one bay and day.
#[derive(Debug, Clone, PartialEq)]
pub struct BayDay {
    /// The bay; empty where none is named.
    pub bay: String,
    /// The local day.
    pub local_date: LocalDay,
    /// The mapping pack of the marks.
    pub mark_format: String,
    /// Marks.
    pub marks: i64,
    /// Of these, how many several shots fit.
    pub ambiguous: i64,
    /// Lead of the marks' clock over the shots' clock and its standard deviation, s, where no other one is left.
    pub clock_offset_s: Option<(f64, f64)>,
}

/// All bays and days with strike marks, latest first.
pub fn bay_days(lake: &Lake) -> Result<Vec<BayDay>, IntakeError> {
    let schema = shot::bay_clocks();
    let mut days = Vec::new();
    for month in lake.partitions(&schema.name)? {
        for batch in lake.read_partition(&schema, month)? {
            for row in clocks_of(&batch)? {
                let (bay, local_date, mark_format) = row.key;
                let (marks, ambiguous, clock_offset_s) = (row.marks, row.ambiguous, row.offset);
                days.push(BayDay { bay, local_date, mark_format, marks, ambiguous, clock_offset_s });
            }
        }
    }
    days.sort_by(|one, other| {
        let latest_first = other.local_date.cmp(&one.local_date);
        latest_first.then_with(|| (&one.bay, &one.mark_format).cmp(&(&other.bay, &other.mark_format)))
    });
    Ok(days)
}
