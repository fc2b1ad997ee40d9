//! `strikemill init`: a new home.

use std::path::Path;

use crate::output::say;
use crate::shipped::{make_home, shipped_folder};

pub fn run(home: &Path) -> anyhow::Result<()> {
    make_home(&shipped_folder()?, home)?;
    say!("{} is ready. Next:", home.display());
    say!(
        "  1. edit config/strikemill.toml (site, folders) and config/roster.csv (players); corrections go into config/corrections.csv"
    );
    say!("  2. strikemill check --home {}", home.display());
    say!("  3. strikemill run --home {}", home.display());
    Ok(())
}
