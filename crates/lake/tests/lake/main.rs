//! The lake against a real folder: one binary for all integration tests of this crate.

mod crash;
mod damaged;
mod memory;
mod merging;
mod model;
mod moments;
mod orders;
mod profile;
mod repairing;
mod replacing;
mod shelf;
mod support;
mod verifying;

use support::Place;

/// A place whose lake is a folder.
fn new_place() -> Place {
    Place::in_folder()
}
