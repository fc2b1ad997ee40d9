//! The roster overview: one line a player and club, for the page and for the command line.

use crate::Units;
use crate::coach_week::{ClubWeek, CoachWeek, PlayerWeek};
use crate::wording::{estimate, plain_word, practice_heading};

/// One line of the overview.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlayerLine {
    /// Name as the roster lets people read it.
    pub player: String,
    /// Club; empty where the player hit no analysed shot.
    pub club: String,
    /// Shots that count.
    pub shots: i64,
    /// Misses.
    pub misses: i64,
    /// Misses caused by the strike.
    pub strike: i64,
    /// Misses caused by the delivery.
    pub delivery: i64,
    /// Misses with another answer: either, both needed, neither.
    pub other: i64,
    /// Misses whose cause cannot be told.
    pub unclear: i64,
    /// Curves that would have been misread.
    pub misread: i64,
    /// Mean carry lost to strike per shot with its 90 % interval, or why there is none.
    pub carry_lost: String,
    /// What to practise.
    pub practise: String,
}

impl PlayerLine {
    /// Headings of [`PlayerLine::cells`]; the unit stands in the cells. One holds a no-break space.
    pub const HEADINGS: [&'static str; 11] = [
        "Player",
        "Club",
        "Shots",
        "Misses",
        "By strike",
        "By delivery",
        "Other",
        "Cannot tell",
        "Misread curves",
        "Carry lost per shot (90\u{a0}% interval)",
        "Practise",
    ];

    /// The line as texts, with plain spaces.
    pub fn cells(&self) -> [String; 11] {
        self.page_cells().map(|text| text.replace('\u{a0}', " "))
    }

    /// The line as texts whose numbers stay on one line with their units.
    pub(crate) fn page_cells(&self) -> [String; 11] {
        [
            self.player.clone(),
            self.club.clone(),
            self.shots.to_string(),
            self.misses.to_string(),
            self.strike.to_string(),
            self.delivery.to_string(),
            self.other.to_string(),
            self.unclear.to_string(),
            self.misread.to_string(),
            self.carry_lost.clone(),
            self.practise.clone(),
        ]
    }
}

/// The overview of a coach's week: players in the order of their names, driver before other clubs.
pub fn table_rows(week: &CoachWeek) -> Vec<PlayerLine> {
    let mut lines = Vec::new();
    for player in &week.players {
        if player.clubs.is_empty() {
            lines.push(line_of(player, &ClubWeek::default(), week.units));
        }
        for club in &player.clubs {
            lines.push(line_of(player, club, week.units));
        }
    }
    lines
}

fn line_of(player: &PlayerWeek, club: &ClubWeek, units: Units) -> PlayerLine {
    let tally = club.tally;
    let carry_lost = match club.carry_lost {
        Some(lost) => estimate(lost, units),
        None if tally.shots == 0 => "no shots".to_owned(),
        None if tally.judged == 0 => "cannot tell".to_owned(),
        None => "too few shots".to_owned(),
    };
    let practise = if tally.shots == 0 { "" } else { practice_heading(club.practise_next.as_deref()) };
    PlayerLine {
        player: player.shown_name.clone(),
        club: plain_word(&club.club_id),
        shots: tally.shots,
        misses: tally.misses,
        strike: tally.strike,
        delivery: tally.delivery,
        other: tally.either + tally.both_needed + tally.neither,
        unclear: tally.unclear,
        misread: tally.misread,
        carry_lost,
        practise: practise.to_owned(),
    }
}
