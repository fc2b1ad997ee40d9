//! The numbers a device can give for one shot, each with its unit, meaning and plausibility limits.

/// One numeric column of the `shots` dataset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(usize)]
pub enum Quantity {
    /// Air temperature.
    TemperatureC,
    /// Air pressure at the site (not reduced to sea level).
    PressureHpa,
    /// Relative humidity.
    HumidityPct,
    /// Wind along the target line, positive = tail wind.
    WindAlongMps,
    /// Wind across the target line, positive = blowing to the right.
    WindAcrossMps,
    /// Direction the player aimed at, against the bay's target line.
    AimDeg,
    /// Horizontal start direction of the ball.
    LaunchAzimuthDeg,
    /// Vertical start direction of the ball.
    LaunchElevationDeg,
    /// Speed of the ball just after impact.
    BallSpeedMps,
    /// Total spin rate just after impact.
    SpinRpm,
    /// Tilt of the spin axis, positive = curves right.
    SpinTiltDeg,
    /// Strike position along the face from its centre, positive = toe.
    StrikeToeMm,
    /// Strike position up the face from its centre, positive = crown.
    StrikeUpMm,
    /// Standard deviation of the strike position, one axis.
    StrikeSdMm,
    /// Vertical direction of the face centre's motion at impact.
    AttackDeg,
    /// Speed of the face centre at impact.
    ClubSpeedMps,
    /// Elevation of the face-centre normal at impact.
    DeliveredLoftDeg,
    /// Azimuth of the face normal at impact, as the device reports it (see the `devices` dataset for the reference point).
    FaceDeg,
    /// Horizontal direction of the face centre's motion at impact.
    PathDeg,
    /// Straight horizontal distance from tee to first landing at tee level.
    CarryM,
    /// Landing point's distance across the target line.
    LateralM,
    /// Highest point above the tee.
    PeakHeightM,
    /// Descent angle at landing, positive downward.
    DescentDeg,
    /// Time from impact to first landing.
    FlightTimeS,
    /// Straight horizontal distance from tee to rest.
    RestDistanceM,
}

struct Definition {
    quantity: Quantity,
    name: &'static str,
    unit: &'static str,
    lowest: f64,
    highest: f64,
    meaning: &'static str,
}

const fn define(
    quantity: Quantity,
    name: &'static str,
    unit: &'static str,
    lowest: f64,
    highest: f64,
    meaning: &'static str,
) -> Definition {
    Definition { quantity, name, unit, lowest, highest, meaning }
}

// The limits reject what no golf shot can be, not what is unusual. Where a rule of golf sets one it is named; the others are
// common practice, no source. "The impact area" and the head size of the Equipment Rules put |toe| > 60 mm off any face.
const DEFINITIONS: [Definition; Quantity::COUNT] = [
    define(Quantity::TemperatureC, "temperature_c", "Cel", -40.0, 60.0, "air temperature"),
    define(
        Quantity::PressureHpa,
        "pressure_hpa",
        "hPa",
        500.0,
        1100.0,
        "air pressure at the site, not reduced to sea level",
    ),
    define(Quantity::HumidityPct, "humidity_pct", "%", 0.0, 100.0, "relative humidity"),
    define(
        Quantity::WindAlongMps,
        "wind_along_mps",
        "m/s",
        -40.0,
        40.0,
        "wind along the target line, positive = tail wind",
    ),
    define(
        Quantity::WindAcrossMps,
        "wind_across_mps",
        "m/s",
        -40.0,
        40.0,
        "wind across the target line, positive = to the right",
    ),
    define(
        Quantity::AimDeg,
        "aim_deg",
        "deg",
        -45.0,
        45.0,
        "direction aimed at against the bay's target line, positive = right",
    ),
    define(
        Quantity::LaunchAzimuthDeg,
        "launch_azimuth_deg",
        "deg",
        -60.0,
        60.0,
        "horizontal start direction of the ball, positive = right",
    ),
    define(
        Quantity::LaunchElevationDeg,
        "launch_elevation_deg",
        "deg",
        -20.0,
        80.0,
        "vertical start direction of the ball, positive = up",
    ),
    define(Quantity::BallSpeedMps, "ball_speed_mps", "m/s", 2.0, 110.0, "speed of the ball just after impact"),
    define(Quantity::SpinRpm, "spin_rpm", "/min", 0.0, 15_000.0, "total spin rate just after impact"),
    define(
        Quantity::SpinTiltDeg,
        "spin_tilt_deg",
        "deg",
        -90.0,
        90.0,
        "tilt of the spin axis, positive = curves right",
    ),
    define(
        Quantity::StrikeToeMm,
        "strike_toe_mm",
        "mm",
        -60.0,
        60.0,
        "strike position from the face centre, positive = toward the toe",
    ),
    define(
        Quantity::StrikeUpMm,
        "strike_up_mm",
        "mm",
        -40.0,
        40.0,
        "strike position from the face centre, positive = toward the crown",
    ),
    define(
        Quantity::StrikeSdMm,
        "strike_sd_mm",
        "mm",
        0.0,
        50.0,
        "standard deviation of the strike position, one axis",
    ),
    define(
        Quantity::AttackDeg,
        "attack_deg",
        "deg",
        -25.0,
        25.0,
        "vertical direction of the face centre's motion at impact, positive = up",
    ),
    define(Quantity::ClubSpeedMps, "club_speed_mps", "m/s", 2.0, 75.0, "speed of the face centre at impact"),
    define(
        Quantity::DeliveredLoftDeg,
        "delivered_loft_deg",
        "deg",
        -10.0,
        80.0,
        "elevation of the face-centre normal at impact",
    ),
    define(
        Quantity::FaceDeg,
        "face_deg",
        "deg",
        -45.0,
        45.0,
        "azimuth of the face normal at impact as reported, positive = right",
    ),
    define(
        Quantity::PathDeg,
        "path_deg",
        "deg",
        -45.0,
        45.0,
        "horizontal direction of the face centre's motion at impact, positive = right",
    ),
    define(
        Quantity::CarryM,
        "carry_m",
        "m",
        0.0,
        400.0,
        "straight horizontal distance from tee to first landing at tee level",
    ),
    define(
        Quantity::LateralM,
        "lateral_m",
        "m",
        -200.0,
        200.0,
        "landing point's distance across the target line, positive = right",
    ),
    define(Quantity::PeakHeightM, "peak_height_m", "m", 0.0, 100.0, "highest point above the tee"),
    define(Quantity::DescentDeg, "descent_deg", "deg", 0.0, 90.0, "descent angle at landing, positive downward"),
    define(Quantity::FlightTimeS, "flight_time_s", "s", 0.0, 15.0, "time from impact to first landing"),
    define(
        Quantity::RestDistanceM,
        "rest_distance_m",
        "m",
        0.0,
        450.0,
        "straight horizontal distance from tee to rest",
    ),
];

