//! What holds of reading any bytes with any pack. The fuzz targets under `tests/fuzz` use this file too.

use std::ops::RangeInclusive;

use formats::{Pack, ParsedFile, SiteContext};
use shot::Severity;

/// A problem report is cut to 200 characters and a mark.
const LONGEST_TEXT: usize = 201;

/// Parses bytes and checks everything that must hold of the outcome, whatever they are.
pub fn survive(pack: &Pack, name: &str, bytes: &[u8], site: &SiteContext) -> ParsedFile {
    let file = pack.parse(name, bytes, site);
    // A line or record takes at least a byte of text; packed records may take less, and are bounded by the limit alone.
    let most = i64::try_from(site.limits.max_rows.max(bytes.len() as u64) + 1).unwrap_or(i64::MAX);
    let places: RangeInclusive<i64> = 1..=most;
    let rejected: Vec<i64> = {
        let rejected = file.problems.iter().filter(|problem| problem.severity == Severity::Rejected);
        rejected.map(|problem| problem.line).collect()
    };
    // Every row is taken, rejected or said to hold no mark, never two of these and never lost, unless the whole file is refused.
    if !rejected.contains(&0) {
        let unmarked = file.problems.iter().filter(|problem| problem.rule == "no-mark").count();
        let kept = (file.shots.len() + file.marks.len() + unmarked) as u64;
        assert_eq!(kept + file.rows_rejected(), file.rows_seen, "{:?}", file.problems);
    }
    assert!(file.shots.is_empty() || file.marks.is_empty());
    assert!(file.rows_seen <= site.limits.max_rows + 1);
    let lost: std::collections::HashSet<i64> = rejected.into_iter().collect();
    for shot in &file.shots {
        assert!(places.contains(&shot.source_row), "{}", shot.source_row);
        assert!(!lost.contains(&shot.source_row), "{} is both taken and rejected", shot.source_row);
        assert!(shot.measures.implausible().is_empty());
    }
    for mark in &file.marks {
        assert!(places.contains(&mark.source_row) && !lost.contains(&mark.source_row), "{}", mark.source_row);
    }
    assert!(file.problems.len() <= 21_000, "problems are bounded");
    for problem in &file.problems {
        assert!(problem.line == 0 || places.contains(&problem.line), "{problem:?}");
        assert!(problem.text.chars().count() <= LONGEST_TEXT, "{problem:?}");
        assert!(problem.message.chars().count() <= 2_000, "{problem:?}");
        assert!(!problem.message.is_empty() && !problem.hint.is_empty(), "{problem:?}");
        assert!(formats::Rule::ALL.iter().any(|rule| rule.word() == problem.rule), "{problem:?}");
    }
    assert!((0.0..=1.0).contains(&file.problem_share()));
    let _ = pack.structural_end(bytes);
    file
}
