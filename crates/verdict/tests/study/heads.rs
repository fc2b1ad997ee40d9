//! The shipped head profiles.

use impact::{HeadBook, HeadProfile};

/// Every profile of config/heads.toml, in the file's order.
pub fn all() -> Vec<HeadProfile> {
    let book: HeadBook = toml::from_str(include_str!("../../../../config/heads.toml")).expect("the shipped profiles");
    book.heads
}
