//! Outside checks of the collision model: published and derived values, conservation laws, exact derivatives, the shipped heads.

mod common;
mod conservation;
mod derivatives;
mod flown;
mod head_book;
mod published_head;
mod simple_heads;
mod symmetry;
