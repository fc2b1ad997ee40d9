//! Who plays when and in which bay: eight ISO weeks around a change of the clocks.

use chrono::{Datelike, Duration, NaiveDate, NaiveDateTime, NaiveTime};
use rand::Rng;

pub use super::bay::Bay;

/// The zone of the demo academy.
pub const ZONE: chrono_tz::Tz = chrono_tz::Europe::Dublin;
/// How many ISO weeks the demo has.
pub const WEEKS: u32 = 8;

/// The Monday of the first week. The last day is Sunday 2026-11-22; clocks go back on Sunday 2026-10-25.
pub fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 9, 28).expect("the day exists")
}

/// What a session holds beside ordinary practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extra {
    /// Nothing.
    None,
    /// Nothing but a coach's demonstration of toe and heel strikes, under the coach's own name.
    Demonstration,
    /// At the end a coach demonstrates toe and heel strikes, still logged in as the player.
    DemonstrationAsPlayer,
    /// Some rows of the export are broken.
    BrokenRows,
}

/// One session, which is one export.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Where.
    pub bay: Bay,
    /// Week of the demo, from 0.
    pub week: u32,
    /// Local start.
    pub start: NaiveDateTime,
    /// Ids of those who play, in the order in which they take turns.
    pub players: Vec<&'static str>,
    /// Position among the sessions of this bay and day, from 1.
    pub number_of_day: usize,
    /// How many sessions this bay has on this day.
    pub sessions_of_day: usize,
    /// What is special about it.
    pub extra: Extra,
}

#[derive(Clone, Copy)]
enum Turn {
    Weekly,
    /// Weeks 0, 2, 4, ...
    Even,
    /// Weeks 1, 3, 5, ...
    Odd,
    /// That one week.
    Once(u32),
}

struct Slot {
    weekday: i64,
    start: (u32, u32),
    bay: Bay,
    players: &'static [&'static str],
    turn: Turn,
    extra: Extra,
}

const fn slot(weekday: i64, start: (u32, u32), bay: Bay, players: &'static [&'static str], turn: Turn) -> Slot {
    Slot { weekday, start, bay, players, turn, extra: Extra::None }
}

const fn special(
    weekday: i64,
    start: (u32, u32),
    bay: Bay,
    players: &'static [&'static str],
    week: u32,
    extra: Extra,
) -> Slot {
    Slot { weekday, start, bay, players, turn: Turn::Once(week), extra }
}

// In the order of a week. Two slots of one bay never overlap: the longest session lasts under 50 minutes a player.
const SLOTS: [Slot; 31] = [
    slot(0, (17, 30), Bay::Three, &["wren"], Turn::Weekly),
    slot(0, (18, 0), Bay::One, &["swift"], Turn::Weekly),
    slot(0, (19, 0), Bay::Two, &["heron"], Turn::Weekly),
    slot(1, (12, 10), Bay::Two, &["avocet"], Turn::Odd),
    special(1, (12, 30), Bay::Three, &["alder"], 5, Extra::Demonstration),
    slot(1, (17, 15), Bay::Two, &["kestrel"], Turn::Even),
    slot(1, (18, 0), Bay::Three, &["avocet"], Turn::Weekly),
    slot(1, (19, 0), Bay::One, &["merlin"], Turn::Odd),
    slot(2, (17, 0), Bay::Three, &["curlew"], Turn::Weekly),
    slot(2, (18, 30), Bay::Two, &["swift"], Turn::Weekly),
    slot(2, (19, 30), Bay::One, &["heron"], Turn::Odd),
    slot(3, (16, 0), Bay::Three, &["kestrel"], Turn::Weekly),
    slot(3, (17, 0), Bay::One, &["curlew"], Turn::Odd),
    slot(3, (18, 0), Bay::Two, &["wren"], Turn::Weekly),
    slot(4, (16, 0), Bay::Two, &["merlin"], Turn::Weekly),
    slot(4, (17, 30), Bay::Three, &["plover"], Turn::Weekly),
    slot(4, (18, 15), Bay::One, &["avocet"], Turn::Even),
    slot(4, (20, 0), Bay::One, &["plover"], Turn::Odd),
    slot(5, (10, 0), Bay::Three, &["siskin", "linnet", "dunlin"], Turn::Weekly),
    slot(5, (12, 30), Bay::One, &["dunlin"], Turn::Weekly),
    slot(5, (14, 0), Bay::Two, &["osprey"], Turn::Weekly),
    slot(5, (15, 30), Bay::Two, &["plover"], Turn::Even),
    special(5, (17, 0), Bay::Two, &["stork"], 6, Extra::None),
    slot(6, (11, 0), Bay::Three, &["osprey"], Turn::Even),
    slot(6, (11, 0), Bay::Three, &["heron"], Turn::Odd),
    slot(6, (14, 0), Bay::One, &["osprey"], Turn::Odd),
    slot(6, (14, 0), Bay::Two, &["linnet", "siskin"], Turn::Odd),
    slot(6, (15, 0), Bay::One, &["kestrel"], Turn::Odd),
    special(2, (16, 0), Bay::Two, &["kestrel"], 4, Extra::BrokenRows),
    special(3, (12, 0), Bay::Three, &["osprey"], 6, Extra::BrokenRows),
    special(0, (21, 0), Bay::One, &["curlew"], 3, Extra::BrokenRows),
];

