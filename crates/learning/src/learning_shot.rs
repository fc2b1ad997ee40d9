//! A shot that is learned from, and why nothing may be learned.

use std::fmt;

use verdict::Evidence;

/// One shot of a player with a club.
#[derive(Debug, Clone, PartialEq)]
pub struct LearningShot {
    /// What is known of the shot. Numbers that an earlier model put there (`head_*`, `habit_*`, offsets of club and player) are
    /// not looked at: every fit starts from the profile.
    pub evidence: Evidence,
    /// Shots of one session share a number; any numbering will do.
    pub session: u32,
    /// Age of the shot in days at the moment the model is made for; negative counts as 0.
    pub day: i32,
}

/// Why nothing was learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Unlearned {
    /// Fewer shots than a fit needs, after those that cannot be used.
    TooFewShots {
        /// Shots that could be used.
        usable: usize,
        /// Shots that are needed.
        needed: usize,
    },
    /// Enough shots, but from too few days: a day's wind or air would be taken for the ball's doing.
    TooFewDays {
        /// Days with usable shots.
        usable: usize,
        /// Days that are needed.
        needed: usize,
    },
    /// Most shots contradict each other or the head: wrong clubs under one name, for example.
    ShotsContradict,
    /// The computation broke down; the profile stays in use.
    NoSolution,
}

impl fmt::Display for Unlearned {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unlearned::TooFewShots { usable, needed } => {
                write!(formatter, "not enough shots: {usable} can be used, {needed} are needed")
            }
            Unlearned::TooFewDays { usable, needed } => {
                write!(formatter, "not enough days: {usable} can be used, {needed} are needed")
            }
            Unlearned::ShotsContradict => write!(formatter, "most shots do not fit this head"),
            Unlearned::NoSolution => write!(formatter, "no model fits these shots"),
        }
    }
}

impl std::error::Error for Unlearned {}
