//! Players with known habits, heads and balls off the profiles, and their shots.

use academy::{
    BALL_DRAWS, Bias, ClubInHand, Form, HEAD_DRAWS, ModelError, Player, ShotPlan, Standard, TrueBall, TrueHead,
    TrueShot, draw_shot, habits_with,
};
use flight::Conditions;
use impact::HeadProfile;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use shot::Hand;

/// How far reality is from what the product believes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct World {
    pub name: &'static str,
    /// Factor on the deviations that the profiles state of heads, and on those of the ball.
    pub equipment: f64,
    /// What the model of impact gets wrong about each shot.
    pub model_error: ModelError,
}

impl World {
    /// Everything as far off as the product itself says: heads by their profiles' deviations, balls by 2.5 % of drag and lift, the
    /// model of impact by the product's own figures. Only such a world can tell whether its probabilities are right.
    pub const AS_STATED: World = World { name: "as stated", equipment: 1.0, model_error: error_of_impact(1.0) };
    /// Heads and balls twice as far off, the model half again as much: what the product does not expect.
    pub const STRESS: World = World { name: "stress", equipment: 2.0, model_error: error_of_impact(1.5) };
}

/// The product's own figures of what its model of impact gets wrong, times a factor.
const fn error_of_impact(factor: f64) -> ModelError {
    ModelError {
        speed_share: 0.005 * factor,
        elevation_deg: 0.3 * factor,
        azimuth_deg: 0.3 * factor,
        spin_share: 0.05 * factor,
        tilt_deg: factor,
    }
}

/// A shot with the seed of the noise with which devices see it: the same for every capability, so that their differences are
/// not those of chance.
pub struct StudyShot {
    pub truth: TrueShot,
    /// Number of the session, from 0 for the earliest.
    pub session: usize,
    pub noise: u64,
}

impl StudyShot {
    pub fn noise(&self) -> ChaCha8Rng {
        ChaCha8Rng::seed_from_u64(self.noise)
    }
}

/// One player's shots with one club, in one kind of air.
pub struct Practice {
    /// Earlier shots, from which the player is known.
    pub history: Vec<StudyShot>,
    pub judged: Vec<StudyShot>,
    pub air_density: f64,
}

const SESSIONS_OF_HISTORY: usize = 6;
const SHOTS_OF_A_SESSION: usize = 8;
/// How many sessions the judged shots come from.
const SESSIONS_JUDGED: usize = 3;

/// A player of a pair: both have the same habits and swings, but heads and balls on opposite sides of the profile, so that what
/// is linear in them cancels in means.
pub fn player(world: &World, head: &HeadProfile, pair: usize, is_opposite: bool, seed: u64) -> Player {
    let mut rng = stream(seed, &[pair as u64, 1]);
    let bias = Bias::ALL[pair % Bias::ALL.len()];
    let standard = STANDARDS[(pair / Bias::ALL.len()) % STANDARDS.len()];
    let habits = habits_with(head, bias, standard, &mut rng);
    let sign = if is_opposite { -1.0 } else { 1.0 };
    let off = |draw: f64| sign * world.equipment * draw;
    let of_head: [f64; HEAD_DRAWS] = std::array::from_fn(|_| off(rng.sample(StandardNormal)));
    let of_ball: [f64; BALL_DRAWS] = std::array::from_fn(|_| off(rng.sample(StandardNormal)));
    let mut player = Player {
        alias: format!("pair-{pair}"),
        hand: if pair % 8 == 5 { Hand::Left } else { Hand::Right },
        bias,
        aim_deg: if pair % 4 == 3 { 1.5 } else { 0.0 },
        ball: TrueBall::off_default(&of_ball),
        clubs: vec![ClubInHand {
            club_id: head.name.clone(),
            profile: head.clone(),
            head: TrueHead::off_profile(head, &of_head),
            habits,
        }],
    };
    player.settle_stock_shape();
    player
}

/// Half of the players are amateurs; the order spreads the standards over few pairs too.
const STANDARDS: [Standard; 8] = [
    Standard::Amateur,
    Standard::Professional,
    Standard::Amateur,
    Standard::Junior,
    Standard::Amateur,
    Standard::Advanced,
    Standard::Amateur,
    Standard::Junior,
];

/// Draws a player's earlier shots and those to be judged.
pub fn practice(world: &World, player: &Player, pair: usize, shots: usize, outdoors: bool, seed: u64) -> Practice {
    let air = conditions(outdoors, &mut stream(seed, &[pair as u64, 2]));
    let club = &player.clubs[0];
    let session = |number: usize, count: usize| -> Vec<StudyShot> {
        let mut rng = stream(seed, &[pair as u64, 3, number as u64]);
        let form = Form::draw(&club.habits, &mut rng);
        let mut drawn = Vec::new();
        for shot in 0..count {
            let mut rng = stream(seed, &[pair as u64, 4, number as u64, shot as u64]);
            let noise = rng.random();
            let truth = draw_shot(player, club, &form, &ShotPlan::default(), &air, &world.model_error, &mut rng)
                .unwrap_or_else(|error| panic!("{error}"));
            drawn.push(StudyShot { truth, session: number, noise });
        }
        drawn
    };
    let history = (0..SESSIONS_OF_HISTORY).flat_map(|number| session(number, SHOTS_OF_A_SESSION)).collect();
    let mut judged = Vec::new();
    for number in 0..SESSIONS_JUDGED {
        let count = shots / SESSIONS_JUDGED + usize::from(number < shots % SESSIONS_JUDGED);
        judged.extend(session(SESSIONS_OF_HISTORY + number, count));
    }
    Practice { history, judged, air_density: air.air_density }
}

fn conditions(outdoors: bool, rng: &mut ChaCha8Rng) -> Conditions {
    if !outdoors {
        return Conditions::default();
    }
    let [warmth, along, across]: [f64; 3] = std::array::from_fn(|_| rng.sample(StandardNormal));
    Conditions {
        air_density: 1.21 + 0.03 * warmth,
        wind_along_mps: 2.5 * along,
        wind_across_mps: 2.0 * across,
        ..Conditions::default()
    }
}

/// A stream of random numbers for one purpose, so that what one part draws never moves another.
fn stream(seed: u64, path: &[u64]) -> ChaCha8Rng {
    let mut mixed = seed;
    for step in path {
        mixed = (mixed ^ (step + 1)).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29);
    }
    ChaCha8Rng::seed_from_u64(mixed)
}
