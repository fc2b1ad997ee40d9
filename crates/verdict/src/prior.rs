//! What is known of each unknown before the launch is looked at.

use impact::{DELIVERY_UNKNOWNS, NUISANCES};

use crate::unknowns::{ATTACK, BAY, COUNT, FACE, HeadKnowledge, LOFT, PATH, Reference, SPEED, TOE, UP, Unknowns};
use crate::{Evidence, Known};

// Deviations of what the device did not measure, about the player's own reference. Common practice, no source: between
// shots of one player these spread less; the width also covers how badly a reference may be known.
const SPEED_SHARE_SD: f64 = 0.05;
const ATTACK_SD: f64 = 2.5;
const PATH_SD: f64 = 4.0;
const FACE_SD: f64 = 3.5;
const LOFT_SD: f64 = 2.5;
const TOE_SD: f64 = 12.0;
const UP_SD: f64 = 8.0;

/// Normal beliefs about the unknowns. They are independent, except that an unknown that was read in this bay is tied to the
/// bay's direction: what the bay reads too far right lies that much further left.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::struct_excessive_bools, reason = "each quantity is measured or not, independently")]
pub struct Prior {
    pub mean: Unknowns,
    pub sd: Unknowns,
    /// How much of the unknown's mean is a reading of the bay.
    read_in_bay: [f64; COUNT],
    pub strike: StrikeKnowledge,
    /// The reading of a device that reports the azimuth of the normal at the strike point, with its deviation.
    pub face_at_strike: Option<(f64, f64)>,
    pub path_measured: bool,
    pub face_measured: bool,
    pub loft_measured: bool,
    pub speed_measured: bool,
}

/// Where the strike position is known from, axis by axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StrikeKnowledge {
    pub toe_measured: bool,
    pub up_measured: bool,
    linked: bool,
}

impl StrikeKnowledge {
    /// Whether both axes stem from a measurement.
    pub fn is_measured(self) -> bool {
        self.toe_measured && self.up_measured
    }

    pub fn word(self) -> &'static str {
        match (self.toe_measured, self.up_measured, self.linked) {
            (true, true, false) => "measured",
            (true, true, true) => "linked",
            (true, false, _) => "toe only",
            (false, true, _) => "height only",
            (false, false, _) => "inferred",
        }
    }
}

impl Prior {
    /// What the device measured, together with the player's habit, or else the habit, or else the reference with a wide deviation.
    pub fn new(evidence: &Evidence, reference: &Reference, known: &HeadKnowledge) -> Prior {
        let toe = evidence.measured(Known::StrikeToe, Known::StrikeSd);
        let up = evidence.measured(Known::StrikeUp, Known::StrikeSd);
        let path = evidence.measured(Known::Path, Known::PathSd);
        let face = evidence.measured(Known::Face, Known::FaceSd);
        let loft = evidence.measured(Known::DeliveredLoft, Known::DeliveredLoftSd);
        let attack = evidence.measured(Known::Attack, Known::AttackSd);
        let speed = evidence.measured(Known::ClubSpeed, Known::ClubSpeedSd);
        let mut prior = Prior {
            mean: reference.centred(known),
            sd: [0.0; COUNT],
            read_in_bay: [0.0; COUNT],
            strike: StrikeKnowledge {
                toe_measured: toe.is_some(),
                up_measured: up.is_some(),
                linked: evidence.strike_linked,
            },
            face_at_strike: None,
            path_measured: path.is_some(),
            face_measured: face.is_some(),
            loft_measured: loft.is_some(),
            speed_measured: speed.is_some(),
        };
        prior.sd[DELIVERY_UNKNOWNS..DELIVERY_UNKNOWNS + NUISANCES].copy_from_slice(&known.sd);
        prior.mean[BAY] = evidence.get(Known::BayDirectionOffset).unwrap_or(0.0);
        prior.sd[BAY] = evidence.get(Known::BayDirectionOffsetSd).unwrap_or(0.0).max(0.0);

        let aim = evidence.get(Known::Aim).unwrap_or(0.0);
        let habits = [
            (SPEED, Known::HabitClubSpeed, Known::HabitClubSpeedSd, SPEED_SHARE_SD * reference.speed, 0.0),
            (ATTACK, Known::HabitAttack, Known::HabitAttackSd, ATTACK_SD, 0.0),
            (PATH, Known::HabitPath, Known::HabitPathSd, PATH_SD, aim),
            (FACE, Known::HabitFace, Known::HabitFaceSd, FACE_SD, aim),
            (LOFT, Known::HabitLoft, Known::HabitLoftSd, LOFT_SD, 0.0),
            (TOE, Known::HabitToe, Known::HabitToeSd, TOE_SD, 0.0),
            (UP, Known::HabitUp, Known::HabitUpSd, UP_SD, 0.0),
        ];
        for (position, habit, deviation, otherwise, origin) in habits {
            if let Some(usual) = evidence.get(habit) {
                prior.mean[position] = origin + usual;
            }
            // A deviation alone tells nothing: it belongs to a mean that is not there.
            let known = evidence.get(deviation).filter(|sd| *sd > 0.0 && evidence.get(habit).is_some());
            prior.sd[position] = known.unwrap_or(otherwise);
        }
        // Where nothing is known of the player's habit, a delivery is what was read. The strike always hangs about the middle of
        // the face: read as it stands, its square would come out too large by the square of the reading's deviation, and with it
        // the carry lost.
        let usual = |habit, deviation| evidence.measured(habit, deviation).is_some();
        prior.take(SPEED, speed, usual(Known::HabitClubSpeed, Known::HabitClubSpeedSd));
        prior.take(ATTACK, attack, usual(Known::HabitAttack, Known::HabitAttackSd));
        prior.take(LOFT, loft, usual(Known::HabitLoft, Known::HabitLoftSd));
        prior.take(TOE, toe, true);
        prior.take(UP, up, true);
        prior.take_in_bay(PATH, path, usual(Known::HabitPath, Known::HabitPathSd));
        if evidence.face_at_strike_point {
            prior.face_at_strike = face;
        } else {
            prior.take_in_bay(FACE, face, usual(Known::HabitFace, Known::HabitFaceSd));
        }
        prior
    }

