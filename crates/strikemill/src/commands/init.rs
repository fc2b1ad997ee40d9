//! `strikemill init`: a new home.

use std::path::Path;

use crate::shipped::{make_home, shipped_folder};

pub fn run(home: &Path) -> anyhow::Result<()> {
    make_home(&shipped_folder()?, home)?;
    println!("{} is ready. Next:", home.display());
    println!("  1. edit config/strikemill.toml (site, folders) and config/roster.csv (players)");
    println!("  2. strikemill check --home {}", home.display());
    println!("  3. strikemill run --home {}", home.display());
    Ok(())
}