// Of the bays that came later. They draw from a stream of their own, so that the sessions above stay as they were.
const FURTHER_SLOTS: [Slot; 20] = [
    slot(1, (19, 30), Bay::Four, &["wren"], Turn::Weekly),
    slot(2, (16, 0), Bay::Four, &["siskin", "linnet"], Turn::Odd),
    slot(3, (19, 30), Bay::Four, &["plover"], Turn::Weekly),
    slot(6, (16, 30), Bay::Four, &["curlew"], Turn::Even),
    slot(0, (18, 30), Bay::Five, &["kestrel"], Turn::Odd),
    slot(1, (20, 0), Bay::Five, &["heron"], Turn::Even),
    slot(2, (20, 0), Bay::Five, &["avocet"], Turn::Even),
    slot(4, (18, 30), Bay::Five, &["swift"], Turn::Weekly),
    slot(0, (17, 0), Bay::Six, &["osprey"], Turn::Even),
    slot(3, (20, 0), Bay::Six, &["merlin"], Turn::Even),
    slot(5, (16, 0), Bay::Six, &["dunlin"], Turn::Odd),
    slot(5, (11, 0), Bay::TeeOne, &["avocet"], Turn::Odd),
    slot(5, (13, 0), Bay::TeeOne, &["wren"], Turn::Even),
    slot(6, (11, 0), Bay::TeeOne, &["plover"], Turn::Even),
    slot(6, (12, 30), Bay::TeeOne, &["swift"], Turn::Odd),
    special(4, (12, 0), Bay::Four, &["osprey"], 2, Extra::BrokenRows),
    special(3, (12, 0), Bay::Five, &["curlew"], 5, Extra::BrokenRows),
    special(1, (15, 0), Bay::Six, &["swift"], 1, Extra::BrokenRows),
    special(2, (13, 0), Bay::TeeOne, &["heron"], 6, Extra::BrokenRows),
    special(6, (14, 0), Bay::TeeOne, &["kestrel"], 4, Extra::None),
];

/// Weeks in which the strikes of bay 4 are noted by hand.
pub const WEEKS_WITH_MARKS: [u32; 5] = [1, 2, 4, 5, 7];

/// A coach joins heron's Monday session of this week and shows what toe and heel strikes do.
const DEMONSTRATION_AS_PLAYER: (u32, &str) = (5, "heron");
/// Chance that an ordinary session is called off.
const CALLED_OFF: f64 = 0.05;

