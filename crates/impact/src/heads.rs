//! The book of head profiles, and what makes one unusable or suspicious.

use serde::Deserialize;

use crate::head::{HeadKind, HeadProfile};

/// All head profiles of a site, as `heads.toml` holds them.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HeadBook {
    /// The profiles, in the file's order.
    #[serde(rename = "head")]
    pub heads: Vec<HeadProfile>,
}

/// Highest ratio of ball speed to club speed that a head and ball within the Equipment Rules reach.
const HIGHEST_SPEED_RATIO: f64 = 1.52;
/// Limit of the moment of inertia about the vertical of a wood, with its tolerance (5900 + 100 g cm^2).
const HIGHEST_INERTIA_KG_M2: f64 = 6000e-7;
/// Limit of the ball's mass.
const HEAVIEST_BALL_KG: f64 = 0.045_93;
/// Limit of the ball's radius (diameter at least 42.67 mm).
const SMALLEST_BALL_RADIUS_M: f64 = 0.021_335;

impl HeadBook {
    /// The profile with a name.
    pub fn find(&self, name: &str) -> Option<&HeadProfile> {
        self.heads.iter().find(|head| head.name == name)
    }

    /// What makes profiles unusable, one sentence each; empty for a good book.
    pub fn validate(&self) -> Vec<String> {
        let mut problems = Vec::new();
        if self.heads.is_empty() {
            problems.push("the book holds no head profile".to_owned());
        }
        for (index, head) in self.heads.iter().enumerate() {
            if head.name.trim().is_empty() {
                problems.push(format!("head {} has no name", index + 1));
            }
            if self.heads[..index].iter().any(|earlier| earlier.name == head.name) {
                problems.push(format!("head `{}` appears twice", head.name));
            }
            problems.extend(head.problems().into_iter().map(|problem| format!("head `{}`: {problem}", head.name)));
        }
        problems
    }

    /// What lies beyond the Equipment Rules (R&A and USGA) or is unusual, one sentence each; such profiles still work.
    pub fn warnings(&self) -> Vec<String> {
        self.heads
            .iter()
            .flat_map(|head| head.warnings().into_iter().map(|warning| format!("head `{}`: {warning}", head.name)))
            .collect()
    }
}

impl HeadProfile {
    fn problems(&self) -> Vec<String> {
        let mut problems = Vec::new();
        let mut demand = |holds: bool, problem: String| {
            if !holds {
                problems.push(problem);
            }
        };
        let positive = |value: f64| value.is_finite() && value > 0.0;

        for (name, value) in [
            ("mass_kg", self.mass_kg),
            ("ball_mass_kg", self.ball_mass_kg),
            ("ball_radius_m", self.ball_radius_m),
            ("ball_inertia_factor", self.ball_inertia_factor),
            ("friction", self.friction),
            ("restitution_sd", self.restitution_sd),
            ("restitution_falloff_sd", self.restitution_falloff_sd),
            ("inertia_scale_sd", self.inertia_scale_sd),
            ("cg_sd_m[0]", self.cg_sd_m[0]),
            ("cg_sd_m[1]", self.cg_sd_m[1]),
            ("cg_sd_m[2]", self.cg_sd_m[2]),
            ("bulge_sd_m", self.bulge_sd_m),
            ("friction_sd", self.friction_sd),
            ("typical_club_speed_mps", self.typical_club_speed_mps),
        ] {
            demand(positive(value), format!("{name} is {value}, must be above 0"));
        }
        demand(
            (0.0..=1.0).contains(&self.restitution),
            format!("restitution is {}, must lie between 0 and 1", self.restitution),
        );
        let falloff = self.restitution_falloff_per_m2;
        demand(
            falloff.is_finite() && falloff >= 0.0,
            format!("restitution_falloff_per_m2 is {falloff}, must not be negative"),
        );
        // Beyond 60 mm no face exists, so a smaller radius would end inside the face.
        for (name, radius) in [("bulge_radius_m", self.bulge_radius_m), ("roll_radius_m", self.roll_radius_m)] {
            let fits = radius.is_none_or(|radius| radius.is_finite() && radius > 0.06);
            demand(fits, format!("{name} is {radius:?}, must be above 0.06 m; leave it out for a flat face"));
        }
        for (axis, distance) in ["n", "u", "t"].iter().zip(self.cg_m) {
            let inside = distance.abs() <= 0.15;
            demand(
                inside,
                format!("the centre of gravity is {distance} m from the face centre along {axis}: not metres?"),
            );
        }
        for (name, angle) in [
            ("loft_deg", self.loft_deg),
            ("typical_delivered_loft_deg", self.typical_delivered_loft_deg),
            ("typical_attack_deg", self.typical_attack_deg),
        ] {
            demand((-30.0..=80.0).contains(&angle), format!("{name} is {angle}, must lie between -30 and 80"));
        }
        let inertia_problem = self.inertia_problem();
        demand(inertia_problem.is_none(), inertia_problem.unwrap_or_default().to_owned());
        problems
    }

