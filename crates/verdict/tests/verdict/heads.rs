//! The shipped head profiles.

use impact::{HeadBook, HeadProfile};

/// A profile of config/heads.toml.
pub fn head(name: &str) -> HeadProfile {
    let book: HeadBook = toml::from_str(include_str!("../../../../config/heads.toml")).expect("the shipped profiles");
    book.find(name).unwrap_or_else(|| panic!("no profile {name}")).clone()
}
