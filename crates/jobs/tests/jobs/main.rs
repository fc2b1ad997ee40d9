//! Jobs and queries against a real lake in a temporary folder.

mod apart;
mod functions;
mod packs;
mod queries;
mod runs;
mod site;
mod verdicts;
