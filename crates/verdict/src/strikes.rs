//! The strikes that may stand behind one launch.
//!
//! Speed is lost on either side of the face, and where little was measured of the club a strike toward the toe and one toward
//! the heel can explain one and the same launch; even where only one of them is most probable, the posterior leans far to the
//! other side. A normal distribution about the most probable strike is then too narrow and off its mean. So where the strike is
//! hardly known along the face, it is held at evenly spaced places across it, all else is found anew at each, and the posterior
//! is the mixture of these. The height has no second side in practice: tests compare both axes with a grid over both.

use crate::Evidence;
use crate::model::{LAUNCH, Model};
use crate::posterior::Reconstruction;
use crate::prior::Prior;
use crate::readings::{ModelError, ObservedLaunch, Readings, unexplained_sd};
use crate::search::descend;
use crate::unknowns::{POSSIBLE, TOE, Unknowns, keep_possible};

/// From this posterior deviation toward the toe on, in mm, the strike is looked for across the face.
const WIDE_FROM: f64 = 3.6;
/// From this deviation on the strike as far to the other side is asked whether it explains the launch too.
const DOUBTFUL_FROM: f64 = 2.0;
/// Distance of the places across the face, as a share of that deviation, and its limits in mm. Sums over places one deviation
/// of a normal distribution apart give its moments to many digits.
const STEP_SHARE: f64 = 0.9;
const STEP_LIMITS: (f64, f64) = (3.0, 5.0);
/// How many deviations of what was expected the places reach to either side.
const REACH: f64 = 2.75;
/// Places with less than this share of the probability of the largest are left out.
const NEGLIGIBLE: f64 = 0.005;

/// A strike with all that belongs to it.
#[derive(Debug, Clone)]
pub struct PossibleStrike {
    pub found: Reconstruction,
    /// Probability that it was this one.
    pub share: f64,
}

/// What may have happened.
#[derive(Debug, Clone)]
pub struct Strikes {
    /// The most probable of all, with the spread about it.
    pub best: Reconstruction,
    /// All of them, the largest share first: the best alone where the launch settles the strike.
    pub all: Vec<PossibleStrike>,
}

impl Strikes {
    /// Mean and deviation of one unknown.
    pub fn unknown(&self, position: usize) -> (f64, f64) {
        let mean: f64 = self.all.iter().map(|strike| strike.share * strike.found.mode[position]).sum();
        let mut variance = 0.0;
        for PossibleStrike { found, share } in &self.all {
            variance += share * (found.sd(position).powi(2) + (found.mode[position] - mean).powi(2));
        }
        (mean, variance.sqrt())
    }
}

/// Finds what may have happened. `None` where the collision model has no answer near the prior.
pub fn reconstruct(
    observed: &ObservedLaunch,
    prior: &Prior,
    model: &Model<'_>,
    evidence: &Evidence,
) -> Option<Strikes> {
    let mut expected_at = prior.mean;
    keep_possible(&mut expected_at);
    let expected = model.launch(&expected_at)?;
    let model_sd = unexplained_sd(observed, &expected, evidence);
    let search = Search { readings: Readings::new(observed, &model_sd, prior), observed, model_sd, prior, model };
    let best = search.from(prior.mean)?;
    let all = if search.is_settled(&best) { Vec::new() } else { search.across_the_face(&best) };
    if all.is_empty() {
        return Some(Strikes { all: vec![PossibleStrike { found: best.clone(), share: 1.0 }], best });
    }
    Some(Strikes { best, all })
}

struct Search<'a> {
    observed: &'a ObservedLaunch,
    readings: Readings,
    model_sd: [f64; LAUNCH],
    prior: &'a Prior,
    model: &'a Model<'a>,
}

