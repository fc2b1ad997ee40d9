//! The shipped head profiles.

use impact::{HeadBook, HeadProfile};

fn book() -> HeadBook {
    toml::from_str(include_str!("../../../../config/heads.toml")).expect("the shipped profiles")
}

/// Every profile of config/heads.toml.
pub fn all_heads() -> Vec<HeadProfile> {
    book().heads
}

/// A profile of config/heads.toml.
pub fn head(name: &str) -> HeadProfile {
    book().find(name).unwrap_or_else(|| panic!("no profile {name}")).clone()
}
