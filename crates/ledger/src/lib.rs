//! The ledger: what became of every file, partition and job run, in one SQLite database in the state folder.
//!
//! **Invariant:** each public call is one transaction that is on the disk when the call returns (write-ahead log,
//! `synchronous=FULL`). What the ledger says has happened has happened; what it does not say is safe to do again.
//!
//! All calls block. From asynchronous code they go through a blocking task. Instants are UTC microseconds since 1970.

mod alerts;
mod amended;
mod error;
mod faults;
mod file_entry;
mod file_states;
mod file_views;
mod forgotten;
mod home;
mod integrity;
mod lock;
mod open;
mod overview;
mod people;
mod quarantined;
mod removals;
mod restore;
mod runs;
mod sightings;
mod volumes;

pub use alerts::{Alert, AlertSubject};
pub use amended::AmendedMonth;
pub use error::LedgerError;
pub use file_entry::{Claim, FileEntry, FileState, Quarantined, Staged};
pub use file_views::{Counts, FileName};
pub use integrity::LedgerCondition;
pub use lock::InstanceLock;
pub use open::{Ledger, SCHEMA_VERSION};
pub use people::PlayerText;
pub use removals::Removal;
pub use runs::{DigestMade, JobRun, PartitionGeneration, RunOutcome, RunStart};
pub use sightings::{Sighting, SightingState};
pub use volumes::WatchedVolume;
