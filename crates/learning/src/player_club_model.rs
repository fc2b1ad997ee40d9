//! What is told of a player with a club, and how its fields are named and typed in data.

/// What all shots of one player with one club share. Numbers that the data do not identify are `None`: whoever uses the model
/// then stays with the profile.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerClubModel {
    /// Whether the strike in the mean rests on measured strikes or on fully measured deliveries. Where it does not, a strike that is
    /// always toward the toe and a face that is always open look alike, and nothing is told of head, strike or offsets.
    pub strike_identified: bool,
    /// Whether the direction offset rests on measured faces together with identified strikes.
    pub direction_identified: bool,
    /// The numbers, in the order of [`PlayerClubModel::NUMBERS`].
    numbers: [Option<f64>; PlayerClubModel::NUMBERS.len()],
}

/// Position of a number in [`PlayerClubModel::NUMBERS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
#[allow(missing_docs, reason = "each is explained by its entry in PlayerClubModel::NUMBERS")]
pub enum Learned {
    ShotsUsed,
    SessionsUsed,
    ShotsSetAside,
    ReferenceClubSpeed,
    ReferenceClubSpeedSd,
    ReferenceAttack,
    ReferenceAttackSd,
    ReferenceDeliveredLoft,
    ReferenceDeliveredLoftSd,
    HeadRestitution,
    HeadRestitutionSd,
    HeadRestitutionFalloff,
    HeadRestitutionFalloffSd,
    HeadInertiaScale,
    HeadInertiaScaleSd,
    HeadCgNormal,
    HeadCgNormalSd,
    HeadCgUp,
    HeadCgUpSd,
    HeadCgToe,
    HeadCgToeSd,
    HeadBulgeCurvature,
    HeadBulgeCurvatureSd,
    HeadFriction,
    HeadFrictionSd,
    LoftOffset,
    LoftOffsetSd,
    DirectionOffset,
    DirectionOffsetSd,
    HabitToe,
    HabitToeSd,
    HabitUp,
    HabitUpSd,
    HabitPath,
    HabitPathSd,
    HabitFace,
    HabitFaceSd,
    HabitAttack,
    HabitAttackSd,
    HabitLoft,
    HabitLoftSd,
    HabitClubSpeed,
    HabitClubSpeedSd,
    GearGainLateral,
    GearGainLateralSd,
    GearGainVertical,
    GearGainVerticalSd,
    RestitutionScale,
    RestitutionScaleSd,
}

