//! The unknown offset: how probable each one is, and the links averaged over them.

use crate::LinkSettings;
use crate::chains::Chains;
use crate::pairs::{Ordered, deviation_of};

/// Offsets this much less probable than the best one are left out of the average (logarithm).
const NEGLIGIBLE: f64 = -16.0;
/// The most offsets a grid holds.
const MOST_OFFSETS: usize = 4_000;
/// Probability about the best offset from which on no other one is left.
const IDENTIFIED: f64 = 0.99;
/// The same where shots follow each other in a steady rhythm. A lost shot then leaves a hole where a stray mark is to be
/// expected, which the model takes for a coincidence: offsets a whole shot away are several times likelier than computed.
const IDENTIFIED_STEADY: f64 = 0.9998;

/// Links averaged over the offsets.
pub(crate) struct OffsetPosterior {
    /// For each mark: shots with the probability of the pair.
    pub links: Vec<Vec<(usize, f64)>>,
    /// Offsets with their probabilities.
    offsets: Vec<(f64, f64)>,
    /// Offsets nearer than this to each other are one.
    width_s: f64,
    /// Distance of two offsets of the grid.
    step_s: f64,
    /// Probability about the best offset from which on no other one is left.
    pub enough: f64,
}

impl OffsetPosterior {
    pub fn of(ordered: &Ordered, settings: &LinkSettings) -> OffsetPosterior {
        let mut empty = OffsetPosterior {
            links: vec![Vec::new(); ordered.marks.len()],
            offsets: Vec::new(),
            width_s: 0.0,
            step_s: 0.0,
            enough: if ordered.is_steady() { IDENTIFIED_STEADY } else { IDENTIFIED },
        };
        if ordered.shots.is_empty() || ordered.marks.is_empty() {
            return empty;
        }
        let sharpest = ordered.marks.iter().map(deviation_of).fold(f64::INFINITY, f64::min);
        let mut logs = Vec::new();
        let offsets = grid(sharpest, settings);
        empty.step_s = offsets.windows(2).next().map_or(0.0, |two| two[1] - two[0]);
        for offset in offsets {
            let prior = settings.offset_prior.map_or(0.0, |(mean, deviation)| {
                let scaled = (offset - mean) / deviation.max(0.1);
                -0.5 * scaled * scaled
            });
            let log = Chains::forward(ordered, offset, settings).log_total + prior;
            if log.is_finite() {
                logs.push((offset, log));
            }
        }
        let best = logs.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
        logs.retain(|(_, log)| log - best > NEGLIGIBLE);
        let total: f64 = logs.iter().map(|(_, log)| (log - best).exp()).sum();
        empty.width_s = (4.0 * sharpest).max(3.0);
        for (offset, log) in logs {
            let probability = (log - best).exp() / total;
            empty.offsets.push((offset, probability));
            let chains = Chains::forward(ordered, offset, settings);
            for (all, these) in empty.links.iter_mut().zip(chains.probabilities(ordered.shots.len())) {
                for (shot, given_offset) in these {
                    match all.iter_mut().find(|(known, _)| *known == shot) {
                        Some((_, sum)) => *sum += probability * given_offset,
                        None => all.push((shot, probability * given_offset)),
                    }
                }
            }
        }
        empty
    }

    /// Mean and deviation about the likeliest offset, and whether no other one is left.
    pub fn summary(&self) -> Option<(f64, f64, bool)> {
        let linked = self.links.iter().flatten().any(|(_, probability)| *probability > 0.01);
        let (peak, _) =
            self.offsets.iter().copied().max_by(|one, other| one.1.total_cmp(&other.1)).filter(|_| linked)?;
        let near: Vec<(f64, f64)> =
            self.offsets.iter().copied().filter(|(offset, _)| (offset - peak).abs() <= self.width_s).collect();
        let mass: f64 = near.iter().map(|(_, probability)| probability).sum();
        let mean = near.iter().map(|(offset, probability)| offset * probability).sum::<f64>() / mass;
        let variance = near.iter().map(|(offset, p)| p * (offset - mean) * (offset - mean)).sum::<f64>() / mass;
        // Between two points of the grid the offset can lie anywhere.
        let deviation = (variance + self.step_s * self.step_s / 12.0).sqrt();
        Some((mean, deviation, mass >= self.enough))
    }
}

/// Offsets half a deviation apart.
fn grid(sharpest_s: f64, settings: &LinkSettings) -> Vec<f64> {
    let largest =
        if settings.largest_offset_s.is_finite() { settings.largest_offset_s.clamp(0.0, 86_400.0) } else { 200.0 };
    let (mut low, mut high) = (-largest, largest);
    if let Some((mean, deviation)) =
        settings.offset_prior.filter(|(mean, deviation)| mean.is_finite() && deviation.is_finite())
    {
        low = low.max(mean - 6.0 * deviation.max(0.1));
        high = high.min(mean + 6.0 * deviation.max(0.1));
    }
    let step = (0.5 * sharpest_s).clamp(0.25, 5.0).max((high - low) / MOST_OFFSETS as f64);
    let count = if step > 0.0 && high > low { ((high - low) / step).ceil() as usize } else { 0 };
    (0..=count).map(|place| low + (high - low) * place as f64 / count.max(1) as f64).collect()
}
