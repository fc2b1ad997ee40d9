//! What goes in and what comes out.

/// When a shot was struck, by the device's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShotMoment {
    /// Seconds on an origin common to shots and marks.
    pub seconds: f64,
    /// Who struck it; `None` fits anyone.
    pub player: Option<u32>,
    /// With which club; `None` fits any.
    pub club: Option<u32>,
}

/// When a mark was noted, by whatever clock noted it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkMoment {
    /// Seconds on the common origin.
    pub seconds: f64,
    /// Standard deviation of the noted time, s: resolution and haste, without the clock's offset.
    pub seconds_sd: f64,
    /// Whose mark it is; `None` fits anyone.
    pub player: Option<u32>,
    /// With which club; `None` fits any.
    pub club: Option<u32>,
}

/// How to link.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkSettings {
    /// Largest difference of the two clocks that is looked at, s, either way.
    pub largest_offset_s: f64,
    /// Mean and standard deviation of the offset where it is known beforehand, s; else every offset is as likely.
    pub offset_prior: Option<(f64, f64)>,
    /// Share of swings that do not stand among the shots.
    pub missing_shot_share: f64,
    /// Share of swings that nobody marked.
    pub missing_mark_share: f64,
    /// Share of marks whose time is far off (noted late), and how far, s.
    pub careless_share: f64,
    /// Standard deviation of a careless time, s.
    pub careless_sd_s: f64,
    /// From this probability on a pair is linked; at least one half.
    pub certain_enough: f64,
    /// Candidates below this probability are not named.
    pub worth_naming: f64,
}

impl Default for LinkSettings {
    /// Shares and times are common practice, no source.
    fn default() -> Self {
        LinkSettings {
            largest_offset_s: 200.0,
            offset_prior: None,
            missing_shot_share: 0.05,
            missing_mark_share: 0.05,
            careless_share: 0.01,
            careless_sd_s: 12.0,
            certain_enough: 0.95,
            worth_naming: 0.02,
        }
    }
}

/// What became of a mark.
#[derive(Debug, Clone, PartialEq)]
pub enum MarkFate {
    /// It belongs to this shot.
    Linked {
        /// Position in the caller's shots.
        shot: usize,
        /// Probability of the link.
        probability: f64,
    },
    /// It belongs to some shot, but which one is not certain enough.
    Ambiguous {
        /// Positions in the caller's shots with probabilities, likeliest first.
        candidates: Vec<(usize, f64)>,
    },
    /// It probably belongs to no recorded shot.
    Unmatched {
        /// Probability of that.
        probability: f64,
    },
}

/// The links of a group.
#[derive(Debug, Clone, PartialEq)]
pub struct Linking {
    /// One a mark, in the caller's order.
    pub fates: Vec<MarkFate>,
    /// Lead of the marks' clock over the shots' clock, s: the mean about the likeliest offset. `None` without any pair.
    pub offset_s: Option<f64>,
    /// Its standard deviation, s.
    pub offset_sd_s: Option<f64>,
    /// Whether no other offset is left; if not, `offset_s` is only the likeliest of several.
    pub offset_identified: bool,
}