    fn inertia_problem(&self) -> Option<&'static str> {
        let rows = &self.inertia_kg_m2;
        if rows.iter().flatten().any(|entry| !entry.is_finite()) {
            return Some("inertia_kg_m2 holds a number that is not finite");
        }
        let largest = rows.iter().flatten().fold(0.0_f64, |largest, entry| largest.max(entry.abs()));
        for (row, column) in [(0, 1), (0, 2), (1, 2)] {
            if (rows[row][column] - rows[column][row]).abs() > 1e-9 * largest {
                return Some("inertia_kg_m2 is not symmetric");
            }
        }
        // Sylvester's criterion.
        let [nn, uu, tt, nu, nt, ut] = self.symmetric_inertia();
        let second = nn * uu - nu * nu;
        let third = tt * second - nn * ut * ut - uu * nt * nt + 2.0 * nu * nt * ut;
        if nn <= 0.0 || second <= 0.0 || third <= 0.0 {
            return Some("inertia_kg_m2 is not positive definite");
        }
        // Every body's moments obey it on any axes; a violation means swapped rows or a wrong unit.
        if nn > uu + tt || uu > nn + tt || tt > nn + uu {
            return Some("one moment of inertia exceeds the sum of the other two, which no body does");
        }
        (largest > 1e-2)
            .then_some("inertia_kg_m2 is far too large for a club head: not kg m^2 (1 g cm^2 = 1e-7 kg m^2)?")
    }

    fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        let speed_ratio = (1.0 + self.restitution) / (1.0 + self.ball_mass_kg / self.mass_kg);
        if speed_ratio > HIGHEST_SPEED_RATIO {
            warnings.push(format!(
                "mass and restitution give a ball {speed_ratio:.3} times as fast as the club; the rules end near \
                 {HIGHEST_SPEED_RATIO}"
            ));
        }
        let about_vertical = self.inertia_kg_m2[1][1];
        let is_wood = matches!(self.kind, HeadKind::Driver | HeadKind::FairwayWood);
        if is_wood && about_vertical > HIGHEST_INERTIA_KG_M2 {
            warnings.push(format!(
                "moment of inertia about the upward axis {about_vertical:.3e} kg m^2 is beyond the rules' 5900 + 100 g cm^2"
            ));
        }
        if self.ball_mass_kg > HEAVIEST_BALL_KG {
            warnings.push(format!("the ball weighs {} kg; the rules allow 0.04593 kg", self.ball_mass_kg));
        }
        // 0.05 mm of slack: published ball radii are rounded.
        if self.ball_radius_m < SMALLEST_BALL_RADIUS_M - 5e-5 {
            warnings.push(format!("the ball's radius is {} m; the rules ask for 0.021335 m", self.ball_radius_m));
        }
        if self.cg_m[0] > 0.0 {
            warnings.push("the centre of gravity lies in front of the face".to_owned());
        }
        warnings
    }
}
