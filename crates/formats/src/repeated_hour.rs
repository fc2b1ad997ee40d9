//! The hour that occurs twice when daylight saving ends: which of the two, told from the order of the rows.
//!
//! Rows of a file stand in time order, within a session at least. A row of the repeated hour is therefore decided where only one
//! of its two instants keeps the order: the later one once the local time has run backwards, the first one before that.

use std::collections::{BTreeMap, HashMap};

use chrono::DateTime;
use chrono_tz::Tz;
use shot::{LocalDay, ParsedMark, ParsedShot};

use crate::instant::local_day;

/// Quality code of a shot whose local time occurred twice and whose place in the file does not tell which; the first was taken.
pub(crate) const AMBIGUOUS_HOUR: &str = "ambiguous-hour";
/// Quality code of a shot whose local time occurred twice and whose place in the file tells which.
pub(crate) const AMBIGUOUS_HOUR_RESOLVED: &str = "ambiguous-hour-resolved";

/// A row with a time.
pub(crate) trait Timed {
    /// Its session, within which rows stand in time order.
    fn session(&self) -> Option<&str>;
    /// Its instant in UTC microseconds, the local date, and the quality codes.
    fn time(&mut self) -> (&mut i64, &mut LocalDay, &mut Vec<String>);
    fn micros(&self) -> i64;
}

impl Timed for ParsedShot {
    fn session(&self) -> Option<&str> {
        self.session_text.as_deref()
    }

    fn time(&mut self) -> (&mut i64, &mut LocalDay, &mut Vec<String>) {
        (&mut self.struck_at, &mut self.local_date, &mut self.quality)
    }

    fn micros(&self) -> i64 {
        self.struck_at
    }
}

impl Timed for ParsedMark {
    fn session(&self) -> Option<&str> {
        self.session_text.as_deref()
    }

    fn time(&mut self) -> (&mut i64, &mut LocalDay, &mut Vec<String>) {
        (&mut self.noted_at, &mut self.local_date, &mut self.quality)
    }

    fn micros(&self) -> i64 {
        self.noted_at
    }
}

/// Once all rows are known, their order tells most rows of a repeated hour apart. `later` holds the second instant (µs) of such
/// rows by their place in `rows`.
pub(crate) fn settle<T: Timed>(rows: &mut [T], later: &[(usize, i64)], zone: Tz) {
    if later.is_empty() || rows.is_empty() {
        return;
    }
    let later: HashMap<usize, i64> = later.iter().copied().collect();
    let mut sessions: BTreeMap<Option<&str>, Vec<usize>> = BTreeMap::new();
    for (place, row) in rows.iter().enumerate() {
        sessions.entry(row.session()).or_default().push(place);
    }
    let places: Vec<Vec<usize>> = sessions.into_values().collect();
    let possible = |place: &usize| Possible { first: rows[*place].micros(), later: later.get(place).copied() };
    let possibles: Vec<Vec<Possible>> = places.iter().map(|places| places.iter().map(possible).collect()).collect();
    for (place, choice) in places.iter().flatten().zip(decide(&possibles).into_iter().flatten()) {
        let (micros, day, quality) = rows[*place].time();
        if matches!(choice, Choice::First | Choice::Later) {
            quality.retain(|code| code != AMBIGUOUS_HOUR);
            quality.push(AMBIGUOUS_HOUR_RESOLVED.to_owned());
        }
        let later = later.get(place).filter(|_| choice == Choice::Later);
        if let Some(instant) = later.and_then(|micros| DateTime::from_timestamp_micros(*micros)) {
            *micros = instant.timestamp_micros();
            *day = local_day(instant, zone);
        }
    }
}

/// The instants a row can be of, in any one unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Possible {
    pub first: i64,
    /// Where the local time occurred twice.
    pub later: Option<i64>,
}

/// What the order tells of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Choice {
    /// The local time occurred once.
    Certain,
    First,
    Later,
    Undecided,
}

