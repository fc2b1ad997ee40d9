//! `strikemill formats`: the mapping packs and their proof.

use std::path::Path;

use anyhow::bail;
use formats::PackSet;

use crate::cli::FormatsCommand;
use crate::commands::draft;
use crate::output::say;
use crate::studio::report_faults;

pub fn run(home: &Path, command: &FormatsCommand) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    if let FormatsCommand::Draft(arguments) = command {
        return draft::run(home, &arguments.sample, arguments.name.as_deref(), arguments.out.as_deref());
    }
    let folder = home.join("plugins/formats");
    if !folder.is_dir() {
        bail!("{} is not there\nhint: name the home with --home DIR", folder.display());
    }
    let (packs, faults) = PackSet::load(&folder);
    let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
    match command {
        FormatsCommand::List => list(&packs)?,
        FormatsCommand::Test { names } => test(&packs, names)?,
        FormatsCommand::Draft(_) => {}
    }
    if faults.is_empty() { Ok(()) } else { Err(report_faults(&faults)) }
}

fn list(packs: &PackSet) -> std::io::Result<()> {
    for pack in packs.packs() {
        let kind = if pack.kind() == formats::PackKind::StrikeMarks { ", strike marks" } else { "" };
        say!("{:<16} version {}, {}{kind}: {}", pack.name(), pack.version(), pack.engine_word(), pack.title());
        for device in pack.devices() {
            let how = if device.measured { "measured" } else { "computed" };
            let sd = device.standard_deviation.map_or_else(String::new, |sd| {
                format!(", deviation {} {}", rounded(sd), formats::unit_of_quantity(&device.quantity))
            });
            say!("    {:<24} {how}{sd}", device.quantity);
        }
    }
    Ok(())
}

/// Three significant digits, since nobody knows a deviation better.
fn rounded(deviation: f64) -> f64 {
    format!("{deviation:.2e}").parse().unwrap_or(deviation)
}

fn test(packs: &PackSet, names: &[String]) -> anyhow::Result<()> {
    for name in names {
        if packs.pack(name).is_none() {
            let known: Vec<&str> = packs.packs().iter().map(formats::Pack::name).collect();
            bail!("there is no format pack \"{name}\"\nhint: there are {}", known.join(", "));
        }
    }
    let mut failed = 0;
    for pack in packs.packs() {
        if names.is_empty() || names.iter().any(|name| name == pack.name()) {
            let report = formats::test_pack(pack);
            say!("{}", report.to_string().trim_end());
            failed += usize::from(!report.passed());
        }
    }
    if failed > 0 {
        bail!("{failed} format pack(s) do not read their samples as expected");
    }
    Ok(())
}
