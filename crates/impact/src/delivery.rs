//! What goes into a strike and what comes out.

use crate::scalar::Scalar;

/// Which way the player stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Hand {
    /// Right-handed.
    #[default]
    Right,
    /// Left-handed: the mirror image.
    Left,
}

impl Hand {
    /// +1 right-handed, -1 left-handed.
    #[inline]
    pub fn sign(self) -> f64 {
        match self {
            Self::Right => 1.0,
            Self::Left => -1.0,
        }
    }

    /// The hand of a stored sign: negative is left, anything else right.
    pub fn from_sign(sign: f64) -> Self {
        if sign < 0.0 { Self::Left } else { Self::Right }
    }
}

/// The club at impact and where it meets the ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delivery<S = f64> {
    /// Speed of the face centre in m/s.
    pub club_speed_mps: S,
    /// Vertical direction of the face centre's path in degrees, positive = up.
    pub attack_deg: S,
    /// Horizontal direction of the face centre's path in degrees, positive = right.
    pub path_deg: S,
    /// Azimuth of the outward normal at the face centre in degrees, positive = right.
    pub face_deg: S,
    /// Elevation of the outward normal at the face centre in degrees.
    pub delivered_loft_deg: S,
    /// Strike position from the face centre along the face plane in mm, positive = toward the toe.
    pub strike_toe_mm: S,
    /// Strike position from the face centre along the face plane in mm, positive = toward the crown.
    pub strike_up_mm: S,
}

impl Delivery {
    /// The same delivery as numbers that depend on nothing.
    pub fn constant<S: Scalar>(&self) -> Delivery<S> {
        Delivery::from_array(self.to_array().map(S::constant))
    }
}

impl<S: Copy> Delivery<S> {
    /// Names of the entries of [`Delivery::to_array`].
    pub const NAMES: [&'static str; 7] =
        ["club_speed_mps", "attack_deg", "path_deg", "face_deg", "delivered_loft_deg", "strike_toe_mm", "strike_up_mm"];

    /// The seven numbers: speed, attack, path, face, loft, toe, up.
    pub fn to_array(&self) -> [S; 7] {
        [
            self.club_speed_mps,
            self.attack_deg,
            self.path_deg,
            self.face_deg,
            self.delivered_loft_deg,
            self.strike_toe_mm,
            self.strike_up_mm,
        ]
    }

    /// A delivery from the seven numbers of [`Delivery::to_array`].
    pub fn from_array(numbers: [S; 7]) -> Self {
        let [club_speed_mps, attack_deg, path_deg, face_deg, delivered_loft_deg, strike_toe_mm, strike_up_mm] = numbers;
        Self { club_speed_mps, attack_deg, path_deg, face_deg, delivered_loft_deg, strike_toe_mm, strike_up_mm }
    }
}

/// The ball as it leaves the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BallLaunch<S = f64> {
    /// Speed in m/s.
    pub ball_speed_mps: S,
    /// Vertical start direction in degrees, positive = up.
    pub launch_elevation_deg: S,
    /// Horizontal start direction in degrees, positive = right.
    pub launch_azimuth_deg: S,
    /// Total spin rate in revolutions per minute.
    pub spin_rpm: S,
    /// Tilt of the spin axis about the start direction in degrees, positive = curves right.
    pub spin_tilt_deg: S,
}

impl<S: Copy> BallLaunch<S> {
    /// Names of the entries of [`BallLaunch::to_array`].
    pub const NAMES: [&'static str; 5] =
        ["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"];

    /// The five numbers: speed, elevation, azimuth, spin, tilt.
    pub fn to_array(&self) -> [S; 5] {
        [self.ball_speed_mps, self.launch_elevation_deg, self.launch_azimuth_deg, self.spin_rpm, self.spin_tilt_deg]
    }
}