/// Decides the rows of each session. Rows are taken to stand oldest first, unless the certain rows of the file show more steps
/// back than forward.
pub(crate) fn decide(sessions: &[Vec<Possible>]) -> Vec<Vec<Choice>> {
    let (mut forward, mut back) = (0, 0);
    for session in sessions {
        let certain: Vec<i64> = session.iter().filter(|row| row.later.is_none()).map(|row| row.first).collect();
        for step in certain.windows(2) {
            forward += usize::from(step[1] > step[0]);
            back += usize::from(step[1] < step[0]);
        }
    }
    let newest_first = back > forward;
    let decided = sessions.iter().map(|session| {
        if newest_first {
            let reversed: Vec<Possible> = session.iter().rev().copied().collect();
            decide_ascending(&reversed).into_iter().rev().collect()
        } else {
            decide_ascending(session)
        }
    });
    decided.collect()
}

/// The earliest and the latest instant that each row can have in an ascending order; where they agree, the row is decided.
fn decide_ascending(rows: &[Possible]) -> Vec<Choice> {
    let undecided = |row: &Possible| if row.later.is_some() { Choice::Undecided } else { Choice::Certain };
    let mut earliest = Vec::with_capacity(rows.len());
    let mut bound = i64::MIN;
    for row in rows {
        let later = row.later.unwrap_or(row.first);
        bound = if row.first >= bound { row.first } else { later.max(bound) };
        earliest.push(bound);
    }
    let mut latest = vec![0; rows.len()];
    let mut bound = i64::MAX;
    for (place, row) in rows.iter().enumerate().rev() {
        let later = row.later.unwrap_or(row.first);
        bound = if later <= bound { later } else { row.first.min(bound) };
        latest[place] = bound;
    }
    let mut choices = Vec::with_capacity(rows.len());
    for ((row, earliest), latest) in rows.iter().zip(earliest).zip(latest) {
        let possible = |instant: i64| instant == row.first || row.later == Some(instant);
        if !possible(earliest) || !possible(latest) {
            // The rows stand in no order at all, which then tells nothing.
            return rows.iter().map(undecided).collect();
        }
        choices.push(match row.later {
            None => Choice::Certain,
            Some(_) if earliest != latest => Choice::Undecided,
            Some(later) if later == earliest => Choice::Later,
            Some(_) => Choice::First,
        });
    }
    choices
}

#[cfg(test)]
mod tests {
    use super::Choice::{Certain, First, Later, Undecided};
    use super::*;

    /// Minutes of UTC; the hour from 60 to 120 occurs again from 120 to 180.
    fn twice(minute: i64) -> Possible {
        Possible { first: minute, later: Some(minute + 60) }
    }

    fn once(minute: i64) -> Possible {
        Possible { first: minute, later: None }
    }

    #[test]
    fn the_order_decides_what_it_can() {
        let cases = [
            (vec![once(50), twice(70), twice(110), twice(65), once(190)], vec![Certain, First, First, Later, Certain]),
            (vec![twice(70), twice(110)], vec![Undecided, Undecided]),
            (vec![twice(110), twice(110), twice(61), twice(115)], vec![First, First, Later, Later]),
            (vec![once(50), twice(70), once(40)], vec![Certain, Undecided, Certain]),
            (vec![twice(110), twice(80), twice(70)], vec![Undecided; 3]),
            (vec![], vec![]),
        ];
        for (rows, expected) in cases {
            assert_eq!(decide(std::slice::from_ref(&rows)), [expected], "{rows:?}");
        }
    }

    #[test]
    fn newest_first_is_seen_by_the_certain_rows() {
        let sessions = [vec![once(200), twice(65), twice(110)], vec![once(40), once(30)], vec![twice(70), twice(80)]];
        let expected = [vec![Certain, Later, First], vec![Certain, Certain], vec![Later, First]];
        assert_eq!(decide(&sessions), expected);
    }
}
