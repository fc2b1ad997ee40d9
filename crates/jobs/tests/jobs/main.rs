//! Jobs and queries against a real lake in a temporary folder.

mod apart;
mod functions;
mod lists;
mod packs;
mod queries;
mod runs;
mod shipped_packs;
mod site;
mod snapshots;
mod verdicts;
