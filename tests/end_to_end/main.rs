//! The program as its users run it: the real binary, real folders, real signals.

#[cfg(unix)]
#[cfg(unix)]

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
mod service_manager;
mod stop;
mod upkeep;
