//! What really happened, as text: the answer sheet that nothing of the product may read.

use shot::Intent;

use super::export::{Export, fixed};
use super::record::{DemoShot, Recorded};
use crate::MissRule;

/// Columns of `truth/truth.csv`.
pub const COLUMNS: &str = "file,row,shot,struck_at,logged_as,swung_by,club_id,intent,\
club_speed_mps,attack_deg,path_deg,face_deg,loft_deg,toe_mm,up_mm,\
ball_speed_mps,elevation_deg,azimuth_deg,spin_rpm,tilt_deg,\
carry_m,lateral_m,centred_carry_m,centred_lateral_m,intended_carry_m,intended_lateral_m,both_carry_m,both_lateral_m,\
reference_carry_m,reference_lateral_m,carry_lost_to_strike_m,cause";

/// The rows of one session, without those whose rows are broken.
pub fn rows(recorded: &Recorded, export: &Export, broken: &[(usize, &str)]) -> Vec<String> {
    let mut rows = Vec::new();
    for (position, shot) in recorded.shots.iter().enumerate() {
        if broken.iter().all(|(lost, _)| *lost != position) {
            rows.push(row(&export.path, export.row_of(position), shot));
        }
    }
    rows
}

/// The true cause of a shot that is judged; `none` for a judged shot that is no miss, empty for one that is not judged.
pub fn cause_of(shot: &DemoShot) -> &'static str {
    match shot.intent {
        Intent::Play | Intent::Drill => MissRule::default().cause(&shot.truth).map_or("none", crate::TrueCause::word),
        _ => "",
    }
}

fn row(path: &str, line: usize, shot: &DemoShot) -> String {
    let truth = &shot.truth;
    let mut cells = vec![
        path.to_owned(),
        line.to_string(),
        shot.number.to_string(),
        shot.at.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string(),
        shot.logged_as.to_owned(),
        shot.swung_by.to_owned(),
        shot.club_id.to_owned(),
        shot.intent.word().to_owned(),
    ];
    let numbers = [
        truth.swing.club_speed_mps,
        truth.swing.attack_deg,
        truth.path_deg(),
        truth.face_deg(),
        truth.swing.loft_deg,
        truth.swing.toe_mm,
        truth.swing.up_mm,
        truth.launch.ball_speed_mps,
        truth.launch.elevation_deg,
        truth.launch.azimuth_deg,
        truth.launch.spin_rpm,
        truth.launch.spin_tilt_deg,
        truth.landing.carry_m,
        truth.landing.lateral_m,
        truth.centred.carry_m,
        truth.centred.lateral_m,
        truth.intended.carry_m,
        truth.intended.lateral_m,
        truth.both.carry_m,
        truth.both.lateral_m,
        truth.reference.carry_m,
        truth.reference.lateral_m,
        truth.carry_lost_to_strike_m(),
    ];
    cells.extend(numbers.iter().map(|number| fixed(*number, 3)));
    cells.push(cause_of(shot).to_owned());
    cells.join(",")
}
