//! The lake against a real folder: one binary for all integration tests of this crate.

mod crash;
mod damaged;
mod memory;
mod merging;
mod model;
mod moments;
mod orders;
mod profile;
mod replacing;
mod support;
mod verifying;
