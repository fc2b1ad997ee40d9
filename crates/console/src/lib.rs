//! What people see of the daemon's state: gathered once from ledger and lake, shown as text, as a page and as metrics.
//!
//! A report is read without touching anything, so that it works beside a running daemon and on a home whose daemon is down.
//! The daemon puts one way of gathering it on a [`Board`] and hands that to [`serve`].

mod board;
mod connection;
mod metrics;
mod report;
mod serve;
mod upkeep;
mod vitals;

pub use board::{Board, Gather};
pub use report::{DatasetSize, StatusReport};
pub use serve::{ServeError, serve};
pub use upkeep::{CorrectionUse, MarksOfDay, OpenName, Upkeep};
pub use vitals::{DaemonVitals, Phase, VITALS_FILE, VitalsFile};
