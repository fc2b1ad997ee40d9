//! One coach's week as plain data: SI units, no markup. Everything a page, a mail or the command line shows comes from here.

use shot::{Hand, LocalDay};

use crate::Units;
use crate::gate::Gate;

/// Fewest judged shots of a player, club and week for which an average is shown.
pub const FEWEST_JUDGED_SHOTS: i64 = 5;

/// A coach's week: only the coach's own players, and of these only the ones who have agreed to be analysed.
#[derive(Debug, Clone, PartialEq)]
pub struct CoachWeek {
    /// Name of the site.
    pub site_name: String,
    /// IANA zone of the times of day.
    pub zone: String,
    /// Monday of the week.
    pub week: LocalDay,
    /// Alias of the coach; `None` = the whole site.
    pub coach: Option<String>,
    /// The coach as people read it.
    pub coach_shown: Option<String>,
    /// Unit of distances.
    pub units: Units,
    /// Instant of writing, UTC microseconds.
    pub generated_at_micros: i64,
    /// Players in the order of their shown names.
    pub players: Vec<PlayerWeek>,
    /// Datasets that have not been published yet, so that parts of the page stay empty.
    pub missing_datasets: Vec<String>,
}

impl CoachWeek {
    /// Shots analysed in the week, all players and clubs.
    pub fn shots(&self) -> i64 {
        self.players.iter().flat_map(|player| &player.clubs).map(|club| club.tally.shots).sum()
    }
}

/// One player's week.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerWeek {
    /// Alias; never shown.
    pub player_id: String,
    /// Name as the roster lets people read it.
    pub shown_name: String,
    /// Playing hand.
    pub hand: Hand,
    /// Clubs used in the week, driver first; empty where the player hit no analysed shot.
    pub clubs: Vec<ClubWeek>,
}

/// One player's week with one club.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClubWeek {
    /// Club as the roster names it.
    pub club_id: String,
    /// driver, fairway-wood, hybrid, iron or wedge, where the roster has the club.
    pub club_kind: Option<String>,
    /// Counts.
    pub tally: Tally,
    /// Carry lost to strike per shot, metres; `None` where too little is known.
    pub carry_lost: Option<Estimate>,
    /// The same summed over the week, metres.
    pub carry_lost_total: Option<Estimate>,
    /// Metres lost by zone of the face, in the order of [`ZONES`].
    pub lost_by_zone: [Option<f64>; ZONES.len()],
    /// Share of strikes in the centre zone, 0 to 1.
    pub centre_share: Option<f64>,
    /// Mean and spread of the strike, where the pattern is identified.
    pub pattern: Option<Pattern>,
    /// Mean carry per shot that a pattern a quarter tighter would give back, metres.
    pub tighter_strike_gain_m: Option<f64>,
    /// Mean carry per shot that 1 m/s more club speed would give, metres.
    pub faster_club_gain_m: Option<f64>,
    /// `strike first`, `delivery first`, `keep going` or `not enough shots`.
    pub practise_next: Option<String>,
    /// The job's reason for it.
    pub practise_why: Option<String>,
    /// Whether strike practice worked so far, in one sentence; nothing before the first drill session.
    pub practice_so_far: Option<String>,
    /// The gate to practise with, where the player's own pattern gives one.
    pub gate: Option<Gate>,
    /// Sessions in the week.
    pub sessions: Option<i64>,
    /// Shots before this day formed the player's reference.
    pub model_as_of: Option<LocalDay>,
    /// Version of the method.
    pub method_version: Option<String>,
    /// How often the week was recomputed after late or corrected shots.
    pub revision: i64,
    /// Judged shots in time order.
    pub shots: Vec<JudgedShot>,
    /// Reasons why something cannot be told, with their counts, most frequent first.
    pub untold: Vec<(String, i64)>,
    /// Carry lost per shot over the weeks up to this one, oldest first.
    pub trend: Vec<TrendPoint>,
}

/// Zones of the face, in the order of [`ClubWeek::lost_by_zone`].
pub const ZONES: [&str; 5] = ["centre", "toe", "heel", "high", "low"];

/// Counts of a player, club and week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Shots that count: play and drill.
    pub shots: i64,
    /// Shots whose carry lost to strike is known.
    pub judged: i64,
    /// Strike positions measured with the shot.
    pub measured: i64,
    /// Strike positions recorded apart and linked.
    pub linked: i64,
    /// Strike positions inferred from the ball's launch.
    pub inferred: i64,
    /// Misses.
    pub misses: i64,
    /// Misses that a centred strike alone would have mended.
    pub strike: i64,
    /// Misses that the intended delivery alone would have mended.
    pub delivery: i64,
    /// Misses that either alone would have mended.
    pub either: i64,
    /// Misses that only both together would have mended.
    pub both_needed: i64,
    /// Misses that not even both would have mended.
    pub neither: i64,
    /// Misses whose cause cannot be told.
    pub unclear: i64,
    /// Curves that would have been misread.
    pub misread: i64,
}

/// A mean with its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Middle.
    pub mean: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Where the strikes of a week lie, in millimetres from the face centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pattern {
    /// Mean, positive toward the toe.
    pub mean_toe_mm: f64,
    /// Mean, positive toward the crown.
    pub mean_up_mm: f64,
    /// Standard deviation along the face.
    pub spread_toe_mm: f64,
    /// Standard deviation up the face, where known.
    pub spread_up_mm: Option<f64>,
}

/// One analysed shot. Lengths in metres, strike positions in millimetres.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JudgedShot {
    /// UTC microseconds.
    pub struck_at: i64,
    /// `none`, `left`, `right`, `short`, or two joined by `-`.
    pub miss: Option<String>,
    /// Cause of a miss.
    pub cause: Option<String>,
    /// Share of the posterior that the named cause holds.
    pub cause_probability: Option<f64>,
    /// Where the ball landed across the line, positive = right.
    pub lateral_m: Option<f64>,
    /// Carry.
    pub carry_m: Option<f64>,
    /// Where it would have landed from the middle of the face.
    pub centred_lateral_m: Option<f64>,
    /// Carry from the middle of the face.
    pub centred_carry_m: Option<f64>,
    /// Carry lost to the strike.
    pub carry_lost_m: Option<f64>,
    /// Strike, positive toward the toe.
    pub toe_mm: Option<f64>,
    /// Strike, positive toward the crown.
    pub up_mm: Option<f64>,
    /// `measured`, `linked` or `inferred`.
    pub strike_source: Option<String>,
    /// Whether the curve would have been misread; `None` where that cannot be told.
    pub misread: Option<bool>,
}

impl JudgedShot {
    /// Whether the shot was a miss.
    pub fn is_miss(&self) -> bool {
        self.miss.as_deref().is_some_and(|miss| miss != "none")
    }
}

/// One week of the trend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendPoint {
    /// Monday.
    pub week: LocalDay,
    /// Shots with a known loss.
    pub judged: i64,
    /// Sessions of the week.
    pub sessions: i64,
    /// Carry lost per shot, metres.
    pub carry_lost: Estimate,
}