impl Search<'_> {
    fn from(&self, at: Unknowns) -> Option<Reconstruction> {
        let (mode, modelled) = descend(at, &self.readings, self.prior, self.model)?;
        let residual =
            std::array::from_fn(|quantity| ModelError::new(self.observed[quantity], self.model_sd[quantity]));
        Reconstruction::new(mode, &modelled, &self.readings, residual, self.prior)
    }

    /// Whether the best strike is the only one that explains the launch.
    fn is_settled(&self, best: &Reconstruction) -> bool {
        let sd = best.sd(TOE);
        if self.prior.strike.toe_measured || sd < DOUBTFUL_FROM {
            return true;
        }
        if sd >= WIDE_FROM {
            return false;
        }
        let mirrored = 2.0 * self.prior.mean[TOE] - best.mode[TOE];
        if (mirrored - best.mode[TOE]).abs() < 3.0 * sd {
            return true;
        }
        let held = |toe: f64| Some(self.log_share(toe, &self.held_at(&best.mode, &[(TOE, toe)])?));
        match (held(best.mode[TOE]), held(mirrored)) {
            (Some(here), Some(there)) => there - here < NEGLIGIBLE.ln(),
            _ => true,
        }
    }

    /// Logarithm of a held strike's probability, but for a constant of the shot.
    fn log_share(&self, toe: f64, found: &Reconstruction) -> f64 {
        let off = (toe - self.prior.mean[TOE]) / self.prior.sd[TOE];
        found.log_evidence() - 0.5 * off * off
    }

    /// The strike held at places across the face, from the best one outward, so that each place starts from its neighbour.
    fn across_the_face(&self, best: &Reconstruction) -> Vec<PossibleStrike> {
        let (_, lowest, highest) = POSSIBLE[TOE_LIMITS];
        let (expected, sd) = (self.prior.mean[TOE], self.prior.sd[TOE]);
        let step = (STEP_SHARE * best.sd(TOE)).clamp(STEP_LIMITS.0, STEP_LIMITS.1);
        let reach = REACH * sd.max(best.sd(TOE));
        let start = best.mode[TOE];
        let mut places = Vec::new();
        for direction in [1.0, -1.0] {
            let mut near = best.mode;
            // The best itself is the first place of the walk toward the toe.
            let mut number = if direction > 0.0 { 0.0 } else { 1.0 };
            loop {
                let toe = start + direction * number * step;
                let is_beyond =
                    direction * (toe - expected) > reach && direction * (toe - start) > reach.min(3.0 * best.sd(TOE));
                if is_beyond || !(lowest..=highest).contains(&toe) {
                    break;
                }
                let Some(found) = self.held_at(&near, &[(TOE, toe)]) else { break };
                near = found.mode;
                places.push((self.log_share(toe, &found), found));
                number += 1.0;
            }
        }
        places.sort_by(|one, other| other.0.total_cmp(&one.0));
        let Some(largest) = places.first().map(|place| place.0) else { return Vec::new() };
        places.retain(|(log_evidence, _)| log_evidence - largest > NEGLIGIBLE.ln());
        let whole: f64 = places.iter().map(|(log_evidence, _)| (log_evidence - largest).exp()).sum();
        let share = |log_evidence: f64| (log_evidence - largest).exp() / whole;
        places.into_iter().map(|(log_evidence, found)| PossibleStrike { found, share: share(log_evidence) }).collect()
    }

    /// All else where some unknowns are held at given values.
    fn held_at(&self, near: &Unknowns, held: &[(usize, f64)]) -> Option<Reconstruction> {
        let (mut at, mut prior) = (*near, self.prior.clone());
        for (position, value) in held {
            at[*position] = *value;
            prior.mean[*position] = *value;
            prior.sd[*position] = 0.0;
        }
        let search = Search {
            readings: self.readings.clone(),
            prior: &prior,
            observed: self.observed,
            model_sd: self.model_sd,
            model: self.model,
        };
        search.from(at)
    }
}

/// Where the limits of the toe stand in [`POSSIBLE`].
const TOE_LIMITS: usize = 1;

#[cfg(test)]
mod tests {
    use impact::{Delivery, Hand, HeadBook, HeadProfile};

    use super::*;
    use crate::Known;
    use crate::readings::observed_launch;
    use crate::unknowns::{HeadKnowledge, Reference, UP};

    fn head(name: &str) -> HeadProfile {
        let book: HeadBook = toml::from_str(include_str!("../../../config/heads.toml")).expect("the shipped profiles");
        book.find(name).expect("a shipped profile").clone()
    }

    /// What a device that measures the ball, and of the club what is asked for, reports of a shot that the model makes.
    fn evidence_of(head: &HeadProfile, strike: (f64, f64), measured: &[Known]) -> Evidence {
        let delivery = Delivery {
            club_speed_mps: head.typical_club_speed_mps + 0.5,
            attack_deg: head.typical_attack_deg - 0.5,
            path_deg: 2.0,
            face_deg: 1.0,
            delivered_loft_deg: head.typical_delivered_loft_deg + 0.5,
            strike_toe_mm: strike.0,
            strike_up_mm: strike.1,
        };
        let launch = impact::launch(head, &delivery, Hand::Right).expect("a usual delivery").to_array();
        let mut evidence = Evidence::default();
        for (value, deviation, number, sd) in [
            (Known::BallSpeed, Known::BallSpeedSd, launch[0], 0.3),
            (Known::LaunchElevation, Known::LaunchElevationSd, launch[1], 0.2),
            (Known::LaunchAzimuth, Known::LaunchAzimuthSd, launch[2], 0.2),
            (Known::Spin, Known::SpinSd, launch[3], 80.0),
            (Known::SpinTilt, Known::SpinTiltSd, launch[4], 1.2),
            (Known::ClubSpeed, Known::ClubSpeedSd, delivery.club_speed_mps, 0.4),
            (Known::Attack, Known::AttackSd, delivery.attack_deg, 0.6),
            (Known::Path, Known::PathSd, delivery.path_deg, 0.6),
            (Known::DeliveredLoft, Known::DeliveredLoftSd, delivery.delivered_loft_deg, 0.8),
        ] {
            if measured.contains(&value) {
                evidence.set(value, Some(number));
                evidence.set(deviation, Some(sd));
            }
        }
        evidence.set(Known::ReferenceClubSpeed, Some(head.typical_club_speed_mps));
        evidence
    }

