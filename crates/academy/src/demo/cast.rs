//! What the demo knows of a person before any shot.

use shot::Hand;

use crate::habits::{Habits, Spread};
use crate::player::Bias;

/// Strike practice through a gate, and what it does to the strike from the next session on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrikeGate {
    /// First week with drill sessions, 0 = the first of the demo.
    pub from_week: u32,
    /// How many weeks have a drill block.
    pub weeks: u32,
    /// Share of the strike spread that is left afterwards.
    pub spread_left: f64,
    /// Share of the strike offset that is left afterwards.
    pub offset_left: f64,
}

/// One person of the demo.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Player id, which is also the alias the strike-lines device writes.
    pub id: &'static str,
    /// Which hand.
    pub hand: Hand,
    /// Alias of the coach, empty for a coach.
    pub coach: &'static str,
    /// Groups, `;`-separated.
    pub groups: &'static str,
    /// Whether the player agreed to be analysed.
    pub consent: bool,
    /// What the player tends to miss with.
    pub bias: Bias,
    /// Habits with the driver; the other clubs follow from them.
    pub driver: Habits,
    /// Head profile of the driver.
    pub driver_profile: &'static str,
    /// Clubs beside the driver.
    pub other_clubs: &'static [&'static str],
    /// Strike practice, if the player does any.
    pub strike_gate: Option<StrikeGate>,
}

impl Member {
    /// The name to show: the id with a capital.
    pub fn shown_as(&self) -> String {
        super::with_capital(self.id)
    }

    /// The name as the device of bay 1 writes it.
    pub fn in_capitals(&self) -> String {
        self.id.to_uppercase()
    }

    /// The head profile of one of the member's clubs.
    pub fn profile_of(&self, club_id: &str) -> &'static str {
        match club_id {
            "driver" => self.driver_profile,
            "3-wood" => "fairway-wood",
            _ => "iron-mid",
        }
    }

    /// Every club of the member, the driver first.
    pub fn clubs(&self) -> Vec<&'static str> {
        let mut clubs = vec!["driver"];
        clubs.extend_from_slice(self.other_clubs);
        clubs
    }

    /// The member's habits with a club.
    pub fn habits_with(&self, club_id: &str) -> Habits {
        match club_id {
            "3-wood" => off_the_turf(&self.driver, 0.945, Spread::new(-2.5, 1.0), 15.5, (34.0, 14.0)),
            "7-iron" => off_the_turf(&self.driver, 0.80, Spread::new(-4.0, 1.1), 25.0, (28.0, 15.0)),
            _ => self.driver,
        }
    }
}

/// Habits with a shorter club: slower, downward, a tighter strike on a smaller face.
fn off_the_turf(driver: &Habits, speed_share: f64, attack: Spread, loft: f64, reach_mm: (f64, f64)) -> Habits {
    let mut habits = *driver;
    habits.club_speed_mps =
        Spread::new(driver.club_speed_mps.mean * speed_share, driver.club_speed_mps.sd * speed_share);
    habits.attack_deg = attack;
    habits.loft_deg = Spread::new(loft, driver.loft_deg.sd);
    habits.strike.toe_mm = Spread::new(0.5 * driver.strike.toe_mm.mean, 0.75 * driver.strike.toe_mm.sd);
    habits.strike.up_mm = Spread::new(-2.0 + 0.3 * driver.strike.up_mm.mean, 0.75 * driver.strike.up_mm.sd);
    habits.face_reach_mm = reach_mm;
    habits
}