    /// Takes a reading, together with what was expected before it or in its place. Answers the weight of the reading.
    fn take(&mut self, position: usize, observed: Option<(f64, f64)>, with_habit: bool) -> f64 {
        let Some((value, deviation)) = observed else { return 0.0 };
        let expected = self.sd[position];
        let weight = if with_habit { expected.powi(2) / (expected.powi(2) + deviation.powi(2)) } else { 1.0 };
        self.mean[position] += weight * (value - self.mean[position]);
        self.sd[position] = weight.sqrt() * deviation;
        weight
    }

    fn take_in_bay(&mut self, position: usize, observed: Option<(f64, f64)>, with_habit: bool) {
        let corrected = observed.map(|(value, deviation)| (value - self.mean[BAY], deviation));
        self.read_in_bay[position] = self.take(position, corrected, with_habit);
    }

    /// Whether anything but the launch tells of path or face.
    pub fn direction_measured(&self) -> bool {
        self.path_measured || self.face_measured
    }

    /// Turns derivatives by the unknowns into derivatives by independent standard normal values.
    pub fn whitened(&self, slopes: &Unknowns) -> Unknowns {
        let mut white: Unknowns = std::array::from_fn(|position| slopes[position] * self.sd[position]);
        for position in 0..COUNT {
            white[BAY] -= self.read_in_bay[position] * slopes[position] * self.sd[BAY];
        }
        white
    }

    /// The unknowns' offset from the mean that belongs to standard normal values.
    pub fn coloured(&self, white: &Unknowns) -> Unknowns {
        let bay = white[BAY] * self.sd[BAY];
        let mut offset: Unknowns = std::array::from_fn(|position| white[position] * self.sd[position]);
        for position in 0..COUNT {
            offset[position] -= self.read_in_bay[position] * bay;
        }
        offset
    }

    /// Sum of squared standardised offsets of `unknowns` from the mean.
    pub fn misfit(&self, unknowns: &Unknowns) -> f64 {
        let bay = unknowns[BAY] - self.mean[BAY];
        let mut sum = 0.0;
        for position in 0..COUNT {
            if self.sd[position] > 0.0 {
                let tied = self.read_in_bay[position] * bay;
                sum += ((unknowns[position] - self.mean[position] + tied) / self.sd[position]).powi(2);
            }
        }
        sum
    }
}
