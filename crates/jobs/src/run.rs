//! What a run tells the SQL of a job whose rows stay: its series and its moment.

use std::collections::BTreeMap;

use chrono::{DateTime, SecondsFormat};

use crate::pack::Parameter;

/// The column, and the `$name`, that counts refits.
pub(crate) const SERIES: &str = "series";
/// The `$name` of the run's moment.
pub(crate) const RUN_AT: &str = "run_at";
/// The series before any refit.
pub(crate) const FIRST_SERIES: i64 = 1;

/// What one run gives besides the pack's parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RunFacts {
    pub series: i64,
    /// Begin of the run, UTC microseconds.
    pub run_at: i64,
}

impl RunFacts {
    /// Facts of no run, to plan with.
    pub fn any() -> RunFacts {
        RunFacts { series: FIRST_SERIES, run_at: 0 }
    }
}

/// Every value that the SQL may write as `$name`. The moment is a text; `arrow_cast` makes an instant of it.
pub(crate) fn known_to_sql(
    parameters: &BTreeMap<String, Parameter>,
    facts: Option<RunFacts>,
) -> BTreeMap<String, Parameter> {
    let mut known = parameters.clone();
    if let Some(facts) = facts {
        let moment = DateTime::from_timestamp_micros(facts.run_at).unwrap_or_default();
        known.insert(SERIES.to_owned(), Parameter::Integer(facts.series));
        known.insert(RUN_AT.to_owned(), Parameter::Text(moment.to_rfc3339_opts(SecondsFormat::Micros, true)));
    }
    known
}
