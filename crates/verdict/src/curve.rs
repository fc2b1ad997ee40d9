//! What somebody who sees only the flight would say of face and path.

use impact::Dual;

use crate::model::{AZIMUTH, LAUNCH, Model};
use crate::unknowns::{COUNT, FACE, PATH, TOE, UP, Unknowns};

/// The face-to-path angle, in degrees, with which a CENTRED strike of the same head, speed, attack and loft would start and
/// tilt as this launch did: what a reader of start and curve would infer. `None` where no such delivery is found.
pub fn curve_reading(model: &Model<'_>, mode: &Unknowns, launch: &[f64; LAUNCH]) -> Option<f64> {
    let mut centred = *mode;
    centred[TOE] = 0.0;
    centred[UP] = 0.0;
    // Start and tilt are nearly linear in path and face; Newton's method settles in a few steps.
    for _ in 0..12 {
        let mut variables: [Dual<2>; COUNT] = centred.map(|value| Dual { value, slopes: [0.0; 2] });
        variables[PATH].slopes[0] = 1.0;
        variables[FACE].slopes[1] = 1.0;
        let now = model.launch(&variables)?;
        let (start, tilt) = (now[AZIMUTH], now[4]);
        let missing = [launch[AZIMUTH] - start.value, launch[4] - tilt.value];
        if missing[0].abs() < 1e-6 && missing[1].abs() < 1e-6 {
            return Some(centred[FACE] - centred[PATH]);
        }
        let determinant = start.slopes[0] * tilt.slopes[1] - start.slopes[1] * tilt.slopes[0];
        if determinant.abs() < 1e-9 {
            return None;
        }
        let path_step = (missing[0] * tilt.slopes[1] - start.slopes[1] * missing[1]) / determinant;
        let face_step = (start.slopes[0] * missing[1] - missing[0] * tilt.slopes[0]) / determinant;
        centred[PATH] += path_step.clamp(-10.0, 10.0);
        centred[FACE] += face_step.clamp(-10.0, 10.0);
        if centred[PATH].abs() > 60.0 || centred[FACE].abs() > 60.0 {
            return None;
        }
    }
    None
}
