//! A player with clubs and a ball.

use flight::Conditions;
use impact::HeadProfile;
use rand::Rng;
use shot::Hand;

use crate::equipment::{TrueBall, TrueHead};
use crate::flown::fly;
use crate::habits::Habits;

/// What a player tends to miss with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Bias {
    /// A sound swing that meets the ball off the middle.
    Strike,
    /// Centred strikes with a delivery off the intended one.
    Delivery,
    /// Both.
    Both,
    /// Neither: misses are few and by chance.
    Neither,
}

impl Bias {
    /// Every bias.
    pub const ALL: [Bias; 4] = [Bias::Strike, Bias::Delivery, Bias::Both, Bias::Neither];
}

/// A club in a player's hands: what the product is told of it, what it really is, and what the player does with it.
#[derive(Debug, Clone, PartialEq)]
pub struct ClubInHand {
    /// Club as the data name it, for example `driver`.
    pub club_id: String,
    /// The profile that the roster names for it: all that the product knows of the head.
    pub profile: HeadProfile,
    /// The head as it really is.
    pub head: TrueHead,
    /// The player's habits with it.
    pub habits: Habits,
}

impl ClubInHand {
    /// A club whose true head is drawn around its profile.
    pub fn draw<R: Rng + ?Sized>(club_id: &str, profile: &HeadProfile, habits: Habits, rng: &mut R) -> ClubInHand {
        ClubInHand { club_id: club_id.to_owned(), profile: profile.clone(), head: TrueHead::draw(profile, rng), habits }
    }
}

/// An invented player.
#[derive(Debug, Clone, PartialEq)]
pub struct Player {
    /// The only name the player has.
    pub alias: String,
    /// Which hand.
    pub hand: Hand,
    /// What the player tends to miss with.
    pub bias: Bias,
    /// Direction aimed at against the target line, degrees, positive = right.
    pub aim_deg: f64,
    /// The ball as it really flies.
    pub ball: TrueBall,
    /// The clubs; the driver is the first.
    pub clubs: Vec<ClubInHand>,
}

impl Player {
    /// The club of an id.
    pub fn club(&self, club_id: &str) -> Option<&ClubInHand> {
        self.clubs.iter().find(|club| club.club_id == club_id)
    }

    /// Turns the stock face, and the habits with it, until the reference shot with the first club finishes at the aim: nobody
    /// keeps a stock shape that misses. The result is rounded to a tenth of a degree, as a roster holds it.
    pub fn settle_stock_shape(&mut self) {
        const TRIAL_DEG: f64 = 0.5;
        const STEPS: usize = 5;
        const FARTHEST_DEG: f64 = 4.0;
        let Some(club) = self.clubs.first() else { return };
        let before = club.habits.stock.face_deg;
        let mut face_deg = before;
        for _ in 0..STEPS {
            let (Some(here), Some(there)) =
                (self.reference_offset_m(face_deg), self.reference_offset_m(face_deg + TRIAL_DEG))
            else {
                return;
            };
            let metres_per_degree = (there - here) / TRIAL_DEG;
            if metres_per_degree.abs() < 0.1 {
                break;
            }
            face_deg = (face_deg - here / metres_per_degree).clamp(before - FARTHEST_DEG, before + FARTHEST_DEG);
        }
        let turned = (face_deg * 10.0).round() / 10.0 - before;
        for club in &mut self.clubs {
            club.habits.stock.face_deg += turned;
            club.habits.face_deg.mean += turned;
        }
    }

    /// Where the reference shot with the first club finishes if the stock face were `face_deg`: metres off the aim, in the
    /// player's own frame.
    fn reference_offset_m(&self, face_deg: f64) -> Option<f64> {
        let club = self.clubs.first()?;
        let mut swing = club.habits.intended();
        swing.face_deg = face_deg;
        let launch = club.head.launch(&swing, 0.0, Hand::Right)?;
        let landing = fly(&self.ball.0, &launch, &Conditions::default());
        landing.lateral_m.is_finite().then_some(landing.lateral_m)
    }

    /// The same player as a mirror shows it: the other hand, aiming as far to the other side.
    #[must_use]
    pub fn mirrored(&self) -> Player {
        let hand = match self.hand {
            Hand::Right => Hand::Left,
            Hand::Left => Hand::Right,
        };
        Player { hand, aim_deg: -self.aim_deg, ..self.clone() }
    }
}
