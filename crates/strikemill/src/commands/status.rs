//! `strikemill status`: the state of a home.

use std::path::Path;

use chrono::DateTime;
use console::StatusReport;

use crate::config::Configuration;
use crate::output::say;
use crate::studio::{Access, Studio};

pub fn run(home: &Path) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let studio = Studio::open(home, Access::Read)?;
    let configuration = &studio.configuration;
    let daemon = ledger::InstanceLock::holder(&configuration.place("state"));
    let report =
        StatusReport::gather(&configuration.site_name, configuration.zone, daemon, &studio.ledger, &studio.lake)?;
    say!("{}", report.to_string().trim_end());
    Ok(())
}

/// An instant in the site's zone.
pub fn moment(configuration: &Configuration, micros: i64) -> String {
    DateTime::from_timestamp_micros(micros).map_or_else(String::new, |instant| {
        instant.with_timezone(&configuration.zone).format("%Y-%m-%d %H:%M:%S").to_string()
    })
}
