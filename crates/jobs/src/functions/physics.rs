//! Definitions of the functions of numbers: flight, air density, and the quantile of Student's t.

use flight::{BallProfile, Conditions, Launch, MoistAir};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::numbers::Definition;

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
        results: &[
            ("carry_m", "m", "straight horizontal distance from tee to first landing"),
            ("lateral_m", "m", "distance across the target line at landing, positive = right"),
            ("peak_height_m", "m", "highest point above the tee"),
            ("descent_deg", "deg", "descent angle at landing"),
            ("flight_time_s", "s", "time in the air"),
            ("landing_speed_mps", "m/s", "speed at landing"),
            ("landing_spin_rpm", "/min", "spin rate at landing"),
        ],
        compute: fly,
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
];

fn fly(numbers: &[f64], answer: &mut Vec<f64>) -> bool {
    let &[ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg, air_density] = numbers else {
        return false;
    };
    let launch = Launch { ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg };
    let conditions = Conditions { air_density, ..Conditions::default() };
    let Some(landing) = flight::try_fly(&BallProfile::default(), &launch, &conditions) else { return false };
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
