//! How much air drags and lifts a site's balls, from carries that were measured outdoors.

use flight::{Conditions, Launch};

/// One flight whose landing was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredFlight {
    /// The launch as measured.
    pub launch: Launch,
    /// Deviations of ball speed (m/s), elevation, azimuth (deg), spin (rpm) and tilt (deg).
    pub launch_sd: [f64; 5],
    /// Air and wind of the shot.
    pub conditions: Conditions,
    /// Measured carry in m.
    pub carry_m: f64,
    /// Deviation of `carry_m` in m.
    pub carry_sd_m: f64,
    /// Measured lateral distance at landing in m, positive = right, with its deviation.
    pub lateral_m: Option<(f64, f64)>,
    /// Flights of one day share a number: their wind and air are wrong by the same amount.
    pub day: i32,
}

/// Position of a number in [`BallModel::NUMBERS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
#[allow(missing_docs, reason = "each is explained by its entry in BallModel::NUMBERS")]
pub enum BallNumber {
    FlightsUsed,
    DaysUsed,
    FlightsSetAside,
    DragScale,
    DragScaleSd,
    LiftScale,
    LiftScaleSd,
    ScaleCorrelation,
    CarryOffsetAtProfile,
}

/// The ball of a site, as its flights tell.
#[derive(Debug, Clone, PartialEq)]
pub struct BallModel {
    /// Whether the data say more of the drag scale alone than the prior does.
    pub drag_identified: bool,
    /// Whether the data say more of the lift scale alone than the prior does.
    pub lift_identified: bool,
    /// The numbers, in the order of [`BallModel::NUMBERS`].
    numbers: [Option<f64>; BallModel::NUMBERS.len()],
}

impl BallModel {
    /// Name, UCUM unit and meaning of the numbers, which are also the field names of the SQL function's result.
    pub const NUMBERS: [(&'static str, &'static str, &'static str); 9] = [
        ("flights_used", "1", "flights that the model rests on"),
        ("days_used", "1", "days that the model rests on"),
        ("flights_set_aside", "1", "flights that fitted so badly that they count less than half"),
        ("ball_drag_scale", "1", "factor on the profile's drag"),
        ("ball_drag_scale_sd", "1", "deviation of ball_drag_scale"),
        ("ball_lift_scale", "1", "factor on the profile's lift"),
        ("ball_lift_scale_sd", "1", "deviation of ball_lift_scale"),
        ("scale_correlation", "1", "correlation of the two: near 1, only their balance is known, not each"),
        ("carry_offset_m", "m", "mean of measured minus modelled carry with the unscaled ball"),
    ];

    /// A model that tells nothing yet.
    pub(crate) fn empty() -> BallModel {
        BallModel { drag_identified: false, lift_identified: false, numbers: [None; BallModel::NUMBERS.len()] }
    }

    /// Sets a number; a value that is not finite becomes missing.
    pub(crate) fn set(&mut self, number: BallNumber, value: f64) {
        self.numbers[number as usize] = Some(value).filter(|told| told.is_finite());
    }

    /// The value of a number.
    pub fn get(&self, number: BallNumber) -> Option<f64> {
        self.numbers[number as usize]
    }

    /// The number at a position of [`BallModel::NUMBERS`]; `None` beyond them.
    pub fn number_at(&self, position: usize) -> Option<f64> {
        self.numbers.get(position).copied().flatten()
    }
}
