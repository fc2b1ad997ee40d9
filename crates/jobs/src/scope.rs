//! Which days of a job's output must be computed anew, and which input months that needs.
//!
//! A row of day d may be made from the inputs of the whole weeks from `look_back_weeks` before d's week to the end of d's
//! week. So a changed input month makes the days from its first Monday to the end of its last week, plus the look-back, due.

use std::collections::{BTreeMap, BTreeSet};

use shot::{LocalDay, Month, monday_of};

use crate::pack::JobInput;

/// Which file of a dataset was read, as of which content: `<dataset>[/<month>]` to a mark of the content.
pub(crate) type Generations = BTreeMap<String, String>;

/// A range of output days, both ends included; always whole weeks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Window {
    pub first: LocalDay,
    pub last: LocalDay,
}

impl Window {
    /// All days there can be: the rows of every month are made.
    pub const ALL: Window = Window { first: LocalDay::MIN, last: LocalDay::MAX };

    /// The whole weeks that hold the days from `first` to `last`.
    pub fn of_weeks(first: LocalDay, last: LocalDay) -> Window {
        Window { first: monday_of(first), last: monday_of(last) + 6 }
    }

    pub fn is_all(self) -> bool {
        self == Window::ALL
    }

    pub fn holds(self, day: LocalDay) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// Whether a month has a day in the window.
    pub fn touches(self, month: Month) -> bool {
        first_day(month) <= self.last && self.first <= last_day(month)
    }

    /// The input days that the window's rows may be made from.
    pub fn with_look_back(self, weeks: u32) -> Window {
        if self.is_all() {
            return self;
        }
        let days = i32::try_from(weeks).unwrap_or(i32::MAX).saturating_mul(7);
        let whole = Window::of_weeks(self.first, self.last);
        Window { first: whole.first.saturating_sub(days), last: whole.last }
    }

    /// The window in pieces of so many months, of those months that `months` (ascending) holds; the whole window where that
    /// is one piece.
    pub fn in_pieces(self, months_at_once: u32, months: &[Month]) -> Vec<Window> {
        let touched: Vec<Month> = months.iter().copied().filter(|month| self.touches(*month)).collect();
        let mut pieces = Vec::new();
        for part in touched.chunks(months_at_once.max(1) as usize) {
            let (Some(first), Some(last)) = (part.first(), part.last()) else { continue };
            pieces.push(Window { first: first_day(*first).max(self.first), last: last_day(*last).min(self.last) });
        }
        if pieces.len() < 2 { vec![self] } else { pieces }
    }
}

/// The months that rows of a job can fall into, ascending: those that its inputs reach.
pub(crate) fn output_months(inputs: &[JobInput], generations: &Generations) -> Vec<Month> {
    let mut months = BTreeSet::new();
    for name in generations.keys() {
        let Some((dataset, month)) =
            name.split_once('/').and_then(|(dataset, text)| Some((dataset, Month::parse(text)?)))
        else {
            continue;
        };
        let weeks = inputs.iter().find(|input| input.dataset == dataset).map_or(0, |input| input.look_back_weeks);
        let reach = i32::try_from(weeks).unwrap_or(i32::MAX).saturating_mul(7);
        let plain = Window::of_weeks(first_day(month), last_day(month));
        let mut reached = Month::of_day(plain.first);
        let last = Month::of_day(plain.last.saturating_add(reach));
        while reached <= last {
            months.insert(reached);
            reached = Month::of_day(last_day(reached) + 1);
        }
    }
    months.into_iter().collect()
}

/// What one run of a job has to make.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Due {
    /// Nothing changed.
    Nothing,
    /// These windows, ascending and apart from each other.
    Windows(Vec<Window>),
}

