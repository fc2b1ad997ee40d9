//! What somebody who sees only the flight would say of face and path.

use impact::HeadProfile;

use crate::model::{LAUNCH, launch_of};
use crate::unknowns::{FACE, PATH, TOE, UP, Unknowns};

/// The face-to-path angle, in degrees, with which a CENTRED strike of the same head, speed, attack and loft would start and
/// tilt as this launch did: what a reader of start and curve would infer. `None` where no such delivery is found.
pub fn curve_reading(head: &HeadProfile, mode: &Unknowns, hand: f64, launch: &[f64; LAUNCH]) -> Option<f64> {
    const STEP: f64 = 0.05;
    let mut centred = *mode;
    centred[TOE] = 0.0;
    centred[UP] = 0.0;
    // Start and tilt are nearly linear in path and face; Newton's method settles in a few steps.
    for _ in 0..12 {
        let now = launch_of(head, &centred, hand)?;
        let missing = [launch[2] - now[2], launch[4] - now[4]];
        if missing[0].abs() < 1e-6 && missing[1].abs() < 1e-6 {
            return Some(centred[FACE] - centred[PATH]);
        }
        let slope_of = |position: usize| {
            let mut moved = centred;
            moved[position] += STEP;
            launch_of(head, &moved, hand).map(|there| [(there[2] - now[2]) / STEP, (there[4] - now[4]) / STEP])
        };
        let (by_path, by_face) = (slope_of(PATH)?, slope_of(FACE)?);
        let determinant = by_path[0] * by_face[1] - by_face[0] * by_path[1];
        if determinant.abs() < 1e-9 {
            return None;
        }
        let path_step = (missing[0] * by_face[1] - by_face[0] * missing[1]) / determinant;
        let face_step = (by_path[0] * missing[1] - missing[0] * by_path[1]) / determinant;
        centred[PATH] += path_step.clamp(-10.0, 10.0);
        centred[FACE] += face_step.clamp(-10.0, 10.0);
        if centred[PATH].abs() > 60.0 || centred[FACE].abs() > 60.0 {
            return None;
        }
    }
    None
}
