//! Definitions of the functions of numbers: flights, air density, the quantile of Student's t, the interval of a share.

use flight::{BallProfile, Conditions, Launch, MoistAir};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::columns::Entry;
use super::numbers::Definition;

const LANDING: &[Entry] = &[
    ("carry_m", "m", "straight horizontal distance from tee to first landing"),
    ("lateral_m", "m", "distance across the target line at landing, positive = right"),
    ("peak_height_m", "m", "highest point above the tee"),
    ("descent_deg", "deg", "descent angle at landing"),
    ("flight_time_s", "s", "time in the air"),
    ("landing_speed_mps", "m/s", "speed at landing"),
    ("landing_spin_rpm", "/min", "spin rate at landing"),
];

pub(super) const DEFINITIONS: &[Definition] = &[
    Definition {
        name: "flight",
        description: "Flies a launch through calm air. A missing argument, or one beyond what the model can mean, gives \
                      null. Published models differ by about 5 % of carry; differences between two flights are better \
                      than that.",
        arguments: &[
            ("ball_speed_mps", "m/s", "speed of the ball after impact, 0 to 150"),
            ("launch_elevation_deg", "deg", "vertical start direction, positive = up"),
            ("launch_azimuth_deg", "deg", "horizontal start direction, positive = right"),
            ("spin_rpm", "/min", "total spin rate, 0 to 30000"),
            ("spin_tilt_deg", "deg", "tilt of the spin axis, positive = curves right"),
            ("air_density", "kg/m3", "density of the air, see air_density()"),
        ],
        results: LANDING,
        compute: fly,
    },
    Definition {
        name: "flight_in_wind",
        description: "Flies a launch through moving air, with a ball that drags and lifts more or less than the default one. A \
                      missing argument, or one beyond what the model can mean, gives null.",
        arguments: &[
            ("ball_speed_mps", "m/s", "speed of the ball after impact, 0 to 150"),
            ("launch_elevation_deg", "deg", "vertical start direction, positive = up"),
            ("launch_azimuth_deg", "deg", "horizontal start direction, positive = right"),
            ("spin_rpm", "/min", "total spin rate, 0 to 30000"),
            ("spin_tilt_deg", "deg", "tilt of the spin axis, positive = curves right"),
            ("air_density", "kg/m3", "density of the air, see air_density()"),
            ("wind_along_mps", "m/s", "wind along the target line, tail wind positive; the same at every height"),
            ("wind_across_mps", "m/s", "wind across it, positive = to the right"),
            ("ball_drag_scale", "1", "factor on the ball's drag, 1 = the default ball, 0.5 to 2"),
            ("ball_lift_scale", "1", "factor on the ball's lift, 1 = the default ball, 0.5 to 2"),
        ],
        results: LANDING,
        compute: fly_in_wind,
    },
    Definition {
        name: "air_density",
        description: "Density of moist air by CIPM-2007; null outside -60 to 60 C, 300 to 1200 hPa or 0 to 100 %.",
        arguments: &[
            ("temperature_c", "Cel", "air temperature"),
            ("pressure_hpa", "hPa", "pressure at the place itself, not reduced to sea level"),
            ("humidity_pct", "%", "relative humidity"),
        ],
        results: &[("", "kg/m3", "density of the air")],
        compute: density,
    },
    Definition {
        name: "student_t_quantile",
        description: "The value below which a share p of Student's t distribution lies; null outside 0 < p < 1 or where \
                      the degrees of freedom are not positive.",
        arguments: &[
            ("p", "1", "share, for example 0.95 for the upper end of a 90 % interval"),
            ("degrees_of_freedom", "1", "degrees of freedom, above 0"),
        ],
        results: &[("", "1", "the quantile")],
        compute: student_t,
    },
    Definition {
        name: "wilson",
        description: "Score interval of a share (Wilson 1927); null without a count, or where the successes exceed it.",
        arguments: &[
            ("successes", "1", "how often it happened; weights may be summed, so it need not be whole"),
            ("count", "1", "how often it could have happened, above 0"),
            ("level", "1", "share of intervals that hold the truth, for example 0.9"),
        ],
        results: &[("low", "1", "lower end"), ("high", "1", "upper end")],
        compute: wilson,
    },
];

fn fly(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[.., air_density] = numbers else { return false };
    land(&BallProfile::default(), numbers, &Conditions { air_density, ..Conditions::default() }, answer)
}

fn fly_in_wind(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[.., air_density, wind_along_mps, wind_across_mps, drag_scale, lift_scale] = numbers else { return false };
    if [drag_scale, lift_scale].iter().any(|scale| !(0.5..=2.0).contains(scale)) {
        return false;
    }
    let ball = BallProfile { drag_scale, lift_scale, ..BallProfile::default() };
    let conditions = Conditions { air_density, wind_along_mps, wind_across_mps, ..Conditions::default() };
    land(&ball, numbers, &conditions, answer)
}

/// Flies the launch that the first five numbers are.
fn land(ball: &BallProfile, numbers: &[f64], conditions: &Conditions, answer: &mut Vec<f64>) -> bool {
    let &[ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg, ..] = numbers else { return false };
    let launch = Launch { ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg };
    let Some(landing) = flight::try_fly(ball, &launch, conditions) else { return false };
    answer.extend([
        landing.carry_m,
        landing.lateral_m,
        landing.peak_height_m,
        landing.descent_deg,
        landing.flight_time_s,
        landing.landing_speed_mps,
        landing.landing_spin_rpm,
    ]);
    true
}

fn density(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[temperature_c, pressure_hpa, humidity_pct] = numbers else { return false };
    let density = flight::air_density(&MoistAir { temperature_c, pressure_hpa, humidity_pct });
    answer.extend(density);
    density.is_some()
}

fn student_t(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[p, degrees_of_freedom] = numbers else { return false };
    let inside = p > 0.0 && p < 1.0 && degrees_of_freedom > 0.0 && degrees_of_freedom.is_finite();
    let Some(distribution) = inside.then(|| StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()).flatten() else {
        return false;
    };
    answer.push(distribution.inverse_cdf(p));
    true
}

fn wilson(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[successes, count, level] = numbers else { return false };
    let interval = practice::wilson(successes, count, level);
    answer.extend(interval.iter().flat_map(|interval| [interval.low, interval.high]));
    interval.is_some()
}
