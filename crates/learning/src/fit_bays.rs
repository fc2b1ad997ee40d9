//! The mixed model of bays, players and sessions.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::bay_offsets::{BayOffset, BayOffsets, BayShot};
use crate::beliefs::median;

/// Deviation of a bay's alignment before anything is known. Common practice, no source: a bay is set up by eye along a line.
const BAY_SD_DEG: f64 = 1.0;
/// Deviation of a player's mean direction about the aim: wide, so that a bay is not judged by who happens to use it, only by
/// players who change bays.
const PLAYER_SD_DEG: f64 = 5.0;
/// A player crosses between two bays with so many shots in each.
const FEWEST_SHOTS_TO_CROSS: usize = 3;
/// Readings farther from the middle of their session than this many deviations count less.
const FAR: f64 = 3.0;
/// A session holds more shots in one bay than anyone hits; what is beyond is cut off so that a mistake costs no memory.
const MOST_CELLS_OF_A_PLAYER: usize = 400;
const LEAST_SPREAD_DEG: f64 = 0.05;

/// All readings of one player's session in one bay.
struct Cell {
    bay: usize,
    player: u32,
    session: u32,
    mean: f64,
    count: f64,
}

/// What the readings of one quantity tell: offset and deviation by bay.
struct Fitted {
    offsets: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// Estimates the constant direction error of every bay. `reference_bay` is one whose alignment was checked: its offset is 0.
///
/// A reading is the bay's offset plus the player's mean direction plus the session's plus chance; offsets are shrunk toward 0 (deviation
/// 1 degree). Only players who change bays tell bays apart. Without a reference bay the offsets of connected bays are told against
/// their common mean, which is uncertain itself, and the deviations say so.
pub fn fit_bay_offsets(shots: &[BayShot], reference_bay: Option<u32>) -> BayOffsets {
    let mut bays: Vec<u32> = shots.iter().map(|shot| shot.bay).collect();
    bays.sort_unstable();
    bays.dedup();
    let reference = reference_bay.and_then(|bay| bays.binary_search(&bay).ok());
    let azimuths = |shot: &BayShot| shot.launch_azimuth_deg;
    let (components, crossing) = components(shots, &bays);
    let fitted = fit(shots, &bays, reference, azimuths);
    let paths = fit(shots, &bays, reference, |shot| shot.path_deg);
    let faces = fit(shots, &bays, reference, |shot| shot.face_deg);

    let mut told = BayOffsets::default();
    for (position, bay) in bays.iter().enumerate() {
        let component = components[position];
        let connected = components.iter().filter(|other| **other == component).count() > 1;
        let identified = connected || reference == Some(position);
        let of = |fitted: &Option<Fitted>| {
            let fitted = fitted.as_ref()?;
            Some((fitted.offsets[position], fitted.covariance[(position, position)].max(0.0).sqrt()))
        };
        let (offset, deviation) = of(&fitted).filter(|_| identified).unwrap_or((0.0, BAY_SD_DEG));
        let seen = |reading: fn(&BayShot) -> Option<f64>| {
            shots.iter().filter(|shot| shot.bay == *bay && usable(reading(shot)).is_some()).count()
        };
        told.bays.push(BayOffset {
            bay: *bay,
            shots: seen(|shot| shot.launch_azimuth_deg),
            crossing_players: crossing[position],
            component,
            identified,
            direction_offset_deg: offset,
            direction_offset_sd_deg: deviation,
            path_offset_deg: of(&paths).filter(|_| identified && seen(|shot| shot.path_deg) > 0),
            face_offset_deg: of(&faces).filter(|_| identified && seen(|shot| shot.face_deg) > 0),
        });
    }
    told
}

fn usable(reading: Option<f64>) -> Option<f64> {
    reading.filter(|value| value.is_finite() && value.abs() <= 60.0)
}

/// The number of each bay's component (the position of its first bay), and how many players cross from it to another bay.
fn components(shots: &[BayShot], bays: &[u32]) -> (Vec<usize>, Vec<usize>) {
    let mut counts: BTreeMap<(u32, usize), usize> = BTreeMap::new();
    for shot in shots {
        if let (Ok(bay), Some(_)) = (bays.binary_search(&shot.bay), usable(shot.launch_azimuth_deg)) {
            *counts.entry((shot.player, bay)).or_default() += 1;
        }
    }
    let mut bays_of_player: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for ((player, bay), count) in counts {
        if count >= FEWEST_SHOTS_TO_CROSS {
            bays_of_player.entry(player).or_default().push(bay);
        }
    }
    let mut component: Vec<usize> = (0..bays.len()).collect();
    let mut crossing = vec![0; bays.len()];
    for visited in bays_of_player.values().filter(|visited| visited.len() > 1) {
        for bay in visited {
            crossing[*bay] += 1;
            let (kept, joined) = (component[visited[0]], component[*bay]);
            let (kept, joined) = (kept.min(joined), kept.max(joined));
            for number in &mut component {
                if *number == joined {
                    *number = kept;
                }
            }
        }
    }
    (component, crossing)
}

/// Gathers the readings of one quantity into cells, and the spread of a reading within them.
fn cells(shots: &[BayShot], bays: &[u32], reading: impl Fn(&BayShot) -> Option<f64>) -> (Vec<Cell>, f64) {
    let mut gathered: BTreeMap<(u32, u32, usize), Vec<f64>> = BTreeMap::new();
    for shot in shots {
        if let (Ok(bay), Some(value)) = (bays.binary_search(&shot.bay), usable(reading(shot))) {
            gathered.entry((shot.player, shot.session, bay)).or_default().push(value);
        }
    }
    // The middle distance from the cells' middles; 0.6745 is that of the standard normal. Half the readings may be wrong.
    let mut distances = Vec::new();
    for values in gathered.values_mut() {
        values.sort_by(f64::total_cmp);
        if values.len() >= 3 {
            let middle = median(values.clone()).unwrap_or(0.0);
            distances.extend(values.iter().map(|value| (value - middle).abs()));
        }
    }
    let spread = median(distances).map_or(2.0, |distance| distance / 0.6745).max(LEAST_SPREAD_DEG);
    let mut found = Vec::with_capacity(gathered.len());
    for ((player, session, bay), values) in gathered {
        let middle = median(values.clone()).unwrap_or(0.0);
        let mut sum = 0.0;
        let mut count = 0.0;
        for value in &values {
            let off = (value - middle).abs() / spread;
            let weight = if off <= FAR { 1.0 } else { (FAR / off).powi(2) };
            sum += weight * value;
            count += weight;
        }
        found.push(Cell { bay, player, session, mean: sum / count, count });
    }
    (found, spread)
}

fn fit(
    shots: &[BayShot],
    bays: &[u32],
    reference: Option<usize>,
    reading: impl Fn(&BayShot) -> Option<f64>,
) -> Option<Fitted> {
    let (cells, spread) = cells(shots, bays, reading);
    if cells.is_empty() {
        return None;
    }
    let mut players: BTreeMap<u32, Vec<&Cell>> = BTreeMap::new();
    for cell in &cells {
        let of_player = players.entry(cell.player).or_default();
        if of_player.len() < MOST_CELLS_OF_A_PLAYER {
            of_player.push(cell);
        }
    }
    let players: Vec<Vec<&Cell>> = players.into_values().collect();
    let session_sd = most_likely_session_spread(&players, bays.len(), reference, spread);
    solve(&players, bays.len(), reference, spread, session_sd).map(|(fitted, _)| fitted)
}

/// Spread of sessions by restricted maximum likelihood: golden section over its logarithm, a fixed number of steps.
fn most_likely_session_spread(players: &[Vec<&Cell>], bays: usize, reference: Option<usize>, spread: f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_8;
    let likelihood = |logarithm: f64| {
        solve(players, bays, reference, spread, logarithm.exp()).map_or(f64::NEG_INFINITY, |(_, likelihood)| likelihood)
    };
    let (mut low, mut high) = (LEAST_SPREAD_DEG.ln(), 5f64.ln());
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_left, mut at_right) = (likelihood(left), likelihood(right));
    for _ in 0..18 {
        if at_left >= at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - GOLDEN * (high - low);
            at_left = likelihood(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + GOLDEN * (high - low);
            at_right = likelihood(right);
        }
    }
    (0.5 * (low + high)).exp()
}

