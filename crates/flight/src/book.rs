//! The book of ball profiles, and what makes one impossible or suspicious.

use serde::Deserialize;

use crate::ball::{Aerodynamics, BallProfile};
use crate::launch::{Conditions, Launch, fly};
use crate::table::CoefficientTable;

/// All ball profiles of a site, as `balls.toml` holds them.
///
/// A book that was read is a good one: reading it refuses impossible profiles, with one sentence and one `hint:` line for each
/// problem.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(try_from = "WrittenBook")]
pub struct BallBook {
    /// The balls, in the file's order.
    pub balls: Vec<NamedBall>,
}

/// A ball profile with the name that the site gave it.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedBall {
    /// Name, unique in its book.
    pub name: String,
    /// The ball.
    pub profile: BallProfile,
}

impl BallBook {
    /// The ball with a name.
    pub fn find(&self, name: &str) -> Option<&NamedBall> {
        self.balls.iter().find(|ball| ball.name == name)
    }

    /// What lies beyond the Equipment Rules (R&A and USGA), one sentence each; such balls still fly.
    pub fn warnings(&self) -> Vec<String> {
        self.balls
            .iter()
            .flat_map(|ball| {
                beyond_the_rules(&ball.profile).into_iter().map(|warning| format!("ball `{}`: {warning}", ball.name))
            })
            .collect()
    }
}

/// Limit of the mass in the Equipment Rules (1.620 oz).
const HEAVIEST_KG: f64 = 0.045_93;
/// Limit of the radius (diameter at least 1.680 in, 42.67 mm).
const SMALLEST_RADIUS_M: f64 = 0.021_335;
/// Overall Distance Standard with its tolerance: 317 + 3 yards in total, so a carry beyond it alone breaks the rule.
const LONGEST_TOTAL_M: f64 = 320.0 * 0.914_4;

fn beyond_the_rules(ball: &BallProfile) -> Vec<String> {
    let mut warnings = Vec::new();
    if ball.mass_kg > HEAVIEST_KG + 1e-9 {
        warnings.push(format!("weighs {} kg; the rules allow {HEAVIEST_KG} kg", ball.mass_kg));
    }
    // 0.05 mm of slack: published radii are rounded.
    if ball.radius_m < SMALLEST_RADIUS_M - 5e-5 {
        warnings.push(format!("its radius is {} m; the rules ask for {SMALLEST_RADIUS_M} m", ball.radius_m));
    }
    let test_launch = Launch {
        ball_speed_mps: 176.0 * 0.447_04,
        elevation_deg: 10.0,
        azimuth_deg: 0.0,
        spin_rpm: 2520.0,
        spin_tilt_deg: 0.0,
    };
    let carry_m = fly(ball, &test_launch, &Conditions::default()).carry_m;
    if carry_m > LONGEST_TOTAL_M {
        warnings.push(format!(
            "carries {carry_m:.0} m at the rules' test launch (176 mph, 10 degrees, 2520 rpm); they allow {LONGEST_TOTAL_M:.0} m \
             with the roll"
        ));
    }
    warnings
}

