//! What the session model needs of each session.

use std::collections::BTreeMap;

/// More sessions than this (the latest are kept) add nothing that a player's present could use.
const MOST_SESSIONS: usize = 200;
/// Beyond this a value is a broken reading in any unit of this trade, and its square could overflow.
const LARGEST_VALUE: f64 = 1e9;

/// One value with its session.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SessionValue {
    pub value: f64,
    /// Variance of the part of the value's error that is its own.
    pub error_variance: f64,
    pub session: u32,
    pub day: i32,
    /// Current week, or after practice: what the caller asks about.
    pub marked: bool,
}

impl SessionValue {
    /// Whether the value can be used at all.
    pub fn usable(&self) -> bool {
        self.value.abs() <= LARGEST_VALUE && (0.0..=LARGEST_VALUE).contains(&self.error_variance)
    }
}

/// The values of one session in sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SessionSummary {
    pub count: f64,
    pub mean: f64,
    /// Sum of squared differences from the mean.
    pub squares: f64,
    /// Mean variance of the values' own errors.
    pub error_variance: f64,
    pub day: f64,
    pub marked: bool,
}

/// The sessions in the order of their days. Values that are not finite are left out.
pub(crate) fn summarise(values: &[SessionValue]) -> Vec<SessionSummary> {
    let mut by_session: BTreeMap<(i32, u32, bool), Vec<(f64, f64)>> = BTreeMap::new();
    for value in values {
        if value.usable() {
            let key = (value.day, value.session, value.marked);
            by_session.entry(key).or_default().push((value.value, value.error_variance));
        }
    }
    let surplus = by_session.len().saturating_sub(MOST_SESSIONS);
    let mut sessions = Vec::new();
    for ((day, _, marked), mut pairs) in by_session.into_iter().skip(surplus) {
        // Sorted, so that rounding does not depend on the order of the rows.
        pairs.sort_by(|left, right| left.partial_cmp(right).unwrap_or(std::cmp::Ordering::Equal));
        let count = pairs.len() as f64;
        let mean = pairs.iter().map(|pair| pair.0).sum::<f64>() / count;
        let squares = pairs.iter().map(|pair| (pair.0 - mean).powi(2)).sum();
        let error_variance = pairs.iter().map(|pair| pair.1).sum::<f64>() / count;
        sessions.push(SessionSummary { count, mean, squares, error_variance, day: f64::from(day), marked });
    }
    sessions
}
