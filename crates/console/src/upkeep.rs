//! What the people of a site have to look after: names without a player, corrections, clocks of strike marks.

use std::fmt;

/// A name that devices write and that does not lead to a player who may be analysed. Private: for the people of the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenName {
    /// The name as devices write it.
    pub text: String,
    /// The player, where the roster has the name but no consent.
    pub without_consent: Option<String>,
    /// Rows that bear it.
    pub rows: i64,
    /// Last of them by the device's time, UTC microseconds.
    pub last_seen: i64,
}

/// One line of the corrections and what it does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CorrectionUse {
    /// Line of the file.
    pub line: u64,
    /// The line.
    pub text: String,
    /// Shots it selects.
    pub shots: i64,
}

/// The marks of one bay and day.
#[derive(Debug, Clone, PartialEq)]
pub struct MarksOfDay {
    /// The bay; empty where none is named.
    pub bay: String,
    /// The day, `YYYY-MM-DD`.
    pub day: String,
    /// The mapping pack of the marks.
    pub format: String,
    /// Marks.
    pub marks: i64,
    /// Of these, how many several shots fit.
    pub ambiguous: i64,
    /// Lead of the marks' clock over that of the shots, s, with its standard deviation, where it could be told.
    pub clock_offset_s: Option<(f64, f64)>,
}

/// Everything that wants a person now and then.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Upkeep {
    /// Names, seen last first.
    pub names: Vec<OpenName>,
    /// The corrections, in the order of the file.
    pub corrections: Vec<CorrectionUse>,
    /// Faults of single lines of the corrections.
    pub correction_faults: Vec<String>,
    /// Bays and days with strike marks, latest first.
    pub marks: Vec<MarksOfDay>,
}

/// How many lines of each list are shown.
const SHOWN: usize = 8;

impl Upkeep {
    pub(crate) fn show(&self, out: &mut fmt::Formatter<'_>, when: &dyn Fn(i64) -> String) -> fmt::Result {
        self.show_names(out, when)?;
        self.show_corrections(out)?;
        self.show_marks(out)
    }

    fn show_names(&self, out: &mut fmt::Formatter<'_>, when: &dyn Fn(i64) -> String) -> fmt::Result {
        if self.names.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nnames whose shots are kept but not analysed")?;
        for name in self.names.iter().take(SHOWN) {
            let why = match &name.without_consent {
                Some(player) => format!("{player}, without consent"),
                None => "not in the roster".to_owned(),
            };
            let seen = when(name.last_seen);
            writeln!(out, "  {:<24} {:>6} rows, last {seen}  {why}", name.text, name.rows)?;
        }
        if self.names.len() > SHOWN {
            writeln!(out, "  and {} more", self.names.len() - SHOWN)?;
        }
        if self.names.iter().any(|name| name.without_consent.is_none()) {
            let hint = "add the name to the aliases of its player in the roster; earlier shots follow";
            writeln!(out, "  hint: {hint}")?;
        }
        if self.names.iter().any(|name| name.without_consent.is_some()) {
            let hint = "write yes under consent once the player (for a minor also the guardian) agreed";
            writeln!(out, "  hint: {hint}")?;
        }
        Ok(())
    }

    fn show_corrections(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.corrections.is_empty() && self.correction_faults.is_empty() {
            return Ok(());
        }
        let shots: i64 = self.corrections.iter().map(|line| line.shots).sum();
        writeln!(out, "\ncorrections: {} lines select {shots} shots", self.corrections.len())?;
        let (idle, busy): (Vec<_>, Vec<_>) = self.corrections.iter().partition(|line| line.shots == 0);
        if !idle.is_empty() {
            let hint = "a change is applied by the running daemon, or by strikemill import without a path";
            writeln!(out, "  hint: {hint}")?;
        }
        for line in &idle {
            writeln!(out, "  line {:<4} selects no shot so far: {}", line.line, line.text)?;
        }
        for line in busy.iter().rev().take(SHOWN) {
            writeln!(out, "  line {:<4} {:>6} shots  {}", line.line, line.shots, line.text)?;
        }
        if busy.len() > SHOWN {
            writeln!(out, "  and {} more", busy.len() - SHOWN)?;
        }
        for fault in &self.correction_faults {
            writeln!(out, "{}", fault.trim_end())?;
        }
        Ok(())
    }

    fn show_marks(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.marks.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nstrike marks")?;
        let mut told: Vec<(&str, &str)> = Vec::new();
        for day in &self.marks {
            // Latest first: the first one of each bay and pack tells how its clock runs now.
            if told.contains(&(&day.bay, &day.format)) {
                continue;
            }
            told.push((&day.bay, &day.format));
            let offset = match day.clock_offset_s {
                Some((offset, deviation)) => format!("clock {offset:+.1} s ahead of the shots' (sd {deviation:.1} s)"),
                None => "clock not to be told".to_owned(),
            };
            writeln!(out, "  bay {:<6} {:<20} {}: {offset}", day.bay, day.format, day.day)?;
        }
        let open: Vec<&MarksOfDay> = self.marks.iter().filter(|day| day.ambiguous > 0).collect();
        for day in open.iter().take(SHOWN) {
            let (bay, date) = (&day.bay, &day.day);
            writeln!(out, "  bay {bay:<6} {date}: {} of {} marks fit several shots", day.ambiguous, day.marks)?;
        }
        if !open.is_empty() {
            if open.len() > SHOWN {
                writeln!(out, "  and {} more days", open.len() - SHOWN)?;
            }
            writeln!(out, "  hint: SELECT * FROM strike_links WHERE fate = 'ambiguous' tells which")?;
        }
        Ok(())
    }
}