/// The file as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenBook {
    #[serde(rename = "ball", default)]
    balls: Vec<WrittenBall>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenBall {
    name: String,
    mass_kg: f64,
    radius_m: f64,
    spin_decay: f64,
    #[serde(default = "unscaled")]
    drag_scale: f64,
    #[serde(default = "unscaled")]
    lift_scale: f64,
    spin_ratio: Option<WrittenLaw>,
    table: Option<WrittenTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenLaw {
    drag_base: f64,
    drag_slope: f64,
    lift_factor: f64,
    lift_exponent: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenTable {
    speeds_mps: Vec<f64>,
    spins_rpm: Vec<f64>,
    /// One row of speeds for each spin rate.
    drag: Vec<Vec<f64>>,
    lift: Vec<Vec<f64>>,
}

fn unscaled() -> f64 {
    1.0
}

impl TryFrom<WrittenBook> for BallBook {
    type Error = String;

    fn try_from(written: WrittenBook) -> Result<Self, String> {
        let mut problems = Vec::new();
        let mut balls: Vec<NamedBall> = Vec::new();
        if written.balls.is_empty() {
            problems.push("the book holds no ball\nhint: add a [[ball]] section".to_owned());
        }
        for (index, ball) in written.balls.into_iter().enumerate() {
            let name = ball.name.clone();
            if name.trim().is_empty() {
                problems.push(format!("ball {} has no name\nhint: give it a name of its own", index + 1));
            }
            if balls.iter().any(|earlier| earlier.name == name) {
                problems.push(format!("ball `{name}` appears twice\nhint: rename one of the two"));
            }
            match ball.build() {
                Ok(profile) => balls.push(NamedBall { name, profile }),
                Err(found) => problems.extend(found.into_iter().map(|problem| format!("ball `{name}`: {problem}"))),
            }
        }
        if problems.is_empty() { Ok(Self { balls }) } else { Err(problems.join("\n")) }
    }
}

impl WrittenBall {
    fn build(self) -> Result<BallProfile, Vec<String>> {
        let mut problems = Vec::new();
        let mut between = |name: &str, value: f64, low: f64, high: f64, hint: &str| {
            if !(low..=high).contains(&value) {
                problems.push(format!("{name} is {value}, must lie between {low} and {high}\nhint: {hint}"));
            }
        };
        between("mass_kg", self.mass_kg, 0.02, 0.08, "kilograms: 45.93 g is 0.04593");
        between("radius_m", self.radius_m, 0.015, 0.03, "metres, and the radius: a ball of 42.67 mm has 0.021335");
        let decay_hint = "the c of d omega / dt = -c omega v / r; 2e-5 is usual, 0 keeps the spin";
        between("spin_decay", self.spin_decay, 0.0, 1e-2, decay_hint);
        between("drag_scale", self.drag_scale, 0.2, 5.0, "a factor on every drag coefficient; 1 leaves them");
        between(
            "lift_scale",
            self.lift_scale,
            0.0,
            5.0,
            "a factor on every lift coefficient; 1 leaves them, 0 takes lift away",
        );
        if let Some(law) = &self.spin_ratio {
            between(
                "drag_base",
                law.drag_base,
                0.0,
                2.0,
                "a golf ball without spin has 0.2 to 0.5; below 0 air would push it",
            );
            between("drag_slope", law.drag_slope, 0.0, 2.0, "spin adds drag; 0 to 0.6 is known");
            between(
                "lift_factor",
                law.lift_factor,
                0.0,
                2.0,
                "the lift coefficient at spin ratio 1; 0.3 to 0.8 is known",
            );
            between(
                "lift_exponent",
                law.lift_exponent,
                0.0,
                2.0,
                "0.4 bends the lift with the spin, 1 makes it proportional",
            );
        }
        let law = match (self.spin_ratio, self.table) {
            (Some(law), None) => Some(Aerodynamics::SpinRatio {
                drag_base: law.drag_base,
                drag_slope: law.drag_slope,
                lift_factor: law.lift_factor,
                lift_exponent: law.lift_exponent,
            }),
            (None, Some(table)) => match table.build() {
                Ok(table) => Some(Aerodynamics::Table(table)),
                Err(problem) => {
                    problems.push(problem);
                    None
                }
            },
            (Some(_), Some(_)) => {
                problems.push("has both a law and a table\nhint: keep either ball.spin_ratio or ball.table".to_owned());
                None
            }
            (None, None) => {
                problems
                    .push("has no drag and lift\nhint: add a [ball.spin_ratio] or a [ball.table] section".to_owned());
                None
            }
        };
        match law {
            Some(aerodynamics) if problems.is_empty() => Ok(BallProfile {
                mass_kg: self.mass_kg,
                radius_m: self.radius_m,
                aerodynamics,
                drag_scale: self.drag_scale,
                lift_scale: self.lift_scale,
                spin_decay: self.spin_decay,
            }),
            _ => Err(problems),
        }
    }
}

/// Most entries of one axis; a measured table has a few dozen.
const LONGEST_AXIS: usize = 1000;

impl WrittenTable {
    fn build(self) -> Result<CoefficientTable, String> {
        for (name, axis) in [("speeds_mps", &self.speeds_mps), ("spins_rpm", &self.spins_rpm)] {
            if axis.len() > LONGEST_AXIS || axis.iter().any(|value| *value < 0.0) {
                return Err(format!(
                    "{name} must hold at most {LONGEST_AXIS} numbers, none negative\nhint: thin the table out"
                ));
            }
        }
        for (name, rows) in [("drag", &self.drag), ("lift", &self.lift)] {
            let fits = rows.len() == self.spins_rpm.len() && rows.iter().all(|row| row.len() == self.speeds_mps.len());
            if !fits {
                return Err(format!(
                    "{name} must have {} rows of {} numbers\nhint: one row for each spin rate, one number for each speed",
                    self.spins_rpm.len(),
                    self.speeds_mps.len()
                ));
            }
            if rows.iter().flatten().any(|value| value.abs() > 3.0) {
                return Err(format!("{name} holds a coefficient beyond 3\nhint: coefficients of balls lie below 1"));
            }
        }
        CoefficientTable::new(self.speeds_mps, self.spins_rpm, &self.drag.concat(), &self.lift.concat())
            .map_err(|problem| format!("{problem}\nhint: check the table's numbers"))
    }
}
