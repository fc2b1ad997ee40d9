//! Linking: its laws, generated truth, and a long day.

mod laws;
mod sessions;
mod size;
