//! What is known of one shot before it is judged.

/// One shot's evidence, the player's reference and the site's settings, by name.
///
/// Every number may be missing. An observation counts only where its deviation is given: a device that computes a quantity
/// instead of measuring it leaves the deviation empty, and the value is then no evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The numbers, in the order of [`Evidence::NUMBERS`].
    numbers: [Option<f64>; Evidence::NUMBERS.len()],
    /// `face-centre` (default) or `strike-point`: the point of the face that `face_deg` belongs to.
    pub face_at_strike_point: bool,
    /// Whether the strike position was linked from a separate record instead of measured with the shot.
    pub strike_linked: bool,
}

impl Default for Evidence {
    fn default() -> Self {
        Evidence { numbers: [None; Evidence::NUMBERS.len()], face_at_strike_point: false, strike_linked: false }
    }
}

/// Position of a number in [`Evidence::NUMBERS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
#[allow(missing_docs, reason = "each is explained by its entry in Evidence::NUMBERS")]
pub enum Known {
    BallSpeed,
    LaunchElevation,
    LaunchAzimuth,
    Spin,
    SpinTilt,
    ClubSpeed,
    Attack,
    Path,
    Face,
    DeliveredLoft,
    StrikeToe,
    StrikeUp,
    Carry,
    Lateral,
    BallSpeedSd,
    LaunchElevationSd,
    LaunchAzimuthSd,
    SpinSd,
    SpinTiltSd,
    ClubSpeedSd,
    AttackSd,
    PathSd,
    FaceSd,
    DeliveredLoftSd,
    StrikeSd,
    CarrySd,
    LateralSd,
    Hand,
    AirDensity,
    WindAlong,
    WindAcross,
    Aim,
    ReferenceClubSpeed,
    ReferenceBallSpeed,
    ReferenceLaunchElevation,
    ReferenceAttack,
    ReferenceDeliveredLoft,
    StockPath,
    StockFace,
}

impl Evidence {
    /// Names and meanings of the numbers, which are also the field names of the SQL function's argument.
    pub const NUMBERS: [(&'static str, &'static str); 39] = [
        ("ball_speed_mps", "speed of the ball after impact"),
        ("launch_elevation_deg", "vertical start direction"),
        ("launch_azimuth_deg", "horizontal start direction, positive = right"),
        ("spin_rpm", "total spin rate"),
        ("spin_tilt_deg", "tilt of the spin axis, positive = curves right"),
        ("club_speed_mps", "speed of the face centre"),
        ("attack_deg", "vertical direction of the club, positive = up"),
        ("path_deg", "horizontal direction of the club, positive = right"),
        ("face_deg", "azimuth of the face normal, positive = right"),
        ("delivered_loft_deg", "elevation of the face normal"),
        ("strike_toe_mm", "strike position, positive = toe"),
        ("strike_up_mm", "strike position, positive = crown"),
        ("carry_m", "carry, where measured"),
        ("lateral_m", "lateral distance at landing, where measured, positive = right"),
        ("ball_speed_sd_mps", "deviation of ball_speed_mps; null = not measured"),
        ("launch_elevation_sd_deg", "deviation of launch_elevation_deg; null = not measured"),
        ("launch_azimuth_sd_deg", "deviation of launch_azimuth_deg; null = not measured"),
        ("spin_sd_rpm", "deviation of spin_rpm; null = not measured"),
        ("spin_tilt_sd_deg", "deviation of spin_tilt_deg; null = not measured"),
        ("club_speed_sd_mps", "deviation of club_speed_mps; null = not measured"),
        ("attack_sd_deg", "deviation of attack_deg; null = not measured"),
        ("path_sd_deg", "deviation of path_deg; null = not measured"),
        ("face_sd_deg", "deviation of face_deg; null = not measured"),
        ("delivered_loft_sd_deg", "deviation of delivered_loft_deg; null = not measured"),
        ("strike_sd_mm", "deviation of the strike position, one axis; null = not measured"),
        ("carry_sd_m", "deviation of carry_m; null = not measured"),
        ("lateral_sd_m", "deviation of lateral_m; null = not measured"),
        ("hand", "+1 right-handed, -1 left-handed"),
        ("air_density", "kg/m3; null = 1.225"),
        ("wind_along_mps", "tail wind positive; null = calm"),
        ("wind_across_mps", "wind to the right positive; null = calm"),
        ("aim_deg", "direction aimed at; null = the target line"),
        ("reference_club_speed_mps", "the player's usual club speed with this club"),
        ("reference_ball_speed_mps", "the player's usual ball speed, used where no club speed is known"),
        (
            "reference_launch_elevation_deg",
            "the player's usual launch elevation, from which the usual loft follows where no loft was measured",
        ),
        ("reference_attack_deg", "the player's usual attack; null = the head profile's"),
        ("reference_delivered_loft_deg", "the player's usual delivered loft; null = the head profile's"),
        ("stock_path_deg", "path of the stock shape about the aim; null = 0"),
        ("stock_face_deg", "face of the stock shape about the aim; null = 0"),
    ];

    /// The value of a number.
    pub fn get(&self, known: Known) -> Option<f64> {
        self.numbers[known as usize]
    }

    /// Sets or clears a number; a value that is not finite counts as missing.
    pub fn set(&mut self, known: Known, value: Option<f64>) {
        self.numbers[known as usize] = value.filter(|number| number.is_finite());
    }

    /// Sets a number by its position in [`Evidence::NUMBERS`].
    pub fn set_at(&mut self, position: usize, value: Option<f64>) {
        self.numbers[position] = value.filter(|number| number.is_finite());
    }

    /// An observation with its deviation, if it was measured.
    pub fn measured(&self, value: Known, deviation: Known) -> Option<(f64, f64)> {
        let deviation = self.get(deviation).filter(|sd| *sd > 0.0)?;
        Some((self.get(value)?, deviation))
    }
}

/// Thresholds a site may change.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Half width of the corridor as a share of the reference carry.
    pub corridor_share: f64,
    /// How much shorter than the reference a carry may be, as a share, before it is a miss.
    pub carry_tolerance: f64,
    /// Below this probability a cause is not named.
    pub certain_enough: f64,
    /// From this face-to-path angle on, in degrees, a reader of the curve would act.
    pub curve_acted_on_deg: f64,
    /// From this probability on, a curve counts as misread.
    pub misread_probability: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            corridor_share: 0.07,
            carry_tolerance: 0.08,
            certain_enough: 0.6,
            curve_acted_on_deg: 1.5,
            misread_probability: 0.8,
        }
    }
}
