//! What people see of the daemon's state: gathered once from ledger and lake, shown as text, as a page and as metrics.
//!
//! A report is read without touching anything, so that it works beside a running daemon and on a home whose daemon is down.
//! The daemon puts one way of gathering it on a [`Board`] and hands that to [`serve`].

mod board;
mod concern;
mod connection;
mod html;
mod json;
mod metrics;
mod page;
mod refused;
mod report;
mod serve;
mod text;
mod upkeep;
mod vitals;
mod words;

pub use board::{Board, Gather};
pub use concern::{Concern, ConcernKind, Concerns};
pub use refused::Refused;
pub use report::{DatasetSize, Sources, StatusReport, VolumeSpace};
pub use serve::{ServeError, serve};
pub use upkeep::{CorrectionUse, MarksOfDay, OpenName, Upkeep};
pub use vitals::{DaemonVitals, Phase, VITALS_FILE, VitalsFile};
