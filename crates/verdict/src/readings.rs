//! What was observed of one launch, and how far the model of it may be off.

use crate::model::{AZIMUTH, ELEVATION, LAUNCH, model_error_sd};
use crate::prior::Prior;
use crate::{Evidence, Known};

/// Rows of observations: the launch, and the face at the strike point.
pub const ROWS: usize = LAUNCH + 1;

/// A launch quantity as observed: `None` where it was not measured.
pub type ObservedLaunch = [Option<(f64, f64)>; LAUNCH];

/// The launch quantities that the device measured.
pub fn observed_launch(evidence: &Evidence) -> ObservedLaunch {
    [
        evidence.measured(Known::BallSpeed, Known::BallSpeedSd),
        evidence.measured(Known::LaunchElevation, Known::LaunchElevationSd),
        evidence.measured(Known::LaunchAzimuth, Known::LaunchAzimuthSd),
        evidence.measured(Known::Spin, Known::SpinSd),
        evidence.measured(Known::SpinTilt, Known::SpinTiltSd),
    ]
}

/// How the difference between an observed and a modelled launch quantity is shared between device and model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelError {
    /// The reading; 0 where nothing was observed.
    pub observed: f64,
    /// Share of a residual that is the model's; 0 where nothing was observed.
    pub share: f64,
    /// Deviation of the model's error beside that share.
    pub sd: f64,
}

impl ModelError {
    pub fn new(observed: Option<(f64, f64)>, model_sd: f64) -> ModelError {
        let Some((value, device_sd)) = observed else {
            return ModelError { observed: 0.0, share: 0.0, sd: model_sd };
        };
        let (model, device) = (model_sd.powi(2), device_sd.powi(2));
        ModelError { observed: value, share: model / (model + device), sd: (model * device / (model + device)).sqrt() }
    }
}

/// Observations, their variances and which of them there are.
#[derive(Debug, Clone)]
pub struct Readings {
    pub value: [f64; ROWS],
    pub variance: [f64; ROWS],
    pub present: [bool; ROWS],
}

impl Readings {
    pub fn new(observed: &ObservedLaunch, model_sd: &[f64; LAUNCH], prior: &Prior) -> Readings {
        let mut readings = Readings { value: [0.0; ROWS], variance: [1.0; ROWS], present: [false; ROWS] };
        for quantity in 0..LAUNCH {
            if let Some((value, device_sd)) = observed[quantity] {
                readings.take(quantity, value, device_sd.powi(2) + model_sd[quantity].powi(2));
            }
        }
        if let Some((value, device_sd)) = prior.face_at_strike {
            readings.take(LAUNCH, value, device_sd.powi(2));
        }
        readings
    }

    fn take(&mut self, row: usize, value: f64, variance: f64) {
        self.value[row] = value;
        self.variance[row] = variance;
        self.present[row] = true;
    }
}

/// Deviation of what the model leaves unexplained of each launch quantity of one shot; `expected` is the launch at the prior.
pub fn unexplained_sd(observed: &ObservedLaunch, expected: &[f64; LAUNCH], evidence: &Evidence) -> [f64; LAUNCH] {
    let speed_scale = observed[0].map_or(expected[0], |(speed, _)| speed);
    let spin_scale = observed[3].map_or(expected[3], |(spin, _)| spin);
    let mut model_sd = model_error_sd(speed_scale, spin_scale);
    // A constant offset is linear in one observation, so its deviation belongs to that observation's variance, exactly.
    for (quantity, deviation) in [(ELEVATION, Known::LoftOffsetSd), (AZIMUTH, Known::DirectionOffsetSd)] {
        model_sd[quantity] = model_sd[quantity].hypot(evidence.get(deviation).unwrap_or(0.0));
    }
    model_sd
}
