//! The program as its users run it: the real binary, real folders, real signals.

mod beside;
mod care;
mod check;
mod daemon;
mod demo;
mod draft;
mod home;
mod kill;
mod oracle;
mod query;
mod reload;
#[cfg(unix)]
mod service_manager;
#[cfg(unix)]
mod stop;
mod upkeep;
