//! What of a head profile lies beyond the Equipment Rules of the R&A and the USGA, or beyond what the model is meant for.

use crate::collision::collide;
use crate::head::{HeadKind, HeadProfile};

/// Highest ratio of ball speed to club speed that a head and ball within the rules reach.
const HIGHEST_SPEED_RATIO: f64 = 1.52;
/// The rules limit the time of contact in a pendulum test (239 + 18 us), which is a restitution of about 0.83; the tolerance
/// is worth about 0.01 (from memory).
const HIGHEST_RESTITUTION: f64 = 0.84;
/// Limit of the moment of inertia about the vertical of a wood, with its tolerance (5900 + 100 g cm^2).
const HIGHEST_INERTIA_KG_M2: f64 = 6000e-7;
/// Limit of the ball's mass.
const HEAVIEST_BALL_KG: f64 = 0.045_93;
/// Limit of the ball's radius (diameter at least 42.67 mm).
const SMALLEST_BALL_RADIUS_M: f64 = 0.021_335;
/// Beyond what rubber on steel shows; common practice, no source.
const HIGHEST_USUAL_FRICTION: f64 = 1.0;

pub(crate) fn warnings_of(head: &HeadProfile) -> Vec<String> {
    let mut warnings = Vec::new();
    let speed_ratio = (1.0 + head.restitution) / (1.0 + head.ball_mass_kg / head.mass_kg);
    if speed_ratio > HIGHEST_SPEED_RATIO {
        warnings.push(format!(
            "mass_kg {} and restitution {} give a ball {speed_ratio:.3} times as fast as the club; the rules end near \
             {HIGHEST_SPEED_RATIO}",
            head.mass_kg, head.restitution
        ));
    }
    if head.restitution > HIGHEST_RESTITUTION {
        warnings.push(format!("restitution is {}; the rules end near 0.83", head.restitution));
    }
    let about_vertical = head.inertia_kg_m2[1][1];
    let is_wood = matches!(head.kind, HeadKind::Driver | HeadKind::FairwayWood);
    if is_wood && about_vertical > HIGHEST_INERTIA_KG_M2 {
        warnings.push(format!(
            "inertia_kg_m2 about the upward axis is {about_vertical:.3e} kg m^2, beyond the rules' 5900 + 100 g cm^2"
        ));
    }
    if head.ball_mass_kg > HEAVIEST_BALL_KG {
        warnings.push(format!("ball_mass_kg is {}; the rules allow 0.04593 kg", head.ball_mass_kg));
    }
    // 0.05 mm of slack: published ball radii are rounded.
    if head.ball_radius_m < SMALLEST_BALL_RADIUS_M - 5e-5 {
        warnings.push(format!("ball_radius_m is {}; the rules ask for 0.021335 m", head.ball_radius_m));
    }
    if head.friction > HIGHEST_USUAL_FRICTION {
        warnings.push(format!("friction is {}; a clean dry face gives 0.2 to 0.5", head.friction));
    }
    if let Some((toe_mm, up_mm, ceiling)) = first_capped_strike(head) {
        warnings.push(format!(
            "restitution {} would gain energy on a strike {toe_mm:.0} mm toward the toe and {up_mm:.0} mm up, where no body of \
             this mass_kg, cg_m and inertia_kg_m2 gives more than {ceiling:.3}; the model stops there",
            head.restitution
        ));
    }
    warnings
}

/// The first strike of a grid over the widest face on which the restitution meets its ceiling (see [`collide`]).
fn first_capped_strike(head: &HeadProfile) -> Option<(f64, f64, f64)> {
    let parameters = head.parameters(&head.nuisances());
    for toe in -6..=6 {
        for up in -3..=3 {
            let (toe_mm, up_mm) = (f64::from(toe) * 10.0, f64::from(up) * 10.0);
            // The ceiling depends on neither speed nor direction.
            let Some(collision) = collide(&parameters, &[1.0, 0.0, 0.0], toe_mm * 1e-3, up_mm * 1e-3) else { continue };
            if collision.restitution_ceiling < head.restitution {
                return Some((toe_mm, up_mm, collision.restitution_ceiling));
            }
        }
    }
    None
}
