//! How an invented player swings and where on the face the ball is met.
//!
//! Everything here stands in the player's OWN frame, that of a right-hander: a positive path or face opens away from the
//! player's body, so that the same habits with the other hand give the exact mirror image.

use rand::Rng;
use rand_distr::StandardNormal;

/// A mean and the standard deviation from shot to shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Where the player is in the mean.
    pub mean: f64,
    /// Standard deviation from shot to shot.
    pub sd: f64,
}

impl Spread {
    /// A spread of its mean and standard deviation.
    pub const fn new(mean: f64, sd: f64) -> Spread {
        Spread { mean, sd }
    }
}

/// Where on the face the ball is met, in mm from the face centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrikePattern {
    /// Along the face, positive = toward the toe.
    pub toe_mm: Spread,
    /// Up the face, positive = toward the crown.
    pub up_mm: Spread,
    /// Correlation of the two, -1 to 1.
    pub correlation: f64,
}

/// The shape a player means to hit: path and face about the aim, in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StockShape {
    /// Path of the stock shape.
    pub path_deg: f64,
    /// Face of the stock shape.
    pub face_deg: f64,
}

/// How far a whole session lies off the habit: one draw a session, standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionSpread {
    /// Of club speed, as a share of it.
    pub speed_share: f64,
    /// Of attack, in degrees.
    pub attack_deg: f64,
    /// Of path, in degrees.
    pub path_deg: f64,
    /// Of face, in degrees.
    pub face_deg: f64,
    /// Of delivered loft, in degrees.
    pub loft_deg: f64,
    /// Of the strike along the face, in mm.
    pub toe_mm: f64,
    /// Of the strike up the face, in mm.
    pub up_mm: f64,
}

impl Default for SessionSpread {
    /// About a third of an amateur's spread from shot to shot [common practice, no source].
    fn default() -> Self {
        SessionSpread {
            speed_share: 0.008,
            attack_deg: 0.4,
            path_deg: 0.4,
            face_deg: 0.3,
            loft_deg: 0.4,
            toe_mm: 2.0,
            up_mm: 1.2,
        }
    }
}

/// A player's habits with one club.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habits {
    /// Speed of the face centre at impact, m/s.
    pub club_speed_mps: Spread,
    /// Attack angle in degrees, positive = up.
    pub attack_deg: Spread,
    /// Path about the aim in degrees.
    pub path_deg: Spread,
    /// Face about the aim in degrees.
    pub face_deg: Spread,
    /// Delivered loft in degrees.
    pub loft_deg: Spread,
    /// Correlation of face with path, -1 to 1: most players' faces follow their paths.
    pub face_follows_path: f64,
    /// Correlation of delivered loft with attack, -1 to 1.
    pub loft_follows_attack: f64,
    /// Where on the face the ball is met.
    pub strike: StrikePattern,
    /// How sessions differ.
    pub session: SessionSpread,
    /// What the player means to do.
    pub stock: StockShape,
    /// Farthest strike that still meets the face, (toe, up) in mm: beyond it the model of impact says nothing.
    pub face_reach_mm: (f64, f64),
}

/// One session's state of a player: its offsets, and how far practice has tightened the strike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Form {
    speed_share: f64,
    attack_deg: f64,
    path_deg: f64,
    face_deg: f64,
    loft_deg: f64,
    toe_mm: f64,
    up_mm: f64,
    /// Share of the habitual strike spread that is left, 1 = all.
    pub strike_spread_left: f64,
    /// Share of the habitual strike offset that is left, 1 = all.
    pub strike_offset_left: f64,
}

impl Default for Form {
    /// A session exactly on the player's habits.
    fn default() -> Self {
        Form {
            speed_share: 0.0,
            attack_deg: 0.0,
            path_deg: 0.0,
            face_deg: 0.0,
            loft_deg: 0.0,
            toe_mm: 0.0,
            up_mm: 0.0,
            strike_spread_left: 1.0,
            strike_offset_left: 1.0,
        }
    }
}

