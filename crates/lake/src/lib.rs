//! The lake: durable staged segments, Parquet partitions that are replaced whole, and the manifest that ties them together.
//!
//! ```text
//! lake/<dataset>/site=<site>/month=<YYYY-MM>/<dataset>.parquet   one file per partition
//! lake/<dataset>/site=<site>/<dataset>.parquet                   a dataset without months
//! lake/<site>.datapackage.json                                   what the columns mean
//! lake/site=<site>/manifest.json                                 what is live
//! lake/site=<site>/moments/<dataset>.<month>.<hash>.pq           the same files for readers who want one exact moment
//! staging/segments/<sequence>-<file>/                            parsed imports that wait for publication
//! staging/damaged/<sequence>-<file>/                             segments that could not be read; their files are read again
//! staging/key-index.sqlite                                       which keys each partition holds; rebuilt where stale
//! ```
//!
//! Everything below `lake/` goes over a [`Shelf`], which a folder and an object store can both be; staging is always local.
//!
//! How [`Lake::publish`] keeps its promises:
//! - It is a function of the segments and of what is published, so replaying it after a crash is harmless. The caller discards
//!   segments only after its own ledger has noted the report.
//! - All new partition files are written, made durable and verified under temporary names before the first one shows.
//! - A row whose key moves to another month (a corrected date) leaves the old partition before it enters the new one: a reader
//!   sees it at most once at any moment. To find the old partition without reading them all, a key index holds 64-bit
//!   hashes of the keys and source files of each; a hit makes the partition part of the merge, which then compares the keys
//!   themselves. What a partition is about to hold is noted before it shows and is tied to that file's SHA-256, so a stale
//!   entry is always noticed and rebuilt.
//! - The manifest is replaced once, last. Only then has the publication happened. It names each file twice: where it is
//!   replaced in place, and under a frozen name that keeps its bytes for readers of that manifest.

mod bounds;
mod conform;
mod damaged;
mod erase;
mod error;
mod folder;
mod incoming;
mod index;
mod index_entry;
mod index_tables;
mod keys;
mod lake;
mod manifest;
mod merge;
mod merge_rows;
mod moments;
mod month;
mod package;
mod prepare;
mod profile;
mod publish;
mod record;
mod repair;
mod replace;
mod runs;
mod segment;
pub mod shelf;
mod store;
mod stream;
mod verify;
mod verify_file;
mod verify_keys;

pub use bounds::MergeBounds;
pub use damaged::DamagedSegment;
pub use erase::Erased;
pub use error::LakeError;
pub use folder::FolderShelf;
pub use lake::Lake;
pub use manifest::{Manifest, ManifestFile, RetiredFile};
pub use moments::RETIRED_STAY;
pub use profile::{Provenance, ROWS_PER_GROUP};
pub use publish::{FileCount, PartitionChange, PublishReport};
pub use repair::{LakeRepair, PartitionName};
pub use replace::Replacement;
pub use segment::{Segment, SegmentHeader, SegmentTable};
pub use shelf::Shelf;
pub use verify::{Examination, Examined, LakeFault, LakeFaultKind};
