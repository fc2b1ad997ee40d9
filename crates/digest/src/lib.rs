//! The weekly summary for a coach: who lost how much carry to the strike, which misses were the strike and which the
//! delivery, and what to practise first. Read from the published lake, shown as one HTML file per coach and week.
//!
//! Privacy is decided once, where rows are read: nothing of another coach's players, and nothing of players who have not
//! agreed to be analysed, gets past [`gather`].

mod calendar;
mod coach_week;
mod data_tables;
mod drawing;
mod figure_face;
mod figure_finish;
mod figure_trend;
mod gate;
mod gather;
mod page;
mod player_line;
mod published;
mod request;
mod rows;
mod rows_of_practice;
mod tables;
mod wording;
mod write;

pub use coach_week::{
    ClubWeek, CoachWeek, Estimate, FEWEST_JUDGED_SHOTS, JudgedShot, Pattern, PlayerWeek, Tally, TrendPoint, ZONES,
};
pub use gate::{Gate, LEAST_CLEARANCE_MM};
pub use gather::{coaches, gather};
pub use page::render;
pub use player_line::{PlayerLine, table_rows};
pub use request::{DigestError, Units, WeekRequest};
pub use write::{page_path, write};
