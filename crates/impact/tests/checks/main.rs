//! Outside checks of the collision model: published and derived values, conservation laws, exact derivatives, the shipped heads.

mod common;
mod conservation;
mod derivatives;
mod equipment_rules;
mod far_toe;
mod flown;
mod head_book;
mod hostile;
mod lanes;
mod published_head;
mod restitution_ceiling;
mod simple_heads;
mod stepped_contact;
mod symmetry;
mod trade;
