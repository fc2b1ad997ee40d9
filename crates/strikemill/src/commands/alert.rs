//! `strikemill alert --test`: does a message to IT arrive?

use std::path::Path;

use anyhow::{Context, bail};

use crate::alerts::{deliver, test_letter};
use crate::config::Configuration;
use crate::output::say;
use crate::studio::report_faults;

pub fn run(home: &Path) -> anyhow::Result<()> {
    let configuration = Configuration::load(home)
        .map_err(|faults| report_faults(&faults.iter().map(ToString::to_string).collect::<Vec<_>>()))?;
    let Some(settings) = &configuration.alert else {
        bail!(
            "no command is named to send messages by\nhint: set command under [alert] of config/strikemill.toml; README.md has an \
             example that sends mail"
        );
    };
    let letter = test_letter(&configuration.site_name, &configuration.home);
    let threads = tokio::runtime::Builder::new_current_thread().enable_all().build().context("cannot start threads")?;
    if let Err(why) = threads.block_on(deliver(settings, &configuration.home, &letter)) {
        bail!("{why}");
    }
    say!("sent: {}", letter.subject);
    Ok(())
}
