//! Shots and marks in the order of time, and the pairs that can belong together at one offset.

use crate::{LinkSettings, MarkMoment, ShotMoment};

/// Clocks of one site do not differ by more than this many deviations plus a careless one; beyond, a pair is impossible.
const FARTHEST_DEVIATIONS: f64 = 5.0;
/// No clock notes better than this, s; a smaller stated deviation is raised to it.
const BEST_CLOCK_S: f64 = 0.05;

/// The entries with finite times, each side sorted by time.
#[derive(Debug)]
pub(crate) struct Ordered {
    pub shots: Vec<ShotMoment>,
    pub marks: Vec<MarkMoment>,
    /// Position of each sorted shot in the caller's list.
    pub shot_positions: Vec<usize>,
    pub mark_positions: Vec<usize>,
    /// Swings per second while somebody plays.
    pub rate: f64,
}

/// A pair that can belong together: its shot and its weight against both being alone.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub shot: usize,
    pub weight: f64,
}

impl Ordered {
    pub fn new(shots: &[ShotMoment], marks: &[MarkMoment]) -> Ordered {
        let shot_positions = sorted_positions(shots.iter().map(|shot| shot.seconds));
        let mark_positions = sorted_positions(marks.iter().map(|mark| mark.seconds));
        let shots: Vec<ShotMoment> = shot_positions.iter().map(|position| shots[*position]).collect();
        let marks: Vec<MarkMoment> = mark_positions.iter().map(|position| marks[*position]).collect();
        let rate = rate_of(&shots);
        Ordered { shots, marks, shot_positions, mark_positions, rate }
    }

    /// Whether the gaps between shots are nearly equal: half of them lie within a seventh of the median gap.
    pub fn is_steady(&self) -> bool {
        let gaps = gaps_of(&self.shots);
        let Some(median) = gaps.get(gaps.len() / 2).copied() else { return true };
        let mut distances: Vec<f64> = gaps.iter().map(|gap| (gap - median).abs()).collect();
        distances.sort_by(f64::total_cmp);
        distances[distances.len() / 2] < median / 7.0
    }

    /// The candidates of one mark at one offset.
    pub fn candidates(&self, mark: &MarkMoment, offset_s: f64, settings: &LinkSettings, found: &mut Vec<Candidate>) {
        found.clear();
        let deviation = deviation_of(mark);
        let reach = FARTHEST_DEVIATIONS
            * deviation.max(if settings.careless_share > 0.0 { settings.careless_sd_s } else { 0.0 });
        let expected = mark.seconds - offset_s;
        let first = self.shots.partition_point(|shot| shot.seconds < expected - reach);
        for (position, shot) in self.shots.iter().enumerate().skip(first) {
            if shot.seconds > expected + reach {
                break;
            }
            if differ(shot.player, mark.player) || differ(shot.club, mark.club) {
                continue;
            }
            let weight = self.weight(shot.seconds - expected, deviation, settings);
            if weight > 0.0 {
                found.push(Candidate { shot: position, weight });
            }
        }
    }

    /// How much more probable it is that shot and mark are one swing than that each is a swing of its own.
    fn weight(&self, error_s: f64, deviation_s: f64, settings: &LinkSettings) -> f64 {
        let careless = settings.careless_share.clamp(0.0, 1.0);
        let density = (1.0 - careless) * normal_density(error_s, deviation_s)
            + careless * normal_density(error_s, settings.careless_sd_s.hypot(deviation_s));
        let (no_shot, no_mark) = (share(settings.missing_shot_share), share(settings.missing_mark_share));
        // A swing of its own among the marks can lie anywhere while somebody plays.
        density * (1.0 - no_shot) * (1.0 - no_mark) / (no_shot * no_mark * self.rate)
    }
}

pub(crate) fn deviation_of(mark: &MarkMoment) -> f64 {
    if mark.seconds_sd.is_finite() { mark.seconds_sd.max(BEST_CLOCK_S) } else { BEST_CLOCK_S }
}

/// Nothing is ever complete, and nothing lacks altogether: a share of zero or one would forbid what happens.
fn share(stated: f64) -> f64 {
    if stated.is_finite() { stated.clamp(1e-4, 0.9) } else { 0.05 }
}

fn differ(one: Option<u32>, other: Option<u32>) -> bool {
    matches!((one, other), (Some(one), Some(other)) if one != other)
}

fn normal_density(error: f64, deviation: f64) -> f64 {
    let scaled = error / deviation;
    (-0.5 * scaled * scaled).exp() / (deviation * (2.0 * std::f64::consts::PI).sqrt())
}

fn sorted_positions(seconds: impl Iterator<Item = f64>) -> Vec<usize> {
    let mut finite: Vec<(f64, usize)> =
        seconds.enumerate().filter(|(_, time)| time.is_finite()).map(|(position, time)| (time, position)).collect();
    finite.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.cmp(&other.1)));
    finite.into_iter().map(|(_, position)| position).collect()
}

fn gaps_of(shots: &[ShotMoment]) -> Vec<f64> {
    let mut gaps: Vec<f64> = shots.windows(2).map(|pair| pair[1].seconds - pair[0].seconds).collect();
    gaps.sort_by(f64::total_cmp);
    gaps
}

/// One over the median gap: pauses do not count as play.
fn rate_of(shots: &[ShotMoment]) -> f64 {
    let gaps = gaps_of(shots);
    let median = gaps.get(gaps.len() / 2).copied().unwrap_or(40.0);
    1.0 / median.clamp(2.0, 600.0)
}
