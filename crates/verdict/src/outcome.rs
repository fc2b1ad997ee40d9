//! What the judgement says of one shot, and how its fields are named and typed in data.

/// The judgement of one shot. Numbers that cannot be told are `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct ShotVerdict {
    /// `none`, `left`, `right`, `short`, or two joined by `-`.
    pub miss: Option<String>,
    /// `strike`, `delivery`, `either`, `both needed`, `neither`, `cannot tell`; missing where there is no miss.
    pub cause: Option<String>,
    /// Where the strike position comes from: `measured`, `linked`, `inferred`, or `toe only`, `height only` where the other axis was
    /// inferred.
    pub strike_source: Option<String>,
    /// `centre`, `toe`, `heel`, `high`, `low`.
    pub strike_zone: Option<String>,
    /// Why something cannot be told.
    pub reason: Option<String>,
    /// Whether a reader of the curve alone would have been misled.
    pub misread: Option<bool>,
    /// The numbers, in the order of [`ShotVerdict::NUMBERS`].
    numbers: [Option<f64>; ShotVerdict::NUMBERS.len()],
}

impl Default for ShotVerdict {
    fn default() -> Self {
        ShotVerdict {
            miss: None,
            cause: None,
            strike_source: None,
            strike_zone: None,
            reason: None,
            misread: None,
            numbers: [None; ShotVerdict::NUMBERS.len()],
        }
    }
}

/// Position of a number in [`ShotVerdict::NUMBERS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
#[allow(missing_docs, reason = "each is explained by its entry in ShotVerdict::NUMBERS")]
pub enum Told {
    CauseProbability,
    Lateral,
    Carry,
    ReferenceLateral,
    ReferenceCarry,
    LateralStrike,
    LateralDelivery,
    LateralSpeed,
    LateralRest,
    CarryStrike,
    CarryDelivery,
    CarrySpeed,
    CarryRest,
    CentredCarry,
    CentredLateral,
    CarryLostToStrike,
    CarryLostToStrikeSd,
    StrikeToe,
    StrikeUp,
    StrikeToeSd,
    StrikeUpSd,
    FaceToPath,
    CurveReading,
    ProbabilityStrike,
    ProbabilityDelivery,
    ProbabilityEither,
    ProbabilityBothNeeded,
    ProbabilityNeither,
    TighterStrikeGain,
    FasterClubGain,
    CarryStd,
    LateralStd,
    CentredCarryStd,
    ReferenceCarryStd,
    CarryLostToStrikeStd,
    MisreadProbability,
    CarrySd,
    LateralSd,
    LikelyBallSpeed,
    LikelyLaunchElevation,
    LikelyLaunchAzimuth,
    LikelySpin,
    LikelySpinTilt,
    LikelyBallSpeedSd,
    LikelyLaunchElevationSd,
    LikelyLaunchAzimuthSd,
    LikelySpinSd,
    LikelySpinTiltSd,
}

