//! The study's table, in Markdown.

use impact::HeadKind;

use crate::capability::Capability;
use crate::run::Cell;
use crate::tally::{Estimate, Named, Tally};

/// Bins of told probabilities with fewer cases say nothing.
pub const ENOUGH_FOR_A_BIN: f64 = 100.0;

/// Clubs that are looked at together.
pub const GROUPS: [(&str, HeadKind); 5] = [
    ("driver", HeadKind::Driver),
    ("fairway wood", HeadKind::FairwayWood),
    ("hybrid", HeadKind::Hybrid),
    ("iron", HeadKind::Iron),
    ("wedge", HeadKind::Wedge),
];

const COLUMNS: [&str; 18] = [
    "measured",
    "club",
    "shots",
    "misses",
    "loss",
    "toe",
    "up",
    "bias",
    "rmse",
    "worst bin",
    "strike",
    "delivery",
    "either",
    "both needed",
    "neither",
    "cannot tell",
    "false strike",
    "misread",
];

/// Cells of one capability over all heads of a kind.
pub fn pooled(cells: &[Cell], capability: &Capability, kind: HeadKind) -> Tally {
    let mut sum = Tally::default();
    for cell in cells {
        if cell.capability == *capability && cell.kind == kind {
            sum.append(&cell.tally);
        }
    }
    sum
}

/// One table of all cells, heads of a kind together. Sets and clubs of which nothing was told are named below it.
pub fn table(cells: &[Cell]) -> String {
    let mut text = format!("| {} |\n|---|---|{}\n", COLUMNS.join(" | "), "---:|".repeat(COLUMNS.len() - 2));
    let mut silent = Vec::new();
    for capability in &Capability::ALL {
        for (club, kind) in GROUPS {
            let tally = pooled(cells, capability, kind);
            if tally.shots == 0 {
                continue;
            }
            if tally.loss_covered.mean().is_none() && tally.tells_no_cause() {
                silent.push(format!("{}: {club}", capability.name));
            } else {
                text.push_str(&row(capability.name, club, &tally));
            }
        }
    }
    if !silent.is_empty() {
        let silent = silent.join("; ");
        text.extend([format!("\nNothing told of strike or cause, every miss `cannot tell`: {silent}.\n")]);
    }
    text
}

fn row(capability: &str, club: &str, tally: &Tally) -> String {
    let mut cells =
        vec![capability.to_owned(), club.to_owned(), tally.shots.to_string(), tally.true_misses.to_string()];
    for covered in [&tally.loss_covered, &tally.toe_covered, &tally.up_covered] {
        cells.push(percent(covered.share()));
    }
    cells.push(tally.loss_error.mean().map_or_else(none, |bias| format!("{:+.2}", bias.value)));
    cells.push(tally.loss_squared_error.mean().map_or_else(none, |square| format!("{:.2}", square.value.sqrt())));
    cells.push(tally.worst_bin(ENOUGH_FOR_A_BIN).map_or_else(none, |gap| format!("{:+.2}", gap.value)));
    cells.extend(tally.causes.iter().map(recall_and_precision));
    cells.push(percent(tally.cannot_tell.share()));
    cells.push(percent(tally.false_strike.share()));
    cells.push(recall_and_precision(&tally.misread));
    format!("| {} |\n", cells.join(" | "))
}

fn none() -> String {
    "-".to_owned()
}

fn recall_and_precision(named: &Named) -> String {
    format!("{}/{}", whole_percent(named.recall.share()), whole_percent(named.precision.share()))
}

fn percent(share: Option<Estimate>) -> String {
    share.map_or_else(none, |share| format!("{:.1}", 100.0 * share.value))
}

fn whole_percent(share: Option<Estimate>) -> String {
    share.map_or_else(none, |share| format!("{:.0}", 100.0 * share.value))
}
