//! Intake: from files that devices drop into folders to rows in the lake and bytes in the archive.
//!
//! ```text
//! seen -> settling -> settled -> claimed -> staged -> published -> archived
//!             \-> waiting too long     \-> quarantined (reason)
//! ```
//!
//! [`Intake::scan_once`] takes one look at every import folder and moves each file as far as it can go;
//! [`Intake::recover`] finishes what a crash left in flight; [`Watcher`] repeats scans for a daemon.
//!
//! **Invariants.** The scan is the truth, folder events only shorten the wait. A step that failed is done again from what
//! the ledger says, never from memory. A source file goes only after a verified copy or link stands elsewhere. What is read,
//! hashed and parsed are the very same bytes.

mod again;
mod amend;
mod archive;
mod arrival;
mod audit;
mod basis;
mod bay_clocks;
mod by_hand;
mod corrections;
mod corrections_parse;
mod dimensions;
mod effective;
mod error;
mod finish;
mod folder_events;
mod forget;
mod forgotten;
mod grown;
mod import;
mod import_traces;
mod imports_told;
mod intake;
mod judge;
mod kept_files;
mod link_rows;
mod linked_days;
mod look;
mod looks;
mod moment;
mod names;
mod open_files;
mod preview;
mod quarantine;
mod read_again;
mod rebuild;
mod remove;
mod report;
mod room;
mod roster;
mod roster_batches;
mod roster_parse;
mod rows;
mod scan;
mod settings;
mod shares;
mod shot_columns;
mod table;
mod tidy;
mod unknown_names;
mod vitals;
mod watch;

pub use audit::{Audit, AuditFault, AuditProgress, AuditSubject};
pub use basis::RosterCheck;
pub use bay_clocks::{BayDay, bay_days};
pub use corrections::{Correction, CorrectionAction, CorrectionSelector, Corrections};
pub use error::IntakeError;
pub use forget::ForgetReport;
pub use intake::Intake;
pub use lake::PartitionName;
pub use moment::Moment;
pub use preview::{Foreseen, Preview, PreviewBasis, Taking, preview};
pub use read_again::{month_of_text, start_after_repair};
pub use rebuild::{LedgerRebuild, LedgerRebuilt};
pub use remove::{RemovalChoice, RemovalReport};
pub use report::{FileOutcome, Progress, ProgressFn, ProgressStep, ScanReport, Trouble};
pub use roster::{Resolved, Roster, RosterPlayer};
pub use settings::{BatchLimits, IntakeSettings, WatchedFolder};
pub use shot::{Problem, TableSchema, published_datasets};
pub use shot_columns::{CORRECTED, EXCLUDED, GUEST, STRIKE_LINKED};
pub use table::TableFault;
pub use unknown_names::{NameToSettle, Unsettled, names_to_settle};
pub use vitals::{StopHandle, Vitals};
pub use watch::{Imported, Watcher};
