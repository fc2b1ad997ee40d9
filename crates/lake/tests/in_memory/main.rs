//! The suite of the lake once more, with the published files on a shelf that is no folder: whatever needs a file system there
//! would fail here. Staging stays local.

#[path = "../lake/crash.rs"]
mod crash;
#[path = "../lake/merging.rs"]
mod merging;
#[path = "../lake/moments.rs"]
mod moments;
#[path = "../lake/orders.rs"]
mod orders;
#[path = "../lake/replacing.rs"]
mod replacing;
#[path = "../lake/support.rs"]
mod support;

use support::Place;

/// A place whose lake lives in memory.
fn new_place() -> Place {
    Place::on_shelf()
}
