//! What can go wrong in making an academy.

/// An academy that cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum AcademyError {
    /// A population without driver profiles.
    #[error("no driver profiles given\nhint: name at least one head profile of kind driver")]
    NoHeads,
    /// A profile that the head book does not hold.
    #[error(
        "the head book holds no profile {profile:?}, which club {club:?} of player {player:?} needs\nhint: add it to heads.toml"
    )]
    NoProfile {
        /// Whose club.
        player: String,
        /// Which club.
        club: String,
        /// The name looked for.
        profile: String,
    },
    /// Swings that the model of impact has no answer for, however often drawn.
    #[error(
        "no swing of player {player:?} with club {club:?} gave a shot\nhint: look at the habits and the head profile"
    )]
    NoShot {
        /// Whose swing.
        player: String,
        /// With which club.
        club: String,
    },
    /// A local time that the zone skips or has twice.
    #[error("{local} is no single moment in {zone}\nhint: move the session away from the change of clocks")]
    NoMoment {
        /// The local time.
        local: String,
        /// The zone.
        zone: String,
    },
    /// An export that cannot be written as the format wants it.
    #[error("{path} cannot be written: {message}\nhint: this is a fault of the generator, please report it")]
    Unwritable {
        /// Path below the demo folder.
        path: String,
        /// What the writer said.
        message: String,
    },
}