/// Every session of the demo in the order of time. The bays that came later draw from `further`.
pub fn sessions<R: Rng + ?Sized>(rng: &mut R, further: &mut R) -> Vec<Session> {
    let mut sessions = Vec::new();
    for week in 0..WEEKS {
        sessions.extend(SLOTS.iter().filter_map(|slot| session_of(slot, week, rng)));
        sessions.extend(FURTHER_SLOTS.iter().filter_map(|slot| session_of(slot, week, further)));
    }
    sessions.sort_by_key(|session| (session.start, session.bay));
    number_within_days(&mut sessions);
    sessions
}

/// The session of a slot in one week, if it takes place.
fn session_of<R: Rng + ?Sized>(slot: &Slot, week: u32, rng: &mut R) -> Option<Session> {
    let called_off = rng.random::<f64>() < CALLED_OFF;
    let (takes_place, regular) = match slot.turn {
        Turn::Weekly => (true, true),
        Turn::Even => (week.is_multiple_of(2), true),
        Turn::Odd => (!week.is_multiple_of(2), true),
        Turn::Once(only) => (week == only, false),
    };
    let with_coach = slot.bay == Bay::Two && (week, slot.players[0]) == DEMONSTRATION_AS_PLAYER;
    if !takes_place || (regular && called_off && !with_coach) {
        return None;
    }
    let date = first_day() + Duration::weeks(i64::from(week)) + Duration::days(slot.weekday);
    let (hour, minute) = slot.start;
    let start = NaiveTime::from_hms_opt(hour, minute, 0).expect("the slots hold times of day");
    Some(Session {
        bay: slot.bay,
        week,
        start: date.and_time(start),
        players: slot.players.to_vec(),
        number_of_day: 0,
        sessions_of_day: 0,
        extra: if with_coach { Extra::DemonstrationAsPlayer } else { slot.extra },
    })
}

fn number_within_days(sessions: &mut [Session]) {
    let days: Vec<(Bay, NaiveDate)> = sessions.iter().map(|session| (session.bay, session.start.date())).collect();
    for (position, session) in sessions.iter_mut().enumerate() {
        session.number_of_day = days[..=position].iter().filter(|day| **day == days[position]).count();
        session.sessions_of_day = days.iter().filter(|day| **day == days[position]).count();
    }
}

impl Session {
    /// The device's own session text.
    pub fn text(&self) -> String {
        let date = self.start.date();
        let day_and_number = format!("{}-{}", date.format("%Y%m%d"), self.number_of_day);
        match self.bay {
            Bay::One => format!("H1-{day_and_number}"),
            Bay::Two => {
                let letter = if self.sessions_of_day > 1 {
                    "abcdefgh".get(self.number_of_day - 1..self.number_of_day)
                } else {
                    None
                };
                format!("{:02}{:02}{}", date.month(), date.day(), letter.unwrap_or(""))
            }
            Bay::Three => format!("c3-{day_and_number}"),
            Bay::Four => format!("X4-{day_and_number}"),
            Bay::Five => format!("B5-{day_and_number}"),
            Bay::Six => format!("S6-{day_and_number}"),
            Bay::TeeOne => format!("T1-{day_and_number}"),
        }
    }

    /// The export's path below the demo folder.
    pub fn path(&self) -> String {
        let (day, number) = (self.start.date().format("%Y%m%d"), self.number_of_day);
        let name = match self.bay {
            Bay::One => format!("{}.txt", self.text()),
            Bay::Two => format!("session_{}_bay2.csv", self.text()),
            Bay::Three => format!("{}.jsonl", self.text()),
            Bay::Four => format!("seance-4-{day}-{number}.xml"),
            Bay::Five => format!("boekje_{day}_{number}.xlsx"),
            Bay::Six => format!("sala6-{day}-{number}.json"),
            Bay::TeeOne => format!("tee1_{day}_{number}.parquet"),
        };
        format!("{}/{name}", self.bay.folder())
    }

    /// Whether somebody notes the strikes by hand.
    pub fn has_marks(&self) -> bool {
        self.bay == Bay::Four && WEEKS_WITH_MARKS.contains(&self.week)
    }
}