impl Quantity {
    /// How many quantities a shot can have.
    pub const COUNT: usize = 25;

    /// All quantities in the column order of `shots`.
    pub fn all() -> impl Iterator<Item = Quantity> {
        DEFINITIONS.iter().map(|definition| definition.quantity)
    }

    /// The column name, which ends in the unit.
    pub fn name(self) -> &'static str {
        DEFINITIONS[self as usize].name
    }

    /// The unit as a UCUM code.
    pub fn unit(self) -> &'static str {
        DEFINITIONS[self as usize].unit
    }

    /// What the number means, for column descriptions.
    pub fn meaning(self) -> &'static str {
        DEFINITIONS[self as usize].meaning
    }

    /// The lowest and highest plausible value, in the column's unit.
    pub fn limits(self) -> (f64, f64) {
        (DEFINITIONS[self as usize].lowest, DEFINITIONS[self as usize].highest)
    }

    /// The quantity of a column name, if it is one.
    pub fn from_name(name: &str) -> Option<Quantity> {
        DEFINITIONS.iter().find(|definition| definition.name == name).map(|definition| definition.quantity)
    }
}

/// The numbers of one shot; a quantity the device did not give is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct Measures([Option<f64>; Quantity::COUNT]);

impl Default for Measures {
    fn default() -> Self {
        Measures([None; Quantity::COUNT])
    }
}

impl Measures {
    /// The value of a quantity in its column's unit.
    pub fn get(&self, quantity: Quantity) -> Option<f64> {
        self.0[quantity as usize]
    }

    /// Sets or clears a quantity. A value that is not finite becomes missing, since no published column holds NaN.
    pub fn set(&mut self, quantity: Quantity, value: Option<f64>) {
        self.0[quantity as usize] = value.filter(|number| number.is_finite());
    }

    /// Every quantity that has a value outside its plausible limits.
    pub fn implausible(&self) -> Vec<(Quantity, f64)> {
        let mut found = Vec::new();
        for quantity in Quantity::all() {
            let Some(value) = self.get(quantity) else { continue };
            let (lowest, highest) = quantity.limits();
            if value < lowest || value > highest {
                found.push((quantity, value));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_stands_in_the_order_of_the_enum() {
        for (position, quantity) in Quantity::all().enumerate() {
            assert_eq!(quantity as usize, position, "{}", quantity.name());
            assert_eq!(Quantity::from_name(quantity.name()), Some(quantity));
        }
        assert_eq!(Quantity::RestDistanceM as usize + 1, Quantity::COUNT);
    }

    #[test]
    fn a_value_beyond_its_limit_is_named() {
        let mut measures = Measures::default();
        measures.set(Quantity::BallSpeedMps, Some(160.0));
        measures.set(Quantity::SpinRpm, Some(f64::NAN));
        assert_eq!(measures.implausible(), vec![(Quantity::BallSpeedMps, 160.0)]);
        assert_eq!(measures.get(Quantity::SpinRpm), None);
    }
}
