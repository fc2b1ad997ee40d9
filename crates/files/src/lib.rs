//! The one module through which strikemill's rooms touch the file system.
//!
//! Every operation goes through a [`Files`] handle. That gives each error the operation, the path and a hint, and gives
//! tests one place where the n-th operation can be made to fail ([`FaultPlan`]).
//!
//! What "durable" means here: the bytes are synced, the file stands under its final name, and the folder that names it is
//! synced too (on systems where a folder can be synced). A file under construction has a name that starts with a dot and
//! ends in `.part` ([`is_temporary_name`]), so that no `*.parquet` glob and no importer ever takes it for a finished one.

mod durable;
mod error;
mod fault;
mod handle;
mod hash;
mod place;
mod readable;
mod volume;

pub use durable::{DurableWriter, SealedFile, Written, is_temporary_name, temporary_sibling};
pub use error::FileError;
pub use fault::FaultPlan;
pub use handle::{Entry, EntryKind, FileIdentity, FileStat, Files};
pub use hash::{Sha256Text, sha256_of_bytes};
pub use place::Placement;
pub use readable::{readable_path, readable_text};
pub use volume::Volume;
