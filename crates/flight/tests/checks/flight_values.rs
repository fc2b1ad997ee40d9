//! Flights with known answers. All with r 21.335 mm, m 45.93 g, 1.225 kg/m^3, and g 9.81 m/s^2 where not said otherwise.

use flight::{
    Aerodynamics, BallProfile, CoefficientTable, Conditions, ForceLaw, Landing, Launch, Rates, State, fly,
    fly_with_tolerance, integrate,
};

const TIGHT: f64 = 1e-11;

pub fn launch(ball_speed_mps: f64, elevation_deg: f64, azimuth_deg: f64, spin_rpm: f64, spin_tilt_deg: f64) -> Launch {
    Launch { ball_speed_mps, elevation_deg, azimuth_deg, spin_rpm, spin_tilt_deg }
}

fn tight(ball: &BallProfile, launch: &Launch, conditions: &Conditions) -> Landing {
    fly_with_tolerance(ball, launch, conditions, TIGHT).unwrap()
}

fn constant_drag(drag: f64) -> BallProfile {
    BallProfile {
        aerodynamics: Aerodynamics::SpinRatio {
            drag_base: drag,
            drag_slope: 0.0,
            lift_factor: 0.0,
            lift_exponent: 1.0,
        },
        ..BallProfile::default()
    }
}

fn conditions(air_density: f64, gravity: f64) -> Conditions {
    Conditions { air_density, gravity, ..Conditions::default() }
}

#[track_caller]
fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected} within {tolerance}");
}

#[test]
fn in_a_vacuum_the_path_is_a_parabola() {
    // [derived, exact: range v^2 sin(2 elevation) / g].
    let landing = tight(&BallProfile::default(), &launch(67.0, 12.0, 0.0, 2700.0, 0.0), &conditions(0.0, 9.81));
    close(landing.carry_m, 186.120_366_031, 1e-8);
    close(landing.flight_time_s, 2.839_976_204_85, 1e-9);
    close(landing.peak_height_m, 9.890_276_265_1, 1e-9);
    close(landing.descent_deg, 12.0, 1e-9);
}

#[test]
fn quadratic_drag_alone() {
    // [derived, exact hodograph quadrature], C_D 0.25.
    let ball = constant_drag(0.25);
    let air = conditions(1.225, 9.81);
    let low = tight(&ball, &launch(67.0, 12.0, 0.0, 0.0, 0.0), &air);
    close(low.carry_m, 121.220_515_403, 1e-7);
    close(low.flight_time_s, 2.511_189_061_47, 1e-9);
    close(low.peak_height_m, 7.802_693_767_15, 1e-9);
    close(tight(&ball, &launch(60.0, 30.0, 0.0, 0.0, 0.0), &air).carry_m, 165.702_320_497, 1e-7);
}

/// Drag and lift proportional to the speed, for which the path has a closed form.
struct LinearForces {
    drag: f64,
    lift: f64,
    gravity: f64,
}

impl ForceLaw for LinearForces {
    fn rates(&self, [along, left, up]: [f64; 3], _spin_rad_s: f64) -> Rates {
        let acceleration = [
            -(self.drag * along + self.lift * up),
            -self.drag * left,
            -self.gravity - (self.drag * up - self.lift * along),
        ];
        Rates { acceleration, spin: 0.0 }
    }
}

#[test]
fn linear_drag_and_lift() {
    // [derived, exact].
    let (sin, cos) = 12.0_f64.to_radians().sin_cos();
    let start = State { position: [0.0; 3], velocity: [70.0 * cos, 0.0, 70.0 * sin], spin_rad_s: 0.0 };
    let flight = integrate(&LinearForces { drag: 0.25, lift: 0.15, gravity: 9.81 }, &start, TIGHT).unwrap();
    close(flight.end.position[0], 207.583_023_934, 1e-7);
}

