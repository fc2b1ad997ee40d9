//! What people see of the daemon's state: gathered once from ledger and lake, shown as text.
//!
//! The room starts small: one report, read without touching anything, so that it works beside a running daemon and on a
//! home whose daemon is down.

mod report;
mod upkeep;

pub use report::{DatasetSize, StatusReport};
pub use upkeep::{CorrectionUse, MarksOfDay, OpenName, Upkeep};