/// Compares the inputs as they are with what the last good run read. Without a last run, with a changed job (another
/// fingerprint) or a changed input without months, everything is due.
pub(crate) fn due(inputs: &[JobInput], partitioned: bool, now: &Generations, before: Option<&Generations>) -> Due {
    let Some(before) = before else { return Due::Windows(vec![Window::ALL]) };
    let mut windows = Vec::new();
    for name in now.keys().chain(before.keys()) {
        if now.get(name) == before.get(name) {
            continue;
        }
        let Some((dataset, month)) =
            name.split_once('/').and_then(|(dataset, text)| Some((dataset, Month::parse(text)?)))
        else {
            return Due::Windows(vec![Window::ALL]);
        };
        if !partitioned {
            return Due::Windows(vec![Window::ALL]);
        }
        let weeks = inputs.iter().find(|input| input.dataset == dataset).map_or(0, |input| input.look_back_weeks);
        let reach = i32::try_from(weeks).unwrap_or(i32::MAX).saturating_mul(7);
        let plain = Window::of_weeks(first_day(month), last_day(month));
        windows.push(Window { first: plain.first, last: plain.last.saturating_add(reach) });
    }
    if windows.is_empty() { Due::Nothing } else { Due::Windows(joined(windows)) }
}

/// Windows that overlap or share a month made one, so that each output month belongs to one window.
fn joined(mut windows: Vec<Window>) -> Vec<Window> {
    windows.sort_by_key(|window| window.first);
    let mut apart: Vec<Window> = Vec::new();
    for window in windows {
        match apart.last_mut() {
            Some(previous) if Month::of_day(window.first) <= Month::of_day(previous.last) => {
                previous.last = previous.last.max(window.last);
            }
            _ => apart.push(window),
        }
    }
    apart
}

/// The generations as JSON, for the ledger and for `job_runs`.
pub(crate) fn to_text(generations: &Generations) -> String {
    serde_json::to_string(generations).unwrap_or_default()
}

/// The generations of such a text; `None` where it is none, so that everything counts as due.
pub(crate) fn from_text(text: &str) -> Option<Generations> {
    serde_json::from_str(text).ok()
}

/// Days from 1970-01-01 to the first of a month.
pub(crate) fn first_day(month: Month) -> LocalDay {
    let date = chrono::NaiveDate::from_ymd_opt(month.year, month.month, 1);
    date.map_or(LocalDay::MIN, day_of)
}

/// Days from 1970-01-01 to the last of a month.
pub(crate) fn last_day(month: Month) -> LocalDay {
    let (year, next) = if month.month == 12 { (month.year + 1, 1) } else { (month.year, month.month + 1) };
    first_day(Month { year, month: next }) - 1
}

