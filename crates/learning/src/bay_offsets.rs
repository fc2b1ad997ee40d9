//! Bays whose direction readings are turned, from players who cross from bay to bay.

/// One shot for the comparison of bays. Directions are about the player's aim, in degrees, positive = right; a missing one is
/// `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BayShot {
    /// Number of the bay.
    pub bay: u32,
    /// Number of the player with this club: what has a mean direction of its own.
    pub player: u32,
    /// Number of the session.
    pub session: u32,
    /// Measured launch azimuth.
    pub launch_azimuth_deg: Option<f64>,
    /// Measured path.
    pub path_deg: Option<f64>,
    /// Measured face.
    pub face_deg: Option<f64>,
}

/// The constant direction error of one bay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BayOffset {
    /// Number of the bay.
    pub bay: u32,
    /// Shots with a launch azimuth.
    pub shots: usize,
    /// Players with shots in this bay and in another one of its component.
    pub crossing_players: usize,
    /// Bays that crossing players connect carry the same number; offsets compare only within one component.
    pub component: usize,
    /// Whether the offset rests on the reference bay or on players who cross; else it is 0 with the prior's deviation.
    pub identified: bool,
    /// How far the bay's launch azimuths are too far right, in degrees; subtract it.
    pub direction_offset_deg: f64,
    /// Deviation of `direction_offset_deg`.
    pub direction_offset_sd_deg: f64,
    /// The same from the readings of path alone, with deviation: a club sensor that is turned against the ball sensor shows here.
    pub path_offset_deg: Option<(f64, f64)>,
    /// The same from the readings of face alone.
    pub face_offset_deg: Option<(f64, f64)>,
}

/// The direction errors of all bays, ordered by bay.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BayOffsets {
    /// One entry a bay.
    pub bays: Vec<BayOffset>,
}