/// Offsets of the bays for given spreads, with the logarithm of the restricted likelihood up to a constant.
fn solve(
    players: &[Vec<&Cell>],
    bays: usize,
    reference: Option<usize>,
    spread: f64,
    session_sd: f64,
) -> Option<(Fitted, f64)> {
    let mut curvature = DMatrix::zeros(bays, bays);
    let mut pull = DVector::zeros(bays);
    let mut likelihood = 0.0;
    for bay in 0..bays {
        // The reference bay's offset is 0: a deviation of a thousandth of a degree.
        let sd = if reference == Some(bay) { 1e-3 } else { BAY_SD_DEG };
        curvature[(bay, bay)] = 1.0 / (sd * sd);
    }
    for cells in players {
        let size = cells.len();
        let covariance = DMatrix::from_fn(size, size, |row, column| {
            let mut shared = PLAYER_SD_DEG.powi(2);
            if cells[row].session == cells[column].session {
                shared += session_sd * session_sd;
            }
            if row == column {
                shared += spread * spread / cells[row].count;
            }
            shared
        });
        let factor = Cholesky::new(covariance)?;
        let readings = DVector::from_fn(size, |row, _| cells[row].mean);
        let mut design = DMatrix::zeros(size, bays);
        for (row, cell) in cells.iter().enumerate() {
            design[(row, cell.bay)] = 1.0;
        }
        let weighted = factor.solve(&readings);
        curvature += design.transpose() * factor.solve(&design);
        pull += design.transpose() * &weighted;
        let logarithms: f64 = factor.l_dirty().diagonal().iter().map(|entry| entry.ln()).sum();
        likelihood -= logarithms + 0.5 * readings.dot(&weighted);
    }
    let factor = Cholesky::new(curvature)?;
    let offsets = factor.solve(&pull);
    let logarithms: f64 = factor.l_dirty().diagonal().iter().map(|entry| entry.ln()).sum();
    likelihood += 0.5 * offsets.dot(&pull) - logarithms;
    Some((Fitted { offsets, covariance: factor.inverse() }, likelihood))
}