impl PlayerClubModel {
    /// Name, UCUM unit and meaning of the numbers, which are also the field names of the SQL function's result. Names that a
    /// verdict's evidence has too mean the same there.
    pub const NUMBERS: [(&'static str, &'static str, &'static str); 49] = [
        ("shots_used", "1", "shots that the model rests on"),
        ("sessions_used", "1", "sessions that the model rests on"),
        ("shots_set_aside", "1", "shots that fitted so badly that they count less than half"),
        ("reference_club_speed_mps", "m/s", "the player's usual club speed with this club"),
        ("reference_club_speed_sd_mps", "m/s", "deviation of reference_club_speed_mps"),
        ("reference_attack_deg", "deg", "the player's usual attack, positive = up"),
        ("reference_attack_sd_deg", "deg", "deviation of reference_attack_deg"),
        ("reference_delivered_loft_deg", "deg", "the player's usual delivered loft"),
        ("reference_delivered_loft_sd_deg", "deg", "deviation of reference_delivered_loft_deg"),
        ("head_restitution", "1", "restitution at the face centre"),
        ("head_restitution_sd", "1", "deviation of head_restitution that a verdict should use"),
        ("head_restitution_falloff_per_m2", "1/m2", "fall-off of the restitution away from the face centre"),
        (
            "head_restitution_falloff_sd_per_m2",
            "1/m2",
            "deviation of head_restitution_falloff_per_m2 that a verdict should use",
        ),
        ("head_inertia_scale", "1", "factor on the profile's inertia tensor"),
        ("head_inertia_scale_sd", "1", "deviation of head_inertia_scale that a verdict should use"),
        ("head_cg_normal_m", "m", "centre of gravity from the face centre along the face normal, behind = negative"),
        ("head_cg_normal_sd_m", "m", "deviation of head_cg_normal_m that a verdict should use"),
        ("head_cg_up_m", "m", "centre of gravity from the face centre up the face"),
        ("head_cg_up_sd_m", "m", "deviation of head_cg_up_m that a verdict should use"),
        ("head_cg_toe_m", "m", "centre of gravity from the face centre toward the toe"),
        ("head_cg_toe_sd_m", "m", "deviation of head_cg_toe_m that a verdict should use"),
        ("head_bulge_curvature_per_m", "1/m", "curvature of the face toward the toe"),
        ("head_bulge_curvature_sd_per_m", "1/m", "deviation of head_bulge_curvature_per_m that a verdict should use"),
        ("head_friction", "1", "friction between ball and face"),
        ("head_friction_sd", "1", "deviation of head_friction that a verdict should use"),
        ("loft_offset_deg", "deg", "constant launch elevation of this player, club and device above the model's"),
        ("loft_offset_sd_deg", "deg", "deviation of loft_offset_deg"),
        ("direction_offset_deg", "deg", "constant launch azimuth right of the model's"),
        ("direction_offset_sd_deg", "deg", "deviation of direction_offset_deg"),
        ("habit_toe_mm", "mm", "where along the face the player meets the ball, positive = toe"),
        ("habit_toe_sd_mm", "mm", "deviation of one further shot from habit_toe_mm"),
        ("habit_up_mm", "mm", "where up the face the player meets the ball, positive = crown"),
        ("habit_up_sd_mm", "mm", "deviation of one further shot from habit_up_mm"),
        ("habit_path_deg", "deg", "the player's path about the aim, positive = right"),
        ("habit_path_sd_deg", "deg", "deviation of one further shot from habit_path_deg"),
        ("habit_face_deg", "deg", "the player's face about the aim, positive = right"),
        ("habit_face_sd_deg", "deg", "deviation of one further shot from habit_face_deg"),
        ("habit_attack_deg", "deg", "the player's attack, positive = up"),
        ("habit_attack_sd_deg", "deg", "deviation of one further shot from habit_attack_deg"),
        ("habit_loft_deg", "deg", "the player's delivered loft"),
        ("habit_loft_sd_deg", "deg", "deviation of one further shot from habit_loft_deg"),
        ("habit_club_speed_mps", "m/s", "the player's club speed"),
        ("habit_club_speed_sd_mps", "m/s", "deviation of one further shot from habit_club_speed_mps"),
        ("gear_gain_lateral", "1", "spin tilt per mm along the face, 1 = as the profile"),
        ("gear_gain_lateral_sd", "1", "deviation of gear_gain_lateral"),
        ("gear_gain_vertical", "1", "spin rate per mm up the face, 1 = as the profile"),
        ("gear_gain_vertical_sd", "1", "deviation of gear_gain_vertical"),
        ("restitution_scale", "1", "restitution at the face centre, 1 = as the profile"),
        ("restitution_scale_sd", "1", "deviation of restitution_scale"),
    ];

    /// A model that tells nothing yet.
    pub(crate) fn empty() -> PlayerClubModel {
        PlayerClubModel {
            strike_identified: false,
            direction_identified: false,
            numbers: [None; PlayerClubModel::NUMBERS.len()],
        }
    }

    /// The value of a number.
    pub fn get(&self, learned: Learned) -> Option<f64> {
        self.numbers[learned as usize]
    }

    /// The number at a position of [`PlayerClubModel::NUMBERS`]; `None` beyond them.
    pub fn number_at(&self, position: usize) -> Option<f64> {
        self.numbers.get(position).copied().flatten()
    }

    /// Sets a number; a value that is not finite becomes missing.
    pub(crate) fn set(&mut self, learned: Learned, value: f64) {
        self.set_at(learned as usize, value);
    }

    /// Sets a number by its position.
    pub(crate) fn set_at(&mut self, position: usize, value: f64) {
        self.numbers[position] = Some(value).filter(|number| number.is_finite());
    }
}