/// Days from 1970-01-01.
pub(crate) fn day_of(date: chrono::NaiveDate) -> LocalDay {
    use chrono::Datelike;
    /// 1970-01-01 counted from 0001-01-01, which chrono calls day 1.
    const EPOCH: i32 = 719_163;
    date.num_days_from_ce() - EPOCH
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> LocalDay {
        day_of(text.parse().expect("a date"))
    }

    fn generations(text: &str) -> Generations {
        let pairs = text.split_whitespace().filter_map(|pair| pair.split_once('='));
        pairs.map(|(name, mark)| (name.to_owned(), mark.to_owned())).collect()
    }

    fn inputs(weeks: u32) -> Vec<JobInput> {
        vec![
            JobInput { dataset: "shots".into(), look_back_weeks: weeks },
            JobInput { dataset: "players".into(), look_back_weeks: 0 },
        ]
    }

    #[test]
    fn days_count_from_the_epoch() {
        assert_eq!(day("1970-01-01"), 0);
        assert_eq!(day("2000-03-01"), 11_017); // [source: the calendar of crates/shot, which tests the same day]
        assert_eq!(last_day(Month { year: 2024, month: 2 }), day("2024-02-29"));
        assert_eq!(last_day(Month { year: 2026, month: 12 }), day("2026-12-31"));
    }

    #[test]
    fn a_changed_month_reaches_forward_by_the_look_back() {
        let before = generations("shots/2026-02=1 shots/2026-03=1 players=1");
        let now = generations("shots/2026-02=1 shots/2026-03=2 players=1");
        // March 2026 starts on a Sunday, in the week of Monday 23 February, and ends in the week to Sunday 5 April.
        let plain = Window { first: day("2026-02-23"), last: day("2026-04-05") };
        assert_eq!(due(&inputs(0), true, &now, Some(&before)), Due::Windows(vec![plain]));
        let reached = Window { last: day("2026-05-03"), ..plain };
        assert_eq!(due(&inputs(4), true, &now, Some(&before)), Due::Windows(vec![reached]));
        assert_eq!(reached.with_look_back(4).first, day("2026-01-26"));
        assert_eq!(due(&inputs(4), false, &now, Some(&before)), Due::Windows(vec![Window::ALL]));
    }

    #[test]
    fn the_text_in_the_ledger_reads_back() {
        let read = generations("shots/2026-02=1 players=1");
        assert_eq!(from_text(&to_text(&read)), Some(read));
        assert_eq!(from_text("shots/2026-02=1"), None);
    }

    #[test]
    fn what_did_not_change_is_not_due() {
        let same = generations("shots/2026-02=1 players=1");
        assert_eq!(due(&inputs(9), true, &same, Some(&same)), Due::Nothing);
    }

    #[test]
    fn a_changed_dimension_or_a_first_run_makes_everything_due() {
        let before = generations("shots/2026-02=1 players=1");
        let all = Due::Windows(vec![Window::ALL]);
        assert_eq!(due(&inputs(0), true, &generations("shots/2026-02=1 players=2"), Some(&before)), all);
        assert_eq!(due(&inputs(0), true, &before, None), all);
    }

    #[test]
    fn far_months_are_separate_windows_and_near_ones_are_joined() {
        let before = generations("");
        let now = generations("shots/2025-01=1 shots/2026-02=1 shots/2026-03=1");
        let Due::Windows(windows) = due(&inputs(0), true, &now, Some(&before)) else { panic!("something is due") };
        assert_eq!(windows.len(), 2);
        assert_eq!(windows[1], Window { first: day("2026-01-26"), last: day("2026-04-05") });
    }

    #[test]
    fn pieces_of_a_window_hold_every_day_once_and_look_back_by_whole_weeks() {
        let read = generations("shots/2026-01=1 shots/2026-03=1 players=1");
        let months = output_months(&inputs(1), &read);
        let texts: Vec<String> = months.iter().map(ToString::to_string).collect();
        // January 2026 begins on a Thursday: its first week holds days of December; the look-back of a week reaches February.
        assert_eq!(texts, ["2025-12", "2026-01", "2026-02", "2026-03", "2026-04"]);
        let pieces = Window::ALL.in_pieces(2, &months);
        assert_eq!(pieces.len(), 3);
        assert_eq!(pieces[0], Window { first: day("2025-12-01"), last: day("2026-01-31") });
        assert_eq!(pieces[1].first, day("2026-02-01"));
        // The 1st of February 2026 is a Sunday, of the week that begins on 26 January.
        assert_eq!(pieces[1].with_look_back(1).first, day("2026-01-19"));
        assert_eq!(pieces[1].with_look_back(0).last, day("2026-04-05"));
        let narrow = Window { first: day("2026-01-26"), last: day("2026-02-08") };
        assert_eq!(narrow.in_pieces(1, &months)[1], Window { first: day("2026-02-01"), last: day("2026-02-08") });
        assert_eq!(narrow.in_pieces(9, &months), [narrow]);
    }

    #[test]
    fn a_removed_input_month_is_a_change() {
        let before = generations("shots/2026-02=1 shots/2026-03=1");
        let now = generations("shots/2026-02=1");
        assert!(matches!(due(&inputs(0), true, &now, Some(&before)), Due::Windows(windows) if windows.len() == 1));
    }
}
