//! Draws players of every kind, for tests that need many.

use impact::HeadProfile;
use rand::Rng;
use shot::Hand;

use crate::AcademyError;
use crate::equipment::TrueBall;
use crate::habits::{Habits, SessionSpread, Spread, StockShape, StrikePattern, normal};
use crate::player::{Bias, ClubInHand, Player};

/// How far a player has come; it sets speed and spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standard {
    /// 25 to 33 m/s of driver speed.
    Junior,
    /// 35 to 47 m/s.
    Amateur,
    /// 45 to 50 m/s.
    Advanced,
    /// 50 to 54 m/s.
    Professional,
}

impl Standard {
    /// Every standard.
    pub const ALL: [Standard; 4] = [Standard::Junior, Standard::Amateur, Standard::Advanced, Standard::Professional];

    /// Lowest and highest mean driver speed, m/s.
    pub fn driver_speed_mps(self) -> (f64, f64) {
        match self {
            Standard::Junior => (25.0, 33.0),
            Standard::Amateur => (35.0, 47.0),
            Standard::Advanced => (45.0, 50.0),
            Standard::Professional => (50.0, 54.0),
        }
    }

    /// Spread along the face of a player of this standard who strikes well and of one who does not, in mm
    /// [common practice, no source].
    fn toe_sd_mm(self) -> (f64, f64) {
        match self {
            Standard::Junior => (8.0, 13.0),
            Standard::Amateur => (7.5, 12.5),
            Standard::Advanced => (6.5, 11.0),
            Standard::Professional => (5.5, 9.0),
        }
    }

    /// The same for face and path in degrees: of a player who delivers well and of one who does not.
    fn direction_sd_deg(self) -> (f64, f64) {
        match self {
            Standard::Junior => (1.1, 2.3),
            Standard::Amateur => (0.9, 2.1),
            Standard::Advanced => (0.7, 1.7),
            Standard::Professional => (0.55, 1.4),
        }
    }
}

/// A wide mix of players with one driver each.
#[derive(Debug, Clone, PartialEq)]
pub struct Population {
    drivers: Vec<HeadProfile>,
}

impl Population {
    /// A population that plays the given driver profiles, each equally often.
    pub fn new(drivers: Vec<HeadProfile>) -> Result<Population, AcademyError> {
        if drivers.is_empty() {
            return Err(AcademyError::NoHeads);
        }
        Ok(Population { drivers })
    }

    /// Draws a player: every bias and every driver equally often, half amateurs, one in eight left-handed.
    pub fn draw<R: Rng + ?Sized>(&self, rng: &mut R) -> Player {
        let bias = Bias::ALL[rng.random_range(0..Bias::ALL.len())];
        let standard = match rng.random_range(0..8) {
            0 | 1 => Standard::Junior,
            2..=5 => Standard::Amateur,
            6 => Standard::Advanced,
            _ => Standard::Professional,
        };
        self.draw_of(bias, standard, rng)
    }

    /// Draws a player of a given bias and standard.
    pub fn draw_of<R: Rng + ?Sized>(&self, bias: Bias, standard: Standard, rng: &mut R) -> Player {
        let profile = &self.drivers[rng.random_range(0..self.drivers.len())];
        let hand = if rng.random_range(0..8) == 0 { Hand::Left } else { Hand::Right };
        let habits = driver_habits(bias, standard, rng);
        let mut player = Player {
            alias: format!("drawn-{:08x}", rng.random::<u32>()),
            hand,
            bias,
            aim_deg: 0.0,
            ball: TrueBall::draw(rng),
            clubs: vec![ClubInHand::draw("driver", profile, habits, rng)],
        };
        player.settle_stock_shape();
        player
    }
}

/// The habits with a driver of a player of a given bias and standard.
pub(crate) fn driver_habits<R: Rng + ?Sized>(bias: Bias, standard: Standard, rng: &mut R) -> Habits {
    let (slowest, fastest) = standard.driver_speed_mps();
    let speed = rng.random_range(slowest..fastest);
    let strike_is_poor = matches!(bias, Bias::Strike | Bias::Both);
    let delivery_is_poor = matches!(bias, Bias::Delivery | Bias::Both);

    let (good, poor) = standard.toe_sd_mm();
    let toe_sd = if strike_is_poor { poor } else { good } * rng.random_range(0.85..1.15);
    let side = if rng.random::<bool>() { 1.0 } else { -1.0 };
    let (toe_mean, up_mean) = if strike_is_poor {
        (side * rng.random_range(8.0..16.0), rng.random_range(-9.0..4.0))
    } else {
        (1.5 * normal(rng), 1.5 * normal(rng))
    };

    let steadiness = if delivery_is_poor { 1.0 } else { 0.75 };
    let stock = stock_shape(rng);
    let (good, poor) = standard.direction_sd_deg();
    let direction_sd = if delivery_is_poor { poor } else { good } * rng.random_range(0.85..1.15);
    let (path_off, face_off) = if delivery_is_poor {
        let side = if rng.random_range(0..3) == 0 { 1.0 } else { -1.0 };
        (side * rng.random_range(2.0..5.0), -side * rng.random_range(-1.0..2.5))
    } else {
        (0.3 * normal(rng), 0.2 * normal(rng))
    };

    // Slow swings need loft to fly: players who have come to terms with a driver deliver more of it [common practice].
    let loft = 21.0 - 0.17 * speed + 0.8 * normal(rng);
    Habits {
        club_speed_mps: Spread::new(speed, speed * rng.random_range(0.009..0.018)),
        attack_deg: Spread::new(rng.random_range(-3.0..4.0), steadiness * rng.random_range(0.8..1.5)),
        path_deg: Spread::new(stock.path_deg + path_off, 0.9 * direction_sd),
        face_deg: Spread::new(stock.face_deg + face_off, direction_sd),
        loft_deg: Spread::new(loft, steadiness * rng.random_range(0.8..1.4)),
        face_follows_path: rng.random_range(0.1..0.6),
        loft_follows_attack: 0.4,
        strike: StrikePattern {
            toe_mm: Spread::new(toe_mean, toe_sd),
            up_mm: Spread::new(up_mean, 0.65 * toe_sd),
            correlation: rng.random_range(-0.2..0.4),
        },
        session: SessionSpread::default(),
        stock,
        face_reach_mm: DRIVER_REACH_MM,
    }
}

/// Half the length and half the height of a driver's face that still meets the ball, mm [common practice, no source].
pub const DRIVER_REACH_MM: (f64, f64) = (42.0, 20.0);

fn stock_shape<R: Rng + ?Sized>(rng: &mut R) -> StockShape {
    match rng.random_range(0..3) {
        0 => StockShape { path_deg: 0.0, face_deg: 0.0 },
        1 => StockShape { path_deg: 2.5, face_deg: 1.2 },
        _ => StockShape { path_deg: -2.5, face_deg: -1.2 },
    }
}