impl Form {
    /// Draws a session's offsets.
    pub fn draw<R: Rng + ?Sized>(habits: &Habits, rng: &mut R) -> Form {
        let spread = &habits.session;
        Form {
            speed_share: spread.speed_share * normal(rng),
            attack_deg: spread.attack_deg * normal(rng),
            path_deg: spread.path_deg * normal(rng),
            face_deg: spread.face_deg * normal(rng),
            loft_deg: spread.loft_deg * normal(rng),
            toe_mm: spread.toe_mm * normal(rng),
            up_mm: spread.up_mm * normal(rng),
            ..Form::default()
        }
    }
}

/// One swing and strike in the player's own frame, about the aim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Speed of the face centre, m/s.
    pub club_speed_mps: f64,
    /// Attack in degrees.
    pub attack_deg: f64,
    /// Path about the aim in degrees.
    pub path_deg: f64,
    /// Face about the aim in degrees.
    pub face_deg: f64,
    /// Delivered loft in degrees.
    pub loft_deg: f64,
    /// Strike toward the toe in mm.
    pub toe_mm: f64,
    /// Strike toward the crown in mm.
    pub up_mm: f64,
}

impl Habits {
    /// Draws one swing and strike.
    pub fn swing<R: Rng + ?Sized>(&self, form: &Form, rng: &mut R) -> Swing {
        let speed = normal(rng);
        let (attack, loft) = correlated(self.loft_follows_attack, rng);
        let (path, face) = correlated(self.face_follows_path, rng);
        let (toe_mm, up_mm) = self.strike_on_the_face(form, rng);
        Swing {
            club_speed_mps: (self.club_speed_mps.mean * (1.0 + form.speed_share) + self.club_speed_mps.sd * speed)
                .max(5.0),
            attack_deg: self.attack_deg.mean + form.attack_deg + self.attack_deg.sd * attack,
            path_deg: self.path_deg.mean + form.path_deg + self.path_deg.sd * path,
            face_deg: self.face_deg.mean + form.face_deg + self.face_deg.sd * face,
            loft_deg: self.loft_deg.mean + form.loft_deg + self.loft_deg.sd * loft,
            toe_mm,
            up_mm,
        }
    }

    /// The swing the player means to make: stock path and face, the habitual attack, loft and speed, a centred strike.
    pub fn intended(&self) -> Swing {
        Swing {
            club_speed_mps: self.club_speed_mps.mean,
            attack_deg: self.attack_deg.mean,
            path_deg: self.stock.path_deg,
            face_deg: self.stock.face_deg,
            loft_deg: self.loft_deg.mean,
            toe_mm: 0.0,
            up_mm: 0.0,
        }
    }

    fn strike_on_the_face<R: Rng + ?Sized>(&self, form: &Form, rng: &mut R) -> (f64, f64) {
        let (reach_toe, reach_up) = self.face_reach_mm;
        // A ball that misses the face is no shot any device records, so such a draw is taken again.
        for _ in 0..64 {
            let (along, up) = correlated(self.strike.correlation, rng);
            let toe_mm = self.strike.toe_mm.mean * form.strike_offset_left
                + form.toe_mm
                + self.strike.toe_mm.sd * form.strike_spread_left * along;
            let up_mm = self.strike.up_mm.mean * form.strike_offset_left
                + form.up_mm
                + self.strike.up_mm.sd * form.strike_spread_left * up;
            if toe_mm.abs() <= reach_toe && up_mm.abs() <= reach_up {
                return (toe_mm, up_mm);
            }
        }
        (self.strike.toe_mm.mean.clamp(-reach_toe, reach_toe), self.strike.up_mm.mean.clamp(-reach_up, reach_up))
    }
}

/// One standard normal draw.
pub fn normal<R: Rng + ?Sized>(rng: &mut R) -> f64 {
    rng.sample(StandardNormal)
}

fn correlated<R: Rng + ?Sized>(correlation: f64, rng: &mut R) -> (f64, f64) {
    let correlation = correlation.clamp(-1.0, 1.0);
    let first = normal(rng);
    let second = normal(rng);
    (first, correlation * first + (1.0 - correlation * correlation).sqrt() * second)
}