#[test]
fn default_ball() {
    // [derived, order-8 Runge-Kutta at 1e-11], g 9.80665 where the condition is the default.
    let ball = BallProfile::default();
    let usual = Conditions::default();

    let straight = tight(&ball, &launch(67.06, 12.0, 0.0, 2700.0, 0.0), &usual);
    close(straight.carry_m, 221.705_108, 1e-6);
    close(straight.flight_time_s, 6.964_359, 1e-6);
    close(straight.peak_height_m, 32.619_364, 1e-6);
    close(straight.descent_deg, 41.162_454, 1e-6);
    close(straight.landing_spin_rpm, 2167.557, 1e-3);
    let other_gravity = tight(&ball, &launch(67.06, 12.0, 0.0, 2700.0, 0.0), &conditions(1.225, 9.81));
    close(other_gravity.carry_m, 221.661_041_28, 1e-7);

    let tilted = tight(&ball, &launch(67.06, 12.0, 0.0, 2700.0, 10.0), &usual);
    close(tilted.carry_m, 220.541_649, 1e-6);
    close(tilted.lateral_m, 20.604_381, 1e-6);
    close((tilted.carry_m.powi(2) - tilted.lateral_m.powi(2)).sqrt(), 219.577_044, 2e-6);

    let turned = tight(&ball, &launch(60.0, 12.0, 3.0, 3000.0, -8.0), &conditions(1.1, 9.80665));
    close(turned.carry_m, 200.494_680, 1e-6);
    close(turned.lateral_m, -2.203_995, 1e-6);

    close(tight(&ball, &launch(30.0, 25.0, 0.0, 6000.0, 0.0), &usual).carry_m, 74.807_795, 1e-6);
}

#[test]
fn a_legal_ball_stays_within_the_overall_distance_limit() {
    // [source: R&A/USGA Overall Distance Standard]: 317 + 3 yd in total at 176 mph ball speed, 10 degrees, 2520 rpm; the
    // carry alone must stay below it.
    let launch = launch(176.0 * 0.447_04, 10.0, 0.0, 2520.0, 0.0);
    let landing = fly(&BallProfile::default(), &launch, &Conditions::default());
    assert!(landing.carry_m < 320.0 * 0.9144, "{landing:?}");
    assert!(landing.carry_m > 250.0 * 0.9144, "a full drive does not fall this short: {landing:?}");
}

#[test]
fn a_table_of_the_law_flies_like_the_law() {
    let law = BallProfile::default();
    let speeds: Vec<f64> = (0..=80).map(|index| 10.0 + f64::from(index)).collect();
    let spins: Vec<f64> = (0..=60).map(|index| 1000.0 + 50.0 * f64::from(index)).collect();
    let (mut drag, mut lift) = (Vec::new(), Vec::new());
    for spin in &spins {
        for speed in &speeds {
            let (cell_drag, cell_lift) = law.coefficients(*speed, spin * std::f64::consts::TAU / 60.0);
            drag.push(cell_drag);
            lift.push(cell_lift);
        }
    }
    let table = CoefficientTable::new(speeds, spins, &drag, &lift).unwrap();
    let tabled = BallProfile { aerodynamics: Aerodynamics::Table(table), ..law.clone() };
    let shot = launch(67.06, 12.0, 1.0, 2700.0, 5.0);
    let by_law = fly(&law, &shot, &Conditions::default());
    let by_table = fly(&tabled, &shot, &Conditions::default());
    close(by_table.carry_m, by_law.carry_m, 0.05);
    close(by_table.lateral_m, by_law.lateral_m, 0.05);
}

#[test]
fn the_default_tolerance_keeps_a_centimetre() {
    // The promise of DEFAULT_TOLERANCE_M, over the launches that golf knows.
    let ball = BallProfile::default();
    for speed in [15.0, 30.0, 45.0, 60.0, 67.0, 80.0] {
        for elevation in [2.0, 6.0, 12.0, 18.0, 28.0, 45.0] {
            for (spin, tilt) in [(0.0, 0.0), (800.0, 30.0), (2500.0, -10.0), (5000.0, 20.0), (9000.0, 30.0)] {
                for along in [-10.0, 0.0, 10.0] {
                    let air = Conditions { wind_along_mps: along, wind_across_mps: 3.0, ..Conditions::default() };
                    let shot = launch(speed, elevation, 2.0, spin, tilt);
                    let quick = fly(&ball, &shot, &air);
                    let exact = fly_with_tolerance(&ball, &shot, &air, 1e-9).unwrap();
                    close(quick.carry_m, exact.carry_m, 0.01);
                    close(quick.lateral_m, exact.lateral_m, 0.01);
                    close(quick.peak_height_m, exact.peak_height_m, 0.01);
                    close(quick.flight_time_s, exact.flight_time_s, 0.01);
                }
            }
        }
    }
}
