//! The canonical shot record of strikemill: which columns exist, in which unit and sign, between which limits, and how a
//! dataset's columns become an Arrow schema.
//!
//! This crate does no I/O, reads no clock and depends on none of our other crates: every room above it speaks these words.
//!
//! Signs: azimuths and lateral distances are positive to the right of the target line seen from behind the ball, for both
//! hands; elevations and attack are positive upward; a positive spin tilt curves right; `strike_toe_mm` is positive toward
//! the toe for both hands, `strike_up_mm` positive toward the crown. Instants are UTC microseconds.

mod batch;
mod calendar;
mod datasets;
mod identity;
mod problem;
mod quantity;
mod row;
mod schema;

pub use batch::{devices_batch, imports_batch, rejects_batch, shots_batch, strike_marks_batch};
pub use calendar::{LocalDay, Month, monday_of};
pub use datasets::{
    bay_clocks, clubs, devices, imports, players, published_datasets, rejects, shots, strike_links, strike_marks,
};
pub use identity::{NaturalKey, mark_id, placeholder_player, shot_id, text_hash};
pub use problem::{Problem, Severity};
pub use quantity::{Measures, Quantity};
pub use row::{
    DeviceRow, Hand, ImportRow, Intent, MarkRow, ParsedMark, ParsedShot, Recorded, RejectRow, ShotRow, StrikeSource,
};
pub use schema::{Column, ColumnKind, TableSchema};