    /// Mean and deviation of toe and up from a grid over both, all else by Laplace's method at every point of it.
    fn by_grid(search: &Search<'_>, first: &Unknowns) -> [(f64, f64); 2] {
        let mut sums = [[0.0f64; 3]; 2];
        let mut scale = None;
        for column in -27..=27 {
            for row in -18..=18 {
                let (toe, up) = (2.0 * f64::from(column), 2.0 * f64::from(row));
                let Some(found) = search.held_at(first, &[(TOE, toe), (UP, up)]) else { continue };
                let off = |position: usize, at: f64| (at - search.prior.mean[position]) / search.prior.sd[position];
                let log = found.log_evidence() - 0.5 * (off(TOE, toe).powi(2) + off(UP, up).powi(2));
                let weight = (log - *scale.get_or_insert(log)).exp();
                for (axis, at) in [toe, up].into_iter().enumerate() {
                    sums[axis][0] += weight;
                    sums[axis][1] += weight * at;
                    sums[axis][2] += weight * at * at;
                }
            }
        }
        sums.map(|[whole, first, second]| (first / whole, (second / whole - (first / whole).powi(2)).sqrt()))
    }

    #[test]
    fn the_strikes_together_are_as_wide_as_the_posterior_on_a_grid() {
        use Known::{
            Attack, BallSpeed, ClubSpeed, DeliveredLoft, LaunchAzimuth, LaunchElevation, Path, Spin, SpinTilt,
        };
        let sets: [&[Known]; 8] = [
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin],
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin, SpinTilt],
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin, ClubSpeed],
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin, SpinTilt, ClubSpeed],
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin, SpinTilt, ClubSpeed, Attack],
            &[BallSpeed, LaunchElevation, LaunchAzimuth, Spin, ClubSpeed, Attack, Path],
            &[BallSpeed, LaunchElevation, ClubSpeed, Attack, Path, DeliveredLoft],
            &[BallSpeed, ClubSpeed],
        ];
        let (mut wide, mut too_narrow) = (0, 0);
        for name in ["modern-driver", "older-driver", "fairway-wood"] {
            let head = head(name);
            for strike in [(14.0, -4.0), (-16.0, 5.0), (4.0, 12.0), (24.0, 0.0)] {
                for set in sets {
                    let evidence = evidence_of(&head, strike, set);
                    let model = Model::new(&evidence, &head);
                    let known = HeadKnowledge::of(&evidence, &model);
                    let prior = Prior::new(&evidence, &Reference::of(&evidence, &model, &known), &known);
                    let observed = observed_launch(&evidence);
                    let strikes = reconstruct(&observed, &prior, &model, &evidence).expect("strikes");
                    let expected = model.launch(&prior.mean).expect("a launch");
                    let model_sd = unexplained_sd(&observed, &expected, &evidence);
                    let readings = Readings::new(&observed, &model_sd, &prior);
                    let search = Search { observed: &observed, readings, model_sd, prior: &prior, model: &model };
                    let grid = by_grid(&search, &strikes.best.mode);
                    for (axis, position) in [TOE, UP].into_iter().enumerate() {
                        let ((mean, sd), (expected, width)) = (strikes.unknown(position), grid[axis]);
                        let case = format!(
                            "{name} {strike:?}, {} measured, {}: {mean:.2} +- {sd:.2}, grid {expected:.2} +- {width:.2}",
                            set.len(),
                            if axis == 0 { "toe" } else { "up" }
                        );
                        // With two speeds alone nothing is told of the height.
                        if axis == 0 || set.len() > 2 {
                            assert!((mean - expected).abs() <= 0.25 * width, "{case}");
                            assert!((0.85..=1.2).contains(&(sd / width)), "{case}");
                        }
                        wide += usize::from(axis == 0 && strikes.all.len() > 1);
                        too_narrow += usize::from(axis == 0 && strikes.best.sd(TOE) < 0.8 * width);
                    }
                }
            }
        }
        // The cases are worth comparing only if the spread about the best strike alone would not do.
        assert!(wide >= 60 && too_narrow >= 30, "{wide} wide, {too_narrow} where the best alone is too narrow");
    }
}
