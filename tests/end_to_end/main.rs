//! The program as its users run it: the real binary, real folders, real signals.

mod beside;
mod care;
mod check;
mod daemon;
mod demo;
mod draft;
mod forget;
mod home;
mod kill;
mod operations;
mod oracle;
mod query;
mod reload;
mod removal;
#[cfg(unix)]
mod service_manager;
#[cfg(unix)]
mod stop;
mod upkeep;
