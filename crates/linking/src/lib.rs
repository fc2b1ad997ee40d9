//! Which hand-noted strike mark belongs to which shot.
//!
//! A bay without a face sensor notes strike positions by hand, or has a camera that writes its own file. Shots and marks are
//! then joined by **order and time**, although the two clocks differ by an unknown offset and entries lack on both sides.
//!
//! **Model.** Every swing happens once. A swing stands among the shots with probability 1 - `missing_shot_share`, among the
//! marks with probability 1 - `missing_mark_share`, independently. The time of a mark is the time of its shot, plus one offset
//! for the whole group, plus an error: normal with the mark's own deviation, now and then much wider (somebody wrote the time
//! down late). Links never cross: the second mark does not belong to an earlier shot than the first. A mark and a shot that
//! both name a player, or both a club, fit only if they name the same.
//!
//! **Method.** For one offset, the sum over all alignments that do not cross is computed exactly, forward and backward (an
//! alignment is a chain of pairs, each pair later than the one before on both sides; the sum over chains is a prefix sum).
//! That is done for every offset of a grid, and the results are averaged by how probable each offset is. What comes out for
//! every pair is the probability that the two belong together, whatever the offset.
//!
//! **Limits.** One offset for a group: a clock that drifts by more than a few seconds within it needs smaller groups. A rhythm
//! as regular as a metronome fits several offsets a whole shot apart; the marks are then ambiguous, and are said to be.
//! Times are seconds on any common origin; nothing here reads a clock.

mod chains;
mod offsets;
mod pairs;
mod settings;

pub use settings::{LinkSettings, Linking, MarkFate, MarkMoment, ShotMoment};

use offsets::OffsetPosterior;
use pairs::Ordered;

/// Links the marks of one group to its shots. The fates stand in the order of `marks`, shots are named by their position in
/// `shots`; neither needs to be sorted. Entries whose time is not finite belong to nothing.
pub fn link(shots: &[ShotMoment], marks: &[MarkMoment], settings: &LinkSettings) -> Linking {
    let ordered = Ordered::new(shots, marks);
    let posterior = OffsetPosterior::of(&ordered, settings);
    let summary = posterior.summary();
    let identified = summary.is_some_and(|(.., identified)| identified);
    // Where another offset is left, all links of the group are wrong together: that must be rare among groups, not among links.
    let enough = settings.certain_enough.max(if identified { 0.5 } else { posterior.enough });
    let mut fates = vec![MarkFate::Unmatched { probability: 1.0 }; marks.len()];
    for (row, candidates) in posterior.links.iter().enumerate() {
        fates[ordered.mark_positions[row]] = fate(candidates, &ordered, enough, settings.worth_naming);
    }
    Linking {
        fates,
        offset_s: summary.map(|(mean, ..)| mean),
        offset_sd_s: summary.map(|(_, deviation, _)| deviation),
        offset_identified: identified,
    }
}

/// `candidates` are (shot, probability) of one mark.
fn fate(candidates: &[(usize, f64)], ordered: &Ordered, enough: f64, worth_naming: f64) -> MarkFate {
    let belongs: f64 = candidates.iter().map(|(_, probability)| probability).sum();
    let mut likely = Vec::new();
    for (row, probability) in candidates {
        if *probability >= worth_naming {
            likely.push((ordered.shot_positions[*row], *probability));
        }
    }
    likely.sort_by(|one, other| other.1.total_cmp(&one.1).then(one.0.cmp(&other.0)));
    match likely.first() {
        // Two pairs that exclude each other cannot both be more probable than one half, so that links never clash.
        Some((shot, probability)) if *probability >= enough => {
            MarkFate::Linked { shot: *shot, probability: *probability }
        }
        Some(_) if belongs >= 0.5 => MarkFate::Ambiguous { candidates: likely },
        _ => MarkFate::Unmatched { probability: (1.0 - belongs).clamp(0.0, 1.0) },
    }
}