impl ShotVerdict {
    /// Name, UCUM unit and meaning of the numbers, which are also the field names of the SQL function's result.
    pub const NUMBERS: [(&'static str, &'static str, &'static str); 48] = [
        ("cause_probability", "1", "share of the posterior that the named cause holds"),
        ("lateral_m", "m", "distance across the target line at landing, positive = right"),
        ("carry_m", "m", "carry of the shot"),
        ("reference_lateral_m", "m", "where the player's centred stock shot lands across the line"),
        ("reference_carry_m", "m", "carry of the player's centred stock shot"),
        ("lateral_strike_m", "m", "part of actual minus reference lateral that the strike made"),
        ("lateral_delivery_m", "m", "part that path, face, attack and loft made"),
        ("lateral_speed_m", "m", "part that club speed made"),
        ("lateral_rest_m", "m", "part that no model explains"),
        ("carry_strike_m", "m", "part of actual minus reference carry that the strike made"),
        ("carry_delivery_m", "m", "part that path, face, attack and loft made"),
        ("carry_speed_m", "m", "part that club speed made"),
        ("carry_rest_m", "m", "part that no model explains"),
        ("centred_carry_m", "m", "carry of the same shot struck from the face centre"),
        ("centred_lateral_m", "m", "lateral of the same shot struck from the face centre"),
        ("carry_lost_to_strike_m", "m", "centred minus actual carry, positive = lost"),
        ("carry_lost_to_strike_sd_m", "m", "standard deviation of carry_lost_to_strike_m"),
        ("strike_toe_mm", "mm", "strike position, positive = toe"),
        ("strike_up_mm", "mm", "strike position, positive = crown"),
        ("strike_toe_sd_mm", "mm", "standard deviation of strike_toe_mm"),
        ("strike_up_sd_mm", "mm", "standard deviation of strike_up_mm"),
        ("face_to_path_deg", "deg", "face minus path at the face centre, positive = face right of path"),
        ("curve_reading_deg", "deg", "face to path that a reader of the flight would infer, assuming a centred strike"),
        ("probability_strike", "1", "probability that centring alone mends the miss"),
        ("probability_delivery", "1", "probability that the intended delivery alone mends the miss"),
        ("probability_either", "1", "probability that each alone mends the miss"),
        ("probability_both_needed", "1", "probability that only both together mend the miss"),
        ("probability_neither", "1", "probability that not even both mend the miss"),
        ("tighter_strike_gain_m", "m", "carry that a strike a quarter nearer the centre would have given back"),
        ("faster_club_gain_m", "m", "carry that 1 m/s more club speed would have given"),
        ("carry_std_m", "m", "carry_m in standard air: 20 C, 1013.25 hPa, 50 % humidity, no wind"),
        ("lateral_std_m", "m", "lateral_m in standard air"),
        ("centred_carry_std_m", "m", "centred_carry_m in standard air"),
        ("reference_carry_std_m", "m", "reference_carry_m in standard air"),
        ("carry_lost_to_strike_std_m", "m", "carry_lost_to_strike_m in standard air"),
        (
            "misread_probability",
            "1",
            "probability that the true face to path differs from curve_reading_deg as misread asks",
        ),
        ("carry_sd_m", "m", "deviation of carry_m, without the flight model's own 5 % where no carry was measured"),
        ("lateral_sd_m", "m", "deviation of lateral_m"),
        ("likely_ball_speed_mps", "m/s", "most probable ball speed, measured or not"),
        ("likely_launch_elevation_deg", "deg", "most probable launch elevation"),
        ("likely_launch_azimuth_deg", "deg", "most probable launch azimuth, positive = right"),
        ("likely_spin_rpm", "/min", "most probable spin rate"),
        ("likely_spin_tilt_deg", "deg", "most probable tilt of the spin axis, positive = curves right"),
        ("likely_ball_speed_sd_mps", "m/s", "deviation of likely_ball_speed_mps"),
        ("likely_launch_elevation_sd_deg", "deg", "deviation of likely_launch_elevation_deg"),
        ("likely_launch_azimuth_sd_deg", "deg", "deviation of likely_launch_azimuth_deg"),
        ("likely_spin_sd_rpm", "/min", "deviation of likely_spin_rpm"),
        ("likely_spin_tilt_sd_deg", "deg", "deviation of likely_spin_tilt_deg"),
    ];

    /// The value of a number.
    pub fn get(&self, told: Told) -> Option<f64> {
        self.numbers[told as usize]
    }

    /// Sets a number; a value that is not finite becomes missing.
    pub fn set(&mut self, told: Told, value: f64) {
        self.numbers[told as usize] = Some(value).filter(|number| number.is_finite());
    }

    /// The number at a position of [`ShotVerdict::NUMBERS`].
    pub fn number_at(&self, position: usize) -> Option<f64> {
        self.numbers[position]
    }

    /// Names and meanings of the text fields of the SQL function's result.
    pub const TEXTS: [(&'static str, &'static str); 5] = [
        ("miss", "none, left, right, short, or two joined by -"),
        ("cause", "strike, delivery, either, both needed, neither or cannot tell; null without a miss"),
        ("strike_source", "measured, linked or inferred; toe only or height only where the other axis was inferred"),
        ("strike_zone", "centre, toe, heel, high or low"),
        ("reason", "why something cannot be told; null where everything is"),
    ];

    /// The text at a position of [`ShotVerdict::TEXTS`].
    pub fn text_at(&self, position: usize) -> Option<&str> {
        match position {
            0 => self.miss.as_deref(),
            1 => self.cause.as_deref(),
            2 => self.strike_source.as_deref(),
            3 => self.strike_zone.as_deref(),
            _ => self.reason.as_deref(),
        }
    }
}
