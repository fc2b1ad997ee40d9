//! The program as its users run it: the real binary, real folders, real signals.

mod care;
mod check;
mod daemon;
mod demo;
mod draft;
mod home;
mod kill;
mod oracle;
mod query;
mod upkeep;
