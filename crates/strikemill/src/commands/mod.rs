//! One module a command.

pub mod alert;
pub mod check;
pub mod check_deep;
pub mod compute;
pub mod demo;
pub mod digest;
pub mod draft;
pub mod forget;
pub mod formats;
pub mod import;
pub mod init;
pub mod jobs;
pub mod limits;
pub mod preview;
pub mod query;
pub mod remove;
pub mod repair;
pub mod run;
pub mod status;
