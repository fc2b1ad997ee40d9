//! `strikemill limits`: how well the strike can be told, before anybody has hit a ball.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::bail;
use comfy_table::{CellAlignment, Table, presets};
use impact::HeadProfile;
use serde_json::json;
use verdict::Judge;
use verdict::limits::{CAPABILITY_SETS, CapabilitySet, Limit, limits};

use crate::cli::LimitsArguments;
use crate::output::say;
use crate::studio::{Written, report_faults};

/// Where on the face the shots of the table are struck, mm toward toe and crown: a usual miss (common practice, no source).
const STRIKE_MM: (f64, f64) = (10.0, 5.0);

pub fn run(home: &Path, arguments: &LimitsArguments) -> anyhow::Result<()> {
    crate::logging::start_quiet();
    let written = Written::load(home).map_err(|faults| report_faults(&faults))?;
    let mut heads: Vec<HeadProfile> = written.heads.heads.clone();
    if let Some(name) = &arguments.head {
        let known: Vec<String> = heads.iter().map(|head| head.name.clone()).collect();
        heads.retain(|head| head.name == *name);
        if heads.is_empty() {
            bail!("no head profile is called \"{name}\"\nhint: the profiles are {}", known.join(", "));
        }
    }
    let rows = limits(&Judge::new(written.configuration.verdict.clone()), &heads, STRIKE_MM);
    let formats = sets_of_formats(&written);
    if arguments.json {
        say!("{:#}", as_json(&rows, &formats));
        return Ok(());
    }
    say!(
        "How well one strike is known (deviation), 10 mm toward the toe and 5 mm high, of a player nobody knows yet:\n"
    );
    let mut table = Table::new();
    table.load_preset(presets::NOTHING);
    table.set_header(["head", "measured", "toe mm", "up mm", "carry lost m", "told"]);
    for row in &rows {
        let lost = row.carry_lost_sd_m.map_or_else(String::new, |deviation| format!("{deviation:.1}"));
        let told = if row.told { "yes".to_owned() } else { row.reason.clone().unwrap_or_else(|| "no".to_owned()) };
        let [toe, up] = [row.toe_sd_mm, row.up_sd_mm].map(|deviation| format!("{deviation:.1}"));
        table.add_row([row.head.clone(), row.set.name.to_owned(), toe, up, lost, told]);
    }
    for column in table.column_iter_mut().filter(|column| (2..=4).contains(&column.index)) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    say!("{table}\n");
    say!("The formats of this home:");
    for (format, set) in &formats {
        say!(
            "  {format:<20} {}",
            set.map_or(
                "less than ball speed, start direction and spin: the strike is told only where it is marked",
                |set| set.name
            )
        );
    }
    Ok(())
}

/// The nearest set of the table below what each format pack measures.
fn sets_of_formats(written: &Written) -> BTreeMap<String, Option<CapabilitySet>> {
    let mut found = BTreeMap::new();
    for pack in written.packs.packs() {
        let devices = pack.devices();
        let has = |name: &str| devices.iter().any(|device| device.measured && device.quantity == name);
        let ball = ["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm"].into_iter().all(has);
        let mut best = None;
        for set in CAPABILITY_SETS {
            let is_met = ball
                && (!set.spin_axis || has("spin_tilt_deg"))
                && (!set.club_speed || has("club_speed_mps"))
                && (!set.path || (has("attack_deg") && has("path_deg")))
                && (!set.face || has("face_deg"))
                && (!set.loft || has("delivered_loft_deg"))
                && (!set.strike || (has("strike_toe_mm") && has("strike_up_mm")));
            if is_met {
                best = Some(set);
            }
        }
        found.insert(pack.name().to_owned(), best);
    }
    found
}

fn as_json(rows: &[Limit], formats: &BTreeMap<String, Option<CapabilitySet>>) -> serde_json::Value {
    let mut told = Vec::new();
    for row in rows {
        told.push(json!({
            "head": row.head,
            "measured": row.set.name,
            "toe_sd_mm": row.toe_sd_mm,
            "up_sd_mm": row.up_sd_mm,
            "carry_lost_sd_m": row.carry_lost_sd_m,
            "told": row.told,
            "reason": row.reason,
        }));
    }
    let formats: BTreeMap<&String, Option<&str>> =
        formats.iter().map(|(format, set)| (format, set.map(|set| set.name))).collect();
    json!({ "strike_toe_mm": STRIKE_MM.0, "strike_up_mm": STRIKE_MM.1, "limits": told, "formats": formats })
}
