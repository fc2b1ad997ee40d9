//! Mapping packs: the bytes of a device's export in, canonical shots (or strike marks) and problems out.
//!
//! A pack is a folder with `format.toml`, one or more `sample*` files and `expected.csv`. [`PackSet::load`] reads the packs,
//! [`PackSet::recognise`] says which pack a file belongs to and why, [`Pack::parse`] turns its bytes into [`ParsedFile`],
//! and [`test_pack`] proves a pack against its own samples.
//!
//! Three layers, each ignorant of the one above: an engine (delimited text, JSON, XML, ...) cuts bytes into records; a mapping
//! reads one record into one shot; the pack set chooses the pack. A further engine implements `record::Engine` and
//! touches nothing else.
//!
//! **Invariants.** No parser panics on any bytes. No parser gives up a file where it can return good rows plus problems.
//! The only I/O of this crate is reading the pack folders in [`PackSet::load`]; there is no clock and no global state.

mod arrow_file;
mod arrow_guard;
mod column_path;
mod column_value;
mod columnar;
mod compile;
mod compile_derived;
mod compile_dialect;
mod compile_mark;
mod compile_measures;
mod compile_sheet;
mod compile_time;
mod compile_tree;
mod context;
mod delimited;
mod delimited_variants;
mod derive;
mod draft;
mod drift;
mod drift_edit;
mod drift_look;
mod drift_names;
mod drift_pair;
mod drift_values;
mod encoding;
mod fault;
mod field_names;
mod file_fault;
mod file_name;
mod grid;
mod instant;
mod json_document;
mod json_lines;
mod json_record;
mod json_scan;
mod json_walk;
mod lines;
mod mapping;
mod mark;
mod number;
mod ods_sheet;
mod pack;
mod package;
mod parquet_file;
mod parquet_guard;
mod places;
mod preamble;
mod proof;
mod proof_mark;
mod proof_report;
mod recognise;
mod record;
mod repeated_hour;
mod rule;
#[cfg(test)]
mod schema_words;
mod set;
mod sheet_head;
mod sheet_row;
mod sheet_time;
mod source;
mod spec;
mod spec_derived;
mod spec_dialect;
mod spec_mark;
mod spec_time;
mod spreadsheet;
mod thrift;
mod unit;
mod xlsx_book;
mod xlsx_sheet;
mod xml;
mod xml_fields;
mod xml_text;
mod xml_walk;

pub use context::{ParseLimits, SiteContext, player_key};
pub use draft::{Draft, Finding, Question, draft, pack_name_of};
pub use drift::Drift;
pub use fault::PackFault;
pub use mark::PackKind;
pub use pack::{Pack, ParsedFile, unit_of_quantity};
pub use proof::test_pack;
pub use proof_report::{Difference, PackTestReport, SampleReport};
pub use recognise::{PackScore, Recognition};
pub use rule::Rule;
pub use set::PackSet;
