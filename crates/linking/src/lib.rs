//! Which hand-noted strike mark belongs to which shot.
