//! The study's table, in Markdown.

use crate::run::Cell;
use crate::tally::{Estimate, Tally};

/// Bins of told probabilities with fewer cases say nothing.
pub const ENOUGH_FOR_A_BIN: f64 = 100.0;

pub const HEADER: &str = "\
| measured | club | shots | misses | loss covered | toe covered | up covered | loss bias m | loss rmse m | worst bin | strike | delivery | either | both needed | neither | cannot tell | false strike | misread right |
|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|
";

/// One table of all cells.
pub fn table(cells: &[Cell]) -> String {
    let mut text = HEADER.to_owned();
    for cell in cells {
        text.push_str(&row(cell.capability.name, &cell.head, &cell.tally));
    }
    text
}

fn row(capability: &str, club: &str, tally: &Tally) -> String {
    let mut cells =
        vec![capability.to_owned(), club.to_owned(), tally.shots.to_string(), tally.true_misses.to_string()];
    for covered in [&tally.loss_covered, &tally.toe_covered, &tally.up_covered] {
        cells.push(percent(covered.share()));
    }
    cells.push(number(tally.loss_error.mean(), 2));
    cells.push(number(tally.loss_squared_error.mean().map(|mean| Estimate { value: mean.value.sqrt(), ..mean }), 2));
    cells.push(number(tally.worst_bin(ENOUGH_FOR_A_BIN), 3));
    for named in &tally.causes {
        cells.push(format!("{}/{}", percent(named.recall.share()), percent(named.precision.share())));
    }
    for share in [&tally.cannot_tell, &tally.false_strike, &tally.misread_right] {
        cells.push(percent(share.share()));
    }
    format!("| {} |\n", cells.join(" | "))
}

fn percent(share: Option<Estimate>) -> String {
    share.map_or_else(|| "-".to_owned(), |share| format!("{:.1}", 100.0 * share.value))
}

fn number(mean: Option<Estimate>, decimals: usize) -> String {
    mean.map_or_else(|| "-".to_owned(), |mean| format!("{:+.decimals$}", mean.value))
}
