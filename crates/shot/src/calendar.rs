//! Local days, weeks and months as plain numbers, so that this crate needs no calendar library and no clock.

/// A local calendar day, counted from 1970-01-01 (Arrow `Date32`).
pub type LocalDay = i32;

/// The Monday of the ISO week that holds `day`.
pub fn monday_of(day: LocalDay) -> LocalDay {
    // 1970-01-01 was a Thursday, three days after its Monday.
    day - (day + 3).rem_euclid(7)
}

/// A calendar month of a local date: the partition key of every dataset that has one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Month {
    /// Calendar year.
    pub year: i32,
    /// Month of the year, 1 to 12.
    pub month: u32,
}

impl Month {
    /// The month that holds a local day (proleptic Gregorian calendar).
    pub fn of_day(day: LocalDay) -> Month {
        // Days to civil date by eras of 400 years that start on 1 March, so that the leap day ends a year.
        let shifted = i64::from(day) + 719_468;
        let era = shifted.div_euclid(146_097);
        let day_of_era = shifted.rem_euclid(146_097);
        let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let month_from_march = (5 * day_of_year + 2) / 153;
        let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
        let year = year_of_era + era * 400 + i64::from(month <= 2);
        Month { year: year as i32, month: month as u32 }
    }

    /// Reads `YYYY-MM`.
    pub fn parse(text: &str) -> Option<Month> {
        let (year, month) = text.split_once('-')?;
        if year.len() != 4 || month.len() != 2 {
            return None;
        }
        let month: u32 = month.parse().ok()?;
        (1..=12).contains(&month).then_some(Month { year: year.parse().ok()?, month })
    }
}

impl std::fmt::Display for Month {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{:04}-{:02}", self.year, self.month)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weeks_start_on_monday() {
        assert_eq!(monday_of(0), -3); // Thursday 1970-01-01 belongs to Monday 1969-12-29
        assert_eq!(monday_of(4), 4); // Monday 1970-01-05
        assert_eq!(monday_of(10), 4);
    }

    #[test]
    fn months_follow_the_gregorian_calendar() {
        let cases = [(0, "1970-01"), (-1, "1969-12"), (11_016, "2000-02"), (11_017, "2000-03"), (20_782, "2026-11")];
        for (day, expected) in cases {
            assert_eq!(Month::of_day(day).to_string(), expected, "day {day}");
            assert_eq!(Month::parse(expected), Some(Month::of_day(day)));
        }
        assert_eq!(Month::parse("2026-13"), None);
    }
}
